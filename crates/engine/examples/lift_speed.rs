//! Times target, packers and passes on invented floors of two sizes.
//!
//! `cargo run --release -p floorwright-engine --example lift_speed`
#![expect(clippy::print_stdout, reason = "an example reports on standard output")]
#![expect(clippy::disallowed_methods, reason = "a benchmark reads the clock")]

use floorwright_engine::ids::{PointId, SupportId};
use floorwright_engine::packers::{StackTable, buy};
use floorwright_engine::passes::{SupportToLift, plan};
use floorwright_engine::settings::{Limits, Preference, Stock};
use floorwright_engine::site::Position;
use floorwright_engine::target::{FloorPoint, Height, Outcome, Problem, SupportBounds, solve};
use floorwright_engine::units::{Length, Level};
use std::time::Instant;

/// A grid of supports with a dished and rough floor; each point hangs on the supports around it.
fn invented(across: usize, along: usize) -> Problem {
    let at = |i: usize| Position::mm((i % across) as f64 * 1800.0, (i / across) as f64 * 1500.0);
    let rough = |i: usize| (i as f64 * 0.618_034).fract();
    let level = |i: usize| {
        let (x, y) = ((i % across) as f64 / across as f64, (i / across) as f64 / along as f64);
        -30.0 * (x * (1.0 - x) + y * (1.0 - y)) * 2.0 - 12.0 * rough(i)
    };
    let n = across * along;
    let points = (0..n).map(|i| FloorPoint {
        id: PointId::new(format!("P{i}")),
        at: at(i),
        level: Level::mm(level(i)),
        deck: String::new(),
    });
    let supports = (0..n).map(|i| SupportBounds {
        id: SupportId::new(format!("S{i}")),
        at: at(i),
        lower: Length::ZERO,
        upper: Length::mm(if i % 17 == 3 { 20.0 } else { 150.0 }),
        why: None,
    });
    let influence = (0..n).map(|i| {
        let mut row = vec![(i, 0.7)];
        let (column, line) = (i % across, i / across);
        let around = [
            (column > 0, i.wrapping_sub(1)),
            (column + 1 < across, i + 1),
            (line > 0, i.wrapping_sub(across)),
            (line + 1 < along, i + across),
        ];
        let near: Vec<usize> = around.iter().filter(|a| a.0).map(|a| a.1).collect();
        row.extend(near.iter().map(|&other| (other, 0.3 / near.len() as f64)));
        row
    });
    Problem::new(
        points.collect(),
        supports.collect(),
        influence.collect(),
        Height::At(Level::DATUM),
    )
}

fn main() {
    for (across, along) in [(9, 6), (40, 30)] {
        let mut problem = invented(across, along);
        println!("{} supports", across * along);
        let mut lifts = Vec::new();
        for (name, prefer, height, tolerance) in [
            ("least squares", Preference::LeastSquares, problem.height, None),
            ("least squares, free height", Preference::LeastSquares, Height::Free, None),
            ("smallest largest", Preference::SmallestLargest, problem.height, None),
            ("least lift", Preference::LeastLift, problem.height, Some(25.0)),
            ("fewest supports", Preference::FewestSupports, problem.height, Some(25.0)),
            ("cannot be done", Preference::LeastSquares, problem.height, Some(2.0)),
        ] {
            problem.prefer = prefer;
            problem.height = height;
            problem.level_tolerance = tolerance.map(Length::mm);
            let start = Instant::now();
            let outcome = solve(&problem);
            let took = start.elapsed();
            let said = match &outcome {
                Outcome::Reached(plan) => format!(
                    "worst {}, lift {}, touched {}, {:?}, accuracy {:e}",
                    plan.outcome.totals.worst_departure,
                    plan.outcome.totals.lift,
                    plan.outcome.totals.touched,
                    plan.fewest,
                    plan.accuracy.to_mm()
                ),
                Outcome::CannotBeDone(why) => why.words[0].clone(),
                Outcome::Refused(faults) => format!("{faults:?}"),
            };
            println!("  {name:28} {:8.1} ms  {said}", took.as_secs_f64() * 1e3);
            if lifts.is_empty()
                && let Outcome::Reached(plan) = outcome
            {
                lifts = plan.outcome.lifts;
            }
        }
        stage_and_buy(&problem, &lifts.iter().map(|support| support.lift).collect::<Vec<_>>());
    }
}

fn stage_and_buy(problem: &Problem, lifts: &[Length]) {
    let table = StackTable::new(&Stock::default()).expect("the default stock is sound");
    let start = Instant::now();
    let list = buy(&table, lifts);
    println!(
        "  {:28} {:8.1} ms  {} pieces, proved {}",
        "buy list",
        start.elapsed().as_secs_f64() * 1e3,
        list.pieces,
        list.proved
    );
    let supports: Vec<SupportToLift> = problem
        .supports
        .iter()
        .zip(&problem.points)
        .zip(lifts)
        .map(|((support, point), &lift)| SupportToLift {
            id: support.id.clone(),
            at: support.at,
            seat: point.level,
            gap: Length::ZERO,
            lift,
        })
        .collect();
    let start = Instant::now();
    let passes = plan(&supports, &Limits::default(), &table).expect("the invented floor is sound");
    println!(
        "  {:28} {:8.1} ms  {:?}, one at a time {:?}",
        "passes",
        start.elapsed().as_secs_f64() * 1e3,
        passes.this_way,
        passes.one_at_a_time
    );
}
