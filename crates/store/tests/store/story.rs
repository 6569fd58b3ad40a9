//! One story, told to every kind of log: a morning under a house with two phones.

use crate::{arrived, reading, readings};
use floorwright_job::events::{Event, JobId, fold};
use floorwright_store::{EventLog, Head, MemoryLog, Receipt, SqliteLog, Stored};
use proptest::prelude::*;

fn a_morning(log: &mut impl EventLog) {
    let (house, shed) = (JobId::from_bytes([1; 16]), JobId::from_bytes([2; 16]));
    assert_eq!(log.head().unwrap(), Head::default());
    assert_eq!(log.jobs().unwrap(), []);

    // Twelve readings, then one of another job.
    let receipts = log.append(&readings(1, 1..=12)).unwrap();
    let kept: Vec<Receipt> = (1..=12).map(|place| Receipt::Kept { place }).collect();
    assert_eq!(receipts, kept);
    assert_eq!(log.append(&readings(2, 1..=1)).unwrap(), [Receipt::Kept { place: 13 }]);
    let noon = log.head().unwrap();
    assert_eq!(noon.count(), 13);

    // The answer was lost on the way and the phone sends again: nothing new.
    assert_eq!(
        log.append(&readings(1, 11..=12)).unwrap(),
        [11, 12].map(|place| Receipt::Known { place })
    );
    assert_eq!(log.head().unwrap(), noon);

    // Something else under a known id: kept, told, and told the same way again.
    let other = arrived(reading(1, 5, 999));
    let differs = Receipt::Differs { place: 14, first: 5 };
    assert_eq!(log.append(std::slice::from_ref(&other)).unwrap(), [differs]);
    assert_eq!(log.append(&[other]).unwrap(), [Receipt::Known { place: 14 }]);

    // One call may bring the same event twice.
    let twice: Vec<_> = readings(1, 13..=13).into_iter().chain(readings(1, 13..=13)).collect();
    let answers = [Receipt::Kept { place: 15 }, Receipt::Known { place: 15 }];
    assert_eq!(log.append(&twice).unwrap(), answers);

    assert_eq!(log.jobs().unwrap(), [house, shed]);
    assert_eq!(log.of_job(shed).unwrap().len(), 1);
    let of_house = log.of_job(house).unwrap();
    assert_eq!(of_house.len(), 14);
    let job = fold(&events(of_house));
    assert_eq!((job.readings.len(), job.faults.len()), (13, 1));

    // In portions, as a second phone takes them.
    let portions: Vec<u64> = log.after(12, 2).unwrap().iter().map(|stored| stored.place).collect();
    assert_eq!(portions, [13, 14]);
    assert_eq!(log.after(15, 10).unwrap(), []);

    let evening = log.verify(Some(&noon)).unwrap();
    assert_eq!((evening, evening.count()), (log.head().unwrap(), 15));
    assert_eq!(Head::parse(&evening.to_string()), Some(evening));
}

fn events(stored: Vec<Stored>) -> Vec<Event> {
    stored.into_iter().map(|stored| stored.event).collect()
}

#[test]
fn in_memory() {
    a_morning(&mut MemoryLog::default());
}

#[test]
fn in_a_file_that_is_opened_again() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("jobs.floorwright");
    let mut log = SqliteLog::open(&file).unwrap();
    a_morning(&mut log);
    let (head, all) = (log.head().unwrap(), log.after(0, 100).unwrap());
    drop(log);
    let log = SqliteLog::open(&file).unwrap();
    assert_eq!(log.verify(Some(&head)).unwrap(), head);
    assert_eq!(log.after(0, 100).unwrap(), all);
}

#[test]
fn both_kinds_come_to_the_same_hash() {
    let folder = tempfile::tempdir().unwrap();
    let mut filed = SqliteLog::open(&folder.path().join("jobs.floorwright")).unwrap();
    let mut remembered = MemoryLog::default();
    a_morning(&mut filed);
    a_morning(&mut remembered);
    assert_eq!(filed.head().unwrap(), remembered.head().unwrap());
}

#[test]
fn a_head_that_is_none_is_not_read() {
    for text in
        ["", "3", "3-", "x-00", &format!("3-{}", "g".repeat(64)), &format!("-1-{}", "0".repeat(64))]
    {
        assert_eq!(Head::parse(text), None, "{text}");
    }
}

proptest! {
    /// Two devices that send each other what they have hold the same job, however often and in
    /// whatever portions it goes to and fro.
    #[test]
    fn devices_that_met_hold_the_same_job(
        sent in prop::collection::vec((any::<bool>(), 1..20_u64, 1..4_i64), 0..40),
        portion in 1..7_usize,
    ) {
        let (mut one, mut other) = (MemoryLog::default(), MemoryLog::default());
        for (to_one, number, value) in sent {
            let log = if to_one { &mut one } else { &mut other };
            log.append(&[arrived(reading(1, number, value))]).unwrap();
        }
        for _ in 0..2 {
            hand_over(&one, &mut other, portion);
            hand_over(&other, &mut one, portion);
        }
        let job = JobId::from_bytes([1; 16]);
        let of = |log: &MemoryLog| fold(&events(log.of_job(job).unwrap()));
        prop_assert_eq!(of(&one), of(&other));
        let n_before = one.head().unwrap().count();
        hand_over(&other, &mut one, portion);
        prop_assert_eq!(one.head().unwrap().count(), n_before);
    }
}

fn hand_over(from: &MemoryLog, to: &mut MemoryLog, portion: usize) {
    let mut place = 0;
    loop {
        let stored = from.after(place, portion).unwrap();
        let Some(last) = stored.last() else { break };
        place = last.place;
        let batch: Vec<_> = stored.into_iter().map(|stored| arrived(stored.event)).collect();
        to.append(&batch).unwrap();
    }
}
