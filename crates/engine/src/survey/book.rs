//! The level book as a builder keeps it: backsights, intermediate sights and foresights.
//!
//! A backsight (BS) opens a setup, intermediate sights (IS) follow, a foresight (FS) closes it.
//! A change point carries the FS of one setup and the BS of the next: two readings on one point,
//! which are never a rise or a fall. The book is reduced twice, by the height of the line of
//! sight and by rise and fall; all sums are exact.

use super::book_checks::{
    ArithmeticCheck, BookSums, WrittenCheck, arithmetic_checks, check_written,
};
use super::book_faults::{BookFault, book_faults};
use super::input::{Drift, Reading, ReadingSd, Setup, SourcePlace};
use crate::ids::{PointId, SetupId};
use crate::units::{ExactLength, Length};
use serde::Serialize;
use std::fmt;

/// A level book between one known height and, if there is one, another.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LevelBook {
    /// Known height of the first row's point above the datum.
    pub start: ExactLength,
    /// Known height of the last row's point above the datum: the same mark, or another.
    pub known_close: Option<ExactLength>,
    /// The rows, in the order written.
    pub rows: Vec<BookRow>,
}

/// One line of the book.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct BookRow {
    /// Where the staff stood.
    pub point: PointId,
    /// Backsight: the first reading of a setup.
    pub back: Option<Sight>,
    /// Intermediate sight.
    pub intermediate: Option<Sight>,
    /// Foresight: the last reading of a setup.
    pub fore: Option<Sight>,
    /// How far along the line this point is from the first, for a spread by distance.
    pub distance: Option<Length>,
    /// What the builder wrote in the columns that are computed.
    pub written: Written,
    /// Where the row was written down.
    pub place: Option<SourcePlace>,
}

/// One reading of the book.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Sight {
    /// The graduation, positive away from the staff's foot.
    pub value: ExactLength,
    /// The staff hung upside down: foot up, against a soffit.
    pub inverted: bool,
    /// Length of the sight, if it was noted.
    pub distance: Option<Length>,
}

/// The builder's own answers in a row, to be checked.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct Written {
    /// The reduced level.
    pub level: Option<ExactLength>,
    /// The rise (positive) or fall (negative) from the row before.
    pub step: Option<ExactLength>,
}

impl Sight {
    /// A reading on an upright staff.
    pub const fn new(value: ExactLength) -> Self {
        Self { value, inverted: false, distance: None }
    }

    /// A reading on a staff held upside down against a soffit.
    pub const fn inverted(value: ExactLength) -> Self {
        Self { value, inverted: true, distance: None }
    }

    /// How far the staff's foot is below the line of sight; negative for an inverted staff.
    pub fn below_line(self) -> ExactLength {
        if self.inverted { -self.value } else { self.value }
    }
}

impl BookRow {
    /// A row on which nothing is written yet.
    pub fn empty(point: impl Into<String>) -> Self {
        Self {
            point: PointId::new(point),
            back: None,
            intermediate: None,
            fore: None,
            distance: None,
            written: Written::default(),
            place: None,
        }
    }

    /// The sight that gives this row's level: the foresight, or the intermediate sight.
    pub(super) fn level_sight(&self) -> Option<Sight> {
        self.fore.or(self.intermediate)
    }
}

/// A level book worked out.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ReducedBook {
    /// One for each row of the book.
    pub rows: Vec<ReducedRow>,
    /// The standings of the instrument.
    pub setups: Vec<BookSetup>,
    /// The column sums.
    pub sums: BookSums,
    /// The three arithmetic checks of the levels computed here.
    pub checks: Vec<ArithmeticCheck>,
    /// The same checks of what the builder wrote, if anything was.
    pub written: Option<WrittenCheck>,
    /// Measured less known level of the last point, if it is known.
    pub misclosure: Option<ExactLength>,
}

/// One row worked out.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ReducedRow {
    /// Its point.
    pub point: PointId,
    /// The setup it was read from, counted from 1; 0 for the first row, which was known.
    pub setup: usize,
    /// Rise (positive) or fall (negative) from the row before; none on the first row.
    pub step: Option<ExactLength>,
    /// Height above the datum.
    pub level: ExactLength,
    /// How far along the line, as the book has it.
    pub distance: Option<Length>,
}

/// One standing of the instrument in a level book.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct BookSetup {
    /// Height of the line of sight above the datum.
    pub line: ExactLength,
    /// Intermediate sights and foresights taken from it.
    pub n_sights: usize,
}

/// Makes a level book of a plain list of readings.
///
/// The points are named by their number, from 1. `moved_after` holds the numbers (from 1) of the
/// readings after which the instrument was moved: that reading is a foresight and the next one a
/// backsight to the same point.
///
/// # Errors
/// Every place in `moved_after` where the instrument cannot have been moved.
pub fn book_from_list(
    start: ExactLength,
    readings: &[ExactLength],
    moved_after: &[usize],
) -> Result<LevelBook, Vec<BookFault>> {
    let n_readings = readings.len();
    if n_readings < 2 {
        return Err(vec![BookFault::TooShort(n_readings)]);
    }
    let last = n_readings.saturating_sub(2);
    let mut faults = Vec::new();
    let mut before = 0;
    for &after in moved_after {
        // A setup has a backsight and at least one reading more.
        if after < before + 2 || after > last {
            faults.push(BookFault::Moved { after, last });
        }
        before = before.max(after);
    }
    if !faults.is_empty() {
        return Err(faults);
    }
    let mut rows: Vec<BookRow> = Vec::new();
    for (reading_idx, &value) in readings.iter().enumerate() {
        let sight = Some(Sight::new(value));
        // The reading's own number is one more than its index.
        let opens = reading_idx == 0 || moved_after.contains(&reading_idx);
        let closes = reading_idx + 1 == n_readings || moved_after.contains(&(reading_idx + 1));
        if opens && let Some(change_point) = rows.last_mut() {
            change_point.back = sight;
            continue;
        }
        let mut row = BookRow::empty((rows.len() + 1).to_string());
        match (opens, closes) {
            (true, _) => row.back = sight,
            (false, true) => row.fore = sight,
            (false, false) => row.intermediate = sight,
        }
        rows.push(row);
    }
    Ok(LevelBook { start, known_close: None, rows })
}

/// Reduces a level book by height of the line and by rise and fall.
///
/// # Units and sign
/// Up is positive. The misclosure is measured less known.
///
/// # Errors
/// Every fault of the book, each naming its row.
///
/// # Examples
/// ```
/// use floorwright_engine::survey::{book_from_list, reduce_book};
/// use floorwright_engine::units::ExactLength;
///
/// let mm = |mm: i64| ExactLength::nm(mm * 1_000_000);
/// let book = book_from_list(mm(0), &[mm(1420), mm(1388), mm(972), mm(1511), mm(1655)], &[3]);
/// let reduced = reduce_book(&book.unwrap()).unwrap();
/// assert_eq!(reduced.rows[3].level, mm(304));
/// assert!(reduced.checks.iter().all(|check| check.holds()));
/// ```
pub fn reduce_book(book: &LevelBook) -> Result<ReducedBook, Vec<BookFault>> {
    let faults = book_faults(book);
    if !faults.is_empty() {
        return Err(faults);
    }
    let (levels, setups, setup_of_row) = levels_by_line(book);
    let steps = steps(book);
    assert_eq!(
        levels,
        levels_by_steps(book.start, &steps),
        "both ways of reducing a book give the same levels"
    );
    let sums = BookSums::of(book, steps.iter().flatten().copied());
    let rows: Vec<ReducedRow> = book
        .rows
        .iter()
        .enumerate()
        .map(|(row, written)| ReducedRow {
            point: written.point.clone(),
            setup: setup_of_row[row],
            step: steps[row],
            level: levels[row],
            distance: written.distance,
        })
        .collect();
    let last = levels[levels.len() - 1];
    Ok(ReducedBook {
        rows,
        checks: arithmetic_checks(book, &sums, &levels),
        written: check_written(book, &sums, &levels),
        setups,
        sums,
        misclosure: book.known_close.map(|known| last - known),
    })
}

/// Turns a level book into setups, so that least squares reduces the same readings.
///
/// Each standing becomes one [`Setup`] named `setup 1`, `setup 2` and so on, with the backsight
/// first. The known heights are not part of it: they go in as benchmarks.
///
/// # Errors
/// Every fault of the book, each naming its row.
pub fn book_setups(book: &LevelBook, reading_sd: ReadingSd) -> Result<Vec<Setup>, Vec<BookFault>> {
    let faults = book_faults(book);
    if !faults.is_empty() {
        return Err(faults);
    }
    let mut setups: Vec<Setup> = Vec::new();
    for row in &book.rows {
        let reading = |sight: Sight| Reading {
            point: row.point.clone(),
            value: sight.value,
            inverted: sight.inverted,
            time: None,
            sd: None,
            distance: sight.distance,
            place: row.place.clone(),
        };
        if let (Some(sight), Some(setup)) = (row.level_sight(), setups.last_mut()) {
            setup.readings.push(reading(sight));
        }
        if let Some(sight) = row.back {
            setups.push(Setup {
                id: SetupId::new(format!("setup {}", setups.len() + 1)),
                reading_sd,
                scale: 1.0,
                drift: Drift::None,
                readings: vec![reading(sight)],
            });
        }
    }
    Ok(setups)
}

/// Height of line: `line = level + BS`, then `level = line - reading`.
fn levels_by_line(book: &LevelBook) -> (Vec<ExactLength>, Vec<BookSetup>, Vec<usize>) {
    let mut setups: Vec<BookSetup> = Vec::new();
    let mut levels = Vec::with_capacity(book.rows.len());
    let mut setup_of_row = Vec::with_capacity(book.rows.len());
    let mut level = book.start;
    for row in &book.rows {
        setup_of_row.push(setups.len());
        if let (Some(sight), Some(setup)) = (row.level_sight(), setups.last_mut()) {
            level = setup.line - sight.below_line();
            setup.n_sights += 1;
        }
        levels.push(level);
        if let Some(back) = row.back {
            setups.push(BookSetup { line: level + back.below_line(), n_sights: 0 });
        }
    }
    (levels, setups, setup_of_row)
}

/// Rise and fall: within one setup, earlier reading less later reading.
fn steps(book: &LevelBook) -> Vec<Option<ExactLength>> {
    let mut earlier: Option<Sight> = None;
    book.rows
        .iter()
        .map(|row| {
            let step = match (earlier, row.level_sight()) {
                (Some(earlier), Some(later)) => Some(earlier.below_line() - later.below_line()),
                _ => None,
            };
            earlier = row.back.or(row.level_sight());
            step
        })
        .collect()
}

fn levels_by_steps(start: ExactLength, steps: &[Option<ExactLength>]) -> Vec<ExactLength> {
    steps
        .iter()
        .scan(start, |level, step| {
            *level += step.unwrap_or_default();
            Some(*level)
        })
        .collect()
}

impl fmt::Display for BookSetup {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "line of sight at {}, {} sights", self.line, self.n_sights)
    }
}
