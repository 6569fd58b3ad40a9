use super::*;
use crate::events::{About, Block, DeviceId, JobId, Kind, Note, WallClock};
use crate::form_v1::{GoalForm, PassForm, PointForm, Quantity, SupportForm};
use crate::photo::PhotoHash;
use proptest::prelude::*;
use serde_json::{Value, json};

fn id(number: u64) -> EventId {
    let mut bytes = [0; 16];
    bytes[8..].copy_from_slice(&number.to_be_bytes());
    EventId::from_bytes(bytes)
}

fn event(number: u64, device: u8, tick: u64, change: &Change) -> Event {
    Event {
        id: id(number),
        job: JobId::from_bytes([7; 16]),
        device: DeviceId::from_bytes([device; 16]),
        seq: number,
        tick,
        // Clocks that run backwards: they must not matter.
        at: WallClock { unix_ms: 1_000_000 - number as i64, offset_minutes: 780 },
        elapsed_ms: None,
        change: serde_json::to_value(change).unwrap(),
    }
}

fn read(point: &str, reading: f64) -> Change {
    Change::Read { setup: "S1".to_owned(), reading: row(point, reading) }
}

fn row(point: &str, reading: f64) -> ReadingForm {
    ReadingForm {
        point: point.to_owned(),
        reading: Some(Quantity::Number(reading)),
        ..ReadingForm::default()
    }
}

fn support(name: &str) -> SupportForm {
    SupportForm { id: name.to_owned(), ..SupportForm::default() }
}

fn note(about: About, text: &str) -> Change {
    let photo = PhotoHash::from_bytes([0xab; 32]);
    Change::Note { note: Note { about, text: text.to_owned(), crack: true, photo: Some(photo) } }
}

fn put_support(name: &str) -> Change {
    Change::Put { thing: Box::new(Thing::Support(support(name))) }
}

/// The rows of the only setup, as point and number.
fn rows(job: &FoldedJob) -> Vec<(String, f64)> {
    assert_eq!(job.form.setup.len(), 1);
    let Some(RowsForm::Rows(rows)) = &job.form.setup[0].readings else { panic!("no rows") };
    rows.iter()
        .map(|row| match row.reading {
            Some(Quantity::Number(number)) => (row.point.clone(), number),
            _ => panic!("no number"),
        })
        .collect()
}

#[test]
fn a_reading_from_a_setup_that_nobody_described_is_kept() {
    let job = fold(&[event(1, 1, 1, &read("A1", 1612.0))]);
    assert_eq!(rows(&job), [("A1".to_owned(), 1612.0)]);
    assert_eq!(job.form.setup[0].id, "S1");
    assert_eq!((job.tick, job.faults.len()), (1, 0));
}

#[test]
fn a_setup_described_anew_keeps_its_readings() {
    let setup = |note: &str, readings: Option<RowsForm<ReadingForm>>| Change::Put {
        thing: Box::new(Thing::Setup(SetupForm {
            id: "S1".to_owned(),
            note: Some(note.to_owned()),
            readings,
            ..SetupForm::default()
        })),
    };
    let job = fold(&[
        event(1, 1, 1, &setup("as imported", Some(RowsForm::Rows(vec![row("A1", 1500.0)])))),
        event(2, 1, 2, &read("A2", 1510.0)),
        event(3, 1, 3, &setup("hose filled anew", None)),
    ]);
    assert_eq!(rows(&job), [("A1".to_owned(), 1500.0), ("A2".to_owned(), 1510.0)]);
    assert_eq!(job.form.setup[0].note.as_deref(), Some("hose filled anew"));
}

#[test]
fn setups_stand_in_the_order_in_which_they_were_begun() {
    let later = Change::Put {
        thing: Box::new(Thing::Setup(SetupForm { id: "S2".to_owned(), ..SetupForm::default() })),
    };
    let job = fold(&[event(1, 1, 1, &read("A1", 1612.0)), event(2, 1, 2, &later)]);
    let names: Vec<_> = job.form.setup.iter().map(|setup| setup.id.as_str()).collect();
    assert_eq!(names, ["S1", "S2"]);
}

#[test]
fn a_remark_with_a_photo_is_kept_as_it_was_sent_and_can_be_taken_back() {
    let sent = json!({
        "did": "note",
        "note": { "about": { "pass": 2 }, "text": "over the door", "crack": true, "photo": "ab".repeat(32) },
    });
    let made = note(About::Pass(2), "over the door");
    assert_eq!(Change::deserialize(&sent).unwrap(), made);
    let events = [event(1, 1, 1, &made), event(2, 1, 2, &Change::Undo { event: id(1) })];
    assert_eq!(fold(&events[..1]).notes.len(), 1);
    assert_eq!(fold(&events).notes, []);
    let unnamed = json!({ "did": "note", "note": { "about": { "point": "A1" }, "photo": "../x" } });
    assert!(Change::deserialize(&unnamed).is_err());
}

#[test]
fn the_last_picture_behind_the_map_counts_until_it_is_taken_away() {
    let picture = json!({ "did": "backdrop", "backdrop": {
        "photo": "cd".repeat(32), "width": 1600, "height": 1200,
        "marks": [{ "pixel": [10, 20], "at": "A1" }, { "pixel": [900, 20.5], "at": ["5.4 m", 0] }],
    } });
    let put = Change::deserialize(&picture).unwrap();
    let away = Change::deserialize(&json!({ "did": "backdrop" })).unwrap();
    let events = [
        event(1, 1, 1, &put),
        event(2, 1, 2, &away),
        event(3, 1, 3, &Change::Undo { event: id(2) }),
    ];
    assert_eq!(fold(&events[..1]).backdrop.unwrap().width, 1600);
    assert_eq!(fold(&events[..2]).backdrop, None);
    assert!(fold(&events).backdrop.is_some());
}

#[test]
fn taking_back_and_bringing_back() {
    let events = [
        event(1, 1, 1, &read("A1", 1612.0)),
        event(2, 1, 2, &read("A2", 1700.0)),
        event(3, 1, 3, &Change::Undo { event: id(2) }),
        event(4, 1, 4, &Change::Undo { event: id(3) }),
    ];
    assert_eq!(rows(&fold(&events[..3])), [("A1".to_owned(), 1612.0)]);
    assert_eq!(rows(&fold(&events)).len(), 2);
}

#[test]
fn a_grid_is_put_and_taken_back_as_one() {
    let things = ["A1", "A2"].map(|name| Thing::Support(support(name))).into();
    let put = event(1, 1, 1, &Change::PutAll { things });
    let names = |events: &[Event]| {
        let form = fold(events).form;
        form.support.iter().map(|known| known.id.clone()).collect::<Vec<_>>()
    };
    assert_eq!(names(std::slice::from_ref(&put)), ["A1", "A2"]);
    let undo = event(2, 1, 2, &Change::Undo { event: id(1) });
    assert!(names(&[put, undo]).is_empty());
}

#[test]
fn what_was_taken_out_is_remembered_until_it_is_there_again() {
    let out = Change::Remove { kind: Kind::Support, name: "A1".to_owned() };
    let mut events = vec![event(1, 1, 1, &put_support("A1")), event(2, 1, 2, &out)];
    let taken_out = fold(&events).taken_out;
    let [gone] = &taken_out[..] else { panic!("{taken_out:?}") };
    assert_eq!((gone.event, gone.kind, gone.name.as_str()), (id(2), Kind::Support, "A1"));
    for again in [put_support("A1"), Change::Undo { event: id(2) }] {
        events.push(event(3, 1, 3, &again));
        let folded = fold(&events);
        assert_eq!(folded.form.support.len(), 1);
        assert!(folded.taken_out.is_empty(), "{again:?}");
        events.pop();
    }
}

/// Changes are looked at before they are made: the job stays as it is.
#[test]
fn the_form_after_a_change_is_the_one_that_the_event_makes() {
    let events = [event(1, 1, 1, &put_support("A1")), event(2, 1, 2, &read("A1", 1200.0))];
    let folded = fold(&events);
    let changes =
        [put_support("B1"), Change::Remove { kind: Kind::Support, name: "A1".to_owned() }];
    let after = folded.form_after(&changes);
    let made = [event(3, 1, 3, &changes[0]), event(4, 1, 4, &changes[1])];
    assert_eq!(after, fold(&[&events[..], &made[..]].concat()).form);
    assert_eq!(folded.form.support.len(), 1);
    assert_eq!(folded.form.support[0].id, "A1");
}

#[test]
fn putting_a_reading_right_after_it_was_taken_back_does_nothing() {
    let job = fold(&[
        event(1, 1, 1, &read("A1", 1612.0)),
        event(2, 1, 2, &Change::Amend { event: id(1), reading: row("A1", 1621.0) }),
        event(3, 2, 3, &Change::Undo { event: id(1) }),
    ]);
    assert!(job.form.setup.is_empty() && job.faults.is_empty());
}

#[test]
fn putting_right_goes_by_order_and_not_by_clock() {
    let amend = |to: f64| Change::Amend { event: id(1), reading: row("A1", to) };
    let job = fold(&[
        event(3, 2, 5, &amend(1640.0)),
        event(2, 1, 2, &amend(1621.0)),
        event(1, 1, 1, &read("A1", 1612.0)),
    ]);
    assert_eq!(rows(&job), [("A1".to_owned(), 1640.0)]);
    assert_eq!(job.tick, 5);
}

#[test]
fn a_pass_that_is_noted_anew_replaces_its_number_and_passes_stand_in_order() {
    let pass = |number: u32, by: &str| Change::Pass {
        pass: PassForm { number: Some(number), by: Some(by.to_owned()), ..PassForm::default() },
    };
    let job = fold(&[
        event(1, 1, 1, &pass(2, "one")),
        event(2, 1, 2, &pass(1, "one")),
        event(3, 2, 3, &pass(2, "other")),
    ]);
    let noted: Vec<_> = job
        .form
        .pass
        .iter()
        .map(|pass| (pass.number.unwrap(), pass.by.as_deref().unwrap()))
        .collect();
    assert_eq!(noted, [(1, "one"), (2, "other")]);
}

#[test]
fn what_could_not_be_done_is_told_and_loses_nothing() {
    let newer = Event { change: json!({ "did": "fly" }), ..event(2, 1, 2, &read("A1", 1.0)) };
    let filed = Change::Put {
        thing: Box::new(Thing::Setup(SetupForm {
            id: "S1".to_owned(),
            readings: Some(RowsForm::File("readings.csv".to_owned())),
            ..SetupForm::default()
        })),
    };
    let job = fold(&[
        event(1, 1, 1, &Change::Remove { kind: Kind::Support, name: "B9".to_owned() }),
        newer,
        event(3, 1, 3, &Change::Amend { event: id(99), reading: row("A1", 1.0) }),
        event(4, 1, 4, &Change::Undo { event: id(5) }),
        event(5, 1, 5, &filed),
        event(6, 1, 6, &read("A1", 1612.0)),
    ]);
    let expected = [
        EventFault::NotKnown { event: id(2) },
        EventFault::NothingThere { event: id(4), about: id(5) },
        EventFault::AlreadyGone { event: id(1), name: "B9".to_owned() },
        EventFault::NothingThere { event: id(3), about: id(99) },
        EventFault::ReadingsElsewhere { setup: "S1".to_owned(), file: "readings.csv".to_owned() },
    ];
    assert_eq!(job.faults, expected);
    assert_eq!(job.readings.len(), 1);
}

/// A key pressed twice: the job stays usable, both events stay, and it is told.
#[test]
fn a_reading_that_is_saved_twice_in_one_second_counts_once() {
    let at = |point: &str, reading: f64, time: &str| ReadingForm {
        time: Some(Quantity::Text(time.to_owned())),
        ..row(point, reading)
    };
    let read = |reading: ReadingForm| Change::Read { setup: "S1".to_owned(), reading };
    let events = [
        event(1, 1, 1, &read(at("A1", 1612.0, "09:41:07"))),
        event(2, 1, 2, &read(at("A1", 1612.0, "09:41:07"))),
        event(3, 1, 3, &read(at("A1", 1612.0, "09:41:08"))),
        event(4, 1, 4, &read(at("A1", 1613.0, "09:41:07"))),
    ];
    let job = fold(&events);
    let values: Vec<f64> = rows(&job).into_iter().map(|(_, number)| number).collect();
    assert_eq!(values, [1612.0, 1612.0, 1613.0]);
    assert_eq!(job.readings.len(), 3);
    let [fault] = &job.faults[..] else { panic!("{:?}", job.faults) };
    assert_eq!(
        fault.to_string(),
        "A1 was saved twice at 09:41:07 with the same reading: it counts once"
    );
    // Without times it may well have been read twice.
    let untimed = [1, 2].map(|number| event(number, 1, number, &self::read("A1", 1612.0)));
    assert_eq!((fold(&untimed).readings.len(), fold(&untimed).faults.len()), (2, 0));
}

#[test]
fn two_events_of_one_id_are_told_and_the_same_one_counts_everywhere() {
    let (one, other) = (event(1, 1, 1, &read("A1", 1612.0)), event(1, 1, 1, &read("A1", 1621.0)));
    let job = fold(&[one.clone(), other.clone()]);
    assert_eq!(job, fold(&[other, one]));
    assert_eq!(job.faults, [EventFault::TwoOfOneId { event: id(1) }]);
}

#[test]
fn an_event_is_read_back_as_it_was_written() {
    let written = event(3, 1, 9, &read("A1", 1612.5)).canonical();
    assert_eq!(Event::parse(&written).unwrap().canonical(), written);
    for hostile in ["", "[]", "{}", "{\"id\":\"x\"}", &written.replace("\"tick\":9", "\"tick\":0")]
    {
        assert!(Event::parse(hostile).is_err(), "{hostile}");
    }
}

/// A few names, so that changes meet.
fn any_change() -> impl Strategy<Value = Change> {
    let name = prop::sample::select(vec!["A1", "A2", "B1"]);
    let about = (1..30_u64).prop_map(id);
    prop_oneof![
        4 => (name.clone(), 1000..2000_i32).prop_map(|(point, at)| read(point, f64::from(at))),
        2 => name.clone().prop_map(put_support),
        1 => name.clone().prop_map(|name| Change::Put {
            thing: Box::new(Thing::Point(PointForm { id: name.to_owned(), ..PointForm::default() })),
        }),
        1 => name.clone().prop_map(|name| Change::Remove { kind: Kind::Support, name: name.to_owned() }),
        1 => (0..9_i32).prop_map(|height| Change::Set {
            block: Box::new(Block::Goal(GoalForm {
                level_tolerance: Some(Quantity::Number(f64::from(height))),
                ..GoalForm::default()
            })),
        }),
        2 => about.clone().prop_map(|event| Change::Undo { event }),
        1 => name.clone().prop_map(|point| note(About::Point(point.to_owned()), "a gap")),
        2 => (about, name, 1000..2000_i32).prop_map(|(event, point, at)| Change::Amend {
            event,
            reading: row(point, f64::from(at)),
        }),
    ]
}

fn any_events() -> impl Strategy<Value = Vec<Event>> {
    prop::collection::vec((1..30_u64, 1..4_u8, 1..12_u64, any_change()), 0..25).prop_map(|made| {
        made.into_iter()
            .map(|(number, device, tick, change)| event(number, device, tick, &change))
            .collect()
    })
}

proptest! {
    #[test]
    fn the_same_events_in_any_order_any_number_of_times_are_the_same_job(
        (events, shuffled) in any_events().prop_flat_map(|events| {
            let again: Vec<Event> = events.iter().chain(&events).cloned().collect();
            (Just(events), Just(again).prop_shuffle())
        }),
    ) {
        prop_assert_eq!(fold(&events), fold(&shuffled));
    }

    #[test]
    fn every_reading_stands_in_the_form(events in any_events()) {
        let job = fold(&events);
        let written: usize = job.form.setup.iter().map(|setup| match &setup.readings {
            Some(RowsForm::Rows(rows)) => rows.len(),
            _ => 0,
        }).sum();
        prop_assert_eq!(written, job.readings.len());
    }

    #[test]
    fn every_reading_that_nobody_took_back_is_there(
        made in prop::collection::vec((1..4_u8, 1..12_u64, any_change()), 0..25),
    ) {
        let made = made.into_iter().filter(|(_, _, change)| !matches!(change, Change::Undo { .. }));
        let events: Vec<Event> = (1..)
            .zip(made)
            .map(|(number, (device, tick, change))| event(number, device, tick, &change))
            .collect();
        let n_read = events.iter().filter(|event| event.change["did"] == "read").count();
        prop_assert_eq!(fold(&events).readings.len(), n_read);
    }

    #[test]
    fn hostile_text_never_panics(text in ".{0,200}") {
        let _ = Event::parse(&text);
        if let Ok(value) = serde_json::from_str::<Value>(&text) {
            let _ = Change::deserialize(&value);
        }
    }
}
