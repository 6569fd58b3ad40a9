//! Copies of a log that were opened and gone through before they are called a backup.

use super::SqliteLog;
use crate::{EventLog, Head, StoreFault};
use rusqlite::Connection;
use rusqlite::backup::Backup;
use std::fs::File;
use std::path::{Path, PathBuf};
use std::time::Duration;

/// Pages copied before other programs get their turn.
const PAGES_A_TURN: i32 = 1000;

impl SqliteLog {
    /// Copies the log to a new file while it may be in use, and goes through the copy.
    ///
    /// The live file must never be copied by other means: what was committed last may still be in its
    /// neighbour ending in `-wal`.
    ///
    /// # Errors
    /// [`StoreFault::InTheWay`] if the file is there; otherwise what the disk or the copy has.
    pub fn back_up(&self, to: &Path) -> Result<Head, StoreFault> {
        copy(&self.connection, to)
    }
}

/// What a restore did.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Restored {
    /// The log as it is now.
    pub head: Head,
    /// Where the log that was there before is kept.
    pub kept: Option<PathBuf>,
}

/// Puts a backup in the place of a log. The log that was there is kept under another name, with its
/// neighbours, whether it can be read or not.
///
/// # Errors
/// [`StoreFault`] if the backup is not sound or another program has the log open; the log is then
/// left as it is.
pub fn restore(backup: &Path, log: &Path) -> Result<Restored, StoreFault> {
    let source = SqliteLog::open_to_read(backup)?;
    source.verify(None)?;
    let fresh = unused(log, "restoring");
    let head = copy(&source.connection, &fresh)?;
    let mut kept = None;
    if log.try_exists()? {
        if let Err(StoreFault::Busy) = close_for_all(log) {
            std::fs::remove_file(&fresh)?;
            return Err(StoreFault::Busy);
        }
        let old = unused(log, "before-restore");
        for ending in ["", "-wal", "-shm"] {
            let neighbour = with_ending(log, ending);
            if neighbour.try_exists()? {
                std::fs::rename(neighbour, with_ending(&old, ending))?;
            }
        }
        kept = Some(old);
    }
    std::fs::rename(&fresh, log)?;
    sync_folder(log)?;
    Ok(Restored { head, kept })
}

/// Makes sure that no other program has the log open, and brings its write-ahead log home.
fn close_for_all(log: &Path) -> Result<(), StoreFault> {
    let connection = Connection::open(log)?;
    connection.busy_timeout(Duration::from_secs(1))?;
    connection.pragma_update(None, "locking_mode", "EXCLUSIVE")?;
    connection.execute_batch("BEGIN EXCLUSIVE; COMMIT;")?;
    Ok(())
}

/// Copies through SQLite's own backup, goes through the copy, and gives it its name last.
pub(super) fn copy(connection: &Connection, to: &Path) -> Result<Head, StoreFault> {
    if to.try_exists()? {
        return Err(StoreFault::InTheWay { file: to.to_owned() });
    }
    let half = unused(to, "half");
    let copied = copy_to(connection, &half);
    match copied {
        Ok(head) => {
            std::fs::rename(&half, to)?;
            sync_folder(to)?;
            Ok(head)
        }
        Err(fault) => {
            // The half of a copy is of no use to anyone; that it cannot be removed is not the news.
            let _ = std::fs::remove_file(&half);
            Err(fault)
        }
    }
}

fn copy_to(connection: &Connection, half: &Path) -> Result<Head, StoreFault> {
    {
        let mut target = Connection::open(half)?;
        Backup::new(connection, &mut target)?.run_to_completion(
            PAGES_A_TURN,
            Duration::from_millis(1),
            None,
        )?;
        // A backup is one file that can be carried away.
        let mode: String =
            target.pragma_update_and_check(None, "journal_mode", "DELETE", |row| row.get(0))?;
        if mode != "delete" {
            return Err(StoreFault::Disk {
                what: format!("journal mode {mode} in place of delete"),
            });
        }
    }
    let head = SqliteLog::open_to_read(half)?.verify(None)?;
    File::open(half)?.sync_all()?;
    Ok(head)
}

/// A name beside a file that says what it is.
pub(super) fn beside(file: &Path, what: &str) -> PathBuf {
    with_ending(file, &format!(".{what}"))
}

fn with_ending(file: &Path, ending: &str) -> PathBuf {
    let mut name = file.as_os_str().to_owned();
    name.push(ending);
    name.into()
}

/// The first name beside a file that nothing stands under.
fn unused(file: &Path, what: &str) -> PathBuf {
    let numbered = (2..).map(|number: u32| beside(file, &format!("{what}-{number}")));
    std::iter::once(beside(file, what))
        .chain(numbered)
        .find(|name| !name.exists())
        .expect("names do not run out")
}

/// A name is on the disk only once its folder is.
fn sync_folder(file: &Path) -> Result<(), StoreFault> {
    let folder = match file.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    };
    Ok(File::open(folder)?.sync_all()?)
}
