//! The frame as a stage of the chain, on houses whose answer is known in closed form.

mod frames;

use floorwright_engine::frame::{
    Carrying, FloorLoad, FrameRules, GivenFrame, Loads, PointLoad, Strength,
};
use floorwright_engine::ids::{BearerId, JoistId, PointId, RoomId, SetupId, SupportId};
use floorwright_engine::influence::InfluenceMethod;
use floorwright_engine::plan::{FrameChoice, FrameStage, Job, Plan, StageName, plan};
use floorwright_engine::settings::{Goal, Limits, Stock, TargetHeight};
use floorwright_engine::site::{Finish, Outline, Point, PointKind, Position, Room, Site, Support};
use floorwright_engine::survey::{
    Benchmark, Datum, Drift, Reading, ReadingSd, Setup, Survey, TestSettings,
};
use floorwright_engine::target::Outcome;
use floorwright_engine::units::{AreaLoad, ExactLength, Force, Length, Level, LineLoad, Stress};
use frames::{run, section, timber};

const LINE: f64 = 1500.0;
const BAY: f64 = 1800.0;

fn rules() -> FrameRules {
    let mut timber = timber(8000.0, 600.0);
    timber.strength = Some(Strength {
        bending: Stress::n_per_mm2(14.0),
        shear: Stress::n_per_mm2(2.0),
        across_grain: None,
    });
    FrameRules {
        bearers_run: Some(floorwright_engine::frame::Direction::X),
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
    }
}

/// Three by three supports at 1.8 m with a point over each, and points midway along the rows.
struct House {
    levels: [f64; 9],
    /// Level at x = 900 between the first two supports of the first row.
    midway: Option<f64>,
    gap: [f64; 9],
    room: (f64, f64),
    reading_sd: f64,
    given: GivenFrame,
}

impl House {
    fn new(levels: [f64; 9]) -> Self {
        Self {
            levels,
            midway: None,
            gap: [0.0; 9],
            room: (3600.0, 3600.0),
            reading_sd: 0.5,
            given: GivenFrame::default(),
        }
    }

    fn job(&self) -> Job {
        let at = |n: usize| Position::mm((n % 3) as f64 * BAY, (n / 3) as f64 * BAY);
        let mut points: Vec<(String, Position, f64)> =
            (0..9).map(|n| (format!("S{n}"), at(n), self.levels[n])).collect();
        points.extend(self.midway.map(|level| ("M".to_owned(), Position::mm(900.0, 0.0), level)));
        let reading = |point: &str, level: f64| Reading {
            point: PointId::new(point),
            value: ExactLength::from_mm(LINE - level).unwrap(),
            inverted: false,
            time: None,
            sd: None,
            distance: None,
            place: None,
        };
        let mut readings = vec![reading("BM", 0.0)];
        readings.extend(points.iter().map(|(id, _, level)| reading(id, *level)));
        let on_plan = points.iter().map(|(id, at, _)| Point {
            id: PointId::new(id.as_str()),
            at: Some(*at),
            kind: PointKind::Floor,
            room: None,
        });
        let mark =
            Point { id: PointId::new("BM"), at: None, kind: PointKind::Benchmark, room: None };
        let supports = (0..9).map(|n| Support {
            gap: Length::mm(self.gap[n]),
            ..frames::support(&format!("S{n}"), at(n).x.to_mm(), at(n).y.to_mm())
        });
        let (x, y) = self.room;
        let corners = [(0.0, 0.0), (x, 0.0), (x, y), (0.0, y)];
        let room = Room {
            id: RoomId::new("hall"),
            outline: Outline::new(corners.map(|(x, y)| Position::mm(x, y)).to_vec()).unwrap(),
            finish: Finish::Boards,
            deck: "main".to_owned(),
        };
        Job {
            site: Site::new(vec![room], on_plan.chain([mark]).collect(), supports.collect())
                .unwrap(),
            survey: Survey {
                datum: Datum::Benchmarks,
                benchmarks: vec![Benchmark {
                    point: PointId::new("BM"),
                    level: Level::DATUM,
                    sd: Length::ZERO,
                }],
                setups: vec![Setup {
                    id: SetupId::new("1"),
                    reading_sd: ReadingSd::Each(Length::mm(self.reading_sd)),
                    scale: 1.0,
                    drift: Drift::None,
                    readings,
                }],
                legs: vec![],
                tests: TestSettings::default(),
            },
            goal: Goal { height: TargetHeight::Number(Level::DATUM), ..Goal::default() },
            limits: Limits::default(),
            stock: Stock::default(),
            criteria: vec![],
            by_hand: vec![],
            frame: FrameChoice::Asked {
                given: Box::new(self.given.clone()),
                rules: Box::new(rules()),
            },
        }
    }
}

fn stage(plan: &Plan) -> &FrameStage {
    plan.frame.done().unwrap_or_else(|| panic!("{:?}", plan.frame.reasons()))
}

/// Bearers along x on each row of supports, and joists at 450 mm.
fn given() -> GivenFrame {
    let bearers = (0..3).map(|row| floorwright_engine::frame::Bearer {
        id: BearerId::new(format!("row {row}")),
        run: run(floorwright_engine::frame::Direction::X, f64::from(row) * BAY, 0.0, 2.0 * BAY),
        supports: (0..3).map(|n| SupportId::new(format!("S{}", row * 3 + n))).collect(),
        joints: vec![],
        section: section(75.0, 100.0),
        timber: timber(8000.0, 600.0),
        extra: LineLoad::ZERO,
    });
    let joists = (0..9).map(|n| floorwright_engine::frame::Joist {
        id: JoistId::new(format!("J{n}")),
        run: run(floorwright_engine::frame::Direction::Y, f64::from(n) * 450.0, 0.0, 2.0 * BAY),
        joints: vec![],
        section: section(50.0, 100.0),
        timber: timber(8000.0, 600.0),
        floor: "main".to_owned(),
    });
    GivenFrame {
        bearers: bearers.collect(),
        joists: joists.collect(),
        walls: Some(vec![]),
        ..GivenFrame::default()
    }
}

/// Weight by hand: 3.6 x 3.6 m at 0.5 kPa, 14.4 m of outer walls at 1.5 kN/m, three bearers and
/// nine joists of 3.6 m.
#[test]
fn a_grid_of_stumps_and_readings_is_enough_and_says_what_is_assumed() {
    let found = plan(&House::new([0.0; 9]).job());
    let stage = stage(&found);
    assert!(stage.proposed && !stage.frame.spec().assumed.is_empty());
    let own = (3.0 * 75.0 + 9.0 * 50.0) * 100.0 * 600.0 * 9.80665e-9 * 3600.0;
    let by_hand = 3600.0 * 3600.0 * 0.5e-3 + 14_400.0 * 1.5 + own;
    let total = stage.frame.total(Loads::DEAD).to_n();
    assert!((total - by_hand).abs() < 1.0, "{total} {by_hand}");
    let carried: Force = stage.today.supports.iter().map(|load| load.springy).sum();
    assert!((carried.to_n() - by_hand).abs() < 1.0);
    assert_eq!(stage.bare_floor_m2(&House::new([0.0; 9]).job()), 0.0);
    // On level seats nothing hangs on how much has set.
    for load in &stage.today.supports {
        assert!((load.springy - load.set).abs() < Force::n(1e-3), "{load:?}");
        assert_eq!(load.carrying, Carrying::Carries);
    }
    let lifting = found.lifting.done().unwrap();
    assert_eq!(lifting.influence.method(), InfluenceMethod::Frame);
}

/// A dip over the middle support: springy timber spans it, timber that has set lies in it.
#[test]
fn a_dip_is_a_range_of_loads_and_every_move_is_checked() {
    let mut levels = [0.0; 9];
    levels[4] = -20.0;
    let found = plan(&House::new(levels).job());
    let today = &stage(&found).today.supports[4];
    assert!(today.springy < today.set && today.range.least < today.range.most, "{today:?}");
    assert_ne!(today.carrying, Carrying::Carries);
    let on_frame = found.passes.done().unwrap().on_frame.as_ref().unwrap();
    let jack = on_frame.check.jacks.iter().find(|jack| jack.support.as_str() == "S4").unwrap();
    assert!(jack.most > jack.least && on_frame.check.rating_needed.unwrap() >= jack.most);
    let after = found.packing.done().unwrap().carried.as_ref().unwrap();
    assert!(after.supports.iter().all(|load| load.springy > Force::n(100.0)), "{after:?}");
}

/// Readings that are no better widen what a jack may have to push, where the timber springs.
#[test]
fn doubtful_readings_widen_the_force_at_a_jack() {
    let mut levels = [0.0; 9];
    levels[4] = -20.0;
    let widest = |sd: f64, set_share: (f64, f64)| {
        let mut house = House { reading_sd: sd, ..House::new(levels) };
        house.given.set_share = Some(set_share);
        let found = plan(&house.job());
        let check = &found.passes.done().unwrap().on_frame.as_ref().unwrap().check;
        check.jacks.iter().map(|jack| jack.most - jack.least).fold(Force::ZERO, Force::max)
    };
    let (good, bad) = (widest(0.3, (0.0, 0.0)), widest(3.0, (0.0, 0.0)));
    assert!(bad > good + Force::n(100.0), "{bad:?} {good:?}");
    // What has set lies on its seats whatever they were read to be.
    assert_eq!(widest(0.3, (1.0, 1.0)), widest(3.0, (1.0, 1.0)));
}

/// The floor midway stands 6 mm below both its supports: lifting takes none of it out.
#[test]
fn sag_between_supports_is_named_apart() {
    let found = plan(&House { midway: Some(-6.0), ..House::new([0.0; 9]) }.job());
    let lifting = found.lifting.done().unwrap();
    let [sag] = &lifting.between_supports[..] else { panic!("{:?}", lifting.between_supports) };
    assert_eq!(sag.point.as_str(), "M");
    assert!((sag.above.to_mm() + 6.0).abs() < 1e-6, "{sag:?}");
}

/// Where the bearers are given every support has to carry: the middle one of a given frame is not
/// left behind 30 mm below its neighbours, whatever is cheapest.
#[test]
fn given_bearers_have_every_support_carry() {
    let mut levels = [0.0; 9];
    levels[4] = -30.0;
    let mut job = House { given: given(), ..House::new(levels) }.job();
    job.goal.level_tolerance = Some(Length::mm(40.0));
    job.goal.prefer = floorwright_engine::settings::Preference::LeastLift;
    let lift_of = |job: &Job| {
        let found = plan(job);
        assert!(!stage(&found).proposed);
        match &found.lifting.done().unwrap().outcome {
            Outcome::Reached(plan) => plan.outcome.lifts[4].lift.to_mm(),
            other => panic!("{other:?}"),
        }
    };
    let carrying = lift_of(&job);
    job.goal.every_support_carries = Some(false);
    let free = lift_of(&job);
    assert!(free.abs() < 1e-3 && carrying > 1.0, "{free} {carrying}");
}

/// A frame of the builder's own that tips over is no ground for an order of work.
#[test]
fn a_given_frame_that_tips_stops_the_passes() {
    let mut given = given();
    for joist in &mut given.joists {
        joist.run.to = Length::mm(2.0 * BAY + 1500.0);
    }
    given.point_loads.push(PointLoad {
        name: "tank".to_owned(),
        at: Position::mm(BAY, 2.0 * BAY + 1500.0),
        load: Force::kn(60.0),
        source: "invented".to_owned(),
    });
    let mut levels = [0.0; 9];
    levels[4] = -10.0;
    let found = plan(&House { given, ..House::new(levels) }.job());
    let reasons = found.reasons(StageName::Frame);
    assert!(reasons[0].hint.as_ref().unwrap().contains("beyond the last support"), "{reasons:?}");
    assert!(found.passes.done().is_none());
}

#[test]
fn measured_air_that_the_frame_closes_is_told() {
    let mut gap = [0.0; 9];
    gap[4] = 2.0;
    let house = House { gap, ..House::new([0.0; 9]) };
    let found = plan(&house.job());
    let closed = stage(&found).gaps_closed(&house.job());
    assert_eq!(closed, [(SupportId::new("S4"), Length::mm(2.0))]);
    gap[4] = 60.0;
    let house = House { gap, ..House::new([0.0; 9]) };
    assert!(stage(&plan(&house.job())).gaps_closed(&house.job()).is_empty());
}

/// Half of a room of 36 x 72 m2 beyond the stumps: its joists end with the stumps.
#[test]
fn floor_that_no_joist_carries_is_told() {
    let house = House { room: (3600.0, 7200.0), given: given(), ..House::new([0.0; 9]) };
    let bare = stage(&plan(&house.job())).bare_floor_m2(&house.job());
    assert!((bare - 3.6 * 3.6).abs() < 1e-6, "{bare}");
}
