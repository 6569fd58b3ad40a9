//! Photos: kept once under the hash of their bytes, in every copy of the log, and never unseen changed.

use crate::readings;
use floorwright_store::{
    Arrival, EventLog, MemoryLog, Photo, Receipt, SqliteLog, StoreFault, Writer, restore,
};
use rusqlite::Connection;
use std::sync::mpsc::channel;

const PNG: &[u8] = include_bytes!("../../../job/tests/data/pictures/plain.png");
const JPEG: &[u8] = include_bytes!("../../../job/tests/data/pictures/plain.jpg");
const NOON: Arrival = Arrival(1_790_000_000_000);

fn photo(bytes: &[u8]) -> Photo {
    Photo::new(bytes.to_vec()).unwrap()
}

fn a_few_photos(log: &mut impl EventLog) {
    let (png, jpeg) = (photo(PNG), photo(JPEG));
    assert_eq!(log.photo(png.hash()).unwrap(), None);
    assert_eq!(log.photo_bytes().unwrap(), 0);
    assert_eq!(log.keep_photo(&png, NOON).unwrap(), Receipt::Kept { place: 1 });
    assert_eq!(log.keep_photo(&jpeg, NOON).unwrap(), Receipt::Kept { place: 2 });
    assert_eq!(log.keep_photo(&png, Arrival(NOON.0 + 1)).unwrap(), Receipt::Known { place: 1 });
    assert_eq!(log.photo(png.hash()).unwrap(), Some(png));
    assert_eq!(log.photo(jpeg.hash()).unwrap(), Some(jpeg));
    assert_eq!(log.photo_bytes().unwrap(), (PNG.len() + JPEG.len()) as u64);
    assert_eq!(log.verify(None).unwrap().count(), 0);
}

#[test]
fn kept_once_whatever_the_log_is_kept_in() {
    a_few_photos(&mut MemoryLog::default());
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("jobs.floorwright");
    a_few_photos(&mut SqliteLog::open(&file).unwrap());
    // `sha256sum crates/job/tests/data/pictures/plain.png`
    let name = photo(PNG).hash().to_string();
    assert_eq!(name, "cde3afff06be04cab5f7a4274a81fb501ad3d6da4fd97496adaf899bf7665081");
    let again = SqliteLog::open(&file).unwrap();
    assert_eq!(again.photo(photo(PNG).hash()).unwrap().unwrap().bytes(), PNG);
}

#[test]
fn a_backup_and_what_is_restored_from_it_hold_the_photos() {
    let folder = tempfile::tempdir().unwrap();
    let (file, backup) = (folder.path().join("jobs.floorwright"), folder.path().join("backup"));
    let mut log = SqliteLog::open(&file).unwrap();
    log.append(&readings(1, 1..=5)).unwrap();
    log.keep_photo(&photo(JPEG), NOON).unwrap();
    log.back_up(&backup).unwrap();
    let copy = SqliteLog::open_to_read(&backup).unwrap();
    assert_eq!(copy.photo(photo(JPEG).hash()).unwrap(), Some(photo(JPEG)));
    drop((log, copy));
    std::fs::write(&file, b"something fell on the disk").unwrap();
    restore(&backup, &file).unwrap();
    let restored = SqliteLog::open(&file).unwrap();
    assert_eq!(restored.photo(photo(JPEG).hash()).unwrap(), Some(photo(JPEG)));
}

#[test]
fn a_photo_is_neither_changed_nor_taken_out_and_whoever_does_it_is_found_out() {
    for edit in [
        "UPDATE photo SET bytes = x'ffd8ff' WHERE place = 1",
        "UPDATE photo SET received = 7 WHERE place = 1",
        "DELETE FROM photo WHERE place = 1",
    ] {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("jobs.floorwright");
        let mut log = SqliteLog::open(&file).unwrap();
        log.keep_photo(&photo(PNG), NOON).unwrap();
        log.keep_photo(&photo(JPEG), NOON).unwrap();
        let connection = Connection::open(&file).unwrap();
        assert!(connection.execute(edit, []).is_err(), "{edit}");
        let freed = "DROP TRIGGER photo_never_changes; DROP TRIGGER photo_never_goes;";
        connection.execute_batch(&format!("{freed} {edit}")).unwrap();
        let fault = log.verify(None).unwrap_err();
        assert!(matches!(fault, StoreFault::Broken { .. }), "{edit}: {fault}");
    }
}

#[test]
fn the_writer_keeps_photos_between_readings() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("jobs.floorwright");
    let (writer, thread) = Writer::start(SqliteLog::open(&file).unwrap());
    let (answer, answers) = channel();
    for bytes in [PNG, JPEG, PNG] {
        let answer = answer.clone();
        writer.keep_photo_then(photo(bytes), NOON, move |kept| answer.send(kept).unwrap());
        writer.append(readings(1, 1..=2)).unwrap();
    }
    let places: Vec<u64> = answers.iter().take(3).map(|kept| kept.unwrap().place()).collect();
    assert_eq!(places, [1, 2, 1]);
    drop(writer);
    assert_eq!(thread.join().unwrap().verify(None).unwrap().count(), 2);
}
