//! What can be wrong with a level book; every fault is found at once and names its row.

use super::book::{BookRow, LevelBook};
use crate::ids::PointId;
use crate::units::ExactLength;

/// The longest book that is taken; with the other two bounds it keeps every exact sum in range.
pub const MAX_BOOK_ROWS: usize = 10_000;
/// The longest staff reading that is taken: 20 m.
pub const MAX_BOOK_READING: ExactLength = ExactLength::nm(20_000_000_000);
/// The furthest from the datum that a known or written level may be: 10 km.
pub const MAX_BOOK_LEVEL: ExactLength = ExactLength::nm(10_000_000_000_000);

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

/// Every fault of a book, in the order of its rows.
pub(super) fn book_faults(book: &LevelBook) -> Vec<BookFault> {
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
