//! What a lift at one support does, all the others held: to reactions, to the floor, to moments.

use super::condense::condense;
use super::contact::LARGE;
use super::skyline::{Factor, TOGETHER, Window};
use super::stiffness::{Stiffness, Sum};
use std::borrow::Cow;

/// A response this much smaller than its peak has died out.
const DIED_OUT: f64 = 1e-12;

/// The same in a large frame, where moments alone are followed.
const DIED_OUT_FOR_TIMBER: f64 = 1e-6;

/// What is left of a place's row at the edge of a part of the house when it has died out.
const DIED_OUT_FOR_FLOOR: f64 = 1e-9;

/// A frame with more supports than this is very large: a response is followed less far, to where
/// a lift of 30 mm is felt by some thousandths of a newton.
const VERY_LARGE: usize = 2000;
const DIED_OUT_IN_VERY_LARGE: f64 = 1e-7;

/// Movement of the floor by less than this share of a lift is nothing.
const FELT_BY_FLOOR: f64 = 1e-6;

/// A moment that is smaller than this share of the largest one from the same lift is hardly felt.
const FELT_BY_TIMBER: f64 = 1e-6;

/// A reaction smaller than this share of the lift's own is nothing.
const FELT_BY_SUPPORT: f64 = 1e-14;

/// In a large frame a reaction smaller than this share of the lift's own is nothing from move to
/// move.
const FELT_IN_LARGE: f64 = 1e-9;

/// Supports that feel less than this share of what the lifted one feels are not near.
const NEAR: f64 = 1e-2;

/// How many sizes of response are kept apart, each a tenth of the one before; the last takes in
/// all that is smaller.
pub(super) const SIZES: usize = 8;

/// What a lift at one support changes, the most felt first.
#[derive(Clone, Debug, Default)]
pub(super) struct Felt {
    /// Number of what is changed and its change per millimetre, size after size.
    terms: Vec<(u32, f64)>,
    /// Where each size ends in `terms`.
    ends: [usize; SIZES],
    /// First number of each size, and one past its last.
    reach: [(usize, usize); SIZES],
    /// The largest change per millimetre.
    pub peak: f64,
}

impl Felt {
    /// Leaves out what is smaller than a share of the largest.
    fn new(terms: &[(u32, f64)], least: f64) -> Self {
        let peak = terms.iter().fold(0.0, |peak: f64, term| peak.max(term.1.abs()));
        let mut by_size: [Vec<(u32, f64)>; SIZES] = Default::default();
        for &term in terms {
            let share = term.1.abs() / peak;
            if share > least {
                let size = (0..SIZES - 1).find(|&size| share >= Self::largest(size + 1));
                by_size[size.unwrap_or(SIZES - 1)].push(term);
            }
        }
        let mut ends = [0; SIZES];
        let mut reach = [(usize::MAX, 0); SIZES];
        let mut end = 0;
        for (size, terms) in by_size.iter().enumerate() {
            end += terms.len();
            ends[size] = end;
            for &(number, _) in terms {
                let (first, past) = reach[size];
                reach[size] = (first.min(number as usize), past.max(number as usize + 1));
            }
        }
        Self { terms: by_size.concat(), ends, reach, peak }
    }

    /// The largest share of the peak in a size.
    pub fn largest(size: usize) -> f64 {
        // Looked up: it is asked for after every movement.
        [1.0, 1e-1, 1e-2, 1e-3, 1e-4, 1e-5, 1e-6, 1e-7][size]
    }

    /// First number of a size, and one past its last.
    pub fn reach(&self, size: usize) -> (usize, usize) {
        self.reach[size]
    }

    /// Those of one size.
    pub fn of_size(&self, size: usize) -> &[(u32, f64)] {
        let begin = if size == 0 { 0 } else { self.ends[size - 1] };
        &self.terms[begin..self.ends[size]]
    }
}

/// Moments that are told of a movement together: those whose numbers have this quotient in common.
pub(super) const ABREAST: usize = 8;

/// What a lift at one support changes in moments, the most felt first.
#[derive(Clone, Debug, Default)]
pub(super) struct FeltByTimber {
    /// The quotient of the numbers.
    numbers: Vec<u32>,
    /// The changes per millimetre.
    per_mm: Vec<[f64; ABREAST]>,
    /// Where each size ends.
    ends: [usize; SIZES],
    /// The largest change per millimetre.
    pub peak: f64,
}

impl FeltByTimber {
    fn new(by_size: &[Vec<(u32, [f64; ABREAST])>; SIZES], peak: f64) -> Self {
        let mut ends = [0; SIZES];
        let mut end = 0;
        for (size, terms) in by_size.iter().enumerate() {
            end += terms.len();
            ends[size] = end;
        }
        let terms = || by_size.iter().flatten();
        Self {
            numbers: terms().map(|term| term.0).collect(),
            per_mm: terms().map(|term| term.1).collect(),
            ends,
            peak,
        }
    }

    /// Those of one size.
    #[inline(always)]
    pub fn of_size(&self, size: usize) -> (&[u32], &[[f64; ABREAST]]) {
        let begin = if size == 0 { 0 } else { self.ends[size - 1] };
        (&self.numbers[begin..self.ends[size]], &self.per_mm[begin..self.ends[size]])
    }
}

/// The response to a unit lift at each support. Supports are counted in the stiffness's order.
#[derive(Clone, Debug)]
pub(super) struct Response {
    /// Condensed stiffness: for each support the first other that feels it, and the values.
    pub rows: Vec<(usize, Vec<f64>)>,
    /// The same for each support, the most felt first; in a large frame the least felt left out.
    pub by_size: Vec<Felt>,
    /// For each support, itself and the others that feel it by more than [`NEAR`] of what it
    /// feels itself.
    pub near: Vec<Vec<usize>>,
    /// What rounding has left in those values, in N/mm: a lift of all supports alike would change
    /// no reaction.
    pub rounding: f64,
    /// Reactions under dead and live load with every support at height zero, sign turned:
    /// `R = S w - g`.
    pub g: [Vec<f64>; 2],
    /// For each place asked for: support and movement per lift.
    pub places: Vec<Vec<(usize, f64)>>,
}

/// Works out the responses of reactions and places, each place a sum of unknowns.
pub(super) fn respond(stiffness: &Stiffness, places: &[Sum]) -> Response {
    let n = stiffness.order.len();
    let g = [0, 1].map(|kind: usize| {
        let mut heights = stiffness.forces[kind][..stiffness.n_free].to_vec();
        stiffness.factor.solve(&mut heights);
        (0..n)
            .map(|support| {
                let force = stiffness.forces[kind][stiffness.n_free + support];
                let beside = stiffness.beside[support].iter();
                force - beside.map(|&(u, k)| k * heights[u]).sum::<f64>()
            })
            .collect()
    });
    let mut response = Response {
        rows: vec![(0, Vec::new()); n],
        by_size: Vec::new(),
        near: Vec::new(),
        rounding: 0.0,
        g,
        places: vec![Vec::new(); places.len()],
    };
    if n > LARGE && n <= VERY_LARGE {
        all_at_once(stiffness, places, &mut response);
    } else {
        let died_out = if n > LARGE { DIED_OUT_IN_VERY_LARGE } else { DIED_OUT };
        for_each_block(stiffness, places, died_out, &strips(stiffness), |block, places| {
            block.reactions(&mut response.rows);
            block.places(places, &mut response.places);
        });
    }
    let least = if n > LARGE { FELT_IN_LARGE } else { 0.0 };
    response.by_size = response.rows.iter().map(|row| by_size(row, least)).collect();
    response.near = (0..n).map(|support| near(&response.rows[support], support)).collect();
    let left = response.rows.iter().map(|(_, row)| row.iter().sum::<f64>().abs());
    response.rounding = left.fold(0.0, f64::max);
    for row in &mut response.places {
        make_whole(row);
    }
    response
}

/// What a lift at each support does to the moments at the beginnings of these elements.
pub(super) fn felt_by_timber(stiffness: &Stiffness, elements: &[usize]) -> Vec<FeltByTimber> {
    let n = stiffness.order.len();
    let died_out = match n {
        0..=LARGE => DIED_OUT,
        _ if n <= VERY_LARGE => DIED_OUT_FOR_TIMBER,
        _ => DIED_OUT_IN_VERY_LARGE,
    };
    let sums: Vec<Sum> =
        elements.iter().map(|&element| stiffness.elements[element].moment_at_begin()).collect();
    let mut felt = vec![FeltByTimber::default(); n];
    let mut scratch = vec![[0.0; TOGETHER]; sums.len().next_multiple_of(ABREAST)];
    for_each_block(stiffness, &sums, died_out, &strips(stiffness), |block, sums| {
        block.moments(sums, &mut scratch, &mut felt);
    });
    felt
}

/// Reactions and places, by condensing the stiffness on the supports.
fn all_at_once(stiffness: &Stiffness, places: &[Sum], response: &mut Response) {
    let n = stiffness.order.len();
    let condensed = condense(stiffness, places, DIED_OUT_FOR_FLOOR);
    for (support, row) in condensed.between.chunks_exact(n).enumerate() {
        let least = row[support].abs() * FELT_BY_SUPPORT;
        let felt_at = |value: &f64| value.abs() > least;
        let first = row.iter().position(felt_at).unwrap_or(support).min(support);
        let last = row.iter().rposition(felt_at).unwrap_or(support).max(support);
        response.rows[support] = (first, row[first..=last].to_vec());
    }
    for (row, terms) in response.places.iter_mut().zip(condensed.watched) {
        let felt = added_up(terms).into_iter().filter(|term| term.1.abs() > FELT_BY_FLOOR);
        row.extend(felt.map(|(support, value)| (stiffness.order[support], value)));
    }
}

/// The terms in order, each support once.
fn added_up(mut terms: Vec<(usize, f64)>) -> Vec<(usize, f64)> {
    if !terms.is_sorted_by(|a, b| a.0 < b.0) {
        terms.sort_by_key(|term| term.0);
        terms.dedup_by(|next, kept| {
            let same = next.0 == kept.0;
            kept.1 += if same { next.1 } else { 0.0 };
            same
        });
    }
    terms
}

/// A row of stiffness, the most felt first.
pub(super) fn by_size((first, row): &(usize, Vec<f64>), least: f64) -> Felt {
    let terms: Vec<(u32, f64)> =
        row.iter().enumerate().map(|(at, &k)| ((first + at) as u32, k)).collect();
    Felt::new(&terms, least)
}

fn near((first, row): &(usize, Vec<f64>), support: usize) -> Vec<usize> {
    let least = row[support - first].abs() * NEAR;
    let felt = row.iter().enumerate().filter(|(_, k)| k.abs() > least);
    felt.map(|(at, _)| first + at).collect()
}

/// What was left out of a row is given to its largest term, so that the row sums to one.
fn make_whole(row: &mut [(usize, f64)]) {
    let missing = 1.0 - row.iter().map(|term| term.1).sum::<f64>();
    let largest = row.iter_mut().max_by(|a, b| a.1.total_cmp(&b.1));
    if let Some(largest) = largest {
        largest.1 += missing;
    }
}

/// Where eight sums begin, and their values.
type Abreast = (u32, [f64; ABREAST]);

/// Solves for a few supports at a time, each followed only as far as it is felt, and hands on what
/// came out together with the sums of unknowns that are near.
fn for_each_block(
    stiffness: &Stiffness,
    sums: &[Sum],
    died_out: f64,
    strips: &[Lines],
    mut work: impl FnMut(&Block<'_>, &Watched<'_>),
) {
    let whole = Part::whole(stiffness);
    let watched = Watched::new(sums, &whole);
    let mut left: Vec<usize> = Vec::new();
    for lines in strips {
        let strip = Part::strip(stiffness, lines);
        let in_strip = Watched::new(sums, &strip);
        for supports in strip.own.chunks(TOGETHER) {
            match strip.solve(supports, died_out) {
                Some(block) => work(&block, &in_strip),
                // It is felt as far as the edge of the strip.
                None => left.extend(supports),
            }
        }
    }
    let all: &[usize] = if strips.is_empty() { &whole.own } else { &left };
    for supports in all.chunks(TOGETHER) {
        if let Some(block) = whole.solve(supports, died_out) {
            work(&block, &watched);
        }
    }
}

/// Rows of supports beyond a strip that a response is followed in, at first.
const ROWS_BESIDE: f64 = 14.0;

/// Rows of supports that a strip is made for.
const ROWS_IN_STRIP: f64 = 12.0;

/// Where a strip along the house lies across it.
struct Lines {
    axis: usize,
    /// The supports from here to there are its own.
    own: (f64, f64),
    /// Unknowns from here to there are in it.
    all: (f64, f64),
}

/// Strips along a very large house, together as wide as it; none where the whole is no wider
/// than a few.
fn strips(stiffness: &Stiffness) -> Vec<Lines> {
    let n = stiffness.order.len();
    if n <= VERY_LARGE {
        return Vec::new();
    }
    // Unknowns are counted along the house.
    let axis = usize::from(stiffness.at.is_sorted_by(|a, b| a[0] <= b[0]));
    let reach = [0, 1].map(|axis: usize| {
        let at = || stiffness.at.iter().map(|at| at[axis]);
        (at().fold(f64::INFINITY, f64::min), at().fold(f64::NEG_INFINITY, f64::max))
    });
    let [along, across] = [reach[1 - axis], reach[axis]].map(|(from, to)| to - from);
    let row = (along * across / n as f64).sqrt();
    let n_strips = (across / (row * ROWS_IN_STRIP)).floor();
    if n_strips < 2.0 || across < row * (ROWS_IN_STRIP + 2.0 * ROWS_BESIDE) {
        return Vec::new();
    }
    let beside = row * ROWS_BESIDE;
    let line = |number: f64| reach[axis].0 + across * number / n_strips;
    (0..n_strips as usize)
        .map(|number| {
            let number = number as f64;
            let is_first = number == 0.0;
            let from = if is_first { f64::NEG_INFINITY } else { line(number) };
            let to = if number + 1.0 == n_strips { f64::INFINITY } else { line(number + 1.0) };
            Lines { axis, own: (from, to), all: (from - beside, to + beside) }
        })
        .collect()
}

/// A part of the house that responses are followed in, with unknowns counted anew.
struct Part<'a> {
    stiffness: &'a Stiffness,
    factor: Cow<'a, Factor>,
    n_free: usize,
    /// The number here of each free unknown of the house; `None` where all are.
    number: Option<Vec<u32>>,
    /// Unknowns of the part beside each support of the house.
    beside: Cow<'a, [Sum]>,
    /// Supports that are lifted here.
    own: Vec<usize>,
    /// Unknowns of the part that are tied to others outside.
    cut: Vec<usize>,
}

/// No number.
const OUTSIDE: u32 = u32::MAX;

impl<'a> Part<'a> {
    fn whole(stiffness: &'a Stiffness) -> Self {
        Self {
            stiffness,
            factor: Cow::Borrowed(&stiffness.factor),
            n_free: stiffness.n_free,
            number: None,
            beside: Cow::Borrowed(&stiffness.beside),
            own: (0..stiffness.order.len()).collect(),
            cut: Vec::new(),
        }
    }

    /// A strip, all that is beyond it held.
    fn strip(stiffness: &'a Stiffness, &Lines { axis, own, all }: &Lines) -> Self {
        let mut number = vec![OUTSIDE; stiffness.n_free];
        let mut n_free = 0;
        for (unknown, at) in stiffness.at.iter().enumerate() {
            if all.0 <= at[axis] && at[axis] < all.1 {
                number[unknown] = n_free as u32;
                n_free += 1;
            }
        }
        let (factor, cut) = stiffness.part(&number, n_free);
        let beside = stiffness.beside.iter();
        let beside: Vec<Sum> =
            beside.map(|sum| within(sum, stiffness.n_free, &number, n_free)).collect();
        // A support is where the first unknown beside it is, or next to it.
        let is_own = |&support: &usize| {
            let at = stiffness.beside[support].first().map_or(0.0, |&(u, _)| stiffness.at[u][axis]);
            own.0 <= at && at < own.1
        };
        let own = (0..stiffness.order.len()).filter(is_own).collect();
        let factor = Cow::Owned(factor);
        Self { stiffness, factor, n_free, number: Some(number), beside: beside.into(), own, cut }
    }

    /// What lifts at a few supports do; `None` if that is felt where the part is cut.
    fn solve<'b>(&'b self, supports: &'b [usize], died_out: f64) -> Option<Block<'b>> {
        let right: Vec<(usize, usize, f64)> = supports
            .iter()
            .enumerate()
            .flat_map(|(lane, &support)| {
                self.beside[support].iter().map(move |&(u, k)| (u, lane, -k))
            })
            .collect();
        let window = self.factor.solve_near(&right, died_out);
        let (begin, end) = (window.from, window.end());
        let size = |row: usize| window.row(row).iter().fold(0.0, |m: f64, v| m.max(v.abs()));
        let near = self.cut.partition_point(|&row| row < begin);
        let cut = self.cut[near..].iter().take_while(|&&row| row < end);
        let at_cut = cut.map(|&row| size(row)).fold(0.0, f64::max);
        if at_cut > 0.0 {
            let peak = right.iter().map(|&(row, ..)| size(row)).fold(0.0, f64::max);
            if at_cut > died_out * peak {
                return None;
            }
        }
        Some(Block { part: self, window, supports })
    }
}

/// The terms of a sum that lie in a part of so many free unknowns, by their numbers there; heights
/// over supports stay.
fn within(sum: &Sum, n_free: usize, number: &[u32], n_here: usize) -> Sum {
    let term = |&(unknown, c): &(usize, f64)| match unknown.checked_sub(n_free) {
        Some(support) => Some((n_here + support, c)),
        None => (number[unknown] != OUTSIDE).then(|| (number[unknown] as usize, c)),
    };
    sum.iter().filter_map(term).collect()
}

/// Sums in the order of their first free unknown.
struct Watched<'a> {
    /// First and last free unknown, and the number of the sum.
    by_first: Vec<(usize, usize, usize)>,
    sums: Cow<'a, [Sum]>,
    /// The longest stretch of unknowns that any sum spans.
    longest: usize,
    /// Sums of support heights alone, by support.
    on_supports: Vec<Vec<usize>>,
}

impl<'a> Watched<'a> {
    fn new(sums: &'a [Sum], part: &Part<'_>) -> Self {
        let n_free = part.n_free;
        let sums: Cow<'a, [Sum]> = match &part.number {
            None => sums.into(),
            Some(number) => {
                let within = |sum| within(sum, part.stiffness.n_free, number, n_free);
                sums.iter().map(within).collect()
            }
        };
        let mut by_first = Vec::new();
        let mut on_supports = vec![Vec::new(); part.stiffness.order.len()];
        for (number, sum) in sums.iter().enumerate() {
            let free = || sum.iter().map(|term| term.0).filter(|&unknown| unknown < n_free);
            if let (Some(first), Some(last)) = (free().min(), free().max()) {
                by_first.push((first, last, number));
            } else {
                for (unknown, _) in sum {
                    on_supports[unknown - n_free].push(number);
                }
            }
        }
        by_first.sort_unstable();
        let longest = by_first.iter().map(|(first, last, _)| last - first).max().unwrap_or(0);
        Self { by_first, sums, longest, on_supports }
    }

    /// Numbers of the sums that reach into a stretch of unknowns.
    fn within(&self, from: usize, end: usize) -> impl Iterator<Item = usize> {
        let begin = from.saturating_sub(self.longest);
        let begin = self.by_first.partition_point(|entry| entry.0 < begin);
        self.by_first[begin..]
            .iter()
            .take_while(move |entry| entry.0 < end)
            .filter(move |entry| entry.1 >= from)
            .map(|entry| entry.2)
    }
}

/// What lifts at a few supports do.
struct Block<'a> {
    part: &'a Part<'a>,
    window: Window,
    supports: &'a [usize],
}

impl Block<'_> {
    /// A sum of unknowns, for every support of the block.
    fn values(&self, sum: &Sum) -> [f64; TOGETHER] {
        let mut values = [0.0; TOGETHER];
        let first_held = self.part.n_free;
        for &(unknown, factor) in sum {
            if unknown < first_held {
                let row = self.window.row(unknown);
                for lane in 0..TOGETHER {
                    values[lane] += factor * row[lane];
                }
            } else if let Ok(lane) = self.supports.binary_search(&(unknown - first_held)) {
                values[lane] += factor;
            }
        }
        values
    }

    fn reactions(&self, rows: &mut [(usize, Vec<f64>)]) {
        let n = self.part.stiffness.order.len();
        let (from, end) = (self.window.from, self.window.end());
        let mut columns = vec![vec![0.0; n]; self.supports.len()];
        for other in 0..n {
            let beside = &self.part.beside[other];
            if beside.iter().any(|&(unknown, _)| from <= unknown && unknown < end) {
                for (column, value) in columns.iter_mut().zip(self.values(beside)) {
                    column[other] = value;
                }
            }
        }
        for (column, &support) in columns.iter_mut().zip(self.supports) {
            for &(other, k) in &self.part.stiffness.between[support] {
                column[other] += k;
            }
            let least = column[support].abs() * FELT_BY_SUPPORT;
            let felt_at = |value: &f64| value.abs() > least;
            let first = column.iter().position(felt_at).unwrap_or(support).min(support);
            let last = column.iter().rposition(felt_at).unwrap_or(support).max(support);
            rows[support] = (first, column[first..=last].to_vec());
        }
    }

    fn moments(
        &self,
        moments: &Watched<'_>,
        scratch: &mut [[f64; TOGETHER]],
        felt: &mut [FeltByTimber],
    ) {
        let on_own = self.supports.iter().flat_map(|&support| &moments.on_supports[support]);
        let mut numbers: Vec<usize> =
            moments.within(self.window.from, self.window.end()).chain(on_own.copied()).collect();
        let mut peak = [0.0_f64; TOGETHER];
        for &number in &numbers {
            let values = self.values(&moments.sums[number]);
            for (peak, value) in peak.iter_mut().zip(values) {
                *peak = peak.max(value.abs());
            }
            scratch[number] = values;
        }
        numbers.iter_mut().for_each(|number| *number /= ABREAST);
        numbers.sort_unstable();
        numbers.dedup();
        let is_large = self.part.stiffness.order.len() > LARGE;
        let least = if is_large { FELT_BY_TIMBER } else { 0.0 };
        let mut by_size: [[Vec<Abreast>; SIZES]; TOGETHER] = Default::default();
        for &number in &numbers {
            let rows = &scratch[number * ABREAST..][..ABREAST];
            let mut largest = [0.0_f64; TOGETHER];
            for row in rows {
                for (largest, value) in largest.iter_mut().zip(row) {
                    *largest = largest.max(value.abs());
                }
            }
            for lane in 0..self.supports.len() {
                let share = largest[lane] / peak[lane];
                if share > least {
                    let size = (0..SIZES - 1).find(|&size| share >= Felt::largest(size + 1));
                    let abreast = std::array::from_fn(|at| rows[at][lane]);
                    by_size[lane][size.unwrap_or(SIZES - 1)].push((number as u32, abreast));
                }
            }
        }
        for number in numbers {
            scratch[number * ABREAST..][..ABREAST].fill([0.0; TOGETHER]);
        }
        for ((&support, by_size), peak) in self.supports.iter().zip(&by_size).zip(peak) {
            felt[support] = FeltByTimber::new(by_size, peak);
        }
    }

    fn places(&self, places: &Watched<'_>, rows: &mut [Vec<(usize, f64)>]) {
        let on_own = self.supports.iter().flat_map(|&support| &places.on_supports[support]);
        let felt = places.within(self.window.from, self.window.end());
        for number in felt.chain(on_own.copied()) {
            let values = self.values(&places.sums[number]);
            for (value, &support) in values.into_iter().zip(self.supports) {
                if value.abs() > FELT_BY_FLOOR {
                    rows[number].push((self.part.stiffness.order[support], value));
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Frame, grid};
    use super::*;
    use crate::site::Position;

    /// A floor of 12 by 20 supports, with places on it.
    fn floor() -> Frame {
        let supports = grid::supports(12, 20);
        let places: Vec<Position> = supports.iter().map(|support| support.at).collect();
        Frame::new(&supports, &grid::spec(12, 20), &places).unwrap()
    }

    fn rows(stiffness: &Stiffness, died_out: f64, strips: &[Lines]) -> (Vec<Vec<f64>>, usize) {
        let n = stiffness.order.len();
        let mut rows = vec![(0, Vec::new()); n];
        let mut in_strips = 0;
        for_each_block(stiffness, &[], died_out, strips, |block, _| {
            block.reactions(&mut rows);
            in_strips += if block.part.number.is_some() { block.supports.len() } else { 0 };
        });
        let full = |(first, row): (usize, Vec<f64>)| {
            let mut full = vec![0.0; n];
            full[first..first + row.len()].copy_from_slice(&row);
            full
        };
        (rows.into_iter().map(full).collect(), in_strips)
    }

    /// The largest difference, as a share of the largest value.
    fn apart(a: &[Vec<f64>], b: &[Vec<f64>]) -> f64 {
        let all = || a.iter().flatten().zip(b.iter().flatten());
        let size = all().fold(0.0, |size: f64, (a, _)| size.max(a.abs()));
        all().fold(0.0, |most: f64, (a, b)| most.max((a - b).abs())) / size
    }

    /// The lower half of the floor with so much beside it, and the upper half.
    fn halves(beside: f64) -> [Lines; 2] {
        let (low, middle, high) = (f64::NEG_INFINITY, 14_250.0, f64::INFINITY);
        [
            Lines { axis: 1, own: (low, middle), all: (low, middle + beside) },
            Lines { axis: 1, own: (middle, high), all: (middle - beside, high) },
        ]
    }

    #[test]
    fn condensed_all_at_once_is_as_solved_for_a_few_at_a_time() {
        let frame = floor();
        let (want, _) = rows(&frame.stiffness, DIED_OUT, &[]);
        let n = want.len();
        let condensed = condense(&frame.stiffness, &[], DIED_OUT_FOR_FLOOR).between;
        let condensed: Vec<Vec<f64>> = condensed.chunks_exact(n).map(<[f64]>::to_vec).collect();
        assert!(apart(&want, &condensed) < 1e-10, "{}", apart(&want, &condensed));
    }

    #[test]
    fn what_dies_out_within_a_strip_is_what_it_is_in_the_whole() {
        let frame = floor();
        let (want, none) = rows(&frame.stiffness, DIED_OUT, &[]);
        assert_eq!(none, 0);
        let (found, in_strips) = rows(&frame.stiffness, 1e-3, &halves(10_500.0));
        assert!(in_strips > want.len() / 2, "{in_strips} of {}", want.len());
        // Followed to a thousandth of the movement, reactions are right to some thousandths.
        let off = apart(&want, &found);
        assert!(off > 1e-12 && off < 1e-2, "{off}");
        // What reaches the edge of its strip is solved for in the whole.
        let (found, in_strips) = rows(&frame.stiffness, DIED_OUT, &halves(3000.0));
        assert_eq!(in_strips, 0);
        assert!(apart(&want, &found) < 1e-10);
    }
}
