//! The shortest way of a hose from place to place, round walls and through doorways.

use super::walls::{Walls, bends};
use crate::site::{Outline, Position};
use crate::units::Length;

/// How far inside its room a point on a wall is taken to be read, mm.
const INSIDE: f64 = 15.0;

/// A place with the bends that it sees and how far each is, in millimetres.
#[derive(Clone, Debug)]
pub(super) struct Place {
    pub at: (f64, f64),
    sees: Vec<(usize, f64)>,
}

/// A place with the way to every bend, in millimetres.
pub(super) struct Reach {
    at: (f64, f64),
    to_bend: Vec<f64>,
}

/// The ways through a house.
pub(super) struct Ways {
    walls: Walls,
    bends: Vec<(f64, f64)>,
    /// Shortest way from bend to bend, row by row.
    between: Vec<f64>,
    /// Ways longer than this are of no use.
    longest: f64,
}

fn apart(a: (f64, f64), b: (f64, f64)) -> f64 {
    (a.0 - b.0).hypot(a.1 - b.1)
}

impl Ways {
    pub fn new(walls: Walls, longest: Length) -> Self {
        let bends = bends(&walls);
        let longest = longest.to_mm();
        let n = bends.len();
        let mut direct: Vec<Vec<(usize, f64)>> = vec![Vec::new(); n];
        for from in 0..n {
            for to in from + 1..n {
                let length = apart(bends[from], bends[to]);
                if length <= longest && walls.sees(bends[from], bends[to]) {
                    direct[from].push((to, length));
                    direct[to].push((from, length));
                }
            }
        }
        let between = (0..n).flat_map(|from| shortest(&direct, from)).collect();
        Self { walls, bends, between, longest }
    }

    pub fn place(&self, at: (f64, f64)) -> Place {
        let sees = self.bends.iter().enumerate().filter_map(|(idx, &bend)| {
            let length = apart(at, bend);
            (length <= self.longest && self.walls.sees(at, bend)).then_some((idx, length))
        });
        Place { at, sees: sees.collect() }
    }

    pub fn reach(&self, place: &Place) -> Reach {
        let n = self.bends.len();
        let mut to_bend = vec![f64::INFINITY; n];
        for &(first, length) in &place.sees {
            let row = &self.between[first * n..(first + 1) * n];
            for (known, further) in to_bend.iter_mut().zip(row) {
                *known = known.min(length + further);
            }
        }
        Reach { at: place.at, to_bend }
    }

    /// The way in millimetres; infinite where there is none, or none short enough to be of use.
    pub fn length(&self, from: &Reach, to: &Place) -> f64 {
        let straight = apart(from.at, to.at);
        if straight > self.longest {
            return f64::INFINITY;
        }
        if self.walls.sees(from.at, to.at) {
            return straight;
        }
        let round = to.sees.iter().map(|&(bend, length)| from.to_bend[bend] + length);
        round.fold(f64::INFINITY, f64::min)
    }

    /// The places that the way goes through, both ends included.
    pub fn line(&self, from: &Place, to: &Place) -> Vec<(f64, f64)> {
        let n = self.bends.len();
        let mut line = vec![from.at];
        let mut here = from.clone();
        // Bend by bend: each is the first of the shortest way from where the last one ended.
        while !self.walls.sees(here.at, to.at) && line.len() <= n + 1 {
            let onwards = |bend: usize| {
                let row = &self.between[bend * n..(bend + 1) * n];
                to.sees
                    .iter()
                    .map(|&(last, length)| row[last] + length)
                    .fold(f64::INFINITY, f64::min)
            };
            let steps = here.sees.iter().filter(|step| step.1 > 1e-6);
            let next = steps
                .map(|&(bend, length)| (bend, length + onwards(bend)))
                .min_by(|a, b| a.1.total_cmp(&b.1));
            let Some((bend, _)) = next else { break };
            here = self.place(self.bends[bend]);
            line.push(here.at);
        }
        line.push(to.at);
        line
    }

    /// Whether a place keeps this far from every wall.
    pub fn is_clear(&self, at: (f64, f64), by: f64) -> bool {
        let place = Position::mm(at.0, at.1);
        self.walls.pieces.iter().all(|wall| {
            let side = (Position::mm(wall.from.0, wall.from.1), Position::mm(wall.to.0, wall.to.1));
            crate::site::nearest_on_segment(side, place).distance(place).to_mm() >= by
        })
    }
}

/// Dijkstra's shortest ways from one bend, without a heap: there are a few hundred at most.
fn shortest(direct: &[Vec<(usize, f64)>], from: usize) -> Vec<f64> {
    let n = direct.len();
    let mut length = vec![f64::INFINITY; n];
    let mut done = vec![false; n];
    length[from] = 0.0;
    loop {
        let open = (0..n).filter(|&bend| !done[bend] && length[bend].is_finite());
        let Some(here) = open.min_by(|&a, &b| length[a].total_cmp(&length[b])) else {
            return length;
        };
        done[here] = true;
        for &(to, further) in &direct[here] {
            length[to] = length[to].min(length[here] + further);
        }
    }
}

/// Where a point is read from inside a room: the point itself, or a hand's breadth inside if it
/// lies on the room's line or a little outside of it.
pub(super) fn inside(outline: &Outline, at: Position) -> Option<(f64, f64)> {
    let clear = |place: Position| {
        outline.contains(place, Length::ZERO)
            && outline.distance_to_line(place).to_mm() >= 0.6 * INSIDE
    };
    if clear(at) {
        return Some((at.x.to_mm(), at.y.to_mm()));
    }
    let nearest = outline
        .sides()
        .map(|side| crate::site::nearest_on_segment(side, at))
        .min_by(|a, b| a.distance(at).total_cmp(&b.distance(at)))?;
    let around = (0..16).map(|turn| {
        let (sine, cosine) = (f64::from(turn) * std::f64::consts::TAU / 16.0).sin_cos();
        let step = |share: f64| Length::mm(INSIDE * 1.5 * share);
        Position { x: nearest.x + step(cosine), y: nearest.y + step(sine) }
    });
    around
        .filter(|&place| clear(place))
        .max_by(|a, b| outline.distance_to_line(*a).total_cmp(&outline.distance_to_line(*b)))
        .map(|place| (place.x.to_mm(), place.y.to_mm()))
}
