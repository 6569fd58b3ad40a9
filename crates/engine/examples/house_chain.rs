//! Times the whole chain, readings to passes, on invented houses of four sizes.
//!
//! `cargo run --release --package floorwright-engine --example house_chain`
//!
//! Supports stand on a grid; floor points lie over each support and midway to the next. The floor
//! is dished and rough, read in overlapping patches of about six metres, with noise of half a
//! millimetre and one planted misreading. Stages that can be called by themselves are timed by
//! themselves; the whole is timed as a program calls it.
#![expect(clippy::disallowed_methods, reason = "a benchmark reads the clock")]

use floorwright_engine::frame::{FloorLoad, FrameRules, Section, Strength, Timber};
use floorwright_engine::ids::{PointId, RoomId, SetupId, SupportId};
use floorwright_engine::influence::Influence;
use floorwright_engine::packers::{StackTable, buy};
use floorwright_engine::passes::{self, SupportToLift};
use floorwright_engine::plan::{FrameChoice, Job, LiftingStage, plan};
use floorwright_engine::settings::{Goal, Limits, Preference, Stock, TargetHeight};
use floorwright_engine::site::{Finish, Outline, Point, PointKind, Position, Room, Site, Support};
use floorwright_engine::source::SourceStatus;
use floorwright_engine::surface::Surface;
use floorwright_engine::survey::{
    Benchmark, Datum, Drift, Reading, ReadingSd, Setup, Survey, reduce,
};
use floorwright_engine::units::{AreaLoad, Density, ExactLength, Length, Level, LineLoad, Stress};
use std::hint::black_box;
use std::io::{self, Write};
use std::time::Instant;

/// Bays between supports, across and along.
const BAY_MM: (f64, f64) = (1800.0, 1500.0);

/// Side of the patch that is read from one setup.
const PATCH_MM: f64 = 6000.0;

/// Points this close outside a patch are read from it too, which ties the setups together.
const OVERLAP_MM: f64 = 500.0;

fn main() -> io::Result<()> {
    let mut out = io::stdout();
    let mut before: Option<(usize, f64)> = None;
    let mut framed_before = None;
    for (across, along, repeats) in [(9, 6, 31), (20, 15, 11), (40, 30, 5), (100, 100, 1)] {
        let job = house(across, along, TargetHeight::Highest);
        let n_readings: usize = job.survey.setups.iter().map(|setup| setup.readings.len()).sum();
        let n_supports = across * along;
        writeln!(
            out,
            "{n_supports} supports, {} points, {n_readings} readings from {} setups, median of {repeats}",
            job.site.points().len(),
            job.survey.setups.len(),
        )?;
        let whole = median(repeats, || plan(&job));
        let growth = before.map_or(String::new(), |(n_before, took)| {
            let power = (whole / took).ln() / (n_supports as f64 / n_before as f64).ln();
            format!(", grows as n^{power:.2}")
        });
        line(&mut out, &format!("whole chain{growth}"), whole)?;
        before = Some((n_supports, whole));
        stages(&mut out, &job, repeats)?;
        let framed = with_frame(house(across, along, TargetHeight::Highest));
        let took = median(repeats.min(7), || plan(&framed));
        let growth = framed_before.map_or(String::new(), |(n_before, before): (usize, f64)| {
            let power = (took / before).ln() / (n_supports as f64 / n_before as f64).ln();
            format!(", grows as n^{power:.2}")
        });
        line(&mut out, &format!("whole chain with its frame{growth}"), took)?;
        framed_before = Some((n_supports, took));
        let free = house(across, along, TargetHeight::Free);
        line(&mut out, "whole chain, free height", median(repeats, || plan(&free)))?;
        if n_supports > 2000 {
            continue;
        }
        for (name, prefer) in [
            ("smallest largest", Preference::SmallestLargest),
            ("least lift", Preference::LeastLift),
            ("fewest supports", Preference::FewestSupports),
        ] {
            let mut job = house(across, along, TargetHeight::Highest);
            job.goal.prefer = prefer;
            job.goal.level_tolerance = Some(Length::mm(25.0));
            let took = median(1, || plan(&job));
            line(&mut out, &format!("whole chain, {name}, once"), took)?;
        }
    }
    Ok(())
}

/// The same job with a frame that is proposed from its supports.
fn with_frame(mut job: Job) -> Job {
    let section =
        |breadth, depth| Section { breadth: Length::mm(breadth), depth: Length::mm(depth) };
    let timber = Timber {
        name: "invented".to_owned(),
        stiffness: Stress::n_per_mm2(8000.0),
        density: Density::kg_per_m3(600.0),
        strength: Some(Strength {
            bending: Stress::n_per_mm2(14.0),
            shear: Stress::n_per_mm2(2.0),
            across_grain: None,
        }),
        source: "invented".to_owned(),
        status: SourceStatus::Agreed,
    };
    let rules = FrameRules {
        bearers_run: None,
        row_width: Length::mm(150.0),
        longest_span: Length::mm(3600.0),
        longest_overhang: Length::mm(600.0),
        bearer: section(75.0, 100.0),
        joist: section(50.0, 100.0),
        joist_spacing: Length::mm(450.0),
        bearer_timber: timber.clone(),
        joist_timber: timber,
        outer_wall: LineLoad::kn_per_m(1.5),
        inner_wall: LineLoad::kn_per_m(1.0),
        floor_load: FloorLoad {
            dead: AreaLoad::kpa(0.5),
            live: AreaLoad::kpa(1.5),
            source: "invented".to_owned(),
        },
        seat_length: Length::mm(100.0),
        load_doubt: 0.25,
        set_share: (0.0, 1.0),
        source: "invented".to_owned(),
    };
    job.frame = FrameChoice::Asked { given: Box::default(), rules: Box::new(rules) };
    job
}

/// The stages that can be called by themselves, each on what the stages before it found.
fn stages(out: &mut impl Write, job: &Job, repeats: usize) -> io::Result<()> {
    let found = plan(job);
    let levels = &found.reduction.levels;
    line(out, "levels", median(repeats, || reduce(&job.survey)))?;
    line(out, "surface", median(repeats, || Surface::new(&job.site, levels)))?;
    let surface = Surface::new(&job.site, levels).expect("the invented house is sound");
    line(out, "where to read next", median(repeats, || surface.suggest_readings(5)))?;
    line(out, "influence", median(repeats, || Influence::by_interpolation(&job.site)))?;
    let lifting = found.lifting.done().expect("the invented house is sound");
    let supports = to_lift(job, lifting);
    let table = StackTable::new(&job.stock).expect("the default stock is sound");
    let order = || passes::plan(&supports, &job.limits, &table);
    line(out, "passes", median(repeats, order))?;
    let lifts = lifting.lifts().expect("the goal can be met");
    line(out, "what to buy", median(repeats, || buy(&table, &lifts)))
}

fn line(out: &mut impl Write, what: &str, seconds: f64) -> io::Result<()> {
    writeln!(out, "  {what:42} {:9.2} ms", seconds * 1e3)
}

/// The middle one of so many times, in seconds.
fn median<T>(repeats: usize, mut work: impl FnMut() -> T) -> f64 {
    let mut times: Vec<f64> = (0..repeats)
        .map(|_| {
            let start = Instant::now();
            black_box(work());
            start.elapsed().as_secs_f64()
        })
        .collect();
    times.sort_by(f64::total_cmp);
    times[times.len() / 2]
}

fn to_lift(job: &Job, stage: &LiftingStage) -> Vec<SupportToLift> {
    let lifts = stage.lifts().expect("the goal can be met");
    let supports = job.site.supports().iter().zip(&stage.supports).zip(lifts);
    supports
        .map(|((support, facts), lift)| SupportToLift {
            id: support.id.clone(),
            at: support.at,
            seat: facts.floor.expect("the floor over each support was read"),
            gap: support.gap,
            lift,
        })
        .collect()
}

/// A house on so many supports, one room to the whole of it.
fn house(across: usize, along: usize, height: TargetHeight) -> Job {
    let places = floor_places(across, along);
    let (wide, deep) = (BAY_MM.0 * (across - 1) as f64, BAY_MM.1 * (along - 1) as f64);
    let corners = [(-200.0, -200.0), (wide + 200.0, -200.0), (wide + 200.0, deep + 200.0)];
    let corners = corners.into_iter().chain([(-200.0, deep + 200.0)]);
    let outline = Outline::new(corners.map(|(x, y)| Position::mm(x, y)).collect());
    let room = Room {
        id: RoomId::new("house"),
        outline: outline.expect("a rectangle is an outline"),
        finish: Finish::Boards,
        deck: "house".to_owned(),
    };
    let points = places.iter().enumerate().map(|(idx, &at)| Point {
        id: name(idx),
        at: Some(at),
        kind: PointKind::Floor,
        room: None,
    });
    let supports = (0..across * along).map(|idx| Support {
        id: SupportId::new(format!("S{idx}")),
        at: Position::mm((idx % across) as f64 * BAY_MM.0, (idx / across) as f64 * BAY_MM.1),
        gap: Length::mm(if idx % 11 == 5 { 4.0 } else { 0.0 }),
        max_lift: (idx % 17 == 3).then(|| Length::mm(20.0)),
        fixed: None,
        may_lower: Length::ZERO,
    });
    Job {
        site: Site::new(vec![room], points.collect(), supports.collect())
            .expect("the invented house is sound"),
        survey: survey(&places, (wide, deep)),
        goal: Goal { height, ..Goal::default() },
        limits: Limits::default(),
        stock: Stock::default(),
        criteria: vec![],
        by_hand: vec![],
        frame: FrameChoice::Off { why: "interpolation is what is looked at".to_owned() },
    }
}

fn name(idx: usize) -> PointId {
    PointId::new(format!("P{idx:04}"))
}

/// Over each support, and midway to the next one across and along.
fn floor_places(across: usize, along: usize) -> Vec<Position> {
    let half_bays =
        (0..2 * along - 1).flat_map(|row| (0..2 * across - 1).map(move |col| (col, row)));
    half_bays
        .filter(|(col, row)| col % 2 == 0 || row % 2 == 0)
        .map(|(col, row)| Position::mm(col as f64 * BAY_MM.0 / 2.0, row as f64 * BAY_MM.1 / 2.0))
        .collect()
}

fn survey(places: &[Position], (wide, deep): (f64, f64)) -> Survey {
    let mut noise = Noise(2_463_534_242);
    let mut setups = Vec::new();
    let count = |extent: f64| (extent / PATCH_MM).ceil().max(1.0) as usize;
    let (n_across, n_along) = (count(wide), count(deep));
    let (step_x, step_y) = (wide / n_across as f64, deep / n_along as f64);
    let within = |value: f64, patch: usize, step: f64| {
        value >= patch as f64 * step - OVERLAP_MM && value <= (patch + 1) as f64 * step + OVERLAP_MM
    };
    for patch in 0..n_across * n_along {
        let line = 1_300_000_000 + noise.nm(150_000_000);
        let read = places.iter().enumerate().filter(|(_, at)| {
            within(at.x.to_mm(), patch % n_across, step_x)
                && within(at.y.to_mm(), patch / n_across, step_y)
        });
        let readings = read.map(|(idx, &at)| {
            let value = line - level_nm(idx, at, (wide, deep)) + noise.nm(800_000);
            Reading {
                point: name(idx),
                value: ExactLength::nm(value / 1_000_000 * 1_000_000),
                inverted: false,
                time: None,
                sd: None,
                distance: None,
                place: None,
            }
        });
        setups.push(Setup {
            id: SetupId::new(format!("{patch}")),
            reading_sd: ReadingSd::Each(Length::mm(0.7)),
            scale: 1.0,
            drift: Drift::None,
            readings: readings.collect(),
        });
    }
    let planted = &mut setups[0].readings[12].value;
    *planted = ExactLength::nm(planted.to_nm() + 30_000_000);
    let mark = Benchmark { point: name(0), level: Level::mm(0.0), sd: Length::ZERO };
    Survey { datum: Datum::Benchmarks, benchmarks: vec![mark], setups, ..Survey::default() }
}

/// Dished by 30 mm in the middle of the house, and rough by a few millimetres.
fn level_nm(idx: usize, at: Position, (wide, deep): (f64, f64)) -> i64 {
    let (x, y) = (at.x.to_mm() / wide, at.y.to_mm() / deep);
    let rough = (idx as f64 * 0.618_034).fract();
    ((-60.0 * (x * (1.0 - x) + y * (1.0 - y)) - 4.0 * rough) * 1e6) as i64
}

/// Even noise that is the same on every run.
struct Noise(u64);

impl Noise {
    /// Between minus and plus `most` nanometres.
    fn nm(&mut self, most: i64) -> i64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 11) as i64 % (2 * most + 1) - most
    }
}
