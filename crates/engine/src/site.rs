//! The house as it stands on the plan: rooms, points and supports.
//!
//! Plan positions are x to the right and y up the page. A [`Site`] is checked when it is made:
//! whatever holds one may rely on names being unique and numbers being finite.

use crate::ids::{PointId, RoomId, SupportId};
use crate::units::{LENGTH_EPS, Length};
use serde::Serialize;
use std::collections::BTreeMap;

/// A place on the plan: x to the right, y up the page.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct Position {
    /// To the right.
    pub x: Length,
    /// Up the page.
    pub y: Length,
}

impl Position {
    /// From millimetres right and up.
    pub const fn mm(x: f64, y: f64) -> Self {
        Self { x: Length::mm(x), y: Length::mm(y) }
    }

    /// Straight-line distance on the plan.
    pub fn distance(self, other: Self) -> Length {
        let (dx, dy) = (self.x - other.x, self.y - other.y);
        let (dx, dy) = (dx.to_mm(), dy.to_mm());
        let squared = dx * dx + dy * dy;
        // On any plan of a house the plain root is exact enough and several times as quick.
        let is_plain = (1e-100..1e100).contains(&squared);
        Length::mm(if is_plain { squared.sqrt() } else { dx.hypot(dy) })
    }

    /// Neither coordinate is infinite or NaN.
    pub fn is_finite(self) -> bool {
        self.x.is_finite() && self.y.is_finite()
    }
}

/// A closed line round a room, corner by corner, the last joined to the first.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(transparent)]
pub struct Outline(Vec<Position>);

/// Why a list of corners is not an outline.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum OutlineError {
    /// Fewer than three different corners.
    #[error("an outline needs at least 3 different corners, this one has {0}")]
    TooFewCorners(usize),
    /// A coordinate that is not a number.
    #[error("corner {0} is not at a finite position")]
    NotFinite(usize),
    /// Two sides cross or run over one another.
    #[error("the side from corner {0} crosses or touches the side from corner {1}")]
    CrossesItself(usize, usize),
    /// All corners lie on one line.
    #[error("the corners enclose no area")]
    NoArea,
}

impl Outline {
    /// Checks the corners. Either direction of travel is accepted; a repeated last corner is dropped.
    ///
    /// # Errors
    /// Corners are numbered from 1 in every error.
    pub fn new(mut corners: Vec<Position>) -> Result<Self, OutlineError> {
        if let Some(bad) = corners.iter().position(|corner| !corner.is_finite()) {
            return Err(OutlineError::NotFinite(bad + 1));
        }
        corners.dedup_by(|a, b| a.distance(*b) < LENGTH_EPS);
        if corners.len() > 1 && corners[0].distance(corners[corners.len() - 1]) < LENGTH_EPS {
            corners.pop();
        }
        if corners.len() < 3 {
            return Err(OutlineError::TooFewCorners(corners.len()));
        }
        let outline = Self(corners);
        if outline.signed_area_mm2().abs() < 1.0 {
            return Err(OutlineError::NoArea);
        }
        let sides: Vec<_> = outline.sides().collect();
        let n_sides = sides.len();
        for first in 0..n_sides {
            for second in first + 1..n_sides {
                let neighbours = second == first + 1 || (first == 0 && second == n_sides - 1);
                if !neighbours && segments_touch(sides[first], sides[second]) {
                    return Err(OutlineError::CrossesItself(first + 1, second + 1));
                }
            }
        }
        Ok(outline)
    }

    /// The corners, in the order given.
    pub fn corners(&self) -> &[Position] {
        &self.0
    }

    /// The sides, from each corner to the next.
    pub fn sides(&self) -> impl Iterator<Item = (Position, Position)> + '_ {
        let n_corners = self.0.len();
        (0..n_corners).map(move |corner| (self.0[corner], self.0[(corner + 1) % n_corners]))
    }

    /// Whether a place is inside, or within `margin` of the line.
    pub fn contains(&self, place: Position, margin: Length) -> bool {
        self.distance_to_line(place) <= margin || self.winds_round(place)
    }

    /// Distance from a place to the nearest part of the line.
    pub fn distance_to_line(&self, place: Position) -> Length {
        self.sides()
            .map(|side| nearest_on_segment(side, place).distance(place))
            .min_by(Length::total_cmp)
            .expect("an outline has sides")
    }

    fn winds_round(&self, place: Position) -> bool {
        let (x, y) = (place.x.to_mm(), place.y.to_mm());
        self.sides().fold(false, |inside, (from, to)| {
            let (from_y, to_y) = (from.y.to_mm(), to.y.to_mm());
            if (from_y > y) == (to_y > y) {
                return inside;
            }
            let along = (y - from_y) / (to_y - from_y);
            let crossing_x = from.x.to_mm() + along * (to.x - from.x).to_mm();
            inside ^ (x < crossing_x)
        })
    }

    /// What it encloses, in square metres.
    pub fn area_m2(&self) -> f64 {
        self.signed_area_mm2().abs() * 1e-6
    }

    fn signed_area_mm2(&self) -> f64 {
        let twice: f64 =
            self.sides().map(|(a, b)| a.x.to_mm() * b.y.to_mm() - b.x.to_mm() * a.y.to_mm()).sum();
        twice / 2.0
    }
}

/// The place on a segment that is nearest to `place`.
pub fn nearest_on_segment((from, to): (Position, Position), place: Position) -> Position {
    let (dx, dy) = ((to.x - from.x).to_mm(), (to.y - from.y).to_mm());
    let length_squared = dx * dx + dy * dy;
    if length_squared == 0.0 {
        return from;
    }
    let along =
        ((place.x - from.x).to_mm() * dx + (place.y - from.y).to_mm() * dy) / length_squared;
    let along = along.clamp(0.0, 1.0);
    Position { x: from.x + Length::mm(along * dx), y: from.y + Length::mm(along * dy) }
}

/// Whether two segments share a place, an end that lies on the other segment included.
pub fn segments_touch(first: (Position, Position), second: (Position, Position)) -> bool {
    let side = |(a, b): (Position, Position), p: Position| {
        let cross =
            (b.x - a.x).to_mm() * (p.y - a.y).to_mm() - (b.y - a.y).to_mm() * (p.x - a.x).to_mm();
        let reach = a.distance(b).to_mm().max(1.0);
        if cross.abs() <= LENGTH_EPS.to_mm() * reach { 0.0 } else { cross.signum() }
    };
    let on = |segment: (Position, Position), p: Position| {
        nearest_on_segment(segment, p).distance(p) <= LENGTH_EPS
    };
    if on(first, second.0) || on(first, second.1) || on(second, first.0) || on(second, first.1) {
        return true;
    }
    side(first, second.0) * side(first, second.1) < 0.0
        && side(second, first.0) * side(second, first.1) < 0.0
}

/// What stands on the floor; decides which limits apply by default.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Finish {
    /// Timber boards or sheets, walls lined with boards.
    #[default]
    Boards,
    /// Plaster or plasterboard linings.
    Plaster,
    /// Tiles on floor or walls.
    Tiles,
}

/// A room, or any part of the floor with an outline of its own.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Room {
    /// Its name.
    pub id: RoomId,
    /// Its outline on the plan.
    pub outline: Outline,
    /// What stands on it.
    pub finish: Finish,
    /// Rooms with the same deck share one continuous floor; a step lies between different decks.
    pub deck: String,
}

/// What a point is; only [`PointKind::is_floor`] kinds shape the floor.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum PointKind {
    /// On the floor.
    #[default]
    Floor,
    /// On a mark that does not move with the house.
    Benchmark,
    /// On a threshold, or on the new floor that the old one has to meet.
    Threshold,
    /// Under a bearer or joist, staff upside down.
    Soffit,
    /// On the ground.
    Ground,
    /// Where the instrument was carried on from.
    ChangePoint,
}

impl PointKind {
    /// Whether the point lies on the floor that is to be levelled.
    pub fn is_floor(self) -> bool {
        matches!(self, Self::Floor)
    }
}

/// A place where a staff is held.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Point {
    /// Its name.
    pub id: PointId,
    /// Where it is on the plan; benchmarks and change points may have no place on it.
    pub at: Option<Position>,
    /// What it is.
    pub kind: PointKind,
    /// The room it is in, if the builder said so; otherwise it follows from the outlines.
    pub room: Option<RoomId>,
}

/// A support under a bearer: stump, pile, pier or post.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Support {
    /// Its name.
    pub id: SupportId,
    /// Where it stands on the plan.
    pub at: Position,
    /// Air between its top and the bearer today; zero or more.
    pub gap: Length,
    /// The most it may be raised; `None` takes the job's general cap.
    pub max_lift: Option<Length>,
    /// Why it must stay as it is, if it must.
    pub fixed: Option<String>,
    /// How far it may be let down; zero for most.
    pub may_lower: Length,
}

/// Everything that has a place on the plan.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Site {
    rooms: Vec<Room>,
    points: Vec<Point>,
    supports: Vec<Support>,
    #[serde(skip)]
    point_index: BTreeMap<PointId, usize>,
    #[serde(skip)]
    support_index: BTreeMap<SupportId, usize>,
}

/// Why rooms, points and supports do not make a site.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum SiteError {
    /// Two rooms with one name.
    #[error("room {0} is given twice")]
    RoomTwice(RoomId),
    /// Two points with one name.
    #[error("point {0} is given twice")]
    PointTwice(PointId),
    /// Two supports with one name.
    #[error("support {0} is given twice")]
    SupportTwice(SupportId),
    /// A place that is not a number.
    #[error("point {0} is not at a finite position")]
    PointNotFinite(PointId),
    /// A place, gap or cap that is not a number, or is below zero.
    #[error(
        "support {0} has a position, gap, cap or lowering that is not a number or is below zero"
    )]
    SupportOutOfRange(SupportId),
    /// A point in a room that is not there.
    #[error("point {0} is said to be in room {1}, which is not in the job")]
    UnknownRoom(PointId, RoomId),
}

impl Site {
    /// Checks the parts and joins them.
    ///
    /// # Errors
    /// Every fault found, in the order rooms, points, supports.
    pub fn new(
        rooms: Vec<Room>,
        points: Vec<Point>,
        supports: Vec<Support>,
    ) -> Result<Self, Vec<SiteError>> {
        let mut faults = Vec::new();
        let mut room_ids = std::collections::BTreeSet::new();
        for room in &rooms {
            if !room_ids.insert(&room.id) {
                faults.push(SiteError::RoomTwice(room.id.clone()));
            }
        }
        let mut point_index = BTreeMap::new();
        for (point_idx, point) in points.iter().enumerate() {
            if point_index.insert(point.id.clone(), point_idx).is_some() {
                faults.push(SiteError::PointTwice(point.id.clone()));
            }
            if point.at.is_some_and(|at| !at.is_finite()) {
                faults.push(SiteError::PointNotFinite(point.id.clone()));
            }
            if let Some(room) = &point.room
                && !room_ids.contains(room)
            {
                faults.push(SiteError::UnknownRoom(point.id.clone(), room.clone()));
            }
        }
        let mut support_index = BTreeMap::new();
        for (support_idx, support) in supports.iter().enumerate() {
            if support_index.insert(support.id.clone(), support_idx).is_some() {
                faults.push(SiteError::SupportTwice(support.id.clone()));
            }
            let lengths = [support.gap, support.may_lower, support.max_lift.unwrap_or_default()];
            let in_range = |length: &Length| length.is_finite() && *length >= Length::ZERO;
            if !support.at.is_finite() || !lengths.iter().all(in_range) {
                faults.push(SiteError::SupportOutOfRange(support.id.clone()));
            }
        }
        if faults.is_empty() {
            Ok(Self { rooms, points, supports, point_index, support_index })
        } else {
            Err(faults)
        }
    }

    /// The rooms, in the job's order.
    pub fn rooms(&self) -> &[Room] {
        &self.rooms
    }

    /// The points, in the job's order.
    pub fn points(&self) -> &[Point] {
        &self.points
    }

    /// The supports, in the job's order.
    pub fn supports(&self) -> &[Support] {
        &self.supports
    }

    /// The point of that name.
    pub fn point(&self, id: &PointId) -> Option<&Point> {
        self.point_index.get(id).map(|&point_idx| &self.points[point_idx])
    }

    /// The support of that name.
    pub fn support(&self, id: &SupportId) -> Option<&Support> {
        self.support_index.get(id).map(|&support_idx| &self.supports[support_idx])
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn outline(corners: &[(f64, f64)]) -> Result<Outline, OutlineError> {
        Outline::new(corners.iter().map(|&(x, y)| Position::mm(x, y)).collect())
    }

    #[test]
    fn distances_near_and_far() {
        let check = |x: f64, y: f64, expected: f64| {
            let away = Position::mm(1.0, 2.0).distance(Position::mm(1.0 + x, 2.0 + y)).to_mm();
            assert!((away - expected).abs() <= 1e-15 * expected, "{x},{y}: {away}");
        };
        check(300.0, -400.0, 500.0);
        check(0.0, 0.0, 0.0);
        check(3e200, 4e200, 5e200);
        let hair = Position::mm(3e-200, 4e-200).distance(Position::default()).to_mm();
        assert!((hair - 5e-200).abs() <= 1e-215, "{hair}");
    }

    #[test]
    fn a_notch_is_outside() {
        let l_shape = outline(&[
            (0.0, 0.0),
            (6000.0, 0.0),
            (6000.0, 3000.0),
            (3000.0, 3000.0),
            (3000.0, 6000.0),
            (0.0, 6000.0),
        ])
        .unwrap();
        let check = |x, y, expected| {
            assert_eq!(l_shape.contains(Position::mm(x, y), Length::mm(1.0)), expected, "{x},{y}");
        };
        check(1000.0, 5000.0, true);
        check(5000.0, 5000.0, false);
        check(3000.0, 4000.0, true); // on the line
        check(3002.0, 4000.0, false);
    }

    #[test]
    fn bad_outlines_say_which_corner() {
        let check = |corners: &[(f64, f64)], expected| {
            assert_eq!(outline(corners).unwrap_err(), expected);
        };
        check(&[(0.0, 0.0), (1.0, 0.0), (0.0, 0.0)], OutlineError::TooFewCorners(2));
        check(&[(0.0, 0.0), (f64::NAN, 0.0), (0.0, 9.0)], OutlineError::NotFinite(2));
        check(&[(0.0, 0.0), (900.0, 0.0), (1800.0, 0.0)], OutlineError::NoArea);
        let bow_tie = [(0.0, 0.0), (900.0, 900.0), (900.0, 0.0), (0.0, 1200.0)];
        check(&bow_tie, OutlineError::CrossesItself(1, 3));
    }

    #[test]
    fn every_fault_of_a_site_is_reported() {
        let point = |id: &str| Point {
            id: PointId::new(id),
            at: Some(Position::mm(0.0, 0.0)),
            kind: PointKind::Floor,
            room: Some(RoomId::new("hall")),
        };
        let faults = Site::new(vec![], vec![point("P1"), point("P1")], vec![]).unwrap_err();
        assert_eq!(faults.len(), 3, "{faults:?}");
    }
}
