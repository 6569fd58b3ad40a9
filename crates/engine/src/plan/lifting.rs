//! The stage from the shape of the floor and the goal to a lift at each support.

use super::{FloorShape, Job, Stage, StopReason};
use crate::ids::{PointId, SupportId};
use crate::influence::Influence;
use crate::settings::TargetHeight;
use crate::site::{Point, Position, Support};
use crate::surface::FloorReading;
use crate::survey::Reduction;
use crate::target::{
    FloorPoint, Height, Outcome, Prediction, Problem, SupportBounds, predict, solve, straightedges,
};
use crate::units::{Length, Level};
use crate::verdict::room_of;
use serde::Serialize;
use std::collections::BTreeSet;

/// A reading this close to a support is the floor right over it.
const RIGHT_OVER: Length = Length::mm(50.0);

/// A support further from the rooms to be levelled than this is not under them: the distance
/// that a wall support may stand outside the outline.
const UNDER_ROOM: Length = Length::mm(300.0);

/// The lifts, what they rest on and how sure they are.
#[derive(Clone, Debug, Serialize)]
pub struct LiftingStage {
    /// The target and how it was found.
    pub target: TargetFacts,
    /// How a lift moves the floor.
    pub influence: Influence,
    /// One for each support of the site, in its order.
    pub supports: Vec<SupportFacts>,
    /// Floor points that the goal does not ask about, or that no support moves, with why.
    pub left_out: Vec<(PointId, String)>,
    /// The lifts, or why there are none.
    pub outcome: Outcome,
    /// What the lifts set by hand alone come to, if any were set.
    pub by_hand: Vec<(SupportId, Length)>,
    /// The floor as it is, held against the same target.
    pub now: Option<Prediction>,
    /// The problem that was solved, to ask it for the floor on other lifts.
    #[serde(skip)]
    pub problem: Problem,
}

/// The height that was asked for.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct TargetFacts {
    /// The level, unless it is left free.
    pub level: Option<Level>,
    /// Standard deviation of that level above the datum; zero for a number.
    pub sd: Length,
    /// Where it comes from, in words.
    pub from: String,
}

/// What is known of a support before any lift.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SupportFacts {
    /// The support.
    pub support: SupportId,
    /// The floor over it today; `None` where it was not read.
    pub floor: Option<Level>,
    /// The deck of that floor, as an index into the surface's decks.
    pub deck: Option<usize>,
    /// Standard deviation of the difference between the target and that floor: how sure a lift
    /// can be that brings the one to the other. `None` where the floor was not read.
    pub sd: Option<Length>,
    /// Points near it whose readings are in doubt: read them again before lifting.
    pub in_doubt: Vec<PointId>,
    /// Why it may not be moved, where it may not.
    pub held: Option<String>,
}

impl LiftingStage {
    /// The lift at each support in the site's order, if the goal can be met.
    pub fn lifts(&self) -> Option<Vec<Length>> {
        match &self.outcome {
            Outcome::Reached(plan) => {
                Some(plan.outcome.lifts.iter().map(|support| support.lift).collect())
            }
            Outcome::CannotBeDone(_) | Outcome::Refused(_) => None,
        }
    }
}

/// Sets up the problem and solves it.
pub(super) fn lifts(job: &Job, reduction: &Reduction, shape: &FloorShape) -> Stage<LiftingStage> {
    if job.site.supports().is_empty() {
        return Stage::Stopped(vec![StopReason::new(
            "the job has no supports",
            "list the supports with their places, or give each point a place",
        )]);
    }
    let influence = match Influence::by_interpolation(&job.site) {
        Ok(influence) => influence,
        Err(faults) => {
            let hint = "measure positions from a corner of the house";
            let why = faults.into_iter().map(|fault| StopReason::new(fault, hint)).collect();
            return Stage::Stopped(why);
        }
    };
    let mut left_out = Vec::new();
    let rows = asked_for(job, shape, &influence, &mut left_out);
    if rows.is_empty() {
        return Stage::Stopped(vec![StopReason::new(
            "no floor point of the goal was read where a support can move it",
            "read points in the rooms of the goal, and give the supports their places",
        )]);
    }
    let target = match find_target(job, reduction, shape, &rows) {
        Ok(target) => target,
        Err(reason) => return Stage::Stopped(vec![reason]),
    };
    let doubted = points_in_doubt(reduction, Some(shape));
    let supports: Vec<SupportFacts> = job
        .site
        .supports()
        .iter()
        .map(|support| describe(job, reduction, shape, support, &target, &doubted))
        .collect();
    let mut problem = pose(job, shape, &influence, &rows, &target.facts);
    problem.supports = job
        .site
        .supports()
        .iter()
        .zip(&supports)
        .map(|(support, facts)| bounds(job, support, facts))
        .collect();
    let problem = match problem.with_lifts(&job.by_hand) {
        Ok(problem) => problem,
        Err(faults) => return Stage::Stopped(faults.into_iter().map(StopReason::bare).collect()),
    };
    let none = vec![Length::ZERO; problem.supports.len()];
    let outcome = solve(&problem);
    Stage::Done(LiftingStage {
        now: predict(&without_bounds(&problem, &outcome), &none).ok(),
        target: target.facts,
        influence,
        supports,
        left_out,
        outcome,
        by_hand: job.by_hand.clone(),
        problem,
    })
}

/// Which readings the goal asks about: index into the surface's readings and into the
/// influence's rows.
fn asked_for(
    job: &Job,
    shape: &FloorShape,
    influence: &Influence,
    left_out: &mut Vec<(PointId, String)>,
) -> Vec<(usize, usize)> {
    let rows: std::collections::BTreeMap<&PointId, usize> =
        influence.rows().iter().enumerate().map(|(idx, row)| (&row.point, idx)).collect();
    let mut asked = Vec::new();
    for (reading_idx, reading) in shape.surface.readings().iter().enumerate() {
        let point = job.site.point(&reading.point);
        if !point.is_some_and(|point| in_goal(job, point)) {
            left_out.push((reading.point.clone(), "not in the rooms of the goal".to_owned()));
        } else if let Some(&row) = rows.get(&reading.point) {
            asked.push((reading_idx, row));
        } else {
            left_out.push((reading.point.clone(), "no support moves it".to_owned()));
        }
    }
    asked
}

fn in_goal(job: &Job, point: &Point) -> bool {
    job.goal.rooms.is_empty()
        || room_of(&job.site, point).is_some_and(|room| job.goal.rooms.contains(&room.id))
}

/// The target with the levels it rests on, as weights into the reduction's levels.
struct Target {
    facts: TargetFacts,
    weights: Vec<(usize, f64)>,
}

fn find_target(
    job: &Job,
    reduction: &Reduction,
    shape: &FloorShape,
    rows: &[(usize, usize)],
) -> Result<Target, StopReason> {
    let readings = shape.surface.readings();
    let known = |level, from: String, weights: Vec<(usize, f64)>| Target {
        facts: TargetFacts {
            level: Some(level),
            sd: reduction.levels.combination_sd(&weights),
            from,
        },
        weights,
    };
    Ok(match &job.goal.height {
        TargetHeight::Number(level) => known(*level, "a level set by hand".to_owned(), vec![]),
        TargetHeight::Point { point, offset } => {
            let Some(in_levels) = reduction.levels.index_of(point) else {
                return Err(StopReason::new(
                    format!("the goal hangs on point {point}, which has no level"),
                    "read it from a setup that also reads the floor, or choose another height",
                ));
            };
            let words = if *offset == Length::ZERO {
                format!("the level of {point}")
            } else {
                let side = if *offset > Length::ZERO { "above" } else { "below" };
                format!("{} {side} {point}", offset.abs())
            };
            known(
                reduction.levels.points()[in_levels].level + *offset,
                words,
                vec![(in_levels, 1.0)],
            )
        }
        TargetHeight::Highest => {
            let highest = rows
                .iter()
                .map(|&(reading, _)| &readings[reading])
                .reduce(|best, next| if next.level > best.level { next } else { best })
                .expect("the goal asks about some point");
            let words = format!("the highest point, {}", highest.point);
            known(highest.level, words, vec![(highest.in_levels, 1.0)])
        }
        TargetHeight::Free => {
            let share = 1.0 / rows.len() as f64;
            let weights: Vec<(usize, f64)> =
                rows.iter().map(|&(reading, _)| (readings[reading].in_levels, share)).collect();
            Target {
                facts: TargetFacts {
                    level: None,
                    sd: reduction.levels.combination_sd(&weights),
                    from: "left free: the height that suits the floor best".to_owned(),
                },
                weights,
            }
        }
    })
}

fn describe(
    job: &Job,
    reduction: &Reduction,
    shape: &FloorShape,
    support: &Support,
    target: &Target,
    doubted: &BTreeSet<PointId>,
) -> SupportFacts {
    let over = floor_over(job, shape, support.at);
    let sd = over.as_ref().map(|over| {
        let mut difference = target.weights.clone();
        for &(level, weight) in &over.weights {
            match difference.iter_mut().find(|(other, _)| *other == level) {
                Some((_, sum)) => *sum -= weight,
                None => difference.push((level, -weight)),
            }
        }
        let survey = reduction.levels.combination_sd(&difference);
        (survey.squared() + over.between.squared()).sd()
    });
    let mut in_doubt: Vec<PointId> = over
        .iter()
        .flat_map(|over| &over.weights)
        .filter(|(_, weight)| weight.abs() > 0.05)
        .map(|&(level, _)| reduction.levels.points()[level].point.clone())
        .filter(|point| doubted.contains(point))
        .collect();
    in_doubt.sort();
    SupportFacts {
        support: support.id.clone(),
        held: held_because(job, support, over.is_some()),
        floor: over.as_ref().map(|over| over.level),
        deck: over.map(|over| over.deck),
        sd,
        in_doubt,
    }
}

/// The floor over a support.
struct FloorOver {
    level: Level,
    deck: usize,
    /// Which levels it is made of: index into the reduction's levels and ratio.
    weights: Vec<(usize, f64)>,
    /// Standard deviation of what the floor may do between the readings.
    between: Length,
}

/// The floor over a place: the reading taken there, one that the goal asks about first, or the
/// surface on the goal's decks, or any surface. Under a step both floors are there, and it is the
/// one to be levelled that counts.
fn floor_over(job: &Job, shape: &FloorShape, place: Position) -> Option<FloorOver> {
    let surface = &shape.surface;
    let asked = |reading: &&FloorReading| {
        job.site.point(&reading.point).is_some_and(|point| in_goal(job, point))
    };
    let here = || surface.readings().iter().filter(|r| r.at.distance(place) <= RIGHT_OVER);
    if let Some(reading) = here().find(asked).or_else(|| here().next()) {
        return Some(FloorOver {
            level: reading.level,
            deck: reading.deck,
            weights: vec![(reading.in_levels, 1.0)],
            between: Length::ZERO,
        });
    }
    let asked_decks: BTreeSet<usize> =
        surface.readings().iter().filter(asked).map(|reading| reading.deck).collect();
    let all_decks = 0..surface.decks().count();
    asked_decks.into_iter().chain(all_decks).find_map(|deck| {
        let height = surface.at_on_deck(deck, place)?;
        Some(FloorOver {
            level: height.level,
            deck,
            weights: surface.level_weights(deck, place)?,
            between: (height.sd.squared() - height.sd_survey.squared()).sd(),
        })
    })
}

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

fn held_because(job: &Job, support: &Support, read: bool) -> Option<String> {
    if let Some(why) = &support.fixed {
        return Some(why.clone());
    }
    if !read {
        return Some("the floor over it was not read".to_owned());
    }
    let under = job.goal.rooms.is_empty()
        || job
            .site
            .rooms()
            .iter()
            .filter(|room| job.goal.rooms.contains(&room.id))
            .any(|room| room.outline.contains(support.at, UNDER_ROOM));
    (!under).then(|| "not under the rooms of the goal".to_owned())
}

fn bounds(job: &Job, support: &Support, facts: &SupportFacts) -> SupportBounds {
    let held = facts.held.is_some();
    let cap = support.max_lift.unwrap_or(job.limits.max_lift.value);
    let why = facts.held.clone().or_else(|| {
        Some(match support.max_lift {
            Some(_) => "its own limit in the job".to_owned(),
            None => job.limits.max_lift.reason.clone(),
        })
    });
    SupportBounds {
        id: support.id.clone(),
        at: support.at,
        lower: if held { Length::ZERO } else { -support.may_lower },
        upper: if held { Length::ZERO } else { cap },
        why,
    }
}

fn pose(
    job: &Job,
    shape: &FloorShape,
    influence: &Influence,
    rows: &[(usize, usize)],
    target: &TargetFacts,
) -> Problem {
    let decks: Vec<&str> = shape.surface.decks().collect();
    let points: Vec<FloorPoint> = rows
        .iter()
        .map(|&(reading, _)| {
            let reading = &shape.surface.readings()[reading];
            FloorPoint {
                id: reading.point.clone(),
                at: reading.at,
                level: reading.level,
                deck: decks[reading.deck].to_owned(),
            }
        })
        .collect();
    let terms = rows.iter().map(|&(_, row)| influence.rows()[row].row.terms.clone()).collect();
    let height = target.level.map_or(Height::Free, Height::At);
    let mut problem = Problem::new(points, Vec::new(), terms, height);
    problem.tilt = job.goal.tilt_allowed;
    problem.level_tolerance = job.goal.level_tolerance;
    problem.slope_tolerance = job.goal.slope_tolerance;
    problem.straightedges = straightedges(&problem.points);
    problem.prefer = job.goal.prefer;
    problem
}

/// The same problem held to the plane that was found, so that the floor as it is can be compared
/// with the floor as it will be.
fn without_bounds(problem: &Problem, outcome: &Outcome) -> Problem {
    let mut same = problem.clone();
    for support in &mut same.supports {
        support.lower = support.lower.min(Length::ZERO);
        support.upper = support.upper.max(Length::ZERO);
    }
    if let Outcome::Reached(plan) = outcome
        && same.tilt.is_none()
    {
        same.height = Height::At(plan.outcome.plane.height);
    }
    same
}
