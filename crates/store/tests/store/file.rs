//! The file: that it cannot be edited unseen, is backed up and restored, and refuses what is not its own.

use crate::readings;
use floorwright_store::{EventLog, Restored, SqliteLog, StoreFault, restore};
use rusqlite::Connection;
use std::path::{Path, PathBuf};
use tempfile::TempDir;

fn folder_with_log(n_readings: u64) -> (TempDir, PathBuf) {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("jobs.floorwright");
    SqliteLog::open(&file).unwrap().append(&readings(1, 1..=n_readings)).unwrap();
    (folder, file)
}

/// While it is open what was written may lie beside the file; folded in, a copy of the one file has it all.
#[test]
fn folded_in_one_file_holds_everything() {
    let folder = tempfile::tempdir().unwrap();
    let (file, copy) = (folder.path().join("jobs.floorwright"), folder.path().join("copy"));
    let mut log = SqliteLog::open(&file).unwrap();
    // Someone else has it open, as the pages do.
    let reader = SqliteLog::open_to_read(&file).unwrap();
    log.append(&readings(1, 1..=40)).unwrap();
    std::fs::copy(&file, &copy).unwrap();
    let alone = SqliteLog::open(&copy).map(|log| log.head().unwrap().count());
    assert!(!matches!(alone, Ok(40)), "the test shows nothing: the copy had everything before");
    std::fs::remove_file(&copy).unwrap();
    assert!(log.fold_in().unwrap());
    std::fs::copy(&file, &copy).unwrap();
    assert_eq!(SqliteLog::open(&copy).unwrap().verify(None).unwrap(), reader.head().unwrap());
    log.append(&readings(1, 41..=42)).unwrap();
    assert_eq!(log.head().unwrap().count(), 42);
}

#[test]
fn rows_can_be_neither_changed_nor_taken_out() {
    let (_folder, file) = folder_with_log(3);
    let connection = Connection::open(&file).unwrap();
    for statement in [
        "UPDATE event SET received = 0",
        "DELETE FROM event WHERE place = 3",
        "REPLACE INTO event SELECT * FROM event WHERE place = 3",
        "INSERT INTO event SELECT 0, id, job, body, zeroblob(32), received, chain FROM event LIMIT 1",
        "INSERT INTO event SELECT 9, zeroblob(3), job, body, digest, received, chain FROM event LIMIT 1",
    ] {
        // A replacement deletes, which fires triggers only if asked to.
        connection.pragma_update(None, "recursive_triggers", true).unwrap();
        assert!(connection.execute(statement, []).is_err(), "{statement}");
    }
}

/// Someone who takes the triggers away and edits is found out, row by row.
#[test]
fn whatever_is_done_behind_its_back_is_found() {
    let edits = [
        ("UPDATE event SET body = replace(body, '1502', '1520') WHERE place = 2", 2),
        ("UPDATE event SET received = received + 1 WHERE place = 2", 2),
        ("UPDATE event SET job = zeroblob(16) WHERE place = 3", 3),
        ("UPDATE event SET chain = zeroblob(32) WHERE place = 1", 1),
        ("DELETE FROM event WHERE place = 2", 3),
        (
            "UPDATE event SET place = 9 WHERE place = 2; UPDATE event SET place = 2 WHERE place = 3; \
             UPDATE event SET place = 3 WHERE place = 9",
            2,
        ),
    ];
    for (edit, expected) in edits {
        let (_folder, file) = folder_with_log(5);
        let connection = Connection::open(&file).unwrap();
        connection
            .execute_batch(&format!(
                "DROP TRIGGER event_never_changes; DROP TRIGGER event_never_goes; {edit}"
            ))
            .unwrap();
        let fault = SqliteLog::open(&file).unwrap().verify(None).unwrap_err();
        assert!(
            matches!(fault, StoreFault::Broken { place, .. } if place == expected),
            "{edit}: {fault}"
        );
    }
}

#[test]
fn rows_cut_off_at_the_end_are_found_against_a_noted_head() {
    let (_folder, file) = folder_with_log(5);
    let noted = SqliteLog::open(&file).unwrap().head().unwrap();
    let connection = Connection::open(&file).unwrap();
    connection
        .execute_batch("DROP TRIGGER event_never_goes; DELETE FROM event WHERE place > 3")
        .unwrap();
    let mut log = SqliteLog::open(&file).unwrap();
    assert_eq!(log.verify(None).unwrap().count(), 3);
    let fault = log.verify(Some(&noted)).unwrap_err();
    assert!(matches!(fault, StoreFault::Broken { place: 4, .. }), "{fault}");
    // Written on from there it is another log than the noted one.
    log.append(&readings(1, 7..=9)).unwrap();
    let fault = log.verify(Some(&noted)).unwrap_err();
    assert!(matches!(fault, StoreFault::Broken { place: 5, .. }), "{fault}");
}

/// A flipped byte either lies where nothing is kept, or is found.
#[test]
fn a_flipped_byte_is_found_or_does_not_matter() {
    let (folder, file) = folder_with_log(4);
    let whole = folder.path().join("whole");
    SqliteLog::open(&file).unwrap().back_up(&whole).unwrap();
    let log = SqliteLog::open_to_read(&whole).unwrap();
    let (head, all) = (log.head().unwrap(), log.after(0, 10).unwrap());
    let bytes = std::fs::read(&whole).unwrap();
    let bent = folder.path().join("bent");
    let mut n_found = 0;
    // Every byte takes a minute; every eleventh, from a different start for each bit, a few seconds.
    let step = if std::env::var_os("FLOORWRIGHT_LONG_TESTS").is_some() { 1 } else { 11 };
    for (start, at) in (0..bytes.len()).step_by(step).enumerate() {
        let mut copy = bytes.clone();
        copy[at] ^= 1 << (start % 8);
        std::fs::write(&bent, &copy).unwrap();
        let read = SqliteLog::open_to_read(&bent)
            .and_then(|log| Ok((log.verify(Some(&head))?, log.after(0, 10)?)));
        match read {
            Ok((found, events)) => assert!(found == head && events == all, "byte {at}"),
            Err(_) => n_found += 1,
        }
    }
    assert!(n_found * step > 2000, "only {n_found} flips were noticed");
}

#[test]
fn a_backup_is_a_log_of_its_own_and_is_never_written_over() {
    let (folder, file) = folder_with_log(20);
    let backup = folder.path().join("backup");
    let mut log = SqliteLog::open(&file).unwrap();
    let head = log.back_up(&backup).unwrap();
    assert_eq!(head, log.head().unwrap());
    assert!(matches!(log.back_up(&backup), Err(StoreFault::InTheWay { .. })));
    log.append(&readings(1, 21..=25)).unwrap();

    let mut copy = SqliteLog::open_to_read(&backup).unwrap();
    assert_eq!(copy.verify(Some(&head)).unwrap(), head);
    assert!(matches!(copy.append(&readings(1, 30..=30)), Err(StoreFault::ReadOnly)));
    assert_eq!(names(folder.path()).iter().filter(|name| name.contains("half")).count(), 0);
}

#[test]
fn a_restore_keeps_the_log_that_was_there() {
    let (folder, file) = folder_with_log(20);
    let backup = folder.path().join("backup");
    let head = SqliteLog::open(&file).unwrap().back_up(&backup).unwrap();
    let mut log = SqliteLog::open(&file).unwrap();
    log.append(&readings(1, 21..=25)).unwrap();
    let later = log.head().unwrap();
    // While the program runs on it, the log is left alone.
    assert!(matches!(restore(&backup, &file), Err(StoreFault::Busy)));
    assert_eq!(log.verify(None).unwrap(), later);
    drop(log);

    let Restored { head: restored, kept } = restore(&backup, &file).unwrap();
    assert_eq!(restored, head);
    assert_eq!(SqliteLog::open(&file).unwrap().verify(None).unwrap(), head);
    assert_eq!(SqliteLog::open(&kept.unwrap()).unwrap().verify(None).unwrap(), later);
}

#[test]
fn a_damaged_log_is_restored_too_and_a_damaged_backup_is_not_used() {
    let (folder, file) = folder_with_log(20);
    let backup = folder.path().join("backup");
    let head = SqliteLog::open(&file).unwrap().back_up(&backup).unwrap();
    std::fs::write(&file, b"something fell on the disk").unwrap();
    assert!(SqliteLog::open(&file).is_err());
    assert_eq!(restore(&backup, &file).unwrap().head, head);

    let mut bytes = std::fs::read(&backup).unwrap();
    // Pages hold copies in their free space as well: all of them.
    for at in 0..bytes.len() - 4 {
        if bytes[at..at + 4] == *b"1507" {
            bytes[at] = b'9';
        }
    }
    let bent = folder.path().join("bent");
    std::fs::write(&bent, bytes).unwrap();
    assert!(restore(&bent, &file).is_err());
    assert_eq!(SqliteLog::open(&file).unwrap().verify(None).unwrap(), head);
}

#[test]
fn a_file_of_another_kind_is_left_as_it_is() {
    let folder = tempfile::tempdir().unwrap();
    let text = folder.path().join("notes.txt");
    std::fs::write(&text, "packers: 20 x 5 mm".repeat(100)).unwrap();
    let other = folder.path().join("other.db");
    Connection::open(&other).unwrap().execute_batch("CREATE TABLE x (y)").unwrap();
    for file in [text, other] {
        let before = std::fs::read(&file).unwrap();
        assert!(matches!(SqliteLog::open(&file), Err(StoreFault::NotALog { .. })));
        assert_eq!(std::fs::read(&file).unwrap(), before);
    }
}

#[test]
fn a_newer_file_is_left_as_it_is() {
    let (_folder, file) = folder_with_log(2);
    Connection::open(&file).unwrap().pragma_update(None, "user_version", 99).unwrap();
    let before = std::fs::read(&file).unwrap();
    let fault = SqliteLog::open(&file).unwrap_err();
    assert!(fault.to_string().contains("layout 99, this program knows 2"), "{fault}");
    assert_eq!(std::fs::read(&file).unwrap(), before);
}

/// A full disk, as SQLite itself knows it: pages run out in the middle of a job.
#[test]
fn a_full_disk_is_told_loses_nothing_and_takes_up_again_once_there_is_room() {
    let (_folder, file) = folder_with_log(3);
    let mut log = SqliteLog::open_with_room(&file, 40).unwrap();
    let mut n_kept = 3;
    let fault = loop {
        match log.append(&readings(1, n_kept + 1..=n_kept + 1)) {
            Ok(_) => n_kept += 1,
            Err(fault) => break fault,
        }
    };
    assert!(matches!(fault, StoreFault::Full), "{fault}");
    assert!(fault.to_string().contains("make room"), "{fault}");
    assert_eq!(log.verify(None).unwrap().count(), n_kept);
    // The same events again, once there is room.
    log.make_room(4000).unwrap();
    log.append(&readings(1, n_kept + 1..=n_kept + 20)).unwrap();
    assert_eq!(log.verify(None).unwrap().count(), n_kept + 20);
}

#[test]
fn a_log_that_another_program_holds_says_so() {
    let (_folder, file) = folder_with_log(2);
    let mut log = SqliteLog::open(&file).unwrap();
    let other = Connection::open(&file).unwrap();
    other.execute_batch("BEGIN IMMEDIATE").unwrap();
    assert!(matches!(log.append(&readings(1, 3..=3)), Err(StoreFault::Busy)));
    other.execute_batch("COMMIT").unwrap();
    assert_eq!(log.append(&readings(1, 3..=3)).unwrap().len(), 1);
}

fn names(folder: &Path) -> Vec<String> {
    std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect()
}
