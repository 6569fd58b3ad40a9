//! Walls along the edges of the rooms, and where they stand on the frame.
//!
//! # Rules
//! A side of a room that runs along x or y is an inner wall where another room lies beyond it,
//! no further than a wall is thick, and an outer wall elsewhere. Two facing sides are one wall,
//! half way between them. With no rooms drawn, outer walls stand round the supports of each part
//! of the house.
//!
//! A wall that stands beside a timber of its own direction by less than half a joist's breadth
//! stands on it. One outside the joists, or beyond their ends, is moved onto the nearest timber
//! of its own direction within the thickness of a wall. What stands over no joist even so is left
//! out and its length is named.

use super::FrameRules;
use super::floor::{Floor, Shape, Side, WALL, sides};
use super::stretch::{Stretch, merged, without};
use crate::frame::spec::{Bearer, Direction, Joist, Run, Wall};
use crate::site::Site;
use crate::units::{LENGTH_EPS, Length, LineLoad};
use std::collections::BTreeMap;

/// A wall this near to a timber's line stands on it.
const ON_LINE: Length = Length::mm(1.0);

/// A wall shorter than this is none.
const SLIVER: Length = Length::mm(2.0);

/// What came of raising walls.
pub(super) struct Raised {
    pub walls: Vec<Wall>,
    pub outer: Length,
    pub inner: Length,
    /// Walls that stand over no joist.
    pub off: Length,
    /// Sides that run neither along x nor along y.
    pub slanted: Vec<Length>,
}

#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Kind {
    Outer,
    Inner,
}

struct Line {
    kind: Kind,
    direction: Direction,
    at: Length,
    along: Stretch,
}

/// Walls by rule on this frame.
pub(super) fn raise(
    site: &Site,
    floor: &Floor,
    bearers: &[Bearer],
    joists: &[Joist],
    rules: &FrameRules,
) -> Raised {
    let (lines, slanted) = match floor.whole.shapes.is_empty() {
        true => (round_supports(site, floor), Vec::new()),
        false => round_rooms(&floor.whole.shapes),
    };
    let ground = Ground::new(bearers, joists, rules);
    let mut raised = Raised {
        walls: Vec::new(),
        outer: Length::ZERO,
        inner: Length::ZERO,
        off: Length::ZERO,
        slanted,
    };
    let mut stood = Vec::new();
    for line in one_line_each(lines, WALL) {
        raised.off += ground.stand(&line, &mut stood);
    }
    let mut numbers = [0; 2];
    for line in one_line_each(stood, LENGTH_EPS) {
        // A sliver left by two timbers that nearly meet.
        if line.along.length() < SLIVER {
            raised.off += line.along.length();
            continue;
        }
        let (name, load): (_, LineLoad) = match line.kind {
            Kind::Outer => ("outer wall", rules.outer_wall),
            Kind::Inner => ("inner wall", rules.inner_wall),
        };
        match line.kind {
            Kind::Outer => raised.outer += line.along.length(),
            Kind::Inner => raised.inner += line.along.length(),
        }
        numbers[line.kind as usize] += 1;
        let Line { direction, at, along, .. } = line;
        raised.walls.push(Wall {
            name: format!("{name} {}", numbers[line.kind as usize]),
            run: Run { direction, at, from: along.from, to: along.to },
            load,
            source: rules.source.clone(),
        });
    }
    raised
}

/// The rectangle round the supports of each part.
fn round_supports(site: &Site, floor: &Floor) -> Vec<Line> {
    let mut parts: BTreeMap<usize, [Stretch; 2]> = BTreeMap::new();
    for (support, part) in site.supports().iter().zip(&floor.part_of_support) {
        let own = [support.at.x, support.at.y].map(|at| Stretch { from: at, to: at });
        let bounds = parts.entry(*part).or_insert(own);
        for (bound, own) in bounds.iter_mut().zip(own) {
            bound.from = bound.from.min(own.from);
            bound.to = bound.to.max(own.to);
        }
    }
    let mut lines = Vec::new();
    for [x, y] in parts.into_values() {
        for (direction, along, across) in [(Direction::X, x, y), (Direction::Y, y, x)] {
            let line = |at| Line { kind: Kind::Outer, direction, at, along };
            lines.extend([line(across.from), line(across.to)]);
        }
    }
    lines.retain(|line| line.along.length() > LENGTH_EPS);
    lines
}

fn round_rooms(shapes: &[Shape]) -> (Vec<Line>, Vec<Length>) {
    let (sides, slanted) = sides(shapes);
    let mut lines = Vec::new();
    for direction in [Direction::X, Direction::Y] {
        let of = |faces_up: bool| -> Vec<Side> {
            let mut of: Vec<Side> = (sides.iter().copied())
                .filter(|side| side.direction == direction && side.faces_up == faces_up)
                .collect();
            of.sort_by(|a, b| a.at.total_cmp(&b.at).then(a.along.from.total_cmp(&b.along.from)));
            of
        };
        facing(&of(true), &of(false), &mut lines);
    }
    (lines, slanted)
}

/// Pairs of facing sides as inner walls, and what is left of the sides as outer ones.
fn facing(up: &[Side], down: &[Side], lines: &mut Vec<Line>) {
    let mut shared_up: Vec<Vec<Stretch>> = vec![Vec::new(); up.len()];
    let mut shared_down: Vec<Vec<Stretch>> = vec![Vec::new(); down.len()];
    for (below, side) in up.iter().enumerate() {
        let begin = down.partition_point(|other| other.at < side.at - ON_LINE);
        let near = down[begin..].iter().take_while(|other| other.at <= side.at + WALL);
        for (above, other) in (begin..).zip(near) {
            let Some(both) = side.along.common(other.along) else { continue };
            if side.shape == other.shape {
                continue;
            }
            let at = (side.at + other.at) / 2.0;
            let open = without(both, &merged(shared_up[below].clone(), LENGTH_EPS));
            let kind = Kind::Inner;
            let direction = side.direction;
            lines.extend(open.into_iter().map(|along| Line { kind, direction, at, along }));
            shared_up[below].push(both);
            shared_down[above].push(both);
        }
    }
    let shared = shared_up.into_iter().chain(shared_down);
    for (side, shared) in up.iter().chain(down).zip(shared) {
        let Side { direction, at, .. } = *side;
        let open = without(side.along, &merged(shared, LENGTH_EPS));
        lines.extend(open.into_iter().map(|along| Line {
            kind: Kind::Outer,
            direction,
            at,
            along,
        }));
    }
}

/// Walls of one kind on one line made into one where they lie within `gap` of one another.
fn one_line_each(mut lines: Vec<Line>, gap: Length) -> Vec<Line> {
    lines.sort_by(|a, b| {
        let by_kind = a.kind.cmp(&b.kind).then(a.direction.cmp(&b.direction));
        by_kind.then(a.at.total_cmp(&b.at)).then(a.along.from.total_cmp(&b.along.from))
    });
    let mut joined: Vec<Line> = Vec::new();
    for line in lines {
        match joined.last_mut() {
            Some(last)
                if last.kind == line.kind
                    && last.direction == line.direction
                    && last.at == line.at
                    && line.along.from <= last.along.to + gap =>
            {
                last.along.to = last.along.to.max(line.along.to);
            }
            _ => joined.push(line),
        }
    }
    joined
}

/// What walls can stand on.
struct Ground {
    /// Bearers and joists by direction, in order of their line.
    timbers: [Vec<Run>; 2],
    /// Joists by direction, in order of their line, each with its floor.
    joists: [Vec<(Run, String)>; 2],
    /// Joists further apart than this have no floor between them.
    reach: Length,
    /// A wall this near to a timber stands on it.
    on_timber: Length,
}

impl Ground {
    fn new(bearers: &[Bearer], joists: &[Joist], rules: &FrameRules) -> Self {
        let mut timbers = [Vec::new(), Vec::new()];
        let mut by_floor = [Vec::new(), Vec::new()];
        for bearer in bearers {
            timbers[bearer.run.direction as usize].push(bearer.run);
        }
        for joist in joists {
            timbers[joist.run.direction as usize].push(joist.run);
            by_floor[joist.run.direction as usize].push((joist.run, joist.floor.clone()));
        }
        let in_order = |a: &Run, b: &Run| {
            a.at.total_cmp(&b.at).then(a.from.total_cmp(&b.from)).then(a.to.total_cmp(&b.to))
        };
        timbers.iter_mut().for_each(|timbers| timbers.sort_by(in_order));
        by_floor.iter_mut().for_each(|joists| joists.sort_by(|a, b| in_order(&a.0, &b.0)));
        Self {
            timbers,
            joists: by_floor,
            reach: rules.longest_span,
            on_timber: rules.joist.breadth / 2.0,
        }
    }

    /// Stands a wall, piece by piece; returns the length that stands over nothing.
    fn stand(&self, line: &Line, stood: &mut Vec<Line>) -> Length {
        let of = &self.timbers[line.direction as usize];
        let mut beside: Vec<Length> =
            between(of, line.at - WALL, line.at + WALL).iter().map(|run| run.at).collect();
        beside.dedup();
        beside.sort_by(|a, b| (*a - line.at).abs().total_cmp(&(*b - line.at).abs()));
        let n_near = beside.partition_point(|at| (*at - line.at).abs() <= self.on_timber);
        let mut open = vec![line.along];
        let mut place = |at: Length, covered: Vec<Stretch>| {
            let covered = merged(covered, LENGTH_EPS);
            let mut left = Vec::new();
            for part in &open {
                let stands = covered.iter().filter_map(|covered| part.common(*covered));
                stood.extend(stands.map(|along| Line { at, along, ..*line }));
                left.extend(without(*part, &covered));
            }
            open = left;
        };
        for &at in &beside[..n_near] {
            place(at, self.on_line(line.direction, at));
        }
        place(line.at, self.over_joists(line));
        for &at in &beside[n_near..] {
            place(at, self.on_line(line.direction, at));
        }
        open.into_iter().map(Stretch::length).sum()
    }

    /// Where timbers lie on a line.
    fn on_line(&self, direction: Direction, at: Length) -> Vec<Stretch> {
        between(&self.timbers[direction as usize], at - LENGTH_EPS, at + LENGTH_EPS)
            .iter()
            .map(|run| Stretch { from: run.from, to: run.to })
            .collect()
    }

    /// Where a wall crosses joists or lies between two of them.
    fn over_joists(&self, line: &Line) -> Vec<Stretch> {
        let along = line.along;
        let crossed = between(
            &self.joists[line.direction.turned() as usize],
            along.from - self.reach,
            along.to + self.reach,
        );
        let crossed: Vec<&(Run, String)> =
            crossed.iter().filter(|(run, _)| run.reaches(line.at, Length::ZERO)).collect();
        let mut covered: Vec<Stretch> = crossed
            .windows(2)
            .filter(|pair| {
                let reach = if pair[0].1 == pair[1].1 { self.reach } else { WALL };
                pair[1].0.at - pair[0].0.at <= reach
            })
            .map(|pair| Stretch { from: pair[0].0.at, to: pair[1].0.at })
            .collect();
        covered.extend(self.between_joists(line));
        covered
    }

    /// Where there is a joist along the wall on either side of it.
    fn between_joists(&self, line: &Line) -> Vec<Stretch> {
        let joists = &self.joists[line.direction as usize];
        let stretches = |low, high| {
            let near = between(joists, low, high);
            let runs = near.iter().map(|(run, _)| Stretch { from: run.from, to: run.to });
            merged(runs.collect(), LENGTH_EPS)
        };
        let below = stretches(line.at - self.reach, line.at);
        let above = stretches(line.at, line.at + self.reach);
        super::stretch::common(&below, &above)
    }
}

/// Something with a line.
trait OnLine {
    fn line(&self) -> Length;
}

impl OnLine for Run {
    fn line(&self) -> Length {
        self.at
    }
}

impl OnLine for (Run, String) {
    fn line(&self) -> Length {
        self.0.at
    }
}

/// Those of an ordered list whose line lies between two coordinates, both included.
fn between<T: OnLine>(runs: &[T], low: Length, high: Length) -> &[T] {
    let begin = runs.partition_point(|run| run.line() < low);
    let end = runs.partition_point(|run| run.line() <= high);
    &runs[begin..end.max(begin)]
}
