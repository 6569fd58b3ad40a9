//! Which floor points belong together: by room, or by continuous floor.

use super::criterion::Scope;
use crate::ids::{PointId, RoomId};
use crate::mesh::OUTSIDE_ALLOWANCE;
use crate::site::{Point, Room, Site};
use crate::survey::Levels;
use crate::units::Length;
use serde::Serialize;
use std::fmt;

/// A point this close to a room's outline counts as inside.
const ON_OUTLINE: Length = Length::mm(1.0);

/// Floor points that are judged as one.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Part {
    /// What they make up.
    pub name: PartName,
    /// Where they stand in the levels.
    pub points: Vec<usize>,
}

/// What a part of the house is called.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum PartName {
    /// A room.
    Room(RoomId),
    /// The rooms on one deck.
    Deck(String),
    /// The whole floor.
    Whole,
}

/// A floor point that took no part, and why.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct LeftOut {
    /// The point.
    pub point: PointId,
    /// Why.
    pub why: String,
}

/// The floor points of a house, sorted into parts.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Parts {
    /// In the order of the rooms; a part may be without points.
    pub parts: Vec<Part>,
    /// The points that are in none.
    pub left_out: Vec<LeftOut>,
}

/// The room a point is in: the one the builder said, or else the first whose outline holds it, or
/// the nearest for a point outside by no more than [`OUTSIDE_ALLOWANCE`].
pub fn room_of<'a>(site: &'a Site, point: &Point) -> Option<&'a Room> {
    if let Some(said) = &point.room {
        return site.rooms().iter().find(|room| room.id == *said);
    }
    let at = point.at?;
    let inside = |margin| site.rooms().iter().find(move |room| room.outline.contains(at, margin));
    // Without a margin a place on a wall line that two rooms share is in one of them only.
    inside(-ON_OUTLINE).or_else(|| inside(ON_OUTLINE)).or_else(|| {
        let away = site.rooms().iter().map(|room| (room.outline.distance_to_line(at), room));
        let near = away.filter(|(distance, _)| *distance <= OUTSIDE_ALLOWANCE);
        near.min_by(|(a, _), (b, _)| a.total_cmp(b)).map(|(_, room)| room)
    })
}

/// Sorts the floor points that have a level into the parts of a scope.
///
/// Without any room the whole floor is one part; room by room then has no part at all.
pub fn parts_of(scope: Scope, site: &Site, levels: &Levels) -> Parts {
    let mut sorted = Parts::default();
    let deck_name = |room: &Room| PartName::Deck(room.deck.clone());
    for room in site.rooms() {
        let name = match scope {
            Scope::Room => PartName::Room(room.id.clone()),
            Scope::Floor | Scope::Footprint => deck_name(room),
        };
        if !sorted.parts.iter().any(|part| part.name == name) {
            sorted.parts.push(Part { name, points: Vec::new() });
        }
    }
    if site.rooms().is_empty() && scope != Scope::Room {
        sorted.parts.push(Part { name: PartName::Whole, points: Vec::new() });
    }
    for point in site.points().iter().filter(|point| point.kind.is_floor()) {
        let name = match (room_of(site, point), scope) {
            (Some(room), Scope::Room) => PartName::Room(room.id.clone()),
            (Some(room), Scope::Floor | Scope::Footprint) => deck_name(room),
            (None, _) => PartName::Whole,
        };
        let part = sorted.parts.iter_mut().find(|part| part.name == name);
        let mut leave_out = |why: &str| {
            sorted.left_out.push(LeftOut { point: point.id.clone(), why: why.to_owned() });
        };
        let is_number = |idx: usize| {
            let level = &levels.points()[idx];
            level.level.is_finite() && level.sd_prior.is_finite()
        };
        match (levels.index_of(&point.id), part) {
            (None, _) => leave_out("it has no level"),
            (Some(level_idx), _) if !is_number(level_idx) => {
                leave_out("its level is not a number");
            }
            (Some(_), None) => leave_out("it is in no room"),
            (Some(level_idx), Some(part)) => part.points.push(level_idx),
        }
    }
    sorted
}

impl fmt::Display for PartName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Room(room) => write!(f, "room {room}"),
            Self::Deck(deck) if deck.is_empty() => f.write_str("the floor"),
            Self::Deck(deck) => write!(f, "floor {deck}"),
            Self::Whole => f.write_str("the floor"),
        }
    }
}
