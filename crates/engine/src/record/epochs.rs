//! All surveys of a job reduced together: benchmarks stay what they are, every other point is a new
//! one each time.

use super::WorkDone;
use crate::ids::{PointId, SetupId};
use crate::plan::{Job, StopReason};
use crate::site::PointKind;
use crate::survey::{Datum, Leg, Reduction, Setup, Survey, Suspect, reduce};
use crate::units::{Length, Level};
use std::collections::BTreeSet;

/// The surveys of a job: the first is the one that the plan was made from.
pub(super) struct Surveys {
    reduction: Reduction,
    stable: BTreeSet<PointId>,
    /// The pass that each was read after; 0 for the first.
    after: Vec<u32>,
}

impl Surveys {
    /// Reduces them together.
    pub(super) fn of(job: &Job, done: &WorkDone) -> Result<Self, Vec<StopReason>> {
        let stable = stable_points(job);
        let faults = moving_datum(job, done, &stable);
        if !faults.is_empty() {
            return Err(faults);
        }
        let mut setups = job.survey.setups.clone();
        let mut after = vec![0];
        for again in &done.again {
            after.push(again.after_pass);
            setups
                .extend(again.setups.iter().map(|setup| renamed(setup, again.after_pass, &stable)));
        }
        let legs: Vec<Leg> = job.survey.legs.clone();
        let reduction = reduce(&Survey { setups, legs, ..job.survey.clone() });
        let surveys = Self { reduction, stable, after };
        let faults: Vec<StopReason> =
            done.again.iter().filter_map(|again| surveys.hangs_on_nothing(again)).collect();
        if faults.is_empty() { Ok(surveys) } else { Err(faults) }
    }

    /// How many surveys there are, less one.
    pub(super) fn last(&self) -> usize {
        self.after.len() - 1
    }

    /// The pass that a survey was read after.
    pub(super) fn after(&self, survey: usize) -> u32 {
        self.after[survey]
    }

    /// Where a point of one survey stands among all levels.
    pub(super) fn index(&self, survey: usize, point: &PointId) -> Option<usize> {
        let name = name_in(self.after[survey], point, &self.stable);
        self.reduction.levels.index_of(&name)
    }

    /// Level and standard deviation of a point in one survey.
    pub(super) fn level(&self, survey: usize, point: &PointId) -> Option<(Level, Length)> {
        let idx = self.index(survey, point)?;
        Some((self.reduction.levels.points()[idx].level, self.reduction.levels.sd(idx)))
    }

    /// How far a weighted mean of points went up from one survey to another, with its standard
    /// deviation; `None` unless all were read both times.
    pub(super) fn movement(
        &self,
        (from, to): (usize, usize),
        points: &[(PointId, f64)],
    ) -> Option<(Length, Length)> {
        let levels = &self.reduction.levels;
        let mut weights = Vec::with_capacity(2 * points.len());
        let mut movement = Length::ZERO;
        for (point, weight) in points {
            let (before, after) = (self.index(from, point)?, self.index(to, point)?);
            movement += (levels.points()[after].level - levels.points()[before].level) * *weight;
            weights.push((after, *weight));
            weights.push((before, -weight));
        }
        Some((movement, levels.combination_sd(&weights)))
    }

    /// Readings that are likely wrong.
    pub(super) fn suspects(&self) -> Vec<Suspect> {
        self.reduction.suspects.clone()
    }

    fn hangs_on_nothing(&self, again: &super::Resurvey) -> Option<StopReason> {
        let reached = again.setups.iter().flat_map(|setup| &setup.readings).any(|reading| {
            let name = name_in(again.after_pass, &reading.point, &self.stable);
            name != reading.point && self.reduction.levels.index_of(&name).is_some()
        });
        (!reached).then(|| StopReason {
            what: format!(
                "the floor as read after pass {} hangs on no benchmark, or no floor point was read",
                again.after_pass
            ),
            hint: Some("read a benchmark outside the lift from every setup".to_owned()),
        })
    }
}

/// Points that stay where they are while the house is lifted.
fn stable_points(job: &Job) -> BTreeSet<PointId> {
    let points = job.site.points().iter();
    points
        .filter(|point| point.kind == PointKind::Benchmark)
        .map(|point| point.id.clone())
        .collect()
}

/// Why the levels are counted from something that moves, if they are.
fn moving_datum(job: &Job, done: &WorkDone, stable: &BTreeSet<PointId>) -> Vec<StopReason> {
    if done.again.is_empty() {
        return Vec::new();
    }
    let Some(counted_from) = counted_from(job) else { return vec![floor_itself()] };
    counted_from.into_iter().filter(|point| !stable.contains(*point)).map(moves).collect()
}

/// The points that levels are counted from; `None` for the mean of the floor.
pub(super) fn counted_from(job: &Job) -> Option<Vec<&PointId>> {
    match &job.survey.datum {
        Datum::Benchmarks | Datum::CorrelatedBenchmarks(_) => {
            Some(job.survey.benchmarks.iter().map(|mark| &mark.point).collect())
        }
        Datum::PointIsZero(point) => Some(vec![point]),
        Datum::Free { .. } => None,
    }
}

const A_MARK_OUTSIDE: &str = "read a mark outside the lift each time, and make it a [[benchmark]]";

/// That levels are counted from the floor as a whole.
pub(super) fn floor_itself() -> StopReason {
    let what = "the levels are counted from the mean of the floor, which moves".to_owned();
    StopReason { what, hint: Some(A_MARK_OUTSIDE.to_owned()) }
}

/// That levels are counted from a point of the house.
pub(super) fn moves(point: &PointId) -> StopReason {
    StopReason {
        what: format!("the levels are counted from {point}, which moves with the house"),
        hint: Some(A_MARK_OUTSIDE.to_owned()),
    }
}

fn name_in(after_pass: u32, point: &PointId, stable: &BTreeSet<PointId>) -> PointId {
    if after_pass == 0 || stable.contains(point) {
        point.clone()
    } else {
        PointId::new(format!("{point} after pass {after_pass}"))
    }
}

fn renamed(setup: &Setup, after_pass: u32, stable: &BTreeSet<PointId>) -> Setup {
    let mut setup = setup.clone();
    setup.id = SetupId::new(format!("{} after pass {after_pass}", setup.id));
    for reading in &mut setup.readings {
        reading.point = name_in(after_pass, &reading.point, stable);
    }
    setup
}
