//! Every screen, on jobs that are empty, whole and hostile.

#![expect(clippy::disallowed_methods, reason = "looks at the sources and reads the demo")]

use floorwright_engine::target::Outcome;
use floorwright_job::events::{
    Block, Change, DeviceId, Event, EventId, JobId, Kind, Thing, WallClock, fold,
};
use floorwright_job::form_v1::{
    Form, JobForm, PointForm, PreferForm, ReadingForm, RoomForm, SetupForm, SupportForm,
    YourHoseForm,
};
use floorwright_job::{SourceFile, frame_said, load};
use floorwright_pages::{
    Connection, Depth, JobHead, JobView, World, answer_reading, look, respond,
};
use std::collections::BTreeMap;
use std::path::Path;

const SCREENS: &[&str] =
    &["", "/site", "/readings", "/floor", "/lift", "/passes", "/order", "/paper", "/hose"];

fn job() -> JobId {
    JobId::parse("018f3c7e-8d2a-7c31-9b1e-3a54c0ffee01").unwrap()
}

fn event(number: u64, change: &Change) -> Event {
    let mut id = [0; 16];
    id[8..].copy_from_slice(&number.to_be_bytes());
    Event {
        id: EventId::from_bytes(id),
        job: job(),
        device: DeviceId::from_bytes([1; 16]),
        seq: number,
        tick: number,
        at: WallClock { unix_ms: 0, offset_minutes: 0 },
        elapsed_ms: None,
        change: serde_json::to_value(change).unwrap(),
    }
}

fn begin(form: Form, files: BTreeMap<String, String>) -> Vec<Event> {
    vec![event(1, &Change::Begin { form: Box::new(form), files })]
}

fn show(view: &JobView, path: &str) -> (u16, String) {
    let head = JobHead { id: job(), name: view.name().to_owned(), n_readings: 0, n_supports: 0 };
    let heads = [head];
    let world = World { jobs: &heads, job: Some(view), connection: Connection::Secure };
    let (path, query) = path.split_once('?').unwrap_or((path, ""));
    let response = respond(&world, &format!("/jobs/{}{path}", job()), query);
    (response.status, response.body)
}

/// A job with its tables, from a folder of this project.
fn job_in(folder: &str, name: &str, tables: &[&str]) -> JobView {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../..").join(folder);
    let read = |name: &str| std::fs::read_to_string(folder.join(name)).unwrap();
    let files: BTreeMap<String, String> =
        tables.iter().map(|&name| (name.to_owned(), read(name))).collect();
    let source = SourceFile::new(name, read(name));
    let loaded = load(&source, &mut |name| files.get(name).cloned().ok_or("missing".to_owned()));
    JobView::new(job(), &begin(loaded.form, files), Depth::Passes)
}

fn demo() -> JobView {
    job_in("crates/cli/demo", "house.toml", &["hall.csv", "wing.csv"])
}

#[test]
fn a_job_without_anything_in_it_has_every_screen() {
    let view = JobView::new(
        job(),
        &begin(Form { format: Some(1), ..Form::default() }, BTreeMap::new()),
        Depth::Passes,
    );
    for screen in SCREENS {
        let (status, body) = show(&view, screen);
        assert_eq!(status, 200, "{screen}");
        assert!(body.contains("</html>") && body.contains("Job without a name"), "{screen}");
    }
    assert_eq!(show(&view, "/nowhere").0, 404);
    assert!(show(&view, "/floor/at?x=1&y=2").1.contains("not known there"));
    assert!(show(&view, "/floor/at?x=NaN&y=1e300").1.contains("could not be read"));
}

/// What the screens of the demo say is what the engine computed.
#[test]
fn the_screens_of_the_demo_show_the_engines_numbers() {
    let view = demo();
    let (words, worked) = (view.words(), view.worked.as_ref().unwrap());
    let floor = worked.plan.floor.done().unwrap();
    let packing = worked.plan.packing.done().unwrap();
    let floor_page = show(&view, "/floor").1;
    assert!(floor_page.contains(&words.length(floor.decks[0].spread.range)));
    for point in worked.plan.reduction.levels.points() {
        assert!(
            floor_page.contains(&format!("<td>{}</td>", words.level_number(point.level))),
            "{}",
            point.point
        );
    }
    let lift_page = show(&view, "/lift").1;
    for (support, lift) in worked.job.site.supports().iter().zip(&packing.lifts) {
        let row = format!("<th scope=\"row\">{}</th><td>{}</td>", support.id, words.signed(*lift));
        assert!(lift_page.contains(&row), "{row}");
    }
    let passes = worked.plan.passes.done().unwrap();
    let passes_page = show(&view, "/passes").1;
    assert_eq!(passes_page.matches("class=\"pass\"").count(), passes.passes.passes.len());
    assert!(
        passes_page.contains("Before anybody lifts") && lift_page.contains("Before anybody lifts")
    );
    // What to choose jacks by stands above the first pass.
    let watch = frame_said::on_the_way(&worked.job, &worked.plan, words);
    assert!(watch.iter().any(|sentence| sentence.contains("own line pushes more than")));
    for sentence in watch {
        let at = passes_page.find(&sentence).unwrap_or_else(|| panic!("{sentence}"));
        assert!(at < passes_page.find("class=\"pass\"").unwrap(), "{sentence}");
    }
}

/// C4 did not come up when it was lifted (so the example was made): every move that is left there says so,
/// before its numbers.
#[test]
fn a_move_where_the_floor_did_not_follow_is_marked() {
    let tables = ["before.csv", "after-1.csv", "after-2.csv"];
    let page = show(&job_in("examples/half-done", "job.toml", &tables), "/passes").1;
    let moves: Vec<&str> = page.split("<article>").skip(1).collect();
    let is_of_c4 = |one: &&&str| one.contains("<th scope=\"row\">C4</th>");
    assert!(moves.iter().filter(is_of_c4).count() > 1, "{page}");
    for one in &moves {
        let (flag, table) = (one.find("C4 STOP!"), one.find("<table>").unwrap());
        assert_eq!(flag.is_some_and(|at| at < table), is_of_c4(&one), "{one}");
    }
}

/// Timber that is bent beyond its strength is told where the lift is chosen and where it is worked by.
#[test]
fn what_may_break_stands_before_any_number() {
    let at =
        |name: &str, x: i32, y: i32| format!("[[support]]\nid = \"{name}\"\nat = [{x}, {y}]\n");
    let grid: String = ["A", "B"]
        .iter()
        .enumerate()
        .flat_map(|(row, name)| {
            (0..3).map(move |col| (format!("{name}{}", col + 1), col, row as i32))
        })
        .map(|(name, col, row)| at(&name, col * 2438, row * 1829))
        .collect();
    let read = |point: &str, mm: i32| format!("{{ point = \"{point}\", reading = {mm} }}, ");
    let rows = ["A1", "A2", "A3", "B1", "B3", "A1"].map(|point| read(point, 1200)).concat();
    let text = format!(
        "format = 1\n[job]\nname = \"Bent\"\nterms = \"us\"\n[datum]\nzero = \"A1\"\n{grid}\
         [[setup]]\nid = \"S1\"\nreadings = [{rows}{}]\n",
        read("B2", 1240)
    );
    let source = SourceFile::new("job.toml", text);
    let form = load(&source, &mut |_| Err("none".to_owned())).form;
    let view = JobView::new(job(), &begin(form, BTreeMap::new()), Depth::Passes);
    let worked = view.worked.as_ref().unwrap();
    let breaks = frame_said::may_break_by(&worked.plan);
    assert!(!breaks.is_empty(), "the timber holds: the test shows nothing");
    for path in ["/lift", "/passes"] {
        let page = show(&view, path).1;
        for sentence in &breaks {
            let at = page.find(sentence.as_str()).unwrap_or_else(|| panic!("{path}: {sentence}"));
            assert!(at < page.find("<table").unwrap_or(usize::MAX), "{path}");
        }
    }
}

#[test]
fn markup_in_names_stays_text() {
    let bad = "<script>alert(1)</script>\"'&";
    let form = Form {
        format: Some(1),
        job: Some(JobForm { name: Some(bad.to_owned()), ..JobForm::default() }),
        room: vec![RoomForm { name: bad.to_owned(), ..RoomForm::default() }],
        support: vec![SupportForm {
            id: bad.to_owned(),
            at: Some([0.0.into(), 0.0.into()]),
            fixed: Some(bad.to_owned()),
            ..SupportForm::default()
        }],
        point: vec![PointForm { id: bad.to_owned(), ..PointForm::default() }],
        ..Form::default()
    };
    let mut events = begin(form, BTreeMap::new());
    let reading =
        ReadingForm { point: bad.to_owned(), reading: Some(bad.into()), ..ReadingForm::default() };
    events.push(event(2, &Change::Read { setup: bad.to_owned(), reading }));
    let view = JobView::new(job(), &events, Depth::Passes);
    for screen in SCREENS {
        let body = show(&view, screen).1;
        assert!(!body.contains("<script>alert"), "{screen}");
        // One script, which is a file of its own, and no other way to run anything.
        assert_eq!(body.matches("<script").count(), 1, "{screen}");
        assert!(!body.contains("onload=") && !body.contains("javascript:"), "{screen}");
    }
}

/// A reading that is swapped is told at once, with what was likely meant.
#[test]
fn a_slip_of_the_finger_is_told_at_once() {
    let mut form = Form { format: Some(1), ..Form::default() };
    let mut events = Vec::new();
    for row in 0..5 {
        for column in 0..6 {
            form.support.push(SupportForm {
                id: format!("{}{}", char::from(b'A' + row), column + 1),
                at: Some([f64::from(column * 1800).into(), (f64::from(row) * 1800.0).into()]),
                ..SupportForm::default()
            });
        }
    }
    let names: Vec<String> = form.support.iter().map(|support| support.id.clone()).collect();
    events.extend(begin(form, BTreeMap::new()));
    for (number, name) in (2..).zip(&names) {
        let typed = if name == "C3" { 1423.0 } else { 1243.0 };
        let reading = ReadingForm {
            point: name.clone(),
            reading: Some(typed.into()),
            ..ReadingForm::default()
        };
        events.push(event(number, &Change::Read { setup: "S1".to_owned(), reading }));
    }
    events.push(event(
        99,
        &Change::Set {
            block: Box::new(floorwright_job::events::Block::Datum(
                floorwright_job::form_v1::DatumForm {
                    zero: Some("A1".to_owned()),
                    ..Default::default()
                },
            )),
        },
    ));
    let view = JobView::of_folded(job(), fold(&events), Depth::Floor);
    let answer = answer_reading(&view, "S1", "C3");
    assert!(
        answer.warning.as_ref().is_some_and(|said| said.contains("look at C3 again")),
        "{answer:?}"
    );
    assert!(answer.likely.iter().any(|likely| likely.contains("1243")), "{answer:?}");
    assert_eq!(answer_reading(&view, "S1", "B2").warning, None);
}

/// Nothing says what levels are counted from, and a slip of 100 mm shows all the same; the page has the way out.
#[test]
fn readings_are_held_against_one_another_before_anything_is_called_zero() {
    let mut form = Form { format: Some(1), ..Form::default() };
    let mut events = Vec::new();
    for (row, letter) in "ABCD".chars().enumerate() {
        for column in 0..4 {
            form.support.push(SupportForm {
                id: format!("{letter}{}", column + 1),
                at: Some([f64::from(column * 1800).into(), (row as f64 * 1800.0).into()]),
                ..SupportForm::default()
            });
        }
    }
    let names: Vec<String> = form.support.iter().map(|support| support.id.clone()).collect();
    events.extend(begin(form, BTreeMap::new()));
    for (number, name) in (2..).zip(&names) {
        let typed = if name == "C3" { 1522.0 } else { 1422.0 };
        let reading = ReadingForm {
            point: name.clone(),
            reading: Some(typed.into()),
            ..ReadingForm::default()
        };
        events.push(event(number, &Change::Read { setup: "S1".to_owned(), reading }));
    }
    let view = JobView::new(job(), &events, Depth::Floor);
    assert!(view.worked.is_none());
    let answer = answer_reading(&view, "S1", "C3");
    assert!(
        answer.level.as_ref().is_some_and(|said| said.contains("counted from A1")),
        "{answer:?}"
    );
    assert!(
        answer.warning.as_ref().is_some_and(|said| said.contains("look at C3 again")),
        "{answer:?}"
    );
    assert_eq!(answer_reading(&view, "S1", "B2").warning, None);
    let page = show(&view, "/readings").1;
    for wanted in ["data-zero=\"A1\"", "/site#datum", "Level, from A1", "Read again first"] {
        assert!(page.contains(wanted), "{wanted}: {page}");
    }
    // No word of how a file is written.
    let site = show(&view, "/site").1;
    assert!(!page.contains("[datum]") && !site.contains("[datum]"));
    assert!(
        site.contains("<svg") && site.contains("data-x=\"1800\""),
        "the map is drawn meanwhile"
    );
    assert!(site.contains("data-make=\"zero\"") && site.contains("data-make=\"benchmark\""));
}

/// What a form asks for is refused by the checks of the job, before anything of it is kept.
#[test]
fn a_form_is_looked_at_with_the_checks_of_the_job() {
    let mut form = Form { format: Some(1), ..Form::default() };
    for (name, x) in [("A1", 0.0), ("A2", 1800.0)] {
        form.support.push(SupportForm {
            id: name.to_owned(),
            at: Some([x.into(), 0.0.into()]),
            ..SupportForm::default()
        });
    }
    let reading = ReadingForm {
        point: "A2".to_owned(),
        reading: Some(1200.0.into()),
        ..ReadingForm::default()
    };
    let mut events = begin(form, BTreeMap::new());
    events.push(event(2, &Change::Read { setup: "S1".to_owned(), reading }));
    let view = JobView::new(job(), &events, Depth::Entered);
    let long = "a".repeat(41);
    let room = format!(
        r#"{{"rectangle":{{"thing":{{"room":{{"name":"{long}"}}}},"typed":{{"x":"0","y":"0","width":"3600","depth":"2400"}}}}}}"#
    );
    let refused = [
        (room.as_str(), "longer than 40 letters"),
        (
            r#"{"changes":[{"did":"put","thing":{"benchmark":{"point":"BM","level":"banana"}}}]}"#,
            "benchmark BM: level cannot be read",
        ),
        (r#"{"fresh":{"point":{"id":"M1","at":["-5e9","0"]}}}"#, "Not saved: point M1"),
        (
            r#"{"fresh":{"point":{"id":"M1","at":["-5000000","0"]}}}"#,
            "must be -1000000 mm to 1000000 mm",
        ),
        (r#"{"fresh":{"support":{"id":"A1","at":["900","0"]}}}"#, "A1 is there already"),
        (
            r#"{"fresh":{"support":{"id":"A3","at":["1800","0"]}}}"#,
            "it stands on the place of support A2",
        ),
        (
            r#"{"grid":{"rows":"1","columns":"2","along":"1800","between":"1800","x":"0","y":"0","first":"B"}}"#,
            "on the place of support A1",
        ),
        (
            r#"{"changes":[{"did":"set","block":{"datum":{"zero":"Z9"}}}]}"#,
            "point Z9 is not in the job",
        ),
        ("{}", "Not saved"),
    ];
    for (asked, why) in refused {
        let answer = look(&view, asked);
        assert_eq!(answer.status, 422, "{asked}: {}", answer.body);
        assert!(answer.body.contains(why), "{asked}: {}", answer.body);
    }
    // A benchmark that is not read yet waits for its reading; nothing is wrong with it.
    let taken = [
        (
            r#"{"changes":[{"did":"put","thing":{"benchmark":{"point":"BM","level":"0"}}}]}"#,
            "\"benchmark\"",
        ),
        (
            r#"{"grid":{"rows":"1","columns":"2","along":"1800","between":"1800","x":"0","y":"1.8 m","first":"B"}}"#,
            "\"put-all\"",
        ),
        (r#"{"changes":[{"did":"remove","kind":"support","name":"A1"}]}"#, "\"brings\":[]"),
        (
            r#"{"changes":[{"did":"remove","kind":"support","name":"A2"}]}"#,
            "point A2 is not in the job",
        ),
    ];
    for (asked, what) in taken {
        let answer = look(&view, asked);
        assert_eq!(answer.status, 200, "{asked}: {}", answer.body);
        assert!(answer.body.contains(what), "{asked}: {}", answer.body);
    }
}

/// What came with a job is seen where readings are taken, and so is what was taken out.
#[test]
fn readings_that_came_along_are_listed_and_what_was_taken_out_is_offered_back() {
    let view = demo();
    let worked = view.worked.as_ref().unwrap();
    let n_came: usize = worked.job.survey.setups.iter().map(|setup| setup.readings.len()).sum();
    assert!(n_came > 0);
    let page = show(&view, "/readings").1;
    assert!(page.contains(&format!("{n_came} readings came with the job")), "{page}");
    let out = Change::Remove { kind: Kind::Support, name: "C4".to_owned() };
    let mut events = begin(view.folded.form.clone(), view.folded.files.clone());
    events.push(event(2, &out));
    let site = show(&JobView::new(job(), &events, Depth::Floor), "/site").1;
    assert!(site.contains("C4</strong> is taken out.") && site.contains("Bring C4 back"), "{site}");
    events.push(event(3, &Change::Undo { event: events[1].id }));
    let site = show(&JobView::new(job(), &events, Depth::Floor), "/site").1;
    assert!(!site.contains("is taken out"));
}

/// A setup that was begun for the readings after a pass has none yet, and that is no fault.
#[test]
fn reading_again_begins_without_a_complaint() {
    let view = demo();
    let mut form = view.folded.form.clone();
    let pass = serde_json::from_str(r#"{"number":1,"lifted":[{"support":"C4","lift":"2"}]}"#);
    form.pass.push(pass.unwrap());
    form.setup.push(SetupForm {
        id: "again".to_owned(),
        after_pass: Some(1),
        ..SetupForm::default()
    });
    let page =
        show(&JobView::new(job(), &begin(form, view.folded.files), Depth::Floor), "/readings").1;
    assert!(page.contains("Nothing is read after pass 1 yet"), "{page}");
    assert!(!page.contains("no readings that can be used") && !page.contains("not tied"), "{page}");
}

/// A mark of the picture behind the map comes to lie on the support that it is named after, by the
/// picture's own matrix and the map's own ground.
#[test]
fn the_picture_behind_the_map_lies_where_its_marks_say() {
    let mut form = Form { format: Some(1), ..Form::default() };
    for (id, x, y) in [("A1", 0.0, 0.0), ("A2", 1800.0, 0.0), ("C2", 1800.0, 3600.0)] {
        let at = Some([x.into(), y.into()]);
        form.support.push(SupportForm { id: id.to_owned(), at, ..SupportForm::default() });
    }
    let mut events = begin(form, BTreeMap::new());
    let picture = serde_json::json!({ "did": "backdrop", "backdrop": {
        "photo": "cd".repeat(32), "width": 1600, "height": 1200,
        "marks": [{ "pixel": [200, 900], "at": "A1" }, { "pixel": [1000, 100], "at": ["1.8 m", 3600] }],
    } });
    events.push(event(2, &serde_json::from_value(picture).unwrap()));
    let body = show(&JobView::new(job(), &events, Depth::Floor), "/site").1;
    assert!(body.contains(&format!("href=\"/photos/{}\"", "cd".repeat(32))));
    let numbers = |start: &str, end: char| -> Vec<f64> {
        let rest = &body[body.find(start).unwrap() + start.len()..];
        rest[..rest.find(end).unwrap()].split(' ').map(|part| part.parse().unwrap()).collect()
    };
    let (matrix, ground) = (numbers("matrix(", ')'), numbers("data-ground=\"", '"'));
    for (u, v, x, y) in [(200.0, 900.0, 0.0, 0.0), (1000.0, 100.0, 1.8, 3.6)] {
        let shown = [0, 1].map(|axis| matrix[axis] * u + matrix[axis + 2] * v + matrix[axis + 4]);
        let meant = [0, 1].map(|axis| ground[axis] + x * ground[axis + 2] + y * ground[axis + 4]);
        // Both are written with few decimals.
        let off = (shown[0] - meant[0]).hypot(shown[1] - meant[1]);
        assert!(off < 0.05, "{shown:?} in place of {meant:?}");
    }
    // A mark that is gone is told, and the map goes without.
    let gone =
        Change::Remove { kind: floorwright_job::events::Kind::Support, name: "A1".to_owned() };
    events.push(event(3, &gone));
    let body = show(&JobView::new(job(), &events, Depth::Floor), "/site").1;
    assert!(!body.contains("matrix(") && body.contains("marked by A1, which has no place"));
}

/// One place puts text into pages unescaped, and it takes it from `draw`.
#[test]
fn only_pictures_go_into_a_page_unescaped() {
    let mut with_it = Vec::new();
    let mut folders = vec![Path::new(env!("CARGO_MANIFEST_DIR")).join("src")];
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                folders.push(path);
            } else if std::fs::read_to_string(&path).unwrap().contains("PreEscaped") {
                with_it.push(path.file_name().unwrap().to_string_lossy().into_owned());
            }
        }
    }
    assert_eq!(with_it, ["pictures.rs"]);
}

/// The wait that the readings page counts down is the one that the page of the hose gives, and both are
/// the engine's.
#[test]
fn the_wait_of_the_hose_is_counted_down_where_readings_are_taken() {
    let hose: YourHoseForm =
        serde_json::from_str(r#"{"bore":"12 mm","length":"15 m","reservoir":"250 mm"}"#).unwrap();
    let setup: SetupForm = serde_json::from_str(r#"{"id":"S1","instrument":"hose"}"#).unwrap();
    let level: SetupForm = serde_json::from_str(r#"{"id":"S2","instrument":"level"}"#).unwrap();
    let set = Change::Set { block: Box::new(Block::Hose(Box::new(hose))) };
    let put = |setup: &SetupForm| Change::Put { thing: Box::new(Thing::Setup(setup.clone())) };
    let mut events = begin(Form::default(), BTreeMap::new());
    events.extend([event(2, &set), event(3, &put(&setup))]);
    let view = JobView::new(job(), &events, Depth::Floor);
    let hose = &view.worked.as_ref().unwrap().input.hose.hose;
    assert_eq!((hose.bore.to_mm(), hose.length.to_m()), (12.0, 15.0));
    let start = hose.reservoir.start_of(hose.largest_move);
    let wait = hose.column().unwrap().wait(start, hose.settle_to).to_seconds().ceil();
    let (_, readings) = show(&view, "/readings");
    assert!(readings.contains(&format!("data-seconds=\"{wait}\"")), "{wait}");
    let (_, page) = show(&view, "/hose");
    assert!(page.contains(&format!("Wait {wait} s after each move")), "{wait}");
    events.push(event(4, &put(&level)));
    let (_, readings) = show(&JobView::new(job(), &events, Depth::Floor), "/readings");
    assert!(!readings.contains("data-seconds"));
}

#[test]
fn a_swing_that_was_timed_is_judged_on_the_page() {
    let view = demo();
    let period = view.worked.as_ref().unwrap().input.hose.hose.column().unwrap().swing_period();
    let seconds = period.unwrap().to_seconds();
    let (_, page) = show(&view, &format!("/hose?swing={seconds:.1}"));
    assert!(page.contains("The swing is as it should be"));
    let (_, page) = show(&view, "/hose?swing=0");
    assert!(page.contains("It should swing and does not"));
    for nonsense in ["/hose?swing=-3", "/hose?swing=x", "/hose", "/hose?swing=1e9"] {
        let page = show(&view, nonsense).1;
        assert!(!page.contains("The swing that you saw"), "{nonsense}");
        assert_eq!(page.contains("is no time of a swing"), nonsense.contains('='), "{nonsense}");
    }
}

/// Doorways are set all at once, things in the way one by one; both change where the hose can go.
#[test]
fn doorways_and_things_in_the_way_come_and_go() {
    let view = demo();
    let stands = |view: &JobView| show(view, "/hose").1;
    assert!(stands(&view).contains("Where to stand: Invented house"));
    let obstacle = r#"{"obstacle":{"name":"<bath>","outline":[[1,1],[900,1],[900,700],[1,700]]}}"#;
    let events = [
        event(
            1,
            &Change::Begin {
                form: Box::new(view.folded.form.clone()),
                files: view.folded.files.clone(),
            },
        ),
        event(2, &Change::Put { thing: Box::new(serde_json::from_str(obstacle).unwrap()) }),
        event(3, &Change::Set { block: Box::new(Block::Doors(Vec::new())) }),
    ];
    let changed = JobView::new(job(), &events, Depth::Floor);
    let n_obstacles = view.folded.form.obstacle.len();
    let form = &changed.folded.form;
    assert_eq!((form.obstacle.len(), form.door.len()), (n_obstacles + 1, 0));
    let page = stands(&changed);
    assert!(page.contains("Take out &lt;bath&gt;") && page.contains("0 doorways"));
    let mut events = events.to_vec();
    events.push(event(4, &Change::Remove { kind: Kind::Obstacle, name: "<bath>".to_owned() }));
    let without = JobView::new(job(), &events, Depth::Floor);
    assert_eq!(without.folded.form.obstacle.len(), n_obstacles);
}

/// A preview is what the same goal gives once it is saved, and changes nothing.
#[test]
fn a_goal_is_previewed_and_nothing_is_changed() {
    let view = demo();
    let ask = |goal: &str| {
        let coded: String = goal.bytes().map(|byte| format!("%{byte:02x}")).collect();
        show(&view, &format!("/lift/preview?goal={coded}"))
    };
    let mut goal = view.folded.form.goal.clone().unwrap();
    goal.prefer = Some(PreferForm::LeastLift);
    let (status, preview) = ask(&serde_json::to_string(&goal).unwrap());
    assert_eq!(status, 200);
    let begun = Change::Begin {
        form: Box::new(view.folded.form.clone()),
        files: view.folded.files.clone(),
    };
    let set = Change::Set { block: Box::new(Block::Goal(goal)) };
    let saved = JobView::new(job(), &[event(1, &begun), event(2, &set)], Depth::Passes);
    let plan = &saved.worked.as_ref().unwrap().plan;
    let Outcome::Reached(reached) = &plan.lifting.done().unwrap().outcome else {
        panic!("no lifts")
    };
    let (words, totals) = (saved.words(), &reached.outcome.totals);
    let wanted =
        format!("{} stumps</strong> to move, {} in all", totals.touched, words.length(totals.lift));
    assert!(preview.contains(&wanted), "{wanted} not in {preview}");
    assert_ne!(show(&view, "/lift").1, show(&saved, "/lift").1);
    assert_eq!(show(&view, "/lift").1, show(&demo(), "/lift").1);
    for nonsense in ["", "{\"height\":[1]}", "{\"hight\":1}"] {
        assert_eq!(ask(nonsense).0, 400, "{nonsense}");
    }
    let (_, page) = ask(r#"{"height":{"point":"<img src=x>"}}"#);
    assert!(!page.contains("<img") && page.contains("&lt;img"), "{page}");
    let mut tight = view.folded.form.goal.clone().unwrap();
    tight.level_tolerance = Some(serde_json::from_str("\"0.01 mm\"").unwrap());
    let (_, page) = ask(&serde_json::to_string(&tight).unwrap());
    assert!(page.contains("class=\"warn\"") && page.contains("cannot be met"), "{page}");
}

#[test]
fn a_lift_that_is_set_by_hand_is_kept_and_shown() {
    let view = demo();
    let (mut form, files) = (view.folded.form, view.folded.files);
    let support = form.support.iter_mut().find(|support| support.id == "A4").unwrap();
    support.lift = Some(serde_json::from_str("\"8 mm\"").unwrap());
    let begun = Change::Begin { form: Box::new(form), files };
    let changed = JobView::new(job(), &[event(1, &begun)], Depth::Passes);
    let plan = &changed.worked.as_ref().unwrap().plan;
    let Outcome::Reached(reached) = &plan.lifting.done().unwrap().outcome else {
        panic!("no lifts")
    };
    let lift = reached.outcome.lifts.iter().find(|lift| lift.id.as_str() == "A4").unwrap();
    assert!((lift.lift.to_mm() - 8.0).abs() < 1e-6, "{lift:?}");
    assert!(show(&changed, "/lift").1.contains("+8.0 by hand"));
}
