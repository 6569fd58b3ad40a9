//! The line round a deck, found from the outlines of its rooms.
//!
//! Rooms are drawn one by one, so their outlines share walls, meet at part of a wall, lie in
//! one another or overlap. All sides are first broken up where they meet. A piece of a side then
//! belongs to the line round a deck if the deck's floor lies on exactly one of its two sides;
//! a wall between two rooms of one deck has floor on both and drops out.

use super::MeshFault;
use super::plane::{Xy, crossing, nearest_on};
use crate::site::{Position, Room};
use crate::units::Length;
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};

/// Corners and sides of different rooms that are closer than this are taken to be the same.
///
/// A choice: wider than a slip in a drawing rounded to the millimetre, narrower than any wall.
/// Rooms drawn with the wall's thickness between them are therefore separate floors.
pub const JOIN_DISTANCE: Length = Length::mm(5.0);

/// For the footprint, gaps no wider than this are closed: rooms are often measured from wall to
/// wall inside, and the frame runs on under the walls. A choice: the thickest wall of a timber
/// house with its linings.
pub const WALL_THICKNESS: Length = Length::mm(200.0);

/// Positions further than this from the plan's zero are refused: 10,000 km, so that national
/// grids fit and arithmetic stays good to a thousandth of a millimetre.
pub const PLAN_LIMIT: Length = Length::mm(1e10);

/// The closed line round one deck: possibly of several parts, possibly with holes.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Boundary {
    sides: Vec<(Position, Position)>,
    assumed: bool,
}

/// A room's outline after it has been broken up where it meets others.
struct BrokenRoom {
    deck: usize,
    area: f64,
    sides: Vec<(usize, usize)>,
}

/// All outlines of a plan, broken up where they meet.
struct Pieces {
    origin: Position,
    corners: Vec<Xy>,
    rooms: Vec<BrokenRoom>,
}

impl Boundary {
    /// The smallest outward-bulging line round some places, for a plan without outlines.
    ///
    /// It is marked as assumed. Places on one line have no such line: the boundary has no sides.
    pub fn around(places: &[Position]) -> Self {
        let Some(&origin) = places.first() else {
            return Self { sides: Vec::new(), assumed: true };
        };
        // Whole thousandths of a millimetre: what is almost straight is then straight, and turns
        // are told exactly on any plan of a few kilometres. Adding zero takes off a minus zero.
        let thousandths = |length: f64| (length * 1e3).round() + 0.0;
        let mut local: Vec<Xy> = places
            .iter()
            .map(|&at| Xy::from_position(at, origin))
            .map(|at| Xy::new(thousandths(at.x), thousandths(at.y)))
            .collect();
        local.sort_by(|a, b| a.x.total_cmp(&b.x).then(a.y.total_cmp(&b.y)));
        let mut hull = half_hull(local.iter().copied());
        hull.extend(half_hull(local.iter().rev().copied()));
        let n_corners = hull.len();
        let corner = |idx: usize| to_position(hull[idx % n_corners] * 1e-3, origin);
        let sides = if n_corners < 3 {
            Vec::new()
        } else {
            (0..n_corners).map(|idx| (corner(idx), corner(idx + 1))).collect()
        };
        Self { sides, assumed: true }
    }

    /// The straight sides, in no particular order.
    pub fn sides(&self) -> &[(Position, Position)] {
        &self.sides
    }

    /// Whether it was put round the readings because the plan has no outline.
    pub fn is_assumed(&self) -> bool {
        self.assumed
    }

    /// Whether a place is inside the line.
    pub fn encloses(&self, place: Position) -> bool {
        let (x, y) = (place.x.to_mm(), place.y.to_mm());
        self.sides.iter().fold(false, |inside, (from, to)| {
            if (from.y.to_mm() > y) == (to.y.to_mm() > y) {
                return inside;
            }
            let along = (y - from.y.to_mm()) / (to.y - from.y).to_mm();
            inside ^ (x < from.x.to_mm() + along * (to.x - from.x).to_mm())
        })
    }

    /// The place on the line that is nearest, and how far away it is; `None` if there is no line.
    pub fn nearest(&self, place: Position) -> Option<(Position, Length)> {
        self.sides
            .iter()
            .map(|&side| {
                let near = crate::site::nearest_on_segment(side, place);
                (near, near.distance(place))
            })
            .min_by(|a, b| a.1.total_cmp(&b.1))
    }

    /// Inside, or outside by no more than `margin`.
    pub fn contains(&self, place: Position, margin: Length) -> bool {
        self.encloses(place) || self.nearest(place).is_some_and(|(_, away)| away <= margin)
    }

    /// The side of a square with the same area; used to choose spacings.
    pub(super) fn side_of_equal_square(&self) -> Length {
        let Some((low, high)) = self.extent() else { return Length::ZERO };
        // Scanlines: the sides have no common direction of travel, so a signed sum will not do.
        let n_lines = 64;
        let step = (high.y - low.y) / n_lines as f64;
        let width: Length = (0..n_lines)
            .map(|line| {
                let y = (low.y + step * (line as f64 + 0.5)).to_mm();
                let mut cuts: Vec<f64> = self
                    .sides
                    .iter()
                    .filter(|(from, to)| (from.y.to_mm() > y) != (to.y.to_mm() > y))
                    .map(|(from, to)| {
                        let along = (y - from.y.to_mm()) / (to.y - from.y).to_mm();
                        from.x.to_mm() + along * (to.x - from.x).to_mm()
                    })
                    .collect();
                cuts.sort_by(f64::total_cmp);
                Length::mm(cuts.chunks_exact(2).map(|pair| pair[1] - pair[0]).sum())
            })
            .sum();
        Length::mm((width.to_mm() * step.to_mm()).max(0.0).sqrt())
    }

    /// Lower left and upper right corner of the upright rectangle round it.
    pub fn extent(&self) -> Option<(Position, Position)> {
        let &(first, _) = self.sides.first()?;
        Some(self.sides.iter().flat_map(|&(from, to)| [from, to]).fold(
            (first, first),
            |(low, high), at| {
                (
                    Position { x: low.x.min(at.x), y: low.y.min(at.y) },
                    Position { x: high.x.max(at.x), y: high.y.max(at.y) },
                )
            },
        ))
    }
}

/// The line round each deck, in the order in which the rooms first name them.
///
/// Rooms of one deck that share a wall, or part of one, are one floor. Where rooms overlap, the
/// floor belongs to the smaller room: a hearth drawn as a room with its own deck is cut out of
/// the room round it, and a chimney that is never read stays unknown. A room within another of
/// the same deck changes nothing.
///
/// # Errors
/// Every room with a corner beyond [`PLAN_LIMIT`].
pub fn deck_boundaries(rooms: &[Room]) -> Result<Vec<(String, Boundary)>, Vec<MeshFault>> {
    let mut decks: Vec<String> = Vec::new();
    let deck_of_room: Vec<usize> = rooms
        .iter()
        .map(|room| {
            decks.iter().position(|deck| *deck == room.deck).unwrap_or_else(|| {
                decks.push(room.deck.clone());
                decks.len() - 1
            })
        })
        .collect();
    let pieces = Pieces::break_up(rooms, &deck_of_room, JOIN_DISTANCE)?;
    let boundaries = (0..decks.len()).map(|deck| pieces.boundary_of(deck)).collect::<Vec<_>>();
    Ok(decks.into_iter().zip(boundaries).collect())
}

/// The line round all rooms together: steps in the floor disregarded, and gaps up to
/// [`WALL_THICKNESS`] closed, which may move the line by as much.
///
/// # Errors
/// Every room with a corner beyond [`PLAN_LIMIT`].
pub fn footprint(rooms: &[Room]) -> Result<Boundary, Vec<MeshFault>> {
    let pieces = Pieces::break_up(rooms, &vec![0; rooms.len()], WALL_THICKNESS)?;
    Ok(pieces.boundary_of(0))
}

impl Pieces {
    fn break_up(
        rooms: &[Room],
        deck_of_room: &[usize],
        join: Length,
    ) -> Result<Self, Vec<MeshFault>> {
        let too_far = |at: &Position| at.x.abs() > PLAN_LIMIT || at.y.abs() > PLAN_LIMIT;
        let faults: Vec<_> = rooms
            .iter()
            .filter(|room| room.outline.corners().iter().any(too_far))
            .map(|room| MeshFault::RoomOffThePlan { room: room.id.clone() })
            .collect();
        if !faults.is_empty() {
            return Err(faults);
        }
        let origin = rooms.first().map(|room| room.outline.corners()[0]).unwrap_or_default();
        let mut corners = Vec::new();
        let loops: Vec<Vec<usize>> = rooms
            .iter()
            .map(|room| {
                let places = room.outline.corners().iter();
                places
                    .map(|&at| joined(&mut corners, Xy::from_position(at, origin), join))
                    .collect()
            })
            .collect();
        let sides_of = |corner_loop: &[usize]| -> Vec<(usize, usize)> {
            let next = corner_loop.iter().cycle().skip(1);
            let sides = corner_loop.iter().zip(next).map(|(&from, &to)| (from, to));
            sides.filter(|(from, to)| from != to).collect()
        };
        let whole_sides: Vec<(usize, usize)> =
            loops.iter().flat_map(|corner_loop| sides_of(corner_loop)).collect();
        for (idx, &(a, b)) in whole_sides.iter().enumerate() {
            for &(c, d) in &whole_sides[idx + 1..] {
                let crossed = crossing((corners[a], corners[b]), (corners[c], corners[d]));
                if let Some(at) = crossed {
                    joined(&mut corners, at, join);
                }
            }
        }
        let rooms = loops
            .iter()
            .zip(deck_of_room)
            .map(|(corner_loop, &deck)| {
                BrokenRoom::new(deck, &sides_of(corner_loop), &corners, join)
            })
            .collect();
        Ok(Self { origin, corners, rooms })
    }

    fn boundary_of(&self, deck: usize) -> Boundary {
        let all_sides: BTreeSet<(usize, usize)> =
            self.rooms.iter().flat_map(|room| room.sides.iter().copied()).collect();
        let on_edge = all_sides.into_iter().filter(|&(from, to)| {
            let (start, end) = (self.corners[from], self.corners[to]);
            let middle = (start + end) * 0.5;
            let step = end - start;
            let aside = Xy::new(-step.y, step.x) * (0.5 / step.length());
            let is_floor = |place| self.deck_at(place) == Some(deck);
            is_floor(middle + aside) != is_floor(middle - aside)
        });
        let sides = straighten(&on_edge.collect::<Vec<_>>(), &self.corners)
            .into_iter()
            .map(|(from, to)| {
                let place = |corner: usize| to_position(self.corners[corner], self.origin);
                (place(from), place(to))
            })
            .collect();
        Boundary { sides, assumed: false }
    }

    /// The deck of the smallest room round a place.
    fn deck_at(&self, place: Xy) -> Option<usize> {
        self.rooms
            .iter()
            .filter(|room| room.encloses(place, &self.corners))
            .min_by(|a, b| a.area.total_cmp(&b.area))
            .map(|room| room.deck)
    }
}

impl BrokenRoom {
    fn new(deck: usize, whole_sides: &[(usize, usize)], corners: &[Xy], join: Length) -> Self {
        let mut sides = BTreeSet::new();
        for &(from, to) in whole_sides {
            for pair in stops_along(from, to, corners, join).windows(2) {
                let side = (pair[0].min(pair[1]), pair[0].max(pair[1]));
                // A side passed there and back encloses nothing.
                if !sides.remove(&side) {
                    sides.insert(side);
                }
            }
        }
        let twice_area: f64 =
            whole_sides.iter().map(|&(from, to)| corners[from].cross(corners[to])).sum();
        Self { deck, area: twice_area.abs() / 2.0, sides: sides.into_iter().collect() }
    }

    fn encloses(&self, place: Xy, corners: &[Xy]) -> bool {
        self.sides.iter().fold(false, |inside, &(from, to)| {
            let (from, to) = (corners[from], corners[to]);
            if (from.y > place.y) == (to.y > place.y) {
                return inside;
            }
            let along = (place.y - from.y) / (to.y - from.y);
            inside ^ (place.x < from.x + along * (to.x - from.x))
        })
    }
}

/// All corners that lie on a side, in order, its ends included.
fn stops_along(from: usize, to: usize, corners: &[Xy], join: Length) -> Vec<usize> {
    let (start, end) = (corners[from], corners[to]);
    let mut stops: Vec<(f64, usize)> = corners
        .iter()
        .enumerate()
        .filter(|&(idx, _)| idx != from && idx != to)
        .filter(|&(_, &at)| nearest_on(start, end, at).distance(at) <= join.to_mm())
        .map(|(idx, &at)| ((at - start).dot(end - start), idx))
        .collect();
    stops.sort_by(|a, b| a.0.total_cmp(&b.0));
    let between = stops.into_iter().map(|(_, idx)| idx);
    std::iter::once(from).chain(between).chain(std::iter::once(to)).collect()
}

/// The corner that a place joins, a new one if none is near enough.
fn joined(corners: &mut Vec<Xy>, place: Xy, join: Length) -> usize {
    let near = corners.iter().position(|at| at.distance(place) <= join.to_mm());
    near.unwrap_or_else(|| {
        corners.push(place);
        corners.len() - 1
    })
}

/// Drops corners at which the line runs straight on.
fn straighten(sides: &[(usize, usize)], corners: &[Xy]) -> Vec<(usize, usize)> {
    let mut ends: BTreeMap<usize, BTreeSet<usize>> = BTreeMap::new();
    for &(from, to) in sides {
        ends.entry(from).or_default().insert(to);
        ends.entry(to).or_default().insert(from);
    }
    for corner in ends.keys().copied().collect::<Vec<_>>() {
        let neighbours: Vec<usize> = ends[&corner].iter().copied().collect();
        let &[before, after] = neighbours.as_slice() else { continue };
        let at = corners[corner];
        let straight = nearest_on(corners[before], corners[after], at).distance(at) <= 0.01;
        if straight && !ends[&before].contains(&after) {
            ends.remove(&corner);
            for (end, other) in [(before, after), (after, before)] {
                let joined = ends.entry(end).or_default();
                joined.remove(&corner);
                joined.insert(other);
            }
        }
    }
    ends.iter().flat_map(|(&from, tos)| tos.range(from..).map(move |&to| (from, to))).collect()
}

/// One half of the convex hull of places in sorted order, its last corner left off.
fn half_hull(places: impl Iterator<Item = Xy>) -> Vec<Xy> {
    let mut hull: Vec<Xy> = Vec::new();
    for place in places {
        while let [.., before, last] = hull.as_slice() {
            if (*last - *before).cross(place - *before) > 0.0 {
                break;
            }
            hull.pop();
        }
        if hull.last() != Some(&place) {
            hull.push(place);
        }
    }
    hull.pop();
    hull
}

fn to_position(at: Xy, origin: Position) -> Position {
    Position { x: origin.x + Length::mm(at.x), y: origin.y + Length::mm(at.y) }
}
