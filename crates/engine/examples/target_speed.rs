//! Times the lifting problem on invented frames of several sizes.
//!
//! `cargo run --release -p floorwright-engine --example target_speed [supports along x] [along y]`
#![expect(clippy::print_stdout, reason = "an example reports on standard output")]
#![expect(clippy::disallowed_methods, reason = "a benchmark reads the clock")]

use floorwright_engine::frame::{
    Bearer, Direction, FloorLoad, Frame, FrameSpec, Joist, Loads, Run, Section, Timber,
};
use floorwright_engine::ids::{BearerId, JoistId, PointId, SupportId};
use floorwright_engine::settings::Preference;
use floorwright_engine::site::{Position, Support};
use floorwright_engine::source::SourceStatus;
use floorwright_engine::target::{
    ExtraRow, FloorPoint, Height, Outcome, Problem, SupportBounds, solve,
};
use floorwright_engine::units::{AreaLoad, Density, Force, Length, Level, LineLoad, Stress};
use std::time::Instant;

fn support(name: String, at: Position) -> Support {
    Support {
        id: SupportId::new(name),
        at,
        gap: Length::ZERO,
        max_lift: None,
        fixed: None,
        may_lower: Length::ZERO,
    }
}

/// Bearers along x, joists along y at 450, 0.5 kPa on top.
fn spec(across: usize, along: usize, supports: &[Support]) -> FrameSpec {
    let timber = Timber {
        name: "invented".to_owned(),
        stiffness: Stress::n_per_mm2(8000.0),
        density: Density::kg_per_m3(600.0),
        strength: None,
        source: "invented".to_owned(),
        status: SourceStatus::Agreed,
    };
    let width = (across - 1) as f64 * 1800.0;
    let depth = (along - 1) as f64 * 1500.0;
    let run = |direction, at, to| Run {
        direction,
        at: Length::mm(at),
        from: Length::ZERO,
        to: Length::mm(to),
    };
    let section =
        |breadth, depth| Section { breadth: Length::mm(breadth), depth: Length::mm(depth) };
    let bearers = (0..along)
        .map(|line| Bearer {
            id: BearerId::new(format!("B{line}")),
            run: run(Direction::X, line as f64 * 1500.0, width),
            supports: supports[line * across..(line + 1) * across]
                .iter()
                .map(|support| support.id.clone())
                .collect(),
            joints: Vec::new(),
            section: section(75.0, 100.0),
            timber: timber.clone(),
            extra: LineLoad::ZERO,
        })
        .collect();
    let joists = (0..=(width / 450.0) as usize)
        .map(|joist| Joist {
            id: JoistId::new(format!("J{joist}")),
            run: run(Direction::Y, joist as f64 * 450.0, depth),
            joints: Vec::new(),
            section: section(50.0, 100.0),
            timber: timber.clone(),
            floor: "main".to_owned(),
        })
        .collect();
    FrameSpec {
        bearers,
        joists,
        walls: Vec::new(),
        point_loads: Vec::new(),
        floor_load: FloorLoad {
            dead: AreaLoad::kpa(0.5),
            live: AreaLoad::kpa(1.5),
            source: "invented".to_owned(),
        },
        seat_length: Length::mm(75.0),
        load_doubt: 0.25,
        set_share: (0.0, 1.0),
        assumed: Vec::new(),
    }
}

/// A dished and rough floor: the seats are uneven, the frame hangs on them as it can, and between
/// the supports the boards are up to 3 mm worn.
fn problem(across: usize, along: usize) -> Problem {
    let n = across * along;
    let seat_at =
        |i: usize| Position::mm((i % across) as f64 * 1800.0, (i / across) as f64 * 1500.0);
    let supports: Vec<Support> = (0..n).map(|i| support(format!("S{i}"), seat_at(i))).collect();
    let rough = |i: usize| (i as f64 * 0.618_034).fract();
    let seat = |i: usize| {
        let (x, y) = ((i % across) as f64 / across as f64, (i / across) as f64 / along as f64);
        -30.0 * (x * (1.0 - x) + y * (1.0 - y)) * 2.0 - 12.0 * rough(i)
    };
    let mut places: Vec<Position> = (0..n).map(seat_at).collect();
    for i in (0..n).filter(|i| i % across + 1 < across) {
        places.push(Position { x: seat_at(i).x + Length::mm(900.0), y: seat_at(i).y });
    }
    let start = Instant::now();
    let frame = Frame::new(&supports, &spec(across, along, &supports), &places)
        .expect("the invented frame is sound");
    let seats: Vec<Length> = (0..n).map(|i| Length::mm(seat(i))).collect();
    let now = frame.contact(&seats, Loads::DEAD).expect("the contact settles");
    let hanging = now.gaps.iter().filter(|gap| **gap > Length::mm(0.01)).count();
    println!(
        "{n} supports, {} points, {hanging} supports hang free: frame {:.2} s",
        places.len(),
        start.elapsed().as_secs_f64()
    );
    let influence: Vec<Vec<(usize, f64)>> = frame
        .places()
        .iter()
        .map(|row| row.as_ref().expect("the frame is under every place").terms.clone())
        .collect();
    let points = places
        .iter()
        .enumerate()
        .map(|(i, &at)| {
            let shape: f64 =
                influence[i].iter().map(|&(s, ratio)| ratio * now.heights[s].to_mm()).sum();
            let worn = if i < n { 0.0 } else { 3.0 * rough(7 * i) };
            FloorPoint {
                id: PointId::new(format!("P{i}")),
                at,
                level: Level::mm(shape - worn),
                deck: String::new(),
            }
        })
        .collect();
    let bounds = supports
        .iter()
        .map(|support| SupportBounds {
            id: support.id.clone(),
            at: support.at,
            lower: Length::ZERO,
            upper: Length::mm(150.0),
            why: None,
        })
        .collect();
    let mut problem = Problem::new(points, bounds, influence, Height::At(Level::DATUM));
    problem.level_tolerance = Some(Length::mm(6.0));
    problem.slope_tolerance = Some(1.0 / 150.0);
    problem.straightedge_tolerance = Some(Length::mm(7.0));
    for (i, support) in supports.iter().enumerate() {
        let (per_mm, straight) = frame.reaction_row(i, Loads::DEAD);
        let today: f64 = per_mm.iter().map(|&(s, k)| k * now.heights[s].to_mm()).sum();
        let today = straight + Force::n(today);
        problem.extra.push(ExtraRow::carries(i, &support.id, per_mm, today, Force::ZERO));
    }
    problem
}

/// Seconds that this program was on a processor, where the system tells: a machine that is busy
/// with other things makes the clock useless.
fn on_processor() -> Option<f64> {
    let told = std::fs::read_to_string("/proc/self/schedstat").ok()?;
    Some(told.split_whitespace().next()?.parse::<f64>().ok()? * 1e-9)
}

/// Memory in MiB, where the system tells: "VmRSS" is in use now, "VmHWM" the most so far.
fn memory(what: &str) -> f64 {
    let told = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = told.lines().find(|line| line.starts_with(what));
    let kib = line.and_then(|line| line.split_whitespace().nth(1)?.parse::<f64>().ok());
    kib.unwrap_or(0.0) / 1024.0
}

/// Counts the most memory anew, where the system lets it.
fn forget_the_most() {
    // Elsewhere the most so far is shown, the frame's own included.
    let _ = std::fs::write("/proc/self/clear_refs", "5");
}

fn main() {
    let sizes: Vec<usize> = std::env::args().skip(1).filter_map(|size| size.parse().ok()).collect();
    let given: Vec<(usize, usize)> = sizes.chunks_exact(2).map(|size| (size[0], size[1])).collect();
    let sizes = if given.is_empty() { vec![(9, 6), (20, 15), (40, 30)] } else { given };
    for (across, along) in sizes {
        let start = on_processor();
        let mut problem = problem(across, along);
        if let Some((start, end)) = start.zip(on_processor()) {
            println!("  {:24} {:8.3} s of processor", "frame and rows", end - start);
        }
        for (name, prefer, height) in [
            ("least squares", Preference::LeastSquares, problem.height),
            ("least lift", Preference::LeastLift, problem.height),
        ] {
            problem.prefer = prefer;
            problem.height = height;
            forget_the_most();
            let before = memory("VmRSS");
            let start = (Instant::now(), on_processor());
            let outcome = solve(&problem);
            let took = start.0.elapsed().as_secs_f64();
            let busy = on_processor().zip(start.1).map_or(took, |(end, start)| end - start);
            let said = match &outcome {
                Outcome::Reached(plan) => format!(
                    "worst {}, lift {}, touched {}, broken {}, accuracy {:.0e} mm",
                    plan.outcome.totals.worst_departure,
                    plan.outcome.totals.lift,
                    plan.outcome.totals.touched,
                    plan.outcome.broken.len(),
                    plan.accuracy.to_mm()
                ),
                Outcome::CannotBeDone(why) => why.words.join("; "),
                Outcome::Refused(faults) => format!("{faults:?}"),
            };
            println!(
                "  {name:24} {busy:8.3} s of processor, {took:8.3} s in all, \
                 {before:.0} MiB before, {:.0} at most: {said}",
                memory("VmHWM")
            );
        }
    }
}
