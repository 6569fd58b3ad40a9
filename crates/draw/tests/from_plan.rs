//! Pictures of a plan, held against the plan: an invented hall with a porch a step down.
//!
//! The floor is a formula, 6 mm down per bay of 1500 mm along x, so that every number in a picture
//! has a closed form.

use floorwright_draw::{
    Decimals, Medium, Orientation, Paper, PlanPictures, Print, TitleBlock, floor_map, lift_map,
    profile,
};
use floorwright_engine::ids::{PointId, RoomId, SetupId, SupportId};
use floorwright_engine::plan::{FrameChoice, Job, Plan, plan};
use floorwright_engine::settings::{Goal, Limits, Stock, TargetHeight};
use floorwright_engine::site::{Finish, Outline, Point, PointKind, Position, Room, Site, Support};
use floorwright_engine::survey::{Datum, Drift, Reading, ReadingSd, Setup, Survey, TestSettings};
use floorwright_engine::units::{ExactLength, Length, Level};

const SHEET: Medium = Medium::Sheet(Paper::A4);
const BAY: f64 = 1500.0;
const STEP: f64 = -170.0;

/// Five by three points over the hall, three by two over the porch below it.
fn places() -> Vec<(String, Position, f64)> {
    let hall = (0..5).flat_map(|column| (1..4).map(move |row| (column, row)));
    let porch = (0..3).flat_map(|column| (-1..1).map(move |row| (column, row)));
    hall.chain(porch)
        .map(|(column, row)| {
            let (x, y) = (f64::from(column) * BAY, f64::from(row) * BAY);
            let level = -6.0 * f64::from(column) + if row < 1 { STEP } else { 0.0 };
            (format!("{}{}", char::from(b'A' + column as u8), row + 2), Position::mm(x, y), level)
        })
        .collect()
}

fn room(name: &str, x: f64, (bottom, top): (f64, f64)) -> Room {
    let corners = [(0.0, bottom), (x, bottom), (x, top), (0.0, top)];
    Room {
        id: RoomId::new(name),
        outline: Outline::new(corners.map(|(x, y)| Position::mm(x, y)).to_vec()).unwrap(),
        finish: Finish::default(),
        deck: name.to_owned(),
    }
}

fn job(rooms_of_goal: &[&str]) -> Job {
    let rooms = vec![
        room("hall", 4.0 * BAY, (BAY / 2.0, 3.0 * BAY)),
        room("porch", 2.0 * BAY, (-BAY, BAY / 2.0)),
    ];
    let places = places();
    let points = places.iter().map(|(name, at, _)| Point {
        id: PointId::new(name),
        at: Some(*at),
        kind: PointKind::Floor,
        room: None,
    });
    let supports = places.iter().map(|(name, at, _)| Support {
        id: SupportId::new(name),
        at: *at,
        gap: Length::ZERO,
        max_lift: None,
        fixed: None,
        may_lower: Length::ZERO,
    });
    let site = Site::new(rooms, points.collect(), supports.collect()).unwrap();
    let readings = places.iter().map(|(name, _, level)| Reading {
        point: PointId::new(name),
        value: ExactLength::from_mm(1500.0 - level).unwrap(),
        inverted: false,
        time: None,
        sd: None,
        distance: None,
        place: None,
    });
    let survey = Survey {
        datum: Datum::PointIsZero(PointId::new("A3")),
        benchmarks: Vec::new(),
        setups: vec![Setup {
            id: SetupId::new("1"),
            reading_sd: ReadingSd::Each(Length::mm(0.5)),
            scale: 1.0,
            drift: Drift::None,
            readings: readings.collect(),
        }],
        legs: Vec::new(),
        tests: TestSettings::default(),
    };
    Job {
        site,
        survey,
        goal: Goal {
            height: TargetHeight::Highest,
            rooms: rooms_of_goal.iter().map(|name| RoomId::new(*name)).collect(),
            ..Goal::default()
        },
        limits: Limits::default(),
        stock: Stock::default(),
        criteria: Vec::new(),
        by_hand: Vec::new(),
        frame: FrameChoice::Off { why: "interpolation is what is looked at".to_owned() },
    }
}

fn pictures<'a>(job: &'a Job, plan: &'a Plan, print: Print) -> PlanPictures<'a> {
    PlanPictures {
        job,
        plan,
        done: 0,
        title_block: TitleBlock::default(),
        orientation: Orientation::NotDeclared,
        datum_note: "A3 is called zero".to_owned(),
        print,
        flags: std::collections::BTreeMap::new(),
    }
}

const TENTHS: Print = Print::Millimetres(Decimals::Tenths);

#[test]
fn a_step_spreads_neither_colours_nor_contours_and_both_are_the_same_afterwards() {
    let job = job(&["hall"]);
    let plan = plan(&job);
    let pictures = pictures(&job, &plan, TENTHS);
    let before = pictures.floor_now(SHEET, None).unwrap().unwrap();
    let after = pictures.floor_after(SHEET, None).unwrap().unwrap();
    // The hall falls 24 mm: 24 / 12 lines is 2 mm, and 0.6 of 24 in five classes is 2.88 mm.
    assert_eq!(before.contour_interval, Some(Length::mm(2.0)));
    assert_eq!(before.colours.edges()[5], Length::mm(3.0));
    assert_eq!(after.colours, before.colours);
    let levels = |picture: &floorwright_draw::FloorPicture| {
        picture.contours.iter().map(|contour| contour.departure.to_mm()).collect::<Vec<_>>()
    };
    assert!(levels(&before).iter().all(|mm| mm % 2.0 == 0.0), "{:?}", levels(&before));
    assert!(levels(&before).contains(&-22.0));
    // The hall is level to less than an interval then, and the target's own line would be chance.
    assert!(levels(&after).iter().all(|mm| *mm < -100.0), "{:?}", levels(&after));
}

#[test]
fn an_interval_that_is_asked_for_is_taken_or_refused() {
    let job = job(&["hall"]);
    let plan = plan(&job);
    let pictures = pictures(&job, &plan, TENTHS);
    let asked = pictures.floor_now(SHEET, Some(Length::mm(7.0))).unwrap().unwrap();
    assert_eq!(asked.contour_interval, Some(Length::mm(7.0)));
    assert!(pictures.floor_now(SHEET, Some(Length::ZERO)).is_err());
}

#[test]
fn shading_is_fine_and_small() {
    let job = job(&["hall"]);
    let plan = plan(&job);
    let before = pictures(&job, &plan, TENTHS).floor_now(SHEET, None).unwrap().unwrap();
    for cell in &before.cells {
        let height = cell.corners[2].y - cell.corners[1].y;
        assert!(height <= Length::mm(40.0), "{height}");
        let middle = (cell.corners[0].x + cell.corners[1].x) / 2.0;
        let class_of = |x: Length| before.colours.colour(Length::mm(-6.0 * (x.to_mm() / BAY)));
        if cell.corners[0].y > Length::mm(BAY) {
            assert_eq!(class_of(middle), before.colours.colour(cell.departure), "{cell:?}");
        }
    }
    assert!(floor_map(&before).len() < 300_000);
}

#[test]
fn a_section_is_the_floor_along_its_line() {
    let job = job(&["hall"]);
    let plan = plan(&job);
    let pictures = pictures(&job, &plan, TENTHS);
    let (from, to) = (Position::mm(0.0, 2.0 * BAY), Position::mm(6000.0, 2.0 * BAY));
    let section = pictures.section(SHEET, from, to).unwrap();
    let supports: Vec<_> = section.supports.iter().map(|s| s.support.as_str()).collect();
    assert_eq!(supports, ["A4", "B4", "C4", "D4", "E4"]);
    assert!(section.before.len() > 200);
    for place in &section.before {
        let expected = -6.0 * place.along.to_mm() / BAY;
        let found = place.departure.expect("the whole line is read").to_mm();
        assert!((found - expected).abs() < 1e-6, "{place:?}");
    }
    let after = section.after.iter().filter_map(|place| place.departure);
    assert!(after.clone().count() > 200);
    assert!(after.clone().all(|departure| departure.abs() < Length::mm(1.0)));
    assert_eq!(section.line_note, "from x 0.00 m, y 3.00 m to x 6.00 m, y 3.00 m");
    assert!(profile(&section).contains("floor after lifting"));
}

#[test]
fn a_section_breaks_where_the_floor_is_unknown() {
    let job = job(&["hall"]);
    let plan = plan(&job);
    let pictures = pictures(&job, &plan, TENTHS);
    let beyond = Position::mm(40_000.0, 2.0 * BAY);
    let section = pictures.section(SHEET, Position::mm(0.0, 2.0 * BAY), beyond).unwrap();
    assert!(section.before.iter().any(|place| place.departure.is_none()));
    let far = Position::mm(30_000.0, 0.0);
    assert_eq!(pictures.section(SHEET, far, beyond), None);
    assert_eq!(pictures.section(SHEET, far, far), None);
}

#[test]
fn a_plan_without_lifts_says_so() {
    let check = |job: Job, expected: &str| {
        let plan = plan(&job);
        let picture = pictures(&job, &plan, TENTHS).floor_now(SHEET, None).unwrap().unwrap();
        assert_eq!(picture.target_note, expected);
    };
    let mut level = job(&["hall"]);
    level.goal.height = TargetHeight::Number(Level::mm(-24.0));
    level.goal.level_tolerance = Some(Length::mm(24.5));
    level.goal.prefer = floorwright_engine::settings::Preference::LeastLift;
    check(level, "\u{2212}24.0 mm, a level set by hand. No lifts: no support has to move");
    let mut out_of_reach = job(&["hall"]);
    out_of_reach.goal.height = TargetHeight::Number(Level::mm(5000.0));
    out_of_reach.goal.level_tolerance = Some(Length::mm(1.0));
    check(out_of_reach, "+5000.0 mm, a level set by hand. No lifts: it cannot be met");
    let mut no_supports = job(&["hall"]);
    let (rooms, points) = (no_supports.site.rooms().to_vec(), no_supports.site.points().to_vec());
    no_supports.site = Site::new(rooms, points, Vec::new()).unwrap();
    check(
        no_supports,
        "none, heights are above the mean of the floor. No lifts: the job has no supports",
    );
}

#[test]
fn a_job_in_feet_and_inches_is_drawn_in_them() {
    let job = job(&["hall"]);
    let plan = plan(&job);
    let pictures = pictures(&job, &plan, Print::Sixteenths);
    let floor = pictures.floor_now(SHEET, None).unwrap().unwrap();
    // 24 mm is 15.1 sixteenths: 12 lines need an eighth, five classes of 0.6 of it two sixteenths.
    assert_eq!(floor.contour_interval, Some(Length::inches(0.125)));
    assert_eq!(floor.colours.edges()[5], Length::inches(0.125));
    let svg = floor_map(&floor);
    for words in
        ["inches above", "\u{2212}15/16&quot;", "5 ft", "contours every 1/8&quot;", "SCALE 1:50"]
    {
        assert!(svg.contains(words), "{words}: {svg}");
    }
    assert!(!svg.contains(" mm above"));
    let lifts = lift_map(&pictures.lifts(SHEET).unwrap());
    assert!(lifts.contains("+15/16&quot;") && lifts.contains("lift in inches"));
    let (from, to) = (Position::mm(0.0, 2.0 * BAY), Position::mm(6000.0, 2.0 * BAY));
    let section = profile(&pictures.section(SHEET, from, to).unwrap());
    assert!(section.contains(" ft<") && section.contains("\u{2212}1/2&quot;"), "{section}");
}

#[test]
fn points_in_doubt_are_those_of_the_plan() {
    let mut job = job(&["hall"]);
    let reading = &mut job.survey.setups[0].readings[7];
    let slipped = reading.point.clone();
    reading.value += ExactLength::nm(60_000_000);
    let plan = plan(&job);
    let picture = pictures(&job, &plan, TENTHS).floor_now(SHEET, None).unwrap().unwrap();
    let marked: Vec<_> =
        picture.points.iter().filter(|point| point.suspect).map(|p| p.point.clone()).collect();
    assert!(marked.contains(&slipped), "{marked:?}");
    assert_eq!(marked.len(), plan.points_in_doubt().len());
}
