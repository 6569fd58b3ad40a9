//! What a lift at one support does, all the others held: to reactions, to the floor, to moments.

use super::condense::condense;
use super::contact::LARGE;
use super::skyline::{TOGETHER, Window};
use super::stiffness::{Stiffness, Sum};

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
    /// For each support: what a lift does to moments.
    pub moments: Vec<FeltByTimber>,
    /// For each place asked for: support and movement per lift.
    pub places: Vec<Vec<(usize, f64)>>,
}

/// Works out every response. `moments` and `places` are sums of unknowns to watch.
pub(super) fn respond(stiffness: &Stiffness, moments: &[Sum], places: &[Sum]) -> Response {
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
        rows: Vec::with_capacity(n),
        by_size: Vec::new(),
        near: Vec::new(),
        rounding: 0.0,
        g,
        moments: vec![FeltByTimber::default(); n],
        places: vec![Vec::new(); places.len()],
    };
    let is_large = n > LARGE && n <= VERY_LARGE;
    if is_large {
        all_at_once(stiffness, places, &mut response);
    }
    let died_out = match n {
        0..=LARGE => DIED_OUT,
        _ if is_large => DIED_OUT_FOR_TIMBER,
        _ => DIED_OUT_IN_VERY_LARGE,
    };
    one_after_the_other(stiffness, moments, (!is_large).then_some(places), died_out, &mut response);
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

/// Reactions and places, by condensing the stiffness on the supports.
fn all_at_once(stiffness: &Stiffness, places: &[Sum], response: &mut Response) {
    let n = stiffness.order.len();
    let condensed = condense(stiffness, places, DIED_OUT_FOR_FLOOR);
    for (support, row) in condensed.between.chunks_exact(n).enumerate() {
        let least = row[support].abs() * FELT_BY_SUPPORT;
        let felt_at = |value: &f64| value.abs() > least;
        let first = row.iter().position(felt_at).unwrap_or(support).min(support);
        let last = row.iter().rposition(felt_at).unwrap_or(support).max(support);
        response.rows.push((first, row[first..=last].to_vec()));
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

/// By a solution for a few supports at a time, followed only as far as it is felt: moments, and
/// places and reactions where places are given.
fn one_after_the_other(
    stiffness: &Stiffness,
    moments: &[Sum],
    places: Option<&[Sum]>,
    died_out: f64,
    response: &mut Response,
) {
    let n = stiffness.order.len();
    let places = places.map(|places| Watched::new(places, stiffness));
    let moments = Watched::new(moments, stiffness);
    let mut scratch = vec![[0.0; TOGETHER]; moments.sums.len().next_multiple_of(ABREAST)];
    for begin in (0..n).step_by(TOGETHER) {
        let end = (begin + TOGETHER).min(n);
        let right: Vec<(usize, usize, f64)> = (begin..end)
            .flat_map(|support| {
                let column = support - begin;
                stiffness.beside[support].iter().map(move |&(u, k)| (u, column, -k))
            })
            .collect();
        let window = stiffness.factor.solve_near(&right, died_out);
        let block = Block { stiffness, window, begin, end };
        block.moments(&moments, &mut scratch, &mut response.moments);
        if let Some(places) = &places {
            block.reactions(&mut response.rows);
            block.places(places, &mut response.places);
        }
    }
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

/// Sums in the order of their first free unknown.
struct Watched<'a> {
    /// First and last free unknown, and the number of the sum.
    by_first: Vec<(usize, usize, usize)>,
    sums: &'a [Sum],
    /// The longest stretch of unknowns that any sum spans.
    longest: usize,
    /// Sums of support heights alone, by support.
    on_supports: Vec<Vec<usize>>,
}

impl<'a> Watched<'a> {
    fn new(sums: &'a [Sum], stiffness: &Stiffness) -> Self {
        let n_free = stiffness.n_free;
        let mut by_first = Vec::new();
        let mut on_supports = vec![Vec::new(); stiffness.order.len()];
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

struct Block<'a> {
    stiffness: &'a Stiffness,
    window: Window,
    begin: usize,
    end: usize,
}

impl Block<'_> {
    /// A sum of unknowns, for every support of the block.
    fn values(&self, sum: &Sum) -> [f64; TOGETHER] {
        let mut values = [0.0; TOGETHER];
        let first_held = self.stiffness.n_free;
        for &(unknown, factor) in sum {
            if unknown < first_held {
                let row = self.window.row(unknown);
                for lane in 0..TOGETHER {
                    values[lane] += factor * row[lane];
                }
            } else if (self.begin..self.end).contains(&(unknown - first_held)) {
                values[unknown - first_held - self.begin] += factor;
            }
        }
        values
    }

    fn n_columns(&self) -> usize {
        self.end - self.begin
    }

    fn reactions(&self, rows: &mut Vec<(usize, Vec<f64>)>) {
        let n = self.stiffness.order.len();
        let (from, end) = (self.window.from, self.window.end());
        let mut columns = vec![vec![0.0; n]; self.n_columns()];
        for other in 0..n {
            let beside = &self.stiffness.beside[other];
            if beside.iter().any(|&(unknown, _)| from <= unknown && unknown < end) {
                for (column, value) in columns.iter_mut().zip(self.values(beside)) {
                    column[other] = value;
                }
            }
        }
        for (column, support) in columns.iter_mut().zip(self.begin..) {
            for &(other, k) in &self.stiffness.between[support] {
                column[other] += k;
            }
            let least = column[support].abs() * FELT_BY_SUPPORT;
            let felt_at = |value: &f64| value.abs() > least;
            let first = column.iter().position(felt_at).unwrap_or(support).min(support);
            let last = column.iter().rposition(felt_at).unwrap_or(support).max(support);
            rows.push((first, column[first..=last].to_vec()));
        }
    }

    fn moments(
        &self,
        moments: &Watched<'_>,
        scratch: &mut [[f64; TOGETHER]],
        felt: &mut [FeltByTimber],
    ) {
        let on_own = (self.begin..self.end).flat_map(|support| &moments.on_supports[support]);
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
        let is_large = self.stiffness.order.len() > LARGE;
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
            for lane in 0..self.n_columns() {
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
        for ((felt, by_size), peak) in felt[self.begin..].iter_mut().zip(&by_size).zip(peak) {
            *felt = FeltByTimber::new(by_size, peak);
        }
    }

    fn places(&self, places: &Watched<'_>, rows: &mut [Vec<(usize, f64)>]) {
        let on_own = (self.begin..self.end).flat_map(|support| &places.on_supports[support]);
        let felt = places.within(self.window.from, self.window.end());
        for number in felt.chain(on_own.copied()) {
            let values = self.values(&places.sums[number]);
            for (value, support) in values.into_iter().zip(self.begin..self.end) {
                if value.abs() > FELT_BY_FLOOR {
                    rows[number].push((self.stiffness.order[support], value));
                }
            }
        }
    }
}
