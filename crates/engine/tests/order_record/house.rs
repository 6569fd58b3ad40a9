//! 3 by 3 supports at 1.8 m with a point over each, read from one setup that also reads a
//! benchmark.

use floorwright_engine::ids::{PointId, SetupId, SupportId};
use floorwright_engine::plan::{FrameChoice, Job};
use floorwright_engine::settings::{Goal, Limits, Stock, TargetHeight};
use floorwright_engine::site::{Point, PointKind, Position, Site, Support};
use floorwright_engine::survey::{
    Benchmark, Datum, Drift, Reading, ReadingSd, Setup, Survey, TestSettings,
};
use floorwright_engine::units::{ExactLength, Length, Level};

/// The supports and the points over them.
pub const NAMES: [&str; 9] = ["A1", "A2", "A3", "B1", "B2", "B3", "C1", "C2", "C3"];

/// Height of the line of sight.
const LINE: f64 = 1500.0;

/// A setup that reads the benchmark at 0 and every point at these levels.
pub fn setup(id: &str, levels: [f64; 9], benchmark: f64) -> Setup {
    let reading = |point: &str, level: f64| Reading {
        point: PointId::new(point),
        value: ExactLength::from_mm(LINE - level).unwrap(),
        inverted: false,
        time: None,
        sd: None,
        distance: None,
        place: None,
    };
    let floor = NAMES.iter().zip(levels).map(|(point, level)| reading(point, level));
    Setup {
        id: SetupId::new(id),
        reading_sd: ReadingSd::Each(Length::mm(1.0)),
        scale: 1.0,
        drift: Drift::None,
        readings: std::iter::once(reading("BM", benchmark)).chain(floor).collect(),
    }
}

/// The house with the floor at these levels, to be brought to 0.
pub fn job(levels: [f64; 9]) -> Job {
    let place = |n: usize| Position::mm((n % 3) as f64 * 1800.0, (n / 3) as f64 * 1800.0);
    let floor = NAMES.iter().enumerate().map(|(n, id)| Point {
        id: PointId::new(*id),
        at: Some(place(n)),
        kind: PointKind::Floor,
        room: None,
    });
    let benchmark =
        Point { id: PointId::new("BM"), at: None, kind: PointKind::Benchmark, room: None };
    let supports = NAMES.iter().enumerate().map(|(n, id)| Support {
        id: SupportId::new(*id),
        at: place(n),
        gap: Length::ZERO,
        max_lift: None,
        fixed: None,
        may_lower: Length::ZERO,
    });
    Job {
        site: Site::new(vec![], floor.chain([benchmark]).collect(), supports.collect()).unwrap(),
        survey: Survey {
            datum: Datum::Benchmarks,
            benchmarks: vec![Benchmark {
                point: PointId::new("BM"),
                level: Level::DATUM,
                sd: Length::ZERO,
            }],
            setups: vec![setup("first", levels, 0.0)],
            legs: vec![],
            tests: TestSettings::default(),
        },
        goal: Goal { height: TargetHeight::Number(Level::DATUM), ..Goal::default() },
        limits: Limits::default(),
        stock: Stock::default(),
        criteria: vec![],
        by_hand: vec![],
        frame: FrameChoice::Off { why: "interpolation is what is looked at".to_owned() },
    }
}
