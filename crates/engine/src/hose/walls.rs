//! Walls that a hose has to go round, with the doorways cut out of them.

use crate::site::{Outline, Position, nearest_on_segment};
use crate::units::Length;
use serde::Serialize;

/// A doorway that a hose can be laid through.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Door {
    /// The middle of the doorway.
    pub at: Position,
    /// Its clear width.
    pub width: Length,
}

/// How far a doorway may lie off the line of a wall: a wall thickness and a hand (our own rule, as
/// for points beside an outline).
pub const DOOR_BESIDE_WALL: Length = Length::mm(300.0);

/// A piece of wall, in millimetres.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Wall {
    pub from: (f64, f64),
    pub to: (f64, f64),
}

/// All walls, as pieces without doorways.
#[derive(Clone, Debug, Default)]
pub(super) struct Walls {
    pub pieces: Vec<Wall>,
}

fn xy(place: Position) -> (f64, f64) {
    (place.x.to_mm(), place.y.to_mm())
}

/// The doorway on the line of a piece of wall: from and to along it, and how far off it lies.
struct Cut {
    wall: usize,
    from: f64,
    to: f64,
    off: f64,
}

impl Walls {
    /// Outlines are walls except where there is a doorway; obstacles are walls all round. Where no
    /// doorway is marked at all, outlines are not walls: nobody would be able to leave a room.
    pub fn new(outlines: &[&Outline], doors: &[Door], obstacles: &[Outline]) -> Self {
        let mut walls = Self::default();
        if !doors.is_empty() {
            let sides: Vec<_> = outlines.iter().flat_map(|outline| outline.sides()).collect();
            walls.pieces = with_doorways(&sides, doors);
        }
        for obstacle in obstacles {
            let sides = obstacle.sides();
            walls.pieces.extend(sides.map(|(from, to)| Wall { from: xy(from), to: xy(to) }));
        }
        walls
    }

    /// Whether nothing stands between two places. A wall that is only touched stands between.
    pub fn sees(&self, from: (f64, f64), to: (f64, f64)) -> bool {
        let (left, right) = (from.0.min(to.0), from.0.max(to.0));
        let (low, high) = (from.1.min(to.1), from.1.max(to.1));
        !self.pieces.iter().any(|wall| {
            let ((ax, ay), (bx, by)) = (wall.from, wall.to);
            if ax.max(bx) < left || ax.min(bx) > right || ay.max(by) < low || ay.min(by) > high {
                return false;
            }
            let along = side(from, to, wall.from) * side(from, to, wall.to);
            let across = side(wall.from, wall.to, from) * side(wall.from, wall.to, to);
            along <= 0.0 && across <= 0.0
        })
    }
}

/// Which side of a line a place lies on: twice an area, nothing within a thousandth of a mm.
fn side(from: (f64, f64), to: (f64, f64), place: (f64, f64)) -> f64 {
    let (dx, dy) = (to.0 - from.0, to.1 - from.1);
    let twice = dx * (place.1 - from.1) - dy * (place.0 - from.0);
    let least = 1e-3 * (dx.abs() + dy.abs());
    if twice.abs() <= least { 0.0 } else { twice }
}

fn with_doorways(sides: &[(Position, Position)], doors: &[Door]) -> Vec<Wall> {
    let mut cuts_of: Vec<Vec<(f64, f64)>> = vec![Vec::new(); sides.len()];
    let mut pieces = Vec::new();
    for door in doors {
        let cuts = cuts_of_door(sides, door);
        for cut in &cuts {
            cuts_of[cut.wall].push((cut.from, cut.to));
        }
        pieces.extend(reveals(sides, &cuts));
    }
    for (wall, &(from, to)) in sides.iter().enumerate() {
        let length = from.distance(to).to_mm();
        let at = |along: f64| {
            let share = along / length;
            let (a, b) = (xy(from), xy(to));
            (a.0 + share * (b.0 - a.0), a.1 + share * (b.1 - a.1))
        };
        let mut cuts = std::mem::take(&mut cuts_of[wall]);
        cuts.sort_by(|a, b| a.0.total_cmp(&b.0));
        let mut begin = 0.0;
        for (cut_from, cut_to) in cuts {
            if cut_from > begin {
                pieces.push(Wall { from: at(begin), to: at(cut_from) });
            }
            begin = begin.max(cut_to);
        }
        if begin < length {
            pieces.push(Wall { from: at(begin), to: at(length) });
        }
    }
    pieces
}

/// Where a doorway cuts the walls near it that run as the nearest one does.
fn cuts_of_door(sides: &[(Position, Position)], door: &Door) -> Vec<Cut> {
    let distance =
        |&side: &(Position, Position)| nearest_on_segment(side, door.at).distance(door.at);
    let nearest = sides.iter().min_by(|a, b| distance(a).total_cmp(&distance(b)));
    let Some(&(from, to)) = nearest else { return Vec::new() };
    let run = direction(from, to);
    let mut cuts = Vec::new();
    for (wall, &(from, to)) in sides.iter().enumerate() {
        let own = direction(from, to);
        let parallel = (run.0 * own.1 - run.1 * own.0).abs() < 0.05;
        if !parallel || distance(&(from, to)) > DOOR_BESIDE_WALL {
            continue;
        }
        let (dx, dy) = ((door.at.x - from.x).to_mm(), (door.at.y - from.y).to_mm());
        let middle = dx * own.0 + dy * own.1;
        let half = door.width.to_mm() / 2.0;
        let length = from.distance(to).to_mm();
        let (cut_from, cut_to) = ((middle - half).max(0.0), (middle + half).min(length));
        if cut_to > cut_from {
            // Off to the left of the nearest wall's own run.
            let (off_x, off_y) = (-dx + middle * own.0, -dy + middle * own.1);
            let off = run.0 * off_y - run.1 * off_x;
            cuts.push(Cut { wall, from: cut_from, to: cut_to, off });
        }
    }
    cuts
}

/// The sides of a doorway through two faces of a wall, so that no hose goes into the wall.
fn reveals(sides: &[(Position, Position)], cuts: &[Cut]) -> Vec<Wall> {
    let (Some(low), Some(high)) = (
        cuts.iter().min_by(|a, b| a.off.total_cmp(&b.off)),
        cuts.iter().max_by(|a, b| a.off.total_cmp(&b.off)),
    ) else {
        return Vec::new();
    };
    if high.off - low.off < 1.0 {
        return Vec::new();
    }
    let end = |cut: &Cut, along: f64| {
        let (from, to) = sides[cut.wall];
        let run = direction(from, to);
        let (x, y) = xy(from);
        (x + along * run.0, y + along * run.1)
    };
    let ends = |cut: &Cut| [end(cut, cut.from), end(cut, cut.to)];
    let ([a, b], mut other) = (ends(low), ends(high));
    let apart = |p: (f64, f64), q: (f64, f64)| (p.0 - q.0).hypot(p.1 - q.1);
    if apart(a, other[0]) + apart(b, other[1]) > apart(a, other[1]) + apart(b, other[0]) {
        other.swap(0, 1);
    }
    vec![Wall { from: a, to: other[0] }, Wall { from: b, to: other[1] }]
}

fn direction(from: Position, to: Position) -> (f64, f64) {
    let length = from.distance(to).to_mm().max(f64::MIN_POSITIVE);
    ((to.x - from.x).to_mm() / length, (to.y - from.y).to_mm() / length)
}

/// The places where a tight hose bends: beside every end and outer corner of the walls.
pub(super) fn bends(walls: &Walls) -> Vec<(f64, f64)> {
    /// How far from the corner the hose lies, mm.
    const CLEARANCE: f64 = 30.0;
    let mut corners: Vec<(f64, f64)> = Vec::new();
    for wall in &walls.pieces {
        for end in [wall.from, wall.to] {
            if !corners.iter().any(|&known| near(known, end)) {
                corners.push(end);
            }
        }
    }
    let mut bends = Vec::new();
    for corner in corners {
        let mut angles = angles_at(walls, corner);
        angles.sort_by(f64::total_cmp);
        angles.dedup_by(|a, b| (*a - *b).abs() < 1e-4);
        for (idx, &angle) in angles.iter().enumerate() {
            let next = angles.get(idx + 1).copied().unwrap_or(angles[0] + std::f64::consts::TAU);
            if next - angle > std::f64::consts::PI + 1e-3 {
                let (sine, cosine) = f64::midpoint(angle, next).sin_cos();
                bends.push((corner.0 + CLEARANCE * cosine, corner.1 + CLEARANCE * sine));
            }
        }
    }
    bends
}

fn near(a: (f64, f64), b: (f64, f64)) -> bool {
    (a.0 - b.0).abs() < 1.0 && (a.1 - b.1).abs() < 1.0
}

/// The directions in which walls leave a corner, those included that run through it.
fn angles_at(walls: &Walls, corner: (f64, f64)) -> Vec<f64> {
    let mut angles = Vec::new();
    for wall in &walls.pieces {
        let mut leaves = |to: (f64, f64)| {
            angles.push((to.1 - corner.1).atan2(to.0 - corner.0).rem_euclid(std::f64::consts::TAU));
        };
        if near(wall.from, corner) {
            leaves(wall.to);
        } else if near(wall.to, corner) {
            leaves(wall.from);
        } else {
            let place = |p: (f64, f64)| Position::mm(p.0, p.1);
            let nearest = nearest_on_segment((place(wall.from), place(wall.to)), place(corner));
            if near(xy(nearest), corner) {
                leaves(wall.from);
                leaves(wall.to);
            }
        }
    }
    angles
}
