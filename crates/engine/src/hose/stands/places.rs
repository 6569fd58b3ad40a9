//! What is to be read, and where the reservoir may stand.

use super::{NoStands, StandsAsk};
use crate::hose::walls::Door;
use crate::hose::ways::{Place, Reach, Ways, inside};
use crate::ids::{PointId, RoomId};
use crate::site::{Finish, Outline, Point, PointKind, Position, Room, Site};
use crate::units::Length;
use crate::verdict::room_of;
use std::collections::BTreeSet;

/// How many places for the reservoir are looked at.
const CANDIDATES: f64 = 320.0;
/// The reservoir stands so far off the walls, mm.
const OFF_WALL: f64 = 250.0;

/// Something to be read, with the place that it is read at.
pub(super) struct Target {
    pub(super) point: PointId,
    pub(super) at: Position,
    pub(super) place: Place,
    pub(super) is_benchmark: bool,
}

pub(super) struct Candidate {
    pub(super) at: (f64, f64),
    pub(super) room: Option<RoomId>,
    pub(super) place: Place,
    /// Beside a wall, away from doorways and from what is read: nobody walks on it or past it.
    pub(super) aside: bool,
    /// Hose to each target, mm.
    pub(super) hose: Vec<f64>,
}

/// The site with the box round its points and supports as its one room.
pub(super) fn with_one_room(site: &Site) -> Result<Site, NoStands> {
    /// How far the box lies outside of them.
    const OUTSIDE: f64 = 500.0;
    let floor = site.points().iter().filter(|point| point.kind.is_floor());
    let places = floor.filter_map(|point| point.at).chain(site.supports().iter().map(|s| s.at));
    let places: Vec<(f64, f64)> = places.map(|at| (at.x.to_mm(), at.y.to_mm())).collect();
    let ends = |of: fn(&(f64, f64)) -> f64| {
        let values = || places.iter().map(of);
        let (low, high) =
            (values().fold(f64::INFINITY, f64::min), values().fold(f64::NEG_INFINITY, f64::max));
        (low - OUTSIDE, high + OUTSIDE)
    };
    let ((left, right), (low, high)) = (ends(|p| p.0), ends(|p| p.1));
    let corners = [(left, low), (right, low), (right, high), (left, high)];
    let corners = corners.iter().map(|&(x, y)| Position::mm(x, y)).collect();
    let outline = Outline::new(corners).map_err(|_| NoStands::NoPoints)?;
    let room =
        Room { id: RoomId::new("floor"), outline, finish: Finish::Boards, deck: "main".to_owned() };
    let mut points = site.points().to_vec();
    for point in &mut points {
        point.room = None;
    }
    Site::new(vec![room], points, site.supports().to_vec()).map_err(|_| NoStands::NoRooms)
}

pub(super) fn targets_of(ask: &StandsAsk<'_>, ways: &Ways) -> Vec<Target> {
    let mut targets: Vec<Target> = Vec::new();
    let mut named = BTreeSet::new();
    let mut add = |point: &PointId, at: Position, room: Option<&RoomId>, is_benchmark: bool| {
        if !named.insert(point.clone()) {
            return;
        }
        // In one room only, also on the line between two: what is read on the other side of a wall is
        // another spot of the floor, and ties nothing together.
        let spot =
            Point { id: point.clone(), at: Some(at), kind: PointKind::Floor, room: room.cloned() };
        let within = room_of(ask.site, &spot).and_then(|room| inside(&room.outline, at));
        let place = ways.place(within.unwrap_or((at.x.to_mm(), at.y.to_mm())));
        targets.push(Target { point: point.clone(), at, place, is_benchmark });
    };
    for point in ask.site.points() {
        let is_benchmark = ask.benchmarks.contains(&point.id);
        let is_read = is_benchmark
            || matches!(point.kind, PointKind::Floor | PointKind::Threshold | PointKind::Soffit);
        if let (Some(at), true) = (point.at, is_read) {
            add(&point.id, at, point.room.as_ref(), is_benchmark);
        }
    }
    for support in ask.site.supports() {
        let point = PointId::new(support.id.as_str());
        let over = ask.site.points().iter().any(|known| known.at == Some(support.at));
        if !over {
            add(&point, support.at, None, false);
        }
    }
    targets
}

pub(super) fn candidates_of(
    ask: &StandsAsk<'_>,
    ways: &Ways,
    targets: &[Target],
) -> Vec<Candidate> {
    let area: f64 = ask.site.rooms().iter().map(|room| room.outline.area_m2()).sum();
    let step = ((area / CANDIDATES).sqrt() * 1e3).clamp(450.0, 20_000.0);
    let mut candidates: Vec<Candidate> = Vec::new();
    let mut add = |at: (f64, f64), room: &Room| {
        let aside = is_aside(ask, targets, room, Position::mm(at.0, at.1));
        let in_obstacle = ask
            .obstacles
            .iter()
            .any(|obstacle| obstacle.contains(Position::mm(at.0, at.1), Length::ZERO));
        if in_obstacle {
            return;
        }
        let place = ways.place(at);
        let from = ways.reach(&place);
        let hose = targets.iter().map(|target| hose_to(ways, &from, target)).collect();
        candidates.push(Candidate { at, room: Some(room.id.clone()), place, aside, hose });
    };
    for room in ask.site.rooms() {
        let corners = room.outline.corners();
        let ends = |of: fn(&Position) -> f64| {
            let values = corners.iter().map(of);
            (values.clone().fold(f64::INFINITY, f64::min), values.fold(f64::NEG_INFINITY, f64::max))
        };
        let ((left, right), (low, high)) = (ends(|p| p.x.to_mm()), ends(|p| p.y.to_mm()));
        let (wide, deep) = (steps(right - left, step), steps(high - low, step));
        let mut n_added = 0;
        for off in [OFF_WALL, 60.0] {
            for row in 0..deep {
                for column in 0..wide {
                    let at = (
                        left + (right - left) * (column as f64 + 0.5) / wide as f64,
                        low + (high - low) * (row as f64 + 0.5) / deep as f64,
                    );
                    let place = Position::mm(at.0, at.1);
                    let is_inside = room.outline.contains(place, Length::ZERO)
                        && room.outline.distance_to_line(place).to_mm() >= off;
                    if is_inside && ways.is_clear(at, off) {
                        add(at, room);
                        n_added += 1;
                    }
                }
            }
            // Only a room too narrow for that is looked at again.
            if n_added > 0 {
                break;
            }
        }
        // Beside a doorway a stand reaches into two rooms.
        for door in ask
            .doors
            .iter()
            .filter(|door| room.outline.distance_to_line(door.at) <= Length::mm(300.0))
        {
            if let Some(at) = beside_door(&room.outline, door)
                && ways.is_clear(at, 60.0)
            {
                add(at, room);
            }
        }
    }
    candidates
}

/// Whether a reservoir at this place is out of the way of whoever reads.
fn is_aside(ask: &StandsAsk<'_>, targets: &[Target], room: &Room, at: Position) -> bool {
    /// No further than this from a wall.
    const FROM_WALL: Length = Length::mm(900.0);
    /// And no nearer than this to a doorway, and to a spot that a staff stands on.
    const FROM_DOOR: Length = Length::mm(1000.0);
    const FROM_SPOT: Length = Length::mm(400.0);
    room.outline.distance_to_line(at) <= FROM_WALL
        && ask.doors.iter().all(|door| door.at.distance(at) >= FROM_DOOR)
        && targets.iter().all(|target| target.at.distance(at) >= FROM_SPOT)
}

fn steps(length: f64, step: f64) -> usize {
    (length / step).ceil().max(1.0) as usize
}

/// A place inside the room, in front of the doorway.
fn beside_door(outline: &Outline, door: &Door) -> Option<(f64, f64)> {
    let around = (0..16).map(|turn| {
        let (sine, cosine) = (f64::from(turn) * std::f64::consts::TAU / 16.0).sin_cos();
        Position {
            x: door.at.x + Length::mm(500.0 * cosine),
            y: door.at.y + Length::mm(500.0 * sine),
        }
    });
    around
        .filter(|&place| outline.contains(place, Length::ZERO))
        .max_by(|a, b| outline.distance_to_line(*a).total_cmp(&outline.distance_to_line(*b)))
        .map(|place| (place.x.to_mm(), place.y.to_mm()))
}

fn hose_to(ways: &Ways, from: &Reach, target: &Target) -> f64 {
    ways.length(from, &target.place)
}
