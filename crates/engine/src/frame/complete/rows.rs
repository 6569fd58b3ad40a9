//! Supports in rows, and a bearer along each row.
//!
//! # Rules
//! Going along, a support joins the row whose mean line is nearest, if it stands ahead of the
//! row's last one by no more than the longest span and by more than it stands aside from it, and
//! if the whole row stays in a strip twice the row width wide: so every support stands within the
//! row width of the bearer, and a row that drifts does not chain far. Where a row has drifted out
//! of its strip, the next one begins over its last support, and the two bearers lap there.
//!
//! A row is broken where the floor is not under it from one support to the next. Over a support
//! with a different deck on either side the bearer is jointed: the step in the floor means two
//! timbers that meet there. A deck's edge between two supports is carried by the same bearer.
//!
//! A bearer runs on to the edge of the floor if that is within the longest overhang. Over a
//! support that is alone in its row it reaches that far to either side, where there is floor; the
//! joists across it have to hold it.

use super::floor::{Floor, Region};
use super::stretch::Stretch;
use super::{FrameRules, ProposalFault};
use crate::frame::spec::{Bearer, Direction, Run};
use crate::ids::BearerId;
use crate::site::{Site, Support};
use crate::units::{LENGTH_EPS, Length, LineLoad, round_to};
use std::collections::{BTreeMap, BTreeSet};

/// Supports on one line, in order along it, by their index in the site.
pub(super) struct Row {
    pub direction: Direction,
    pub members: Vec<usize>,
}

/// Rows of one part of the supports along a direction, broken where there is no floor.
pub(super) fn rows(
    site: &Site,
    floor: &Floor,
    part: &[usize],
    direction: Direction,
    rules: &FrameRules,
) -> Vec<Row> {
    let traced = Tracer { supports: site.supports(), direction, rules }.trace(part);
    let mut rows: Vec<Row> = Vec::new();
    let mut alone: Vec<usize> = Vec::new();
    for members in traced {
        for members in over_floor(site, floor, &members, direction, rules) {
            match members[..] {
                [one] => alone.push(one),
                _ => rows.push(Row { direction, members }),
            }
        }
    }
    // A support over which two bearers lap may be left alone by one of them.
    let held: BTreeSet<usize> = rows.iter().flat_map(|row| row.members.iter().copied()).collect();
    alone.sort_unstable();
    alone.dedup();
    alone.retain(|support| !held.contains(support));
    rows.extend(alone.into_iter().map(|one| Row { direction, members: vec![one] }));
    rows
}

/// How good rows are: fewer supports alone, then fewer rows.
pub(super) fn score(rows: &[Row]) -> (usize, usize) {
    (rows.iter().filter(|row| row.members.len() == 1).count(), rows.len())
}

struct Tracer<'a> {
    supports: &'a [Support],
    direction: Direction,
    rules: &'a FrameRules,
}

/// A row that may still grow.
struct Open {
    members: Vec<usize>,
    sum: Length,
    low: Length,
    high: Length,
    last: (Length, Length),
}

impl Open {
    fn mean(&self) -> Length {
        self.sum / self.members.len() as f64
    }

    fn push(&mut self, support: usize, along: Length, across: Length) {
        self.members.push(support);
        self.sum += across;
        self.low = self.low.min(across);
        self.high = self.high.max(across);
        self.last = (along, across);
    }
}

impl Tracer<'_> {
    fn place(&self, support: usize) -> (Length, Length) {
        let at = self.supports[support].at;
        (self.direction.along(at), self.direction.across(at))
    }

    fn trace(&self, part: &[usize]) -> Vec<Vec<usize>> {
        let mut order = part.to_vec();
        order.sort_by(|&a, &b| {
            let (a_place, b_place) = (self.place(a), self.place(b));
            let by_along = a_place.0.total_cmp(&b_place.0);
            by_along.then(a_place.1.total_cmp(&b_place.1)).then(a.cmp(&b))
        });
        let mut rows: Vec<Open> = Vec::new();
        // Rows by the cell of their first member: a row is no wider than a cell.
        let mut cells: BTreeMap<i64, Vec<usize>> = BTreeMap::new();
        for support in order {
            let (along, across) = self.place(support);
            let cell = (across / (self.rules.row_width * 2.0)).floor() as i64;
            let mut near = Vec::new();
            for cell in [cell.saturating_sub(1), cell, cell.saturating_add(1)] {
                let Some(of_cell) = cells.get_mut(&cell) else { continue };
                of_cell.retain(|&row| along - rows[row].last.0 <= self.rules.longest_span);
                near.extend(of_cell.iter().copied());
            }
            near.retain(|&row| along - rows[row].last.0 > (across - rows[row].last.1).abs());
            if let Some(row) = self.joins(&rows, &near, across) {
                rows[row].push(support, along, across);
                continue;
            }
            let (low, high, last) = (across, across, (along, across));
            let mut row = Open { members: vec![support], sum: across, low, high, last };
            if let Some(before) = self.laps(&rows, &near, across) {
                let lapped = *rows[before].members.last().expect("a row has members");
                let lapped_across = rows[before].last.1;
                row.members.insert(0, lapped);
                row.sum += lapped_across;
                (row.low, row.high) = (across.min(lapped_across), across.max(lapped_across));
            }
            let first_across = self.place(row.members[0]).1;
            let cell = (first_across / (self.rules.row_width * 2.0)).floor() as i64;
            cells.entry(cell).or_default().push(rows.len());
            rows.push(row);
        }
        rows.into_iter().map(|row| row.members).collect()
    }

    /// The row that a support joins.
    fn joins(&self, rows: &[Open], near: &[usize], across: Length) -> Option<usize> {
        let away = |&row: &usize| (across - rows[row].mean()).abs();
        let strip = self.rules.row_width * 2.0;
        near.iter()
            .copied()
            .filter(|&row| rows[row].high.max(across) - rows[row].low.min(across) <= strip)
            .min_by(|a, b| away(a).total_cmp(&away(b)).then(a.cmp(b)))
    }

    /// The row that has drifted out of its strip and ends beside a support that begins the next.
    fn laps(&self, rows: &[Open], near: &[usize], across: Length) -> Option<usize> {
        let away = |&row: &usize| (across - rows[row].last.1).abs();
        near.iter()
            .copied()
            .filter(|row| rows[*row].members.len() > 1 && away(row) <= self.rules.row_width)
            .min_by(|a, b| away(a).total_cmp(&away(b)).then(a.cmp(b)))
    }
}

/// Breaks a row where the floor does not reach from one support to the next.
fn over_floor(
    site: &Site,
    floor: &Floor,
    members: &[usize],
    direction: Direction,
    rules: &FrameRules,
) -> Vec<Vec<usize>> {
    if floor.whole.shapes.is_empty() {
        return vec![members.to_vec()];
    }
    let at = line(site, members, direction, rules);
    let rooms = floor.whole.widened(direction, at, rules.row_width);
    let along = |support: usize| direction.along(site.supports()[support].at);
    let is_floor = |a: usize, b: usize| {
        let outside = !floor.is_in_room[a] || !floor.is_in_room[b];
        let margin = rules.row_width;
        let both = |room: &Stretch| room.holds(along(a), margin) && room.holds(along(b), margin);
        outside || rooms.iter().any(both)
    };
    members.chunk_by(|&a, &b| is_floor(a, b)).map(<[usize]>::to_vec).collect()
}

/// The line of a bearer over supports: their mean to a whole millimetre, with none further beside
/// than the row width.
fn line(site: &Site, members: &[usize], direction: Direction, rules: &FrameRules) -> Length {
    let across = |&support: &usize| direction.across(site.supports()[support].at);
    let low = members.iter().map(across).fold(Length::mm(f64::INFINITY), Length::min);
    let high = members.iter().map(across).fold(Length::mm(f64::NEG_INFINITY), Length::max);
    let mean = members.iter().map(across).sum::<Length>() / members.len() as f64;
    let mean = Length::mm(round_to(mean.to_mm(), 1.0));
    mean.max(high - rules.row_width).min(low + rules.row_width)
}

/// A bearer along each row, named in order.
///
/// # Errors
/// [`ProposalFault::RowsMixed`] where two bearers would lie in one another.
pub(super) fn bearers(
    site: &Site,
    floor: &Floor,
    rows: &[&Row],
    rules: &FrameRules,
) -> Result<Vec<Bearer>, Vec<ProposalFault>> {
    let mut bearers: Vec<Bearer> = rows.iter().map(|row| bearer(site, floor, row, rules)).collect();
    bearers.sort_by(|a, b| {
        let by_line = a.run.direction.cmp(&b.run.direction).then(a.run.at.total_cmp(&b.run.at));
        by_line.then(a.run.from.total_cmp(&b.run.from)).then(a.supports[0].cmp(&b.supports[0]))
    });
    let faults = draw_apart(site, &mut bearers, rules);
    for (bearer, name) in bearers.iter_mut().zip(names(site)) {
        bearer.id = BearerId::new(name);
    }
    if faults.is_empty() { Ok(bearers) } else { Err(faults) }
}

/// Names for bearers in order, none of which a support has: a letter and a number would be taken for
/// a support. Rows get bearers only where none are given, so that no bearer has such a name yet.
fn names(site: &Site) -> impl Iterator<Item = String> {
    let used: BTreeSet<&str> = site.supports().iter().map(|support| support.id.as_str()).collect();
    (1..).map(|n: usize| format!("row {n}")).filter(move |name| !used.contains(name.as_str()))
}

fn bearer(site: &Site, floor: &Floor, row: &Row, rules: &FrameRules) -> Bearer {
    let direction = row.direction;
    let at = line(site, &row.members, direction, rules);
    let supports: Vec<&Support> =
        row.members.iter().map(|&support| &site.supports()[support]).collect();
    let first = direction.along(supports[0].at);
    let last = direction.along(supports[supports.len() - 1].at);
    let under = floor.whole.widened(direction, at, rules.row_width);
    let mut run = Run { direction, at, from: first, to: last };
    let room =
        |along: Length| under.iter().copied().find(|stretch| stretch.holds(along, LENGTH_EPS));
    let reach = rules.longest_overhang.min(rules.longest_span);
    if let [_] = supports[..] {
        let bounds = room(first).unwrap_or_else(|| part_bounds(site, floor, row, direction));
        run.from = bounds.from.max(first - reach).min(first);
        run.to = bounds.to.min(first + reach).max(first);
    } else {
        let edge = room(first).map_or(first, |room| room.from.min(first));
        run.from = if first - edge <= reach { edge } else { first };
        let edge = room(last).map_or(last, |room| room.to.max(last));
        run.to = if edge - last <= reach { edge } else { last };
    }
    Bearer {
        id: BearerId::new(""),
        run,
        joints: joints(floor, at, direction, &supports, rules),
        supports: supports.iter().map(|support| support.id.clone()).collect(),
        section: rules.bearer,
        timber: rules.bearer_timber.clone(),
        extra: LineLoad::default(),
    }
}

/// From the first to the last support of the part that a row belongs to.
fn part_bounds(site: &Site, floor: &Floor, row: &Row, direction: Direction) -> Stretch {
    let part = floor.part_of_support[row.members[0]];
    let along = (site.supports().iter().zip(&floor.part_of_support))
        .filter(|(_, of)| **of == part)
        .map(|(support, _)| direction.along(support.at));
    let own = direction.along(site.supports()[row.members[0]].at);
    along.fold(Stretch { from: own, to: own }, |bounds, along| Stretch {
        from: bounds.from.min(along),
        to: bounds.to.max(along),
    })
}

/// Supports with no deck that reaches from the span before to the span behind.
fn joints(
    floor: &Floor,
    at: Length,
    direction: Direction,
    supports: &[&Support],
    rules: &FrameRules,
) -> Vec<crate::ids::SupportId> {
    let decks: Vec<&Region> = floor.regions.iter().filter(|region| !region.is_outside).collect();
    if decks.len() < 2 {
        return Vec::new();
    }
    let under: Vec<Vec<Stretch>> =
        decks.iter().map(|deck| deck.widened(direction, at, rules.row_width)).collect();
    let along = |support: &Support| direction.along(support.at);
    let over = |a: &Support, b: &Support| -> Vec<usize> {
        let middle = (along(a) + along(b)) / 2.0;
        let covers = |deck: &usize| under[*deck].iter().any(|s| s.holds(middle, LENGTH_EPS));
        (0..decks.len()).filter(covers).collect()
    };
    supports
        .windows(3)
        .filter(|three| {
            let (before, behind) = (over(three[0], three[1]), over(three[1], three[2]));
            let is_known = !before.is_empty() && !behind.is_empty();
            is_known && before.iter().all(|deck| !behind.contains(deck))
        })
        .map(|three| three[1].id.clone())
        .collect()
}

/// Takes back what two bearers on one line run on beyond their supports where they would lie in
/// one another; what does so even then is a fault.
fn draw_apart(site: &Site, bearers: &mut [Bearer], rules: &FrameRules) -> Vec<ProposalFault> {
    let mut faults = Vec::new();
    for a in 0..bearers.len() {
        for b in a + 1..bearers.len() {
            let (first, second) = (bearers[a].run, bearers[b].run);
            let aside = second.at - first.at;
            if first.direction != second.direction || aside >= rules.bearer.breadth {
                break;
            }
            if overlap(&first, &second) <= LENGTH_EPS {
                continue;
            }
            // The one that begins first gives way at its upper end, the other at its lower end.
            let (before, behind) = if first.from <= second.from { (a, b) } else { (b, a) };
            let direction = first.direction;
            bearers[before].run.to = ends(site, &bearers[before], direction).1;
            bearers[behind].run.from = ends(site, &bearers[behind], direction).0;
            if overlap(&bearers[a].run, &bearers[b].run) > LENGTH_EPS {
                faults.push(ProposalFault::RowsMixed {
                    first: bearers[a].supports[0].clone(),
                    second: bearers[b].supports[0].clone(),
                });
            }
        }
    }
    faults
}

fn overlap(a: &Run, b: &Run) -> Length {
    a.to.min(b.to) - a.from.max(b.from)
}

/// The first and the last support along a bearer.
fn ends(site: &Site, bearer: &Bearer, direction: Direction) -> (Length, Length) {
    let along = |id| site.support(id).map_or(bearer.run.from, |at| direction.along(at.at));
    (along(&bearer.supports[0]), along(&bearer.supports[bearer.supports.len() - 1]))
}
