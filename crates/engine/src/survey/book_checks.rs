//! The arithmetic checks of a level book, as values that can fail.

use super::book::LevelBook;
use crate::ids::PointId;
use crate::units::ExactLength;
use serde::Serialize;
use std::fmt;

/// The column sums of a level book. An inverted reading counts as minus.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
pub struct BookSums {
    /// Backsights.
    pub back: ExactLength,
    /// Intermediate sights.
    pub intermediate: ExactLength,
    /// Foresights.
    pub fore: ExactLength,
    /// Rises.
    pub rise: ExactLength,
    /// Falls, as a positive number.
    pub fall: ExactLength,
}

/// What two sides an arithmetic check compares.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum CheckKind {
    /// Sum of BS less sum of FS against last level less first. Says nothing about
    /// intermediate sights.
    BackLessFore,
    /// Sum of rises less sum of falls against sum of BS less sum of FS; not against the levels,
    /// which wrong steps would lead astray in the same way.
    RiseLessFall,
    /// Sum of IS, FS and all levels but the first against each line of sight times the number of
    /// sights taken from it. Covers the intermediate sights.
    LineTimesSights,
}

/// One arithmetic check: two sums that have to be the same number.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct ArithmeticCheck {
    /// What is compared.
    pub kind: CheckKind,
    /// The sum of readings, or of readings and levels.
    pub left: ExactLength,
    /// What it has to be.
    pub right: ExactLength,
}

impl ArithmeticCheck {
    /// Whether both sides are the same, to the last nanometre.
    pub fn holds(&self) -> bool {
        self.left == self.right
    }

    /// Left less right.
    pub fn out_by(&self) -> ExactLength {
        self.left - self.right
    }
}

/// What the builder wrote in the computed columns, checked.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct WrittenCheck {
    /// The checks that what was written is enough for.
    pub checks: Vec<ArithmeticCheck>,
    /// The rows where a slip was made; rows that only carry it on are not named.
    pub slips: Vec<Slip>,
}

impl WrittenCheck {
    /// Whether every check holds and no row has a slip.
    pub fn holds(&self) -> bool {
        self.slips.is_empty() && self.checks.iter().all(ArithmeticCheck::holds)
    }
}

/// A written figure that the readings do not bear out.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Slip {
    /// Which row, from 1.
    pub row: usize,
    /// Its point.
    pub point: PointId,
    /// Level or step.
    pub column: WrittenColumn,
    /// What was written.
    pub written: ExactLength,
    /// What the readings give, going on from the levels written so far.
    pub expected: ExactLength,
}

/// A column of the book that is worked out from others.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum WrittenColumn {
    /// The reduced level.
    Level,
    /// The rise or fall.
    Step,
}

impl BookSums {
    /// Adds the columns up.
    pub(super) fn of(book: &LevelBook, steps: impl Iterator<Item = ExactLength>) -> Self {
        let mut sums = Self::default();
        for row in &book.rows {
            let column = |sight: Option<super::book::Sight>| {
                sight.map(super::book::Sight::below_line).unwrap_or_default()
            };
            sums.back += column(row.back);
            sums.intermediate += column(row.intermediate);
            sums.fore += column(row.fore);
        }
        sums.add_steps(steps);
        sums
    }

    fn add_steps(&mut self, steps: impl Iterator<Item = ExactLength>) {
        for step in steps {
            if step > ExactLength::ZERO {
                self.rise += step;
            } else {
                self.fall += -step;
            }
        }
    }
}

/// The three checks of a complete column of levels.
pub(super) fn arithmetic_checks(
    book: &LevelBook,
    sums: &BookSums,
    levels: &[ExactLength],
) -> Vec<ArithmeticCheck> {
    let first_and_last = levels.first().zip(levels.last());
    let mut checks: Vec<ArithmeticCheck> = first_and_last
        .map(|(&first, &last)| back_less_fore(sums, last - first))
        .into_iter()
        .collect();
    checks.push(rise_less_fall(sums));
    checks.push(line_times_sights(book, sums, levels));
    checks
}

fn back_less_fore(sums: &BookSums, last_less_first: ExactLength) -> ArithmeticCheck {
    ArithmeticCheck {
        kind: CheckKind::BackLessFore,
        left: sums.back - sums.fore,
        right: last_less_first,
    }
}

fn rise_less_fall(sums: &BookSums) -> ArithmeticCheck {
    ArithmeticCheck {
        kind: CheckKind::RiseLessFall,
        left: sums.rise - sums.fall,
        right: sums.back - sums.fore,
    }
}

fn line_times_sights(book: &LevelBook, sums: &BookSums, levels: &[ExactLength]) -> ArithmeticCheck {
    let mut left = sums.intermediate + sums.fore;
    let mut right = ExactLength::ZERO;
    let mut line = ExactLength::ZERO;
    for (row_idx, (row, &level)) in book.rows.iter().zip(levels).enumerate() {
        if row_idx > 0 {
            left += level;
            right += line;
        }
        if let Some(back) = row.back {
            line = level + back.below_line();
        }
    }
    ArithmeticCheck { kind: CheckKind::LineTimesSights, left, right }
}

/// Checks what the builder wrote; `None` if nothing was.
pub(super) fn check_written(
    book: &LevelBook,
    sums: &BookSums,
    computed: &[ExactLength],
) -> Option<WrittenCheck> {
    let written_levels: Vec<Option<ExactLength>> =
        book.rows.iter().map(|row| row.written.level).collect();
    let written_steps: Vec<Option<ExactLength>> =
        book.rows.iter().map(|row| row.written.step).collect();
    if written_levels.iter().chain(&written_steps).all(Option::is_none) {
        return None;
    }
    let mut checks = Vec::new();
    let first = written_levels[0].unwrap_or(book.start);
    if let Some(&Some(last)) = written_levels.last() {
        checks.push(back_less_fore(sums, last - first));
    }
    if written_steps[1..].iter().all(Option::is_some) {
        let mut written_sums =
            BookSums { rise: ExactLength::ZERO, fall: ExactLength::ZERO, ..*sums };
        written_sums.add_steps(written_steps.iter().flatten().copied());
        checks.push(rise_less_fall(&written_sums));
    }
    let complete: Option<Vec<ExactLength>> =
        std::iter::once(Some(first)).chain(written_levels[1..].iter().copied()).collect();
    if let Some(levels) = complete {
        checks.push(line_times_sights(book, sums, &levels));
    }
    Some(WrittenCheck { checks, slips: slips(book, computed) })
}

/// Compares row by row, each setup going on from the level written where it opened.
fn slips(book: &LevelBook, computed: &[ExactLength]) -> Vec<Slip> {
    let mut slips = Vec::new();
    let mut line = ExactLength::ZERO;
    let mut earlier = ExactLength::ZERO;
    for (row_idx, row) in book.rows.iter().enumerate() {
        let mut compare = |column, written: Option<ExactLength>, expected| {
            if let Some(written) = written
                && written != expected
            {
                let point = row.point.clone();
                slips.push(Slip { row: row_idx + 1, point, column, written, expected });
            }
        };
        match row.level_sight() {
            Some(sight) if row_idx > 0 => {
                let below = sight.below_line();
                compare(WrittenColumn::Level, row.written.level, line - below);
                compare(WrittenColumn::Step, row.written.step, earlier - below);
                earlier = below;
            }
            _ => compare(WrittenColumn::Level, row.written.level, book.start),
        }
        if let Some(back) = row.back {
            earlier = back.below_line();
            line = row.written.level.unwrap_or(computed[row_idx]) + earlier;
        }
    }
    slips
}

impl fmt::Display for ArithmeticCheck {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (left, right) = match self.kind {
            CheckKind::BackLessFore => ("sum of BS less sum of FS", "last level less first"),
            CheckKind::RiseLessFall => ("rises less falls", "sum of BS less sum of FS"),
            CheckKind::LineTimesSights => {
                ("sum of IS, FS and levels", "lines of sight times their sights")
            }
        };
        let verdict = if self.holds() { "holds" } else { "fails" };
        write!(f, "{left} {} against {right} {}: {verdict}", self.left, self.right)
    }
}

impl fmt::Display for Slip {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let column = match self.column {
            WrittenColumn::Level => "level",
            WrittenColumn::Step => "rise or fall",
        };
        write!(
            f,
            "row {} ({}): {column} is written as {}, the readings give {}",
            self.row, self.point, self.written, self.expected
        )
    }
}
