//! The shape of the floor: its height and how sure that is, anywhere between the readings.
//!
//! [`Surface`] joins the levels of the floor points by a mesh for each deck ([`crate::mesh`]), so
//! that a step or a notch is never bridged. From it come [`contours`](Surface::contours), a
//! [`profile`](Surface::profile) along any line, a [`grid`](Surface::sample) for pictures and the
//! [places worth reading next](Surface::suggest_readings). What needs the readings alone, and no
//! interpolation, works on a slice of [`FloorReading`]s, so that it can be asked of one room or one
//! deck: [`spread`], [`best_fit_plane`], [`steepest_slope`], [`straightedge`].
//!
//! # Units and sign
//! Levels are heights above the job's datum, up positive. Slopes are ratios (mm per mm).

mod assign;
mod contours;
mod flatness;
mod interpolation;
mod neighbours;
mod profile;
mod straightedge;

pub use assign::{FloorReading, LeftOut, ON_THE_LINE};
pub use contours::{Contour, ContourError, Contours, INTERVALS};
pub use contours::{contour_interval, contour_interval_in_inches};
pub use flatness::{BestFitPlane, PlaneError, Residual, SlopeError, Spread, SteepestSlope};
pub use flatness::{best_fit_plane, spread, steepest_slope};
pub use interpolation::InterpolationError;
pub use neighbours::{LevelAt, NeighbourSettings, OddPoint, likely_readings, odd_points};
pub use profile::{Grid, ProfilePoint, Suggestion};
pub use straightedge::{Straightedge, StraightedgeRefusal, straightedge};

use crate::ids::PointId;
use crate::mesh::{Boundary, MeshFault, SiteMesh, Weights, deck_boundaries};
use crate::site::{Position, Site};
use crate::survey::Levels;
use crate::units::{Length, Level};
use serde::Serialize;

/// Further from every reading than this the height is unknown; a choice: somewhat more than the
/// 2 m grid on which floors are usually read (from memory, unverified).
pub const REACH: Length = Length::mm(3000.0);

/// Why a site and its levels do not make a surface.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum SurfaceFault {
    /// The floor has two heights there.
    #[error(
        "point {point} is on the line between decks {first} and {second}, and no room is given for it"
    )]
    BetweenDecks {
        /// The point.
        point: PointId,
        /// One deck.
        first: String,
        /// The other.
        second: String,
    },
    /// Not on the floor.
    #[error(
        "point {point} is {outside} outside {floor}, the limit is {}",
        crate::mesh::OUTSIDE_ALLOWANCE
    )]
    Outside {
        /// The point.
        point: PointId,
        /// How far outside.
        outside: Length,
        /// Outside what: a deck, or every room.
        floor: String,
    },
    /// A position too far from the plan's zero to compute with.
    #[error("point {point} is not at a position within 10,000 km of the plan's zero")]
    OffThePlan {
        /// The point.
        point: PointId,
    },
    /// An outline that cannot be meshed.
    #[error(transparent)]
    Outline(MeshFault),
    /// A deck with nothing to stand on.
    #[error("deck {deck} lies wholly under smaller rooms of other decks")]
    DeckCovered {
        /// The deck.
        deck: String,
    },
    /// No point on the floor has both a place and a level.
    #[error("no floor point has both a place on the plan and a level")]
    NoReadings,
    /// A level or its uncertainty that is not a number.
    #[error("the level of point {point} is not a number")]
    NotFinite {
        /// The point.
        point: PointId,
    },
}

impl SurfaceFault {
    /// What the builder can do about it.
    pub fn hint(&self) -> &'static str {
        match self {
            Self::BetweenDecks { .. } => "say which room the point is in",
            Self::Outside { .. } => "check the point's position, or draw the room it is in",
            Self::OffThePlan { .. } | Self::Outline(_) => {
                "measure positions from a corner of the house"
            }
            Self::DeckCovered { .. } => "check the outlines of the rooms that overlap",
            Self::NoReadings => "give some floor points a position and read them",
            Self::NotFinite { .. } => "check the readings of this point",
        }
    }
}

/// One continuous part of the floor, with its readings and their mesh.
#[derive(Clone, Debug)]
struct Deck {
    name: String,
    boundary: Boundary,
    mesh: SiteMesh,
    /// For each site of the mesh, the index of its reading.
    readings: Vec<usize>,
}

/// The floor between the readings.
#[derive(Clone, Debug)]
pub struct Surface {
    decks: Vec<Deck>,
    readings: Vec<FloorReading>,
    left_out: Vec<LeftOut>,
    levels: Levels,
    interpolation: InterpolationError,
}

/// The height of the floor at a place.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct FloorHeight {
    /// Above the datum.
    pub level: Level,
    /// Standard deviation from the survey alone, as if the floor ran straight between readings.
    pub sd_survey: Length,
    /// Standard deviation with what the floor may do between the readings; see [`InterpolationError`].
    pub sd: Length,
    /// Whether the place lies between readings rather than in the margin beyond them.
    pub measured: bool,
    /// Distance to the nearest reading that has a say.
    pub nearest_reading: Length,
}

/// Points whose level is averaged because they are at one place.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct RepeatedPlace {
    /// The points.
    pub points: Vec<PointId>,
}

/// A point outside the outline by a little, taken to stand on it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct MovedPoint {
    /// The point.
    pub point: PointId,
    /// How far outside it is.
    pub by: Length,
}

impl Surface {
    /// Joins the levels of the floor points into a surface.
    ///
    /// Without any room the floor is taken to end at the outermost readings, and
    /// [`Surface::outline_assumed`] says so. Floor points without a place or without a level
    /// are listed in [`Surface::left_out`].
    ///
    /// # Errors
    /// Every fault found, each naming its point or deck.
    ///
    /// # Examples
    /// ```
    /// use floorwright_engine::ids::PointId;
    /// use floorwright_engine::site::{Point, PointKind, Position, Site};
    /// use floorwright_engine::surface::Surface;
    /// use floorwright_engine::survey::Levels;
    /// use floorwright_engine::units::{Length, Level};
    ///
    /// let read = [("A1", 0.0, 0.0, 0.0), ("A2", 2000.0, 0.0, -8.0), ("B1", 0.0, 2000.0, 2.0)];
    /// let points = read.map(|(id, x, y, _)| Point {
    ///     id: PointId::new(id),
    ///     at: Some(Position::mm(x, y)),
    ///     kind: PointKind::Floor,
    ///     room: None,
    /// });
    /// let site = Site::new(vec![], points.to_vec(), vec![]).unwrap();
    /// let levels = Levels::independent(
    ///     read.map(|(id, _, _, level)| (PointId::new(id), Level::mm(level), Length::mm(1.0))),
    /// );
    /// let surface = Surface::new(&site, &levels).unwrap();
    /// let half_way = surface.at(Position::mm(1000.0, 0.0)).unwrap();
    /// assert_eq!(half_way.level, Level::mm(-4.0));
    /// assert!(half_way.measured && half_way.sd > half_way.sd_survey);
    /// assert_eq!(surface.at(Position::mm(5000.0, 0.0)), None);
    /// ```
    pub fn new(site: &Site, levels: &Levels) -> Result<Self, Vec<SurfaceFault>> {
        let outlines = deck_boundaries(site.rooms())
            .map_err(|faults| faults.into_iter().map(SurfaceFault::Outline).collect::<Vec<_>>())?;
        let (readings, left_out) = assign::floor_readings(site, levels, &outlines)?;
        let outlines = if outlines.is_empty() {
            let places: Vec<Position> = readings.iter().map(|reading| reading.at).collect();
            vec![("floor".to_owned(), Boundary::around(&places))]
        } else {
            outlines
        };
        let (mut decks, mut faults) = (Vec::new(), Vec::new());
        for (deck, (name, boundary)) in outlines.into_iter().enumerate() {
            let members: Vec<usize> =
                (0..readings.len()).filter(|&idx| readings[idx].deck == deck).collect();
            let places: Vec<Position> = members.iter().map(|&idx| readings[idx].at).collect();
            if boundary.sides().is_empty() && !boundary.is_assumed() {
                faults.push(SurfaceFault::DeckCovered { deck: name });
                continue;
            }
            match SiteMesh::new(&boundary, &places) {
                Ok(mesh) => decks.push(Deck { name, boundary, mesh, readings: members }),
                Err(found) => faults.extend(found.into_iter().map(|fault| {
                    fault_of_point(fault, &name, |site| readings[members[site]].point.clone())
                })),
            }
        }
        if !faults.is_empty() {
            return Err(faults);
        }
        let mut surface = Self {
            decks,
            readings,
            left_out,
            levels: levels.clone(),
            interpolation: InterpolationError::assumed(),
        };
        surface.interpolation = interpolation::estimate(&surface);
        Ok(surface)
    }

    /// The readings on the floor, in the order of the site's points.
    pub fn readings(&self) -> &[FloorReading] {
        &self.readings
    }

    /// Floor points that have no say, and why.
    pub fn left_out(&self) -> &[LeftOut] {
        &self.left_out
    }

    /// The names of the decks; [`FloorReading::deck`] is an index into them.
    pub fn decks(&self) -> impl Iterator<Item = &str> {
        self.decks.iter().map(|deck| deck.name.as_str())
    }

    /// The line round a deck.
    pub fn boundary(&self, deck: usize) -> Option<&Boundary> {
        self.decks.get(deck).map(|deck| &deck.boundary)
    }

    /// Whether the floor's edge is only the outermost readings, for want of an outline.
    pub fn outline_assumed(&self) -> bool {
        self.decks.iter().any(|deck| deck.boundary.is_assumed())
    }

    /// How the uncertainty between the readings was judged.
    pub fn interpolation_error(&self) -> &InterpolationError {
        &self.interpolation
    }

    /// Points at one place, whose levels are averaged.
    pub fn repeated_places(&self) -> Vec<RepeatedPlace> {
        let in_deck = |deck: &Deck| -> Vec<RepeatedPlace> {
            let name = |&site: &usize| self.readings[deck.readings[site]].point.clone();
            let groups = deck.mesh.repeats().iter();
            groups.map(|group| RepeatedPlace { points: group.iter().map(name).collect() }).collect()
        };
        self.decks.iter().flat_map(in_deck).collect()
    }

    /// Points outside the outline by no more than
    /// [`OUTSIDE_ALLOWANCE`](crate::mesh::OUTSIDE_ALLOWANCE), taken to stand on it.
    pub fn moved_points(&self) -> Vec<MovedPoint> {
        let in_deck = |deck: &Deck| -> Vec<MovedPoint> {
            let name = |site: usize| self.readings[deck.readings[site]].point.clone();
            let moved = deck.mesh.moved().iter();
            moved.map(|moved| MovedPoint { point: name(moved.site), by: moved.by }).collect()
        };
        self.decks.iter().flat_map(in_deck).collect()
    }

    /// The height of the floor at a place; `None` where it is unknown: off the floor, on a part of
    /// it that was not read, or further than [`REACH`] from any reading.
    ///
    /// On the line between two decks it is the height of the deck that the job names first.
    pub fn at(&self, place: Position) -> Option<FloorHeight> {
        let inside =
            (0..self.decks.len()).filter(|&deck| self.decks[deck].boundary.encloses(place));
        inside.chain(0..self.decks.len()).find_map(|deck| self.at_on_deck(deck, place))
    }

    /// The height of one deck at a place, as [`Surface::at`] gives it.
    pub fn at_on_deck(&self, deck: usize, place: Position) -> Option<FloorHeight> {
        let deck = self.decks.get(deck)?;
        let weights = deck.mesh.weights_at(place)?;
        if weights.nearest > REACH {
            return None;
        }
        let level = weights.apply(|site| self.readings[deck.readings[site]].level.to_mm());
        let sd_survey = self.levels.combination_sd(&self.in_levels(deck, &weights));
        let between = self.interpolation.sd_at(weights.nearest, weights.measured);
        Some(FloorHeight {
            level: Level::mm(level),
            sd_survey,
            sd: (sd_survey.squared() + between.squared()).sd(),
            measured: weights.measured,
            nearest_reading: weights.nearest,
        })
    }

    /// How the height of a deck at a place is made of levels: index into the levels and ratio,
    /// summing to one; `None` where [`Surface::at_on_deck`] is. With it the uncertainty of a
    /// difference between the floor there and anything else comes from the levels' covariance.
    pub fn level_weights(&self, deck: usize, place: Position) -> Option<Vec<(usize, f64)>> {
        let deck = self.decks.get(deck)?;
        let weights = deck.mesh.weights_at(place)?;
        (weights.nearest <= REACH).then(|| self.in_levels(deck, &weights))
    }

    /// Weights of readings carried on to the levels they are.
    fn in_levels(&self, deck: &Deck, weights: &Weights) -> Vec<(usize, f64)> {
        let carry =
            |&(site, weight): &(usize, f64)| (self.readings[deck.readings[site]].in_levels, weight);
        weights.terms.iter().map(carry).collect()
    }

    fn corner_level(&self, deck: &Deck, corner: usize) -> f64 {
        let terms = deck.mesh.corner_terms(corner).iter();
        terms.map(|&(site, w)| w * self.readings[deck.readings[site]].level.to_mm()).sum()
    }
}

fn fault_of_point(
    fault: MeshFault,
    deck: &str,
    point_of: impl Fn(usize) -> PointId,
) -> SurfaceFault {
    match fault {
        MeshFault::SiteOutside { site, outside } => {
            SurfaceFault::Outside { point: point_of(site), outside, floor: format!("deck {deck}") }
        }
        MeshFault::SiteOffThePlan { site } => SurfaceFault::OffThePlan { point: point_of(site) },
        MeshFault::RoomOffThePlan { .. } => SurfaceFault::Outline(fault),
    }
}

#[cfg(test)]
mod tests;
