//! Predicted against measured movement, at every point and over every support.

use super::WorkDone;
use super::difference::{Difference, Followed, RecordSettings, STILL, difference};
use super::epochs::{Surveys, counted_from, floor_itself, moves};
use crate::ids::{PointId, SupportId};
use crate::influence::{Influence, InfluenceRow};
use crate::plan::{FloorShape, Job, LiftingStage, Plan, Stage, StopReason};
use crate::site::{Position, Support};
use crate::surface::FloorReading;
use crate::survey::Benchmark;
use crate::units::{Length, Variance};
use serde::Serialize;
use std::collections::BTreeMap;

/// A point this close to a support is right over it; as for the lifts.
const RIGHT_OVER: Length = Length::mm(50.0);

/// A support that takes this much of a row leaves nothing between supports to be guessed.
const ALONE: f64 = 0.99;

/// The survey that a movement counts from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Since {
    /// The one that the plan was made from.
    Start,
    /// The one after this pass.
    Pass(u32),
}

/// One survey against an earlier one.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Comparison {
    /// The earlier one.
    pub since: Since,
    /// The pass that the later one was read after.
    pub after_pass: u32,
    /// Every floor point that was read both times.
    pub points: Vec<PointMovement>,
    /// Every support.
    pub supports: Vec<SupportMovement>,
    /// How likely it is, at most, that one or more of the supports that were jacked is called out
    /// although all of them did follow (a ratio).
    ///
    /// Each is called out by itself: to hold this figure down for a whole house the guard would have to
    /// widen with the number of supports, and a pass of a few millimetres would then no longer show
    /// whether it came about. A false call costs a reading; a missed one, a support.
    pub false_call: f64,
}

/// The movement of a floor point.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PointMovement {
    /// The point.
    pub point: PointId,
    /// Predicted and measured; `None` where no support moves it.
    pub difference: Option<Difference>,
}

/// The movement of the floor over a support.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SupportMovement {
    /// The support.
    pub support: SupportId,
    /// What was lifted there between the two surveys.
    pub lifted: Length,
    /// Predicted and measured; `None` where the floor over it was not read both times.
    pub difference: Option<Difference>,
}

impl SupportMovement {
    /// Whether it was lifted or let down between the two surveys.
    pub fn is_jacked(&self) -> bool {
        self.lifted.abs() >= STILL
    }

    /// Whether it was jacked and its floor was read both times.
    pub fn is_tested(&self) -> bool {
        self.is_jacked() && self.difference.is_some()
    }

    /// Whether it was jacked and its floor surely moved less.
    pub fn fell_behind(&self) -> bool {
        self.is_jacked() && self.difference.is_some_and(|found| found.followed == Followed::Less)
    }
}

/// How likely it is that one or more of `n` independent tests errs, if each does with `one`; for tests
/// that lean on the same readings it is less (Šidák, *Rectangular confidence regions for the means
/// of multivariate normal distributions*, J. Am. Stat. Assoc. 62, 1967).
fn any_of(n: usize, one: f64) -> f64 {
    let n = i32::try_from(n).unwrap_or(i32::MAX);
    1.0 - (1.0 - one).powi(n)
}

/// How lifts move the floor, by the plan's frame where it has one.
pub(super) fn influence(job: &Job, plan: &Plan) -> Result<Influence, Vec<StopReason>> {
    if let Stage::Done(stage) = &plan.frame {
        return Ok(Influence::by_frame(&job.site, &stage.frame));
    }
    Influence::by_interpolation(&job.site).map_err(|faults| {
        let of = |fault: crate::mesh::MeshFault| StopReason { what: fault.to_string(), hint: None };
        faults.into_iter().map(of).collect()
    })
}

/// How far the movement of each floor point between two readings, with these lifts between them, may be off
/// [`levels_after`](crate::plan::levels_after) by chance: what [`difference`] will call out lies beyond it.
/// `times` counts the passes between the two that each support was moved in; both go in the site's order.
///
/// A movement that is no larger than this does not show whether it came about.
///
/// # Method
/// As for a movement that was read: the level before and the level after have each the standard
/// deviation of today's level, every pass adds what a lift is measured to, and between supports
/// the movement follows from timber. How well the benchmark itself is known drops out, because both levels
/// are counted from it.
pub fn guards_after(
    job: &Job,
    plan: &Plan,
    (lifts, times): (&[Length], &[u32]),
    settings: &RecordSettings,
) -> Vec<(PointId, Length)> {
    let (Some(shape), Some(lifting)) = (plan.floor.done(), plan.lifting.done()) else {
        return Vec::new();
    };
    let of_lift = settings.lift_sd.value.squared();
    let variances: Vec<Variance> =
        times.iter().map(|&times| Variance::mm2(of_lift.to_mm2() * f64::from(times))).collect();
    let lifts = Lifts { lifts: lifts.to_vec(), variances };
    let levels = &plan.reduction.levels;
    let read = |mark: &Benchmark| levels.index_of(&mark.point);
    let mark = job.survey.benchmarks.iter().find_map(read);
    let of = |reading: &FloorReading| {
        let row = lifting.influence.row(&reading.point);
        let (_, of_lifts) =
            row.map_or((Length::ZERO, Length::ZERO), |row| predicted(row, &lifts, settings));
        let sd = match mark {
            Some(mark) => levels.difference_sd(reading.in_levels, mark),
            None => levels.sd(reading.in_levels),
        };
        let both = (sd.squared() + sd.squared()).sd();
        let found = difference((Length::ZERO, of_lifts), (Length::ZERO, both), settings);
        (reading.point.clone(), found.guard)
    };
    shape.surface.readings().iter().map(of).collect()
}

/// Why no level can be read once the lifts of a plan are done, a reason for each point that levels are counted
/// from; empty if one of those points stays where it is, or nothing is lifted.
pub fn datum_is_lifted(job: &Job, plan: &Plan) -> Vec<StopReason> {
    let (Some(lifting), Some(packing)) = (plan.lifting.done(), plan.packing.done()) else {
        return Vec::new();
    };
    if packing.lifts.iter().all(|lift| lift.abs() < STILL) {
        return Vec::new();
    }
    let Some(counted_from) = counted_from(job) else { return vec![floor_itself()] };
    if counted_from.iter().any(|point| stays(point, lifting, &packing.lifts)) {
        return Vec::new();
    }
    counted_from.into_iter().map(moves).collect()
}

/// The marks that levels are given for and that no lift of a plan moves, in the order of the job.
pub fn marks_that_stay<'a>(job: &'a Job, plan: &Plan) -> Vec<&'a Benchmark> {
    let lifts = plan.packing.done().map_or(&[][..], |packing| &packing.lifts);
    let stays = |mark: &&Benchmark| {
        plan.lifting.done().is_none_or(|lifting| stays(&mark.point, lifting, lifts))
    };
    job.survey.benchmarks.iter().filter(stays).collect()
}

fn stays(point: &PointId, lifting: &LiftingStage, lifts: &[Length]) -> bool {
    let row = lifting.influence.row(point);
    row.is_none_or(|row| row.movement(lifts).abs() < STILL)
}

/// Movement that the lifts should have given, with its standard deviation.
fn predicted(row: &InfluenceRow, lifts: &Lifts, settings: &RecordSettings) -> (Length, Length) {
    let movement = row.movement(&lifts.lifts);
    let of_lifts: f64 = row
        .terms
        .iter()
        .map(|&(support, ratio)| ratio * ratio * lifts.variances[support].to_mm2())
        .sum();
    let alone = row.terms.iter().any(|(_, ratio)| *ratio >= ALONE);
    let between = if alone { 0.0 } else { settings.between_share.value };
    let variance = Variance::mm2(of_lifts) + (movement * between).squared();
    (movement, variance.sd())
}

/// Everything that a comparison needs.
pub(super) struct Between<'a> {
    pub(super) job: &'a Job,
    pub(super) shape: &'a FloorShape,
    pub(super) influence: &'a Influence,
    pub(super) surveys: &'a Surveys,
    pub(super) settings: &'a RecordSettings,
}

/// Lifts between two surveys, in the site's order, with their variances.
struct Lifts {
    lifts: Vec<Length>,
    variances: Vec<Variance>,
}

impl Between<'_> {
    /// Each survey against the one before it.
    pub(super) fn steps(&self, done: &WorkDone) -> Vec<Comparison> {
        (1..=self.surveys.last()).map(|to| self.compare(done, (to - 1, to))).collect()
    }

    /// The last survey against the first, if there are two.
    pub(super) fn whole(&self, done: &WorkDone) -> Option<Comparison> {
        let last = self.surveys.last();
        (last > 0).then(|| self.compare(done, (0, last)))
    }

    fn compare(&self, done: &WorkDone, (from, to): (usize, usize)) -> Comparison {
        let lifts = self.lifts(done, (self.surveys.after(from), self.surveys.after(to)));
        let readings = self.shape.surface.readings();
        let points = readings.iter().filter_map(|reading| {
            let measured = self.surveys.movement((from, to), &[(reading.point.clone(), 1.0)])?;
            let row = self.influence.row(&reading.point);
            let difference = row.map(|row| {
                difference(predicted(row, &lifts, self.settings), measured, self.settings)
            });
            Some(PointMovement { point: reading.point.clone(), difference })
        });
        let supports =
            self.job.site.supports().iter().enumerate().map(|(idx, support)| SupportMovement {
                support: support.id.clone(),
                lifted: lifts.lifts[idx],
                difference: self.over(support, idx, (from, to), &lifts),
            });
        let supports: Vec<SupportMovement> = supports.collect();
        let n_tested = supports.iter().filter(|moved| moved.is_tested()).count();
        Comparison {
            false_call: any_of(n_tested, self.settings.false_alarm.value),
            since: match self.surveys.after(from) {
                0 => Since::Start,
                pass => Since::Pass(pass),
            },
            after_pass: self.surveys.after(to),
            points: points.collect(),
            supports,
        }
    }

    /// What was lifted in the passes after `from` up to `to`.
    fn lifts(&self, done: &WorkDone, (from, to): (u32, u32)) -> Lifts {
        let supports = self.job.site.supports();
        let index: BTreeMap<&SupportId, usize> =
            supports.iter().enumerate().map(|(idx, support)| (&support.id, idx)).collect();
        let mut found = Lifts {
            lifts: vec![Length::ZERO; supports.len()],
            variances: vec![Variance::mm2(0.0); supports.len()],
        };
        let sd = self.settings.lift_sd.value;
        let passes = done.passes.iter().filter(|pass| pass.number > from && pass.number <= to);
        for lifted in passes.flat_map(|pass| &pass.lifted) {
            let Some(&idx) = index.get(&lifted.support) else { continue };
            found.lifts[idx] += lifted.lift;
            if lifted.lift != Length::ZERO {
                found.variances[idx] += sd.squared();
            }
        }
        found
    }

    /// The floor over a support: at the point right over it, or between the points round it.
    fn over(
        &self,
        support: &Support,
        idx: usize,
        span: (usize, usize),
        lifts: &Lifts,
    ) -> Option<Difference> {
        let row = self.influence.row_over(idx, support.at)?;
        let readings = self.shape.surface.readings().iter();
        let right_over = readings
            .filter(|reading| reading.at.distance(support.at) <= RIGHT_OVER)
            .filter_map(|reading| {
                let moved = self.surveys.movement(span, &[(reading.point.clone(), 1.0)])?;
                Some((reading.at.distance(support.at), moved))
            })
            .min_by(|a, b| a.0.total_cmp(&b.0));
        let measured = match right_over {
            Some((_, moved)) => moved,
            None => self.between(support.at, span)?,
        };
        Some(difference(predicted(&row, lifts, self.settings), measured, self.settings))
    }

    /// Movement of the surface at a place, if all points that it rests on were read both times.
    fn between(&self, at: Position, span: (usize, usize)) -> Option<(Length, Length)> {
        let surface = &self.shape.surface;
        (0..surface.decks().count()).find_map(|deck| {
            let weights = surface.level_weights(deck, at)?;
            let points: Option<Vec<(PointId, f64)>> = weights
                .iter()
                .map(|&(level, weight)| {
                    let of_level =
                        |reading: &&crate::surface::FloorReading| reading.in_levels == level;
                    let reading = surface.readings().iter().find(of_level)?;
                    Some((reading.point.clone(), weight))
                })
                .collect();
            let (movement, sd) = self.surveys.movement(span, &points?)?;
            let own = movement * self.settings.between_share.value;
            Some((movement, (sd.squared() + own.squared()).sd()))
        })
    }
}

/// Compares every survey with the one before it, without planning what is left.
///
/// # Errors
/// As [`super::record`].
pub fn compare(
    job: &Job,
    plan: &Plan,
    done: &WorkDone,
    settings: &RecordSettings,
) -> Result<Vec<Comparison>, Vec<StopReason>> {
    let Stage::Done(shape) = &plan.floor else { return Ok(Vec::new()) };
    let faults = super::faults(job, done);
    if !faults.is_empty() {
        return Err(faults);
    }
    let surveys = Surveys::of(job, done)?;
    let influence = influence(job, plan)?;
    Ok(Between { job, shape, influence: &influence, surveys: &surveys, settings }.steps(done))
}

#[cfg(test)]
mod tests {
    use super::any_of;

    /// 1 - 0.99^54 and 1 - 0.99^4 in decimal arithmetic.
    #[test]
    fn many_tests_err_more_often_than_one() {
        assert_eq!(any_of(0, 0.01), 0.0);
        assert!((any_of(1, 0.01) - 0.01).abs() < 1e-15);
        assert!((any_of(4, 0.01) - 0.039_403_99).abs() < 1e-12);
        assert!((any_of(54, 0.01) - 0.418_833_585).abs() < 1e-9);
        assert_eq!(any_of(usize::MAX, 0.01), 1.0);
    }
}
