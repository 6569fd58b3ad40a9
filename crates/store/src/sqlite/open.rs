//! Opening a file, and bringing an older one up to date.

use super::{SqliteLog, backup};
use crate::StoreFault;
use rusqlite::{Connection, OpenFlags};
use rusqlite_migration::{M, Migrations};
use std::path::{Path, PathBuf};
use std::time::Duration;

/// Marks a file as ours: "FlWr" in ASCII (<https://www.sqlite.org/pragma.html#pragma_application_id>).
const APPLICATION_ID: i64 = 0x466c_5772;

/// How long we wait for another program to let go of the file.
const PATIENCE: Duration = Duration::from_secs(5);

/// Layouts, oldest first. A layout that was released is never edited: the next one is added.
const LAYOUTS: &[M<'static>] = &[
    M::up(include_str!("../../migrations/20261126080000_log.sql")),
    M::up(include_str!("../../migrations/20261126120000_photos.sql")),
];

impl SqliteLog {
    /// Opens the log in a file, or begins one there. A file of an older layout is first copied to a
    /// neighbour and then brought up to date in one transaction.
    ///
    /// # Errors
    /// [`StoreFault`]; a file that is not ours or is newer is left as it is.
    pub fn open(file: &Path) -> Result<Self, StoreFault> {
        open_with(file, LAYOUTS)
    }

    /// Opens a log to be read only; nothing is created or brought up to date.
    ///
    /// # Errors
    /// [`StoreFault`].
    pub fn open_to_read(file: &Path) -> Result<Self, StoreFault> {
        let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let connection = Connection::open_with_flags(file, flags)?;
        connection.busy_timeout(PATIENCE)?;
        match layout_of(&connection, file)? {
            0 => Err(StoreFault::NotALog { file: file.to_owned() }),
            found if found > LAYOUTS.len() as i64 => Err(newer(file, found, LAYOUTS)),
            _ => Ok(Self { connection, only_reads: true }),
        }
    }
}

pub(super) fn open_with(file: &Path, layouts: &[M<'static>]) -> Result<SqliteLog, StoreFault> {
    let mut connection = Connection::open(file)?;
    connection.busy_timeout(PATIENCE)?;
    let found = layout_of(&connection, file)?;
    if found > layouts.len() as i64 {
        return Err(newer(file, found, layouts));
    }
    settle(&connection)?;
    if found > 0 && found < layouts.len() as i64 {
        backup::copy(&connection, &before_upgrade(file, found))?;
    }
    if found == 0 {
        connection.pragma_update(None, "application_id", APPLICATION_ID)?;
    }
    Migrations::from_slice(layouts)
        .to_latest(&mut connection)
        .map_err(|error| StoreFault::Damaged { what: error.to_string() })?;
    Ok(SqliteLog { connection, only_reads: false })
}

/// The layout of a file; 0 for a new one.
fn layout_of(connection: &Connection, file: &Path) -> Result<i64, StoreFault> {
    let number = |pragma: &str| -> Result<i64, StoreFault> {
        connection.pragma_query_value(None, pragma, |row| row.get(0)).map_err(|error| {
            match error.sqlite_error_code() {
                Some(rusqlite::ErrorCode::NotADatabase) => {
                    StoreFault::NotALog { file: file.to_owned() }
                }
                _ => error.into(),
            }
        })
    };
    let (marked, layout) = (number("application_id")?, number("user_version")?);
    let n_things: i64 =
        connection.query_row("SELECT count(*) FROM sqlite_schema", [], |row| row.get(0))?;
    let is_new = marked == 0 && layout == 0 && n_things == 0;
    if marked == APPLICATION_ID || is_new {
        Ok(layout)
    } else {
        Err(StoreFault::NotALog { file: file.to_owned() })
    }
}

/// The settings under which a commit that returned is on the disk.
fn settle(connection: &Connection) -> Result<(), StoreFault> {
    let mode: String =
        connection.pragma_update_and_check(None, "journal_mode", "WAL", |row| row.get(0))?;
    if mode != "wal" && mode != "memory" {
        return Err(StoreFault::Disk { what: format!("journal mode {mode} in place of wal") });
    }
    connection.pragma_update(None, "synchronous", "FULL")?;
    connection.pragma_update(None, "foreign_keys", true)?;
    connection.pragma_update(None, "trusted_schema", false)?;
    connection.pragma_update(None, "cell_size_check", true)?;
    Ok(())
}

fn newer(file: &Path, found: i64, layouts: &[M<'static>]) -> StoreFault {
    StoreFault::Newer { file: file.to_owned(), found, known: layouts.len() as i64 }
}

fn before_upgrade(file: &Path, layout: i64) -> PathBuf {
    backup::beside(file, &format!("before-upgrade-of-layout-{layout}"))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::EventLog;

    #[test]
    fn an_older_file_is_copied_before_it_is_brought_up_to_date() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("jobs.floorwright");
        let head = SqliteLog::open(&file).unwrap().head().unwrap();
        let mut layouts = LAYOUTS.to_vec();
        layouts.push(M::up("CREATE TABLE extra (x INTEGER) STRICT;"));

        let log = open_with(&file, &layouts).unwrap();
        assert_eq!(log.verify(Some(&head)).unwrap(), head);
        let copy = folder.path().join("jobs.floorwright.before-upgrade-of-layout-2");
        let copied = SqliteLog::open_to_read(&copy).unwrap();
        assert_eq!(copied.verify(Some(&head)).unwrap(), head);
        drop(log);

        let refused = SqliteLog::open(&file).unwrap_err();
        assert!(matches!(refused, StoreFault::Newer { found: 3, known: 2, .. }), "{refused}");
    }

    /// What the first release wrote: opened to be read it is as it was, opened to be written it
    /// learns to keep photos.
    #[test]
    fn a_file_from_before_there_were_photos_is_read_and_brought_up_to_date() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("jobs.floorwright");
        drop(open_with(&file, &LAYOUTS[..1]).unwrap());
        let png = include_bytes!("../../../job/tests/data/pictures/plain.png").to_vec();
        let photo = crate::Photo::new(png).unwrap();
        let old = SqliteLog::open_to_read(&file).unwrap();
        assert_eq!(old.verify(None).unwrap().count(), 0);
        assert_eq!(old.photo(photo.hash()).unwrap(), None);
        drop(old);
        let mut log = SqliteLog::open(&file).unwrap();
        log.keep_photo(&photo, crate::Arrival(1)).unwrap();
        assert_eq!(log.photo(photo.hash()).unwrap(), Some(photo));
    }

    #[test]
    fn an_upgrade_that_fails_leaves_the_file_as_it_was() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("jobs.floorwright");
        drop(SqliteLog::open(&file).unwrap());
        let mut layouts = LAYOUTS.to_vec();
        layouts.push(M::up("CREATE TABLE half (x INTEGER) STRICT; CREATE TABLE event (x);"));
        assert!(open_with(&file, &layouts).is_err());
        let log = SqliteLog::open(&file).unwrap();
        let n_half: i64 = log
            .connection
            .query_row("SELECT count(*) FROM sqlite_schema WHERE name = 'half'", [], |row| {
                row.get(0)
            })
            .unwrap();
        assert_eq!(n_half, 0);
    }

    #[test]
    fn the_settings_that_keep_a_commit_through_a_power_cut_are_on() {
        let folder = tempfile::tempdir().unwrap();
        let log = SqliteLog::open(&folder.path().join("jobs.floorwright")).unwrap();
        let text = |pragma: &str| -> String {
            log.connection
                .pragma_query_value(None, pragma, |row| row.get::<_, rusqlite::types::Value>(0))
                .map(|value| format!("{value:?}"))
                .unwrap()
        };
        assert_eq!(text("journal_mode"), "Text(\"wal\")");
        assert_eq!(text("synchronous"), "Integer(2)");
        assert_eq!(text("foreign_keys"), "Integer(1)");
        assert_eq!(text("trusted_schema"), "Integer(0)");
        assert_eq!(text("application_id"), format!("Integer({APPLICATION_ID})"));
        assert_eq!(text("user_version"), "Integer(2)");
    }
}
