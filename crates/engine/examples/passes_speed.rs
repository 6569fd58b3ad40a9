//! How long it takes to check every move on the frame, for floors of three sizes.
//!
//! `cargo run --release --example passes_speed [supports across, supports along]`. The floors are
//! invented: a dip with some roughness, bearers on a grid of supports, joists across them.
#![expect(clippy::print_stdout, reason = "an example reports on standard output")]
#![expect(clippy::disallowed_methods, reason = "a benchmark reads the clock")]

use floorwright_engine::frame::{
    Bearer, Direction, FloorLoad, Frame, FrameSpec, Joist, Loads, Run, Section, Strength, Timber,
};
use floorwright_engine::ids::{BearerId, JoistId, SupportId};
use floorwright_engine::packers::StackTable;
use floorwright_engine::passes::{
    FrameCases, SupportToLift, check, one_at_a_time_on_frame, plan, plan_with_frame,
};
use floorwright_engine::settings::{Limits, Stock};
use floorwright_engine::site::{Position, Support};
use floorwright_engine::source::SourceStatus;
use floorwright_engine::units::{AreaLoad, Density, Length, Level, LineLoad, Stress};
use std::time::Instant;

const SPAN: f64 = 1800.0;
const ROW: f64 = 1500.0;

fn timber() -> Timber {
    Timber {
        name: "invented".to_owned(),
        stiffness: Stress::n_per_mm2(8000.0),
        density: Density::kg_per_m3(600.0),
        strength: Some(Strength {
            bending: Stress::n_per_mm2(20.0),
            shear: Stress::n_per_mm2(2.0),
            across_grain: None,
        }),
        source: "invented".to_owned(),
        status: SourceStatus::Agreed,
    }
}

fn section(breadth: f64, depth: f64) -> Section {
    Section { breadth: Length::mm(breadth), depth: Length::mm(depth) }
}

fn run(direction: Direction, at: f64, to: f64) -> Run {
    Run { direction, at: Length::mm(at), from: Length::ZERO, to: Length::mm(to) }
}

/// Numbers between 0 and 1 that look random and are the same every time.
fn rough(at: usize) -> f64 {
    let mut x = (at as u64 + 1).wrapping_mul(0x9E37_79B9_7F4A_7C15);
    x ^= x >> 31;
    x = x.wrapping_mul(0xBF58_476D_1CE4_E5B9);
    (x >> 40) as f64 / f64::from(1 << 24)
}

fn invented(across: usize, along: usize) -> (Vec<Support>, FrameSpec, Vec<SupportToLift>) {
    let id = |row: usize, column: usize| SupportId::new(format!("S{row}-{column}"));
    let (length, width) = ((across - 1) as f64 * SPAN, (along - 1) as f64 * ROW);
    let mut supports = Vec::new();
    let mut to_lift = Vec::new();
    for row in 0..along {
        for column in 0..across {
            let at = Position::mm(column as f64 * SPAN, row as f64 * ROW);
            let dip = (std::f64::consts::PI * column as f64 / across as f64).sin()
                * (std::f64::consts::PI * row as f64 / along as f64).sin();
            let lift = 30.0 * dip * dip + 10.0 * rough(row * across + column);
            supports.push(Support {
                id: id(row, column),
                at,
                gap: Length::ZERO,
                max_lift: None,
                fixed: None,
                may_lower: Length::ZERO,
            });
            to_lift.push(SupportToLift {
                id: id(row, column),
                at,
                seat: Level::mm(-lift),
                gap: Length::ZERO,
                lift: Length::mm(lift),
            });
        }
    }
    let bearers = (0..along).map(|row| Bearer {
        id: BearerId::new(format!("B{row}")),
        run: run(Direction::X, row as f64 * ROW, length),
        supports: (0..across).map(|column| id(row, column)).collect(),
        joints: Vec::new(),
        section: section(100.0, 125.0),
        timber: timber(),
        extra: LineLoad::ZERO,
    });
    let joists = (0..=(length / 450.0) as usize).map(|joist| Joist {
        id: JoistId::new(format!("J{joist}")),
        run: run(Direction::Y, joist as f64 * 450.0, width),
        joints: Vec::new(),
        section: section(50.0, 100.0),
        timber: timber(),
        floor: "main".to_owned(),
    });
    let spec = FrameSpec {
        bearers: bearers.collect(),
        joists: joists.collect(),
        walls: Vec::new(),
        point_loads: Vec::new(),
        floor_load: FloorLoad {
            dead: AreaLoad::kpa(0.6),
            live: AreaLoad::kpa(1.5),
            source: "invented".to_owned(),
        },
        seat_length: Length::mm(100.0),
        load_doubt: 0.25,
        set_share: (0.0, 1.0),
        assumed: Vec::new(),
    };
    (supports, spec, to_lift)
}

fn timed<T>(stage: &str, work: impl FnOnce() -> T) -> T {
    let start = Instant::now();
    let made = work();
    println!("  {stage:24} {:10.4} s", start.elapsed().as_secs_f64());
    made
}

fn measure(across: usize, along: usize) {
    println!("{} supports", across * along);
    let (supports, spec, to_lift) = invented(across, along);
    let limits = Limits::default();
    let stacks = StackTable::new(&Stock::default()).expect("the default stock is sound");
    let frame = timed("frame", || Frame::new(&supports, &spec, &[])).expect("a sound frame");
    let cases = timed("today, four cases", || FrameCases::new(&frame, &to_lift, Loads::DEAD))
        .expect("today settles");
    let passes = timed("plan by seats", || plan(&to_lift, &limits, &stacks)).expect("a plan");
    let checked = timed("check every move", || check(&passes, &cases, &limits));
    let one = timed("one at a time", || one_at_a_time_on_frame(&to_lift, &passes, &cases, &limits));
    let planned =
        timed("plan, check, compare", || plan_with_frame(&to_lift, &limits, &stacks, &cases))
            .expect("a plan");
    println!("  {} passes, {} moves", passes.passes.len(), passes.this_way.moves);
    println!(
        "  jack {:?}, rating {:?}, one at a time {:?}",
        checked.peaks.jack.map(|jack| (jack.least.to_string(), jack.most.to_string())),
        checked.rating_needed.map(|force| force.to_string()),
        one.peaks.jack.map(|jack| jack.most.to_string()),
    );
    println!(
        "  {} lose contact, {} timbers end bent, steps tried {}",
        checked.peaks.lost_contact,
        checked.bent_at_end.len(),
        planned.tried.len()
    );
    for tried in &planned.tried {
        let said = tried.stop.as_ref().map_or("keeps every limit".to_owned(), ToString::to_string);
        println!("  step {}: {said}", tried.step);
    }
}

fn main() {
    let given: Vec<usize> = std::env::args().skip(1).filter_map(|n| n.parse().ok()).collect();
    match given[..] {
        [across, along] => measure(across.max(2), along.max(2)),
        _ => [(9, 6), (40, 30)].into_iter().for_each(|(across, along)| measure(across, along)),
    }
}
