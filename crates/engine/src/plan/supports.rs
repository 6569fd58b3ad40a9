//! What is known of each support before any lift: the floor over it, and whether it may move.

use super::height::Target;
use super::{FloorShape, Job, StopReason};
use crate::ids::{PointId, SupportId};
use crate::mesh::OUTSIDE_ALLOWANCE;
use crate::site::{Point, Position, Support};
use crate::surface::FloorReading;
use crate::survey::Reduction;
use crate::target::SupportBounds;
use crate::units::{Length, Level};
use crate::verdict::room_of;
use serde::Serialize;
use std::collections::BTreeSet;

/// A reading this close to a support is the floor right over it; a choice: half a staff's foot
/// and half a support.
const RIGHT_OVER: Length = Length::mm(50.0);

/// A deck with fewer readings than this says nothing of the floor between them.
const SHAPES_A_FLOOR: usize = 3;

/// A reading has a say over a support if its weight is more than this.
pub(super) const HAS_A_SAY: f64 = 0.05;

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
    /// No reading was taken right over it: the floor there is between its neighbours.
    pub between_readings: bool,
}

/// Whether the goal asks about a point.
fn in_goal(job: &Job, point: &Point) -> bool {
    job.goal.rooms.is_empty()
        || room_of(&job.site, point).is_some_and(|room| job.goal.rooms.contains(&room.id))
}

/// What the goal asks about.
pub(super) struct Asked {
    /// For each reading of the surface, whether its point is asked about.
    pub(super) readings: Vec<bool>,
    /// The decks of those that are.
    pub(super) decks: BTreeSet<usize>,
}

impl Asked {
    /// Looks at every reading once.
    pub(super) fn of(job: &Job, shape: &FloorShape) -> Self {
        let is_asked = |reading: &FloorReading| {
            job.site.point(&reading.point).is_some_and(|point| in_goal(job, point))
        };
        let all = shape.surface.readings();
        let readings: Vec<bool> = all.iter().map(is_asked).collect();
        let asked = all.iter().zip(&readings).filter(|(_, is_asked)| **is_asked);
        let decks = asked.map(|(reading, _)| reading.deck).collect();
        Self { readings, decks }
    }
}

/// What the goal asks about, and the floor over every support.
pub(super) struct Seen {
    pub(super) asked: Asked,
    /// In the site's order; `None` where it was not read.
    pub(super) over: Vec<Option<FloorOver>>,
}

impl Seen {
    /// Looks at every reading and every support once.
    pub(super) fn of(job: &Job, shape: &FloorShape) -> Self {
        let asked = Asked::of(job, shape);
        let supports = job.site.supports().iter();
        let over = supports.map(|support| floor_over(shape, &asked, support.at)).collect();
        Self { asked, over }
    }
}

/// Describes one support.
pub(super) fn describe(
    job: &Job,
    reduction: &Reduction,
    (support, over): (&Support, Option<&FloorOver>),
    target: &Target,
    asked: &Asked,
    doubted: &BTreeSet<PointId>,
) -> SupportFacts {
    let sd = over.map(|over| {
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
    let in_doubt: BTreeSet<PointId> = over
        .iter()
        .flat_map(|over| &over.weights)
        .filter(|(_, weight)| weight.abs() > HAS_A_SAY)
        .map(|&(level, _)| reduction.levels.points()[level].point.clone())
        .filter(|point| doubted.contains(point))
        .collect();
    SupportFacts {
        support: support.id.clone(),
        held: held_because(job, asked, support, over),
        floor: over.map(|over| over.level),
        deck: over.map(|over| over.deck),
        sd,
        in_doubt: in_doubt.into_iter().collect(),
        between_readings: over.is_some_and(|over| !over.right_over),
    }
}

/// The floor over a support.
pub(super) struct FloorOver {
    pub(super) level: Level,
    pub(super) deck: usize,
    /// Which levels it is made of: index into the reduction's levels and ratio.
    pub(super) weights: Vec<(usize, f64)>,
    /// Standard deviation of what the floor may do between the readings.
    pub(super) between: Length,
    right_over: bool,
}

/// The floor over a place: the nearest reading right there, one that the goal asks about first, or
/// the surface on the goal's decks, or any surface. Under a step both floors are there, and it is
/// the one to be levelled that counts.
fn floor_over(shape: &FloorShape, asked: &Asked, place: Position) -> Option<FloorOver> {
    let surface = &shape.surface;
    let here = surface
        .readings()
        .iter()
        .zip(&asked.readings)
        .map(|(reading, is_asked)| (!is_asked, reading.at.distance(place), reading))
        .filter(|(_, away, _)| *away <= RIGHT_OVER)
        .min_by(|a, b| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)));
    if let Some((_, _, reading)) = here {
        return Some(FloorOver {
            level: reading.level,
            deck: reading.deck,
            weights: vec![(reading.in_levels, 1.0)],
            between: Length::ZERO,
            right_over: true,
        });
    }
    let all_decks = 0..surface.decks().count();
    let is_shaped = |deck: &usize| {
        let on_deck = surface.readings().iter().filter(|reading| reading.deck == *deck);
        on_deck.take(SHAPES_A_FLOOR).count() >= SHAPES_A_FLOOR
    };
    asked.decks.iter().copied().chain(all_decks).filter(is_shaped).find_map(|deck| {
        let height = surface.at_on_deck(deck, place)?;
        Some(FloorOver {
            level: height.level,
            deck,
            weights: surface.level_weights(deck, place)?,
            between: (height.sd.squared() - height.sd_survey.squared()).sd(),
            right_over: false,
        })
    })
}

fn held_because(
    job: &Job,
    asked: &Asked,
    support: &Support,
    over: Option<&FloorOver>,
) -> Option<String> {
    if let Some(why) = &support.fixed {
        return Some(why.clone());
    }
    let Some(over) = over else {
        return Some("the floor over it was not read".to_owned());
    };
    let under = job.goal.rooms.is_empty()
        || job
            .site
            .rooms()
            .iter()
            .filter(|room| job.goal.rooms.contains(&room.id))
            .any(|room| room.outline.contains(support.at, OUTSIDE_ALLOWANCE));
    if !under {
        return Some("not under the rooms of the goal".to_owned());
    }
    (!asked.decks.contains(&over.deck))
        .then(|| "it carries a floor that the goal does not ask about".to_owned())
}

/// How far a support may go.
pub(super) fn bounds(job: &Job, support: &Support, facts: &SupportFacts) -> SupportBounds {
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

/// Lifts set by hand have to respect what the job says of their supports.
pub(super) fn check_by_hand(job: &Job, bounds: &[SupportBounds]) -> Vec<StopReason> {
    let mut faults = Vec::new();
    for (id, lift) in &job.by_hand {
        let Some(bound) = bounds.iter().find(|bound| bound.id == *id) else {
            faults.push(StopReason::bare(format!("there is no support {id} to set by hand")));
            continue;
        };
        if *lift >= bound.lower && *lift <= bound.upper {
            continue;
        }
        let why = bound.why.as_deref().unwrap_or("no reason is given");
        let what = if bound.is_held() {
            format!("support {id} is set to {lift} by hand, but it stays as it is: {why}")
        } else {
            format!(
                "support {id} is set to {lift} by hand, it may go from {} to {}: {why}",
                bound.lower, bound.upper
            )
        };
        let hint = "choose another lift, or change fixed, max_lift or may_lower of the support in \
                    the job, with the reason";
        faults.push(StopReason::new(what, hint));
    }
    faults
}
