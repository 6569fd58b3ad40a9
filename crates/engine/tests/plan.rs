//! The whole chain on small houses whose answer is known in closed form.

use floorwright_engine::ids::{PointId, RoomId, SetupId, SupportId};
use floorwright_engine::packers::Choice;
use floorwright_engine::plan::{FrameChoice, Job, Plan, Stage, StageName, plan};
use floorwright_engine::settings::{Goal, Limits, Stock, TargetHeight};
use floorwright_engine::site::{Finish, Outline, Point, PointKind, Position, Room, Site, Support};
use floorwright_engine::survey::{
    Benchmark, Datum, Drift, Reading, ReadingSd, Setup, Survey, TestSettings,
};
use floorwright_engine::target::Outcome;
use floorwright_engine::units::{ExactLength, Length, Level};
use std::collections::BTreeMap;

/// Height of the line of sight in every house here.
const LINE: f64 = 1500.0;

fn room(id: &str, deck: &str, from: (f64, f64), to: (f64, f64)) -> Room {
    let corners = [(from.0, from.1), (to.0, from.1), (to.0, to.1), (from.0, to.1)];
    Room {
        id: RoomId::new(id),
        outline: Outline::new(corners.map(|(x, y)| Position::mm(x, y)).to_vec()).unwrap(),
        finish: Finish::Boards,
        deck: deck.to_owned(),
    }
}

/// A house with a point and a support of one name at each place, all read from one setup that
/// also reads a benchmark at level 0.
struct House {
    rooms: Vec<Room>,
    places: Vec<(&'static str, (f64, f64), f64)>,
    in_room: BTreeMap<&'static str, &'static str>,
}

impl House {
    fn job(&self) -> Job {
        let points = self.places.iter().map(|&(id, (x, y), _)| Point {
            id: PointId::new(id),
            at: Some(Position::mm(x, y)),
            kind: PointKind::Floor,
            room: self.in_room.get(id).map(|&room| RoomId::new(room)),
        });
        let benchmark =
            Point { id: PointId::new("BM"), at: None, kind: PointKind::Benchmark, room: None };
        let supports = self.places.iter().map(|&(id, (x, y), _)| Support {
            id: SupportId::new(id),
            at: Position::mm(x, y),
            gap: Length::ZERO,
            max_lift: None,
            fixed: None,
            may_lower: Length::ZERO,
        });
        let reading = |point: &str, level: f64| Reading {
            point: PointId::new(point),
            value: ExactLength::from_mm(LINE - level).unwrap(),
            inverted: false,
            time: None,
            sd: None,
            distance: None,
            place: None,
        };
        let mut readings = vec![reading("BM", 0.0)];
        readings.extend(self.places.iter().map(|&(id, _, level)| reading(id, level)));
        Job {
            site: Site::new(
                self.rooms.clone(),
                points.chain([benchmark]).collect(),
                supports.collect(),
            )
            .unwrap(),
            survey: Survey {
                datum: Datum::Benchmarks,
                benchmarks: vec![Benchmark {
                    point: PointId::new("BM"),
                    level: Level::DATUM,
                    sd: Length::ZERO,
                }],
                setups: vec![Setup {
                    id: SetupId::new("1"),
                    reading_sd: ReadingSd::Each(Length::mm(1.0)),
                    scale: 1.0,
                    drift: Drift::None,
                    readings,
                }],
                legs: vec![],
                tests: TestSettings::default(),
            },
            goal: Goal { height: TargetHeight::Number(Level::DATUM), ..Goal::default() },
            limits: Limits::default(),
            stock: Stock::default(),
            criteria: vec![],
            by_hand: vec![],
            frame: FrameChoice::Off { why: "interpolation is what is looked at".to_owned() },
        }
    }
}

/// 3 by 3 supports at 1.8 m, in a room.
fn square(levels: [f64; 9]) -> House {
    const NAMES: [&str; 9] = ["A1", "A2", "A3", "B1", "B2", "B3", "C1", "C2", "C3"];
    House {
        rooms: vec![room("hall", "main", (0.0, 0.0), (3600.0, 3600.0))],
        places: (0..9)
            .map(|n| {
                let place = ((n % 3) as f64 * 1800.0, (n / 3) as f64 * 1800.0);
                (NAMES[n], place, levels[n])
            })
            .collect(),
        in_room: BTreeMap::new(),
    }
}

fn lifts(plan: &Plan) -> Vec<f64> {
    let stage = plan.lifting.done().expect("there are lifts");
    stage.lifts().expect("the goal can be met").iter().map(|lift| lift.to_mm()).collect()
}

/// Closed form: with a reading over every support the floor there follows the support, so the
/// least-squares lift is what is missing, and nothing where nothing is.
#[test]
fn each_support_gets_what_its_point_lacks() {
    let levels = [-12.0, -3.5, 0.0, -20.25, 4.0, -1.0, -8.0, -30.0, -6.0];
    let plan = plan(&square(levels).job());
    for (lift, level) in lifts(&plan).iter().zip(levels) {
        assert!((lift - f64::max(-level, 0.0)).abs() < 1e-6, "{lift} for {level}");
    }
    let Outcome::Reached(reached) = &plan.lifting.done().unwrap().outcome else { panic!() };
    assert!((reached.outcome.totals.worst_departure.to_mm() - 4.0).abs() < 1e-6);
}

/// Closed form: reading and benchmark each have a standard deviation of 1 mm, and the target is
/// counted from the benchmark, so each lift is sure to the root of two.
#[test]
fn a_lift_is_as_sure_as_the_difference_it_rests_on() {
    let job = square([-5.0; 9]).job();
    let plan_by_number = plan(&job);
    for facts in &plan_by_number.lifting.done().unwrap().supports {
        assert!((facts.sd.unwrap().to_mm() - 2.0_f64.sqrt()).abs() < 1e-9);
    }
    // From a point that was read: the benchmark drops out, and its own support is exactly sure.
    let mut from_point = job;
    from_point.goal.height =
        TargetHeight::Point { point: PointId::new("B2"), offset: Length::mm(10.0) };
    let plan_by_point = plan(&from_point);
    let stage = plan_by_point.lifting.done().unwrap();
    for facts in &stage.supports {
        let expected = if facts.support.as_str() == "B2" { 0.0 } else { 2.0_f64.sqrt() };
        assert!((facts.sd.unwrap().to_mm() - expected).abs() < 1e-9, "{}", facts.support);
    }
    assert!(lifts(&plan_by_point).iter().all(|lift| (lift - 10.0).abs() < 1e-6));
}

#[test]
fn stacks_make_up_gap_and_lift_and_the_floor_follows_them() {
    let mut job = square([-12.0, -3.4, 0.0, -20.25, 4.0, -1.0, -8.0, -30.0, -6.0]).job();
    let supports: Vec<Support> = job
        .site
        .supports()
        .iter()
        .map(|support| Support { gap: Length::mm(2.5), ..support.clone() })
        .collect();
    job.site = Site::new(job.site.rooms().to_vec(), job.site.points().to_vec(), supports).unwrap();
    let plan = plan(&job);
    let stage = plan.lifting.done().unwrap();
    let packing = plan.packing.done().unwrap();
    let wanted = stage.lifts().unwrap();
    assert_eq!(packing.supports.len(), 9, "a support under a gap is packed even without a lift");
    for (idx, packed) in packing.supports.iter().enumerate() {
        assert!((packed.wanted - (wanted[idx] + Length::mm(2.5))).abs() < Length::mm(1e-9));
        let stack = packed.stack.as_ref().unwrap();
        let pieces: Length = stack.pieces.iter().copied().sum();
        assert!((pieces - stack.thickness).abs() < Length::mm(1e-9));
        let miss = stack.thickness - packed.wanted;
        if wanted[idx] > Length::ZERO {
            assert!(miss.abs() <= job.stock.tolerance.value);
        } else {
            // A support that is not to move: its gap is filled as far as that lifts nothing.
            assert!(miss <= Length::ZERO && miss.abs() <= job.stock.tolerance.value * 2.0);
        }
        let given = (stack.thickness - Length::mm(2.5)).max(Length::ZERO);
        assert!((packing.lifts[idx] - given).abs() < Length::mm(1e-9));
        // A point over every support: it ends where the stack puts it.
        let before = plan.floor.done().unwrap().surface.readings()[idx].level;
        assert!((packing.after[idx].1 - (before + given)).abs() < Length::mm(1e-6));
    }
}

#[test]
fn the_passes_end_on_the_stacks_that_stay_and_no_pass_runs_out_of_packers() {
    let mut job = square([-12.0, -3.4, 0.0, -20.25, 4.0, -1.0, -8.0, -30.0, -6.0]).job();
    for packer in &mut job.stock.packers {
        packer.pack_price_cents = Some(100);
    }
    let plan = plan(&job);
    let packing = plan.packing.done().unwrap();
    let stage = plan.passes.done().unwrap();
    let mut in_place: BTreeMap<&SupportId, &[Length]> = BTreeMap::new();
    let mut owned: BTreeMap<i64, u32> = BTreeMap::new();
    let tenths = |piece: Length| (piece.to_mm() * 10.0).round() as i64;
    for line in &packing.buy.lines {
        *owned.entry(tenths(line.thickness)).or_default() += line.packs;
    }
    for extra in &stage.temporary {
        *owned.entry(tenths(extra.thickness)).or_default() += extra.extra_packs;
    }
    for pass in &stage.passes.passes {
        for packed in &pass.packing {
            let Choice::Stack(stack) = &packed.choice else { panic!("{packed:?}") };
            in_place.insert(&packed.support, &stack.pieces);
        }
        let mut in_use: BTreeMap<i64, u32> = BTreeMap::new();
        for piece in in_place.values().flat_map(|pieces| pieces.iter()) {
            *in_use.entry(tenths(*piece)).or_default() += 1;
        }
        for (thickness, pieces) in in_use {
            assert!(owned[&thickness] >= pieces, "pass {}: {thickness}", pass.number);
        }
    }
    for packed in packing.supports.iter().filter(|packed| packed.stack.is_some()) {
        let stays = &packed.stack.as_ref().unwrap().pieces;
        if !stays.is_empty() {
            assert_eq!(in_place[&packed.support], stays.as_slice(), "{}", packed.support);
        }
    }
    let packs: u32 = owned.values().sum();
    assert_eq!(stage.cents, Some(u64::from(packs) * 100));
}

/// A laundry 150 mm below, its supports not part of the goal, and one support under the step.
fn house_with_a_step() -> House {
    House {
        rooms: vec![
            room("hall", "main", (0.0, 0.0), (3600.0, 1800.0)),
            room("laundry", "low", (3600.0, 0.0), (7200.0, 1800.0)),
        ],
        places: vec![
            ("A1", (0.0, 0.0), -10.0),
            ("A2", (1800.0, 0.0), -14.0),
            ("A3", (3600.0, 0.0), -18.0),
            ("B1", (0.0, 1800.0), -9.0),
            ("B2", (1800.0, 1800.0), -13.0),
            ("B3", (3600.0, 1800.0), -17.0),
            ("A4", (5400.0, 0.0), -160.0),
            ("A5", (7200.0, 0.0), -161.0),
            ("B4", (5400.0, 1800.0), -162.0),
            ("B5", (7200.0, 1800.0), -163.0),
        ],
        in_room: BTreeMap::from([("A3", "hall"), ("B3", "hall")]),
    }
}

#[test]
fn a_step_is_neither_lifted_nor_taken_for_a_slope() {
    let mut job = house_with_a_step().job();
    job.goal.rooms = vec![RoomId::new("hall")];
    let plan = plan(&job);
    let expected = [10.0, 14.0, 18.0, 9.0, 13.0, 17.0, 0.0, 0.0, 0.0, 0.0];
    for (lift, expected) in lifts(&plan).iter().zip(expected) {
        assert!((lift - expected).abs() < 1e-6, "{lift} for {expected}");
    }
    let stage = plan.lifting.done().unwrap();
    let under_step = stage.supports.iter().find(|facts| facts.support.as_str() == "A3").unwrap();
    assert_eq!(under_step.floor, Some(Level::mm(-18.0)));
    assert!(stage.supports[6].held.is_some(), "the laundry stays, and says why");
    let peak = plan.passes.done().unwrap().passes.this_way.peak.slope;
    assert!(peak < 0.02, "the step of 1 in 12 is in no slope: {peak}");
    let shape = plan.floor.done().unwrap();
    assert_eq!(shape.decks.len(), 2);
    assert!(shape.decks.iter().all(|deck| deck.spread.range < Length::mm(20.0)));
}

/// A held support gets its gap filled at most; the neighbours' packers do not move it.
#[test]
fn a_support_that_stays_is_not_moved_by_its_packers() {
    let mut job = square([-5.0; 9]).job();
    let mut supports = job.site.supports().to_vec();
    supports[4].fixed = Some("chimney".to_owned());
    supports[4].gap = Length::mm(4.0);
    supports[5].max_lift = Some(Length::mm(4.0));
    job.site = Site::new(job.site.rooms().to_vec(), job.site.points().to_vec(), supports).unwrap();
    let plan = plan(&job);
    let packing = plan.packing.done().unwrap();
    assert_eq!(packing.lifts[4], Length::ZERO);
    let stack = packing.supports.iter().find(|p| p.support.as_str() == "B2").unwrap();
    assert!(stack.stack.as_ref().unwrap().thickness <= Length::mm(4.0));
    assert!(packing.lifts[5] <= Length::mm(4.0), "nor beyond its own limit");
    assert_eq!((packing.raised, packing.lowered), (8, 0));
    let moved = plan.passes.done().unwrap().passes.passes.iter().flat_map(|pass| &pass.moves);
    assert!(moved.flat_map(|m| &m.supports).all(|moved| moved.support.as_str() != "B2"));
}

/// A bearer let down onto packing in its gap stays within what it may be let down.
#[test]
fn a_support_is_not_let_down_further_than_it_may_be() {
    let mut job = square([0.0, 0.0, 0.0, 0.0, 9.0, 0.0, 0.0, 0.0, 0.0]).job();
    let mut supports = job.site.supports().to_vec();
    supports[4].gap = Length::mm(12.3);
    supports[4].may_lower = Length::mm(6.0);
    job.site = Site::new(job.site.rooms().to_vec(), job.site.points().to_vec(), supports).unwrap();
    let plan = plan(&job);
    assert!((lifts(&plan)[4] + 6.0).abs() < 1e-6, "let down as far as it may be");
    let packing = plan.packing.done().unwrap();
    let given = packing.lifts[4];
    assert!(given >= Length::mm(-6.0) && given <= Length::mm(-4.5), "{given}");
    assert_eq!((packing.raised, packing.lowered), (0, 1));
}

#[test]
fn one_height_for_two_decks_is_not_taken_on() {
    let plan = plan(&house_with_a_step().job());
    let Stage::Stopped(reasons) = &plan.lifting else { panic!() };
    assert_eq!(
        reasons[0].what,
        "the goal asks for one height on floors with a step between them: main and low"
    );
}

/// A leaning target still meets the point that it is hung on.
#[test]
fn a_leaning_target_passes_through_its_point() {
    let mut job = square([0.0, -4.0, -8.0, -12.0, -16.0, -20.0, -24.0, -28.0, -32.0]).job();
    job.goal.height = TargetHeight::Point { point: PointId::new("A3"), offset: Length::mm(1.0) };
    job.goal.tilt_allowed = Some(0.005);
    let plan = plan(&job);
    let Outcome::Reached(reached) = &plan.lifting.done().unwrap().outcome else { panic!() };
    let plane = reached.outcome.plane;
    assert!((plane.at(Position::mm(3600.0, 0.0)) - Level::mm(-7.0)).abs() < Length::mm(1e-9));
    assert!(plane.rise_x.hypot(plane.rise_y) > 1e-4, "and it does lean: {plane:?}");
}

#[test]
fn a_misread_staff_marks_the_supports_that_rest_on_it() {
    let mut job = square([-5.0; 9]).job();
    let mut again = job.survey.setups[0].readings[1..].to_vec();
    again.insert(0, job.survey.setups[0].readings[0].clone());
    let mut second = job.survey.setups[0].clone();
    second.id = SetupId::new("2");
    second.readings = again.clone();
    let mut third = second.clone();
    third.id = SetupId::new("3");
    third.readings[5].value = ExactLength::from_mm(LINE + 5.0 + 30.0).unwrap();
    job.survey.setups.extend([second, third]);
    let plan = plan(&job);
    assert_eq!(plan.reduction.suspects.len(), 1, "{:?}", plan.reduction.suspects);
    assert!((plan.reduction.suspects[0].error.to_mm() - 30.0).abs() < 1e-6);
    // What is wrong is not taken for sure: until it is settled every uncertainty is wider.
    let s0 = plan.reduction.s0.unwrap();
    assert!(s0 > 1.0 && (plan.reduction.widening - s0).abs() < 1e-12);
    let levels = &plan.reduction.levels;
    for (idx, level) in levels.points().iter().enumerate() {
        assert!((levels.sd(idx) - level.sd_prior * s0).abs() < Length::mm(1e-9));
    }
    let (a1, b2) = (PointId::new("A1"), PointId::new("B2"));
    let pair = [levels.index_of(&a1).unwrap(), levels.index_of(&b2).unwrap()];
    // Closed form: three readings of each from three setups, 1 mm each, benchmark apart.
    let expected = (2.0_f64 / 3.0).sqrt() * s0;
    assert!((levels.difference_sd(pair[0], pair[1]).to_mm() - expected).abs() < 1e-9);
    let doubted: Vec<&str> = plan
        .lifting
        .done()
        .unwrap()
        .supports
        .iter()
        .filter(|facts| !facts.in_doubt.is_empty())
        .map(|facts| facts.support.as_str())
        .collect();
    assert_eq!(doubted, ["B2"]);
}

/// A support that no reading stands over must not stay behind its neighbours.
#[test]
fn a_support_between_the_readings_rises_with_them() {
    let mut job = square([-20.0; 9]).job();
    let mut supports = job.site.supports().to_vec();
    supports.push(Support {
        id: SupportId::new("X"),
        at: Position::mm(900.0, 900.0),
        ..supports[0].clone()
    });
    job.site = Site::new(job.site.rooms().to_vec(), job.site.points().to_vec(), supports).unwrap();
    let plan = plan(&job);
    assert!(lifts(&plan).iter().all(|lift| (lift - 20.0).abs() < 1e-6), "{:?}", lifts(&plan));
    let facts = &plan.lifting.done().unwrap().supports;
    assert!(facts[9].between_readings && !facts[0].between_readings);
    assert!(facts[9].sd > facts[0].sd, "and its lift is less sure");
}

/// The reading right over a support counts, not the first one nearby.
#[test]
fn of_two_readings_near_a_support_the_nearest_counts() {
    let mut house = square([-5.0; 9]);
    house.places.push(("A1b", (30.0, 0.0), -9.0));
    let plan = plan(&house.job());
    let facts = &plan.lifting.done().unwrap().supports;
    let floor = |id: &str| facts.iter().find(|f| f.support.as_str() == id).unwrap().floor.unwrap();
    assert_eq!(floor("A1"), Level::mm(-5.0));
    assert_eq!(floor("A1b"), Level::mm(-9.0));
}

#[test]
fn nothing_is_jacked_that_cannot_be_packed() {
    let mut job = square([-5.0; 9]).job();
    job.by_hand = vec![(SupportId::new("B2"), Length::mm(130.0))];
    let too_high = plan(&job);
    let cannot = &too_high.packing.done().unwrap().cannot;
    assert_eq!(cannot.len(), 1);
    assert!(
        cannot[0].what.starts_with("support B2 would stand on 130.0 mm of packing, the limit is")
    );
    assert!(too_high.passes.done().is_none());

    let mut thin_stock = square([-5.0; 9]).job();
    thin_stock.stock.packers.retain(|packer| packer.thickness > Length::mm(9.0));
    let no_stack = plan(&thin_stock);
    assert_eq!(no_stack.packing.done().unwrap().cannot.len(), 9);
    assert!(no_stack.passes.done().is_none());
}

/// A stack that only its bound rules out is missed as well: nothing moves without packers.
#[test]
fn a_stack_beyond_a_support_s_own_limit_is_no_stack() {
    let mut job = square([-10.0; 9]).job();
    job.stock.packers.retain(|packer| packer.thickness > Length::mm(9.0));
    let mut supports = job.site.supports().to_vec();
    supports[4].max_lift = Some(Length::mm(9.9));
    job.site = Site::new(job.site.rooms().to_vec(), job.site.points().to_vec(), supports).unwrap();
    let plan = plan(&job);
    let cannot = &plan.packing.done().unwrap().cannot;
    assert_eq!(cannot.len(), 1, "{cannot:?}");
    assert!(cannot[0].what.starts_with("support B2 wants 9.9 mm of packing"), "{cannot:?}");
    assert!(plan.passes.done().is_none());
}

#[test]
fn a_lift_by_hand_keeps_to_what_the_job_says_of_its_support() {
    let check = |support: &str, lift: f64, expected: &str| {
        let mut job = square([-5.0; 9]).job();
        let mut supports = job.site.supports().to_vec();
        supports[0].fixed = Some("chimney".to_owned());
        supports[1].max_lift = Some(Length::mm(20.0));
        job.site =
            Site::new(job.site.rooms().to_vec(), job.site.points().to_vec(), supports).unwrap();
        job.by_hand = vec![(SupportId::new(support), Length::mm(lift))];
        let plan = plan(&job);
        let Stage::Stopped(reasons) = &plan.lifting else { panic!("{support} {lift}") };
        assert_eq!(reasons[0].what, expected);
    };
    check("A1", 5.0, "support A1 is set to 5.0 mm by hand, but it stays as it is: chimney");
    check(
        "A2",
        25.0,
        "support A2 is set to 25.0 mm by hand, it may go from 0.0 mm to 20.0 mm: its own limit in the job",
    );
    check(
        "A2",
        -1.0,
        "support A2 is set to -1.0 mm by hand, it may go from 0.0 mm to 20.0 mm: its own limit in the job",
    );
    check("Z9", 5.0, "there is no support Z9 to set by hand");
}

/// What bends beyond the limit is named: a held support beside lifted ones.
#[test]
fn the_bend_beside_a_held_support_is_named() {
    let mut job = square([-20.0; 9]).job();
    let mut supports = job.site.supports().to_vec();
    supports[4].fixed = Some("chimney".to_owned());
    job.site = Site::new(job.site.rooms().to_vec(), job.site.points().to_vec(), supports).unwrap();
    let plan = plan(&job);
    let bends = &plan.passes.done().unwrap().bends;
    let pairs: Vec<(&str, &str)> =
        bends.iter().map(|bend| (bend.pair.0.as_str(), bend.pair.1.as_str())).collect();
    assert_eq!(pairs, [("A2", "B2"), ("B1", "B2"), ("B2", "B3"), ("B2", "C2")]);
    // Closed form: 20 mm over 1.8 m, from level.
    assert!(bends.iter().all(|bend| (bend.change() - 20.0 / 1800.0).abs() < 1e-9));
}

proptest::proptest! {
    #![proptest_config(proptest::prelude::ProptestConfig::with_cases(48))]

    /// Whatever the lifts on both sides of a step, the moves reach them.
    #[test]
    fn moves_reach_every_lift_across_a_step(
        lifts in proptest::collection::vec(0.0..40.0_f64, 6),
        levels in proptest::collection::vec(-30.0..0.0_f64, 10),
    ) {
        let mut house = house_with_a_step();
        for (place, level) in house.places.iter_mut().zip(&levels) {
            place.2 += level;
        }
        let mut job = house.job();
        job.goal.rooms = vec![RoomId::new("hall")];
        job.by_hand = house
            .places
            .iter()
            .take(6)
            .zip(&lifts)
            .map(|((id, ..), lift)| (SupportId::new(*id), Length::mm(*lift)))
            .collect();
        let plan = plan(&job);
        let packing = plan.packing.done().unwrap();
        let passes = &plan.passes.done().expect("there are passes").passes;
        let mut reached = [Length::ZERO; 10];
        for moved in passes.passes.iter().flat_map(|pass| &pass.moves).flat_map(|m| &m.supports) {
            let at = house.places.iter().position(|place| place.0 == moved.support.as_str());
            proptest::prop_assert!((reached[at.unwrap()] - moved.from).abs() < Length::mm(1e-9));
            reached[at.unwrap()] = moved.to;
        }
        for (reached, wanted) in reached.iter().zip(&packing.lifts) {
            proptest::prop_assert!((*reached - *wanted).abs() < Length::mm(1e-4));
        }
    }
}

#[test]
fn a_lift_set_by_hand_stands_and_the_rest_is_worked_out_around_it() {
    let mut job = square([-5.0; 9]).job();
    job.by_hand = vec![(SupportId::new("B2"), Length::mm(2.0))];
    let got = lifts(&plan(&job));
    for (idx, lift) in got.iter().enumerate() {
        let expected = if idx == 4 { 2.0 } else { 5.0 };
        assert!((lift - expected).abs() < 1e-6, "{idx}: {lift}");
    }
}

#[test]
fn a_stage_that_cannot_run_says_why_and_the_next_says_what_it_waits_for() {
    let with = |change: &dyn Fn(&mut Job)| {
        let mut job = square([-5.0; 9]).job();
        change(&mut job);
        plan(&job)
    };
    let unread = with(&|job| job.survey.setups.clear());
    assert!(matches!(&unread.floor, Stage::Stopped(reasons) if !reasons.is_empty()));
    assert!(matches!(unread.lifting, Stage::WaitsFor(StageName::Floor)));
    assert!(matches!(unread.passes, Stage::WaitsFor(StageName::Floor)));

    let unsupported = with(&|job| {
        job.site =
            Site::new(job.site.rooms().to_vec(), job.site.points().to_vec(), vec![]).unwrap();
    });
    let Stage::Stopped(reasons) = &unsupported.lifting else { panic!() };
    assert_eq!(reasons[0].what, "the job has no supports");
    assert!(matches!(unsupported.packing, Stage::WaitsFor(StageName::Lift)));

    let empty_stock = with(&|job| job.stock.packers.clear());
    assert!(empty_stock.lifting.done().is_some());
    assert!(matches!(&empty_stock.packing, Stage::Stopped(reasons) if !reasons.is_empty()));
    assert!(matches!(empty_stock.passes, Stage::WaitsFor(StageName::Packers)));

    let unknown = with(&|job| {
        job.goal.height = TargetHeight::Point { point: PointId::new("EXT"), offset: Length::ZERO };
    });
    let Stage::Stopped(reasons) = &unknown.lifting else { panic!() };
    assert_eq!(reasons[0].what, "the goal hangs on point EXT, which has no level");

    let impossible = with(&|job| {
        job.goal.level_tolerance = Some(Length::mm(1.0));
        job.limits.max_lift.value = Length::mm(2.0);
    });
    let stage = impossible.lifting.done().unwrap();
    let Outcome::CannotBeDone(explanation) = &stage.outcome else { panic!() };
    // 5 mm low, 2 mm of lift: 3 mm are left, whatever is done.
    let smallest = explanation.smallest_tolerance.unwrap().level_alone;
    assert!((smallest.to_mm() - 3.0).abs() < 1e-6, "{smallest}");
    assert!(matches!(impossible.packing, Stage::WaitsFor(StageName::Lift)));
}
