//! The target stage on the frame itself: what a lift does and what each support carries come from
//! [`Frame`], the optima from outside.
//!
//! Source: `data/frame`, computed outside this program with numpy and scipy; tolerances are those
//! of the file. After every solution the frame is settled again on the lifted seats: the heights
//! that were promised must come back, with every support carrying what it must.

mod frames;

use floorwright_engine::frame::{Contact, Frame, Loads};
use floorwright_engine::ids::{PointId, SupportId};
use floorwright_engine::settings::Preference;
use floorwright_engine::site::Position;
use floorwright_engine::target::{
    Explanation, ExtraRow, FloorPoint, Height, LiftPlan, Outcome, Problem, Requirement, Side,
    SupportBounds, predict, solve,
};
use floorwright_engine::units::{Force, Length, Level};
use frames::{case, list, mm, number};
use serde_json::Value;

/// The file's tolerance on an optimum, in millimetres.
const OBJECTIVE: f64 = 0.001;

struct OnFrame {
    frame: Frame,
    now: Contact,
    problem: Problem,
    least: Force,
}

fn expected() -> Value {
    let file: Value = serde_json::from_str(include_str!("data/frame/tiny-expected.json")).unwrap();
    file["target"].clone()
}

/// Height 1, level 6, slope 1/150, straightedge 7, cap 150, every support carries `least`.
fn tiny(least: Force) -> OnFrame {
    let tiny = case(&serde_json::from_str(include_str!("data/frame/tiny-input.json")).unwrap());
    let places: Vec<Position> = tiny.survey.iter().map(|point| point.1).collect();
    let frame = Frame::new(&tiny.supports, &tiny.spec, &places).unwrap();
    let now = frame.contact(&mm(&tiny.seats), Loads::DEAD).unwrap();
    let points = tiny.survey.iter().map(|(id, at, level)| FloorPoint {
        id: PointId::new(id.clone()),
        at: *at,
        level: Level::mm(*level),
        deck: String::new(),
    });
    let supports = tiny.supports.iter().map(|support| SupportBounds {
        id: support.id.clone(),
        at: support.at,
        lower: Length::ZERO,
        upper: Length::mm(150.0),
        why: None,
    });
    let influence = frame.places().iter().map(|row| row.as_ref().unwrap().terms.clone()).collect();
    let mut problem =
        Problem::new(points.collect(), supports.collect(), influence, Height::At(Level::mm(1.0)));
    problem.level_tolerance = Some(Length::mm(6.0));
    problem.slope_tolerance = Some(1.0 / 150.0);
    problem.straightedge_tolerance = Some(Length::mm(7.0));
    problem.extra = (0..6)
        .map(|support| {
            let (per_mm, straight) = frame.reaction_row(support, Loads::DEAD);
            let bent: f64 = per_mm.iter().map(|&(s, k)| k * now.heights[s].to_mm()).sum();
            let id = &problem.supports[support].id;
            ExtraRow::carries(support, id, per_mm, straight + Force::n(bent), least)
        })
        .collect();
    OnFrame { frame, now, problem, least }
}

impl OnFrame {
    /// Cap and bearing only.
    fn without_shape(mut self) -> Self {
        self.problem.level_tolerance = None;
        self.problem.slope_tolerance = None;
        self.problem.straightedge_tolerance = None;
        self
    }

    fn reached(&self) -> LiftPlan {
        let plan = match solve(&self.problem) {
            Outcome::Reached(plan) => plan,
            other => panic!("{other:?}"),
        };
        assert!(plan.outcome.broken.is_empty(), "{:?}", plan.outcome.broken);
        self.settles_as_promised(&plan);
        plan
    }

    /// Settles the frame on the lifted seats, which solves the contact by another method.
    fn settles_as_promised(&self, plan: &LiftPlan) {
        let lifts = plan.outcome.lifts.iter().map(|support| support.lift);
        let seats: Vec<Length> = self.now.heights.iter().zip(lifts).map(|(w, u)| *w + u).collect();
        let after = self.frame.contact(&seats, Loads::DEAD).unwrap();
        assert!(!after.rocks);
        for (support, (height, seat)) in after.heights.iter().zip(&seats).enumerate() {
            assert!((*height - *seat).abs() < Length::mm(1e-4), "{support}: {height:?} {seat:?}");
            let carries = after.reactions[support] - self.least;
            assert!(carries.to_n() > -0.05, "{support} carries {:?}", after.reactions[support]);
        }
    }

    fn impossible(&self) -> Explanation {
        match solve(&self.problem) {
            Outcome::CannotBeDone(why) => why,
            other => panic!("{other:?}"),
        }
    }
}

fn close(found: Length, expected: &Value, tolerance: f64) {
    let expected = number(expected);
    assert!((found.to_mm() - expected).abs() < tolerance, "{found:?} {expected}");
}

#[test]
fn least_total_lift() {
    let want = expected();
    let mut tiny = tiny(Force::ZERO);
    tiny.problem.prefer = Preference::LeastLift;
    close(tiny.reached().outcome.totals.lift, &want["min_total_h_given"], OBJECTIVE);

    tiny.problem.height = Height::Free;
    let free = tiny.reached().outcome;
    close(free.totals.lift, &want["min_total_h_free"], OBJECTIVE);
    close(free.plane.height - Level::DATUM, &want["h_at_min_total"], OBJECTIVE);

    tiny.problem.tilt = Some(1.0 / 500.0);
    let leaning = tiny.reached().outcome;
    close(leaning.totals.lift, &want["min_total_plane_free_1_in_500"], OBJECTIVE);

    tiny.problem.tilt = None;
    tiny.problem.supports[2].lower = Length::mm(-10.0);
    let lowering = tiny.reached().outcome;
    close(lowering.totals.lift, &want["min_sum_abs_lowering_10mm_at_S1_3_h_free"], OBJECTIVE);
}

#[test]
fn smallest_largest_error_then_least_lift() {
    let want = expected();
    let mut tiny = tiny(Force::ZERO).without_shape();
    tiny.problem.prefer = Preference::SmallestLargest;
    let plan = tiny.reached().outcome;
    close(plan.totals.worst_departure, &want["minmax_h_given"], OBJECTIVE);
    close(plan.totals.lift, &want["least_total_at_that_minmax"], 0.002);
    for support in &mut tiny.problem.supports {
        support.upper = Length::mm(30.0);
    }
    close(tiny.reached().outcome.totals.worst_departure, &want["minmax_cap30"], OBJECTIVE);
}

#[test]
fn least_squares() {
    let want = &expected()["least_squares"];
    let plan = tiny(Force::ZERO).without_shape().reached();
    let sum: f64 = plan.outcome.points.iter().map(|p| p.departure.squared().to_mm2()).sum();
    assert!((sum - number(&want["sum_sq"])).abs() < 1e-4, "{sum}");
    close(plan.outcome.totals.worst_departure, &want["max_residual"], 1e-4);
    for (support, lift) in plan.outcome.lifts.iter().zip(list(&want["u_mm"])) {
        close(support.lift, lift, number(&want["u_tolerance_mm"]));
    }
}

/// The file's count comes from trying every subset of supports.
#[test]
fn fewest_supports() {
    let want = expected();
    let mut tiny = tiny(Force::ZERO);
    tiny.problem.prefer = Preference::FewestSupports;
    let fewest = tiny.reached().fewest.unwrap();
    assert_eq!(fewest.touched as u64, want["fewest_touched_h_given"].as_u64().unwrap());
    assert_eq!(fewest.at_least, fewest.touched);
    tiny.problem.height = Height::Free;
    let fewest = tiny.reached().fewest.unwrap();
    assert_eq!(fewest.touched as u64, want["fewest_touched_h_free"].as_u64().unwrap());
}

#[test]
fn a_fixed_support_is_named_behind_the_point_above_it() {
    let want = &expected()["infeasible_fixed"];
    let mut tiny = tiny(Force::ZERO);
    tiny.problem.level_tolerance = Some(Length::mm(3.0));
    tiny.problem.supports[1].upper = Length::ZERO;
    let why = tiny.impossible();
    close(why.total, &want["elastic_total_slack"], OBJECTIVE);
    let smallest = why.smallest_tolerance.unwrap();
    close(smallest.level_alone, &want["smallest_workable_level_mm"], OBJECTIVE);
    let p3 = Requirement::Level { point: PointId::new("P3"), side: Side::TooLow };
    assert_eq!(why.clash.requirements, [p3]);
    assert_eq!(why.clash.held_by[0].support, SupportId::new("S1-2"));
}

#[test]
fn sag_inside_a_joist_span_is_not_curable_at_the_supports() {
    let want = &expected()["infeasible_edge3"];
    let mut tiny = tiny(Force::ZERO);
    tiny.problem.straightedge_tolerance = Some(Length::mm(number(&want["edge_mm"])));
    let why = tiny.impossible();
    close(why.total, &want["elastic_total_slack"], OBJECTIVE);
    assert_eq!(why.not_curable.len(), 1);
    close(why.not_curable[0].by, &want["elastic_total_slack"], OBJECTIVE);
}

#[test]
fn a_least_reaction_is_kept_by_every_preference() {
    let least = Force::n(400.0);
    for prefer in [Preference::LeastSquares, Preference::LeastLift, Preference::SmallestLargest] {
        let mut tiny = tiny(least);
        tiny.problem.prefer = prefer;
        tiny.reached();
    }
}

/// Second method: the frame's reactions at the lifts, from its own rows.
#[test]
fn lifts_by_hand_say_which_supports_would_not_carry() {
    let tiny = tiny(Force::n(200.0));
    let lifts = mm(&[0.0, 0.0, 0.0, 0.0, 90.0, 0.0]);
    let found = predict(&tiny.problem, &lifts).unwrap();
    let mut short = 0;
    for support in 0..6 {
        let (terms, straight) = tiny.frame.reaction_row(support, Loads::DEAD);
        let height = |s: usize| tiny.now.heights[s].to_mm() + lifts[s].to_mm();
        let would = straight.to_n() + terms.iter().map(|&(s, k)| k * height(s)).sum::<f64>();
        let support = tiny.problem.supports[support].id.clone();
        let named = found
            .broken
            .iter()
            .find(|broken| broken.requirement == Requirement::Carries { support: support.clone() });
        assert_eq!(named.is_some(), would < 200.0 - 0.05, "{support} {would}");
        if let Some(carried) = named.and_then(|broken| broken.carried) {
            assert!((carried.would.to_n() - would).abs() < 0.01, "{carried:?} {would}");
            assert_eq!(carried.least, Force::n(200.0));
            short += 1;
        }
    }
    assert!(short > 0, "the middle is so high that others hang");
    assert!(found.broken.iter().all(|broken| {
        let carries = matches!(broken.requirement, Requirement::Carries { .. });
        carries == broken.carried.is_some()
    }));
}

/// More than the whole floor weighs cannot be carried at every support, whatever is asked of the
/// shape: the rows clash among themselves, and are named in forces.
#[test]
fn supports_that_cannot_all_carry_so_much_are_named_in_forces() {
    let total = tiny(Force::ZERO).frame.total(Loads::DEAD).to_n();
    let mut tiny = tiny(Force::n(total / 6.0 + 100.0)).without_shape();
    for support in &mut tiny.problem.supports {
        support.lower = Length::mm(-100.0);
    }
    let why = tiny.impossible();
    assert!(why.clash.requirements.iter().all(|r| matches!(r, Requirement::Carries { .. })));
    assert!(why.smallest_tolerance.is_none());
    let short: f64 = why
        .shortfalls
        .iter()
        .map(|broken| broken.carried.unwrap())
        .map(|carried| (carried.least - carried.would).to_n())
        .sum();
    // Reactions always add up to the load: six times 100 N are missing whatever the lifts.
    assert!(short >= 600.0 - 0.5, "{short}");
    assert!(why.words[0].contains("must carry at least 3.2 kN"), "{:?}", why.words);
    assert!(why.words.iter().any(|w| w.contains("kN and would carry")), "{:?}", why.words);
    assert!(!why.words.iter().any(|w| w.contains("carries misses")), "{:?}", why.words);
}
