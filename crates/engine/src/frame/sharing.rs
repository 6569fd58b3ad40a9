//! Which timber carries what: area loads by strips, walls and point loads on what is under them.
//!
//! # Rules
//! The whole area load goes to the joists, each half way to the next on either side; the outermost
//! carries its inner half only, and so does one beside a hole: two joists further apart than 1.5 m,
//! unless the joists of that floor lie about as far apart as a rule. Every hole is named, for it weighs
//! nothing. A wall along a bearer or a joist, on its line, is a load along it.
//! A wall across the joists stands on each of them with the part of the wall that lies over its
//! strip. A wall between two joists is shared by the lever rule, the nearer taking more. A wall
//! or load up to [`NEARLY_ON`] outside the outermost timber stands on that.

use super::faults::FrameFault;
use super::spec::{Direction, FrameSpec, Joist, PointLoad, Run, Wall};
use crate::ids::JoistId;
use crate::site::Position;
use crate::units::Length;
use serde::Serialize;
use std::collections::BTreeMap;

/// A wall within this of a timber's line stands on it, in millimetres.
const ON_LINE: f64 = 1.0;

/// A load this far outside the outermost joist still stands on it: the thickness of a wall and
/// an edge joist set back from it.
pub const NEARLY_ON: Length = Length::mm(300.0);

/// Joists further apart than this have no floor between them, unless they lie so as a rule.
pub const WIDEST: Length = Length::mm(1500.0);

/// Of the middle spacing of a floor's joists: so far apart is still as a rule, for joists by an edge
/// or a wall are moved aside (a ratio).
const AS_A_RULE: f64 = 1.25;

/// Two joists side by side that are taken to have no floor between them.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Hole {
    /// The two joists, the lower or left one first.
    pub between: [JoistId; 2],
    /// How far apart they lie.
    pub apart: Length,
    /// The middle line of the hole, along the joists.
    pub middle: Run,
}

/// Loads of one kind on every member, bearers first.
#[derive(Clone, Debug)]
pub(super) struct Shares {
    /// Uniform loads on each member: from, to (mm along) and load (N/mm).
    pub uniform: Vec<Vec<(f64, f64, f64)>>,
    /// Loads at one place of each member: where (mm along) and load (N).
    pub points: Vec<Vec<(f64, f64)>>,
}

/// Dead and live loads on every member.
pub(super) struct Shared {
    pub dead: Shares,
    pub live: Shares,
    /// The floor that the joists carry, mm2.
    pub floor: f64,
    /// Where joists lie too far apart for a floor.
    pub holes: Vec<Hole>,
    /// Joists with no other beside them, which carry no floor.
    pub alone: Vec<JoistId>,
}

impl Shares {
    fn new(n: usize) -> Self {
        Self { uniform: vec![Vec::new(); n], points: vec![Vec::new(); n] }
    }

    /// The uniform load at a coordinate along a member.
    pub fn along(&self, member: usize, at: f64) -> f64 {
        let over = self.uniform[member].iter().filter(|(from, to, _)| *from < at && at < *to);
        over.map(|(_, _, load)| load).sum()
    }
}

/// Shares every load out.
///
/// # Errors
/// [`FrameFault::LoadOutside`] for each wall or point load that stands where no timber is.
pub(super) fn share(spec: &FrameSpec) -> Result<Shared, Vec<FrameFault>> {
    let n = spec.bearers.len() + spec.joists.len();
    let floor = Floor::new(spec);
    let (dead, live) = (Shares::new(n), Shares::new(n));
    let (holes, alone) = (floor.holes(), floor.alone());
    let mut shared = Shared { dead, live, floor: 0.0, holes, alone };
    for (joist, strips) in floor.strips.iter().enumerate() {
        let member = spec.bearers.len() + joist;
        for &(from, to, width) in strips.iter() {
            let of_floor = width.of_floor(floor.reach[joist]);
            let load = |load: crate::units::AreaLoad| load.to_n_per_mm2() * of_floor;
            shared.floor += (to - from) * of_floor;
            shared.dead.uniform[member].push((from, to, load(spec.floor_load.dead)));
            shared.live.uniform[member].push((from, to, load(spec.floor_load.live)));
        }
    }
    let mut faults = Vec::new();
    for wall in &spec.walls {
        faults.extend(floor.stand_wall(wall, &mut shared.dead));
    }
    for load in &spec.point_loads {
        faults.extend(floor.stand_load(load, &mut shared.dead));
    }
    if faults.is_empty() { Ok(shared) } else { Err(faults) }
}

/// How far a joist's strip reaches to either side, in millimetres.
#[derive(Clone, Copy)]
struct Width {
    below: f64,
    above: f64,
}

impl Width {
    /// The width of floor that the joist carries: none on the side of a hole, where the next joist
    /// lies beyond the reach.
    fn of_floor(self, reach: f64) -> f64 {
        [self.below, self.above].iter().filter(|&&side| side <= reach / 2.0).sum()
    }
}

struct Floor<'a> {
    spec: &'a FrameSpec,
    /// Joists of each direction in order of their line.
    in_order: [Vec<usize>; 2],
    /// For each joist: stretches along it with the width of its strip there.
    strips: Vec<Vec<(f64, f64, Width)>>,
    /// For each joist, how far away the next one of its floor may lie, in millimetres.
    reach: Vec<f64>,
}

fn slot(direction: Direction) -> usize {
    match direction {
        Direction::X => 0,
        Direction::Y => 1,
    }
}

fn span(run: &Run) -> (f64, f64) {
    (run.from.to_mm(), run.to.to_mm())
}

impl<'a> Floor<'a> {
    fn new(spec: &'a FrameSpec) -> Self {
        let joists = &spec.joists;
        let of = |direction: Direction| -> Vec<usize> {
            let mut of: Vec<usize> =
                (0..joists.len()).filter(|&j| joists[j].run.direction == direction).collect();
            of.sort_by(|&a, &b| joists[a].run.at.total_cmp(&joists[b].run.at).then(a.cmp(&b)));
            of
        };
        let in_order = [of(Direction::X), of(Direction::Y)];
        let reach = reaches(joists, &in_order);
        let mut floor = Self { spec, in_order, strips: Vec::new(), reach };
        let mut strips = vec![Vec::new(); joists.len()];
        for order in &floor.in_order {
            for (place, &joist) in order.iter().enumerate() {
                let below = floor.half_ways(joist, order[..place].iter().rev());
                let above = floor.half_ways(joist, order[place + 1..].iter());
                strips[joist] = both_sides(span(&joists[joist].run), &below, &above);
            }
        }
        floor.strips = strips;
        floor
    }

    /// Where the next joist above lies too far away for a floor, stretch by stretch.
    fn holes(&self) -> Vec<Hole> {
        let joists = &self.spec.joists;
        let mut holes = Vec::new();
        for (place, joist) in self.places() {
            for &(from, to, width) in &self.strips[joist] {
                let away = width.above * 2.0;
                if away <= self.reach[joist] || to - from <= ON_LINE {
                    continue;
                }
                let (own, middle) = (&joists[joist], (from + to) / 2.0);
                let order = &self.in_order[slot(own.run.direction)];
                let next = order[place + 1..].iter().find(|&&other| {
                    let other = &joists[other];
                    other.floor == own.floor
                        && (other.run.at - own.run.at).to_mm() > ON_LINE
                        && other.run.reaches(Length::mm(middle), Length::ZERO)
                });
                holes.extend(next.map(|&next| Hole {
                    between: [own.id.clone(), joists[next].id.clone()],
                    apart: Length::mm(away),
                    middle: Run {
                        at: own.run.at + Length::mm(away / 2.0),
                        from: Length::mm(from),
                        to: Length::mm(to),
                        ..own.run
                    },
                }));
            }
        }
        holes
    }

    /// Joists that no other of their floor lies beside.
    fn alone(&self) -> Vec<JoistId> {
        let is_alone = |joist: usize| {
            self.strips[joist].iter().all(|(_, _, width)| width.below + width.above <= 0.0)
        };
        let alone = (0..self.spec.joists.len()).filter(|&joist| is_alone(joist));
        alone.map(|joist| self.spec.joists[joist].id.clone()).collect()
    }

    /// Every joist with its place in the order of its direction.
    fn places(&self) -> impl Iterator<Item = (usize, usize)> {
        self.in_order.iter().flat_map(|order| order.iter().copied().enumerate())
    }

    /// Stretches of a joist with half the distance to the next one on a side.
    fn half_ways<'b>(
        &self,
        joist: usize,
        outward: impl Iterator<Item = &'b usize>,
    ) -> Vec<(f64, f64, f64)> {
        let own = &self.spec.joists[joist];
        let mut open = vec![span(&own.run)];
        let mut found = Vec::new();
        for &other in outward {
            if open.is_empty() {
                break;
            }
            let other = &self.spec.joists[other];
            let away = (other.run.at - own.run.at).abs().to_mm();
            if other.floor != own.floor || away <= ON_LINE {
                continue;
            }
            for (from, to) in take(&mut open, span(&other.run)) {
                found.push((from, to, away / 2.0));
            }
        }
        found
    }

    /// Stands a wall on what is under it, stretch by stretch.
    fn stand_wall(&self, wall: &Wall, dead: &mut Shares) -> Option<FrameFault> {
        let (at, load) = (wall.run.at.to_mm(), wall.load.to_kn_per_m());
        let direction = wall.run.direction;
        let mut open = vec![span(&wall.run)];
        for (member, run) in self.runs() {
            if run.direction == direction && (run.at.to_mm() - at).abs() <= ON_LINE {
                for (from, to) in take(&mut open, span(run)) {
                    dead.uniform[member].push((from, to, load));
                }
            }
        }
        self.across_joists(wall, &mut open, dead);
        self.between_joists(wall, &mut open, dead);
        let left: f64 = open.iter().map(|(from, to)| to - from).sum();
        (left > ON_LINE).then(|| {
            let ends = open.iter().flat_map(|&(from, to)| [from, to]);
            let beyond = ends.map(|end| self.away(wall.run.place(Length::mm(end))));
            let load = format!("wall {}", wall.name);
            FrameFault::LoadOutside { load, beyond: beyond.fold(Length::ZERO, Length::max) }
        })
    }

    /// Every timber, bearers first, with its index among the members.
    fn runs(&self) -> impl Iterator<Item = (usize, &Run)> {
        let bearers = self.spec.bearers.iter().map(|bearer| &bearer.run);
        bearers.chain(self.spec.joists.iter().map(|joist| &joist.run)).enumerate()
    }

    fn member_of(&self, joist: usize) -> usize {
        self.spec.bearers.len() + joist
    }

    /// A wall on the joists that it crosses, each with the part over its strip.
    fn across_joists(&self, wall: &Wall, open: &mut Vec<(f64, f64)>, dead: &mut Shares) {
        let (at, load) = (wall.run.at.to_mm(), wall.load.to_kn_per_m());
        let crossed: Vec<(usize, f64, Width)> = self.in_order[slot(wall.run.direction.turned())]
            .iter()
            .filter_map(|&joist| {
                let stretch = self.strips[joist].iter().find(|s| s.0 <= at && at <= s.1)?;
                Some((joist, self.spec.joists[joist].run.at.to_mm(), stretch.2))
            })
            .collect();
        let mut stand = |joist: usize, part: f64| {
            dead.points[self.member_of(joist)].push((at, load * part));
        };
        for &(joist, line, width) in &crossed {
            let strip = (line - width.below, line + width.above);
            let part: f64 = take(open, strip).iter().map(|(from, to)| to - from).sum();
            if part > 0.0 {
                stand(joist, part);
            }
        }
        // What hangs over the outermost joists.
        for &(joist, line, _) in &crossed {
            let near = (line - NEARLY_ON.to_mm(), line + NEARLY_ON.to_mm());
            let part: f64 = take(open, near).iter().map(|(from, to)| to - from).sum();
            if part > 0.0 {
                stand(joist, part);
            }
        }
    }

    /// A wall between two joists that run as it does, or just outside the last of them.
    fn between_joists(&self, wall: &Wall, open: &mut Vec<(f64, f64)>, dead: &mut Shares) {
        let load = wall.load.to_kn_per_m();
        let stretches = std::mem::take(open);
        for (from, to) in stretches {
            let ends = self.in_order[slot(wall.run.direction)]
                .iter()
                .flat_map(|&joist| <[f64; 2]>::from(span(&self.spec.joists[joist].run)))
                .filter(|&end| from < end && end < to);
            let mut cuts: Vec<f64> = ends.chain([from, to]).collect();
            cuts.sort_by(f64::total_cmp);
            cuts.dedup();
            for cut in cuts.windows(2) {
                let middle = (cut[0] + cut[1]) / 2.0;
                let parts = self.lever(wall.run.direction, middle, wall.run.at.to_mm());
                if parts.is_empty() {
                    open.push((cut[0], cut[1]));
                }
                for (joist, part) in parts {
                    let member = self.member_of(joist);
                    dead.uniform[member].push((cut[0], cut[1], load * part));
                }
            }
        }
    }

    /// The joists of a direction on either side of a place and the part of a load there that
    /// each takes; one alone within reach takes all.
    fn lever(&self, direction: Direction, along: f64, across: f64) -> Vec<(usize, f64)> {
        let line = |joist: usize| self.spec.joists[joist].run.at.to_mm();
        let order = &self.in_order[slot(direction)];
        let above_from = order.partition_point(|&joist| line(joist) <= across);
        let covers =
            |joist: &&usize| self.spec.joists[**joist].run.reaches(Length::mm(along), Length::ZERO);
        let below = order[..above_from].iter().rev().find(covers).copied();
        let above = order[above_from..].iter().find(covers).copied();
        let near = |joist: usize| (line(joist) - across).abs() <= NEARLY_ON.to_mm();
        match (below, above) {
            (Some(a), Some(b)) => {
                let part = (across - line(a)) / (line(b) - line(a));
                vec![(a, 1.0 - part), (b, part)]
            }
            (Some(one), None) | (None, Some(one)) if near(one) => vec![(one, 1.0)],
            _ => Vec::new(),
        }
    }

    fn stand_load(&self, load: &PointLoad, dead: &mut Shares) -> Option<FrameFault> {
        let weight = load.load.to_n();
        for (member, run) in self.runs() {
            let along = run.direction.along(load.at);
            let beside = (run.direction.across(load.at) - run.at).abs().to_mm();
            if run.reaches(along, Length::ZERO) && beside <= ON_LINE {
                dead.points[member].push((along.to_mm(), weight));
                return None;
            }
        }
        for direction in [Direction::X, Direction::Y] {
            let (along, across) = (direction.along(load.at), direction.across(load.at));
            let parts = self.lever(direction, along.to_mm(), across.to_mm());
            if !parts.is_empty() {
                for (joist, part) in parts {
                    dead.points[self.member_of(joist)].push((along.to_mm(), weight * part));
                }
                return None;
            }
        }
        let (at, load) = (load.at, format!("load {}", load.name));
        Some(FrameFault::LoadOutside { load, beyond: self.away(at) })
    }

    /// How far a place lies from the nearest timber.
    fn away(&self, place: Position) -> Length {
        let nearest = self.runs().map(|(_, run)| {
            let along = run.direction.along(place).max(run.from).min(run.to);
            run.place(along).distance(place)
        });
        nearest.min_by(Length::total_cmp).unwrap_or(Length::ZERO)
    }
}

/// How far apart the joists of each floor may lie and have a floor between them, for each joist: what
/// [`WIDEST`] says, or a little more than the middle one of the spacings of that floor's joists.
fn reaches(joists: &[Joist], in_order: &[Vec<usize>; 2]) -> Vec<f64> {
    let mut reach = vec![WIDEST.to_mm(); joists.len()];
    for order in in_order {
        let mut lines: BTreeMap<&str, Vec<f64>> = BTreeMap::new();
        for &joist in order {
            lines.entry(&joists[joist].floor).or_default().push(joists[joist].run.at.to_mm());
        }
        for (floor, lines) in lines {
            let between = lines.windows(2).map(|pair| pair[1] - pair[0]);
            let mut spacings: Vec<f64> = between.filter(|spacing| *spacing > ON_LINE).collect();
            spacings.sort_by(f64::total_cmp);
            let Some(middle) = spacings.get(spacings.len() / 2) else { continue };
            for &joist in order.iter().filter(|&&joist| joists[joist].floor == floor) {
                reach[joist] = reach[joist].max(middle * AS_A_RULE);
            }
        }
    }
    reach
}

/// Takes what lies in a stretch out of the open ones; returns what was taken.
fn take(open: &mut Vec<(f64, f64)>, (from, to): (f64, f64)) -> Vec<(f64, f64)> {
    let mut taken = Vec::new();
    let mut left = Vec::new();
    for &(a, b) in open.iter() {
        let (low, high) = (a.max(from), b.min(to));
        if high <= low {
            left.push((a, b));
            continue;
        }
        taken.push((low, high));
        left.extend([(a, low), (high, b)].into_iter().filter(|(a, b)| b > a));
    }
    *open = left;
    taken
}

/// Joins the widths of two sides into stretches of one width each.
fn both_sides(
    (from, to): (f64, f64),
    below: &[(f64, f64, f64)],
    above: &[(f64, f64, f64)],
) -> Vec<(f64, f64, Width)> {
    let ends = below.iter().chain(above).flat_map(|&(a, b, _)| [a, b]);
    let mut cuts: Vec<f64> = ends.chain([from, to]).collect();
    cuts.sort_by(f64::total_cmp);
    cuts.dedup();
    let width = |side: &[(f64, f64, f64)], at: f64| {
        side.iter().find(|(a, b, _)| *a < at && at < *b).map_or(0.0, |stretch| stretch.2)
    };
    cuts.windows(2)
        .map(|cut| {
            let middle = (cut[0] + cut[1]) / 2.0;
            let width = Width { below: width(below, middle), above: width(above, middle) };
            (cut[0], cut[1], width)
        })
        .collect()
}
