//! Least squares under rows, by guessing which rows are tight.
//!
//! # Method
//! Where the squares alone determine every variable, the answer without any rows is near, and few
//! rows bend it. So: solve with the rows that are tight by the last guess held as equations; a
//! tight row that pulls the wrong way is let go, a row that is broken becomes tight, all at once
//! (the primal-dual active set method). It has no proof that it ends, so it is given a number of
//! rounds, and the conditions of an optimum are measured with every term before an answer is
//! taken. Whoever calls must have another way.
//!
//! The matrix of the squares is factored once, without the terms that are next to nothing; rows
//! are solved for with it as they first become tight, and what was left out is taken out again by
//! refinement against the program itself.
//!
//! # References
//! Hintermueller, Ito & Kunisch, *The primal-dual active set strategy as a semismooth Newton
//! method*, SIAM J. Optim. 13 (2002). Held against the interior-point method on random programs in
//! the tests.

use super::{Optimum, Program, Terms, dot, on_bounds};
use crate::frame::skyline::{Factor, Skyline, TOGETHER};
use pulp::{Arch, Simd, WithSimd};

/// Terms smaller than this share of the largest of their square are left out of the matrix.
const LEFT_OUT: f64 = 1e-3;

/// The same for rows.
const LEFT_OUT_OF_ROWS: f64 = 1e-4;

/// What is left of a row solved forward that is smaller than this share of its largest is left out.
const DIED_OUT: f64 = 1e-9;

/// Terms this large, as a share of the largest, say which variables are neighbours.
const NEIGHBOURS: f64 = 0.05;

/// With more sums than this, a variable that is in a quarter of them has its place after all others.
const IN_MANY: usize = 100;

/// A pivot smaller than this share of its diagonal: the squares do not determine the variable, or
/// a tight row repeats others.
const VANISHED: f64 = 1e-7;

/// A row that is missed by less than this is met, and a pull of less is none.
const MET: f64 = 1e-10;

/// Rounds, at most.
const ROUNDS: usize = 40;

/// An answer must meet the conditions of an optimum as well as this.
const SETTLED: f64 = 1e-9;

/// Solves a program whose squares determine every variable. `None` where they do not, or where
/// the guesses do not settle.
pub(in crate::target) fn minimise(program: &Program) -> Option<Optimum> {
    if program.squares.is_empty() || !program.equal.is_empty() || program.bounds.is_empty() {
        return None;
    }
    let mut guessing = Guessing::new(program)?;
    guessing.run()?;
    guessing.optimum()
}

struct Guessing<'a> {
    program: &'a Program,
    /// Place of each variable in the factor.
    place: Vec<usize>,
    factor: Factor,
    values: Vec<f64>,
    /// One for each row, then for each lower bound, then for each upper bound.
    multipliers: Vec<f64>,
    /// How much room each row has.
    slacks: Vec<f64>,
    tight: Vec<usize>,
    /// Rows that were tight at some time, each solved forward.
    solved: Solved,
}

/// Rows solved forward with the factor, and the products of any two.
#[derive(Default)]
struct Solved {
    /// Number of each row among the solved, if it is.
    slot: Vec<Option<u32>>,
    /// First place of each, and its numbers from there.
    columns: Vec<(usize, Vec<f64>)>,
    /// Below the diagonal, it included.
    products: Vec<Vec<f64>>,
}

/// A row as the sum of its terms, whether it was given as such or is a bound.
fn for_each_term(program: &Program, row: usize, mut work: impl FnMut(usize, f64)) {
    let (n_rows, n) = (program.at_most.len(), program.bounds.len());
    match row.checked_sub(n_rows) {
        None => program.at_most[row].terms.iter().for_each(|&(variable, c)| work(variable, c)),
        Some(bound) if bound < n => work(bound, -1.0),
        Some(bound) => work(bound - n, 1.0),
    }
}

impl<'a> Guessing<'a> {
    fn new(program: &'a Program) -> Option<Self> {
        let n = program.bounds.len();
        let n_rows = program.at_most.len() + 2 * n;
        let place = order(n, program.squares.iter().map(|(terms, _)| terms));
        let thin: Vec<Terms> = program
            .squares
            .iter()
            .map(|(terms, _)| {
                let mut thin = larger_than(terms, LEFT_OUT);
                thin.iter_mut().for_each(|term| term.0 = place[term.0]);
                thin.sort_unstable_by_key(|term| term.0);
                thin
            })
            .collect();
        let mut first: Vec<usize> = (0..n).collect();
        for terms in &thin {
            let Some(least) = terms.first() else { continue };
            terms.iter().for_each(|term| first[term.0] = first[term.0].min(least.0));
        }
        let mut matrix = Skyline::new(first);
        for terms in &thin {
            for (at, &(row, c)) in terms.iter().enumerate() {
                matrix.add_products(row, c, &terms[..=at]);
            }
        }
        let factor = matrix.factor(VANISHED, 0.0);
        if !factor.loose.is_empty() {
            return None;
        }
        Some(Self {
            program,
            place,
            factor,
            values: vec![0.0; n],
            multipliers: vec![0.0; n_rows],
            slacks: vec![0.0; n_rows],
            tight: Vec::new(),
            solved: Solved { slot: vec![None; n_rows], ..Solved::default() },
        })
    }

    /// Guesses until the guess stays the same and nothing is left to refine.
    fn run(&mut self) -> Option<()> {
        let mut least = f64::INFINITY;
        let mut idle = 0;
        for round in 0..ROUNDS {
            self.look_at_slacks();
            let is_same = round > 0 && !self.guess_again();
            let slope = self.slope();
            if is_same {
                let missed = self.tight.iter().map(|&row| self.slacks[row].abs());
                let left = missed.chain(slope.iter().map(|slope| slope.abs())).fold(0.0, f64::max);
                if left.is_nan() {
                    return None;
                }
                if left < 1e-12 || (left < 1e-10 && left > 0.1 * least) {
                    return Some(());
                }
                idle = if left > 0.5 * least { idle + 1 } else { 0 };
                if idle > 2 {
                    return None;
                }
                least = left;
            } else {
                least = f64::INFINITY;
            }
            if round == 0 {
                self.step_without_rows(&slope);
            } else {
                self.step(&slope)?;
            }
        }
        None
    }

    /// The slope of the cost plus the pull of the tight rows.
    fn slope(&self) -> Vec<f64> {
        let program = self.program;
        let mut slope = program.cost.clone();
        for (terms, constant) in &program.squares {
            let size = dot(terms, &self.values) + constant;
            terms.iter().for_each(|&(variable, c)| slope[variable] += c * size);
        }
        for &row in &self.tight {
            let by = self.multipliers[row];
            for_each_term(program, row, |variable, c| slope[variable] += c * by);
        }
        slope
    }

    fn look_at_slacks(&mut self) {
        let program = self.program;
        let (n_rows, n) = (program.at_most.len(), program.bounds.len());
        for (slack, row) in self.slacks.iter_mut().zip(&program.at_most) {
            *slack = row.limit - dot(&row.terms, &self.values);
        }
        for (variable, (&value, &(lower, upper))) in
            self.values.iter().zip(&program.bounds).enumerate()
        {
            self.slacks[n_rows + variable] = value - lower;
            self.slacks[n_rows + n + variable] = upper - value;
        }
    }

    /// Lets go the tight rows that pull the wrong way and takes in those that are broken; whether
    /// any did.
    fn guess_again(&mut self) -> bool {
        let mut is_tight = vec![false; self.slacks.len()];
        self.tight.iter().for_each(|&row| is_tight[row] = true);
        let multipliers = &self.multipliers;
        let kept: Vec<usize> =
            (0..self.slacks.len())
                .filter(|&row| {
                    if is_tight[row] { multipliers[row] >= -MET } else { self.slacks[row] < -MET }
                })
                .collect();
        if kept == self.tight {
            return false;
        }
        self.tight.iter().for_each(|&row| is_tight[row] = false);
        kept.iter().for_each(|&row| is_tight[row] = true);
        for (multiplier, is_tight) in self.multipliers.iter_mut().zip(is_tight) {
            if !is_tight {
                *multiplier = 0.0;
            }
        }
        self.tight = kept;
        true
    }

    fn right_side(&self, slope: &[f64]) -> Vec<f64> {
        let mut right = vec![0.0; slope.len()];
        for (slope, &place) in slope.iter().zip(&self.place) {
            right[place] = -slope;
        }
        self.factor.solve_forth(&mut right);
        right
    }

    fn move_by(&mut self, mut step: Vec<f64>) {
        self.factor.solve_back(&mut step);
        for (value, &place) in self.values.iter_mut().zip(&self.place) {
            *value += step[place];
        }
    }

    fn step_without_rows(&mut self, slope: &[f64]) {
        let step = self.right_side(slope);
        self.move_by(step);
    }

    /// One step of refinement with the tight rows held, which is the whole way but for what was
    /// left out of the matrix.
    fn step(&mut self, slope: &[f64]) -> Option<()> {
        self.solve_for_tight();
        let mut step = self.right_side(slope);
        let slot = |row: usize| self.solved.slot[row].unwrap_or(0) as usize;
        let mut tight: Vec<(usize, usize)> =
            self.tight.iter().map(|&row| (slot(row), row)).collect();
        tight.sort_by_key(|&(slot, _)| (self.solved.columns[slot].0, slot));
        let mut change: Vec<f64> = tight
            .iter()
            .map(|&(slot, row)| {
                let (first, column) = &self.solved.columns[slot];
                dot_of(column, &step[*first..]) - self.slacks[row]
            })
            .collect();
        let slots: Vec<usize> = tight.iter().map(|tight| tight.0).collect();
        let factor = self.solved.factor(&slots)?;
        factor.solve(&mut change);
        for (&slot, &by) in slots.iter().zip(&change) {
            let (first, column) = &self.solved.columns[slot];
            step[*first..].iter_mut().zip(column).for_each(|(step, c)| *step -= c * by);
        }
        for (&(_, row), by) in tight.iter().zip(change) {
            self.multipliers[row] += by;
        }
        self.move_by(step);
        Some(())
    }

    /// Solves forward for the tight rows that were not tight before.
    fn solve_for_tight(&mut self) {
        let n = self.place.len();
        let fresh: Vec<usize> =
            self.tight.iter().copied().filter(|&row| self.solved.slot[row].is_none()).collect();
        let mut rows: Vec<(usize, Terms)> = fresh
            .into_iter()
            .map(|row| {
                let mut terms = Terms::new();
                for_each_term(self.program, row, |variable, c| {
                    terms.push((self.place[variable], c));
                });
                (row, larger_than(&terms, LEFT_OUT_OF_ROWS))
            })
            .collect();
        let begins = |terms: &Terms| terms.iter().map(|term| term.0).min().unwrap_or(n);
        rows.sort_by_key(|(row, terms)| (begins(terms), *row));
        for together in rows.chunks(TOGETHER) {
            let from = begins(&together[0].1);
            let mut lanes = vec![[0.0; TOGETHER]; n - from];
            for (lane, (_, terms)) in together.iter().enumerate() {
                terms.iter().for_each(|&(place, c)| lanes[place - from][lane] += c);
            }
            let lanes = self.factor.solve_forth_together(lanes, from);
            for (lane, (row, terms)) in together.iter().enumerate() {
                let first = begins(terms);
                let mut column: Vec<f64> =
                    lanes[first - from..].iter().map(|lanes| lanes[lane]).collect();
                let largest = column.iter().fold(0.0, |largest: f64, c| largest.max(c.abs()));
                let felt = column.iter().rposition(|c| c.abs() > DIED_OUT * largest);
                column.truncate(felt.map_or(0, |last| last + 1));
                self.solved.take(*row, first, column);
            }
        }
    }

    /// The answer, if it meets the conditions of an optimum.
    fn optimum(self) -> Option<Optimum> {
        let program = self.program;
        let slope = self.slope();
        let size = |numbers: &[f64]| numbers.iter().fold(0.0, |size: f64, x| size.max(x.abs()));
        let pull = 1.0 + size(&self.multipliers);
        let linear = program.squares.iter().map(|(terms, c)| c * dot(terms, &self.values));
        let cost = 1.0 + linear.map(f64::abs).sum::<f64>();
        let mut accuracy = size(&slope) / pull;
        for (&slack, &multiplier) in self.slacks.iter().zip(&self.multipliers) {
            let off = (-slack).max(-multiplier / pull);
            let off =
                if multiplier == 0.0 { off } else { off.max((slack * multiplier).abs() / cost) };
            accuracy = accuracy.max(off);
        }
        if accuracy.is_nan() || accuracy > SETTLED {
            return None;
        }
        let (n_rows, n) = (program.at_most.len(), program.bounds.len());
        let mut pulls = self.multipliers.iter().map(|multiplier| multiplier.max(0.0));
        let row_multipliers = pulls.by_ref().take(n_rows).collect();
        let lower: Vec<f64> = pulls.by_ref().take(n).collect();
        Some(Optimum {
            values: self
                .values
                .iter()
                .zip(&program.bounds)
                .map(|(&value, &(lower, upper))| on_bounds(value, lower, upper))
                .collect(),
            row_multipliers,
            bound_multipliers: lower.into_iter().zip(pulls).collect(),
            accuracy,
        })
    }
}

impl Solved {
    fn take(&mut self, row: usize, first: usize, column: Vec<f64>) {
        self.slot[row] = Some(self.columns.len() as u32);
        self.columns.push((first, column));
        self.products.push(Arch::new().dispatch(Products { columns: &self.columns }));
    }

    /// Factor of the products of some of the rows, in the order of their first places; `None` if
    /// one of them repeats others.
    fn factor(&self, slots: &[usize]) -> Option<Factor> {
        let reach = |slot: usize| {
            let (first, column) = &self.columns[slot];
            (*first, first + column.len())
        };
        // Rows that have no place in common have no product.
        let first: Vec<usize> = slots
            .iter()
            .enumerate()
            .map(|(row, &slot)| {
                let touches = |&other: &usize| reach(other).1 > reach(slot).0;
                slots[..row].iter().position(touches).unwrap_or(row)
            })
            .collect();
        let mut matrix = Skyline::new(first.clone());
        for (row, &a) in slots.iter().enumerate() {
            for (column, &b) in slots[..=row].iter().enumerate().skip(first[row]) {
                matrix.add(row, column, self.products[a.max(b)][a.min(b)]);
            }
        }
        let factor = matrix.factor(VANISHED, 0.0);
        factor.loose.is_empty().then_some(factor)
    }
}

/// The products of the last column with all, itself included, compiled for each width of registers.
struct Products<'a> {
    columns: &'a [(usize, Vec<f64>)],
}

impl WithSimd for Products<'_> {
    type Output = Vec<f64>;

    #[inline(always)]
    fn with_simd<S: Simd>(self, _: S) -> Vec<f64> {
        let Some((first, column)) = self.columns.last() else { return Vec::new() };
        let with = |(from, other): &(usize, Vec<f64>)| {
            let begin = *first.max(from);
            let a = column.get(begin - first..).unwrap_or_default();
            let b = other.get(begin - from..).unwrap_or_default();
            dot_of(a, b)
        };
        self.columns.iter().map(with).collect()
    }
}

/// Sum of products over the shorter of the two, in eight lanes so that it is quick.
#[inline(always)]
fn dot_of(a: &[f64], b: &[f64]) -> f64 {
    let n = a.len().min(b.len());
    let (a, b) = (a[..n].chunks_exact(8), b[..n].chunks_exact(8));
    let rest: f64 = a.remainder().iter().zip(b.remainder()).map(|(x, y)| x * y).sum();
    let mut lanes = [0.0; 8];
    for (x, y) in a.zip(b) {
        for lane in 0..8 {
            lanes[lane] += x[lane] * y[lane];
        }
    }
    lanes.iter().sum::<f64>() + rest
}

fn larger_than(terms: &Terms, share: f64) -> Terms {
    let largest = terms.iter().fold(0.0, |largest: f64, term| largest.max(term.1.abs()));
    terms.iter().copied().filter(|term| term.1.abs() >= share * largest).collect()
}

/// The place of each variable, so that those in the same sums are near one another: by rounds
/// outward from one at the edge, turned about; last those that are in many.
///
/// # References
/// Cuthill & McKee, *Reducing the bandwidth of sparse symmetric matrices*, ACM 1969, reversed (from
/// memory). Any order gives the same answer; this one gives it sooner.
pub(super) fn order<'a>(n: usize, sums: impl Iterator<Item = &'a Terms> + Clone) -> Vec<usize> {
    let mut in_sums = vec![0_usize; n];
    sums.clone().flatten().for_each(|term| in_sums[term.0] += 1);
    let n_sums = sums.clone().count();
    let is_everywhere: Vec<bool> =
        in_sums.iter().map(|&n_in| n_sums > IN_MANY && n_in > n_sums / 4).collect();
    let mut neighbours = vec![Vec::new(); n];
    for terms in sums {
        let mut near = larger_than(terms, NEIGHBOURS);
        near.retain(|term| !is_everywhere[term.0]);
        for &(a, _) in &near {
            neighbours[a].extend(near.iter().map(|term| term.0).filter(|&b| b != a));
        }
    }
    for of_one in &mut neighbours {
        of_one.sort_unstable();
        of_one.dedup();
    }
    let mut place = vec![usize::MAX; n];
    let mut n_placed = 0;
    for variable in (0..n).filter(|&variable| is_everywhere[variable]) {
        place[variable] = n - 1 - n_placed;
        n_placed += 1;
    }
    for start in 0..n {
        if place[start] != usize::MAX {
            continue;
        }
        // Twice outward from anywhere ends at an edge.
        let mut edge = start;
        for _ in 0..2 {
            let mut seen = vec![false; n];
            edge = *outward(edge, &neighbours, &mut seen).last().unwrap_or(&edge);
        }
        let mut seen: Vec<bool> = place.iter().map(|&place| place != usize::MAX).collect();
        for variable in outward(edge, &neighbours, &mut seen) {
            place[variable] = n - 1 - n_placed;
            n_placed += 1;
        }
    }
    place
}

fn outward(start: usize, neighbours: &[Vec<usize>], seen: &mut [bool]) -> Vec<usize> {
    let mut found = vec![start];
    seen[start] = true;
    let mut at = 0;
    while at < found.len() {
        let of_one = &neighbours[found[at]];
        let mut fresh: Vec<usize> = of_one.iter().copied().filter(|&other| !seen[other]).collect();
        fresh.sort_by_key(|&other| (neighbours[other].len(), other));
        fresh.iter().for_each(|&other| seen[other] = true);
        found.extend(fresh);
        at += 1;
    }
    found
}

#[cfg(test)]
mod tests {
    use super::super::{Failure, Row, as_a_whole};
    use super::*;
    use proptest::prelude::*;

    /// Neighbours tied to one another in a ring, pulled to wanted values under rows and bounds.
    fn program(wanted: &[f64], tie: f64, rows: &[(usize, usize, f64, f64)], upper: f64) -> Program {
        let n = wanted.len();
        let mut program = Program::default();
        for &value in wanted {
            let variable = program.variable(0.0, (0.0, upper));
            program.squares.push((vec![(variable, 1.0)], -value));
        }
        for variable in 0..n {
            let terms = vec![(variable, 0.5), ((variable + 1) % n, 0.5), ((variable + 2) % n, tie)];
            program.squares.push((terms, -wanted[(variable + 1) % n]));
        }
        for &(a, b, c, limit) in rows {
            if a % n != b % n {
                program.at_most.push(Row { terms: vec![(a % n, c), (b % n, -1.0)], limit });
            }
        }
        program
    }

    proptest! {
        /// Second method: the interior point.
        #[test]
        fn guessed_rows_give_the_answer_of_the_interior_point(
            wanted in prop::collection::vec(-20.0..30.0_f64, 4..24),
            tie in -0.4..0.4_f64,
            rows in prop::collection::vec((0..24_usize, 0..24_usize, -1.0..1.0_f64, -4.0..6.0_f64), 0..30),
            upper in 5.0..40.0_f64,
        ) {
            let program = program(&wanted, tie, &rows, upper);
            match (minimise(&program), as_a_whole(&program)) {
                (Some(guessed), Ok(whole)) => {
                    for (a, b) in guessed.values.iter().zip(&whole.values) {
                        prop_assert!((a - b).abs() < 1e-6, "{a} {b}");
                    }
                }
                // It may give up, but it has no answer where there is none.
                (Some(guessed), Err(Failure::Infeasible)) => {
                    prop_assert!(false, "{guessed:?} for a program without an answer");
                }
                _ => {}
            }
        }
    }

    #[test]
    fn variables_that_only_act_together_are_left_to_others() {
        let mut program = Program::default();
        program.variable(0.0, (0.0, 1.0));
        program.variable(0.0, (0.0, 1.0));
        program.squares.push((vec![(0, 1.0), (1, 1.0)], -1.0));
        assert!(minimise(&program).is_none());
    }
}
