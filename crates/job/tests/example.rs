//! The example of `docs/job.md`: it loads, comes back when it is written, and means what it says.

use floorwright_engine::frame::{Direction, GivenFrame, Run, Section, Strength, Timber};
use floorwright_engine::ids::{PointId, RoomId, SetupId, SupportId};
use floorwright_engine::settings::{Preference, Stock, TargetHeight};
use floorwright_engine::site::{Finish, PointKind, Position};
use floorwright_engine::source::SourceStatus;
use floorwright_engine::survey::{Datum, Drift, LegWeight, ReadingSd, SourcePlace};
use floorwright_engine::units::{
    AreaLoad, Density, ExactLength, Length, Level, LineLoad, Minutes, Stress,
};
use floorwright_job::csv::{BOOK_COLUMNS, READING_COLUMNS};
use floorwright_job::form_v1::{Form, Quantity, Terms, schema};
use floorwright_job::input::OwnFigure;
use floorwright_job::measure::Unit;
use floorwright_job::practice::{Region, build_ups, frame_rules, grades};
use floorwright_job::{
    CsvMeaning, Document, HeightTie, JobInput, Loaded, SourceFile, StruckReading, check, from_csv,
    load, ready, write,
};
use serde_json::Value;

const DOCS: &str = include_str!("../../../docs/job.md");

/// The n-th block of a language in the documentation.
fn block(language: &str, n: usize) -> &'static str {
    let fence = format!("```{language}\n");
    let after = DOCS.split(&fence).nth(n + 1).expect("the documentation has the block");
    after.split("```").next().expect("a block ends")
}

fn load_text(text: &str) -> Loaded {
    load(&SourceFile::new("job.toml", text), &mut |name| {
        assert_eq!(name, "readings.csv");
        Ok(block("csv", 0).to_owned())
    })
}

fn job_of(loaded: Loaded) -> JobInput {
    let shown: Vec<String> = loaded.faults.iter().map(ToString::to_string).collect();
    assert_eq!(shown, Vec::<String>::new());
    loaded.job.expect("a job without faults is a job")
}

#[test]
fn the_example_of_the_documentation_means_what_it_says() {
    let job = job_of(load_text(block("toml", 0)));
    assert_eq!(job.name, "Invented cottage, front rooms");
    assert_eq!((job.terms, job.units), (Terms::Nz, Unit::Millimetres));
    assert_eq!(job.site.rooms()[0].finish, Finish::Plaster);
    assert_eq!(job.site.supports().len(), 9);
    let support = |id: &str| job.site.support(&SupportId::new(id)).unwrap();
    assert_eq!(support("C1").gap, Length::mm(1.0));
    assert_eq!(support("A3").fixed.as_deref(), Some("beside the chimney"));
    assert_eq!(support("B1").max_lift, Some(Length::mm(25.0)));
    assert_eq!(support("B3").may_lower, Length::mm(5.0));
    assert_eq!(job.support_details[0].height, Some(Length::mm(420.0)));
    let point = |id: &str| job.site.point(&PointId::new(id)).unwrap();
    assert_eq!(point("hearth").at, Some(Position::mm(3600.0, 0.0)));
    assert_eq!(point("hearth").room, Some(RoomId::new("front")));
    assert_eq!(point("door").kind, PointKind::Threshold);
    assert_eq!((point("BM").kind, point("BM").at), (PointKind::Benchmark, None));
    assert_eq!(point("C2").at, Some(Position::mm(1800.0, 3000.0)));

    assert_eq!(job.survey.datum, Datum::Benchmarks);
    assert_eq!(job.survey.benchmarks[0].level, Level::mm(0.0));
    let [hose, level] = &job.survey.setups[..] else { panic!("two setups") };
    // Bore 10 mm on a reservoir of 200 mm: 1 + (10/200)^2.
    assert!((hose.scale - 1.0025).abs() < 1e-12);
    assert_eq!(hose.reading_sd, ReadingSd::Each(Length::mm(0.5)));
    assert_eq!((hose.drift, level.drift), (Drift::Linear, Drift::None));
    assert_eq!((hose.readings.len(), level.readings.len()), (10, 4));
    assert_eq!(hose.readings[0].time, Some(Minutes::new(605.0)));
    assert_eq!(hose.readings[1].value, ExactLength::nm(1_540_500_000));
    assert_eq!(hose.readings[1].place.as_ref().unwrap().line, 4);
    assert_eq!(level.readings[2].value, ExactLength::nm(1_431_000_000));
    assert_eq!(level.readings[2].place.as_ref().unwrap().file, "job.toml");
    assert_eq!(job.survey.legs[0].weight, LegWeight::Sd(Length::mm(1.5)));
    assert_eq!(job.survey.legs[0].rise, ExactLength::nm(-29_000_000));

    let door = TargetHeight::Point { point: PointId::new("door"), offset: Length::mm(-4.0) };
    assert_eq!(job.goal.height, door);
    assert_eq!(job.goal.prefer, Preference::LeastSquares);
    assert_eq!(job.goal.slope_tolerance, Some(0.002));
    assert_eq!(job.limits.lift_per_pass.value, Length::mm(4.0));
    assert_eq!(job.limits.lift_per_pass.reason, "old plaster, agreed with the owner");
    assert!(!job.limits.jacks.assumed && job.limits.max_lift.assumed);
    assert_eq!(job.limits.distortion.value, 1.0 / 300.0);
    assert_eq!(job.stock.packers[0].pack_price_cents, Some(1850));
    assert_eq!(job.stock.max_pieces.value, 5);
    assert_eq!(job.criteria.region, Terms::Nz);
    let ours = OwnFigure::Straightedge { limit: Length::mm(5.0), over: Length::mm(3000.0) };
    assert_eq!(job.criteria.own[0].figure, ours);
    let assumed: Vec<&str> = job.assumptions.iter().map(|one| one.text.as_str()).collect();
    assert_eq!(assumed, ["a reading on the name of a support is on the floor over it"]);
}

#[test]
fn the_frame_of_the_example_means_what_it_says() {
    let job = job_of(load_text(block("toml", 0)));
    let frame = &job.frame;
    let given = &frame.given;
    let [a, b, c] = &given.bearers[..] else { panic!("three bearers") };
    let run = |direction, at, from, to| {
        let [at, from, to] = [at, from, to].map(Length::mm);
        Run { direction, at, from, to }
    };
    assert_eq!(a.run, run(Direction::X, 0.0, -100.0, 3600.0));
    assert_eq!(c.run, run(Direction::X, 3000.0, 0.0, 3600.0));
    assert_eq!(a.supports, ["A1", "A2", "A3"].map(SupportId::new));
    assert_eq!((a.joints.len(), &b.joints[..]), (0, &[SupportId::new("B2")][..]));
    assert_eq!((a.extra, b.extra), (LineLoad::ZERO, LineLoad::kn_per_m(0.2)));
    let section =
        |breadth, depth| Section { breadth: Length::mm(breadth), depth: Length::mm(depth) };
    assert_eq!((a.section, c.section), (section(75.0, 100.0), section(75.0, 100.0)));
    // NZS AS 1720.1:2022, SG8 dry, as the table on file has it.
    let strength = |bending, shear, across: Option<f64>| Strength {
        bending: Stress::n_per_mm2(bending),
        shear: Stress::n_per_mm2(shear),
        across_grain: across.map(Stress::n_per_mm2),
    };
    assert_eq!(a.timber.name, "SG8, dry");
    assert_eq!(a.timber.stiffness, Stress::n_per_mm2(8000.0));
    assert_eq!(a.timber.strength, Some(strength(14.0, 3.8, Some(6.9))));
    let rimu = Timber {
        name: "rimu, tested".to_owned(),
        stiffness: Stress::n_per_mm2(9000.0),
        density: Density::kg_per_m3(600.0),
        strength: Some(strength(20.0, 3.0, None)),
        source: "invented for this example".to_owned(),
        status: SourceStatus::Agreed,
    };
    assert_eq!(c.timber, rimu);

    let [door] = &given.joists[..] else { panic!("one joist") };
    assert_eq!(door.run, run(Direction::Y, 1125.0, 0.0, 3000.0));
    assert_eq!((door.section, door.floor.as_str()), (section(100.0, 100.0), "main"));
    let [set] = &given.joist_sets[..] else { panic!("one set") };
    assert_eq!((set.direction, set.first), (Some(Direction::Y), Some(Length::ZERO)));
    assert_eq!((set.spacing, set.section), (Length::mm(450.0), section(50.0, 125.0)));

    let [front, hall] = &given.walls.as_ref().expect("walls are listed")[..] else {
        panic!("two walls")
    };
    assert_eq!(front.run, run(Direction::X, 0.0, 0.0, 3600.0));
    // 2.7 m x (0.14 + 0.10 + 0.08) kPa + 2.4 m x (0.05 + 0.15 + 0.08) kPa, by hand.
    assert!((front.load.to_kn_per_m() - 1.536).abs() < 1e-9, "{}", front.load.to_kn_per_m());
    assert!(front.source.contains("weatherboard-wall 0.32 kPa x 2700.0 mm (trade practice"));
    assert_eq!((hall.load, hall.run.direction), (LineLoad::kn_per_m(0.9), Direction::Y));
    assert_eq!(hall.source, "lath and plaster, weighed by the board");
    let [stove] = &given.point_loads[..] else { panic!("one load") };
    assert_eq!(stove.at, Position::mm(2700.0, 2700.0));
    assert!((stove.load.to_n() - 180.0 * 9.80665).abs() < 1e-9);
    let floor = given.floor_load.as_ref().expect("loads are given");
    assert_eq!((floor.dead, floor.live), (AreaLoad::kpa(0.4), AreaLoad::kpa(1.5)));
    assert_eq!((given.seat_length, given.load_doubt), (Some(Length::mm(125.0)), None));
    assert_eq!(given.set_share, Some((0.3, 1.0)));
    assert_eq!((&frame.off, &frame.no_walls), (&None, &None));
    assert_eq!(frame.rules, frame_rules(Region::Nz));

    let rating = job.limits.jack_rating.as_ref().expect("a rating is given");
    assert!((rating.value.to_kn() - 49.033_25).abs() < 1e-9);
    assert_eq!((rating.reason.as_str(), rating.assumed), ("marked on the jack", false));
    assert_eq!(job.limits.jack_derating.value, 0.5);
    assert!(job.limits.bending_share.assumed);
}

#[test]
fn meeting_new_work_is_put_together_from_what_is_still_to_be_laid() {
    let job = job_of(load_text(block("toml", 0)));
    let tie = job.tie.expect("the height hangs on a point");
    // Finished floors meet: point + 12 = target + 14, and 2 lower.
    assert_eq!(tie.above_point(), Length::mm(-4.0));
    assert_eq!(
        tie.in_words(Unit::Millimetres),
        "the old floor goes to 4.0 mm below door: 12.0 mm still to be laid on the new floor there, \
         14.0 mm still to be laid on the old floor, -2.0 mm of offset"
    );
    let plain = HeightTie {
        point: PointId::new("EXT"),
        offset: Length::ZERO,
        old_build_up: Length::ZERO,
        new_build_up: Length::ZERO,
    };
    assert_eq!(plain.in_words(Unit::Millimetres), "the old floor goes to the level of EXT");
    let laid = HeightTie { new_build_up: Length::mm(19.05), ..plain };
    assert_eq!(
        laid.in_words(Unit::FeetInches),
        "the old floor goes to 3/4\" above EXT: 3/4\" still to be laid on the new floor there"
    );
}

#[test]
fn one_set_of_joists_or_several() {
    let several = block("toml", 0).replace("[joists]\n", "[[joists]]\n");
    assert_ne!(several, block("toml", 0));
    let (one, several) = (load_text(block("toml", 0)), load_text(&several));
    assert_eq!(one.form, several.form);
    let json = serde_json::json!({ "format": 1, "joists": { "spacing": 450 } });
    let form: Form = serde_json::from_value(json).expect("one set");
    assert_eq!(form.joists[0].spacing, Some(Quantity::Number(450.0)));
}

#[test]
fn a_frame_in_feet_and_inches() {
    let text = r#"
format = 1
[job]
terms = "us"
units = "ft-in"
[[support]]
id = "A1"
at = [0, 0]
[[support]]
id = "A2"
at = ["6'", "1/2"]
[frame]
joist_timber = "df-l no 2"
bearers_run = "x"
longest_span = "10'"
set_share = "50 %"
[[bearer]]
id = "A"
supports = ["A2", "A1"]
overhang = "6"
section = "3 1/2 x 5 1/2"
timber = { name = "salvaged", e = "1600000 psi" }
[[joists]]
spacing = 16
[loads]
live = "40 psf"
no_walls = "an open shed"
"#;
    let job = load_text(text).job.expect("warnings do not stop a job");
    let given = &job.frame.given;
    let bearer = &given.bearers[0];
    assert_eq!(bearer.supports, ["A1", "A2"].map(SupportId::new));
    assert_eq!(bearer.run.at, Length::mm(6.35));
    assert_eq!((bearer.run.from, bearer.run.to), (Length::mm(-152.4), Length::mm(1981.2)));
    assert_eq!(bearer.section.depth, Length::mm(139.7));
    assert!((bearer.timber.stiffness.to_n_per_mm2() - 11_031.6).abs() < 0.1);
    assert_eq!(bearer.timber.strength, None);
    assert_eq!(given.joist_sets[0].timber.name, "DF-L No. 2");
    assert_eq!(job.frame.rules.joist_timber, given.joist_sets[0].timber);
    assert_eq!(job.frame.rules.bearer_timber, frame_rules(Region::Us).bearer_timber);
    assert_eq!(job.frame.rules.bearers_run, Some(Direction::X));
    assert_eq!(job.frame.rules.longest_span, Length::mm(3048.0));
    assert_eq!(given.set_share, Some((0.5, 0.5)));
    assert_eq!(given.walls, Some(Vec::new()));
    assert_eq!(job.frame.no_walls.as_deref(), Some("an open shed"));
    let floor = given.floor_load.as_ref().expect("a live load is given");
    assert!((floor.live.to_kpa() - 1.915).abs() < 1e-3);
    assert_eq!(floor.dead, frame_rules(Region::Us).floor_load.dead);
    let says = |text: &str| job.assumptions.iter().any(|one| one.text.starts_with(text));
    assert!(says("joists without a section are 1 1/2\" broad and 7 1/4\" deep"));
    assert!(says("timber without a density weighs 590 kg/m3"), "{:?}", job.assumptions);
    assert!(!says("bearers without a section") && !says("joists whose timber"));
}

#[test]
fn what_a_silent_job_takes_for_the_frame_is_the_regions() {
    let job = load_text("format = 1\n[job]\nterms = \"uk\"\n").job.unwrap();
    assert_eq!(job.frame.given, GivenFrame::default());
    assert_eq!(job.frame.rules, frame_rules(Region::Uk));
    assert!(job.limits.jack_rating.is_none() && job.limits.carry_least.assumed);
    assert!(!job.assumptions.iter().any(|one| one.text.contains("bearer")));
    let off = load_text("format = 1\n[frame]\noff = \"only levels are asked for\"\n").job.unwrap();
    assert_eq!(off.frame.off.as_deref(), Some("only levels are asked for"));
}

#[test]
fn the_strictest_finish_sets_the_limit_of_distortion() {
    let check = |finishes: &[&str], one_in: f64, reason: &str| {
        let mut text = String::from("format = 1\n");
        for (idx, finish) in finishes.iter().enumerate() {
            let left = idx * 4000;
            let right = left + 3000;
            text += &format!(
                "[[room]]\nname = \"{finish} {idx}\"\nfinish = \"{finish}\"\noutline = [[{left}, 0], [{right}, 0], [{right}, 3000]]\n"
            );
        }
        let limit = load_text(&text).job.unwrap().limits.distortion;
        assert!(limit.assumed && (limit.value * one_in - 1.0).abs() < 1e-12, "{limit:?}");
        assert!(limit.reason.starts_with(reason), "{}", limit.reason);
        let own = load_text(&(text + "[limits]\ndistortion = \"1 in 150\"\n")).job.unwrap();
        assert_eq!(own.limits.distortion.value, 1.0 / 150.0);
    };
    check(&[], 300.0, "first cracking");
    check(&["boards"], 300.0, "first cracking");
    check(&["boards", "plaster"], 300.0, "plaster in room plaster 1: cracks in walls, Skempton");
    check(
        &["plaster", "boards", "tiles"],
        500.0,
        "tiles in room tiles 2: safe limit against cracking, Bjerrum 1963 (second-hand; from settling masonry and framed buildings, an analogy for jacking; own choice of figure)",
    );
}

#[test]
fn the_example_of_the_documentation_can_be_worked_on() {
    let input = job_of(load_text(block("toml", 0)));
    let job = ready(&input, "job.toml").expect("the example has no faults");
    let ids: Vec<&str> = job.criteria.iter().map(|one| one.text().id.as_str()).collect();
    assert_eq!(ids, ["nz-mbie-slope", "ours"]);
}

#[test]
fn a_job_in_feet_and_inches_has_packers_in_sixteenths() {
    let job = |rest: &str| {
        let text = format!("format = 1\n[job]\nterms = \"us\"\nunits = \"ft-in\"\n{rest}");
        load_text(&text).job.expect("warnings do not stop a job")
    };
    let silent = job("");
    let thicknesses = |stock: &Stock| -> Vec<f64> {
        stock.packers.iter().map(|packer| packer.thickness.to_mm()).collect()
    };
    let inches = [1.5875, 3.175, 6.35, 12.7, 19.05];
    assert!(
        thicknesses(&silent.stock).iter().zip(inches).all(|(mm, inch)| (mm - inch).abs() < 1e-9)
    );
    assert_eq!(silent.stock.tolerance.value, Length::mm(0.79375));
    assert!(silent.stock.tolerance.assumed);
    assert_eq!(
        silent.stock.tolerance.reason,
        "1/32 in, half of the thinnest packer of the assumed stock (common practice)"
    );
    let says = |job: &JobInput, text: &str| job.assumptions.iter().any(|one| one.text == text);
    let packers = "packers of 1/16, 1/8, 1/4, 1/2 and 3/4 in (common practice) can be had singly";
    assert!(says(&silent, &format!("{packers} (no stock is given)")), "{:?}", silent.assumptions);
    let pieces = job("[stock]\nmax_pieces = 4\n");
    assert!(
        thicknesses(&pieces.stock).iter().zip(inches).all(|(mm, inch)| (mm - inch).abs() < 1e-9)
    );
    assert!(says(&pieces, &format!("{packers} (no packers are given)")));
}

#[test]
fn the_example_comes_back_when_it_is_written() {
    let text = block("toml", 0);
    let first = Document::parse(&SourceFile::new("job.toml", text));
    assert_eq!(first.faults(), []);
    let written = write(first.form()).unwrap();
    let second = Document::parse(&SourceFile::new("job.toml", written.as_str()));
    assert_eq!(second.faults(), []);
    assert_eq!(second.form(), first.form());
    assert_eq!(write(second.form()).unwrap(), written);
    let (again, before) = (job_of(load_text(&written)), job_of(load_text(text)));
    assert_eq!(again.site, before.site);
    assert_eq!(again.goal, before.goal);
    assert_eq!(again.limits, before.limits);
    assert_eq!(again.stock, before.stock);
    let levels = |job: &JobInput| {
        let readings = job.survey.setups.iter().flat_map(|setup| &setup.readings);
        readings.map(|reading| (reading.point.clone(), reading.value)).collect::<Vec<_>>()
    };
    assert_eq!(levels(&again), levels(&before));
}

#[test]
fn the_form_comes_back_through_json() {
    let document = Document::parse(&SourceFile::new("job.toml", block("toml", 0)));
    let json = serde_json::to_string(document.form()).unwrap();
    let form: Form = serde_json::from_str(&json).unwrap();
    assert_eq!(&form, document.form());
}

#[test]
fn a_form_that_was_made_in_another_way_is_checked_the_same() {
    let mut document = Document::parse(&SourceFile::new("job.toml", block("toml", 0)));
    let mut form = document.form().clone();
    form.support[0].gap = Some(Quantity::Number(-3.0));
    document = Document::of_form(form, "this job");
    let loaded = check(document, &mut |_| Ok(block("csv", 0).to_owned()));
    let shown: Vec<String> = loaded.faults.iter().map(ToString::to_string).collect();
    assert_eq!(shown, ["this job: support A1: gap is out of range: -3 mm, must be 0 mm to 300 mm"]);
}

#[test]
fn a_table_can_be_written_as_a_job() {
    let source = SourceFile::new("floor.csv", block("csv", 1));
    let loaded = from_csv(&source, CsvMeaning::default());
    let text = write(&loaded.form).unwrap();
    assert!(text.contains("[[support]]\nid = \"A2\"\nat = [1800, 0]\n"), "{text}");
    let again = load(&SourceFile::new("job.toml", text), &mut |name| {
        assert_eq!(name, "floor.csv");
        Ok(source.text.clone())
    });
    let (again, before) = (job_of(again), job_of(loaded));
    assert_eq!(again.site, before.site);
    assert_eq!(again.survey, before.survey);
}

#[test]
fn a_table_alone_is_a_job_with_its_assumptions_said() {
    let source = SourceFile::new("floor.csv", block("csv", 1));
    let job = job_of(from_csv(&source, CsvMeaning::default()));
    assert_eq!(job.site.supports().len(), 4);
    assert_eq!(job.site.points().len(), 4);
    assert_eq!(job.survey.datum, Datum::PointIsZero(PointId::new("A1")));
    assert_eq!(job.survey.setups.len(), 1);
    assert_eq!(job.survey.setups[0].readings[1].value, ExactLength::nm(1_620_000_000));
    assert_eq!(job.goal.height, TargetHeight::Highest);
    let assumed: Vec<&str> = job.assumptions.iter().map(|one| one.text.as_str()).collect();
    assert_eq!(
        assumed,
        [
            "each floor point stands over a support of its own with the same name",
            "no benchmark is given: A1 is called zero",
            "all readings were taken from one setup",
            "a reading has a standard deviation of 1.2 mm (reading_sd is not given for every setup)",
            "the floor is brought to its highest point (no goal is given)",
            "packers of 1.5, 3, 5, 10 and 20 mm can be had singly (no stock is given)",
        ]
    );
}

#[test]
fn a_table_with_a_benchmark_and_two_setups() {
    let text = "setup;point;kind;level;x;y;reading;inverted\n\
                a;BM;benchmark;0,5;;;1,500;\n\
                a;A1;;;0;0;1,612;\n\
                a;A2;floor;;1,8;0;1,620;\n\
                b;A2;;;;;1,420;\n\
                b;B1;;;0;1,5;1,405;\n\
                b;S1;soffit;;0;1,5;0,300;yes\n";
    let meaning = CsvMeaning { terms: Terms::Uk, units: Unit::Metres, reading_units: Unit::Metres };
    let job = job_of(from_csv(&SourceFile::new("floor.csv", text), meaning));
    assert_eq!(job.survey.datum, Datum::Benchmarks);
    assert_eq!(job.survey.benchmarks[0].level, Level::mm(500.0));
    assert_eq!(job.survey.setups.len(), 2);
    assert_eq!(job.site.supports().len(), 3);
    assert_eq!(job.site.supports()[1].at, Position::mm(1800.0, 0.0));
    let soffit = &job.survey.setups[1].readings[2];
    assert!(soffit.inverted);
    assert_eq!(soffit.value, ExactLength::nm(300_000_000));
    assert_eq!(job.terms, Terms::Uk);
}

#[test]
fn a_job_in_feet_and_inches() {
    let text = r#"
format = 1
[job]
terms = "us"
units = "ft-in"
[[support]]
id = "A1"
at = [0, 0]
gap = "1/4"
[[support]]
id = "A2"
at = ["6' 0 1/2\"", 0]
[[support]]
id = "B1"
at = [0, '60"']
[datum]
zero = "A1"
[[setup]]
id = "1"
reading_sd = "1/32"
readings = [
    { point = "A1", reading = "5' 3 7/16\"" },
    { point = "A2", reading = 63.5, time = 23:58 },
    { point = "B1", reading = "5-3-9/16", time = "00:03" },
]
"#;
    let loaded = load(&SourceFile::new("job.toml", text), &mut |name| Err(name.to_owned()));
    let job = job_of(loaded);
    assert_eq!(job.site.supports()[0].gap, Length::mm(6.35));
    assert_eq!(job.site.supports()[1].at, Position::mm(1841.5, 0.0));
    let readings = &job.survey.setups[0].readings;
    let sixty_fourths: Vec<i64> =
        readings.iter().map(|reading| reading.value.to_nm() / 396_875).collect();
    assert_eq!(sixty_fourths, [63 * 64 + 28, 63 * 64 + 32, 63 * 64 + 36]);
    let times: Vec<_> = readings.iter().map(|reading| reading.time).collect();
    assert_eq!(times, [None, Some(Minutes::new(1438.0)), Some(Minutes::new(1443.0))]);
}

#[test]
fn a_table_whose_columns_say_their_units() {
    let read =
        |text: &str| job_of(from_csv(&SourceFile::new("floor.csv", text), CsvMeaning::default()));
    let metres = read("point,x_m,y_m,reading_m\nA1,0,0,1.612\nA2,1.8,0,1.620\nB1,0,1.5,160.5 cm\n");
    assert_eq!(metres.site.supports()[1].at, Position::mm(1800.0, 0.0));
    let values = |job: &JobInput| -> Vec<i64> {
        job.survey.setups[0].readings.iter().map(|reading| reading.value.to_nm()).collect()
    };
    assert_eq!(values(&metres), [1_612_000_000, 1_620_000_000, 1_605_000_000]);
    assert_eq!(metres.units, Unit::Millimetres);
    let feet = read("point,x_ft,y_ft,reading_in\nA1,0,0,63 7/16\nA2,6,0,63.5\nB1,0,5,63\n");
    assert_eq!(feet.site.supports()[1].at, Position::mm(1828.8, 0.0));
    assert_eq!(values(&feet), [1_611_312_500, 1_612_900_000, 1_600_200_000]);
    assert_eq!(feet.units, Unit::FeetInches);
}

#[test]
fn struck_readings_are_kept_to_be_shown_and_not_used() {
    let text = block("toml", 0).replace(
        "    { point = \"B2\", reading = 1447.5 },\n",
        "    { point = \"B2\", reading = 1447.5 },\n    { point = \"Z9\", reading = 9447.5, struck = \"staff not on the floor\" },\n    { point = \"B2\", reading = \"one\", time = \"late\", struck = \"cannot be read\" },\n    { point = \"B3\", reading = 1442, struck = \"\" },\n",
    );
    let job = job_of(load_text(&text));
    let line = 1 + text.lines().take_while(|line| !line.contains("Z9")).count();
    let struck =
        |setup: &str, point: &str, mm: Option<f64>, why: &str, file: &str, line| StruckReading {
            setup: SetupId::new(setup),
            point: point.to_owned(),
            value: mm.and_then(ExactLength::from_mm),
            why: why.to_owned(),
            place: Some(SourcePlace { file: file.to_owned(), line }),
        };
    assert_eq!(
        job.struck,
        [
            struck("2", "Z9", Some(9447.5), "staff not on the floor", "job.toml", line),
            struck("2", "B2", None, "cannot be read", "job.toml", line + 1),
        ]
    );
    assert_eq!(job.survey.setups[1].readings.len(), 5);

    let table = "point,x,y,reading,kind,setup,struck\n\
                 A0,0,0,1700,,1,bumped: A1 was meant\n\
                 A1,0,0,1612,,1,\n\
                 A2,900,0,1620,,1,\"the tripod slipped, read again\"\n\
                 A2,1800,0,1621,,1,\n\
                 B1,0,1500,1605,,1,\n\
                 C1,x,1500,,sky,7,rain\n";
    let loaded = from_csv(&SourceFile::new("floor.csv", table), CsvMeaning::default());
    let job = job_of(loaded);
    assert_eq!(
        job.struck,
        [
            struck("1", "A0", Some(1700.0), "bumped: A1 was meant", "floor.csv", 2),
            struck("1", "A2", Some(1620.0), "the tripod slipped, read again", "floor.csv", 4),
            struck("7", "C1", None, "rain", "floor.csv", 7),
        ]
    );
    assert_eq!(job.survey.datum, Datum::PointIsZero(PointId::new("A1")));
    let read: Vec<&str> =
        job.survey.setups[0].readings.iter().map(|reading| reading.point.as_str()).collect();
    assert_eq!(read, ["A1", "A2", "B1"]);
    let at = |id: &str| job.site.support(&SupportId::new(id)).map(|support| support.at);
    assert_eq!(at("A2"), Some(Position::mm(1800.0, 0.0)));
    assert_eq!((at("A0"), at("C1")), (None, None));

    let only_struck_has_a_place = "point,x,y,level,reading,struck\nA1,0,0,,1612,\nBM,,,7,1500,slipped\nBM,,,,1501,\nA2,1800,0,,1620,slipped\nA2,,,,1621,\nB1,0,1500,,1605,\n";
    let job = job_of(from_csv(
        &SourceFile::new("floor.csv", only_struck_has_a_place),
        CsvMeaning::default(),
    ));
    assert_eq!(
        job.site.point(&PointId::new("A2")).and_then(|point| point.at),
        Some(Position::mm(1800.0, 0.0))
    );
    assert_eq!(job.survey.benchmarks[0].level, Level::mm(7.0));
}

#[test]
fn the_documentation_names_every_key_and_column() {
    let schema = schema();
    let forms = schema["$defs"].as_object().unwrap().values().chain([&schema]);
    let keys =
        forms.filter_map(|form| form["properties"].as_object()).flat_map(|fields| fields.keys());
    let mut n_keys = 0;
    for key in keys {
        let written = [format!("`{key}`"), format!("[{key}]"), format!("{key} = ")];
        assert!(written.iter().any(|form| DOCS.contains(form)), "{key}");
        n_keys += 1;
    }
    assert!(n_keys > 100, "{n_keys}");
    for column in READING_COLUMNS.iter().chain(BOOK_COLUMNS) {
        assert!(DOCS.contains(&format!("`{column}`")), "{column}");
    }
}

#[test]
fn the_documentation_has_the_defaults_of_the_program() {
    let job = load_text("format = 1\n[job]\nname = \"silent\"\n").job.unwrap();
    let limits = &job.limits;
    let mm = |name: &str, length: Length| format!("`{name}` ({} mm)", length.to_mm());
    for written in [
        mm("lift_per_pass", limits.lift_per_pass.value),
        format!("`jacks` ({})", limits.jacks.value),
        format!("`distortion` (1 in {:.0})", 1.0 / limits.distortion.value),
        format!("`neighbour_distance` ({} m)", limits.neighbour_distance.value.to_mm() / 1e3),
        mm("max_lift", limits.max_lift.value),
        mm("packing_warn", limits.packing_warn.value),
        mm("packing_stop", limits.packing_stop.value),
        format!("`max_pieces` in a stack ({})", job.stock.max_pieces.value),
        format!("`tolerance` of a stack ({} mm,", job.stock.tolerance.value.to_mm()),
        format!("`alpha` ({})", job.survey.tests.alpha),
        format!("`power` ({:.2})", job.survey.tests.power),
        format!("`global_alpha` ({})", job.survey.tests.global_alpha),
        format!("`jack_derating` ({})", job.limits.jack_derating.value),
        format!("`bending_share` ({})", job.limits.bending_share.value),
        format!("`carry_least` ({} kN)", job.limits.carry_least.value.to_kn()),
        format!(
            "| `load_doubt` | how far loads may be off either way, a ratio | {} |",
            job.frame.rules.load_doubt
        ),
        format!("| {} m |", job.frame.rules.longest_span.to_m()),
    ] {
        assert!(DOCS.contains(&written), "{written}");
    }
}

#[test]
fn the_documentation_names_every_grade_and_build_up() {
    for grade in grades() {
        let short =
            grade.timber.name.trim_end_matches(", seasoned").trim_end_matches(", unseasoned");
        assert!(DOCS.contains(&format!("`\"{short}\"`")), "{short}");
    }
    for build_up in build_ups() {
        let row = format!("| `{}` ({}) |", build_up.id, build_up.title);
        let line = DOCS.lines().find(|line| line.starts_with(&row)).expect("a row");
        assert!(line.ends_with(&format!(" {:.2} |", build_up.load.to_kpa())), "{line}");
    }
}

/// A small reading of JSON Schema: the words that the job's schema uses, and no others.
fn matches_schema(root: &Value, schema: &Value, value: &Value) -> bool {
    let object = schema.as_object().expect("a schema is an object");
    object.iter().all(|(word, rule)| match word.as_str() {
        "$ref" => {
            let name = rule.as_str().unwrap().strip_prefix("#/$defs/").unwrap();
            matches_schema(root, &root["$defs"][name], value)
        }
        "anyOf" => rule.as_array().unwrap().iter().any(|one| matches_schema(root, one, value)),
        "oneOf" => {
            let all = rule.as_array().unwrap();
            all.iter().filter(|one| matches_schema(root, one, value)).count() == 1
        }
        "const" => rule == value,
        "enum" => rule.as_array().unwrap().contains(value),
        "type" => {
            let is = |kind: &str| match kind {
                "object" => value.is_object(),
                "array" => value.is_array(),
                "string" => value.is_string(),
                "boolean" => value.is_boolean(),
                "null" => value.is_null(),
                "integer" => value.is_i64() || value.is_u64(),
                "number" => value.is_number(),
                other => panic!("unknown type {other}"),
            };
            match rule {
                Value::String(kind) => is(kind),
                kinds => kinds.as_array().unwrap().iter().any(|kind| is(kind.as_str().unwrap())),
            }
        }
        "properties" => value.as_object().is_none_or(|fields| {
            fields.iter().all(|(name, field)| {
                rule.get(name).is_none_or(|rule| matches_schema(root, rule, field))
            })
        }),
        "additionalProperties" => value.as_object().is_none_or(|fields| {
            rule != &Value::Bool(false)
                || fields.keys().all(|name| object["properties"].get(name).is_some())
        }),
        "required" => value.as_object().is_none_or(|fields| {
            let needed = rule.as_array().unwrap();
            needed.iter().all(|name| fields.contains_key(name.as_str().unwrap()))
        }),
        "items" => value
            .as_array()
            .is_none_or(|items| items.iter().all(|item| matches_schema(root, rule, item))),
        "minItems" => {
            value.as_array().is_none_or(|items| items.len() as u64 >= rule.as_u64().unwrap())
        }
        "maxItems" => {
            value.as_array().is_none_or(|items| items.len() as u64 <= rule.as_u64().unwrap())
        }
        "minimum" => value.as_f64().is_none_or(|number| number >= rule.as_f64().unwrap()),
        "$schema" | "$defs" | "title" | "description" | "default" | "format" => true,
        other => panic!("the schema uses {other}, which is not checked here"),
    })
}

#[test]
fn the_schema_accepts_the_example_and_refuses_slips() {
    let schema = schema();
    let check = |text: &str, expected: bool| {
        let value: Value = toml::from_str::<toml::Value>(text)
            .map(|value| serde_json::to_value(value).unwrap())
            .unwrap();
        assert_eq!(matches_schema(&schema, &schema, &value), expected, "{text}");
    };
    let example = block("toml", 0);
    check(example, true);
    for (old, new) in [
        ("gap = 1", "gpa = 1"),
        ("gap = 1", "gap = true"),
        ("at = [0, 0]", "at = [0, 0, 0]"),
        ("at = [0, 0]\n", ""),
        ("terms = \"nz\"", "terms = \"fr\""),
        ("format = 1", "format = 2"),
        ("format = 1", ""),
        ("id = \"A1\"", ""),
        ("prefer = \"least-squares\"", "prefer = \"fast\""),
        ("reason = \"three people on site\"", "why = \"three people on site\""),
        ("{ point = \"BM\", reading = 1402 }", "{ reading = 1402 }"),
        ("drift = true", "drift = 1"),
        ("[joists]\n", "[joists]\nspaceing = 3\n"),
        ("spacing = 450\n", ""),
        ("direction = \"y\"", "direction = \"up\""),
        ("section = [75, 100]", "section = [75]"),
        ("e = 9000, ", ""),
    ] {
        assert!(example.contains(old), "{old}");
        check(&example.replacen(old, new, 1), false);
    }
}
