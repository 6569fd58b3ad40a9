//! Plans of a survey: ways round walls, the fewest stands, what the design promises, and what is
//! said of what cannot be reached.

use floorwright_engine::hose::{
    Care, Door, Hose, NoStands, StandsAsk, StandsPlan, Why, plan_stands, survey_of,
};
use floorwright_engine::ids::{PointId, RoomId, SupportId};
use floorwright_engine::site::{Finish, Outline, Point, PointKind, Position, Room, Site, Support};
use floorwright_engine::survey::{GlobalTest, reduce};
use floorwright_engine::units::{Length, Level};
use proptest::prelude::*;
use std::collections::BTreeMap;

fn room(name: &str, (left, low, right, high): (f64, f64, f64, f64)) -> Room {
    let corners = [(left, low), (right, low), (right, high), (left, high)];
    Room {
        id: RoomId::new(name),
        outline: outline(&corners),
        finish: Finish::Boards,
        deck: "main".to_owned(),
    }
}

fn outline(corners: &[(f64, f64)]) -> Outline {
    Outline::new(corners.iter().map(|&(x, y)| Position::mm(x, y)).collect()).unwrap()
}

fn point(name: &str, x: f64, y: f64, kind: PointKind) -> Point {
    Point { id: PointId::new(name), at: Some(Position::mm(x, y)), kind, room: None }
}

fn door(x: f64, y: f64) -> Door {
    Door { at: Position::mm(x, y), width: Length::mm(800.0) }
}

/// Two rooms side by side, 6 by 4 m each, a grid of points in both, a benchmark in the first.
fn two_rooms() -> Site {
    let rooms = vec![
        room("left", (0.0, 0.0, 6000.0, 4000.0)),
        room("right", (6000.0, 0.0, 12_000.0, 4000.0)),
    ];
    let mut points = vec![point("BM", 200.0, 2000.0, PointKind::Benchmark)];
    for column in 0..6 {
        for row in 0..3 {
            let (x, y) = (1000.0 + 2000.0 * f64::from(column), 700.0 + 1300.0 * f64::from(row));
            points.push(point(&format!("P{column}{row}"), x, y, PointKind::Floor));
        }
    }
    Site::new(rooms, points, vec![]).unwrap()
}

fn hose(metres: f64) -> Hose {
    let hose = Hose { length: Length::m(metres), care: Care::Careful, ..Hose::default() };
    hose.checked().unwrap()
}

fn plan(site: &Site, doors: &[Door], hose: &Hose) -> Result<StandsPlan, NoStands> {
    let benchmarks = [PointId::new("BM")];
    plan_stands(&StandsAsk {
        site,
        doors,
        obstacles: &[],
        benchmarks: &benchmarks,
        hose,
        reading_sd: Length::mm(0.6),
        tolerance: None,
    })
}

fn check_plan(site: &Site, plan: &StandsPlan) {
    let mut times: BTreeMap<&PointId, usize> = BTreeMap::new();
    for stand in &plan.stands {
        assert_eq!(stand.rows.first().unwrap().why, Why::Open);
        assert_eq!(stand.rows.last().unwrap().why, Why::Close);
        assert!(stand.longest <= plan.reach + Length::mm(1.0));
        let mut since = 0;
        for row in &stand.rows {
            *times.entry(&row.point).or_default() += 1;
            since = if row.point == stand.base { 0 } else { since + 1 };
            assert!(since <= plan.watch.points, "stand {}", stand.number);
        }
        let ordered = stand.rows.windows(2).all(|two| two[0].time <= two[1].time);
        assert!(ordered);
    }
    for point in site.points() {
        let reached = times.contains_key(&point.id);
        let lost = plan.unreached.iter().any(|lost| lost.point == point.id);
        assert!(reached != lost, "{}", point.id);
    }
}

#[test]
fn the_hose_goes_through_the_doorway() {
    let site = two_rooms();
    // A doorway at the far end of the wall: from stand to the near points of the other room the
    // hose is the sum of two straight pieces over the jamb.
    let doors = [door(6000.0, 3500.0)];
    let plan = plan(&site, &doors, &hose(20.0)).unwrap();
    check_plan(&site, &plan);
    assert_eq!((plan.stands.len(), plan.at_least), (1, 1));
    let stand = &plan.stands[0];
    let (x, y) = (stand.at.x.to_mm(), stand.at.y.to_mm());
    let mut n_through = 0;
    for row in &stand.rows {
        let (px, py) = (row.at.x.to_mm(), row.at.y.to_mm());
        let straight = (px - x).hypot(py - y);
        let same_side = (px < 6000.0) == (x < 6000.0);
        if same_side {
            assert!((row.hose.to_mm() - straight).abs() < 1e-6, "{}", row.point);
            continue;
        }
        // Where the straight line meets the wall between the jambs it is the way; otherwise the way
        // goes over the nearer jamb, 30 mm clear of it.
        let meets = y + (py - y) * (6000.0 - x) / (px - x);
        let over = |jamb: f64| (6000.0 - x).hypot(jamb - y) + (px - 6000.0).hypot(py - jamb);
        let expected = if (3100.0..=3900.0).contains(&meets) {
            straight
        } else {
            over(3130.0).min(over(3870.0))
        };
        assert!(
            (row.hose.to_mm() - expected).abs() < 1.0,
            "{}: {} {expected}",
            row.point,
            row.hose
        );
        n_through += 1;
    }
    assert!(n_through >= 9);
}

/// Points a hand's breadth from the wall are read in their own room: from the other one the hose takes
/// the way through the doorway, and so does what ties two stands together.
#[test]
fn nothing_is_read_through_a_wall() {
    let two = two_rooms();
    let mut points = two.points().to_vec();
    for (name, x) in [("L1", 5800.0), ("L2", 5900.0), ("R1", 6200.0), ("R2", 6100.0)] {
        points.push(point(name, x, 600.0, PointKind::Floor));
    }
    // Right on the line: in one room, and not in both.
    points.push(point("ON", 6000.0, 300.0, PointKind::Floor));
    let site = Site::new(two.rooms().to_vec(), points, vec![]).unwrap();
    let doors = [door(6000.0, 3500.0)];
    for metres in [5.0, 6.0, 7.0, 9.0, 14.0] {
        let plan = plan(&site, &doors, &hose(metres)).unwrap();
        let mut sides_of_on = Vec::new();
        for stand in &plan.stands {
            let (x, y) = (stand.at.x.to_mm(), stand.at.y.to_mm());
            for row in stand.rows.iter().filter(|row| row.point != stand.base) {
                let (px, py) = (row.at.x.to_mm(), row.at.y.to_mm());
                if px == 6000.0 {
                    // The shorter of straight and through the door tells the side that it is read on.
                    let straight = (px - x).hypot(py - y);
                    sides_of_on.push((row.hose.to_mm() - straight < 100.0) == (x < 6000.0));
                    continue;
                }
                if (px < 6000.0) == (x < 6000.0) {
                    continue;
                }
                // No way is shorter than over the nearer edge of the doorway.
                let over = (6000.0 - x).hypot(3100.0 - y.min(3100.0))
                    + (px - 6000.0).hypot(3100.0 - py.min(3100.0));
                assert!(
                    row.hose.to_mm() > over - 1.0,
                    "{metres} m, stand {} at {x}, {y}: {} by {}, {over}",
                    stand.number,
                    row.point,
                    row.hose
                );
            }
        }
        sides_of_on.dedup();
        assert!(sides_of_on.len() <= 1, "{metres} m: ON is read on both sides of the wall");
    }
}

#[test]
fn a_room_without_a_doorway_is_out_of_reach_and_said_so() {
    let mut rooms = two_rooms().rooms().to_vec();
    rooms.push(room("shut", (12_000.0, 0.0, 14_000.0, 4000.0)));
    let mut points = two_rooms().points().to_vec();
    points.push(point("S", 13_000.0, 2000.0, PointKind::Floor));
    points.push(point("FAR", 60_000.0, 2000.0, PointKind::Floor));
    let site = Site::new(rooms, points, vec![]).unwrap();
    let plan = plan(&site, &[door(6000.0, 2000.0)], &hose(20.0)).unwrap();
    check_plan(&site, &plan);
    let lost: Vec<&str> = plan.unreached.iter().map(|lost| lost.point.as_str()).collect();
    assert_eq!(lost, ["S", "FAR"]);
    assert!(plan.unreached.iter().all(|lost| lost.needs.is_none()));
}

#[test]
fn a_point_a_little_too_far_says_what_hose_would_do() {
    let rooms = vec![
        room("hall", (0.0, 0.0, 3000.0, 3000.0)),
        room("end", (30_000.0, 0.0, 33_000.0, 3000.0)),
    ];
    let points = vec![
        point("BM", 200.0, 200.0, PointKind::Benchmark),
        point("A", 1500.0, 2500.0, PointKind::Floor),
        point("B", 2500.0, 1500.0, PointKind::Floor),
        point("OUT", 12_000.0, 1500.0, PointKind::Ground),
        point("STEP", 11_000.0, 1500.0, PointKind::Threshold),
    ];
    let site = Site::new(rooms, points, vec![]).unwrap();
    let plan = plan(&site, &[], &hose(9.0)).unwrap();
    let [lost] = &plan.unreached[..] else { panic!("{:?}", plan.unreached) };
    assert_eq!(lost.point, PointId::new("STEP"));
    // Straight from the hall's corner region: between 8 and 9 m, where the hose has 6.65 m.
    let needs = lost.needs.unwrap();
    assert!(needs > Length::m(8.0) && needs < Length::m(9.0), "{needs}");
}

#[test]
fn a_short_hose_takes_more_stands_and_they_hang_together() {
    let site = two_rooms();
    let doors = [door(6000.0, 2000.0)];
    let plan = plan(&site, &doors, &hose(6.5)).unwrap();
    check_plan(&site, &plan);
    assert!(plan.unreached.is_empty());
    assert!(plan.stands.len() > 1 && plan.at_least > 1);
    assert!(plan.stands.len() <= plan.at_least + 1);
    assert!(plan.stands[0].base_is_benchmark);
    // Every level hangs on the benchmark through the ties.
    let accuracy = plan.accuracy.as_ref().unwrap();
    assert_eq!(accuracy.points.len(), site.points().len() - 1);
    assert!(accuracy.spare > 4 && accuracy.finds.is_some());
}

/// What the design promises against what the survey stage gives for a thousand surveys whose
/// readings were made up with errors of the stated size. With 1000 trials a standard deviation is
/// known to 2.2 % (one part); over 19 points the worst is to lie within 4 parts.
#[test]
fn the_promise_is_kept_by_made_up_surveys() {
    const TRIALS: usize = 1000;
    let site = two_rooms();
    let doors = [door(6000.0, 2000.0)];
    let plan = plan(&site, &doors, &hose(6.5)).unwrap();
    let accuracy = plan.accuracy.as_ref().unwrap();
    let benchmarks = [PointId::new("BM")];
    let level_of = |point: &PointId| {
        let letters: u32 = point.as_str().bytes().map(u32::from).sum();
        Level::mm(f64::from(letters % 40) - 20.0)
    };
    let mut noise = Noise(0x9e37_79b9_7f4a_7c15);
    let mut squares: BTreeMap<PointId, f64> = BTreeMap::new();
    let mut n_failed = 0;
    for _ in 0..TRIALS {
        // Each water line creeps at a rate of its own, up to 1 mm an hour.
        let creep: Vec<f64> = plan.stands.iter().map(|_| noise.normal() / 60.0).collect();
        let mut error = |stand: usize, row: usize| {
            let minutes = plan.stands[stand].rows[row].time.to_minutes();
            Length::mm(0.6 * noise.normal() + creep[stand] * minutes)
        };
        let sd = accuracy.reading_sd;
        let survey = survey_of(&plan.stands, &benchmarks, sd, 1.0025, &level_of, &mut error);
        let reduction = reduce(&survey);
        n_failed += usize::from(matches!(reduction.global_test, GlobalTest::Failed { .. }));
        for level in reduction.levels.points() {
            let off = (level.level - level_of(&level.point)).to_mm();
            *squares.entry(level.point.clone()).or_default() += off * off;
        }
    }
    for worth in &accuracy.points {
        let found = (squares[&worth.point] / TRIALS as f64).sqrt();
        // A reading enters times the scale, so levels scatter by as much more.
        let ratio = found / worth.sd.to_mm();
        assert!((ratio - 1.0).abs() < 4.0 * 0.0224, "{}: {ratio}", worth.point);
    }
    // One in twenty by its own measure.
    assert!((20..90).contains(&n_failed), "{n_failed}");
}

struct Noise(u64);

impl Noise {
    fn uniform(&mut self) -> f64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// Box and Muller.
    fn normal(&mut self) -> f64 {
        let (a, b) = (self.uniform().max(1e-300), self.uniform());
        (-2.0 * a.ln()).sqrt() * (std::f64::consts::TAU * b).cos()
    }
}

#[test]
fn what_cannot_be_planned_says_why() {
    let nothing = Site::new(vec![], vec![], vec![]).unwrap();
    assert_eq!(plan(&nothing, &[], &hose(20.0)).unwrap_err(), NoStands::NoPoints);
    // Points without a room are a floor of their own.
    let bare = Site::new(vec![], two_rooms().points().to_vec(), vec![]).unwrap();
    let found = plan(&bare, &[], &hose(20.0)).unwrap();
    check_plan(&bare, &found);
    assert_eq!(found.stands.len(), 1);
    let empty = Site::new(vec![room("hall", (0.0, 0.0, 3000.0, 3000.0))], vec![], vec![]).unwrap();
    assert_eq!(plan(&empty, &[], &hose(20.0)).unwrap_err(), NoStands::NoPoints);
    let far = vec![point("A", 90_000.0, 0.0, PointKind::Floor)];
    let site = Site::new(vec![room("hall", (0.0, 0.0, 3000.0, 3000.0))], far, vec![]).unwrap();
    let refused = plan(&site, &[], &hose(20.0)).unwrap_err();
    assert!(matches!(refused, NoStands::NothingReached { .. }), "{refused}");
    assert!(!refused.hint().is_empty());
}

#[test]
fn bad_hoses_say_which_part_and_the_way_out() {
    let check = |hose: Hose, key: &str| {
        let faults = hose.checked().unwrap_err();
        assert!(faults.iter().any(|fault| fault.key() == key), "{key}: {faults:?}");
        assert!(faults.iter().all(|fault| !fault.hint().is_empty()));
    };
    use floorwright_engine::hose::{Fluid, Glycol, Reservoir};
    use floorwright_engine::units::{Area, Temperature};
    check(Hose { bore: Length::ZERO, ..Hose::default() }, "bore");
    check(Hose { bore: Length::mm(25.0), ..Hose::default() }, "bore");
    check(Hose { bore: Length::mm(f64::NAN), ..Hose::default() }, "bore");
    check(Hose { length: Length::m(4000.0), ..Hose::default() }, "length");
    check(Hose { length: Length::m(3.0), leg: Length::m(1.6), ..Hose::default() }, "leg");
    check(Hose { temperature: Temperature::celsius(-1.0), ..Hose::default() }, "temperature");
    let mix = |mass_share| Fluid::Mix { glycol: Glycol::Propylene, mass_share };
    check(Hose { fluid: mix(0.8), ..Hose::default() }, "glycol");
    check(Hose { fluid: mix(-0.1), ..Hose::default() }, "glycol");
    let cold = Some((Temperature::celsius(-15.0), Temperature::celsius(5.0)));
    check(Hose { fluid: mix(0.3), leg_temperatures: cold, ..Hose::default() }, "leg_temperatures");
    let thimble = Reservoir::Pail { area: Area::mm2(50.0) };
    check(Hose { reservoir: thimble, ..Hose::default() }, "reservoir");
    check(Hose { reads: (Length::mm(900.0), Length::mm(300.0)), ..Hose::default() }, "reads");
    assert!(Hose::default().checked().is_ok());
    // What antifreeze is for, where its table ends: no talk of water, and no advice to cool it.
    let cold = Temperature::celsius(-5.0);
    let faults =
        Hose { fluid: mix(0.3), temperature: cold, ..Hose::default() }.checked().unwrap_err();
    assert!(faults[0].to_string().contains("temperature of the mix"), "{}", faults[0]);
    assert!(faults[0].hint().contains("warmer"), "{}", faults[0].hint());
}

/// `z - t + f <= h <= z - b` (closed tube: f = 0), also where the water line is beyond the scale.
#[test]
fn the_range_has_its_sign_when_the_water_stands_above_the_scale() {
    use floorwright_engine::hose::{Reservoir, range_of};
    use floorwright_engine::units::Area;
    let of = |leg: f64| {
        let area = Area::of_circle(Length::mm(200.0));
        let hose = Hose {
            leg: Length::mm(leg),
            capped: true,
            reservoir: Reservoir::FixedMark { area },
            ..Hose::default()
        };
        let range = range_of(&hose).unwrap();
        (range.lowest.to_mm(), range.highest.to_mm())
    };
    assert_eq!(of(1000.0), (-600.0, 800.0));
    assert_eq!(of(2000.0), (400.0, 1800.0));
    assert_eq!(of(150.0), (-1450.0, -50.0));
}

/// Water is densest near 4 C: two legs either side of it stand alike, and those between do not.
#[test]
fn legs_near_four_degrees_are_not_taken_to_stand_alike() {
    use floorwright_engine::hose::{budget_of, warm_leg_higher};
    use floorwright_engine::units::Temperature;
    let of = |t: f64| {
        let hose = Hose { temperature: Temperature::celsius(t), ..Hose::default() };
        let budget = budget_of(&hose).unwrap();
        let part = budget.components.iter().find(|part| part.name == "warm and cold legs");
        // A reading shows a height divided by 1 + (10/200)^2.
        part.unwrap().sd.to_mm() * 1.0025
    };
    let apart = |one: f64, other: f64| {
        let (one, other) = (Temperature::celsius(one), Temperature::celsius(other));
        let leg = Hose::default().leg;
        warm_leg_higher(leg, one, other, Hose::default().fluid).unwrap().to_mm().abs()
            / 3.0_f64.sqrt()
    };
    assert!(of(4.0) >= apart(4.0, 9.0) - 1e-9);
    assert!(of(1.5) >= apart(1.5, 4.0) - 1e-9 && of(1.5) > 3.0 * apart(1.5, 6.5));
    assert!((of(20.0) - apart(20.0, 25.0)).abs() < 1e-9);
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 40, ..ProptestConfig::default() })]

    /// Any handful of rooms, doorways and points gives a plan that holds together, or a reason.
    #[test]
    fn any_house_gets_a_plan_or_a_reason(
        wide in 1_usize..4,
        deep in 1_usize..3,
        openings in prop::collection::vec((0.0..1.0_f64, 0.0..1.0_f64), 0..6),
        places in prop::collection::vec((-0.1..1.1_f64, -0.1..1.1_f64), 1..14),
        metres in 4.0..25.0_f64,
    ) {
        let side = 3500.0;
        let rooms: Vec<Room> = (0..wide * deep).map(|idx| {
            let (x, y) = ((idx % wide) as f64 * side, (idx / wide) as f64 * side);
            room(&format!("R{idx}"), (x, y, x + side, y + side))
        }).collect();
        let (w, d) = (wide as f64 * side, deep as f64 * side);
        let doors: Vec<Door> = openings.iter().map(|&(x, y)| door(x * w, (y * deep as f64).round() * side)).collect();
        let mut points = vec![point("BM", 0.2 * w, 0.1 * d, PointKind::Benchmark)];
        points.extend(places.iter().enumerate().map(|(idx, &(x, y))| {
            point(&format!("P{idx}"), x * w, y * d, PointKind::Floor)
        }));
        let support = Support {
            id: SupportId::new("C1"),
            at: Position::mm(0.0, 0.0),
            gap: Length::ZERO,
            max_lift: None,
            fixed: None,
            may_lower: Length::ZERO,
        };
        let site = Site::new(rooms, points, vec![support]).unwrap();
        match plan(&site, &doors, &hose(metres)) {
            Ok(plan) => {
                check_plan(&site, &plan);
                prop_assert!(plan.at_least <= plan.stands.len());
                for stand in &plan.stands {
                    for line in &stand.lines {
                        prop_assert!(line.iter().all(|place| place.is_finite()));
                    }
                }
            }
            Err(why) => prop_assert!(!why.hint().is_empty(), "{}", why),
        }
    }
}
