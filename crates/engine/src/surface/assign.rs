//! Which deck each floor point is on.

use super::SurfaceFault;
use crate::ids::PointId;
use crate::mesh::{Boundary, OUTSIDE_ALLOWANCE};
use crate::site::{Point, Position, Site};
use crate::survey::Levels;
use crate::units::{Length, Level};
use serde::Serialize;

/// A point this close to two decks may be on either: the room has to be given. A choice: half
/// the width of a staff's foot.
pub const ON_THE_LINE: Length = Length::mm(20.0);

/// The level of a floor point together with where it is.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct FloorReading {
    /// The point.
    pub point: PointId,
    /// Where it is on the plan.
    pub at: Position,
    /// Its deck, as an index into the surface's decks.
    pub deck: usize,
    /// Its height above the datum.
    pub level: Level,
    /// Its place among the levels of the survey.
    pub in_levels: usize,
}

/// A floor point that has no say in the shape of the floor.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum LeftOut {
    /// It has no position on the plan.
    NoPosition(PointId),
    /// It has no level.
    NotRead(PointId),
}

/// Floor points with place, level and deck, and those that lack one.
pub(super) fn floor_readings(
    site: &Site,
    levels: &Levels,
    outlines: &[(String, Boundary)],
) -> Result<(Vec<FloorReading>, Vec<LeftOut>), Vec<SurfaceFault>> {
    let (mut readings, mut left_out, mut faults) = (Vec::new(), Vec::new(), Vec::new());
    for point in site.points().iter().filter(|point| point.kind.is_floor()) {
        let Some(at) = point.at else {
            left_out.push(LeftOut::NoPosition(point.id.clone()));
            continue;
        };
        let Some(in_levels) = levels.index_of(&point.id) else {
            left_out.push(LeftOut::NotRead(point.id.clone()));
            continue;
        };
        let read = &levels.points()[in_levels];
        if !read.level.is_finite() || !read.sd_prior.is_finite() {
            faults.push(SurfaceFault::NotFinite { point: point.id.clone() });
            continue;
        }
        match deck_of(point, at, site, outlines) {
            Ok(deck) => readings.push(FloorReading {
                point: point.id.clone(),
                at,
                deck,
                level: read.level,
                in_levels,
            }),
            Err(fault) => faults.push(fault),
        }
    }
    if readings.is_empty() && faults.is_empty() {
        faults.push(SurfaceFault::NoReadings);
    }
    if faults.is_empty() { Ok((readings, left_out)) } else { Err(faults) }
}

/// The deck of the room that the point names, or else the deck that the outlines put it on.
fn deck_of(
    point: &Point,
    at: Position,
    site: &Site,
    outlines: &[(String, Boundary)],
) -> Result<usize, SurfaceFault> {
    if let Some(room) = &point.room {
        let named = site.rooms().iter().find(|candidate| candidate.id == *room);
        let deck = named.and_then(|room| outlines.iter().position(|(name, _)| *name == room.deck));
        if let Some(deck) = deck {
            return Ok(deck);
        }
    }
    if outlines.is_empty() {
        return Ok(0);
    }
    let outside_by = |boundary: &Boundary| -> Length {
        if boundary.encloses(at) {
            return Length::ZERO;
        }
        boundary.nearest(at).map_or(Length::mm(f64::INFINITY), |(_, away)| away)
    };
    let mut by_distance: Vec<(Length, usize)> = outlines
        .iter()
        .enumerate()
        .map(|(deck, (_, boundary))| (outside_by(boundary), deck))
        .collect();
    by_distance.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    let (outside, deck) = by_distance[0];
    if outside > OUTSIDE_ALLOWANCE {
        let floor = "every room".to_owned();
        return Err(SurfaceFault::Outside { point: point.id.clone(), outside, floor });
    }
    match by_distance.get(1) {
        Some(&(next, other)) if next - outside <= ON_THE_LINE => Err(SurfaceFault::BetweenDecks {
            point: point.id.clone(),
            first: outlines[deck.min(other)].0.clone(),
            second: outlines[deck.max(other)].0.clone(),
        }),
        _ => Ok(deck),
    }
}
