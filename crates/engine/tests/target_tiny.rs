//! The target stage against the invented floor of `data/frame`, computed outside this program
//! with numpy and scipy.
//!
//! The rows "every support carries" are built from the printed stiffness and loads, so that
//! every printed optimum is one of the same problem.

use floorwright_engine::ids::{PointId, SupportId};
use floorwright_engine::settings::Preference;
use floorwright_engine::site::Position;
use floorwright_engine::target::{
    Broken, ExtraKind, ExtraRow, FloorPoint, Height, LiftPlan, Outcome, Problem, Requirement, Side,
    SupportBounds, predict, solve,
};
use floorwright_engine::units::{Length, Level};
use serde_json::Value;

fn input() -> Value {
    serde_json::from_str(include_str!("data/frame/tiny-input.json")).unwrap()
}

fn expected() -> Value {
    serde_json::from_str(include_str!("data/frame/tiny-expected.json")).unwrap()
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap()
}

fn list(value: &Value) -> &[Value] {
    value.as_array().unwrap()
}

fn text(value: &Value) -> &str {
    value.as_str().unwrap()
}

/// Height 1, level 6, slope 1/150, straightedge 7, cap 150, every support carries.
fn tiny() -> Problem {
    let input = input();
    let expected = expected();
    let points = list(&input["survey"])
        .iter()
        .map(|point| FloorPoint {
            id: PointId::new(text(&point["id"])),
            at: Position::mm(number(&point["x"]), number(&point["y"])),
            level: Level::mm(number(&point["z"])),
            deck: String::new(),
        })
        .collect();
    let bearer_y = |id: &str| {
        let bearer = list(&input["bearers"]).iter().find(|bearer| text(&bearer["id"]) == id);
        number(&bearer.unwrap()["y"])
    };
    let supports = list(&input["supports"])
        .iter()
        .map(|support| SupportBounds {
            id: SupportId::new(text(&support["id"])),
            at: Position::mm(number(&support["x"]), bearer_y(text(&support["bearer"]))),
            lower: Length::ZERO,
            upper: Length::mm(150.0),
            why: None,
        })
        .collect();
    let row = |row: &Value| {
        list(row).iter().map(number).enumerate().filter(|term| term.1 != 0.0).collect::<Vec<_>>()
    };
    let influence = list(&expected["influence"]["G"]).iter().map(row).collect();
    let mut problem = Problem::new(points, supports, influence, Height::At(Level::mm(1.0)));
    problem.level_tolerance = Some(Length::mm(6.0));
    problem.slope_tolerance = Some(1.0 / 150.0);
    problem.straightedge_tolerance = Some(Length::mm(7.0));
    let now: Vec<f64> = list(&expected["contact"]["w_mm"]).iter().map(number).collect();
    let loads = list(&expected["stiffness"]["g"]);
    for (support, stiffness) in list(&expected["stiffness"]["S"]).iter().enumerate() {
        let per_mm = row(stiffness);
        let today: f64 = per_mm.iter().map(|&(other, k)| k * now[other]).sum();
        problem.extra.push(ExtraRow {
            name: format!("support {} carries", problem.supports[support].id),
            kind: ExtraKind::Other,
            per_mm,
            at_least: Some(number(&loads[support]) - today),
            at_most: None,
        });
    }
    problem
}

/// Cap and bearing only.
fn without_shape(mut problem: Problem) -> Problem {
    problem.level_tolerance = None;
    problem.slope_tolerance = None;
    problem.straightedge_tolerance = None;
    problem
}

fn reached(problem: &Problem) -> LiftPlan {
    match solve(problem) {
        Outcome::Reached(plan) => {
            assert!(plan.outcome.broken.is_empty(), "{:?}", plan.outcome.broken);
            plan
        }
        other => panic!("{other:?}"),
    }
}

/// The file's tolerance on an optimum, in millimetres.
const OBJECTIVE: f64 = 0.001;

fn close(found: Length, expected: &Value, tolerance: f64) {
    let expected = number(expected);
    assert!((found.to_mm() - expected).abs() < tolerance, "{found:?} {expected}");
}

#[test]
fn neighbours_and_straightedges_are_those_of_the_file() {
    let expected = expected();
    let problem = tiny();
    let id = |point: usize| problem.points[point].id.as_str();
    let pairs: Vec<_> = problem.neighbours.iter().map(|&(a, b)| [id(a), id(b)]).collect();
    let wanted = list(&expected["target"]["slope_pairs"]);
    assert_eq!(pairs.len(), wanted.len());
    for pair in wanted {
        let wanted = [text(&pair[0]), text(&pair[1])];
        assert!(pairs.contains(&wanted), "{wanted:?}");
    }
    let triples: Vec<_> = problem.straightedges.iter().map(|edge| edge.points.map(id)).collect();
    let wanted = list(&expected["target"]["edge_triples"]);
    assert_eq!(triples.len(), wanted.len());
    for triple in wanted {
        let wanted = [0, 1, 2].map(|i| text(&triple[i]));
        assert!(triples.contains(&wanted), "{wanted:?}");
    }
}

#[test]
fn least_total_lift() {
    let expected = &expected()["target"];
    let mut problem = tiny();
    problem.prefer = Preference::LeastLift;
    close(reached(&problem).outcome.totals.lift, &expected["min_total_h_given"], OBJECTIVE);

    problem.height = Height::Free;
    let free = reached(&problem).outcome;
    close(free.totals.lift, &expected["min_total_h_free"], OBJECTIVE);
    close(free.plane.height - Level::DATUM, &expected["h_at_min_total"], OBJECTIVE);

    problem.tilt = Some(1.0 / 500.0);
    let leaning = reached(&problem).outcome;
    close(leaning.totals.lift, &expected["min_total_plane_free_1_in_500"], OBJECTIVE);
    assert!(leaning.plane.rise_x.abs() <= 1.0 / 500.0 + 1e-9);

    problem.tilt = None;
    problem.supports[2].lower = Length::mm(-10.0);
    let lowering = reached(&problem).outcome;
    close(lowering.totals.lift, &expected["min_sum_abs_lowering_10mm_at_S1_3_h_free"], OBJECTIVE);
}

#[test]
fn smallest_largest_error_then_least_lift() {
    let expected = &expected()["target"];
    let mut problem = without_shape(tiny());
    problem.prefer = Preference::SmallestLargest;
    let plan = reached(&problem).outcome;
    close(plan.totals.worst_departure, &expected["minmax_h_given"], OBJECTIVE);
    close(plan.totals.lift, &expected["least_total_at_that_minmax"], 0.002);

    let mut free = problem.clone();
    free.height = Height::Free;
    close(reached(&free).outcome.totals.worst_departure, &expected["minmax_h_free"], OBJECTIVE);
    for support in &mut problem.supports {
        support.upper = Length::mm(30.0);
    }
    let capped = reached(&problem).outcome;
    close(capped.totals.worst_departure, &expected["minmax_cap30"], OBJECTIVE);
    assert!(capped.lifts[1].at_upper);
}

#[test]
fn least_squares() {
    let expected = &expected()["target"]["least_squares"];
    let plan = reached(&without_shape(tiny()));
    let sum: f64 = plan.outcome.points.iter().map(|p| p.departure.squared().to_mm2()).sum();
    assert!((sum - number(&expected["sum_sq"])).abs() < 1e-5, "{sum}");
    close(plan.outcome.totals.worst_departure, &expected["max_residual"], 1e-5);
    for (support, lift) in plan.outcome.lifts.iter().zip(list(&expected["u_mm"])) {
        close(support.lift, lift, number(&expected["u_tolerance_mm"]));
    }
    assert!(!plan.one_of_many);
    assert!(plan.accuracy < Length::mm(1e-6), "{:?}", plan.accuracy);
}

/// The file's count comes from trying every subset of supports.
#[test]
fn fewest_supports() {
    let expected = &expected()["target"];
    let mut problem = tiny();
    problem.prefer = Preference::FewestSupports;
    for (height, wanted) in [
        (problem.height, &expected["fewest_touched_h_given"]),
        (Height::Free, &expected["fewest_touched_h_free"]),
    ] {
        problem.height = height;
        let plan = reached(&problem);
        let fewest = plan.fewest.unwrap();
        assert_eq!(fewest.touched as u64, wanted.as_u64().unwrap());
        assert_eq!(fewest.at_least, fewest.touched, "the search was finished");
        assert_eq!(plan.outcome.totals.touched, fewest.touched);
    }
}

#[test]
fn a_fixed_support_is_named_behind_the_point_above_it() {
    let expected = &expected()["target"]["infeasible_fixed"];
    let mut problem = tiny();
    problem.level_tolerance = Some(Length::mm(3.0));
    problem.supports[1].upper = Length::ZERO;
    problem.supports[1].why = Some("chimney".to_owned());
    let Outcome::CannotBeDone(why) = solve(&problem) else { panic!("it cannot be done") };
    close(why.total, &expected["elastic_total_slack"], OBJECTIVE);
    let smallest = why.smallest_tolerance.unwrap();
    close(smallest.level_alone, &expected["smallest_workable_level_mm"], OBJECTIVE);
    let p3 = Requirement::Level { point: PointId::new("P3"), side: Side::TooLow };
    assert_eq!(why.clash.requirements, [p3]);
    assert_eq!(why.clash.held_by.len(), 1);
    assert!(why.not_curable.is_empty(), "{:?}", why.not_curable);
    assert_eq!(
        why.words[0],
        "P3 has to come up at least 41.5 mm to be within 3.0 mm of the target, \
         but support S1-2 under it is fixed: chimney"
    );
}

#[test]
fn a_cap_is_named_behind_a_level() {
    let mut problem = tiny();
    for support in &mut problem.supports {
        support.upper = Length::mm(10.0);
    }
    problem.supports[1].why = Some("packing limit".to_owned());
    let Outcome::CannotBeDone(why) = solve(&problem) else { panic!("it cannot be done") };
    assert_eq!(why.clash.requirements.len(), 1);
    assert!(why.words[0].contains("may be raised at most 10.0 mm"), "{:?}", why.words);
}

#[test]
fn sag_inside_a_joist_span_is_not_curable_at_the_supports() {
    let expected = &expected()["target"]["infeasible_edge3"];
    let mut problem = tiny();
    problem.straightedge_tolerance = Some(Length::mm(number(&expected["edge_mm"])));
    let Outcome::CannotBeDone(why) = solve(&problem) else { panic!("it cannot be done") };
    close(why.total, &expected["elastic_total_slack"], OBJECTIVE);
    let edge = Requirement::Straightedge {
        points: ["P5", "P13", "P10"].map(PointId::new),
        side: Side::TooLow,
    };
    assert_eq!(why.clash.requirements, std::slice::from_ref(&edge));
    assert_eq!(why.not_curable.len(), 1);
    assert_eq!(why.not_curable[0].requirement, edge);
}

#[test]
fn a_lift_set_by_hand_is_kept_and_its_consequences_shown() {
    let problem = without_shape(tiny());
    let by_hand = [(SupportId::new("S1-2"), Length::mm(40.0))];
    let plan = reached(&problem.with_lifts(&by_hand).unwrap()).outcome;
    assert_eq!(plan.lifts[1].lift, Length::mm(40.0));
    let lifts: Vec<Length> = plan.lifts.iter().map(|support| support.lift).collect();
    let again = predict(&problem, &lifts).unwrap();
    assert_eq!(again.totals.touched, plan.totals.touched);
    assert!((again.totals.worst_departure - plan.totals.worst_departure).abs() < Length::mm(1e-9));

    let nothing = predict(&tiny(), &[Length::ZERO; 6]).unwrap();
    assert_eq!(nothing.totals.worst_departure, Length::mm(44.5));
    // The floor hangs where it hangs today: it is off level, but no support pulls.
    let carries = |broken: &Broken| matches!(broken.requirement, Requirement::Extra { .. });
    assert!(!nothing.broken.is_empty() && !nothing.broken.iter().any(carries));
}
