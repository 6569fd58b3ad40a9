//! What a lift at one support does, all the others held: to reactions, to the floor, to moments.

use super::skyline::Window;
use super::stiffness::{Stiffness, Sum};

/// Supports whose responses are worked out together.
const TOGETHER: usize = 24;

/// Movement of the floor by less than this share of a lift is nothing.
const FELT_BY_FLOOR: f64 = 1e-6;

/// A moment that is smaller than this share of the largest one from the same lift is nothing.
const FELT_BY_TIMBER: f64 = 1e-8;

/// A reaction smaller than this share of the lift's own is nothing.
const FELT_BY_SUPPORT: f64 = 1e-14;

/// The response to a unit lift at each support. Supports are counted in the stiffness's order.
#[derive(Clone, Debug)]
pub(super) struct Response {
    /// Condensed stiffness: for each support the first other that feels it, and the values.
    pub rows: Vec<(usize, Vec<f64>)>,
    /// Reactions under dead and live load with every support at height zero, sign turned:
    /// `R = S w - g`.
    pub g: [Vec<f64>; 2],
    /// For each support: number of a moment and its change per millimetre of lift.
    pub moments: Vec<Vec<(u32, f64)>>,
    /// For each place asked for: support and movement per lift.
    pub places: Vec<Vec<(usize, f64)>>,
    /// Dead and live solutions at the free unknowns with every support at height zero.
    pub under_load: [Vec<f64>; 2],
}

/// Works out every response. `moments` and `places` are sums of unknowns to watch.
pub(super) fn respond(stiffness: &Stiffness, moments: &[Sum], places: &[Sum]) -> Response {
    let n = stiffness.order.len();
    let under_load = [0, 1].map(|kind: usize| {
        let mut heights = stiffness.forces[kind][..stiffness.n_free].to_vec();
        stiffness.factor.solve(&mut heights);
        heights
    });
    let g = [0, 1].map(|kind: usize| {
        (0..n)
            .map(|support| {
                let force = stiffness.forces[kind][stiffness.n_free + support];
                let beside = stiffness.beside[support].iter();
                force - beside.map(|&(u, k)| k * under_load[kind][u]).sum::<f64>()
            })
            .collect()
    });
    let mut response = Response {
        rows: Vec::with_capacity(n),
        g,
        moments: vec![Vec::new(); n],
        places: vec![Vec::new(); places.len()],
        under_load,
    };
    let (moments, places) = (Watched::new(moments, stiffness), Watched::new(places, stiffness));
    for begin in (0..n).step_by(TOGETHER) {
        let end = (begin + TOGETHER).min(n);
        let right: Vec<(usize, usize, f64)> = (begin..end)
            .flat_map(|support| {
                let column = support - begin;
                stiffness.beside[support].iter().map(move |&(u, k)| (u, column, -k))
            })
            .collect();
        let window = stiffness.factor.solve_near(&right, end - begin);
        let block = Block { stiffness, window, begin, end };
        block.reactions(&mut response.rows);
        block.moments(&moments, &mut response.moments);
        block.places(&places, &mut response.places);
    }
    for row in &mut response.places {
        make_whole(row);
    }
    response
}

/// What was left out of a row is given to its largest term, so that the row sums to one.
fn make_whole(row: &mut [(usize, f64)]) {
    let missing = 1.0 - row.iter().map(|term| term.1).sum::<f64>();
    let largest = row.iter_mut().max_by(|a, b| a.1.total_cmp(&b.1));
    if let Some(largest) = largest {
        largest.1 += missing;
    }
}

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
    fn value(&self, sum: &Sum, column: usize) -> f64 {
        let held = self.stiffness.n_free + self.begin + column;
        sum.iter()
            .map(|&(unknown, factor)| {
                if unknown >= self.stiffness.n_free {
                    if unknown == held { factor } else { 0.0 }
                } else {
                    factor * self.window.at(unknown, column)
                }
            })
            .sum()
    }

    fn reactions(&self, rows: &mut Vec<(usize, Vec<f64>)>) {
        let n = self.stiffness.order.len();
        let (from, end) = (self.window.from, self.window.end());
        let felt: Vec<bool> = (0..n)
            .map(|support| {
                let beside = &self.stiffness.beside[support];
                beside.iter().any(|&(unknown, _)| from <= unknown && unknown < end)
            })
            .collect();
        for support in self.begin..self.end {
            let column = support - self.begin;
            let direct = |other: usize| {
                let between = self.stiffness.between[support].iter();
                between.filter(|term| term.0 == other).map(|term| term.1).sum::<f64>()
            };
            let mut row: Vec<f64> = (0..n)
                .map(|other| {
                    let through = if felt[other] {
                        let beside = self.stiffness.beside[other].iter();
                        beside.map(|&(u, k)| k * self.window.at(u, column)).sum()
                    } else {
                        0.0
                    };
                    through + direct(other)
                })
                .collect();
            let least = row[support].abs() * FELT_BY_SUPPORT;
            let felt_at = |value: &f64| value.abs() > least;
            let first = row.iter().position(felt_at).unwrap_or(support);
            let last = row.iter().rposition(felt_at).unwrap_or(support);
            row.truncate(last + 1);
            row.drain(..first);
            rows.push((first, row));
        }
    }

    fn moments(&self, moments: &Watched<'_>, columns: &mut [Vec<(u32, f64)>]) {
        for (column, felt) in columns[self.begin..self.end].iter_mut().enumerate() {
            let support = self.begin + column;
            let all: Vec<(u32, f64)> = moments
                .within(self.window.from, self.window.end())
                .chain(moments.on_supports[support].iter().copied())
                .map(|number| (number as u32, self.value(&moments.sums[number], column)))
                .collect();
            let peak = all.iter().fold(0.0, |peak: f64, (_, value)| peak.max(value.abs()));
            *felt =
                all.into_iter().filter(|(_, value)| value.abs() > peak * FELT_BY_TIMBER).collect();
        }
    }

    fn places(&self, places: &Watched<'_>, rows: &mut [Vec<(usize, f64)>]) {
        for support in self.begin..self.end {
            let column = support - self.begin;
            let felt = places.within(self.window.from, self.window.end());
            for number in felt.chain(places.on_supports[support].iter().copied()) {
                let value = self.value(&places.sums[number], column);
                if value.abs() > FELT_BY_FLOOR {
                    rows[number].push((self.stiffness.order[support], value));
                }
            }
        }
    }
}
