//! Which height is asked for, and what it rests on.

use super::{FloorShape, Job, StopReason};
use crate::ids::PointId;
use crate::settings::TargetHeight;
use crate::site::Position;
use crate::surface::FloorReading;
use crate::survey::Reduction;
use crate::units::{Length, Level};
use serde::Serialize;
use std::collections::BTreeSet;

/// The height that was asked for.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct TargetFacts {
    /// The level, unless it is left free. Where the target may lean it is the height at the point
    /// that it comes from, or at the middle of the points.
    pub level: Option<Level>,
    /// Standard deviation of that level above the datum; zero for a number. For a free height it
    /// is that of the mean of the points, a little less than that of the height which is found.
    pub sd: Length,
    /// Where it comes from, in words.
    pub from: String,
    /// Points that it rests on, benchmarks included, whose readings are in doubt.
    pub in_doubt: Vec<PointId>,
}

/// The target with the levels it rests on, as weights into the reduction's levels.
pub(super) struct Target {
    pub(super) facts: TargetFacts,
    pub(super) weights: Vec<(usize, f64)>,
    /// Where a leaning target keeps its height, if that is at a point.
    pub(super) pivot: Option<Position>,
}

/// Finds the height, given the readings that the goal asks about (at least one).
pub(super) fn find_target(
    job: &Job,
    reduction: &Reduction,
    asked: &[&FloorReading],
    doubted: &BTreeSet<PointId>,
) -> Result<Target, StopReason> {
    let (level, from, weights) = match &job.goal.height {
        TargetHeight::Number(level) => (Some(*level), "a level set by hand".to_owned(), vec![]),
        TargetHeight::Point { point, offset } => at_point(reduction, point, *offset)?,
        TargetHeight::Highest => highest(asked)?,
        TargetHeight::Free => {
            let share = 1.0 / asked.len() as f64;
            let weights = asked.iter().map(|reading| (reading.in_levels, share)).collect();
            (None, "left free: the height that suits the floor best".to_owned(), weights)
        }
    };
    let benchmarks = job.survey.benchmarks.iter().map(|mark| &mark.point);
    let rests_on = weights.iter().map(|&(idx, _)| &reduction.levels.points()[idx].point);
    let one_point = |point: &&PointId| level.is_some() && doubted.contains(*point);
    let in_doubt: BTreeSet<PointId> =
        benchmarks.chain(rests_on).filter(one_point).cloned().collect();
    let pivot = match &job.goal.height {
        TargetHeight::Point { point, .. } => job.site.point(point).and_then(|point| point.at),
        TargetHeight::Highest => highest_of(asked).map(|reading| reading.at),
        TargetHeight::Number(_) | TargetHeight::Free => None,
    };
    if let (TargetHeight::Point { point, .. }, None, Some(_)) =
        (&job.goal.height, pivot, job.goal.tilt_allowed)
    {
        return Err(StopReason::new(
            format!("the target may lean, and point {point} that it hangs on has no place"),
            "give the point its place, or take tilt_allowed out",
        ));
    }
    Ok(Target {
        pivot,
        facts: TargetFacts {
            level,
            sd: reduction.levels.combination_sd(&weights),
            from,
            in_doubt: in_doubt.into_iter().collect(),
        },
        weights,
    })
}

type Found = (Option<Level>, String, Vec<(usize, f64)>);

fn at_point(reduction: &Reduction, point: &PointId, offset: Length) -> Result<Found, StopReason> {
    let Some(in_levels) = reduction.levels.index_of(point) else {
        return Err(StopReason::new(
            format!("the goal hangs on point {point}, which has no level"),
            "read it from a setup that also reads the floor, or choose another height",
        ));
    };
    let words = if offset == Length::ZERO {
        format!("the level of {point}")
    } else {
        let side = if offset > Length::ZERO { "above" } else { "below" };
        format!("{} {side} {point}", offset.abs())
    };
    let level = reduction.levels.points()[in_levels].level + offset;
    Ok((Some(level), words, vec![(in_levels, 1.0)]))
}

fn highest(asked: &[&FloorReading]) -> Result<Found, StopReason> {
    highest_of(asked)
        .map(|highest| {
            let words = format!("the highest point, {}", highest.point);
            (Some(highest.level), words, vec![(highest.in_levels, 1.0)])
        })
        .ok_or_else(|| StopReason::bare("the goal asks about no point"))
}

/// The first of the highest.
fn highest_of<'a>(asked: &[&'a FloorReading]) -> Option<&'a FloorReading> {
    let higher = |best: &'a FloorReading, next: &'a FloorReading| {
        if next.level > best.level { next } else { best }
    };
    asked.iter().copied().reduce(higher)
}

/// Points to read again before they are built on.
pub(super) fn points_in_doubt(
    reduction: &Reduction,
    shape: Option<&FloorShape>,
) -> BTreeSet<PointId> {
    let suspects = reduction.suspects.iter().flat_map(|suspect| {
        std::iter::once(&suspect.name)
            .chain(suspect.or_else.iter().map(|alternative| &alternative.name))
            .filter_map(|name| name.point().cloned())
    });
    let odd = shape.into_iter().flat_map(|shape| &shape.odd);
    suspects.chain(odd.map(|odd| odd.odd.point.clone())).collect()
}
