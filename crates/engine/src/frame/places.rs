//! The height of a place of the floor as a sum of the frame's unknowns.

use super::spec::Direction;
use super::stations::{Member, Members};
use super::stiffness::{Element, Stiffness, Sum};
use crate::site::Position;
use crate::units::Length;

/// A place within this of a bearer's line lies on the bearer.
const ON_LINE: Length = Length::mm(1.0);

/// The floor this far beyond the last joist or beyond a joist's end moves with it.
const BEYOND: Length = Length::mm(900.0);

/// How the floor at a place hangs on the frame.
pub(super) struct Hanging {
    /// Its height as a sum of unknowns.
    pub sum: Sum,
    /// It lies between what carries it rather than beyond.
    pub between: bool,
}

/// Looks places up on the frame.
pub(super) struct Floor<'a> {
    members: &'a Members,
    stiffness: &'a Stiffness,
    /// Bearers, then joists, each along x and along y, in order of their line.
    in_order: [[Vec<usize>; 2]; 2],
}

fn slot(direction: Direction) -> usize {
    match direction {
        Direction::X => 0,
        Direction::Y => 1,
    }
}

impl<'a> Floor<'a> {
    pub fn new(members: &'a Members, stiffness: &'a Stiffness) -> Self {
        let mut in_order: [[Vec<usize>; 2]; 2] = Default::default();
        for (idx, member) in members.members.iter().enumerate() {
            let kind = usize::from(idx >= members.n_bearers);
            in_order[kind][slot(member.run.direction)].push(idx);
        }
        for order in in_order.iter_mut().flatten() {
            let line = |member: usize| members.members[member].run.at;
            order.sort_by(|&a, &b| line(a).total_cmp(&line(b)).then(a.cmp(&b)));
        }
        Self { members, stiffness, in_order }
    }

    /// How the floor at a place hangs on the frame: on a bearer's line by the bearer, on a joist by
    /// the joist, between two joists evenly between them. `None` where the frame is not.
    ///
    /// The small sag of a joist's own load between two stations is left out: it is the same
    /// before and after a lift.
    pub fn hanging(&self, place: Position) -> Option<Hanging> {
        for direction in [Direction::X, Direction::Y] {
            let (along, across) = (direction.along(place), direction.across(place));
            if let Some(bearer) = self.on_line(0, direction, along, across) {
                return Some(Hanging { sum: self.height(bearer, along), between: true });
            }
        }
        let found = [Direction::X, Direction::Y]
            .into_iter()
            .filter_map(|direction| self.on_joists(direction, place));
        found.min_by(|a, b| a.0.total_cmp(&b.0)).map(|(_, hanging)| hanging)
    }

    fn member(&self, idx: usize) -> &'a Member {
        &self.members.members[idx]
    }

    fn on_line(
        &self,
        kind: usize,
        direction: Direction,
        along: Length,
        across: Length,
    ) -> Option<usize> {
        let order = &self.in_order[kind][slot(direction)];
        let begin = order.partition_point(|&idx| self.member(idx).run.at < across - ON_LINE);
        order[begin..]
            .iter()
            .copied()
            .take_while(|&idx| self.member(idx).run.at <= across + ON_LINE)
            .find(|&idx| self.member(idx).run.reaches(along, Length::ZERO))
    }

    /// The place on the joists of a direction, and how far from them it lies.
    fn on_joists(&self, direction: Direction, place: Position) -> Option<(Length, Hanging)> {
        let (along, across) = (direction.along(place), direction.across(place));
        let order = &self.in_order[1][slot(direction)];
        let middle = order.partition_point(|&idx| self.member(idx).run.at <= across);
        let nearest = |outward: &mut dyn Iterator<Item = &'_ usize>| {
            let mut best: Option<(Length, usize)> = None;
            for &idx in outward {
                let run = &self.member(idx).run;
                let aside = (run.at - across).abs();
                if best.is_some_and(|(away, _)| aside >= away) || aside > BEYOND * 4.0 {
                    break;
                }
                let past = (run.from - along).max(along - run.to).max(Length::ZERO);
                if past <= BEYOND && best.is_none_or(|(away, _)| aside + past < away) {
                    best = Some((aside + past, idx));
                }
            }
            best
        };
        let below = nearest(&mut order[..middle].iter().rev());
        let above = nearest(&mut order[middle..].iter());
        let past = |idx: usize| !self.member(idx).run.reaches(along, Length::ZERO);
        match (below, above) {
            (Some((_, a)), Some((_, b))) if self.member(a).run.at < self.member(b).run.at => {
                let (line_a, line_b) = (self.member(a).run.at, self.member(b).run.at);
                let share = (across - line_a) / (line_b - line_a);
                let mut sum = scaled(self.height(a, along), 1.0 - share);
                sum.extend(scaled(self.height(b, along), share));
                let away = below.map_or(Length::ZERO, |found| found.0);
                Some((away, Hanging { sum, between: !(past(a) || past(b)) }))
            }
            (Some((away, one)), _) | (None, Some((away, one))) if away <= BEYOND => {
                let on_it = (self.member(one).run.at - across).abs() <= ON_LINE && !past(one);
                Some((away, Hanging { sum: self.height(one, along), between: on_it }))
            }
            _ => None,
        }
    }

    /// The height of a member at a coordinate along it; straight on beyond its ends.
    fn height(&self, idx: usize, along: Length) -> Sum {
        let elements = self.elements(idx);
        let station = |element: &Element| self.member(idx).stations[element.station].along;
        let along = along.to_mm();
        let at = elements.partition_point(|element| station(element) <= along).max(1) - 1;
        let element = &elements[at];
        let share = (along - station(element)) / element.length;
        if (0.0..=1.0).contains(&share) {
            return element.height(share);
        }
        let end = usize::from(share > 1.0);
        let mut sum = element.height(end as f64);
        sum.extend(scaled(element.slope(end), (share - end as f64) * element.length));
        sum
    }

    fn elements(&self, idx: usize) -> &'a [Element] {
        let of = &self.stiffness.elements_of;
        &self.stiffness.elements[of[idx]..of[idx + 1]]
    }
}

fn scaled(sum: Sum, factor: f64) -> Sum {
    sum.into_iter().map(|(unknown, value)| (unknown, value * factor)).collect()
}
