//! What can go wrong with a log.

use std::path::PathBuf;

/// What went wrong, in words for the builder.
#[derive(Debug, thiserror::Error)]
pub enum StoreFault {
    /// A newer version wrote the file; it is left as it is.
    #[error("{} was written by a newer version: layout {found}, this program knows {known}; use the newer version, the file is left as it is", file.display())]
    Newer {
        /// The file.
        file: PathBuf,
        /// The layout that it has.
        found: i64,
        /// The newest layout that this program knows.
        known: i64,
    },
    /// The file is something else; it is left as it is.
    #[error("{} is not a log of jobs; name another file, this one is left as it is", file.display())]
    NotALog {
        /// The file.
        file: PathBuf,
    },
    /// Something stands where a new file was to be written.
    #[error("{} is there already and is left as it is; name another file", file.display())]
    InTheWay {
        /// The file.
        file: PathBuf,
    },
    /// Another program has had the file for longer than we wait.
    #[error("another program holds the log; close it and try again, nothing was lost")]
    Busy,
    /// The disk is full. What was handed in is not there, and the log can be written to again as soon as
    /// there is room.
    #[error(
        "the disk did not take it, for it is full; nothing was acknowledged: make room, and it is sent again"
    )]
    Full,
    /// The disk failed.
    #[error(
        "the disk did not take it ({what}); nothing was acknowledged: make room or mend the disk, open the log again and send again"
    )]
    Disk {
        /// What it said.
        what: String,
    },
    /// The log was opened to be read, or the disk failed earlier.
    #[error("the log can only be read now; open it again to write to it")]
    ReadOnly,
    /// A row does not hold.
    #[error("row {place} of the log is not sound: {what}; restore the last backup and compare")]
    Broken {
        /// The row, from 1.
        place: u64,
        /// What is wrong with it.
        what: &'static str,
    },
    /// The file itself is damaged.
    #[error("the file is damaged ({what}); restore the last backup")]
    Damaged {
        /// What is wrong with it.
        what: String,
    },
    /// The thread that writes is gone.
    #[error("the log was closed")]
    Closed,
}

impl From<rusqlite::Error> for StoreFault {
    fn from(error: rusqlite::Error) -> Self {
        use rusqlite::ErrorCode;
        match error.sqlite_error_code() {
            Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => Self::Busy,
            Some(ErrorCode::DatabaseCorrupt | ErrorCode::NotADatabase) | None => {
                Self::Damaged { what: error.to_string() }
            }
            Some(ErrorCode::DiskFull) => Self::Full,
            Some(_) => Self::Disk { what: error.to_string() },
        }
    }
}

impl From<std::io::Error> for StoreFault {
    fn from(error: std::io::Error) -> Self {
        Self::Disk { what: error.to_string() }
    }
}
