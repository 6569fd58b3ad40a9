//! What was done against what was planned and allowed.

use super::{Comparison, RecordSettings, WorkDone};
use crate::ids::SupportId;
use crate::plan::{Job, Plan};
use crate::units::Length;
use serde::Serialize;
use std::collections::BTreeMap;

/// Lifts within this of one another are the same.
const SAME: Length = Length::mm(0.5);

/// How far the work at a support is.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SupportProgress {
    /// The support.
    pub support: SupportId,
    /// What the plan lifts in all; `None` where the plan has no lifts.
    pub planned: Option<Length>,
    /// What was lifted so far, as it was noted.
    pub done: Length,
    /// Planned less done.
    pub left: Option<Length>,
    /// The stack that stands there, as last noted.
    pub packers: Option<Vec<Length>>,
    /// After which pass it was seen that its floor did not follow, if it was.
    pub fell_behind: Option<u32>,
}

/// Something that speaks against the plan or a limit, or was not noted.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum Finding {
    /// A support that was to stay was moved.
    HeldWasMoved {
        /// The support.
        support: SupportId,
        /// What was done there.
        done: Length,
        /// Why it was to stay.
        why: String,
    },
    /// More was lifted than the plan says.
    BeyondPlan {
        /// The support.
        support: SupportId,
        /// What the plan lifts.
        planned: Length,
        /// What was done.
        done: Length,
    },
    /// More was lifted than the support may be.
    BeyondLimit {
        /// The support.
        support: SupportId,
        /// What was done.
        done: Length,
        /// The most it may be.
        limit: Length,
        /// Why.
        reason: String,
    },
    /// More was lifted in one pass than a pass may.
    FasterThanAllowed {
        /// The pass.
        pass: u32,
        /// The support.
        support: SupportId,
        /// What was lifted in it.
        lift: Length,
        /// The most.
        limit: Length,
    },
    /// The stack that was noted does not go with the lifts that were noted.
    StackDisagrees {
        /// The pass.
        pass: u32,
        /// The support.
        support: SupportId,
        /// How thick the stack is.
        stack: Length,
        /// Air at the start and lifts so far.
        expected: Length,
    },
    /// The floor was not read after a pass.
    NotReadAgain {
        /// The pass.
        pass: u32,
    },
    /// Nothing was noted of a pass.
    NothingNoted {
        /// The pass.
        pass: u32,
    },
}

/// What was lifted at each support so far.
pub(super) fn lifted(done: &WorkDone) -> BTreeMap<&SupportId, Length> {
    let mut sums: BTreeMap<&SupportId, Length> = BTreeMap::new();
    for lifted in done.passes.iter().flat_map(|pass| &pass.lifted) {
        *sums.entry(&lifted.support).or_default() += lifted.lift;
    }
    sums
}

/// The stack at each support as it was last noted.
pub(super) fn stacks(done: &WorkDone) -> BTreeMap<&SupportId, &Vec<Length>> {
    let rows = done.passes.iter().flat_map(|pass| &pass.lifted);
    rows.filter_map(|row| Some((&row.support, row.packers.as_ref()?))).collect()
}

/// Every support: planned, done, left.
pub(super) fn supports(
    job: &Job,
    plan: &Plan,
    done: &WorkDone,
    steps: &[Comparison],
) -> Vec<SupportProgress> {
    let sums = lifted(done);
    let stacks = stacks(done);
    let behind = |support: &SupportId| {
        let is = |step: &&Comparison| {
            step.supports.iter().any(|moved| moved.support == *support && moved.fell_behind())
        };
        steps.iter().rev().find(is).map(|step| step.after_pass)
    };
    let planned = plan.packing.done().map(|packing| &packing.lifts);
    let sites = job.site.supports().iter().enumerate();
    sites
        .map(|(idx, support)| {
            let planned = planned.map(|lifts| lifts[idx]);
            let done = sums.get(&support.id).copied().unwrap_or_default();
            SupportProgress {
                support: support.id.clone(),
                planned,
                done,
                left: planned.map(|planned| planned - done),
                packers: stacks.get(&support.id).map(|pieces| (*pieces).clone()),
                fell_behind: behind(&support.id),
            }
        })
        .collect()
}

/// Everything that speaks against the plan or a limit.
pub(super) fn findings(
    job: &Job,
    plan: &Plan,
    done: &WorkDone,
    settings: &RecordSettings,
) -> Vec<Finding> {
    let mut findings = in_all(job, plan, done);
    let mut so_far: BTreeMap<&SupportId, (Length, u32)> = BTreeMap::new();
    for pass in &done.passes {
        if pass.lifted.is_empty() {
            findings.push(Finding::NothingNoted { pass: pass.number });
        }
        for row in &pass.lifted {
            let limit = job.limits.lift_per_pass.value;
            if row.lift.abs() > limit + SAME {
                findings.push(Finding::FasterThanAllowed {
                    pass: pass.number,
                    support: row.support.clone(),
                    lift: row.lift,
                    limit,
                });
            }
            let (lift, times) = so_far.entry(&row.support).or_default();
            *lift += row.lift;
            *times += 1;
            let gap = job.site.support(&row.support).map_or(Length::ZERO, |support| support.gap);
            let expected = gap + *lift;
            let may_miss =
                settings.lift_sd.value * 2.0 * f64::from(*times).sqrt() + job.stock.tolerance.value;
            let stack = row.packers.as_ref().map(|pieces| pieces.iter().copied().sum::<Length>());
            if let Some(stack) = stack
                && (stack - expected).abs() > may_miss
            {
                findings.push(Finding::StackDisagrees {
                    pass: pass.number,
                    support: row.support.clone(),
                    stack,
                    expected,
                });
            }
        }
        if !done.again.iter().any(|again| again.after_pass == pass.number) {
            findings.push(Finding::NotReadAgain { pass: pass.number });
        }
    }
    findings
}

fn in_all(job: &Job, plan: &Plan, done: &WorkDone) -> Vec<Finding> {
    let sums = lifted(done);
    let planned = plan.packing.done().map(|packing| &packing.lifts);
    let mut findings = Vec::new();
    for (idx, support) in job.site.supports().iter().enumerate() {
        let Some(&lift) = sums.get(&support.id) else { continue };
        let id = || support.id.clone();
        if let Some(why) = &support.fixed
            && lift.abs() > SAME
        {
            findings.push(Finding::HeldWasMoved { support: id(), done: lift, why: why.clone() });
        }
        let cap = support.max_lift.unwrap_or(job.limits.max_lift.value);
        if lift > cap + SAME {
            let reason = match support.max_lift {
                Some(_) => "its own limit in the job".to_owned(),
                None => job.limits.max_lift.reason.clone(),
            };
            findings.push(Finding::BeyondLimit { support: id(), done: lift, limit: cap, reason });
        }
        if let Some(&planned) = planned.map(|lifts| &lifts[idx])
            && (lift - planned).abs() > SAME
            && lift.abs() > planned.abs()
        {
            findings.push(Finding::BeyondPlan { support: id(), planned, done: lift });
        }
    }
    findings
}
