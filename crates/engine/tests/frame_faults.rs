//! Bad frames: every fault is found, all of them at once, with words that help, and nothing that
//! is typed in makes the program panic or answer with numbers that are none.

mod frames;

use floorwright_engine::frame::{Bearer, Joist};
use floorwright_engine::frame::{
    Direction, Frame, FrameFault, FrameSpec, Loads, PointLoad, Strength, Wall,
};
use floorwright_engine::ids::{BearerId, JoistId, SupportId};
use floorwright_engine::site::{Position, Support};
use floorwright_engine::units::{AreaLoad, Density, Force, Length, LineLoad, Stress};
use frames::random::{Dice, Size, frame};
use frames::{Case, mm, plain_bearer, plain_joist, run, section, spec, support};
use proptest::prelude::*;

fn bearer(id: &str, direction: Direction, at: f64, ends: (f64, f64), on: &[&str]) -> Bearer {
    let on: Vec<String> = on.iter().map(|&id| id.to_owned()).collect();
    plain_bearer(id, run(direction, at, ends.0, ends.1), &on)
}

fn joist(id: &str, at: f64, from: f64, to: f64) -> Joist {
    plain_joist(id, run(Direction::Y, at, from, to))
}

/// Three bearers along x at y = 0, 1800 and 3600 on three supports each, joists at every 600 mm.
fn sound() -> (Vec<Support>, FrameSpec) {
    let mut supports = Vec::new();
    let mut bearers = Vec::new();
    for line in 0..3 {
        let y = f64::from(line) * 1800.0;
        let ids = ["L", "M", "R"].map(|place| format!("{place}{}", line + 1));
        for (id, x) in ids.iter().zip([0.0, 1800.0, 3600.0]) {
            supports.push(support(id, x, y));
        }
        let ids = ids.each_ref().map(String::as_str);
        let id = format!("B{}", line + 1);
        bearers.push(bearer(&id, Direction::X, y, (0.0, 3600.0), &ids));
    }
    let joists = (0..7).map(|number| {
        joist(&format!("J{}", number + 1), f64::from(number) * 600.0, -200.0, 3800.0)
    });
    (supports, spec(bearers, joists.collect(), 0.5))
}

fn wall(direction: Direction, at: f64, from: f64, to: f64) -> Wall {
    Wall {
        name: "hall".to_owned(),
        run: run(direction, at, from, to),
        load: LineLoad::kn_per_m(2.0),
        source: "invented".to_owned(),
    }
}

fn load(x: f64, y: f64) -> PointLoad {
    PointLoad {
        name: "stove".to_owned(),
        at: Position::mm(x, y),
        load: Force::n(1500.0),
        source: "invented".to_owned(),
    }
}

fn strength(bending: f64) -> Option<Strength> {
    let of = Stress::n_per_mm2;
    Some(Strength { bending: of(bending), shear: of(2.0), across_grain: None })
}

/// Spoils the sound frame and looks for exactly these faults, each by all of its words.
fn check(spoil: impl Fn(&mut Vec<Support>, &mut FrameSpec), expected: &[&[&str]]) {
    let (mut supports, mut spec) = sound();
    assert!(Frame::new(&supports, &spec, &[]).is_ok());
    spoil(&mut supports, &mut spec);
    let faults = Frame::new(&supports, &spec, &[]).expect_err("a spoilt frame is accepted");
    let texts: Vec<String> = faults.iter().map(FrameFault::to_string).collect();
    assert_eq!(texts.len(), expected.len(), "{texts:#?}");
    for words in expected {
        let has = |text: &&String| words.iter().all(|word| text.contains(word));
        assert!(texts.iter().any(|text| has(&text)), "no {words:?} in {texts:#?}");
    }
    for (fault, text) in faults.iter().zip(&texts) {
        assert!(fault.hint().len() > 10, "{text} has no hint");
        let first = text.chars().next().unwrap();
        assert!(!first.is_uppercase() && !text.ends_with('.'), "{text}");
    }
}

#[test]
fn no_bearers() {
    check(|_, spec| spec.bearers.clear(), &[&["no bearers"]]);
}

#[test]
fn names_that_are_not_in_the_job() {
    check(
        |_, spec| spec.bearers[0].supports.push(SupportId::new("X9")),
        &[&["bearer B1", "support X9", "not in the job"]],
    );
}

#[test]
fn joints_over_what_a_timber_does_not_rest_on() {
    check(
        |_, spec| {
            spec.bearers[0].joints.push(SupportId::new("L3"));
            spec.joists[2].joints.push(BearerId::new("B7"));
        },
        &[&["bearer B1", "jointed over support L3"], &["joist J3", "jointed over bearer B7"]],
    );
}

#[test]
fn a_bearer_on_nothing() {
    check(
        |supports, spec| {
            let own = std::mem::take(&mut spec.bearers[1].supports);
            supports.retain(|support| !own.contains(&support.id));
        },
        &[&["bearer B2", "no support"]],
    );
    check(
        |_, spec| spec.bearers[1].supports.push(SupportId::new("L2")),
        &[&["bearer B2", "one twice"]],
    );
}

#[test]
fn supports_off_the_line_or_past_the_end() {
    check(
        |supports, _| {
            supports[4].at = Position::mm(1800.0, 2000.0);
            supports[8].at = Position::mm(3690.0, 3600.0);
        },
        &[
            &["support M2", "200", "beside", "bearer B2", "the limit is 150"],
            &["support R3", "90", "beyond the end of bearer B3"],
        ],
    );
}

#[test]
fn a_support_under_no_bearer() {
    check(
        |supports, _| supports.push(support("Z1", 900.0, 900.0)),
        &[&["support Z1", "under no bearer"]],
    );
}

#[test]
fn bearers_that_cross_or_overlap() {
    check(
        |supports, spec| {
            supports.push(support("Q1", 900.0, -600.0));
            supports.push(support("Q2", 900.0, 600.0));
            let across = bearer("Q", Direction::Y, 900.0, (-600.0, 600.0), &["Q1", "Q2"]);
            spec.bearers.push(across);
        },
        &[&["bearers", "B1", "Q", "cross"]],
    );
    check(
        |supports, spec| {
            supports.push(support("Q1", 3700.0, 0.0));
            supports.push(support("Q2", 4700.0, 0.0));
            let on_line = bearer("Q", Direction::X, 0.0, (3550.0, 4800.0), &["Q1", "Q2"]);
            spec.bearers.push(on_line);
        },
        &[&["bearers B1 and Q", "overlap by 50"]],
    );
}

#[test]
fn joists_that_clash_or_hang_in_the_air() {
    check(
        |_, spec| {
            spec.joists.push(joist("K", 600.5, 0.0, 1800.0));
            spec.joists.push(joist("A", 900.0, 100.0, 2000.0));
            spec.joists.push(joist("P", 9000.0, 0.0, 3600.0));
        },
        &[
            &["joists", "J2", "K", "cross or overlap"],
            &["joist A", "rests on 1 of the bearers", "needs two"],
            &["joist P", "rests on 0 of the bearers"],
        ],
    );
    check(
        |_, spec| {
            let mut across = joist("K", 900.0, 500.0, 2500.0);
            across.run.direction = Direction::X;
            spec.joists.push(across);
        },
        &[&["J2", "K"], &["J3", "K"], &["J4", "K"], &["J5", "K"], &["K", "rests on 0"]],
    );
}

#[test]
fn numbers_that_are_no_timber_all_at_once() {
    let nan = f64::NAN;
    check(
        |_, spec| {
            spec.bearers[0].section = section(0.0, 125.0);
            spec.bearers[1].timber.stiffness = Stress::n_per_mm2(10.0);
            spec.bearers[1].timber.density = Density::kg_per_m3(-600.0);
            spec.bearers[2].extra = LineLoad::kn_per_m(nan);
            spec.bearers[2].run.to = Length::mm(f64::INFINITY);
            spec.joists[0].section = section(45.0, 5000.0);
            spec.joists[1].timber.stiffness = Stress::n_per_mm2(1e9);
            spec.joists[2].run.at = Length::mm(nan);
            spec.joists[3].timber.strength = strength(0.0);
            spec.walls.push(wall(Direction::Y, 900.0, 500.0, 500.0));
            spec.walls[0].load = LineLoad::kn_per_m(-1.0);
            spec.point_loads.push(load(900.0, nan));
            spec.point_loads[0].load = Force::n(1e9);
            spec.floor_load.dead = AreaLoad::kpa(-0.5);
            spec.floor_load.live = AreaLoad::kpa(nan);
            spec.seat_length = Length::ZERO;
            spec.load_doubt = 1.5;
            spec.set_share = (0.6, 0.4);
        },
        &[
            &["bearer B1", "a breadth of 0 mm", "the limit is 10 to 1200 mm"],
            &["bearer B2", "a modulus of elasticity of 10 N/mm²", "500 to 250000 N/mm²"],
            &["bearer B2", "a density of -600 kg/m³", "50 to 9000"],
            &["bearer B3", "an extra load of NaN kN/m", "0 to 200 kN/m"],
            &["bearer B3", "a place of inf", "-1000000 to 1000000 mm"],
            &["bearer B3", "a length of inf"],
            &["joist J1", "a depth of 5000 mm"],
            &["joist J2", "a modulus of elasticity of 1000000000 N/mm²"],
            &["joist J3", "a place of NaN"],
            &["joist J4", "a strength of 0 N/mm²", "0.1 to 1000"],
            &["wall hall", "a length of 0 mm", "1 to 1000000 mm"],
            &["wall hall", "a load of -1 kN/m"],
            &["load stove", "a load of 1000000 kN", "0 to 500 kN"],
            &["load stove", "a place of NaN"],
            &["the floor", "a dead load of -0.5 kPa", "0 to 50 kPa"],
            &["the floor", "a live load of NaN kPa"],
            &["the frame", "a seat length of 0 mm", "10 to 1000 mm"],
            &["the frame", "a doubt about loads of 1.5", "0 to 1"],
            &["the frame", "a share of sag that has set of 0.4", "0.6 to 1"],
        ],
    );
}

#[test]
fn supports_at_no_place() {
    for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
        for at in [Position::mm(bad, 1800.0), Position::mm(1800.0, bad)] {
            let limit = "-1000000 to 1000000 mm";
            check(|supports, _| supports[4].at = at, &[&["support M2", "a place of", limit]]);
        }
    }
}

#[test]
fn loads_that_stand_beside_the_house() {
    check(
        |_, spec| {
            spec.walls.push(wall(Direction::X, 900.0, 3000.0, 5000.0));
            spec.walls.push(wall(Direction::Y, -700.0, 0.0, 1000.0));
            spec.point_loads.push(load(900.0, 4300.0));
            spec.point_loads.push(load(4600.0, 900.0));
        },
        &[
            &["wall hall stands 1400", "outside"],
            &["wall hall stands 700", "outside"],
            &["load stove stands 583", "outside"],
            &["load stove stands 1000", "outside"],
        ],
    );
}

#[test]
fn names_given_twice() {
    check(
        |_, spec| {
            spec.bearers[2].id = BearerId::new("B1");
            spec.joists[4].id = JoistId::new("J1");
        },
        &[&["bearer B1 is given twice"], &["joist J1 is given twice"]],
    );
}

#[test]
fn timbers_that_turn_freely() {
    check(
        |supports, spec| {
            supports.push(support("Q1", 9000.0, 0.0));
            spec.bearers.push(bearer("Q", Direction::X, 0.0, (8500.0, 9500.0), &["Q1"]));
        },
        &[&["bearer Q", "turn freely"]],
    );
    // The end of the joist past its last bearer hangs on the joint alone.
    check(
        |_, spec| spec.joists[3].joints.push(BearerId::new("B3")),
        &[&["joist J4", "turn freely"]],
    );
}

#[test]
fn a_frame_beyond_all_size() {
    let n = 330;
    let mut supports = Vec::new();
    let mut bearers = Vec::new();
    for line in 0..n {
        let y = f64::from(line) * 1000.0;
        let ids = [format!("L{line}"), format!("R{line}")];
        supports.extend([support(&ids[0], 0.0, y), support(&ids[1], 164_500.0, y)]);
        let ids = ids.each_ref().map(String::as_str);
        bearers.push(bearer(&format!("B{line}"), Direction::X, y, (0.0, 164_500.0), &ids));
    }
    let joists = (0..n)
        .map(|number| joist(&format!("J{number}"), f64::from(number) * 500.0, 0.0, 329_000.0));
    let spec = spec(bearers, joists.collect(), 0.5);
    let faults = Frame::new(&supports, &spec, &[]).unwrap_err();
    let text = faults[0].to_string();
    assert!(matches!(faults[..], [FrameFault::TooLarge { .. }]), "{text}");
    assert!(text.contains("unknowns") && text.contains("band"), "{text}");
    assert!(!faults[0].hint().is_empty());
}

#[test]
fn seats_and_loads_that_are_no_numbers_are_not_answered() {
    let (supports, spec) = sound();
    let frame = Frame::new(&supports, &spec, &[]).unwrap();
    for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
        let mut seats = vec![Length::ZERO; supports.len()];
        seats[4] = Length::mm(bad);
        assert!(frame.contact(&seats, Loads::DEAD).is_err(), "a seat at {bad}");
        let level = vec![Length::ZERO; supports.len()];
        assert!(frame.contact(&level, Loads::DEAD.times(bad)).is_err(), "loads times {bad}");
        let mut on_seats =
            floorwright_engine::frame::OnSeats::new(&frame, &level, Loads::DEAD, None).unwrap();
        assert!(on_seats.set_seats(&[(4, Length::mm(bad))]).is_err(), "a seat moved to {bad}");
    }
}

/// What somebody may type by mistake.
fn odd(dice: &mut Dice) -> f64 {
    let odd =
        [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, 0.0, -1.0, 1e-300, 1e300, -1e12, 1e6, 0.4];
    if dice.chance(0.3) { dice.between(-5000.0, 5000.0) } else { odd[dice.whole(0, 9)] }
}

fn spoil(dice: &mut Dice, case: &mut Case) {
    let value = odd(dice);
    let spec = &mut case.spec;
    let support = dice.whole(0, case.supports.len().max(1) - 1);
    let bearer = dice.whole(0, spec.bearers.len().max(1) - 1);
    let joist = dice.whole(0, spec.joists.len().max(1) - 1);
    let what = dice.whole(0, 36);
    // Out of place by a hair, where two places are all but one.
    let hair = Length::mm(dice.between(-2.0, 2.0));
    if let Some(seat) = case.seats.get_mut(support).filter(|_| what == 0) {
        *seat = value;
    }
    if let Some(support) = case.supports.get_mut(support) {
        match what {
            1 => support.at.x = Length::mm(value),
            2 => support.at.y = Length::mm(value),
            3 => support.id = SupportId::new("S1-1"),
            30 => support.at.x += hair,
            31 => support.at.y += hair,
            _ => {}
        }
    }
    if let Some(bearer) = spec.bearers.get_mut(bearer) {
        match what {
            4 => bearer.run.at = Length::mm(value),
            5 => bearer.run.from = Length::mm(value),
            6 => bearer.run.to = Length::mm(value),
            7 => bearer.section.breadth = Length::mm(value),
            8 => bearer.section.depth = Length::mm(value),
            9 => bearer.timber.stiffness = Stress::n_per_mm2(value),
            10 => bearer.timber.density = Density::kg_per_m3(value),
            11 => bearer.extra = LineLoad::kn_per_m(value),
            12 => bearer.run.direction = bearer.run.direction.turned(),
            13 => bearer.joints = bearer.supports.clone(),
            14 => bearer.supports.truncate(1),
            15 => bearer.supports.clear(),
            32 => bearer.run.at += hair,
            33 => bearer.run.from += hair,
            34 => bearer.run.to += hair,
            _ => {}
        }
    }
    if let Some(joist) = spec.joists.get_mut(joist) {
        match what {
            16 => joist.run.at = Length::mm(value),
            17 => joist.run.from = Length::mm(value),
            18 => joist.run.to = Length::mm(value),
            19 => joist.section = section(value, value),
            20 => joist.timber.stiffness = Stress::n_per_mm2(value),
            21 => joist.joints = spec.bearers.iter().map(|bearer| bearer.id.clone()).collect(),
            22 => joist.floor = "other".to_owned(),
            35 => joist.run.at += hair,
            36 => joist.run.to += hair,
            _ => {}
        }
    }
    match what {
        23 => spec.joists.clear(),
        24 => case.supports.truncate(dice.whole(0, 3)),
        25 => spec.bearers.truncate(1),
        26 => spec.floor_load.dead = AreaLoad::kpa(value),
        27 => spec.walls.push(wall(Direction::X, value, odd(dice), odd(dice))),
        28 => spec.point_loads.push(load(value, odd(dice))),
        29 => spec.seat_length = Length::mm(value),
        _ => {}
    }
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 4000,
        failure_persistence: None,
        ..ProptestConfig::default()
    })]

    /// Whatever is spoilt, the frame is refused with words or answered with sound numbers.
    #[test]
    fn no_frame_makes_it_panic(seed in any::<u64>(), times in 1_usize..5) {
        let mut dice = Dice::new(seed);
        let mut case = frame(&mut dice, Size::SMALL);
        for _ in 0..times {
            spoil(&mut dice, &mut case);
        }
        case.seats.resize(case.supports.len(), 0.0);
        let places = [Position::mm(0.0, 0.0), Position::mm(odd(&mut dice), odd(&mut dice))];
        match Frame::new(&case.supports, &case.spec, &places) {
            Err(faults) => {
                prop_assert!(!faults.is_empty());
                for fault in faults {
                    prop_assert!(!fault.to_string().is_empty() && !fault.hint().is_empty());
                }
            }
            Ok(frame) => {
                let total = frame.total(Loads::IN_USE).to_n();
                prop_assert!(total.is_finite() && total >= 0.0);
                if let Ok(found) = frame.contact(&mm(&case.seats), Loads::IN_USE) {
                    let off = (found.total().to_n() - total).abs();
                    prop_assert!(off <= 1e-4 * (1.0 + total), "{} of {}", found.total(), total);
                    let rough = case.seats.iter().fold(1.0, |m: f64, seat| m.max(seat.abs()));
                    for (height, seat) in found.heights.iter().zip(&case.seats) {
                        prop_assert!(height.to_mm() >= seat - 1e-6 * rough);
                    }
                }
            }
        }
    }
}
