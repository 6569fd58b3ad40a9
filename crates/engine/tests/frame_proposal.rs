//! Frames filled in by rule: what has to hold of every one of them, on plain, irregular and
//! hopeless houses. Expected counts are worked out by hand from the grids.

use floorwright_engine::frame::{
    Bearer, Direction, FloorLoad, Frame, FrameRules, FrameSpec, GivenFrame, Joist, JoistSet,
    ProposalFault, Run, Section, Timber, complete,
};
use floorwright_engine::ids::{BearerId, RoomId, SupportId};
use floorwright_engine::site::{Finish, Outline, Position, Room, Site, Support};
use floorwright_engine::source::SourceStatus;
use floorwright_engine::units::{AreaLoad, Density, Length, LineLoad, Stress};
use proptest::prelude::*;
use std::collections::{BTreeMap, BTreeSet};

const HAIR: f64 = 1e-6;

fn timber() -> Timber {
    Timber {
        name: "invented timber".to_owned(),
        stiffness: Stress::n_per_mm2(8000.0),
        density: Density::kg_per_m3(600.0),
        strength: None,
        source: "invented for this test".to_owned(),
        status: SourceStatus::Trade,
    }
}

fn section(breadth: f64, depth: f64) -> Section {
    Section { breadth: Length::mm(breadth), depth: Length::mm(depth) }
}

fn rules() -> FrameRules {
    FrameRules {
        bearers_run: None,
        row_width: Length::mm(150.0),
        longest_span: Length::mm(2400.0),
        longest_overhang: Length::mm(600.0),
        bearer: section(75.0, 100.0),
        joist: section(50.0, 100.0),
        joist_spacing: Length::mm(450.0),
        bearer_timber: timber(),
        joist_timber: timber(),
        outer_wall: LineLoad::kn_per_m(4.0),
        inner_wall: LineLoad::kn_per_m(1.5),
        floor_load: FloorLoad {
            dead: AreaLoad::kpa(0.4),
            live: AreaLoad::kpa(1.5),
            source: "common practice".to_owned(),
        },
        seat_length: Length::mm(100.0),
        load_doubt: 0.25,
        set_share: (0.0, 1.0),
        source: "common practice".to_owned(),
    }
}

fn support(name: String, x: f64, y: f64) -> Support {
    Support {
        id: SupportId::new(name),
        at: Position::mm(x, y),
        gap: Length::ZERO,
        max_lift: None,
        fixed: None,
        may_lower: Length::ZERO,
    }
}

type Corners<'a> = &'a [(f64, f64)];
type OwnedRoom = (&'static str, &'static str, Vec<(f64, f64)>);

fn site(rooms: &[(&str, &str, Corners)], places: &[(f64, f64)]) -> Site {
    let room = |&(name, deck, corners): &(&str, &str, Corners)| Room {
        id: RoomId::new(name),
        outline: Outline::new(corners.iter().map(|&(x, y)| Position::mm(x, y)).collect()).unwrap(),
        finish: Finish::Boards,
        deck: deck.to_owned(),
    };
    let supports = places.iter().enumerate();
    let supports = supports.map(|(n, &(x, y))| support(format!("S{}", n + 1), x, y)).collect();
    Site::new(rooms.iter().map(room).collect(), Vec::new(), supports).unwrap()
}

fn grid(columns: usize, rows: usize, apart: (f64, f64)) -> Vec<(f64, f64)> {
    let place = |n: usize| ((n % columns) as f64 * apart.0, (n / columns) as f64 * apart.1);
    (0..columns * rows).map(place).collect()
}

fn rectangle(x: (f64, f64), y: (f64, f64)) -> [(f64, f64); 4] {
    [(x.0, y.0), (x.1, y.0), (x.1, y.1), (x.0, y.1)]
}

/// An L-shaped house with a laundry a step down in the corner, on stumps 1800 apart.
fn l_house() -> Site {
    let mut places = grid(7, 5, (1800.0, 1800.0));
    for y in [-1800.0, -3600.0, -5400.0, -7200.0] {
        places.extend([0.0, 1800.0, 3600.0, 5400.0].map(|x| (x, y)));
    }
    places.extend([(7200.0, -1800.0), (9000.0, -1800.0), (7200.0, -3600.0), (9000.0, -3600.0)]);
    l_site(&places)
}

fn l_site(places: &[(f64, f64)]) -> Site {
    let rooms = l_rooms();
    site(&rooms.each_ref().map(|(room, deck, corners)| (*room, *deck, &corners[..])), places)
}

fn l_rooms() -> [OwnedRoom; 4] {
    [
        ("Front", "main", rectangle((0.0, 10800.0), (3600.0, 7200.0)).to_vec()),
        ("Back", "main", rectangle((0.0, 10800.0), (0.0, 3600.0)).to_vec()),
        ("Wing", "main", rectangle((0.0, 5400.0), (-7200.0, 0.0)).to_vec()),
        ("Laundry", "laundry", rectangle((5400.0, 9000.0), (-3600.0, 0.0)).to_vec()),
    ]
}

fn moved(site: &Site, to: impl Fn(Position) -> Position) -> Site {
    let rooms = site.rooms().iter().map(|room| {
        let corners = room.outline.corners().iter().map(|&corner| to(corner)).collect();
        Room { outline: Outline::new(corners).unwrap(), ..room.clone() }
    });
    let supports = site.supports().iter();
    let supports = supports.map(|support| Support { at: to(support.at), ..support.clone() });
    Site::new(rooms.collect(), Vec::new(), supports.collect()).unwrap()
}

fn proposed(site: &Site) -> FrameSpec {
    complete(site, &GivenFrame::default(), &rules()).unwrap()
}

fn ends(run: &Run) -> (f64, f64) {
    (run.from.to_mm(), run.to.to_mm())
}

fn meet(joist: &Joist, bearer: &Bearer) -> bool {
    let (joist, bearer) = (&joist.run, &bearer.run);
    joist.direction != bearer.direction
        && joist.reaches(bearer.at, Length::mm(HAIR))
        && bearer.reaches(joist.at, Length::mm(HAIR))
}

/// What has to hold of every proposal, worked out anew from the frame alone.
fn check_structure(site: &Site, spec: &FrameSpec) {
    let mut under = BTreeMap::new();
    for bearer in &spec.bearers {
        let mut before = f64::NEG_INFINITY;
        for id in &bearer.supports {
            *under.entry(id.clone()).or_insert(0) += 1;
            let at = site.support(id).unwrap().at;
            let direction = bearer.run.direction;
            let (along, beside) = (direction.along(at), direction.across(at) - bearer.run.at);
            assert!(beside.abs().to_mm() <= 150.0 + HAIR, "{id} is {beside} beside {}", bearer.id);
            assert!(bearer.run.reaches(along, Length::mm(HAIR)), "{id} is beyond {}", bearer.id);
            assert!(along.to_mm() > before, "{} is out of order at {id}", bearer.id);
            before = along.to_mm();
        }
    }
    for support in site.supports() {
        assert_eq!(under.get(&support.id), Some(&1), "bearers over {}", support.id);
    }
    for joist in &spec.joists {
        let lines: BTreeSet<i64> = (spec.bearers.iter())
            .filter(|bearer| meet(joist, bearer))
            .map(|bearer| bearer.run.at.to_mm() as i64)
            .collect();
        assert!(lines.len() >= 2, "joist {} {:?} is over {lines:?}", joist.id, joist.run);
    }
    let bearers = spec.bearers.iter().map(|bearer| (bearer.id.to_string(), bearer.run));
    no_clash(&bearers.collect::<Vec<_>>());
    let joists = spec.joists.iter().map(|joist| (joist.id.to_string(), joist.run));
    no_clash(&joists.collect::<Vec<_>>());
    for wall in &spec.walls {
        assert!(wall.run.length().to_mm() > 0.0, "{wall:?}");
    }
    // Bearers are held level, joists too, and every wall stands on something.
    if let Err(faults) = Frame::new(site.supports(), spec, &[]) {
        panic!("{faults:?}");
    }
    let names: BTreeSet<&str> = spec.walls.iter().map(|wall| wall.name.as_str()).collect();
    assert_eq!(names.len(), spec.walls.len());
}

fn no_clash(runs: &[(String, Run)]) {
    for (place, (a_name, a)) in runs.iter().enumerate() {
        for (b_name, b) in &runs[place + 1..] {
            assert_ne!(a_name, b_name);
            let overlap = a.to.min(b.to) - a.from.max(b.from);
            let clash = if a.direction == b.direction {
                (a.at - b.at).abs().to_mm() <= 1.0 && overlap.to_mm() > 1e-3
            } else {
                let inside = |run: &Run, at: Length| {
                    at > run.from + Length::mm(1e-3) && at < run.to - Length::mm(1e-3)
                };
                inside(a, b.at) && inside(b, a.at)
            };
            assert!(!clash, "{a_name} {a:?} and {b_name} {b:?}");
        }
    }
}

/// Area under the joists of a floor, in square metres: every stretch of the joists' length times
/// the distance between the outermost joists there.
fn carried(spec: &FrameSpec, floor: &str) -> f64 {
    let joists: Vec<&Joist> = spec.joists.iter().filter(|joist| joist.floor == floor).collect();
    let mut cuts: Vec<f64> =
        joists.iter().flat_map(|joist| <[f64; 2]>::from(ends(&joist.run))).collect();
    cuts.sort_by(f64::total_cmp);
    let mut area = 0.0;
    for cut in cuts.windows(2) {
        let middle = Length::mm((cut[0] + cut[1]) / 2.0);
        let there = joists.iter().filter(|joist| joist.run.reaches(middle, Length::ZERO));
        let lines: Vec<f64> = there.map(|joist| joist.run.at.to_mm()).collect();
        let low = lines.iter().copied().fold(f64::INFINITY, f64::min);
        let high = lines.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        if high > low {
            area += (cut[1] - cut[0]) * (high - low);
        }
    }
    area * 1e-6
}

fn has(spec: &FrameSpec, words: &str) -> bool {
    spec.assumed.iter().any(|said| said.contains(words))
}

#[test]
fn a_plain_grid() {
    // Five rows of seven, 1800 apart: fewer rows along x. 10800/450 + 1 joists.
    let site = site(&[], &grid(7, 5, (1800.0, 1800.0)));
    let spec = proposed(&site);
    check_structure(&site, &spec);
    assert_eq!(spec.bearers.len(), 5);
    assert!(spec.bearers.iter().all(|b| b.run.direction == Direction::X && b.supports.len() == 7));
    let names: Vec<&str> = spec.bearers.iter().map(|bearer| bearer.id.as_str()).collect();
    assert_eq!(names, ["row 1", "row 2", "row 3", "row 4", "row 5"]);
    assert_eq!(spec.joists.len(), 25);
    assert!(spec.joists.iter().all(|joist| ends(&joist.run) == (0.0, 7200.0)));
    assert_eq!(spec.walls.len(), 4);
    assert!(
        has(&spec, "bearers 75 x 100 along x, one on each row of supports, 5 in all"),
        "{:?}",
        spec.assumed
    );
    assert!(has(&spec, "joists 50 x 100 at 450 mm"));
    assert!(has(&spec, "36.0 m of outer walls round the supports"));
}

#[test]
fn no_row_is_named_as_a_support_is() {
    let mut supports = site(&[], &grid(3, 3, (1800.0, 1800.0))).supports().to_vec();
    supports[4].id = SupportId::new("row 2");
    let site = Site::new(Vec::new(), Vec::new(), supports).unwrap();
    let spec = proposed(&site);
    let names: Vec<&str> = spec.bearers.iter().map(|bearer| bearer.id.as_str()).collect();
    assert_eq!(names, ["row 1", "row 3", "row 4"]);
}

#[test]
fn the_last_joist_carries_the_edge() {
    // Two bays of 1700: lines at 0, 450 to 3150, and one more at 3400.
    let spec = proposed(&site(&[], &grid(3, 2, (1700.0, 1700.0))));
    let lines: Vec<f64> = spec.joists.iter().map(|joist| joist.run.at.to_mm()).collect();
    assert_eq!(lines, [0.0, 450.0, 900.0, 1350.0, 1800.0, 2250.0, 2700.0, 3150.0, 3400.0]);
}

#[test]
fn timbers_run_on_to_the_edge_of_the_room() {
    let room = rectangle((-300.0, 3900.0), (-500.0, 2300.0));
    let site = site(&[("Hall", "main", &room)], &grid(3, 2, (1800.0, 1800.0)));
    let spec = proposed(&site);
    check_structure(&site, &spec);
    assert!(spec.bearers.iter().all(|bearer| ends(&bearer.run) == (-300.0, 3900.0)));
    assert!(spec.joists.iter().all(|joist| ends(&joist.run) == (-500.0, 2300.0)));
    assert!((carried(&spec, "main") - 4.2 * 2.8).abs() < 1e-9);
    // Beyond the longest overhang they end at the support.
    let short = FrameRules { longest_overhang: Length::mm(250.0), ..rules() };
    let spec = complete(&site, &GivenFrame::default(), &short).unwrap();
    assert!(spec.bearers.iter().all(|bearer| ends(&bearer.run) == (0.0, 3600.0)));
    assert!(spec.joists.iter().all(|joist| ends(&joist.run) == (0.0, 1800.0)));
    assert!(has(&spec, "of the deck main"), "{:?}", spec.assumed);
}

#[test]
fn an_l_shaped_house_with_a_laundry_a_step_down() {
    let site = l_house();
    let spec = proposed(&site);
    check_structure(&site, &spec);
    // Nine rows along x but seven along y. Those at 7200 and 9000 run on under the laundry.
    assert_eq!(spec.bearers.len(), 7);
    assert_eq!(jointed(&spec, Direction::Y), [(7200.0, 7), (9000.0, 7)]);
    check_l_house(&spec);
    for joist in &spec.joists {
        let (at, ends) = (joist.run.at.to_mm(), ends(&joist.run));
        match joist.floor.as_str() {
            "laundry" => assert!(at < 0.0 && ends == (5400.0, 9000.0), "{joist:?}"),
            _ if at < 0.0 => assert_eq!(ends, (0.0, 5400.0), "{joist:?}"),
            _ => assert_eq!(ends, (0.0, 10800.0), "{joist:?}"),
        }
    }
    let along_x = FrameRules { bearers_run: Some(Direction::X), ..rules() };
    let spec = complete(&site, &GivenFrame::default(), &along_x).unwrap();
    check_structure(&site, &spec);
    assert_eq!(spec.bearers.len(), 9);
    assert_eq!(jointed(&spec, Direction::X), [(-3600.0, 6), (-1800.0, 6)]);
    check_l_house(&spec);
    for joist in &spec.joists {
        let (at, ends) = (joist.run.at.to_mm(), ends(&joist.run));
        match joist.floor.as_str() {
            "laundry" => assert!(at > 5400.0 && ends == (-3600.0, 0.0), "{joist:?}"),
            _ if at <= 5400.0 => assert_eq!(ends, (-7200.0, 7200.0), "{joist:?}"),
            _ => assert_eq!(ends, (0.0, 7200.0), "{joist:?}"),
        }
    }
}

/// Lines of the bearers that are jointed over one support, with the number of their supports.
fn jointed(spec: &FrameSpec, direction: Direction) -> Vec<(f64, usize)> {
    let jointed = spec.bearers.iter().filter(|bearer| !bearer.joints.is_empty());
    jointed
        .map(|bearer| {
            assert_eq!((bearer.run.direction, bearer.joints.len()), (direction, 1));
            (bearer.run.at.to_mm(), bearer.supports.len())
        })
        .collect()
}

fn check_l_house(spec: &FrameSpec) {
    // House: 10.8 x 7.2 and 5.4 x 7.2. Laundry: 3.6 x 3.6, less a joist's breadth where its edge
    // joist lies beside that of the house.
    assert!((carried(spec, "main") - 116.64).abs() < 1e-9, "{}", carried(spec, "main"));
    assert!((carried(spec, "laundry") - 3.55 * 3.6).abs() < 1e-9);
    assert!(!has(spec, "left out"), "{:?}", spec.assumed);
    // Outer walls: the outline of the whole, 10.8 + 7.2 + 1.8 + 3.6 + 3.6 + 3.6 + 5.4 + 14.4.
    // Inner: Front to Back 10.8, Back to Wing and Laundry 9.0, Wing to Laundry 3.6.
    assert!(has(spec, "50.4 m of outer walls"), "{:?}", spec.assumed);
    assert!(has(spec, "23.4 m of walls between rooms"));
}

#[test]
fn a_house_turned_gives_the_frame_turned() {
    let site = l_house();
    let check = |to: &dyn Fn(Position) -> Position| {
        let turned = proposed(&moved(&site, to));
        let key = |run: &Run| {
            let mut ends = [run.place(run.from), run.place(run.to)]
                .map(|at| (at.x.to_mm().round() as i64, at.y.to_mm().round() as i64));
            ends.sort_unstable();
            ends
        };
        let there = |run: Run| {
            let ends = [to(run.place(run.from)), to(run.place(run.to))];
            let mut ends =
                ends.map(|at| (at.x.to_mm().round() as i64, at.y.to_mm().round() as i64));
            ends.sort_unstable();
            ends
        };
        let spec = proposed(&site);
        let expected: BTreeSet<_> = spec.bearers.iter().map(|bearer| there(bearer.run)).collect();
        let found: BTreeSet<_> = turned.bearers.iter().map(|bearer| key(&bearer.run)).collect();
        assert_eq!(found, expected);
        let expected: BTreeSet<_> = spec.joists.iter().map(|joist| there(joist.run)).collect();
        let found: BTreeSet<_> = turned.joists.iter().map(|joist| key(&joist.run)).collect();
        assert_eq!(found, expected);
        let expected: BTreeSet<_> = spec.walls.iter().map(|wall| there(wall.run)).collect();
        let found: BTreeSet<_> = turned.walls.iter().map(|wall| key(&wall.run)).collect();
        assert_eq!(found, expected);
    };
    check(&|at| Position { x: at.y, y: at.x });
    check(&|at| Position { x: -at.y, y: at.x });
    check(&|at| Position { x: -at.x, y: -at.y });
}

#[test]
fn every_wall_stands_on_the_frame() {
    // Rooms drawn to the faces of walls 100 thick, stumps set in from the outer faces.
    let rooms = [
        ("A", "main", rectangle((-100.0, 1750.0), (-100.0, 3700.0))),
        ("B", "main", rectangle((1850.0, 5500.0), (-100.0, 3700.0))),
    ];
    let rooms: Vec<(&str, &str, Corners)> =
        rooms.iter().map(|(a, b, c)| (*a, *b, &c[..])).collect();
    let site = site(&rooms, &grid(4, 3, (1800.0, 1800.0)));
    let spec = proposed(&site);
    check_structure(&site, &spec);
    assert!(!has(&spec, "left out"), "{:?}", spec.assumed);
    let inner: Vec<_> = spec.walls.iter().filter(|wall| wall.name.starts_with("inner")).collect();
    assert_eq!(inner.len(), 1);
    assert_eq!(ends(&inner[0].run), (-100.0, 3700.0));
    // Joists run through under the wall between the rooms.
    assert!(spec.joists.iter().all(|joist| ends(&joist.run) == (-100.0, 3700.0)));
    assert!((carried(&spec, "main") - 5.6 * 3.8).abs() < 1e-9);
}

/// A number in -1..1 for a place in a list, without a pattern over a grid.
fn noise(n: usize) -> f64 {
    let mixed = (n as u64 + 1).wrapping_mul(0x9E37_79B9_7F4A_7C15);
    let mixed = (mixed ^ (mixed >> 29)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    (mixed >> 11) as f64 / (1u64 << 52) as f64 - 1.0
}

#[test]
fn stumps_a_hand_out_of_line() {
    let house = l_house();
    for seed in 0..40 {
        let mut n = seed * 1000;
        let places: Vec<(f64, f64)> = (house.supports().iter())
            .map(|support| {
                n += 2;
                (
                    support.at.x.to_mm() + 100.0 * noise(n),
                    support.at.y.to_mm() + 100.0 * noise(n + 1),
                )
            })
            .collect();
        let site = l_site(&places);
        let spec = proposed(&site);
        check_structure(&site, &spec);
        assert_eq!(spec.bearers.len(), 7, "seed {seed}");
        // An edge may be off by the hand that a stump is off.
        assert!(
            (carried(&spec, "main") - 116.64).abs() < 2.5,
            "{seed}: {}",
            carried(&spec, "main")
        );
        assert!(
            (carried(&spec, "laundry") - 12.96).abs() < 1.0,
            "{seed}: {}",
            carried(&spec, "laundry")
        );
    }
}

#[test]
fn a_long_row_that_drifts_is_cut_and_not_chained() {
    // 40 stumps drifting 12 mm each, 480 in all: no stump further than 150 beside its bearer.
    let row = |y: f64| (0..40).map(move |n| (f64::from(n) * 1800.0, y + f64::from(n) * 12.0));
    let places: Vec<(f64, f64)> = row(0.0).chain(row(1800.0)).collect();
    let site = site(&[], &places);
    let spec = proposed(&site);
    assert_eq!(spec.bearers.len(), 4);
    for bearer in &spec.bearers {
        for id in &bearer.supports {
            let beside = site.support(id).unwrap().at.y - bearer.run.at;
            assert!(beside.abs().to_mm() <= 150.0, "{id}: {beside}");
        }
    }
    // The bearers lap over a stump, so that no joist is missing between them.
    let named: usize = spec.bearers.iter().map(|bearer| bearer.supports.len()).sum();
    assert_eq!(named, 82);
    assert!((carried(&spec, "main") - 39.0 * 1.8 * 1.8).abs() < 4.0);
}

#[test]
fn a_missing_stump_breaks_the_row_and_a_lone_one_is_held_by_the_joists() {
    // The middle row has a stump left at each end and none between.
    let mut places = grid(5, 4, (1800.0, 1800.0));
    places.retain(|&(x, y)| y != 1800.0 || x == 0.0 || x == 7200.0);
    let site = site(&[("Hall", "main", &rectangle((0.0, 7200.0), (0.0, 5400.0)))], &places);
    let along_x = FrameRules { bearers_run: Some(Direction::X), ..rules() };
    let spec = complete(&site, &GivenFrame::default(), &along_x).unwrap();
    check_structure(&site, &spec);
    let lone: Vec<_> = spec.bearers.iter().filter(|bearer| bearer.supports.len() == 1).collect();
    assert_eq!(lone.len(), 2);
    assert_eq!(ends(&lone[0].run), (0.0, 600.0));
    assert!(has(&spec, "is alone in its row"));
    assert!(has(&spec, "joists span up to 3600 mm"), "{:?}", spec.assumed);
    // Left to itself the proposal takes more rows to have none alone.
    let mut places = grid(5, 2, (1800.0, 1800.0));
    places.extend([(0.0, 3600.0), (7200.0, 3600.0)]);
    let site = self::site(&[], &places);
    let spec = proposed(&site);
    check_structure(&site, &spec);
    assert_eq!(spec.bearers.len(), 5);
    assert!(spec.bearers.iter().all(|bearer| bearer.run.direction == Direction::Y));
}

#[test]
fn hopeless_houses_are_refused_with_a_way_out() {
    let check = |places: &[(f64, f64)], expected: &str| {
        let faults = complete(&site(&[], places), &GivenFrame::default(), &rules()).unwrap_err();
        assert!(!faults.is_empty());
        for fault in &faults {
            assert!(fault.to_string().contains(expected), "{fault}");
            assert!(fault.hint().len() > 20);
        }
    };
    check(&[], "there are no supports");
    check(&[(0.0, 0.0)], "rests on two bearers");
    check(&[(0.0, 0.0), (1800.0, 0.0)], "rests on two bearers");
    check(&[(0.0, 0.0), (5000.0, 5000.0)], "rests on two bearers");
    check(&grid(9, 1, (1800.0, 0.0)), "rests on two bearers");
    check(&grid(1, 9, (0.0, 1800.0)), "rests on two bearers");
    check(&[(0.0, 0.0), (0.0, 0.0), (1800.0, 0.0)], "stand at one place");
    let mut apart = grid(3, 3, (1800.0, 1800.0));
    apart.push((20_000.0, 0.0));
    check(&apart, "support S10 is alone in its row");
}

/// A plan about its first place turned by 30 degrees.
fn askew((x, y): (f64, f64)) -> (f64, f64) {
    let (sin, cos) = (30_f64).to_radians().sin_cos();
    (x * cos - y * sin, x * sin + y * cos)
}

#[test]
fn a_house_drawn_askew_is_one_fault_with_a_way_out() {
    for (columns, rows) in [(4, 3), (5, 4), (7, 5), (3, 2), (12, 6)] {
        let end = ((columns - 1) as f64 * 1800.0, (rows - 1) as f64 * 1500.0);
        let places: Vec<_> = grid(columns, rows, (1800.0, 1500.0)).into_iter().map(askew).collect();
        let room = rectangle((0.0, end.0), (0.0, end.1)).map(askew);
        let n_supports = columns * rows;
        for rooms in [&[][..], &[("Hall", "main", &room[..])]] {
            let site = site(rooms, &places);
            let faults = complete(&site, &GivenFrame::default(), &rules()).unwrap_err();
            let [fault @ ProposalFault::NotInRows { alone, of }] = &faults[..] else {
                panic!("{columns} x {rows}: {faults:?}");
            };
            assert!(*of == n_supports && (4..=n_supports).contains(alone), "{fault}");
            let words = format!("{alone} of {of} supports stand in no row along x or y");
            assert_eq!(fault.to_string(), words);
            assert!(
                fault.hint().starts_with("turn the plan so that the timbers lie along x and y")
            );
        }
    }
}

#[test]
fn up_to_three_lone_supports_are_named_each() {
    let alone = |n: usize| {
        let mut places = grid(3, 3, (1800.0, 1800.0));
        places.extend((0..n).map(|n| (20_000.0 * (n + 1) as f64, 0.0)));
        complete(&site(&[], &places), &GivenFrame::default(), &rules()).unwrap_err()
    };
    let named = |n: usize| ProposalFault::LoneSupport { support: SupportId::new(format!("S{n}")) };
    assert_eq!(alone(3), [named(10), named(11), named(12)]);
    assert_eq!(alone(4), [ProposalFault::NotInRows { alone: 4, of: 13 }]);
}

#[test]
fn two_houses_apart_are_two_floors() {
    let mut places = grid(4, 3, (1800.0, 1800.0));
    places.extend(grid(3, 5, (1800.0, 1800.0)).iter().map(|(x, y)| (x + 9000.0, *y)));
    let site = site(&[], &places);
    let spec = proposed(&site);
    check_structure(&site, &spec);
    let of = |along| spec.bearers.iter().filter(|b| b.run.direction == along).count();
    assert_eq!((of(Direction::X), of(Direction::Y)), (3, 3));
    let floors: BTreeSet<&str> = spec.joists.iter().map(|joist| joist.floor.as_str()).collect();
    assert_eq!(floors, BTreeSet::from(["main", "main 2"]));
    assert!((carried(&spec, "main") - 5.4 * 3.6).abs() < 1e-9);
    assert!((carried(&spec, "main 2") - 3.6 * 7.2).abs() < 1e-9);
    assert_eq!(spec.walls.len(), 8);
}

#[test]
fn what_is_given_is_kept() {
    let site = l_house();
    let first = proposed(&site);
    let given = GivenFrame {
        bearers: first.bearers.clone(),
        joists: first.joists.clone(),
        walls: Some(Vec::new()),
        floor_load: Some(FloorLoad { dead: AreaLoad::kpa(0.9), ..rules().floor_load }),
        seat_length: Some(Length::mm(90.0)),
        load_doubt: Some(0.1),
        set_share: Some((0.5, 0.5)),
        ..GivenFrame::default()
    };
    let spec = complete(&site, &given, &rules()).unwrap();
    assert_eq!((&spec.bearers, &spec.joists), (&first.bearers, &first.joists));
    assert!(spec.walls.is_empty() && spec.assumed.is_empty(), "{:?}", spec.assumed);
    assert_eq!(spec.floor_load.dead, AreaLoad::kpa(0.9));
    assert_eq!((spec.seat_length, spec.load_doubt), (Length::mm(90.0), 0.1));
    assert_eq!(spec.set_share, (0.5, 0.5));
}

fn given_bearer(name: &str, run: Run, supports: &[usize]) -> Bearer {
    Bearer {
        id: BearerId::new(name),
        run,
        supports: supports.iter().map(|n| SupportId::new(format!("S{n}"))).collect(),
        joints: Vec::new(),
        section: section(100.0, 75.0),
        timber: timber(),
        extra: LineLoad::default(),
    }
}

#[test]
fn bearers_both_ways_in_one_house() {
    // Left part: three bearers along x. Right part: three along y, the first beside the left part.
    let places = grid(6, 3, (1800.0, 1800.0));
    let hall = rectangle((0.0, 9000.0), (0.0, 3600.0));
    let site = site(&[("Hall", "main", &hall)], &places);
    let run = |direction, at: f64, from: f64, to: f64| Run {
        direction,
        at: Length::mm(at),
        from: Length::mm(from),
        to: Length::mm(to),
    };
    let mut bearers = Vec::new();
    for row in 0..3 {
        let n = 6 * row;
        let run = run(Direction::X, 1800.0 * row as f64, 0.0, 3600.0);
        bearers.push(given_bearer(&format!("X{row}"), run, &[n + 1, n + 2, n + 3]));
    }
    for column in 3..6 {
        let run = run(Direction::Y, 1800.0 * column as f64, 0.0, 3600.0);
        let supports = [column + 1, column + 7, column + 13];
        bearers.push(given_bearer(&format!("Y{column}"), run, &supports));
    }
    let given = GivenFrame { bearers, ..GivenFrame::default() };
    let spec = complete(&site, &given, &rules()).unwrap();
    check_structure(&site, &spec);
    for direction in [Direction::X, Direction::Y] {
        let of: Vec<_> = spec.joists.iter().filter(|j| j.run.direction == direction).collect();
        assert_eq!(of.len(), 9, "{direction:?}");
    }
}

#[test]
fn sets_of_joists_under_some_rooms() {
    let rooms = [
        ("A", "main", rectangle((0.0, 3600.0), (0.0, 3600.0))),
        ("B", "main", rectangle((3600.0, 7200.0), (0.0, 3600.0))),
    ];
    let rooms: Vec<(&str, &str, Corners)> =
        rooms.iter().map(|(a, b, c)| (*a, *b, &c[..])).collect();
    let site = site(&rooms, &grid(5, 3, (1800.0, 1800.0)));
    let set = JoistSet {
        direction: Some(Direction::Y),
        spacing: Length::mm(600.0),
        first: Some(Length::mm(200.0)),
        rooms: vec![RoomId::new("A")],
        section: section(45.0, 90.0),
        timber: timber(),
    };
    let given = GivenFrame { joist_sets: vec![set.clone()], ..GivenFrame::default() };
    let spec = complete(&site, &given, &rules()).unwrap();
    check_structure(&site, &spec);
    let of_set: Vec<f64> = (spec.joists.iter())
        .filter(|joist| joist.section == set.section)
        .map(|joist| joist.run.at.to_mm())
        .collect();
    // An edge joist at either side of the room, and the set's own from 200.
    assert_eq!(of_set, [0.0, 200.0, 800.0, 1400.0, 2000.0, 2600.0, 3200.0, 3600.0]);
    // Under B by rule: the joist at 3600 is there, so 4050 to 7200 at 450.
    assert_eq!(spec.joists.len(), 8 + 8);
    assert!(has(&spec, "where none are given"));
    let unknown = JoistSet { rooms: vec![RoomId::new("C")], ..set };
    let given = GivenFrame { joist_sets: vec![unknown], ..GivenFrame::default() };
    let faults = complete(&site, &given, &rules()).unwrap_err();
    assert_eq!(faults, [ProposalFault::UnknownRoom { room: RoomId::new("C") }]);
}

#[test]
fn bad_rules_are_named() {
    let site = site(&[], &grid(3, 3, (1800.0, 1800.0)));
    let bad =
        FrameRules { joist_spacing: Length::ZERO, row_width: Length::mm(f64::NAN), ..rules() };
    let faults = complete(&site, &GivenFrame::default(), &bad).unwrap_err();
    assert_eq!(faults.len(), 2, "{faults:?}");
}

#[test]
fn walls_that_run_askew_are_named() {
    let room = [(0.0, 0.0), (3600.0, 0.0), (3600.0, 1800.0), (1800.0, 3600.0), (0.0, 3600.0)];
    let site = site(&[("Bay", "main", &room)], &grid(3, 3, (1800.0, 1800.0))[..8]);
    let spec = proposed(&site);
    check_structure(&site, &spec);
    assert!(has(&spec, "walls along sides of rooms, 2.5 m in all"), "{:?}", spec.assumed);
}

#[test]
fn ten_thousand_supports() {
    let site = site(&[], &grid(100, 100, (1800.0, 1800.0)));
    let spec = proposed(&site);
    assert_eq!((spec.bearers.len(), spec.joists.len()), (100, 397));
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, ..ProptestConfig::default() })]

    /// Any grid with holes and shaken stumps: a frame with sound structure or a fault.
    #[test]
    fn a_frame_or_a_fault(
        (columns, rows) in (1usize..7, 1usize..7),
        holes in prop::collection::vec(0.0..1.0f64, 36),
        thin in 0.0..0.5f64,
        shake in prop::collection::vec((-100.0..100.0f64, -100.0..100.0f64), 36),
        (wide, deep) in (900.0..2600.0f64, 900.0..2600.0f64),
        rooms in 0u8..4,
    ) {
        let places: Vec<(f64, f64)> = grid(columns, rows, (wide, deep))
            .into_iter()
            .zip(&holes)
            .zip(&shake)
            .filter(|((_, hole), _)| **hole >= thin)
            .map(|((at, _), shake)| ((at.0 + shake.0).round(), (at.1 + shake.1).round()))
            .collect();
        let (right, top) = ((columns - 1) as f64 * wide + 200.0, (rows - 1) as f64 * deep + 200.0);
        let (right, top) = (right.round(), top.round());
        let middle = ((right * 0.5).round(), (top * 0.5).round());
        let parts = [
            rectangle((-200.0, middle.0), (-200.0, top)),
            rectangle((middle.0, right), (-200.0, middle.1)),
            rectangle((middle.0, right), (middle.1, top)),
        ];
        let decks = ["main", "main", "laundry"];
        let all: Vec<(&str, &str, Corners)> =
            (0..3).map(|n| (["A", "B", "C"][n], decks[n], &parts[n][..])).collect();
        let site = site(&all[..usize::from(rooms)], &places);
        match complete(&site, &GivenFrame::default(), &rules()) {
            Ok(spec) => check_structure(&site, &spec),
            Err(faults) => prop_assert!(!faults.is_empty()),
        }
    }
}
