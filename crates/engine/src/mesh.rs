//! Interpolation between sites on a plan, without bridging a notch or a step.
//!
//! A *site* is whatever has a place and a number: a reading on the floor, or a support with its
//! lift. Between three sites the number is taken to change evenly (a triangulated surface). The
//! triangles are those of a constrained Delaunay triangulation whose constraints are the sides of
//! the deck's outline, so no triangle leaves the floor: what lies across the notch of an L-shaped
//! house, or across a step, has no say.
//!
//! # The margin
//! Readings do not reach into the corners of a room. There the mesh has auxiliary corners on the
//! outline; each takes its number from the nearby sites it can see, by a plane fitted with weights
//! of one over the distance squared, or by their mean with these weights where no plane can be
//! told. All of it is linear in the numbers at the sites: every place gets [`Weights`] that sum to
//! one, and that reproduce a plane exactly wherever a plane can be told. A place whose triangle
//! has an auxiliary corner is in the margin, and is not called measured; nor is one in the fringe of
//! flat triangles between readings that run almost in line along a wall.
//!
//! # One site, two, or all on a line
//! Nothing is known of the slope across. The number is then that of the nearest place on the line,
//! as far as [`LINE_REACH`], and only places on the line itself are called measured.
//!
//! # References
//! The triangulation is spade's. The rules for margin and line are this program's own.

mod boundary;
mod build;
mod locate;
mod margin;
mod pieces;
mod plane;

pub use boundary::{Boundary, JOIN_DISTANCE, PLAN_LIMIT, WALL_THICKNESS};
pub use boundary::{deck_boundaries, footprint};

use crate::ids::RoomId;
use crate::site::Position;
use crate::units::Length;
use locate::Buckets;
use plane::Xy;
use serde::Serialize;

/// A site outside the outline by no more than this is moved onto it for the mesh; a choice: the
/// slip of a tape, or the thickness of a wall.
pub const OUTSIDE_ALLOWANCE: Length = Length::mm(300.0);

/// Sites closer than this are one place, and their numbers are averaged.
pub const SAME_PLACE: Length = Length::mm(1.0);

/// How far to the side of a single line of sites, or of a single site, a number is given at all;
/// a choice: about the spacing of supports.
pub const LINE_REACH: Length = Length::mm(2000.0);

/// Why sites and outline do not make a mesh.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum MeshFault {
    /// A site that is nowhere near the floor.
    #[error("site {site} is {} outside the outline, the limit is {}", .outside, OUTSIDE_ALLOWANCE)]
    SiteOutside {
        /// Its index among the sites given.
        site: usize,
        /// How far outside.
        outside: Length,
    },
    /// A position that is not a number, or is too far from the plan's zero.
    #[error("site {site} is not at a position within 10,000 km of the plan's zero")]
    SiteOffThePlan {
        /// Its index among the sites given.
        site: usize,
    },
    /// A corner too far from the plan's zero.
    #[error("room {room} has a corner more than 10,000 km from the plan's zero")]
    RoomOffThePlan {
        /// The room.
        room: RoomId,
    },
}

/// A number at a place as a weighted sum of the numbers at the sites.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Weights {
    /// Site index and weight (a ratio), by rising index; the weights sum to one.
    pub terms: Vec<(usize, f64)>,
    /// Whether the place lies between sites rather than in the margin beyond them.
    pub measured: bool,
    /// Distance to the nearest of the sites that have a say.
    pub nearest: Length,
}

impl Weights {
    /// The weighted sum of numbers given by site.
    pub fn apply(&self, value_of_site: impl Fn(usize) -> f64) -> f64 {
        self.terms.iter().map(|&(site, weight)| weight * value_of_site(site)).sum()
    }
}

/// A site that was moved onto the outline for the mesh.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct MovedSite {
    /// Its index among the sites given.
    pub site: usize,
    /// How far it was moved.
    pub by: Length,
}

/// Sites joined by triangles within one boundary.
#[derive(Clone, Debug)]
pub struct SiteMesh {
    boundary: Boundary,
    origin: Position,
    sites: Vec<Xy>,
    corners: Vec<Corner>,
    triangles: Vec<Triangle>,
    pieces: Vec<Piece>,
    buckets: Buckets,
    moved: Vec<MovedSite>,
    repeats: Vec<Vec<usize>>,
}

/// A corner of the mesh: a place where one or more sites are, or an auxiliary one.
#[derive(Clone, Debug)]
struct Corner {
    at: Xy,
    terms: Vec<(usize, f64)>,
    is_site: bool,
}

#[derive(Clone, Debug)]
struct Triangle {
    corners: [usize; 3],
    piece: usize,
    measured: bool,
}

/// A connected part of the floor.
#[derive(Clone, Debug)]
enum Piece {
    /// No site on it.
    Unknown,
    /// Its sites span a surface.
    Spanned,
    /// Its sites lie on one line.
    Line(SiteLine),
}

/// Sites along a line, by rising distance from its start.
#[derive(Clone, Debug)]
struct SiteLine {
    start: Xy,
    direction: Xy,
    knots: Vec<(f64, usize)>,
}

impl SiteMesh {
    /// The line that bounds the mesh.
    pub fn boundary(&self) -> &Boundary {
        &self.boundary
    }

    /// Sites that were moved onto the outline.
    pub fn moved(&self) -> &[MovedSite] {
        &self.moved
    }

    /// Groups of sites at one place, whose numbers are averaged.
    pub fn repeats(&self) -> &[Vec<usize>] {
        &self.repeats
    }

    /// The triangles that are measured, as indices of mesh corners: the part of the floor between
    /// readings.
    pub fn measured_triangles(&self) -> impl Iterator<Item = [usize; 3]> + '_ {
        self.triangles.iter().filter(|triangle| triangle.measured).map(|triangle| triangle.corners)
    }

    /// How many corners the mesh has, auxiliary ones included.
    pub fn n_corners(&self) -> usize {
        self.corners.len()
    }

    /// The place of a mesh corner.
    pub fn corner_position(&self, corner: usize) -> Position {
        self.to_position(self.corners[corner].at)
    }

    /// The number at a mesh corner as site index and weight.
    pub fn corner_terms(&self, corner: usize) -> &[(usize, f64)] {
        &self.corners[corner].terms
    }

    /// For each mesh corner that is a site, the other sites' corners next to it.
    pub fn site_neighbours(&self) -> Vec<(usize, Vec<usize>)> {
        let neighbours = margin::neighbours(self.corners.len(), &self.triangles);
        let is_site = |corner: usize| self.corners[corner].is_site;
        neighbours
            .into_iter()
            .enumerate()
            .filter(|&(corner, _)| is_site(corner))
            .map(|(corner, near)| (corner, near.into_iter().filter(|&to| is_site(to)).collect()))
            .collect()
    }

    /// The place itself if it is inside, the nearest on the boundary if it is outside by no more
    /// than [`OUTSIDE_ALLOWANCE`].
    pub fn nearest_place(&self, place: Position) -> Option<Position> {
        if self.boundary.encloses(place) {
            return Some(place);
        }
        let (near, away) = self.boundary.nearest(place)?;
        (away <= OUTSIDE_ALLOWANCE).then_some(near)
    }

    /// The weights of the sites at a place; `None` outside the boundary, on a part of the floor
    /// without any site, or beyond [`LINE_REACH`] of a lone line of sites.
    pub fn weights_at(&self, place: Position) -> Option<Weights> {
        if !place.is_finite() {
            return None;
        }
        let at = Xy::from_position(place, self.origin);
        if self.triangles.is_empty() {
            return self.pieces.iter().find_map(|piece| match piece {
                Piece::Line(line) => self.weights_on_line(line, at),
                Piece::Unknown | Piece::Spanned => None,
            });
        }
        let found = self.locate(at)?;
        let triangle = &self.triangles[found.triangle];
        match &self.pieces[triangle.piece] {
            Piece::Unknown => None,
            Piece::Line(line) => self.weights_on_line(line, at),
            Piece::Spanned => {
                let parts = triangle.corners.into_iter().zip(found.shares);
                Some(self.joined_weights(parts, at, triangle.measured))
            }
        }
    }

    fn weights_on_line(&self, line: &SiteLine, at: Xy) -> Option<Weights> {
        let &(first, _) = line.knots.first()?;
        let &(last, _) = line.knots.last()?;
        let along = (at - line.start).dot(line.direction).clamp(first, last);
        let away = at.distance(line.start + line.direction * along);
        if away > LINE_REACH.to_mm() {
            return None;
        }
        let measured = away <= SAME_PLACE.to_mm();
        let after = line.knots.partition_point(|&(knot, _)| knot < along);
        let (next, next_corner) = line.knots[after.min(line.knots.len() - 1)];
        let (before, before_corner) = line.knots[after.saturating_sub(1)];
        let share = if next > before { (along - before) / (next - before) } else { 1.0 };
        let parts = [(before_corner, 1.0 - share), (next_corner, share)];
        Some(self.joined_weights(parts.into_iter(), at, measured))
    }

    /// Weights of corners, carried on to the sites that the corners stand for.
    fn joined_weights(
        &self,
        parts: impl Iterator<Item = (usize, f64)>,
        at: Xy,
        measured: bool,
    ) -> Weights {
        let mut terms: Vec<(usize, f64)> = parts
            .filter(|&(_, share)| share != 0.0)
            .flat_map(|(corner, share)| {
                self.corners[corner].terms.iter().map(move |&(site, weight)| (site, share * weight))
            })
            .collect();
        terms.sort_by_key(|&(site, _)| site);
        terms.dedup_by(|next, kept| {
            let same = next.0 == kept.0;
            if same {
                kept.1 += next.1;
            }
            same
        });
        let away = terms.iter().map(|&(site, _)| self.sites[site].distance(at));
        let nearest = Length::mm(away.fold(f64::INFINITY, f64::min));
        Weights { terms, measured, nearest }
    }

    fn to_position(&self, at: Xy) -> Position {
        Position { x: self.origin.x + Length::mm(at.x), y: self.origin.y + Length::mm(at.y) }
    }
}

#[cfg(test)]
mod tests;
