//! The level book as a builder keeps it: backsights, intermediate sights and foresights.
//!
//! A backsight (BS) opens a setup, intermediate sights (IS) follow, a foresight (FS) closes it.
//! A change point carries the FS of one setup and the BS of the next: two readings on one point,
//! which are never a rise or a fall. The book is reduced twice, by the height of the line of
//! sight and by rise and fall; all sums are exact.

use super::book_checks::{
    ArithmeticCheck, BookSums, WrittenCheck, arithmetic_checks, check_written,
};
use super::input::{Drift, Reading, ReadingSd, Setup, SourcePlace};
use crate::ids::{PointId, SetupId};
use crate::units::{ExactLength, Length};
use serde::Serialize;
use std::fmt;

/// The longest book that is taken; with the other two bounds it keeps every exact sum in range.
pub const MAX_BOOK_ROWS: usize = 10_000;
/// The longest staff reading that is taken: 20 m.
pub const MAX_BOOK_READING: ExactLength = ExactLength::nm(20_000_000_000);
/// The furthest from the datum that a known or written level may be: 10 km.
pub const MAX_BOOK_LEVEL: ExactLength = ExactLength::nm(10_000_000_000_000);

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

/// Why a level book cannot be reduced.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum BookFault {
    /// Nothing to reduce.
    #[error("a level book needs at least 2 rows, this one has {0}")]
    TooShort(usize),
    /// More rows than the exact sums are proved for.
    #[error("the book has {0} rows, the limit is {MAX_BOOK_ROWS}")]
    TooLong(usize),
    /// A known level that no house has.
    #[error("the known level {0} is more than 10 km from the datum")]
    KnownLevel(ExactLength),
    /// In a plain list: the instrument was moved at a place where that cannot be.
    #[error(
        "the instrument is said to move after reading {after}; it can move after readings 2 to {last}, each later than the one before and with a reading between"
    )]
    Moved {
        /// The number of the reading.
        after: usize,
        /// The last reading it can move after.
        last: usize,
    },
    /// A row that does not fit.
    #[error("row {row} ({point}): {fault}")]
    Row {
        /// Which row, from 1.
        row: usize,
        /// Its point.
        point: PointId,
        /// What is wrong with it.
        fault: RowFault,
    },
}

/// What is wrong with one row of a level book.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum RowFault {
    /// The first row has to open the first setup.
    #[error("the first row has no backsight")]
    FirstWithoutBack,
    /// Nothing can be read from a setup that is not open yet.
    #[error("the first row has an intermediate sight or a foresight, before any setup is open")]
    FirstReadForward,
    /// An empty row.
    #[error("no reading in this row")]
    NothingRead,
    /// One staff position, one reading from one setup.
    #[error("both an intermediate sight and a foresight")]
    IntermediateAndFore,
    /// A new setup begins on a point that the old one did not close on.
    #[error("both an intermediate sight and a backsight")]
    IntermediateAndBack,
    /// A new setup begins on a point that the old one did not close on.
    #[error("a backsight without a foresight to the same point: the change point is not here")]
    BackWithoutFore,
    /// The setup is closed but no other is opened.
    #[error(
        "a foresight without a backsight from the next setup, and rows follow: the change point is not here"
    )]
    ForeWithoutBack,
    /// The last reading of a book is a foresight.
    #[error("the last row has no foresight")]
    LastWithoutFore,
    /// A setup from which nothing is read.
    #[error("the last row opens a setup from which nothing is read")]
    LastOpensSetup,
    /// A reading longer than any staff.
    #[error("a reading of more than 20 m")]
    ReadingOutOfRange,
    /// A level that no house has.
    #[error("a written level or step of more than 10 km")]
    WrittenOutOfRange,
}

impl RowFault {
    /// What to do about it.
    pub fn hint(self) -> &'static str {
        match self {
            Self::FirstWithoutBack | Self::FirstReadForward => {
                "the first row is the known point, with its reading in the BS column"
            }
            Self::NothingRead => "enter the reading or take the row out",
            Self::IntermediateAndFore | Self::IntermediateAndBack => {
                "a change point has FS and BS; any other row has one reading"
            }
            Self::BackWithoutFore | Self::ForeWithoutBack => {
                "before the instrument moves, the last reading goes in FS; the first one after goes in BS on the same row"
            }
            Self::LastWithoutFore => "move the last reading from the IS to the FS column",
            Self::LastOpensSetup => "take the last BS out, or add the readings taken after it",
            Self::ReadingOutOfRange | Self::WrittenOutOfRange => "check the unit",
        }
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

fn book_faults(book: &LevelBook) -> Vec<BookFault> {
    let n_rows = book.rows.len();
    let mut faults = Vec::new();
    if n_rows < 2 {
        faults.push(BookFault::TooShort(n_rows));
    }
    if n_rows > MAX_BOOK_ROWS {
        faults.push(BookFault::TooLong(n_rows));
    }
    for known in [Some(book.start), book.known_close].into_iter().flatten() {
        if known.abs() > MAX_BOOK_LEVEL {
            faults.push(BookFault::KnownLevel(known));
        }
    }
    for (row_idx, row) in book.rows.iter().enumerate() {
        let place = if row_idx == 0 {
            RowPlace::First
        } else if row_idx + 1 == n_rows {
            RowPlace::Last
        } else {
            RowPlace::Between
        };
        faults.extend(row_faults(row, place).into_iter().map(|fault| BookFault::Row {
            row: row_idx + 1,
            point: row.point.clone(),
            fault,
        }));
    }
    faults
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum RowPlace {
    First,
    Between,
    Last,
}

fn row_faults(row: &BookRow, place: RowPlace) -> Vec<RowFault> {
    let mut faults = Vec::new();
    let has = (row.back.is_some(), row.intermediate.is_some(), row.fore.is_some());
    match (place, has) {
        (RowPlace::First, (back, intermediate, fore)) => {
            if !back {
                faults.push(RowFault::FirstWithoutBack);
            }
            if intermediate || fore {
                faults.push(RowFault::FirstReadForward);
            }
        }
        (_, (false, false, false)) => faults.push(RowFault::NothingRead),
        (_, (back, true, fore)) => {
            if fore {
                faults.push(RowFault::IntermediateAndFore);
            }
            if back {
                faults.push(RowFault::IntermediateAndBack);
            }
            if place == RowPlace::Last && !fore {
                faults.push(RowFault::LastWithoutFore);
            }
        }
        (_, (true, false, false)) => faults.push(RowFault::BackWithoutFore),
        (RowPlace::Between, (false, false, true)) => faults.push(RowFault::ForeWithoutBack),
        (RowPlace::Last, (true, false, true)) => faults.push(RowFault::LastOpensSetup),
        (RowPlace::Between, (true, false, true)) | (RowPlace::Last, (false, false, true)) => {}
    }
    let sights = [row.back, row.intermediate, row.fore];
    if sights.into_iter().flatten().any(|sight| sight.value.abs() > MAX_BOOK_READING) {
        faults.push(RowFault::ReadingOutOfRange);
    }
    let written = [row.written.level, row.written.step];
    if written.into_iter().flatten().any(|written| written.abs() > MAX_BOOK_LEVEL) {
        faults.push(RowFault::WrittenOutOfRange);
    }
    faults
}

impl fmt::Display for BookSetup {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "line of sight at {}, {} sights", self.line, self.n_sights)
    }
}
