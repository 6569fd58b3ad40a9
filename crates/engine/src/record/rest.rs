//! The plan for what is left, from the latest readings and with the lifts that were done.

use super::against_plan::{lifted, stacks};
use super::difference::STILL;
use super::{Record, WorkDone};
use crate::ids::{PointId, SupportId};
use crate::packers::{Packing, StackTable, pack};
use crate::passes::Way;
use crate::plan::{Job, Plan, Stage, StageName, StopReason, SupportFacts, plan};
use crate::settings::TargetHeight;
use crate::site::{Site, Support};
use crate::survey::Survey;
use crate::target::Outcome;
use crate::units::{LENGTH_EPS, Length, Level};
use crate::verdict::Verdict;
use serde::Serialize;
use std::collections::BTreeMap;

/// What is left to be done.
#[derive(Clone, Debug, Serialize)]
pub struct Rest {
    /// The pass after which the floor was read that it is planned from.
    pub after_pass: u32,
    /// The plan; its lifts and packers are what comes on top of what was done.
    #[serde(skip)]
    pub plan: Box<Plan>,
    /// The lift that is left at each support, as the packers give it; empty if there is no plan.
    pub lifts: Vec<LiftLeft>,
    /// Passes and moves that it takes; `None` if there are none, or the frame forbids them.
    pub way: Option<Way>,
    /// The whole stack at each support that is still to be moved: what stands there and what comes
    /// on top, as one stack of the fewest pieces.
    pub stacks: Vec<Packing>,
}

/// The plan that the next pass is worked by.
#[derive(Clone, Copy, Debug)]
pub struct ToWorkBy<'a> {
    /// The plan. Its lifts, packers and passes count from how the floor stands after the passes that
    /// were done, and its packers come on top of what stands there.
    pub plan: &'a Plan,
    /// What is left; `None` before any pass was done.
    pub rest: Option<&'a Rest>,
}

impl ToWorkBy<'_> {
    /// How many passes were done before its first.
    pub fn n_done(&self) -> usize {
        self.rest.map_or(0, |rest| rest.after_pass as usize)
    }
}

/// The plan that the next pass is worked by: the one from before the work as long as no pass was done,
/// then the one for what is left.
///
/// # Errors
/// Why it is not known what is left. Nobody works on by the plan from before the work then.
pub fn to_work_by<'a>(
    plan: &'a Plan,
    record: &'a Stage<Record>,
) -> Result<ToWorkBy<'a>, Vec<StopReason>> {
    let waits = |stage: &StageName| {
        vec![StopReason { what: format!("what is left waits for {stage}"), hint: None }]
    };
    let before = ToWorkBy { plan, rest: None };
    match record {
        Stage::NotAsked => Ok(before),
        Stage::Done(record) if record.passes.is_empty() => Ok(before),
        Stage::Stopped(reasons) => Err(reasons.clone()),
        Stage::WaitsFor(stage) => Err(waits(stage)),
        Stage::Done(record) => match &record.rest {
            Stage::Done(rest) => Ok(ToWorkBy { plan: &rest.plan, rest: Some(rest) }),
            Stage::Stopped(reasons) => Err(reasons.clone()),
            Stage::WaitsFor(stage) => Err(waits(stage)),
            Stage::NotAsked => Err(waits(&StageName::Levels)),
        },
    }
}

/// A lift that is left.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LiftLeft {
    /// The support.
    pub support: SupportId,
    /// How far it is still to go, up positive.
    pub lift: Length,
    /// How sure that is (standard deviation); `None` where the floor was not read again.
    pub sd: Option<Length>,
}

/// The plan for what is left, and how the floor stands by the latest readings.
pub(super) struct FromLatest {
    pub(super) stage: Stage<Rest>,
    pub(super) verdicts: Vec<Verdict>,
    /// Where each point stands by the latest readings, and the height that it is to come to; empty
    /// where there is no target by them.
    pub(super) now: BTreeMap<PointId, Standing>,
}

/// A point by one survey alone, as the plan from that survey has it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Standing {
    /// Its level.
    pub(super) level: Level,
    /// Standard deviation of that.
    pub(super) sd: Length,
    /// The height that it is to come to.
    pub(super) target: Level,
}

/// Where each point stands that a plan has a target for.
pub(super) fn standings(plan: &Plan) -> BTreeMap<PointId, Standing> {
    let levels = &plan.reduction.levels;
    let asked = plan.packing.done().map(|packing| &packing.outcome.points);
    let targets: BTreeMap<&PointId, Level> =
        asked.into_iter().flatten().map(|point| (&point.id, point.target)).collect();
    let of = |(idx, found): (usize, &crate::survey::PointLevel)| {
        let target = *targets.get(&found.point)?;
        let standing = Standing { level: found.level, sd: levels.sd(idx), target };
        Some((found.point.clone(), standing))
    };
    levels.points().iter().enumerate().filter_map(of).collect()
}

/// Plans what is left, if the floor was read after the last pass.
pub(super) fn rest(job: &Job, before: &Plan, done: &WorkDone) -> FromLatest {
    let stopped = |what: String, hint: &str, verdicts| FromLatest {
        stage: Stage::Stopped(vec![StopReason { what, hint: Some(hint.to_owned()) }]),
        verdicts,
        now: BTreeMap::new(),
    };
    let Some(latest) = done.again.last() else {
        let what = "the floor was not read again".to_owned();
        return stopped(what, "write [[setup]] with after_pass", Vec::new());
    };
    let left = match job_left(job, before, done, latest) {
        Ok(left) => left,
        Err(reasons) => {
            let (stage, now) = (Stage::Stopped(reasons), BTreeMap::new());
            return FromLatest { stage, verdicts: Vec::new(), now };
        }
    };
    let plan = plan(&left);
    let last_pass = done.passes.last().map_or(0, |pass| pass.number);
    if latest.after_pass != last_pass {
        let what = format!(
            "the floor was read after pass {}, and pass {last_pass} was done since",
            latest.after_pass
        );
        let now = standings(&plan);
        return FromLatest { now, ..stopped(what, "read the floor again", plan.verdicts) };
    }
    FromLatest {
        now: standings(&plan),
        verdicts: plan.verdicts.clone(),
        stage: Stage::Done(Rest {
            after_pass: latest.after_pass,
            stacks: whole_stacks(job, done, &plan),
            lifts: lifts_left(&plan),
            way: way(&plan),
            plan: Box::new(plan),
        }),
    }
}

/// The job as it stands now: the latest readings, gaps filled where something was done, and less
/// room to lift. The height stays the one that the work was begun for.
fn job_left(
    job: &Job,
    before: &Plan,
    done: &WorkDone,
    latest: &super::Resurvey,
) -> Result<Job, Vec<StopReason>> {
    let sums = lifted(done);
    let of = |support: &Support| {
        let mut support = support.clone();
        if let Some(&lift) = sums.get(&support.id) {
            support.gap = Length::ZERO;
            let cap = support.max_lift.unwrap_or(job.limits.max_lift.value);
            support.max_lift = Some((cap - lift).max(Length::ZERO));
            support.may_lower = (support.may_lower + lift.min(Length::ZERO)).max(Length::ZERO);
        }
        support
    };
    let supports = job.site.supports().iter().map(of).collect();
    let site = Site::new(job.site.rooms().to_vec(), job.site.points().to_vec(), supports).map_err(
        |faults| {
            let of =
                |fault: &crate::site::SiteError| StopReason { what: fault.to_string(), hint: None };
            faults.iter().map(of).collect::<Vec<_>>()
        },
    )?;
    let mut left = job.clone();
    left.site = site;
    left.by_hand = Vec::new();
    left.survey = Survey { setups: latest.setups.clone(), legs: Vec::new(), ..job.survey.clone() };
    if left.goal.tilt_allowed.is_none()
        && let Some(level) = height_of(before)
    {
        left.goal.height = hung_on_what_stays(job, before, &sums, latest, level);
    }
    Ok(left)
}

/// The height that the work was begun for. Where it is that of a point which nothing has moved and
/// which was read again, it stays hung on that point, so that how well the benchmark was read
/// drops out of what is left; otherwise it is a number.
fn hung_on_what_stays(
    job: &Job,
    before: &Plan,
    sums: &BTreeMap<&SupportId, Length>,
    latest: &super::Resurvey,
    level: Level,
) -> TargetHeight {
    let was_read = |point: &PointId| {
        latest.setups.iter().flat_map(|setup| &setup.readings).any(|it| it.point == *point)
    };
    let point = match &job.goal.height {
        TargetHeight::Point { point, .. } => Some(point),
        TargetHeight::Highest => highest(job, before),
        TargetHeight::Number(_) | TargetHeight::Free => None,
    };
    let supports = job.site.supports().iter();
    let lifts: Vec<Length> =
        supports.map(|support| sums.get(&support.id).copied().unwrap_or_default()).collect();
    let stays = |point: &PointId| {
        let row = before.lifting.done().and_then(|lifting| lifting.influence.row(point));
        row.is_none_or(|row| row.movement(&lifts).abs() < STILL)
    };
    match point.filter(|point| was_read(point) && stays(point)) {
        Some(point) => {
            let was = before.reduction.levels.get(point).map_or(level, |found| found.level);
            TargetHeight::Point { point: point.clone(), offset: level - was }
        }
        None => TargetHeight::Number(level),
    }
}

/// The highest point that the goal asks about.
fn highest<'a>(job: &'a Job, before: &Plan) -> Option<&'a PointId> {
    let asked = &before.lifting.done()?.problem.points;
    let highest = asked
        .iter()
        .filter(|asked| job.site.point(&asked.id).is_some())
        .max_by(|a, b| a.level.total_cmp(&b.level))?;
    job.site.point(&highest.id).map(|point| &point.id)
}

/// The height that the plan works to.
fn height_of(plan: &Plan) -> Option<Level> {
    let lifting = plan.lifting.done()?;
    match &lifting.outcome {
        Outcome::Reached(found) => Some(found.outcome.plane.height),
        Outcome::CannotBeDone(_) | Outcome::Refused(_) => lifting.target.level,
    }
}

fn lifts_left(plan: &Plan) -> Vec<LiftLeft> {
    let Some((lifting, packing)) = plan.lifting.done().zip(plan.packing.done()) else {
        return Vec::new();
    };
    let of = |(facts, &lift): (&SupportFacts, &Length)| LiftLeft {
        support: facts.support.clone(),
        lift,
        sd: facts.sd,
    };
    lifting.supports.iter().zip(&packing.lifts).map(of).collect()
}

fn way(plan: &Plan) -> Option<Way> {
    let stage = plan.passes.done()?;
    let allowed = stage.on_frame.as_ref().is_none_or(|on_frame| on_frame.check.passed());
    allowed.then_some(stage.passes.this_way)
}

/// For each support that is still to be moved, the stack that is to stand there in the end.
fn whole_stacks(job: &Job, done: &WorkDone, plan: &Plan) -> Vec<Packing> {
    let (Some(packing), Ok(table)) = (plan.packing.done(), StackTable::new(&job.stock)) else {
        return Vec::new();
    };
    let noted = stacks(done);
    let sums = lifted(done);
    let of = |(support, &lift): (&Support, &Length)| {
        if lift.abs() <= LENGTH_EPS {
            return None;
        }
        let stands = match (noted.get(&support.id), sums.get(&support.id)) {
            (Some(pieces), _) => pieces.iter().copied().sum(),
            (None, Some(&done)) => support.gap + done,
            (None, None) => support.gap,
        };
        Some(pack(&support.id, stands, lift, &job.limits, &table))
    };
    job.site.supports().iter().zip(&packing.lifts).filter_map(of).collect()
}
