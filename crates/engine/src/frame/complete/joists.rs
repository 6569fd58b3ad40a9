//! Joists over the bearers.
//!
//! # Rules
//! Joists lie on lines across the bearers, at their spacing from the lowest edge of the floor or
//! from where the first is said to lie. One more lies along every edge of the floor, and where
//! bearers end short of it, so that the edge is carried; a line within a joist's breadth of an
//! edge moves onto it. With no rooms drawn, the floor ends where the bearers do.
//!
//! On each line a joist lies wherever there is floor of one deck under it, walls between its
//! rooms included, from the first to the last bearer that it crosses, and on to the edge of the
//! floor if that is within the longest overhang. A bearer just outside the edge, within the row
//! width, carries its end. Where two decks meet over one bearer the joists of both end on it.
//!
//! A joist is cut where there is no bearer for the longest span. Where rooms are drawn the floor
//! is known to be there, and somebody walks on it: there it is cut at twice that, so that its
//! load is not lost, and the long span is named.
//!
//! Joists of two decks are not laid into one another: the later deck's edge joist lies beside the
//! earlier one's. What would still clash is left out.

use super::floor::{Floor, Region, Side};
use super::stretch::{Stretch, merged, without};
use super::{FrameRules, ProposalFault};
use crate::frame::spec::{Bearer, Direction, Joist, Run, Section, Timber};
use crate::ids::JoistId;
use crate::units::{LENGTH_EPS, Length};
use std::collections::BTreeMap;

/// More joists than lie in any house; a spacing or a place is mistyped.
const MOST_LINES: f64 = 200_000.0;

/// A joist that would run on by less than this past its last bearer ends on it.
const STUB: Length = Length::mm(10.0);

/// Joists to be laid over a floor.
pub(super) struct Layout<'a> {
    pub region: &'a Region<'a>,
    pub floor: &'a Floor<'a>,
    /// Which way they run.
    pub direction: Direction,
    pub spacing: Length,
    pub first: Option<Length>,
    pub section: Section,
    pub timber: &'a Timber,
    pub rules: &'a FrameRules,
}

/// What came of laying them.
#[derive(Default)]
pub(super) struct Laid {
    pub joists: Vec<Joist>,
    /// Floor under no joist, in square metres, with the deck it belongs to.
    pub bare: BTreeMap<String, f64>,
    /// The longest span of a joist beyond the longest span.
    pub long_span: Option<Length>,
}

/// A line on which an edge of the floor or of the bearers is carried.
#[derive(Clone, Copy)]
struct Edge {
    /// Where the edge lies.
    nominal: Length,
    /// Where its joist lies: beside it, if the joist of another deck lies there.
    at: Length,
    along: Stretch,
}

/// The bearers across, in order of their line, with the names of their parts of the floor.
struct Field<'a> {
    layout: &'a Layout<'a>,
    bearers: Vec<&'a Bearer>,
    /// Bearers of both directions.
    n_bearers: usize,
    taken: &'a Taken,
    /// Bearers that run as the joists do.
    beside: Taken,
    limit: Length,
}

/// Timbers that joists may not be laid into.
#[derive(Default)]
pub(super) struct Taken {
    /// By direction and whole millimetre across, each with the floor that it belongs to.
    runs: [BTreeMap<i64, Vec<(Run, String)>>; 2],
}

impl Taken {
    pub fn add(&mut self, run: Run, floor: &str) {
        let key = millimetre(run.at);
        self.runs[run.direction as usize].entry(key).or_default().push((run, floor.to_owned()));
    }

    /// Parts of a line that lie in timbers along it that are closer than `aside`, each with the
    /// floor that the timber belongs to.
    fn along(&self, direction: Direction, at: Length, aside: Length) -> Vec<(Stretch, &str)> {
        let keys = millimetre(at - aside) - 1..=millimetre(at + aside) + 1;
        let near = self.runs[direction as usize].range(keys).flat_map(|(_, runs)| runs);
        near.filter(|(run, _)| (run.at - at).abs() < aside - LENGTH_EPS)
            .map(|(run, floor)| (Stretch { from: run.from, to: run.to }, floor.as_str()))
            .collect()
    }

    /// Parts of a line that cross timbers.
    fn across(
        &self,
        direction: Direction,
        at: Length,
        part: Stretch,
        aside: Length,
    ) -> Vec<Stretch> {
        let keys = millimetre(part.from) - 1..=millimetre(part.to) + 1;
        let turned = direction.turned() as usize;
        let near = self.runs[turned].range(keys).flat_map(|(_, runs)| runs);
        near.filter(|(run, _)| at > run.from + LENGTH_EPS && at < run.to - LENGTH_EPS)
            .map(|(run, _)| Stretch { from: run.at - aside, to: run.at + aside })
            .collect()
    }
}

fn millimetre(at: Length) -> i64 {
    at.to_mm().floor().clamp(-1e15, 1e15) as i64
}

impl Layout<'_> {
    /// Lays the joists over the bearers across their direction.
    ///
    /// # Errors
    /// [`ProposalFault::TooManyJoists`].
    pub fn lay(
        &self,
        bearers: &[Bearer],
        taken: &mut Taken,
        laid: &mut Laid,
    ) -> Result<(), ProposalFault> {
        let mut across: Vec<&Bearer> = (bearers.iter())
            .filter(|bearer| bearer.run.direction == self.direction.turned())
            .collect();
        across
            .sort_by(|a, b| a.run.at.total_cmp(&b.run.at).then(a.run.from.total_cmp(&b.run.from)));
        let known = if self.region.is_outside { 1.0 } else { 2.0 };
        let limit = self.rules.longest_span * known;
        let mut beside = Taken::default();
        for bearer in bearers.iter().filter(|bearer| bearer.run.direction == self.direction) {
            beside.add(bearer.run, "");
        }
        let n_bearers = bearers.len();
        let field = Field { layout: self, bearers: across, n_bearers, taken, beside, limit };
        let runs = field.runs(laid)?;
        for run in runs {
            taken.add(run, &self.region.name);
            laid.joists.push(Joist {
                id: JoistId::new(""),
                run,
                joints: Vec::new(),
                section: self.section,
                timber: self.timber.clone(),
                floor: self.region.name.clone(),
            });
        }
        Ok(())
    }
}

impl Field<'_> {
    /// Where joists lie, each as a run.
    fn runs(&self, laid: &mut Laid) -> Result<Vec<Run>, ProposalFault> {
        let edges = self.edges();
        let lowest = edges.iter().map(|edge| edge.nominal).min_by(Length::total_cmp);
        let highest = edges.iter().map(|edge| edge.nominal).max_by(Length::total_cmp);
        let (Some(lowest), Some(highest)) = (lowest, highest) else {
            return Ok(Vec::new());
        };
        let first = self.layout.first.unwrap_or(lowest);
        let lines = self.lines(first, highest, &edges)?;
        let mut runs = Vec::new();
        for &at in &lines {
            let pieces = self.pieces(at);
            self.count_bare(at, &pieces, laid);
            runs.extend(pieces.into_iter().map(|piece| self.run(at, piece)));
        }
        let mut own = Taken::default();
        runs.iter().for_each(|run| own.add(*run, ""));
        for edge in &edges {
            for piece in self.pieces(edge.at) {
                let part = piece.common(edge.along);
                let part = part.and_then(|part| resting(&self.crossed(edge.at), piece, part));
                for part in part.map_or(Vec::new(), |part| self.free_parts(&own, edge.at, part)) {
                    own.add(self.run(edge.at, part), "");
                    runs.push(self.run(edge.at, part));
                }
            }
        }
        self.name_long_spans(&runs, laid);
        Ok(runs)
    }

    fn run(&self, at: Length, piece: Stretch) -> Run {
        Run { direction: self.layout.direction, at, from: piece.from, to: piece.to }
    }

    /// The lines at their spacing, those by an edge moved onto it.
    fn lines(
        &self,
        first: Length,
        highest: Length,
        edges: &[Edge],
    ) -> Result<Vec<Length>, ProposalFault> {
        let n_lines = ((highest - first + LENGTH_EPS) / self.layout.spacing).floor();
        if !n_lines.is_finite() || n_lines > MOST_LINES {
            return Err(ProposalFault::TooManyJoists { spacing: self.layout.spacing });
        }
        let mut by_line: Vec<&Edge> = edges.iter().collect();
        by_line.sort_by(|a, b| a.nominal.total_cmp(&b.nominal));
        let moved = |line: Length| {
            let breadth = self.layout.section.breadth;
            let begin = by_line.partition_point(|edge| edge.nominal <= line - breadth);
            let near = by_line[begin..].iter().take_while(|edge| edge.nominal < line + breadth);
            let away = |edge: &&&Edge| (edge.nominal - line).abs();
            let nearest = near.min_by(|a, b| away(a).total_cmp(&away(b)));
            nearest.map_or(line, |edge| edge.at)
        };
        let count = if n_lines < 0.0 { 0 } else { n_lines as usize + 1 };
        let mut lines: Vec<Length> =
            (0..count).map(|line| moved(first + self.layout.spacing * line as f64)).collect();
        lines.dedup();
        Ok(lines)
    }

    /// What is left of a joist beside those that lie there, where it still rests on two bearers.
    fn free_parts(&self, others: &Taken, at: Length, piece: Stretch) -> Vec<Stretch> {
        let direction = self.layout.direction;
        let breadth = self.layout.section.breadth;
        let along = others.along(direction, at, breadth);
        let mut clash: Vec<Stretch> = along.into_iter().map(|(part, _)| part).collect();
        clash.extend(others.across(direction, at, piece, breadth / 2.0));
        if clash.is_empty() {
            return vec![piece];
        }
        let crossed = self.crossed(at);
        without(piece, &merged(clash, LENGTH_EPS))
            .into_iter()
            .filter_map(|part| resting(&crossed, piece, part))
            .collect()
    }

    /// Lines of the bearers that a line crosses, in order, each once.
    fn crossed(&self, at: Length) -> Vec<Length> {
        let mut crossed: Vec<Length> = (self.bearers.iter())
            .filter(|bearer| bearer.run.reaches(at, LENGTH_EPS))
            .map(|bearer| bearer.run.at)
            .collect();
        crossed.dedup_by(|next, kept| *next - *kept <= Length::mm(1.0));
        crossed
    }

    /// The joists on a line, as far as other joists leave room for them.
    fn pieces(&self, at: Length) -> Vec<Stretch> {
        let alone = self.pieces_alone(at);
        alone.into_iter().flat_map(|piece| self.free_parts(self.taken, at, piece)).collect()
    }

    /// The joists on a line if there were no others.
    fn pieces_alone(&self, at: Length) -> Vec<Stretch> {
        let crossed = self.crossed(at);
        if crossed.len() < 2 {
            return Vec::new();
        }
        let direction = self.layout.direction;
        let mut pieces = Vec::new();
        let stretches = self.layout.region.stretches(direction, at);
        let other_decks = self.other_decks(at);
        for stretch in stretches {
            pieces.extend(self.on_bearers(stretch, &crossed, &other_decks));
        }
        pieces
    }

    /// Where a line runs over other decks.
    fn other_decks(&self, at: Length) -> Vec<Stretch> {
        let others = (self.layout.floor.regions.iter())
            .filter(|region| !region.is_outside && region.name != self.layout.region.name);
        others.flat_map(|region| region.stretches(self.layout.direction, at)).collect()
    }

    /// Joists on a stretch of floor, cut where bearers are too far apart.
    fn on_bearers(
        &self,
        stretch: Stretch,
        crossed: &[Length],
        other_decks: &[Stretch],
    ) -> Vec<Stretch> {
        let below_step =
            other_decks.iter().any(|deck| (stretch.from - deck.to).abs() <= super::floor::WALL);
        let above_step =
            other_decks.iter().any(|deck| (deck.from - stretch.to).abs() <= super::floor::WALL);
        let inside = crossed.iter().copied().filter(|&at| stretch.holds(at, LENGTH_EPS));
        let mut under: Vec<Length> = inside.collect();
        let beside = self.layout.rules.row_width;
        let below = crossed.iter().copied().rfind(|&at| at < stretch.from - LENGTH_EPS);
        let below = below.filter(|&at| stretch.from - at <= beside);
        let above = crossed.iter().copied().find(|&at| at > stretch.to + LENGTH_EPS);
        let above = above.filter(|&at| at - stretch.to <= beside);
        let low_edge = self.low_edge(stretch.from, &mut under, below, below_step);
        // The upper end is the lower end seen from above.
        let mut mirrored: Vec<Length> = under.iter().rev().map(|&at| -at).collect();
        let high_edge = -self.low_edge(-stretch.to, &mut mirrored, above.map(|at| -at), above_step);
        let under: Vec<Length> = mirrored.iter().rev().map(|&at| -at).collect();
        let mut pieces = Vec::new();
        for chain in under.chunk_by(|&a, &b| b - a <= self.limit + LENGTH_EPS) {
            let (first, last) = (chain[0], chain[chain.len() - 1]);
            let from = if first == under[0] { low_edge } else { first };
            let to = if last == under[under.len() - 1] { high_edge } else { last };
            if chain.len() > 1 {
                pieces.push(Stretch { from, to });
            }
        }
        pieces
    }

    /// Where a joist begins at the lower edge of the floor; takes in the bearer outside the edge
    /// if that is what carries it there.
    fn low_edge(
        &self,
        edge: Length,
        under: &mut Vec<Length>,
        outside: Option<Length>,
        is_step: bool,
    ) -> Length {
        let near = under.first().copied().filter(|&at| at - edge <= self.layout.rules.row_width);
        match (near, outside) {
            (None, Some(outside)) => {
                under.insert(0, outside);
                outside
            }
            // The joists of the other deck come to this bearer too.
            (Some(near), None) if is_step => near,
            _ => match under.first() {
                Some(&first) if first - edge < STUB => first,
                Some(&first) if first - edge <= self.layout.rules.longest_overhang => edge,
                Some(&first) => first,
                None => edge,
            },
        }
    }

    /// Edges of the floor and ends of bearers that need a joist of their own, floor first.
    fn edges(&self) -> Vec<Edge> {
        let direction = self.layout.direction;
        let mut edges = Vec::new();
        if !self.layout.region.is_outside {
            for side in self.layout.region.edges(direction) {
                edges.extend(self.edge(side));
            }
        }
        let mut ends: Vec<Side> = Vec::new();
        for (place, bearer) in self.bearers.iter().enumerate() {
            for (at, faces_up) in [(bearer.run.from, false), (bearer.run.to, true)] {
                let along = Stretch { from: bearer.run.at, to: bearer.run.at };
                ends.push(Side { direction, at, along, faces_up, shape: place });
            }
        }
        // Innermost first: a joist there crosses the bearers that run on a little further too.
        ends.sort_by(|a, b| {
            let inward = if a.faces_up { a.at.total_cmp(&b.at) } else { b.at.total_cmp(&a.at) };
            a.faces_up.cmp(&b.faces_up).then(inward).then(a.shape.cmp(&b.shape))
        });
        for side in ends {
            self.edge_of_bearer(side, &mut edges);
        }
        edges
    }

    /// The edge that a side of the floor needs, if a joist can lie there.
    fn edge(&self, side: Side) -> Option<Edge> {
        let breadth = self.layout.section.breadth;
        let inward = if side.faces_up { -breadth } else { breadth };
        // An edge joist reaches its bearers a little beyond the corners of the floor.
        let reach = self.layout.rules.row_width;
        let along = Stretch { from: side.along.from - reach, to: side.along.to + reach };
        let is_taken = [self.taken, &self.beside].into_iter().any(|timbers| {
            let there = timbers.along(self.layout.direction, side.at, breadth);
            let own = &self.layout.region.name;
            there.iter().any(|(part, floor)| floor != own && part.common(side.along).is_some())
        });
        let at = if is_taken { side.at + inward } else { side.at };
        let edge = Edge { nominal: side.at, at, along };
        let carries = self.pieces_alone(at).iter().any(|piece| piece.common(along).is_some());
        carries.then_some(edge)
    }

    /// The edge that the end of a bearer needs, together with its neighbours that end there too,
    /// unless one lies there already.
    fn edge_of_bearer(&self, side: Side, edges: &mut Vec<Edge>) {
        let width = self.layout.rules.row_width;
        let own = self.bearers[side.shape].run.at;
        let is_there = edges.iter().rev().any(|edge| {
            (edge.nominal - side.at).abs() <= width && edge.along.holds(own, LENGTH_EPS)
        });
        if is_there {
            return;
        }
        let ends_there = |bearer: &Bearer| {
            let end = if side.faces_up { bearer.run.to } else { bearer.run.from };
            (end - side.at).abs() <= width
        };
        let near = |a: Length, b: Length| (a - b).abs() <= self.limit + LENGTH_EPS;
        let mut along = Stretch { from: own, to: own };
        for bearer in self.bearers[..side.shape].iter().rev() {
            if !near(bearer.run.at, along.from) {
                break;
            }
            if bearer.run.reaches(side.at, LENGTH_EPS) {
                along.from = bearer.run.at;
                if !ends_there(bearer) {
                    break;
                }
            }
        }
        for bearer in &self.bearers[side.shape + 1..] {
            if !near(bearer.run.at, along.to) {
                break;
            }
            if bearer.run.reaches(side.at, LENGTH_EPS) {
                along.to = bearer.run.at;
                if !ends_there(bearer) {
                    break;
                }
            }
        }
        edges.extend(self.edge(Side { along, ..side }));
    }

    /// Counts the floor on a line that no joist carries.
    fn count_bare(&self, at: Length, pieces: &[Stretch], laid: &mut Laid) {
        let (region, direction) = (self.layout.region, self.layout.direction);
        let is_mixed = self.bearers.len() < self.n_bearers;
        if region.is_outside || is_mixed {
            return;
        }
        let bare: Length = (region.stretches(direction, at).into_iter())
            .flat_map(|stretch| without(stretch, pieces))
            .map(Stretch::length)
            .sum();
        let area = bare.to_m() * self.layout.spacing.to_m();
        *laid.bare.entry(region.name.clone()).or_default() += area;
    }

    fn name_long_spans(&self, runs: &[Run], laid: &mut Laid) {
        for run in runs {
            let crossed = self.crossed(run.at);
            let on = crossed.windows(2).filter(|pair| {
                run.reaches(pair[0], LENGTH_EPS) && run.reaches(pair[1], LENGTH_EPS)
            });
            let longest = on.map(|pair| pair[1] - pair[0]).fold(Length::ZERO, Length::max);
            if longest > self.layout.rules.longest_span + LENGTH_EPS {
                let known = laid.long_span.unwrap_or_default();
                laid.long_span = Some(known.max(longest));
            }
        }
    }
}

/// A part of a joist as far as it rests on two bearers; `None` if it does not. An end that was
/// cut off is drawn back to a bearer.
fn resting(crossed: &[Length], whole: Stretch, part: Stretch) -> Option<Stretch> {
    let on = |at: &&Length| part.holds(**at, LENGTH_EPS);
    let low = *crossed.iter().find(on)?;
    let high = *crossed.iter().rfind(on)?;
    let from = if part.from == whole.from { part.from } else { low };
    let to = if part.to == whole.to { part.to } else { high };
    (high - low > LENGTH_EPS).then_some(Stretch { from, to })
}
