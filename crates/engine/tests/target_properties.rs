//! What must hold for every lifting problem, checked with arithmetic of its own.

use floorwright_engine::ids::{PointId, SupportId};
use floorwright_engine::settings::Preference;
use floorwright_engine::site::Position;
use floorwright_engine::target::{
    ExtraKind, ExtraRow, FloorPoint, Height, LiftPlan, Outcome, Problem, ProblemError,
    SupportBounds, predict, solve,
};
use floorwright_engine::units::{Length, Level};
use proptest::prelude::*;
use std::ops::RangeInclusive;

fn problem(
    points: &[(f64, f64, f64)],
    supports: &[(f64, f64)],
    influence: Vec<Vec<(usize, f64)>>,
    height: Height,
) -> Problem {
    let point = |(i, &(x, y, level)): (usize, &(f64, f64, f64))| FloorPoint {
        id: PointId::new(format!("P{i}")),
        at: Position::mm(x, y),
        level: Level::mm(level),
        deck: String::new(),
    };
    let support = |(i, &(lower, upper)): (usize, &(f64, f64))| SupportBounds {
        id: SupportId::new(format!("S{i}")),
        at: Position::mm(i as f64 * 1800.0, 0.0),
        lower: Length::mm(lower),
        upper: Length::mm(upper),
        why: None,
    };
    Problem::new(
        points.iter().enumerate().map(point).collect(),
        supports.iter().enumerate().map(support).collect(),
        influence,
        height,
    )
}

/// A row of supports; over each a point, and between them points that hang on both and a little
/// on the next one, as a continuous bearer does.
fn row_of_supports(levels: &[f64], bounds: &[(f64, f64)]) -> Problem {
    let n = bounds.len();
    let mut points = Vec::new();
    let mut influence = Vec::new();
    for i in 0..n {
        points.push((i as f64 * 1800.0, 0.0, levels[2 * i]));
        influence.push(vec![(i, 1.0)]);
        if i + 1 < n {
            points.push((i as f64 * 1800.0 + 900.0, 0.0, levels[2 * i + 1]));
            influence.push(if i + 2 < n {
                vec![(i, 0.40625), (i + 1, 0.6875), (i + 2, -0.09375)]
            } else {
                vec![(i, 0.5), (i + 1, 0.5)]
            });
        }
    }
    problem(&points, bounds, influence, Height::At(Level::DATUM))
}

fn rows(most: usize) -> impl Strategy<Value = Problem> {
    rows_of(1..=most)
}

fn rows_of(supports: RangeInclusive<usize>) -> impl Strategy<Value = Problem> {
    supports.prop_flat_map(|n| {
        let bounds = prop_oneof![
            4 => (Just(0.0), 20.0..80.0_f64),
            1 => Just((0.0, 0.0)),
            1 => (-15.0..0.0_f64, 10.0..50.0_f64),
        ];
        (prop::collection::vec(-40.0..5.0_f64, 2 * n), prop::collection::vec(bounds, n))
            .prop_map(|(levels, bounds)| row_of_supports(&levels, &bounds))
    })
}

fn reached(problem: &Problem) -> LiftPlan {
    match solve(problem) {
        Outcome::Reached(plan) => plan,
        other => panic!("{other:?}"),
    }
}

fn lifts(plan: &LiftPlan) -> Vec<f64> {
    plan.outcome.lifts.iter().map(|support| support.lift.to_mm()).collect()
}

/// The lowest total of lifts at a corner of the allowed region, by trying every corner.
fn least_total_by_corners(problem: &Problem, tolerance: f64) -> Option<f64> {
    let n = problem.supports.len();
    let mut planes: Vec<(Vec<f64>, f64)> = Vec::new();
    for (point, row) in problem.points.iter().zip(&problem.influence) {
        let mut dense = vec![0.0; n];
        for &(support, ratio) in row {
            dense[support] = ratio;
        }
        let level = point.level.to_mm();
        planes.push((dense.iter().map(|c| -c).collect(), tolerance + level));
        planes.push((dense, tolerance - level));
    }
    for (i, support) in problem.supports.iter().enumerate() {
        let unit = |sign: f64| (0..n).map(|j| if i == j { sign } else { 0.0 }).collect();
        planes.push((unit(-1.0), -support.lower.to_mm()));
        planes.push((unit(1.0), support.upper.to_mm()));
    }
    let mut best: Option<f64> = None;
    let mut chosen: Vec<usize> = (0..n).collect();
    loop {
        if let Some(corner) = intersection(&planes, &chosen) {
            let inside = planes.iter().all(|(plane, limit)| {
                plane.iter().zip(&corner).map(|(a, b)| a * b).sum::<f64>() <= limit + 1e-7
            });
            let total: f64 = corner.iter().sum();
            if inside && best.is_none_or(|known| total < known) {
                best = Some(total);
            }
        }
        // The next combination of planes.
        let Some(place) = (0..n).rev().find(|&k| chosen[k] < planes.len() - n + k) else { break };
        chosen[place] += 1;
        for k in place + 1..n {
            chosen[k] = chosen[k - 1] + 1;
        }
    }
    best
}

/// Gauss-Jordan on the chosen planes; `None` if they do not meet in one corner.
fn intersection(planes: &[(Vec<f64>, f64)], chosen: &[usize]) -> Option<Vec<f64>> {
    let n = chosen.len();
    let mut matrix: Vec<Vec<f64>> = chosen
        .iter()
        .map(|&plane| planes[plane].0.iter().copied().chain([planes[plane].1]).collect())
        .collect();
    for column in 0..n {
        let pivot = (column..n)
            .max_by(|&a, &b| matrix[a][column].abs().total_cmp(&matrix[b][column].abs()))?;
        matrix.swap(column, pivot);
        if matrix[column][column].abs() < 1e-9 {
            return None;
        }
        let pivot_row = matrix[column].clone();
        for (row_idx, row) in matrix.iter_mut().enumerate() {
            if row_idx != column {
                let factor = row[column] / pivot_row[column];
                row.iter_mut().zip(&pivot_row).for_each(|(value, pivot)| *value -= factor * pivot);
            }
        }
    }
    Some((0..n).map(|i| matrix[i][n] / matrix[i][i]).collect())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// The conditions of an optimum, from the problem's own numbers: no lift within its bounds
    /// changes the sum of squares, at a bound only moving outwards would help.
    #[test]
    fn least_squares_meets_the_conditions_of_an_optimum(problem in rows(14)) {
        let plan = reached(&problem);
        let mut slope = vec![0.0; problem.supports.len()];
        for (point, row) in plan.outcome.points.iter().zip(&problem.influence) {
            for &(support, ratio) in row {
                slope[support] += ratio * point.departure.to_mm();
            }
        }
        let lifts = &plan.outcome.lifts;
        for ((support, lift), slope) in problem.supports.iter().zip(lifts).zip(&slope) {
            prop_assert!(lift.lift >= support.lower && lift.lift <= support.upper);
            prop_assert!(*slope < 1e-6 || lift.at_lower, "{slope} {lift:?}");
            prop_assert!(*slope > -1e-6 || lift.at_upper, "{slope} {lift:?}");
        }
        prop_assert!(plan.accuracy < Length::mm(1e-6), "{:?}", plan.accuracy);
    }

    /// Second method: every corner of the allowed region.
    #[test]
    fn least_lift_is_the_best_corner(
        levels in prop::collection::vec(-30.0..5.0_f64, 6),
        caps in prop::collection::vec(5.0..60.0_f64, 1..=3),
        tolerance in 1.0..12.0_f64,
    ) {
        let bounds: Vec<_> = caps.iter().map(|&cap| (0.0, cap)).collect();
        let mut problem = row_of_supports(&levels, &bounds);
        problem.level_tolerance = Some(Length::mm(tolerance));
        problem.prefer = Preference::LeastLift;
        match (solve(&problem), least_total_by_corners(&problem, tolerance)) {
            (Outcome::Reached(plan), Some(best)) => {
                let total = plan.outcome.totals.lift.to_mm();
                prop_assert!((total - best).abs() < 1e-5, "{total} {best}");
            }
            (Outcome::CannotBeDone(_), None) => {}
            (found, best) => prop_assert!(false, "{found:?} against {best:?}"),
        }
    }

    /// Each preference is best at what it prefers, and all meet the requirements.
    #[test]
    fn every_preference_is_best_at_its_own(
        mut problem in rows(7),
        tolerance in 4.0..20.0_f64,
        free in any::<bool>(),
    ) {
        problem.level_tolerance = Some(Length::mm(tolerance));
        problem.slope_tolerance = Some(1.0 / 100.0);
        if free {
            problem.height = Height::Free;
        }
        let mut plans = Vec::new();
        for prefer in [
            Preference::LeastSquares,
            Preference::SmallestLargest,
            Preference::LeastLift,
            Preference::FewestSupports,
        ] {
            problem.prefer = prefer;
            match solve(&problem) {
                Outcome::Reached(plan) => {
                    prop_assert!(plan.outcome.broken.is_empty(), "{:?}", plan.outcome.broken);
                    plans.push(plan);
                }
                Outcome::CannotBeDone(why) => {
                    prop_assert!(plans.is_empty());
                    prop_assert!(why.total > Length::ZERO && !why.clash.requirements.is_empty());
                    let smallest = why.smallest_tolerance.unwrap();
                    let all = smallest.with_the_rest.unwrap_or(Length::mm(1e9));
                    prop_assert!(all >= smallest.level_alone - Length::mm(1e-5));
                    prop_assert!(all > Length::mm(tolerance));
                    return Ok(());
                }
                Outcome::Refused(faults) => prop_assert!(false, "{faults:?}"),
            }
        }
        let [squares, worst, total, fewest] = plans.try_into().unwrap();
        for other in [&squares, &worst, &total, &fewest] {
            let totals = other.outcome.totals;
            let hair = Length::mm(1e-4);
            prop_assert!(squares.outcome.totals.rms_departure <= totals.rms_departure + hair);
            prop_assert!(worst.outcome.totals.worst_departure <= totals.worst_departure + hair);
            prop_assert!(total.outcome.totals.lift <= totals.lift + hair);
            prop_assert!(fewest.outcome.totals.touched <= totals.touched);
        }
        let proved = fewest.fewest.unwrap();
        prop_assert_eq!(proved.at_least, proved.touched);
    }

    /// Second method: every subset of supports, from the smallest.
    #[test]
    fn fewest_supports_is_the_smallest_subset(mut problem in rows(5), tolerance in 5.0..20.0_f64) {
        problem.level_tolerance = Some(Length::mm(tolerance));
        problem.prefer = Preference::FewestSupports;
        let Outcome::Reached(plan) = solve(&problem) else { return Ok(()) };
        let n = problem.supports.len();
        let possible = |subset: u32| {
            let mut narrowed = problem.clone();
            narrowed.prefer = Preference::LeastLift;
            for (i, support) in narrowed.supports.iter_mut().enumerate() {
                if subset >> i & 1 == 0 {
                    (support.lower, support.upper) = (Length::ZERO, Length::ZERO);
                }
            }
            matches!(solve(&narrowed), Outcome::Reached(_))
        };
        let fewest = (0..1_u32 << n).filter(|&s| possible(s)).map(u32::count_ones).min().unwrap();
        prop_assert_eq!(plan.fewest.unwrap().touched, fewest as usize);
        prop_assert_eq!(plan.fewest.unwrap().at_least, fewest as usize);
    }

    /// What is said to be the least number never exceeds what another method needs.
    #[test]
    fn the_number_said_to_be_necessary_is_no_more_than_enough(
        mut problem in rows_of(15..=24),
        tolerance in 5.0..25.0_f64,
    ) {
        problem.level_tolerance = Some(Length::mm(tolerance));
        problem.prefer = Preference::LeastLift;
        let Outcome::Reached(least) = solve(&problem) else { return Ok(()) };
        problem.prefer = Preference::FewestSupports;
        let fewest = reached(&problem);
        let proved = fewest.fewest.unwrap();
        prop_assert!(fewest.outcome.broken.is_empty());
        prop_assert!(proved.at_least <= proved.touched);
        prop_assert!(proved.touched <= least.outcome.totals.touched);
    }

    /// The smallest workable tolerance works, and less does not.
    #[test]
    fn the_smallest_workable_tolerance_is_the_smallest(mut problem in rows(8)) {
        problem.level_tolerance = Some(Length::mm(0.01));
        let Outcome::CannotBeDone(why) = solve(&problem) else { return Ok(()) };
        let smallest = why.smallest_tolerance.unwrap().level_alone;
        problem.level_tolerance = Some(smallest + Length::mm(1e-3));
        let found = solve(&problem);
        prop_assert!(matches!(found, Outcome::Reached(_)), "{smallest} {found:?}");
        problem.level_tolerance = Some((smallest - Length::mm(1e-2)).max(Length::ZERO));
        prop_assert!(matches!(solve(&problem), Outcome::CannotBeDone(_)));
    }

    /// Counting levels from another datum changes no lift; nor does turning the plan round.
    #[test]
    fn datum_and_direction_do_not_matter(problem in rows(8), shift in -900.0..900.0_f64) {
        let plan = lifts(&reached(&problem));
        let mut moved = problem;
        moved.height = Height::At(Level::mm(shift));
        for point in &mut moved.points {
            point.level = point.level + Length::mm(shift);
            point.at = Position { x: -point.at.x, y: point.at.y + Length::m(3.0) };
        }
        for (a, b) in plan.iter().zip(lifts(&reached(&moved))) {
            prop_assert!((a - b).abs() < 1e-6, "{a} {b}");
        }
    }

    /// What a plan promises is what its lifts are predicted to do.
    #[test]
    fn a_plan_is_its_own_prediction(mut problem in rows(8), free in any::<bool>()) {
        if free {
            problem.height = Height::Free;
            problem.tilt = Some(1.0 / 400.0);
        }
        let plan = reached(&problem);
        let chosen: Vec<Length> = plan.outcome.lifts.iter().map(|s| s.lift).collect();
        let predicted = predict(&problem, &chosen).unwrap();
        for (a, b) in plan.outcome.points.iter().zip(&predicted.points) {
            prop_assert!((a.after - b.after).abs() < Length::mm(1e-9));
            prop_assert!((a.departure - b.departure).abs() < Length::mm(1e-4));
        }
    }

    /// Whatever is asked, there is an answer: a plan that keeps every requirement, or a reason.
    #[test]
    fn there_is_always_an_answer(
        mut problem in rows(9),
        tolerance in prop_oneof![Just(None), Just(Some(0.0)), (0.1..30.0_f64).prop_map(Some)],
        slope in prop_oneof![Just(None), Just(Some(0.0)), (1e-4..0.02_f64).prop_map(Some)],
        edge in prop_oneof![Just(None), Just(Some(0.0)), (0.1..10.0_f64).prop_map(Some)],
        tilt in prop_oneof![Just(None), Just(Some(0.0)), Just(Some(1.0 / 300.0))],
        free in any::<bool>(),
        prefer in prop::sample::select(vec![
            Preference::LeastSquares,
            Preference::SmallestLargest,
            Preference::LeastLift,
            Preference::FewestSupports,
        ]),
        carries in prop::option::of(-9000.0..9000.0_f64),
    ) {
        problem.level_tolerance = tolerance.map(Length::mm);
        problem.slope_tolerance = slope;
        problem.straightedge_tolerance = edge.map(Length::mm);
        problem.tilt = tilt;
        problem.prefer = prefer;
        if free {
            problem.height = Height::Free;
        }
        if problem.supports.len() > 2 {
            problem.extra.extend(carries.map(|at_least| ExtraRow {
                name: "support S1 carries".to_owned(),
                kind: ExtraKind::Other,
                per_mm: vec![(0, -60.0), (1, 120.0), (2, -60.0)],
                at_least: Some(at_least),
                at_most: None,
            }));
        }
        match solve(&problem) {
            Outcome::Reached(plan) => {
                prop_assert!(plan.outcome.broken.is_empty(), "{:?}", plan.outcome.broken);
                for (support, chosen) in problem.supports.iter().zip(&plan.outcome.lifts) {
                    prop_assert!(chosen.lift >= support.lower && chosen.lift <= support.upper);
                }
            }
            Outcome::CannotBeDone(why) => {
                prop_assert!(why.total > Length::ZERO);
                prop_assert!(!why.clash.requirements.is_empty() && !why.words.is_empty());
            }
            Outcome::Refused(faults) => prop_assert!(false, "{faults:?}"),
        }
    }

    #[test]
    fn hostile_numbers_never_panic(
        level in prop::num::f64::ANY,
        ratio in prop::num::f64::ANY,
        upper in prop::num::f64::ANY,
        tolerance in prop::num::f64::ANY,
        height in prop::num::f64::ANY,
    ) {
        let mut hostile =
            problem(&[(0.0, 0.0, level)], &[(0.0, upper)], vec![vec![(0, ratio)]], Height::At(Level::mm(height)));
        hostile.level_tolerance = Some(Length::mm(tolerance));
        if let Outcome::Reached(plan) = solve(&hostile) {
            prop_assert!(plan.outcome.points.iter().all(|point| point.after.is_finite()));
        }
    }
}

#[test]
fn sizes_at_the_edge() {
    let at = Height::At(Level::DATUM);
    for prefer in [
        Preference::LeastSquares,
        Preference::SmallestLargest,
        Preference::LeastLift,
        Preference::FewestSupports,
    ] {
        for height in [at, Height::Free] {
            let check = |mut problem: Problem, touched: usize| {
                problem.prefer = prefer;
                assert_eq!(reached(&problem).outcome.totals.touched, touched, "{problem:?}");
            };
            check(problem(&[], &[], vec![], height), 0);
            check(problem(&[], &[(0.0, 50.0); 3], vec![], height), 0);
            check(problem(&[(0.0, 0.0, -8.0)], &[], vec![vec![]], height), 0);
            let held = [(0.0, 0.0), (5.0, 5.0)];
            check(problem(&[(0.0, 0.0, -8.0)], &held, vec![vec![(1, 1.0)]], height), 1);
        }
    }
}

/// Two supports that move one point between them, and one that moves nothing: the floor does
/// not say how to share the lift. It is the least there is, and the idle support is left alone.
#[test]
fn an_undetermined_support_is_left_alone() {
    let shared = problem(
        &[(900.0, 0.0, -10.0)],
        &[(0.0, 50.0); 3],
        vec![vec![(0, 0.75), (1, 0.25)]],
        Height::At(Level::DATUM),
    );
    let plan = reached(&shared);
    assert!(plan.one_of_many);
    assert!(plan.outcome.totals.worst_departure < Length::mm(1e-5));
    let lifts = lifts(&plan);
    assert!(
        (lifts[0] - 10.0 / 0.75).abs() < 1e-4 && lifts[1] < 1e-4 && lifts[2] < 1e-6,
        "{lifts:?}"
    );
}

/// With a free height nobody is raised for nothing: the highest stays where it is.
#[test]
fn a_free_height_raises_no_more_than_it_must() {
    let mut problem = row_of_supports(&[-10.0, -5.0, 0.0, -10.0, -20.0, 0.0], &[(0.0, 150.0); 3]);
    problem.height = Height::Free;
    let plan = reached(&problem);
    assert!(plan.outcome.lifts.iter().any(|support| support.at_lower));
}

#[test]
fn an_extra_row_that_nothing_meets_is_named() {
    let mut problem = row_of_supports(&[-10.0; 4], &[(0.0, 30.0); 2]);
    problem.extra.push(ExtraRow {
        name: "support S1 carries".to_owned(),
        kind: ExtraKind::Other,
        per_mm: vec![(0, -120.0), (1, 120.0)],
        at_least: Some(9000.0),
        at_most: None,
    });
    let Outcome::CannotBeDone(why) = solve(&problem) else { panic!("75 mm are not to be had") };
    assert_eq!(
        why.words[0],
        "support S1 carries within its limit, but support S0 may not be let down and \
         support S1 may be raised at most 30.0 mm"
    );
}

/// A point that no support moves, 9 mm low: no lift anywhere helps.
#[test]
fn a_point_that_hangs_on_nothing_is_not_curable() {
    let mut problem = row_of_supports(&[-10.0, -9.0], &[(0.0, 30.0)]);
    problem.points.push(FloorPoint {
        id: PointId::new("porch"),
        at: Position::mm(0.0, 5000.0),
        level: Level::mm(-9.0),
        deck: String::new(),
    });
    problem.influence.push(vec![]);
    problem.level_tolerance = Some(Length::mm(4.0));
    let Outcome::CannotBeDone(why) = solve(&problem) else { panic!("the porch stays low") };
    assert_eq!(why.not_curable.len(), 1);
    assert!((why.not_curable[0].by - Length::mm(5.0)).abs() < Length::mm(1e-6));
    assert_eq!(
        why.words[..3],
        [
            "porch has to come up at least 5.0 mm to be within 4.0 mm of the target",
            "the level at porch misses by 5.0 mm whatever the lifts: this is shape between the \
             supports, not curable at the supports",
            "the smallest workable level tolerance is 9.0 mm",
        ]
    );
}

#[test]
fn every_fault_of_a_problem_is_named() {
    let mut bad = problem(
        &[(0.0, 0.0, f64::NAN), (0.0, 0.0, 1.0)],
        &[(5.0, 2.0)],
        vec![vec![(7, 1.0)]],
        Height::At(Level::DATUM),
    );
    bad.slope_tolerance = Some(-0.1);
    let Outcome::Refused(faults) = solve(&bad) else { panic!("it is full of faults") };
    assert_eq!(faults.len(), 5, "{faults:?}");
    assert!(faults.contains(&ProblemError::NegativeTolerance("slope")));
    assert!(predict(&bad, &[]).is_err());
}
