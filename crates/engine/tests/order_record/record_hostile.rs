//! Records that cannot be: each is refused with what is wrong, and nothing panics.

use crate::house::{job, setup};
use crate::record::{again, of, pass};
use floorwright_engine::ids::{PointId, SupportId};
use floorwright_engine::plan::{Job, Stage, plan};
use floorwright_engine::record::{DonePass, RecordSettings, Resurvey, WorkDone, record};
use floorwright_engine::survey::Datum;
use floorwright_engine::units::{Length, Level};
use proptest::prelude::*;

const FLAT: [f64; 9] = [0.0, 0.0, 0.0, 0.0, -10.0, 0.0, 0.0, 0.0, 0.0];

fn refused(job: &Job, done: &WorkDone, expected: &str) {
    match record(job, &plan(job), done, &RecordSettings::default()) {
        Stage::Stopped(reasons) => {
            let said: Vec<&str> = reasons.iter().map(|reason| reason.what.as_str()).collect();
            assert!(said.iter().any(|what| what.contains(expected)), "{expected}: {said:?}");
        }
        other => panic!("{expected}: {other:?}"),
    }
}

fn passes(passes: Vec<DonePass>) -> WorkDone {
    WorkDone { passes, again: vec![] }
}

#[test]
fn records_that_cannot_be_are_refused() {
    let job = job(FLAT);
    refused(&job, &passes(vec![pass(1, &[("Z9", 5.0)])]), "support Z9, which is not there");
    refused(&job, &passes(vec![pass(2, &[("B2", 5.0)])]), "pass 2 stands where pass 1 has to");
    refused(&job, &passes(vec![pass(1, &[]), pass(1, &[])]), "pass 1 stands where pass 2 has to");
    refused(&job, &passes(vec![pass(1, &[("B2", f64::NAN)])]), "not a length");
    refused(&job, &passes(vec![pass(1, &[("B2", f64::INFINITY)])]), "not a length");
    for piece in [-5.0, 0.0, f64::NAN] {
        let mut done = passes(vec![pass(1, &[("B2", 5.0)])]);
        done.passes[0].lifted[0].packers = Some(vec![Length::mm(piece)]);
        refused(&job, &done, "not a length");
    }
    let read = |after: &[u32]| WorkDone {
        passes: vec![pass(1, &[("B2", 5.0)])],
        again: after.iter().map(|&after| again(after, FLAT, 0.0)).collect(),
    };
    refused(&job, &read(&[2]), "out of order");
    refused(&job, &read(&[0]), "out of order");
    refused(&job, &read(&[1, 1]), "out of order");
}

#[test]
fn every_fault_is_said_at_once() {
    let done = passes(vec![pass(3, &[("Z9", 5.0), ("B2", f64::NAN)])]);
    let job = job(FLAT);
    let Stage::Stopped(reasons) = record(&job, &plan(&job), &done, &RecordSettings::default())
    else {
        panic!("it was not refused")
    };
    assert_eq!(reasons.len(), 3, "{reasons:?}");
}

#[test]
fn levels_counted_from_the_floor_tell_no_movement() {
    let done = WorkDone { passes: vec![pass(1, &[("B2", 5.0)])], again: vec![again(1, FLAT, 0.0)] };
    let mut on_floor = job(FLAT);
    on_floor.survey.benchmarks[0].point = PointId::new("A1");
    refused(&on_floor, &done, "counted from A1, which moves");
    let mut zero = job(FLAT);
    zero.survey.benchmarks.clear();
    zero.survey.datum = Datum::PointIsZero(PointId::new("A1"));
    refused(&zero, &done, "counted from A1, which moves");
    zero.survey.datum = Datum::PointIsZero(PointId::new("BM"));
    assert_eq!(of(&zero, &done).steps.len(), 1);
    let mut free = job(FLAT);
    free.survey.benchmarks.clear();
    free.survey.datum = Datum::Free { approximate: vec![(PointId::new("A1"), Level::DATUM)] };
    refused(&free, &done, "mean of the floor");
}

#[test]
fn a_reading_again_that_hangs_on_no_benchmark_is_refused() {
    let mut alone = setup("alone", FLAT, 0.0);
    alone.readings.remove(0);
    let done = WorkDone {
        passes: vec![pass(1, &[("B2", 5.0)])],
        again: vec![Resurvey { after_pass: 1, setups: vec![alone] }],
    };
    refused(&job(FLAT), &done, "hangs on no benchmark");
}

/// Half of the floor was read again: the other half is not guessed.
#[test]
fn what_was_not_read_again_is_not_told() {
    let mut half = setup("half", FLAT, 0.0);
    half.readings.truncate(5); // benchmark, A1, A2, A3, B1
    let done = WorkDone {
        passes: vec![pass(1, &[("B2", 5.0)])],
        again: vec![Resurvey { after_pass: 1, setups: vec![half] }],
    };
    let record = of(&job(FLAT), &done);
    let told: Vec<bool> =
        record.steps[0].supports.iter().map(|moved| moved.difference.is_some()).collect();
    assert_eq!(told, [true, true, true, true, false, false, false, false, false]);
    assert!(record.did_not_follow().is_empty());
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn no_record_panics_or_makes_what_is_not_a_number(
        before in prop::array::uniform9(-40.0..10.0_f64),
        now in prop::array::uniform9(-40.0..10.0_f64),
        lifts in prop::collection::vec((0..9_usize, -30.0..60.0_f64), 0..6),
        number in 0..3_u32,
        after in 0..3_u32,
    ) {
        let names = crate::house::NAMES;
        let lifts: Vec<(&str, f64)> = lifts.iter().map(|&(n, lift)| (names[n], lift)).collect();
        let done = WorkDone {
            passes: vec![pass(number, &lifts)],
            again: vec![again(after, now, 0.0)],
        };
        let job = job(before);
        if let Stage::Done(record) =
            record(&job, &plan(&job), &done, &RecordSettings::default())
        {
            prop_assert_eq!((number, after), (1, 1));
            for moved in &record.steps[0].supports {
                let found = moved.difference.unwrap();
                prop_assert!(found.sd.is_finite() && found.sd >= Length::ZERO);
                let sum: Length = done.passes[0]
                    .lifted
                    .iter()
                    .filter(|row| row.support == moved.support)
                    .map(|row| row.lift)
                    .sum();
                prop_assert!((moved.lifted - sum).abs() < Length::mm(1e-9));
            }
            let known = job.site.supports().iter().map(|support| support.id.clone());
            prop_assert_eq!(known.collect::<Vec<SupportId>>(),
                record.supports.iter().map(|it| it.support.clone()).collect::<Vec<_>>());
        } else {
            prop_assert!((number, after) != (1, 1));
        }
    }
}
