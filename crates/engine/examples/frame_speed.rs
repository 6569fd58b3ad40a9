//! Times the frame on invented houses that grow: `size stage seconds`, one line each.
//!
//! `cargo run --release --package floorwright-engine --example frame_speed [SUPPORTS…]`
//!
//! The house is the one of `bench/reference/README.md`, so that the figures pair with those of
//! that calculation.
#![expect(clippy::disallowed_methods, reason = "a benchmark reads the clock and its arguments")]

use floorwright_engine::frame::{
    Bearer, Contact, Direction, FloorLoad, Frame, FrameSpec, Joist, Loads, OnSeats, Run, Section,
    Timber,
};
use floorwright_engine::ids::{BearerId, JoistId, PointId, SupportId};
use floorwright_engine::packers::StackTable;
use floorwright_engine::passes::{FrameCase, FrameCases, SupportToLift, check, plan};
use floorwright_engine::settings::{Limits, Stock};
use floorwright_engine::site::{Position, Support};
use floorwright_engine::source::SourceStatus;
use floorwright_engine::target::{
    ExtraKind, ExtraRow, FloorPoint, Height, Outcome, Problem, SupportBounds, solve,
};
use floorwright_engine::units::{AreaLoad, Density, Force, Length, Level, LineLoad, Stress};
use std::hint::black_box;
use std::io::{self, Write};
use std::time::Instant;

/// Supports along and across.
const SIZES: [(usize, usize); 4] = [(9, 6), (20, 15), (40, 30), (125, 80)];

const ALONG: f64 = 1800.0;
const ACROSS: f64 = 1500.0;
const JOISTS: f64 = 450.0;

fn main() -> io::Result<()> {
    let asked: Vec<usize> = std::env::args().skip(1).filter_map(|n| n.parse().ok()).collect();
    let mut out = io::stdout();
    for (along, across) in SIZES {
        let n = along * across;
        if asked.is_empty() || asked.contains(&n) {
            time(&mut out, along, across)?;
        }
    }
    Ok(())
}

fn time(out: &mut impl Write, along: usize, across: usize) -> io::Result<()> {
    let n = along * across;
    let repeats = if n < 400 { 15 } else { 3 };
    let (supports, spec, places) = house(along, across);
    let build = || Frame::new(&supports, &spec, &places).expect("the invented house is sound");
    line(out, n, "influence", median(repeats, build))?;
    let frame = build();
    let seats: Vec<Length> = (0..n).map(|i| Length::mm(seat(i, along, across))).collect();
    let contact = || frame.contact(&seats, Loads::DEAD).expect("it stands");
    line(out, n, "contact", median(repeats, contact))?;
    let now = contact();
    let lifts: Vec<Length> =
        (0..n).map(|i| (-now.heights[i]).max(Length::ZERO).min(cap(i))).collect();
    if n <= 2000 {
        line(out, n, "jacks", median(repeats, || jacks(&frame, &seats, &lifts)))?;
        writeln!(out, "# {n} sum_of_jacks_N {:.4}", jacks(&frame, &seats, &lifts))?;
    }
    let problem = problem(&supports, &places, &frame, &now);
    line(out, n, "target", median(repeats.min(5), || solve(&problem)))?;
    let Outcome::Reached(target) = solve(&problem) else {
        return writeln!(out, "{n} passes skipped the target was not reached");
    };
    let sum: f64 = target.outcome.lifts.iter().map(|lift| lift.lift.to_mm()).sum();
    writeln!(out, "# {n} sum_of_lifts_mm {sum:.4}")?;
    let to_lift: Vec<SupportToLift> = supports
        .iter()
        .zip(&target.outcome.lifts)
        .enumerate()
        .map(|(i, (support, lift))| SupportToLift {
            id: support.id.clone(),
            at: support.at,
            seat: Level::DATUM + now.heights[i],
            gap: Length::ZERO,
            lift: lift.lift,
        })
        .collect();
    let stacks = StackTable::new(&Stock::default()).expect("the stock is sound");
    let limits = Limits::default();
    let lifts: Vec<f64> =
        target.outcome.lifts.iter().map(|lift| lift.lift.to_mm().max(0.0)).collect();
    let pairs = neighbours(along, across);
    line(out, n, "passes", median(repeats.min(3), || replayed(&frame, &now, &lifts, &pairs)))?;
    let found = replayed(&frame, &now, &lifts, &pairs);
    writeln!(out, "# {n} moves {}", found.moves)?;
    writeln!(out, "# {n} peak_jack_N {:.4}", found.jack)?;
    writeln!(out, "# {n} peak_slope_over {:.4}", found.over)?;
    // What the other calculation does not do: how far the timbers are bent.
    let fresh = Frame::new(&supports, &spec, &places).expect("the invented house is sound");
    let on_seats = OnSeats::new(&fresh, &seats, Loads::DEAD, None).expect("it stands");
    line(out, n, "moments", median(1, || on_seats.timbers()))?;
    let case = FrameCase { set_share: 0.0, loads: Loads::DEAD };
    let checked = || {
        let cases = FrameCases::of(&frame, &to_lift, &[case]).expect("all supports are known");
        let order = plan(&to_lift, &limits, &stacks).expect("the lifts are sound");
        check(&order, &cases, &limits)
    };
    line(out, n, "passes-with-stresses", median(repeats.min(3), checked))
}

/// What was met on the way.
struct Met {
    moves: usize,
    /// The largest force at a support just raised, in newtons.
    jack: f64,
    /// How far a slope went beyond its limit (a ratio).
    over: f64,
}

/// Neighbours on the lines of the grid, with their distance.
fn neighbours(along: usize, across: usize) -> Vec<(usize, usize, f64)> {
    let of = |i: usize| {
        let beside = (i % along + 1 < along).then_some((i, i + 1, ALONG));
        let behind = (i / along + 1 < across).then_some((i, i + along, ACROSS));
        beside.into_iter().chain(behind)
    };
    (0..along * across).flat_map(of).collect()
}

/// The order of work that the README states: a line sinks from the largest lift by 2.5 mm at a
/// time, and two supports at once come down to it, most left to do first.
fn water_line(lifts: &[f64]) -> Vec<Vec<(usize, f64)>> {
    let mut left = lifts.to_vec();
    let top = lifts.iter().copied().fold(0.0, f64::max);
    let mut moves = Vec::new();
    for step in 1..=2 * (top / 5.0 - 1e-9).ceil() as usize {
        let line = (top - 2.5 * step as f64).max(0.0);
        let mut moving: Vec<usize> =
            (0..lifts.len()).filter(|&i| left[i] > lifts[i].min(line) + 1e-9).collect();
        moving.sort_by(|&a, &b| left[b].total_cmp(&left[a]));
        for together in moving.chunks(2) {
            for &i in together {
                left[i] = lifts[i].min(line);
            }
            moves.push(together.iter().map(|&i| (i, lifts[i] - left[i])).collect());
        }
    }
    moves
}

/// Every move made on the frame, from bearers that lie snug.
fn replayed(frame: &Frame, now: &Contact, lifts: &[f64], pairs: &[(usize, usize, f64)]) -> Met {
    let today: Vec<f64> = now.heights.iter().map(|height| height.to_mm()).collect();
    let slope = |&(a, b, distance): &(usize, usize, f64), heights: &dyn Fn(usize) -> f64| {
        (heights(b) - heights(a)).abs() / distance
    };
    let at_end = |i: usize| today[i] + lifts[i];
    let limits: Vec<f64> = pairs
        .iter()
        .map(|pair| (1.0 / 300.0_f64).max(slope(pair, &|i| today[i])).max(slope(pair, &at_end)))
        .collect();
    let mut pairs_of = vec![Vec::new(); today.len()];
    for (pair, &(a, b, _)) in pairs.iter().enumerate() {
        pairs_of[a].push(pair);
        pairs_of[b].push(pair);
    }
    let mut seats = today.clone();
    let mut on = OnSeats::new(frame, &now.heights, Loads::DEAD, None).expect("it stands");
    on = on.on_the_way();
    let mut met = Met { moves: 0, jack: 0.0, over: 0.0 };
    for one in water_line(lifts) {
        for &(i, lift) in &one {
            seats[i] = today[i] + lift;
        }
        let raised: Vec<(usize, Length)> =
            one.iter().map(|&(i, _)| (i, Length::mm(seats[i]))).collect();
        on.set_seats(&raised).expect("it settles");
        met.moves += 1;
        for &(i, _) in &one {
            met.jack = met.jack.max(on.reaction(i).to_n());
            for &pair in &pairs_of[i] {
                met.over = met.over.max(slope(&pairs[pair], &|i| seats[i]) - limits[pair]);
            }
        }
        for &pair in on.take_moved().iter().flat_map(|movement| &pairs_of[movement.support]) {
            black_box(slope(&pairs[pair], &|i| on.height(i).to_mm()));
        }
        if met.moves.is_multiple_of(200) {
            on.refresh();
        }
    }
    met
}

/// The most that a support may be lifted; every seventeenth is short of room.
fn cap(i: usize) -> Length {
    Length::mm(if i % 17 == 3 { 20.0 } else { 150.0 })
}

/// Least squares to level zero, every point within 20 mm, every support carrying. The levels are
/// those of the frame on its seats, but for what its load bends.
fn problem(supports: &[Support], places: &[Position], frame: &Frame, now: &Contact) -> Problem {
    let rows: Vec<Vec<(usize, f64)>> = frame
        .places()
        .iter()
        .map(|row| row.as_ref().expect("the frame is under every place").terms.clone())
        .collect();
    let points = places.iter().zip(&rows).enumerate().map(|(i, (&at, row))| FloorPoint {
        id: PointId::new(format!("P{i}")),
        at,
        level: Level::DATUM + row.iter().map(|&(s, ratio)| now.heights[s] * ratio).sum::<Length>(),
        deck: String::new(),
    });
    let bounds = supports.iter().enumerate().map(|(i, support)| SupportBounds {
        id: support.id.clone(),
        at: support.at,
        lower: Length::ZERO,
        upper: cap(i),
        why: None,
    });
    let points: Vec<FloorPoint> = points.collect();
    let mut problem = Problem::new(points, bounds.collect(), rows, Height::At(Level::DATUM));
    problem.level_tolerance = Some(Length::mm(20.0));
    problem.extra = (0..supports.len())
        .map(|support| {
            let (per_mm, straight) = frame.reaction_row(support, Loads::DEAD);
            let today: f64 = per_mm.iter().map(|&(other, k)| k * now.heights[other].to_mm()).sum();
            ExtraRow {
                name: format!("support {} carries", supports[support].id),
                kind: ExtraKind::Carries { support, least: Force::ZERO },
                at_least: Some(-straight.to_n() - today),
                at_most: None,
                per_mm,
            }
        })
        .collect();
    problem
}

/// The force at each jack alone, at its full lift.
fn jacks(frame: &Frame, seats: &[Length], lifts: &[Length]) -> f64 {
    let start = OnSeats::new(frame, seats, Loads::DEAD, None).expect("it stands");
    let mut sum = 0.0;
    for (support, &lift) in lifts.iter().enumerate() {
        sum += start.force_alone(support, lift).expect("it settles").to_n();
    }
    sum
}

fn median<T>(repeats: usize, run: impl Fn() -> T) -> f64 {
    let mut times: Vec<f64> = (0..repeats)
        .map(|_| {
            let start = (Instant::now(), on_processor());
            black_box(run());
            let took = start.0.elapsed().as_secs_f64();
            // The system counts in ticks: what is short has to be taken from the clock.
            let busy = on_processor().zip(start.1).map_or(took, |(end, start)| end - start);
            if busy > 0.02 { busy } else { took }
        })
        .collect();
    times.sort_by(f64::total_cmp);
    times[repeats / 2]
}

/// Seconds that this program was on a processor, where the system tells: the clock counts what
/// else the machine does.
fn on_processor() -> Option<f64> {
    let told = std::fs::read_to_string("/proc/self/schedstat").ok()?;
    Some(told.split_whitespace().next()?.parse::<f64>().ok()? * 1e-9)
}

fn line(out: &mut impl Write, size: usize, stage: &str, seconds: f64) -> io::Result<()> {
    writeln!(out, "{size} {stage} {seconds:.6}")
}

/// Seat height of a support: a dish, and a roughness from the golden ratio.
fn seat(i: usize, along: usize, across: usize) -> f64 {
    let (x, y) = ((i % along) as f64 / along as f64, (i / along) as f64 / across as f64);
    let rough = (i as f64 * 0.618_034).fract();
    -30.0 * (x * (1.0 - x) + y * (1.0 - y)) * 2.0 - 12.0 * rough
}

fn house(along: usize, across: usize) -> (Vec<Support>, FrameSpec, Vec<Position>) {
    let at = |i: usize| Position::mm((i % along) as f64 * ALONG, (i / along) as f64 * ACROSS);
    let supports: Vec<Support> = (0..along * across)
        .map(|i| Support {
            id: SupportId::new(format!("S{i}")),
            at: at(i),
            gap: Length::ZERO,
            max_lift: None,
            fixed: None,
            may_lower: Length::ZERO,
        })
        .collect();
    let (x1, y1) = ((along - 1) as f64 * ALONG, (across - 1) as f64 * ACROSS);
    let run = |direction, at: f64, to: f64| Run {
        direction,
        at: Length::mm(at),
        from: Length::ZERO,
        to: Length::mm(to),
    };
    let section =
        |breadth, depth| Section { breadth: Length::mm(breadth), depth: Length::mm(depth) };
    let timber = Timber {
        name: "invented".to_owned(),
        stiffness: Stress::n_per_mm2(8000.0),
        density: Density::kg_per_m3(600.0),
        strength: None,
        source: "invented".to_owned(),
        status: SourceStatus::Agreed,
    };
    let bearers = (0..across).map(|k| Bearer {
        id: BearerId::new(format!("B{k}")),
        run: run(Direction::X, k as f64 * ACROSS, x1),
        supports: supports[k * along..(k + 1) * along].iter().map(|s| s.id.clone()).collect(),
        joints: Vec::new(),
        section: section(75.0, 100.0),
        timber: timber.clone(),
        extra: LineLoad::ZERO,
    });
    let n_joists = (x1 / JOISTS) as usize + 1;
    let joists = (0..n_joists).map(|j| Joist {
        id: JoistId::new(format!("J{j}")),
        run: run(Direction::Y, j as f64 * JOISTS, y1),
        joints: Vec::new(),
        section: section(50.0, 100.0),
        timber: timber.clone(),
        floor: "main".to_owned(),
    });
    let places = (0..across)
        .flat_map(|k| (0..2 * along - 1).map(move |m| (m, k)))
        .map(|(m, k)| Position::mm(m as f64 * ALONG / 2.0, k as f64 * ACROSS))
        .collect();
    let spec = FrameSpec {
        bearers: bearers.collect(),
        joists: joists.collect(),
        walls: Vec::new(),
        point_loads: Vec::new(),
        floor_load: FloorLoad {
            dead: AreaLoad::kpa(0.5),
            live: AreaLoad::kpa(1.5),
            source: "invented".to_owned(),
        },
        seat_length: Length::mm(100.0),
        load_doubt: 0.25,
        set_share: (0.0, 1.0),
        assumed: Vec::new(),
    };
    (supports, spec, places)
}
