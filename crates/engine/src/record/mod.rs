//! What was done, what came of it, and what is left.
//!
//! Passes are recorded as they were done; after a pass the floor is read again. [`record`] holds
//! the movement that the recorded lifts should have given against the movement that was read, with
//! the uncertainty of both, and plans what is left from the latest readings.
//!
//! # Method
//! All surveys are reduced together ([`survey`](crate::survey)), with the benchmarks as the same
//! points throughout and every other point as a new one in each survey; so whatever two surveys
//! share drops out of a movement and its uncertainty. What the lifts should have given follows
//! from the influence of the frame, or of planes between the supports without one.
//!
//! # What it does not do
//! It does not know why a floor did not follow: [`CAUSES`] are where to look. It never takes a lift
//! as done because it was planned.

mod difference;
mod epochs;
mod follow;
mod against_plan;
mod rest;

pub use against_plan::{Finding, SupportProgress};
pub use difference::{Difference, Followed, RecordSettings, STILL, difference};
pub use follow::{
    Comparison, PointMovement, Since, SupportMovement, compare, datum_is_lifted, guards_after,
    marks_that_stay,
};
pub use rest::{LiftLeft, Rest, ToWorkBy, to_work_by};

use crate::ids::{PointId, SupportId};
use crate::plan::{Job, Plan, Stage, StageName, StopReason};
use crate::survey::{Setup, Suspect};
use crate::units::{Length, Level};
use crate::verdict::Verdict;
use rest::Standing;
use serde::Serialize;
use std::collections::BTreeMap;

/// Where to look if a support was jacked and its floor did not follow.
pub const CAUSES: [&str; 6] = [
    "the ground or the pad under the jack or the support gave way",
    "the bearer or a packer is crushed where it rests, or it is rotten",
    "something still holds the floor down: a strap, a bolt, a pipe, a stay, brickwork, a porch",
    "the bearer does not carry the floor there: a joint, a split, a gap under the joists",
    "the lift was measured at the jack and not at the bearer, or noted at the wrong support",
    "a reading is wrong: read the floor there again before anything else",
];

/// What was done so far.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct WorkDone {
    /// Passes in order; the first has number 1.
    pub passes: Vec<DonePass>,
    /// The floor as it was read after passes, in their order.
    pub again: Vec<Resurvey>,
}

/// A pass as it was done.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct DonePass {
    /// Counted from 1.
    pub number: u32,
    /// The day, year-month-day.
    pub date: Option<String>,
    /// Who did it.
    pub by: Option<String>,
    /// What was lifted and packed.
    pub lifted: Vec<Lifted>,
    /// What was noticed.
    pub remarks: Option<String>,
    /// Cracks as they were seen or measured.
    pub cracks: Vec<String>,
    /// Names of photographs.
    pub photos: Vec<String>,
}

/// What was done at one support in a pass.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Lifted {
    /// The support.
    pub support: SupportId,
    /// How far the bearer went up, as measured there; negative if it was let down.
    pub lift: Length,
    /// The stack that stands there afterwards, if it was noted.
    pub packers: Option<Vec<Length>>,
}

/// The floor as it was read after a pass.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Resurvey {
    /// The pass.
    pub after_pass: u32,
    /// Standings of the instrument.
    pub setups: Vec<Setup>,
}

/// What came of the work so far.
#[derive(Clone, Debug, Serialize)]
pub struct Record {
    /// The passes as they were done.
    pub passes: Vec<DonePass>,
    /// Each time the floor was read again, against the time before.
    pub steps: Vec<Comparison>,
    /// The last time against the survey that the plan was made from; `None` if the floor was not
    /// read again.
    pub whole: Option<Comparison>,
    /// Every support: planned, done, left.
    pub supports: Vec<SupportProgress>,
    /// Every floor point that was read both times, before and now.
    pub points: Vec<PointProgress>,
    /// What speaks against the plan or the limits, and what was not noted.
    pub findings: Vec<Finding>,
    /// Readings of all surveys together that are likely wrong, worst first.
    pub suspects: Vec<Suspect>,
    /// The floor held against each criterion before the work.
    pub verdicts_before: Vec<Verdict>,
    /// The same by the latest readings; empty if the floor was not read again.
    pub verdicts_now: Vec<Verdict>,
    /// The plan for what is left.
    pub rest: Stage<Rest>,
    /// How movements are held against one another.
    pub settings: RecordSettings,
}

/// A floor point before and now.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PointProgress {
    /// The point.
    pub point: PointId,
    /// Its level before the work.
    pub before: Level,
    /// Its level by the latest readings.
    pub now: Level,
    /// Standard deviation of the latest level.
    pub sd: Length,
    /// How far it stood above the target of the plan from before the work; `None` without a target
    /// for it.
    pub above_before: Option<Length>,
    /// How far it stands above the target by the latest readings, which is the one that what is left is
    /// worked to; above the target from before the work where the latest readings give none.
    pub above_now: Option<Length>,
}

impl Record {
    /// Supports that were jacked and whose floor did not follow, by the last step that lifted each.
    pub fn did_not_follow(&self) -> Vec<&SupportMovement> {
        let mut found: Vec<&SupportMovement> = Vec::new();
        for step in &self.steps {
            for moved in &step.supports {
                found.retain(|known| !moved.is_jacked() || known.support != moved.support);
                if moved.fell_behind() {
                    found.push(moved);
                }
            }
        }
        found
    }
}

/// Holds what was done against what came of it.
///
/// `plan` is the plan of `job`, made from the readings before the work.
///
/// # Errors
/// [`Stage::Stopped`] names everything that keeps movements from being worked out: levels counted
/// from the floor itself, a survey that hangs on no benchmark, a lift of a support that is not
/// there. [`Stage::WaitsFor`] names the stage without which nothing can be compared.
pub fn record(job: &Job, plan: &Plan, done: &WorkDone, settings: &RecordSettings) -> Stage<Record> {
    let Some(shape) = plan.floor.done() else { return Stage::WaitsFor(StageName::Floor) };
    let faults = faults(job, done);
    if !faults.is_empty() {
        return Stage::Stopped(faults);
    }
    let surveys = match epochs::Surveys::of(job, done) {
        Ok(surveys) => surveys,
        Err(faults) => return Stage::Stopped(faults),
    };
    let influence = match follow::influence(job, plan) {
        Ok(influence) => influence,
        Err(faults) => return Stage::Stopped(faults),
    };
    let between =
        follow::Between { job, shape, influence: &influence, surveys: &surveys, settings };
    let steps = between.steps(done);
    let whole = between.whole(done);
    let rest = rest::rest(job, plan, done);
    Stage::Done(Record {
        supports: against_plan::supports(job, plan, done, &steps),
        points: points(plan, &surveys, (whole.as_ref(), &rest.now)),
        findings: against_plan::findings(job, plan, done, settings),
        suspects: surveys.suspects(),
        verdicts_before: plan.verdicts.clone(),
        verdicts_now: rest.verdicts,
        rest: rest.stage,
        passes: done.passes.clone(),
        settings: settings.clone(),
        steps,
        whole,
    })
}

/// The same as [`record`] with the default settings, or [`Stage::NotAsked`] while no pass was done.
pub fn record_if_begun(job: &Job, plan: &Plan, done: &WorkDone) -> Stage<Record> {
    if done.passes.is_empty() {
        Stage::NotAsked
    } else {
        record(job, plan, done, &RecordSettings::default())
    }
}

/// What cannot be worked with at all. Jobs from a file have been checked; others may not have been.
fn faults(job: &Job, done: &WorkDone) -> Vec<StopReason> {
    let mut faults = Vec::new();
    let mut say = |what: String| faults.push(StopReason { what, hint: None });
    for (idx, pass) in done.passes.iter().enumerate() {
        if pass.number as usize != idx + 1 {
            say(format!("pass {} stands where pass {} has to", pass.number, idx + 1));
        }
        for lifted in &pass.lifted {
            if job.site.support(&lifted.support).is_none() {
                say(format!(
                    "pass {} lifts support {}, which is not there",
                    pass.number, lifted.support
                ));
            }
            let mut stack = lifted.packers.iter().flatten();
            let is_piece = |piece: &Length| piece.is_finite() && *piece > Length::ZERO;
            if !lifted.lift.is_finite() || !stack.all(is_piece) {
                say(format!(
                    "pass {} has a lift or a packer at support {} that is not a length",
                    pass.number, lifted.support
                ));
            }
        }
    }
    let mut last = 0;
    for again in &done.again {
        if again.after_pass <= last || again.after_pass as usize > done.passes.len() {
            say(format!(
                "the floor was read after pass {}, which is out of order",
                again.after_pass
            ));
        }
        last = again.after_pass;
    }
    faults
}

fn points(
    plan: &Plan,
    surveys: &epochs::Surveys,
    (whole, now): (Option<&Comparison>, &BTreeMap<PointId, Standing>),
) -> Vec<PointProgress> {
    let Some(whole) = whole else { return Vec::new() };
    let before_work = rest::standings(plan);
    let last = surveys.last();
    let of_point = |moved: &PointMovement| {
        // Each survey by itself and against its own target, as the plan from it has it: the height
        // is hung on a point that is read again each time.
        if let (Some(before), Some(now)) = (before_work.get(&moved.point), now.get(&moved.point)) {
            return Some(PointProgress {
                point: moved.point.clone(),
                before: before.level,
                now: now.level,
                sd: now.sd,
                above_before: Some(before.level - before.target),
                above_now: Some(now.level - now.target),
            });
        }
        let before = surveys.level(0, &moved.point)?.0;
        let (now, sd) = surveys.level(last, &moved.point)?;
        let target = before_work.get(&moved.point).map(|standing| standing.target);
        Some(PointProgress {
            point: moved.point.clone(),
            before,
            now,
            sd,
            above_before: target.map(|target| before - target),
            above_now: target.map(|target| now - target),
        })
    };
    whole.points.iter().filter_map(of_point).collect()
}
