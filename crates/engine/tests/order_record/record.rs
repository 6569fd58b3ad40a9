//! Predicted against measured movement, by hand and by many trials.

use crate::house::{NAMES, job, setup};
use floorwright_engine::ids::SupportId;
use floorwright_engine::packers::Choice;
use floorwright_engine::plan::{Job, Stage, plan, survey};
use floorwright_engine::record::{
    Comparison, DonePass, Finding, Followed, Lifted, Record, RecordSettings, Resurvey, Since,
    SupportMovement, WorkDone, compare, guards_after, record,
};
use floorwright_engine::settings::{Limit, TargetHeight};
use floorwright_engine::units::{Length, Level};

pub fn pass(number: u32, lifts: &[(&str, f64)]) -> DonePass {
    let lifted = lifts.iter().map(|&(support, lift)| Lifted {
        support: SupportId::new(support),
        lift: Length::mm(lift),
        packers: None,
    });
    DonePass { number, lifted: lifted.collect(), ..DonePass::default() }
}

pub fn again(after_pass: u32, levels: [f64; 9], benchmark: f64) -> Resurvey {
    Resurvey { after_pass, setups: vec![setup("again", levels, benchmark)] }
}

pub fn of(job: &Job, done: &WorkDone) -> Record {
    match record(job, &plan(job), done, &RecordSettings::default()) {
        Stage::Done(record) => record,
        other => panic!("{other:?}"),
    }
}

fn over<'a>(step: &'a Comparison, support: &str) -> &'a SupportMovement {
    step.supports.iter().find(|moved| moved.support.as_str() == support).unwrap()
}

/// The floor as it is at the start.
const SUNK: [f64; 9] = [-20.0, 0.0, 0.0, 0.0, -20.0, 0.0, 0.0, 0.0, -20.0];

fn raised(levels: [f64; 9], by: &[(&str, f64)]) -> [f64; 9] {
    let mut levels = levels;
    for (name, lift) in by {
        levels[NAMES.iter().position(|known| known == name).unwrap()] += lift;
    }
    levels
}

/// Closed form. In each survey point and benchmark are read once, each to 1 mm, so a movement has
/// the variance 4; a lift is measured to 1 mm; the difference has the variance 5.
#[test]
fn uncertainties_of_a_movement_add_up_as_by_hand() {
    let lifts = [("B2", 8.0)];
    let done = WorkDone {
        passes: vec![pass(1, &lifts)],
        again: vec![again(1, raised(SUNK, &lifts), 0.0)],
    };
    let mut job = job(SUNK);
    // How well the benchmark is known drops out of every movement.
    for benchmark_sd in [0.0, 50.0] {
        job.survey.benchmarks[0].sd = Length::mm(benchmark_sd);
        let record = of(&job, &done);
        assert_eq!(record.steps.len(), 1);
        assert_eq!((record.steps[0].since, record.steps[0].after_pass), (Since::Start, 1));
        let found = over(&record.steps[0], "B2").difference.unwrap();
        assert!((found.predicted.to_mm() - 8.0).abs() < 1e-6, "{found:?}");
        assert!((found.measured.to_mm() - 8.0).abs() < 1e-6, "{found:?}");
        assert!((found.sd_measured.to_mm() - 2.0).abs() < 1e-6, "{found:?}");
        assert!((found.sd_predicted.to_mm() - 1.0).abs() < 1e-6, "{found:?}");
        assert!((found.sd.to_mm() - 5.0_f64.sqrt()).abs() < 1e-6, "{found:?}");
        let untouched = over(&record.steps[0], "A2").difference.unwrap();
        assert_eq!(untouched.followed, Followed::AsPredicted);
        assert!((untouched.sd.to_mm() - 2.0).abs() < 1e-6, "{untouched:?}");
    }
}

/// The instrument stands elsewhere each time: the benchmark carries the height over.
#[test]
fn another_line_of_sight_is_no_movement() {
    let mut again = again(1, SUNK, 0.0);
    for reading in &mut again.setups[0].readings {
        let moved = reading.value.to_length() + Length::mm(137.0);
        reading.value = floorwright_engine::units::ExactLength::from_mm(moved.to_mm()).unwrap();
    }
    let done = WorkDone { passes: vec![pass(1, &[])], again: vec![again] };
    let record = of(&job(SUNK), &done);
    for moved in &record.steps[0].supports {
        assert!(moved.difference.unwrap().measured.abs() < Length::mm(1e-6));
    }
}

/// Each step counts from the survey before it; the whole counts from the start.
#[test]
fn steps_follow_one_another_and_the_whole_is_their_sum() {
    let (first, second) = ([("A1", 5.0), ("B2", 5.0)], [("A1", 5.0), ("C3", 7.0)]);
    let after_first = raised(SUNK, &first);
    let done = WorkDone {
        passes: vec![pass(1, &first), pass(2, &second)],
        again: vec![again(1, after_first, 3.0), again(2, raised(after_first, &second), -4.0)],
    };
    // The staff on the benchmark was read 3 mm high and 4 mm low: so the floor seems to move.
    let record = of(&job(SUNK), &done);
    let measured =
        |step: &Comparison, support: &str| over(step, support).difference.unwrap().measured.to_mm();
    assert_eq!(record.steps[1].since, Since::Pass(1));
    assert!((measured(&record.steps[0], "A1") - 2.0).abs() < 1e-6);
    assert!((measured(&record.steps[1], "A1") - 12.0).abs() < 1e-6);
    let whole = record.whole.as_ref().unwrap();
    assert!((measured(whole, "A1") - 14.0).abs() < 1e-6);
    assert_eq!(over(whole, "A1").lifted, Length::mm(10.0));
    // Lifted twice, measured twice.
    let sd = over(whole, "A1").difference.unwrap().sd_predicted;
    assert!((sd.to_mm() - 2.0_f64.sqrt()).abs() < 1e-6, "{sd}");
}

#[test]
fn a_support_whose_floor_did_not_follow_is_called_out_and_the_others_are_not() {
    let lifts = [("A1", 15.0), ("B2", 15.0), ("C3", 15.0)];
    let followed = raised(SUNK, &[("A1", 15.0), ("B2", 1.0), ("C3", 15.0)]);
    let done = WorkDone { passes: vec![pass(1, &lifts)], again: vec![again(1, followed, 0.0)] };
    let record = of(&job(SUNK), &done);
    let behind: Vec<&str> =
        record.did_not_follow().iter().map(|moved| moved.support.as_str()).collect();
    assert_eq!(behind, ["B2"]);
    let progress = record.supports.iter().find(|it| it.support.as_str() == "B2").unwrap();
    assert_eq!(progress.fell_behind, Some(1));
    // Jacked again, and this time it came.
    let lifts_again = [("B2", 14.0)];
    let mut done = done;
    done.passes.push(pass(2, &lifts_again));
    done.again.push(again(2, raised(followed, &lifts_again), 0.0));
    assert!(of(&job(SUNK), &done).did_not_follow().is_empty());
}

/// Closed form, with the variances of the test above: twice 2 for the two levels over the benchmark, 1 for each
/// pass that lifted there, and z(0.99) = 2.326348 of any table of the normal distribution.
#[test]
fn how_far_a_level_after_passes_may_be_off_as_by_hand() {
    let mut job = job(SUNK);
    for benchmark_sd in [0.0, 50.0] {
        job.survey.benchmarks[0].sd = Length::mm(benchmark_sd);
        let plan = plan(&job);
        let mut lifts = [Length::ZERO; 9];
        lifts[4] = Length::mm(8.0);
        for (times, variance) in [(0, 4.0_f64), (1, 5.0), (2, 6.0)] {
            let mut moved = [0; 9];
            moved[4] = times;
            let guards = guards_after(&job, &plan, (&lifts, &moved), &RecordSettings::default());
            let (_, guard) = guards.iter().find(|(point, _)| point.as_str() == "B2").unwrap();
            assert!((guard.to_mm() - 2.326_348 * variance.sqrt()).abs() < 1e-5, "{guard}");
        }
    }
}

/// What is left is planned from the latest readings, to the height that the work was begun for, and
/// the stack that stands there is part of the stack in the end.
#[test]
fn what_is_left_is_planned_from_the_latest_readings() {
    let levels = [0.0, 0.0, 0.0, 0.0, -10.0, 0.0, 0.0, 0.0, 0.0];
    let lifts = [("B2", 5.0)];
    let mut done = WorkDone {
        passes: vec![pass(1, &lifts)],
        again: vec![again(1, raised(levels, &[("B2", 4.0)]), 0.0)],
    };
    done.passes[0].lifted[0].packers = Some(vec![Length::mm(5.0)]);
    for height in [TargetHeight::Number(Level::DATUM), TargetHeight::Highest] {
        let mut job = job(levels);
        job.goal.height = height;
        let record = of(&job, &done);
        let Stage::Done(rest) = &record.rest else { panic!("{:?}", record.rest) };
        let wanted = rest.plan.lifting.done().unwrap().lifts().unwrap();
        for (name, lift) in NAMES.iter().zip(&wanted) {
            let left = if *name == "B2" { 6.0 } else { 0.0 };
            assert!((lift.to_mm() - left).abs() < 1e-6, "{name}: {lift}");
        }
        // 5 mm stand there; 6 to 6.5 mm come on top (packers come in steps).
        let stack = &rest.stacks[0];
        let Choice::Stack(pieces) = &stack.choice else { panic!("{stack:?}") };
        assert!((pieces.thickness.to_mm() - 11.0).abs() <= 1.0, "{stack:?}");
        let progress = record.supports.iter().find(|it| it.support.as_str() == "B2").unwrap();
        assert_eq!(progress.done, Length::mm(5.0));
        let point = record.points.iter().find(|it| it.point.as_str() == "B2").unwrap();
        assert!((point.above_before.unwrap().to_mm() + 10.0).abs() < 1e-6, "{point:?}");
        assert!((point.above_now.unwrap().to_mm() + 6.0).abs() < 1e-6, "{point:?}");
    }
}

/// The benchmark was read 3 mm high after the pass, so that the whole floor seems to have sunk. A
/// height that hangs on a point which nothing moved goes along; a height by number cannot.
#[test]
fn how_the_benchmark_was_read_drops_out_where_the_height_hangs_on_the_floor() {
    let levels = [1.0, 0.0, 0.0, 0.0, -10.0, 0.0, 0.0, 0.0, 0.0];
    let lifts = [("B2", 5.0)];
    let done = WorkDone {
        passes: vec![pass(1, &lifts)],
        again: vec![again(1, raised(levels, &lifts), 3.0)],
    };
    let left = |height: TargetHeight| {
        let mut job = job(levels);
        job.goal.height = height;
        let record = of(&job, &done);
        let point = record.points.iter().find(|it| it.point.as_str() == "B2").unwrap();
        let above = point.above_now.unwrap().to_mm();
        let Stage::Done(rest) = record.rest else { panic!("{:?}", record.rest) };
        // What is said to be left to the target is what is left to lift.
        let lift = rest.plan.lifting.done().unwrap().lifts().unwrap()[4].to_mm();
        assert!((above + lift).abs() < 1e-6, "{above} and {lift}");
        rest.plan.lifting.done().unwrap().lifts().unwrap()[4].to_mm()
    };
    assert!((left(TargetHeight::Highest) - 6.0).abs() < 1e-6);
    assert!((left(TargetHeight::Number(Level::mm(1.0))) - 9.0).abs() < 1e-6);
}

#[test]
fn what_speaks_against_plan_and_limits_is_named() {
    let mut job = job([0.0, 0.0, 0.0, 0.0, -10.0, 0.0, 0.0, 0.0, 0.0]);
    job.limits.max_lift = Limit::given(Length::mm(11.0), "for this test");
    let mut first = pass(1, &[("B2", 12.0), ("A1", 2.0)]);
    first.lifted[0].packers = Some(vec![Length::mm(20.0)]);
    let done = WorkDone { passes: vec![first, pass(2, &[])], again: vec![] };
    let record = of(&job, &done);
    let names: Vec<String> = record
        .findings
        .iter()
        .map(|finding| match finding {
            Finding::BeyondPlan { support, .. } => format!("plan {support}"),
            Finding::BeyondLimit { support, .. } => format!("limit {support}"),
            Finding::FasterThanAllowed { pass, support, .. } => format!("fast {pass} {support}"),
            Finding::StackDisagrees { pass, support, .. } => format!("stack {pass} {support}"),
            Finding::NotReadAgain { pass } => format!("not read {pass}"),
            Finding::NothingNoted { pass } => format!("nothing noted {pass}"),
            Finding::HeldWasMoved { support, .. } => format!("held {support}"),
        })
        .collect();
    let expected = [
        "plan A1",
        "limit B2",
        "plan B2",
        "fast 1 B2",
        "stack 1 B2",
        "not read 1",
        "nothing noted 2",
        "not read 2",
    ];
    assert_eq!(names, expected);
    assert!(matches!(record.rest, Stage::Stopped(_)));
}

/// A plain generator with a fixed start (Park and Miller, *Communications of the ACM* 31, 1988), so
/// that the trials are the same each time.
struct Chance(u64);

impl Chance {
    fn even(&mut self) -> f64 {
        self.0 = self.0 * 48_271 % 2_147_483_647;
        self.0 as f64 / 2_147_483_647.0
    }

    /// Normal with mean 0 and standard deviation 1, by Box and Muller.
    fn normal(&mut self) -> f64 {
        let radius = (-2.0 * self.even().ln()).sqrt();
        radius * (std::f64::consts::TAU * self.even()).cos()
    }

    fn noise(&mut self, levels: [f64; 9]) -> [f64; 9] {
        levels.map(|level| level + self.normal())
    }
}

/// How often B2 is called out when it is jacked by 20 mm (measured to 1 mm) and its floor falls
/// behind by so much; every reading is off by chance as stated.
fn called_out(behind: f64, trials: usize, seed: u64) -> f64 {
    let mut chance = Chance(seed);
    let settings = RecordSettings::default();
    let mut n_called = 0;
    for _ in 0..trials {
        let (benchmark, benchmark_again) = (chance.normal(), chance.normal());
        let mut job = job([0.0; 9]);
        job.survey.setups = vec![setup("first", chance.noise(SUNK), benchmark)];
        let noted = 20.0 + chance.normal();
        let now = chance.noise(raised(SUNK, &[("B2", 20.0 - behind)]));
        let done = WorkDone {
            passes: vec![pass(1, &[("B2", noted)])],
            again: vec![again(1, now, benchmark_again)],
        };
        let steps = compare(&job, &survey(&job), &done, &settings).unwrap();
        n_called += usize::from(over(&steps[0], "B2").fell_behind());
    }
    n_called as f64 / trials as f64
}

/// Monte Carlo against what is stated: 1 % false alarms, and 80 % found of the smallest shortfall
/// that is to be found: (2.326348 + 0.841621) times the root of 5. Allowance: four standard
/// deviations of a share among so many trials.
#[test]
fn false_alarms_and_finds_are_as_often_as_stated() {
    let check = |behind: f64, trials: usize, seed: u64, expected: f64| {
        let found = called_out(behind, trials, seed);
        let allowance = 4.0 * (expected * (1.0 - expected) / trials as f64).sqrt();
        assert!((found - expected).abs() <= allowance, "behind {behind}: {found}");
    };
    check(0.0, 2000, 20_260_401, 0.01);
    check((2.326_348 + 0.841_621) * 5.0_f64.sqrt(), 800, 77, 0.80);
    check(20.0, 100, 5, 1.0 - 1e-9);
}
