//! Holding floors against criteria: closed forms, a second method, refusals and properties.

use floorwright_engine::ids::{PointId, RoomId};
use floorwright_engine::site::{Finish, Outline, Point, PointKind, Position, Room, Site};
use floorwright_engine::source::SourceStatus;
use floorwright_engine::survey::{Levels, PointLevel};
use floorwright_engine::units::{Length, Level, Variance};
use floorwright_engine::verdict::{
    Criterion, CriterionFault, CriterionKind, CriterionText, Finding, Guard, Measure, MinApart,
    Outcome, PartName, Scope, Verdict, flatness, guard, judge,
};

/// A floor point: name, x and y in millimetres, level in millimetres.
type Spot<'a> = (&'a str, f64, f64, f64);

fn mm(mm: f64) -> Length {
    Length::mm(mm)
}

fn point(id: &str, at: Option<(f64, f64)>) -> Point {
    Point {
        id: PointId::new(id),
        at: at.map(|(x, y)| Position::mm(x, y)),
        kind: PointKind::Floor,
        room: None,
    }
}

fn room(id: &str, deck: &str, (left, right): (f64, f64)) -> Room {
    let corners = [(left, 0.0), (right, 0.0), (right, 9000.0), (left, 9000.0)];
    Room {
        id: RoomId::new(id),
        outline: Outline::new(corners.map(|(x, y)| Position::mm(x, y)).to_vec()).unwrap(),
        finish: Finish::Boards,
        deck: deck.to_owned(),
    }
}

fn floor(rooms: Vec<Room>, spots: &[Spot], sd: f64) -> (Site, Levels) {
    let points = spots.iter().map(|&(id, x, y, _)| point(id, Some((x, y)))).collect();
    let levels =
        spots.iter().map(|&(id, _, _, level)| (PointId::new(id), Level::mm(level), mm(sd)));
    (Site::new(rooms, points, vec![]).unwrap(), Levels::independent(levels))
}

fn one_room() -> Vec<Room> {
    vec![room("hall", "", (0.0, 20_000.0))]
}

fn criterion(measure: Measure, scope: Scope) -> Criterion {
    Criterion::agreed("own", "own figure", measure, scope, "agreed in writing").unwrap()
}

fn spread(limit: f64) -> Criterion {
    criterion(Measure::Spread { limit: mm(limit), up_to: None }, Scope::Floor)
}

fn slope(limit: f64) -> Criterion {
    let min_apart = MinApart::stated(mm(2000.0));
    criterion(Measure::SlopePairs { limit, min_apart }, Scope::Floor)
}

fn gap(limit: f64) -> Criterion {
    criterion(Measure::StraightedgeGap { limit: mm(limit), base: mm(2000.0) }, Scope::Room)
}

fn names(verdict: &Verdict) -> Vec<&str> {
    match verdict.finding() {
        Some(Finding::Height { points, .. }) => points.iter().map(PointId::as_str).collect(),
        _ => vec![],
    }
}

fn height(verdict: &Verdict) -> (f64, f64, f64) {
    match verdict.finding() {
        Some(Finding::Height { value, uncertainty, limit, .. }) => {
            (value.to_mm(), uncertainty.to_mm(), limit.to_mm())
        }
        other => panic!("{other:?}"),
    }
}

fn refusal(verdict: &Verdict) -> &str {
    match &verdict.outcome {
        Outcome::Refused { why } => why,
        other => panic!("{other}"),
    }
}

fn cannot_tell(verdict: &Verdict) -> &str {
    match &verdict.outcome {
        Outcome::CannotTell { why } => why,
        other => panic!("{other}"),
    }
}

#[test]
fn the_guard_band_is_the_uncertainty() {
    let check = |value, uncertainty, limit, expected| {
        assert_eq!(guard(mm(value), mm(uncertainty), mm(limit)), expected, "{value}");
    };
    check(8.0, 2.0, 10.0, Guard::Within);
    check(8.01, 2.0, 10.0, Guard::Undecided);
    check(10.0, 0.0, 10.0, Guard::Within);
    check(12.0, 2.0, 10.0, Guard::Undecided);
    check(12.01, 2.0, 10.0, Guard::Beyond);
    // 0.1 + 0.2 is a hair above 0.3 in binary; the limit of 0.3 mm is met.
    check(0.1 + 0.2, 0.0, 0.3, Guard::Within);
}

/// Closed form: two independent levels of sd 1 mm differ with U = 2 sqrt(2) mm.
#[test]
fn spread_names_highest_and_lowest_with_their_uncertainty() {
    let spots = [("A", 0.0, 0.0, 0.0), ("B", 3000.0, 0.0, 14.0), ("C", 6000.0, 0.0, -6.0)];
    let (site, levels) = floor(one_room(), &spots, 1.0);
    let verdict = judge(&spread(30.0), &site, &levels);
    assert_eq!(verdict.outcome, Outcome::Meets);
    assert_eq!(names(&verdict), ["B", "C"]);
    let (value, uncertainty, limit) = height(&verdict);
    assert_eq!((value, limit), (20.0, 30.0));
    assert!((uncertainty - 8.0_f64.sqrt()).abs() < 1e-12);
    assert_eq!(judge(&spread(22.83), &site, &levels).outcome, Outcome::Meets);
    assert!(cannot_tell(&judge(&spread(22.82), &site, &levels)).contains("B and C"));
    assert!(cannot_tell(&judge(&spread(17.18), &site, &levels)).contains("too close to call"));
    assert_eq!(judge(&spread(17.16), &site, &levels).outcome, Outcome::DoesNot);
}

/// Every level hangs on one benchmark known to 20 mm; their differences do not.
#[test]
fn what_the_levels_share_drops_out() {
    let spots = [("A", 0.0, 0.0, 0.0), ("B", 3000.0, 0.0, 9.0)];
    let (site, _) = floor(one_room(), &spots, 0.0);
    let points = ["A", "B"].map(|id| PointLevel {
        point: PointId::new(id),
        level: Level::mm(if id == "A" { 0.0 } else { 9.0 }),
        sd_prior: mm(401.0_f64.sqrt()),
        sd_post: None,
        held: false,
    });
    let row = |own: f64, other: f64| [Variance::mm2(own), Variance::mm2(other)];
    let covariance = vec![row(401.0, 400.0).to_vec(), row(400.0, 401.0).to_vec()];
    let levels = Levels::new(points.to_vec(), &covariance);
    let verdict = judge(&spread(12.0), &site, &levels);
    assert_eq!(verdict.outcome, Outcome::Meets);
    assert!((height(&verdict).1 - 8.0_f64.sqrt()).abs() < 1e-9);
}

#[test]
fn only_points_further_apart_than_stated_have_a_slope() {
    let spots = [
        ("A", 0.0, 0.0, 0.0),
        ("B", 2000.0, 0.0, 40.0), // exactly 2 m: not more than 2 m
        ("C", 4500.0, 0.0, 20.0), // 20 mm in 4.5 m from A, 20 mm in 2.5 m from B
    ];
    let (site, levels) = floor(one_room(), &spots, 0.1);
    let verdict = judge(&slope(1.0 / 200.0), &site, &levels);
    assert_eq!(verdict.outcome, Outcome::DoesNot);
    assert_eq!(names(&verdict), ["B", "C"]);
    assert_eq!(verdict.parts[0].n_compared, 2);
    let (value, _, limit) = height(&verdict);
    assert!((value - 20.0).abs() < 1e-12 && (limit - 12.5).abs() < 1e-12);
    assert_eq!(judge(&slope(1.0 / 100.0), &site, &levels).outcome, Outcome::Meets);
    let (site, levels) = floor(one_room(), &spots[..2], 0.1);
    assert!(refusal(&judge(&slope(0.005), &site, &levels)).contains("2000.0 mm apart"));
}

#[test]
fn a_pair_surely_beyond_decides_whatever_the_others_are() {
    let spots = [("A", 0.0, 0.0, 0.0), ("B", 1000.0, 0.0, 5.5), ("C", 9000.0, 0.0, 90.0)];
    let base = criterion(Measure::DiffInBase { limit: mm(5.0), base: mm(2000.0) }, Scope::Floor);
    let (site, levels) = floor(one_room(), &spots, 0.5);
    let verdict = judge(&base, &site, &levels);
    assert!(cannot_tell(&verdict).contains("A and B"), "C is too far away to count");
    let (site, levels) = floor(one_room(), &spots, 0.1);
    let verdict = judge(&base, &site, &levels);
    assert_eq!(verdict.outcome, Outcome::DoesNot);
    assert_eq!(names(&verdict), ["A", "B"]);
}

#[test]
fn a_step_between_decks_is_no_slope() {
    let rooms = |second_deck: &str| {
        vec![room("hall", "main", (0.0, 5000.0)), room("laundry", second_deck, (5000.0, 9000.0))]
    };
    let spots = [
        ("H1", 1000.0, 100.0, 0.0),
        ("H2", 4000.0, 100.0, 3.0),
        ("L1", 6000.0, 100.0, -150.0),
        ("L2", 8500.0, 100.0, -148.0),
    ];
    let (site, levels) = floor(rooms("lean-to"), &spots, 0.1);
    let verdict = judge(&slope(0.005), &site, &levels);
    assert_eq!(verdict.outcome, Outcome::Meets);
    assert_eq!(verdict.parts.len(), 2);
    assert_eq!(verdict.parts[1].name, PartName::Deck("lean-to".to_owned()));
    let (site, levels) = floor(rooms("main"), &spots, 0.1);
    let verdict = judge(&slope(0.005), &site, &levels);
    assert_eq!(verdict.outcome, Outcome::DoesNot);
    // Steepest pair over 2 m apart: 153 mm in 2 m is not more than 2 m apart, H2 to L2 is.
    assert_eq!(names(&verdict), ["H2", "L2"]);
}

#[test]
fn rooms_are_judged_one_by_one() {
    let rooms = vec![room("hall", "", (0.0, 5000.0)), room("bed", "", (5000.0, 9000.0))];
    let spots = [
        ("H1", 1000.0, 100.0, 0.0),
        ("H2", 4000.0, 100.0, 2.0),
        ("B1", 6000.0, 100.0, 20.0),
        ("B2", 8000.0, 100.0, 29.0),
        ("out", 15_000.0, 100.0, 500.0),
    ];
    let (site, levels) = floor(rooms, &spots, 0.1);
    let in_room = |limit| criterion(Measure::Spread { limit: mm(limit), up_to: None }, Scope::Room);
    let verdict = judge(&in_room(10.0), &site, &levels);
    assert_eq!(verdict.outcome, Outcome::Meets);
    assert_eq!(names(&verdict), ["B1", "B2"]);
    assert_eq!(verdict.left_out.len(), 1);
    assert_eq!(verdict.left_out[0].point.as_str(), "out");
    let verdict = judge(&in_room(8.0), &site, &levels);
    assert_eq!(verdict.outcome, Outcome::DoesNot);
    assert_eq!(verdict.parts[0].outcome, Outcome::Meets);
    assert_eq!(verdict.governing, Some(1));
}

#[test]
fn a_room_without_readings_keeps_the_house_from_meeting() {
    let rooms = vec![room("hall", "", (0.0, 5000.0)), room("bed", "", (5000.0, 9000.0))];
    let spots = [("H1", 1000.0, 100.0, 0.0), ("H2", 4000.0, 100.0, 2.0)];
    let (site, levels) = floor(rooms, &spots, 0.1);
    let in_room = criterion(Measure::Spread { limit: mm(10.0), up_to: None }, Scope::Room);
    assert!(cannot_tell(&judge(&in_room, &site, &levels)).contains("room bed"));
}

#[test]
fn the_room_the_builder_said_goes_before_the_outline() {
    let rooms = vec![room("hall", "", (0.0, 5000.0)), room("bed", "", (5000.0, 9000.0))];
    let mut said = point("P", Some((1000.0, 1000.0)));
    said.room = Some(RoomId::new("bed"));
    let nowhere = Point { room: Some(RoomId::new("hall")), ..point("Q", None) };
    let mut on_benchmark = point("BM", Some((1000.0, 1000.0)));
    on_benchmark.kind = PointKind::Benchmark;
    let unread = point("U", Some((1000.0, 1000.0)));
    let site = Site::new(rooms, vec![said, nowhere, on_benchmark, unread], vec![]).unwrap();
    let levels =
        Levels::independent(["P", "Q", "BM"].map(|id| (PointId::new(id), Level::mm(0.0), mm(0.1))));
    let parts = floorwright_engine::verdict::parts_of(Scope::Room, &site, &levels);
    assert_eq!(parts.parts[0].points, [1]);
    assert_eq!(parts.parts[1].points, [0]);
    assert_eq!(parts.left_out.len(), 1, "{:?}", parts.left_out);
}

/// Closed form: on z = k x^2 the middle of three points s apart is k s^2 off their line,
/// with U = 2 sd sqrt(1 + 1/4 + 1/4).
#[test]
fn a_straightedge_over_a_sag() {
    let sag: Vec<(String, f64)> =
        (0..6).map(|idx| (format!("P{idx}"), f64::from(idx) * 900.0)).collect();
    let spots: Vec<Spot> =
        sag.iter().map(|(id, x)| (id.as_str(), *x, 500.0, 5e-6 * x * x)).collect();
    let (site, levels) = floor(one_room(), &spots, 0.2);
    let verdict = judge(&gap(5.0), &site, &levels);
    assert_eq!(verdict.outcome, Outcome::Meets);
    let (value, uncertainty, _) = height(&verdict);
    assert!((value - 4.05).abs() < 1e-9, "{value}");
    assert!((uncertainty - 0.4 * 1.5_f64.sqrt()).abs() < 1e-9, "{uncertainty}");
    assert_eq!(judge(&gap(3.0), &site, &levels).outcome, Outcome::DoesNot);
    assert!(cannot_tell(&judge(&gap(4.0), &site, &levels)).contains("off the line from"));
}

#[test]
fn a_straightedge_is_refused_where_points_are_too_far_apart() {
    let spots: Vec<Spot> =
        vec![("A", 0.0, 0.0, 0.0), ("B", 1010.0, 0.0, 9.0), ("C", 2000.0, 0.0, 0.0)];
    let (site, levels) = floor(one_room(), &spots, 0.1);
    let verdict = judge(&gap(5.0), &site, &levels);
    assert!(refusal(&verdict).contains("no more than 1000.0 mm"), "{verdict}");
    // Near enough, but not on a line.
    let spots = [("A", 0.0, 0.0, 0.0), ("B", 900.0, 300.0, 9.0), ("C", 1800.0, 0.0, 0.0)];
    let (site, levels) = floor(one_room(), &spots, 0.1);
    refusal(&judge(&gap(5.0), &site, &levels));
    // On a line, but three points in half a metre say nothing about two.
    let spots = [("A", 0.0, 0.0, 0.0), ("B", 250.0, 0.0, 9.0), ("C", 500.0, 0.0, 0.0)];
    let (site, levels) = floor(one_room(), &spots, 0.1);
    refusal(&judge(&gap(5.0), &site, &levels));
}

/// DIN 18202 Table 3 row 3 (second-hand): 4 mm at 1 m, 10 mm at 4 m. A 1 m grid tests 2 m; between
/// the entries 1.5 m (5 mm) and 2 m (6 mm) the limit at 1.8 m is 5.6 mm.
#[test]
fn gap_limits_by_distance_are_read_between_the_entries() {
    let table = [(0.1, 2.0), (1.0, 4.0), (1.5, 5.0), (2.0, 6.0), (4.0, 10.0)];
    let table = table.map(|(metres, limit)| (Length::m(metres), mm(limit))).to_vec();
    let din = criterion(Measure::GapByDistance { table }, Scope::Room);
    let spots = [("A", 0.0, 0.0, 0.0), ("B", 900.0, 0.0, 5.0), ("C", 1800.0, 0.0, 0.0)];
    let (site, levels) = floor(one_room(), &spots, 0.1);
    let verdict = judge(&din, &site, &levels);
    assert_eq!(names(&verdict), ["B", "A", "C"]);
    let (value, _, limit) = height(&verdict);
    assert!((value - 5.0).abs() < 1e-9 && (limit - 5.6).abs() < 1e-9, "{value} {limit}");
    assert_eq!(verdict.outcome, Outcome::Meets);
    let spots = [("A", 0.0, 0.0, 0.0), ("B", 700.0, 0.0, 5.0), ("C", 1800.0, 0.0, 0.0)];
    let (site, levels) = floor(one_room(), &spots, 0.1);
    assert!(refusal(&judge(&din, &site, &levels)).contains("midway"));
}

/// NHBC 2020, 9.1.5: 3 mm per metre up to 6 m, 20 mm beyond.
#[test]
fn a_limit_that_grows_with_the_span() {
    let measure = Measure::DiffBySpan { per_length: 0.003, span_max: mm(6000.0), cap: mm(20.0) };
    let level = criterion(measure, Scope::Room);
    let check = |apart: f64, differs: f64, limit: f64, meets: bool| {
        let spots = [("A", 0.0, 0.0, 0.0), ("B", apart, 0.0, differs)];
        let (site, levels) = floor(one_room(), &spots, 0.01);
        let verdict = judge(&level, &site, &levels);
        assert!((height(&verdict).2 - limit).abs() < 1e-9);
        assert_eq!(verdict.outcome == Outcome::Meets, meets, "{verdict}");
    };
    check(4000.0, 11.9, 12.0, true);
    check(4000.0, 12.1, 12.0, false);
    check(6000.0, 17.9, 18.0, true);
    check(6001.0, 19.9, 20.0, true);
    check(9000.0, 20.1, 20.0, false);
}

/// DIN 18202 Table 2 (second-hand): up to 3 m 8 mm, up to 6 m 12 mm, above all 30 mm.
#[test]
fn a_limit_by_nominal_length() {
    let steps = [(3.0, 8.0), (6.0, 12.0)].map(|(m, limit)| (Length::m(m), mm(limit))).to_vec();
    let level = criterion(Measure::LevelByNominalLength { steps, beyond: mm(30.0) }, Scope::Floor);
    for (apart, expected) in [(3000.0, 8.0), (3001.0, 12.0), (6000.0, 12.0), (9000.0, 30.0)] {
        let spots = [("A", 0.0, 0.0, 0.0), ("B", apart, 0.0, 1.0)];
        let (site, levels) = floor(one_room(), &spots, 0.01);
        assert_eq!(height(&judge(&level, &site, &levels)).2, expected, "{apart}");
    }
}

fn f_number(least: f64) -> Criterion {
    let measure = Measure::FNumbers { flatness: least, levelness: None, local_fraction: 0.6 };
    criterion(measure, Scope::Room)
}

#[test]
fn f_numbers_need_a_run_of_readings_a_foot_apart() {
    let grid: Vec<(String, f64, f64)> = (0..30)
        .map(|idx| (format!("P{idx}"), f64::from(idx % 6) * 1200.0, f64::from(idx / 6) * 1200.0))
        .collect();
    let spots: Vec<Spot> = grid.iter().map(|(id, x, y)| (id.as_str(), *x, *y, 0.0)).collect();
    let (site, levels) = floor(one_room(), &spots, 0.1);
    let verdict = judge(&f_number(20.0), &site, &levels);
    assert!(refusal(&verdict).contains("12 or more readings 1 ft apart"), "{verdict}");
}

/// The invented readings of `data/practice/f_numbers.toml`, found on the plan as one run.
#[test]
fn f_numbers_of_a_run_on_the_plan() {
    let example: toml::Table = include_str!("data/practice/f_numbers.toml").parse().unwrap();
    let line = &example["line"];
    let inches: Vec<f64> = line["heights_in"]
        .as_array()
        .unwrap()
        .iter()
        .map(|height| height.as_float().unwrap())
        .collect();
    let run = |n_readings: usize, sd: f64, least: f64| {
        let names: Vec<String> = (0..n_readings).map(|foot| format!("P{foot}")).collect();
        let spots: Vec<Spot> = names
            .iter()
            .enumerate()
            .map(|(foot, id)| {
                (id.as_str(), 400.0 + foot as f64 * 304.8, 700.0, inches[foot] * 25.4)
            })
            .collect();
        let (site, levels) = floor(one_room(), &spots, sd);
        judge(&f_number(least), &site, &levels)
    };
    let verdict = run(24, 0.02, 20.0);
    assert_eq!(verdict.outcome, Outcome::Meets);
    let Some(&Finding::FNumber { value, low, high, n_lines: 1, .. }) = verdict.finding() else {
        panic!("{verdict}");
    };
    let expected = line["ff"].as_float().unwrap();
    assert!((1.0 / value.reciprocal() - expected).abs() <= 0.005, "{value}");
    assert!(low.reciprocal() > value.reciprocal() && value.reciprocal() > high.reciprocal());
    assert!(verdict.to_string().contains("unverified"));
    // Straight-line propagation: twice the standard deviation, twice the uncertainty.
    let doubled = run(24, 0.04, 20.0);
    let Some(&Finding::FNumber { low: doubled, .. }) = doubled.finding() else {
        panic!("{doubled}");
    };
    let widths = [doubled, low].map(|low| low.reciprocal() - value.reciprocal());
    assert!((widths[0] / widths[1] - 2.0).abs() < 1e-6, "{widths:?}");
    assert_eq!(run(24, 0.02, 35.0).outcome, Outcome::DoesNot);
    cannot_tell(&run(24, 1.0, 27.0));
    assert!(refusal(&run(11, 0.02, 20.0)).contains("the longest here has 11"));
    let heights: Vec<Length> = inches.iter().map(|&inches| Length::inches(inches)).collect();
    assert!(flatness(&heights).is_ok());
}

/// Closed form: noise of sd s has second differences of sd sqrt(6) s, so a line that reads as
/// perfect may hide a roughness of 3 sqrt(6) s; twice that is not let pass.
#[test]
fn a_line_that_reads_perfect_is_no_better_than_its_readings() {
    let names: Vec<String> = (0..40).map(|foot| format!("P{foot}")).collect();
    let spots: Vec<Spot> = names
        .iter()
        .enumerate()
        .map(|(foot, id)| (id.as_str(), 400.0 + foot as f64 * 304.8, 700.0, 0.0))
        .collect();
    let (site, levels) = floor(one_room(), &spots, 0.0);
    let exact = judge(&f_number(100.0), &site, &levels);
    assert_eq!(exact.outcome, Outcome::Meets);
    let sd_inches = 0.5 / 25.4;
    let least = 4.57 / (2.0 * 3.0 * 6.0_f64.sqrt() * sd_inches);
    let (site, levels) = floor(one_room(), &spots, 0.5);
    assert_eq!(judge(&f_number(least * 0.9), &site, &levels).outcome, Outcome::Meets);
    cannot_tell(&judge(&f_number(least * 1.1), &site, &levels));
}

#[test]
fn what_levels_cannot_show_is_refused_with_what_it_needs() {
    let (site, levels) = floor(one_room(), &[("A", 0.0, 0.0, 0.0), ("B", 3000.0, 0.0, 1.0)], 0.1);
    let plumb = Measure::NotFromLevels {
        limit: "13 mm per m".to_owned(),
        needs: "the lean of each pile".to_owned(),
    };
    let verdict = judge(&criterion(plumb, Scope::Floor), &site, &levels);
    assert_eq!(
        refusal(&verdict),
        "cannot be judged from floor levels: it needs the lean of each pile"
    );
    let mut off = spread(10.0);
    off.turn_off();
    assert_eq!(refusal(&judge(&off, &site, &levels)), "it is off");
    let (bare, levels) = floor(vec![], &[("A", 0.0, 0.0, 0.0), ("B", 3000.0, 0.0, 1.0)], 0.1);
    assert!(refusal(&judge(&gap(5.0), &bare, &levels)).contains("room by room"));
    assert_eq!(judge(&spread(10.0), &bare, &levels).outcome, Outcome::Meets);
    let empty = Levels::independent([]);
    assert!(refusal(&judge(&spread(10.0), &bare, &empty)).contains("fewer than two"));
}

fn remembered(not_measured: Option<&str>, status: SourceStatus) -> Criterion {
    let text = CriterionText {
        id: "r".to_owned(),
        title: "Rebuild indicated".to_owned(),
        body: "Some body".to_owned(),
        document: Some("Some guide".to_owned()),
        year: Some(2012),
        clause: Some("Table 2.3".to_owned()),
        jurisdiction: None,
        via: None,
        note: None,
        as_printed: None,
        disagrees_with: None,
        status,
        source: "where it was read".to_owned(),
    };
    let measure = Measure::Spread { limit: mm(100.0), up_to: None };
    let not_measured = not_measured.map(str::to_owned);
    Criterion::new(text, CriterionKind::Indicator, measure, Some(Scope::Floor), not_measured, true)
        .unwrap()
}

#[test]
fn a_remembered_limit_is_not_used_unasked() {
    let (site, levels) = floor(one_room(), &[("A", 0.0, 0.0, 0.0), ("B", 3000.0, 0.0, 1.0)], 0.1);
    let mut criterion = remembered(None, SourceStatus::Memory);
    assert!(refusal(&judge(&criterion, &site, &levels)).contains("unverified"));
    criterion.turn_on("page 14 of the guide").unwrap();
    assert_eq!(judge(&criterion, &site, &levels).outcome, Outcome::Meets);
}

#[test]
fn a_rule_that_asks_for_more_than_levels_is_not_met_by_levels() {
    let criterion = remembered(Some("the stretch of the floor"), SourceStatus::SecondHand);
    let spots = |fall| [("A", 0.0, 0.0, 0.0), ("B", 3000.0, 0.0, fall)];
    let (site, levels) = floor(one_room(), &spots(50.0), 0.1);
    assert!(cannot_tell(&judge(&criterion, &site, &levels)).contains("stretch"));
    let (site, levels) = floor(one_room(), &spots(150.0), 0.1);
    assert_eq!(judge(&criterion, &site, &levels).outcome, Outcome::DoesNot);
}

#[test]
fn the_sentence_names_points_limit_kind_and_source() {
    let (site, levels) = floor(one_room(), &[("A", 0.0, 0.0, 0.0), ("B", 3000.0, 0.0, 150.0)], 7.0);
    let verdict = judge(&remembered(None, SourceStatus::SecondHand), &site, &levels);
    assert_eq!(
        verdict.to_string(),
        "Rebuild indicated: does not meet. In the floor, A and B differ by 150.0 mm ± 20 mm, limit \
         100.0 mm. Judged over each continuous floor; indicator. Some body, Some guide, Table 2.3, \
         2012 (second-hand: where it was read)"
    );
    let fall = [("A", 0.0, 0.0, 0.0), ("B", 3000.0, 0.0, 30.0)];
    let (sloping, sloping_levels) = floor(one_room(), &fall, 0.5);
    assert_eq!(
        judge(&slope(1.0 / 200.0), &sloping, &sloping_levels).to_string(),
        "own figure: does not meet. In the floor, A and B differ by 30.0 mm ± 1.4 mm in 3.00 m, \
         limit 15.0 mm. That is 1 in 100; the limit is 1 in 200. Judged over each continuous floor; \
         this job's own agreed figure. agreed for this job: agreed in writing"
    );
    let json = serde_json::to_value(&verdict).unwrap();
    assert_eq!(json["outcome"], "does-not");
    assert_eq!(json["criterion"]["text"]["source"], "where it was read");
}

#[test]
fn criteria_without_sense_are_refused() {
    let faults = |measure| Criterion::agreed("own", "t", measure, Scope::Room, "why").unwrap_err();
    let (limit, base) =
        (CriterionFault::Limit("own".to_owned()), CriterionFault::Base("own".to_owned()));
    assert_eq!(
        faults(Measure::DiffInBase { limit: mm(f64::NAN), base: mm(0.0) }),
        [limit.clone(), base.clone()]
    );
    let min_apart = MinApart::stated(mm(-1.0));
    assert_eq!(faults(Measure::SlopePairs { limit: 0.0, min_apart }), [limit, base]);
    let table = CriterionFault::Table("own".to_owned());
    assert_eq!(faults(Measure::GapByDistance { table: vec![] }), std::slice::from_ref(&table));
    let backwards = vec![(mm(2.0), mm(1.0)), (mm(1.0), mm(1.0))];
    assert_eq!(faults(Measure::GapByDistance { table: backwards }), [table]);
    let measure = Measure::Spread { limit: mm(9.0), up_to: None };
    let no_reason = Criterion::agreed("own", "t", measure, Scope::Room, " ").unwrap_err();
    assert_eq!(no_reason, [CriterionFault::NoSource("own".to_owned())]);
}

#[test]
fn levels_that_are_not_numbers_take_no_part() {
    let spots = [("A", 0.0, 0.0, 0.0), ("B", 3000.0, 0.0, f64::NAN), ("C", 6000.0, 0.0, 1.0)];
    let (site, levels) = floor(one_room(), &spots, 0.1);
    let verdict = judge(&spread(10.0), &site, &levels);
    assert_eq!(verdict.outcome, Outcome::Meets);
    assert_eq!(verdict.left_out[0].point.as_str(), "B");
}

mod properties {
    use super::*;
    use proptest::prelude::*;

    const NAMES: [&str; 9] = ["A", "B", "C", "D", "E", "F", "G", "H", "I"];

    fn levels_on_a_grid() -> impl Strategy<Value = (Vec<f64>, f64)> {
        (proptest::collection::vec(-20.0..20.0_f64, 2..=9), 0.0..3.0_f64)
    }

    /// Points on a 1 m grid, three to a row.
    fn grid(levels: &[f64]) -> Vec<Spot<'static>> {
        levels
            .iter()
            .enumerate()
            .map(|(idx, &level)| {
                (NAMES[idx], (idx % 3) as f64 * 1000.0, (idx / 3) as f64 * 1000.0, level)
            })
            .collect()
    }

    fn rank(outcome: &Outcome) -> u8 {
        match outcome {
            Outcome::DoesNot => 0,
            Outcome::CannotTell { .. } => 1,
            Outcome::Meets => 2,
            Outcome::Refused { .. } => 3,
        }
    }

    fn criteria(limit: f64) -> [Criterion; 4] {
        let base = Measure::DiffInBase { limit: mm(limit), base: mm(1500.0) };
        [spread(limit), slope(limit / 2000.0), gap(limit), criterion(base, Scope::Floor)]
    }

    /// Whether the deciding comparison is within some thousandths of a millimetre of its guard.
    fn is_a_tie(verdict: &Verdict) -> bool {
        let Some(Finding::Height { value, uncertainty, limit, .. }) = verdict.finding() else {
            return false;
        };
        let near = |guarded: Length| (guarded - *limit).abs() < Length::mm(0.1);
        near(*value + *uncertainty) || near(*value - *uncertainty)
    }

    proptest! {
        /// Second method: every pair by itself, without any short cut.
        #[test]
        fn spread_as_every_pair_by_itself((heights, sd) in levels_on_a_grid(), limit in 1.0..40.0_f64) {
            let (site, levels) = floor(one_room(), &grid(&heights), sd);
            let mut worst = 2;
            for first in 0..heights.len() {
                for second in first + 1..heights.len() {
                    let value = (heights[first] - heights[second]).abs();
                    let uncertainty = 2.0 * levels.difference_sd(first, second).to_mm();
                    let pair = if value - uncertainty > limit + 1e-3 {
                        0
                    } else if value + uncertainty > limit + 1e-3 {
                        1
                    } else {
                        2
                    };
                    worst = worst.min(pair);
                }
            }
            prop_assert_eq!(rank(&judge(&spread(limit), &site, &levels).outcome), worst);
        }

        /// A wider limit never makes the answer worse.
        #[test]
        fn a_wider_limit_is_never_harder((heights, sd) in levels_on_a_grid(), limit in 0.5..40.0_f64, wider in 1.0..3.0_f64) {
            let (site, levels) = floor(one_room(), &grid(&heights), sd);
            for (narrow, wide) in criteria(limit).iter().zip(criteria(limit * wider)) {
                let narrow = judge(narrow, &site, &levels);
                let wide = judge(&wide, &site, &levels);
                prop_assert!(rank(&narrow.outcome) <= rank(&wide.outcome), "{} {}", narrow, wide);
            }
        }

        /// Levels, their standard deviations and the limit in another unit: the same answer.
        #[test]
        fn scaling_changes_nothing((heights, sd) in levels_on_a_grid(), limit in 0.5..40.0_f64, scale in 2.0..50.0_f64) {
            let (site, levels) = floor(one_room(), &grid(&heights), sd);
            let scaled: Vec<f64> = heights.iter().map(|height| height * scale).collect();
            let (_, scaled) = floor(one_room(), &grid(&scaled), sd * scale);
            for (plain, large) in criteria(limit).iter().zip(criteria(limit * scale)) {
                let plain = judge(plain, &site, &levels);
                let large = judge(&large, &site, &scaled);
                // A thousandth of a millimetre is nothing at any scale: a tie is no case for this.
                prop_assume!(!is_a_tie(&plain) && !is_a_tie(&large));
                prop_assert_eq!(rank(&plain.outcome), rank(&large.outcome), "{} {}", plain, large);
                prop_assert_eq!(names(&plain), names(&large));
            }
        }

        /// Raising the whole floor changes no verdict; tilting it changes no straightedge gap.
        #[test]
        fn datum_and_tilt_do_not_show((heights, sd) in levels_on_a_grid(), raise in -50.0..50.0_f64, tilt in -0.02..0.02_f64) {
            let (site, levels) = floor(one_room(), &grid(&heights), sd);
            let raised: Vec<f64> = heights.iter().map(|height| height + raise).collect();
            let (_, raised) = floor(one_room(), &grid(&raised), sd);
            for criterion in criteria(8.0) {
                let (plain, raised) = (judge(&criterion, &site, &levels), judge(&criterion, &site, &raised));
                prop_assert_eq!(rank(&plain.outcome), rank(&raised.outcome));
            }
            let tilted: Vec<f64> = grid(&heights).iter().map(|spot| spot.3 + tilt * spot.1).collect();
            let (_, tilted) = floor(one_room(), &grid(&tilted), sd);
            let (plain, tilted) = (judge(&gap(8.0), &site, &levels), judge(&gap(8.0), &site, &tilted));
            prop_assert_eq!(rank(&plain.outcome), rank(&tilted.outcome));
        }
    }
}
