//! A program solved in rounds or by our own interior point has the answer of the same program solved
//! as a whole by the conic solver, on frames.

use super::convex::{Failure, Optimum, Program, as_a_whole, by_guessing, in_rounds, inward};
use super::model::Model;
use super::{ExtraRow, FloorPoint, Height, Problem, SupportBounds, within};
use crate::frame::{Frame, Loads, grid};
use crate::ids::PointId;
use crate::site::Position;
use crate::units::{Force, Length, Level};
use proptest::prelude::*;

/// Bearers along x over `across` supports each, joists over them, on uneven seats.
fn problem(across: usize, along: usize, seats: &[f64], least: f64) -> Problem {
    let n = across * along;
    let supports = grid::supports(across, along);
    let at = |i: usize| supports[i].at;
    let mut places: Vec<Position> = (0..n).map(at).collect();
    for i in (0..n).filter(|i| i % across + 1 < across) {
        places.push(Position { x: at(i).x + Length::mm(900.0), y: at(i).y });
    }
    let frame = Frame::new(&supports, &grid::spec(across, along), &places).unwrap();
    let seats: Vec<Length> = seats[..n].iter().map(|&seat| Length::mm(seat)).collect();
    let now = frame.contact(&seats, Loads::DEAD).unwrap();
    let influence: Vec<Vec<(usize, f64)>> =
        frame.places().iter().map(|row| row.as_ref().unwrap().terms.clone()).collect();
    let level = |row: &[(usize, f64)]| -> f64 {
        row.iter().map(|&(s, ratio)| ratio * now.heights[s].to_mm()).sum()
    };
    let points = places.iter().zip(&influence).enumerate().map(|(i, (&at, row))| FloorPoint {
        id: PointId::new(format!("P{i}")),
        at,
        level: Level::mm(level(row) - 2.0 * (i as f64 * 0.618_034).fract()),
        deck: String::new(),
    });
    let bounds = supports.iter().map(|support| SupportBounds {
        id: support.id.clone(),
        at: support.at,
        lower: Length::ZERO,
        upper: Length::mm(60.0),
        why: None,
    });
    let mut problem = Problem::new(
        points.collect(),
        bounds.collect(),
        influence.clone(),
        Height::At(Level::DATUM),
    );
    problem.slope_tolerance = Some(1.0 / 150.0);
    problem.straightedge_tolerance = Some(Length::mm(7.0));
    problem.extra = (0..n)
        .map(|i| {
            let (per_mm, straight) = frame.reaction_row(i, Loads::DEAD);
            let today = straight + Force::n(level(&per_mm));
            ExtraRow::carries(i, &supports[i].id, per_mm, today, Force::n(least))
        })
        .collect();
    problem
}

/// Both ways; `None` where both say that there is no answer.
fn both(program: &Program) -> Result<Option<(Optimum, Optimum)>, TestCaseError> {
    match (as_a_whole(program), in_rounds(program)) {
        (Ok(whole), Ok(rounds)) => Ok(Some((whole, rounds))),
        (Err(Failure::Infeasible), Err(Failure::Infeasible)) => Ok(None),
        (whole, rounds) => {
            prop_assert!(
                false,
                "{:?} against {:?}, cost {:?}",
                whole.map(|o| o.accuracy),
                rounds.map(|o| o.accuracy),
                program.cost
            );
            Ok(None)
        }
    }
}

/// Where the interior point on the variables alone settles, which it need not where many answers
/// are as good, it costs as much as the conic solver's answer, and keeps every row.
fn is_the_same_inward(program: &Program, whole: &Optimum) -> Result<(), TestCaseError> {
    let Some(found) = inward(program) else { return Ok(()) };
    let [a, b] = [whole, &found].map(|found| program.cost_of(&found.values));
    prop_assert!((a - b).abs() < 1e-6 * (1.0 + a.abs()), "{a} {b}");
    for row in &program.at_most {
        let by = super::dot(&row.terms, &found.values) - row.limit;
        prop_assert!(by < 1e-6, "a row is missed by {by}");
    }
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    #[test]
    fn in_rounds_is_as_a_whole(
        across in 2..=6_usize,
        along in 2..=4_usize,
        seats in prop::collection::vec(-35.0..0.0_f64, 24),
        tolerance in 3.0..20.0_f64,
        least in prop_oneof![Just(0.0), 0.0..800.0_f64],
        free in any::<bool>(),
    ) {
        let mut problem = problem(across, along, &seats, least);
        problem.level_tolerance = Some(Length::mm(tolerance));
        if free {
            problem.height = Height::Free;
        }
        let model = Model::new(&problem);

        let mut squares = model.program(0.0);
        squares.squares = model.departures.clone();
        if let Some((whole, rounds)) = both(&squares)? {
            // The departures are unique, and with a point over each support so are the lifts.
            for (terms, constant) in &model.departures {
                let [a, b] = [&whole, &rounds]
                    .map(|found| super::dot(terms, &found.values) + constant);
                prop_assert!((a - b).abs() < 1e-4, "{a} {b}");
            }
            if let Some(guessed) = by_guessing(&squares) {
                for (terms, constant) in &model.departures {
                    let [a, b] = [&whole, &guessed]
                        .map(|found| super::dot(terms, &found.values) + constant);
                    prop_assert!((a - b).abs() < 1e-6, "{a} {b}");
                }
            }
        } else {
            prop_assert!(by_guessing(&squares).is_none());
        }

        let mut least_lift = model.program(0.0);
        model.add_lift_cost(&mut least_lift, |_| 1.0);
        if let Some((whole, rounds)) = both(&least_lift)? {
            let [a, b] = [&whole, &rounds].map(|found| least_lift.cost_of(&found.values));
            prop_assert!((a - b).abs() < 1e-3, "{a} {b}");
            is_the_same_inward(&least_lift, &whole)?;
        } else {
            prop_assert!(inward(&least_lift).is_none());
        }

        let mut worst = model.base.clone();
        let variable = worst.variable(1.0, (0.0, f64::INFINITY));
        worst.at_most.extend(model.needs.iter().filter(|n| n.is_extra()).map(|n| n.row.clone()));
        for mut row in within(&model, 0.0) {
            row.terms.push((variable, -1.0));
            worst.at_most.push(row);
        }
        if let Some((whole, rounds)) = both(&worst)? {
            let [a, b] = [&whole, &rounds].map(|found| found.values[variable]);
            prop_assert!((a - b).abs() < 1e-4, "{a} {b}");
            is_the_same_inward(&worst, &whole)?;
            for row in &worst.at_most {
                prop_assert!(super::dot(&row.terms, &rounds.values) <= row.limit + 1e-4);
            }
        }
    }
}

/// On floors as rough as real ones it settles nearly always.
#[test]
fn the_interior_point_settles() {
    let settled = (0..40).filter(|&floor| {
        let rough = |i: usize| -35.0 * ((i + 24 * floor) as f64 * 0.618_034).fract();
        let seats: Vec<f64> = (0..24).map(rough).collect();
        let mut problem = problem(6, 4, &seats, 100.0);
        problem.level_tolerance = Some(Length::mm(20.0));
        let model = Model::new(&problem);
        let mut least_lift = model.program(0.0);
        model.add_lift_cost(&mut least_lift, |_| 1.0);
        inward(&least_lift).is_some()
    });
    let n_settled = settled.count();
    assert!(n_settled >= 36, "{n_settled} of 40");
}
