//! Linear costs under many long rows: an interior point on the variables alone.
//!
//! # Method
//! A primal-dual interior point with predictor and corrector. Slacks and multipliers are taken out of
//! each step by hand, so that what is factored has a row for each variable, however many rows the
//! program has. Terms that hardly count against the diagonal are left out of that matrix, the fewer
//! the nearer the answer; conjugate gradients put back what they do.
//!
//! # References
//! Mehrotra, *On the implementation of a primal-dual interior point method*, SIAM J. Optim. 2 (1992)
//! (from memory). Held against the conic solver on random frames in the tests.

use super::active::order;
use super::{Optimum, Program, Terms, on_bounds};
use crate::frame::skyline::{Factor, Skyline};

/// With more variables than this the factor is too large to be made anew for every step.
const MOST_VARIABLES: usize = 3000;

/// Steps, at most. Programs that have an answer take ten to thirty.
const STEPS: usize = 60;

/// Steps without a better answer after which there is none to be had.
const PATIENCE: usize = 5;

/// Terms are left out of the matrix where they are this small against the diagonal.
const LEFT_OUT: f64 = 1e-3;

/// The nearer the answer, the more even a small term tells one row from another: this much is left out
/// for each millimetre of the product of slack and multiplier.
const LEFT_OUT_PER_PRODUCT: f64 = 1e-3;

/// A row that is weaker than this against the diagonal does nothing.
const NOTHING: f64 = 1e-14;

/// Added to the diagonal of one, so that rows that repeat one another can be factored.
const SHIFT: f64 = 1e-12;

/// A pivot smaller than this share of its diagonal is none.
const VANISHED: f64 = 1e-13;

/// Directions of the conjugate gradients for a step, at most.
const DIRECTIONS: usize = 60;

/// Of the longest step that keeps slacks and multipliers positive, this share is taken.
const SHORT_OF_THE_WALL: f64 = 0.995;

/// An answer that meets the conditions of an optimum as well as this needs no further step.
const SHARP: f64 = 1e-10;

/// An answer must meet the conditions of an optimum as well as this.
const SETTLED: f64 = 1e-8;

/// Solves a program without equations. `None` where the steps do not settle, as where there is no
/// answer.
pub(in crate::target) fn minimise(program: &Program) -> Option<Optimum> {
    let n = program.bounds.len();
    if !program.equal.is_empty() || n == 0 || n > MOST_VARIABLES {
        return None;
    }
    let inward = Inward::new(program);
    let mut at = inward.start();
    let (mut best, mut least, mut idle) = (at.clone(), f64::INFINITY, 0);
    for _ in 0..STEPS {
        let state = inward.look(&at);
        if state.accuracy < least {
            idle = if state.accuracy < 0.5 * least { 0 } else { idle + 1 };
            (best, least) = (at.clone(), state.accuracy);
        } else {
            idle += 1;
        }
        if least < SHARP || idle > PATIENCE {
            break;
        }
        inward.step(&mut at, &state)?;
    }
    (least <= SETTLED).then(|| inward.optimum(&best, least))
}

/// Sums of the variables, in one piece: numbers of variables and what they are multiplied by.
#[derive(Default)]
struct Sums {
    ends: Vec<usize>,
    variables: Vec<u32>,
    factors: Vec<f64>,
}

impl Sums {
    fn push(&mut self, terms: &Terms, place: &[usize]) {
        let mut placed: Terms = terms.iter().map(|&(variable, c)| (place[variable], c)).collect();
        placed.sort_unstable_by_key(|term| term.0);
        self.variables.extend(placed.iter().map(|term| term.0 as u32));
        self.factors.extend(placed.iter().map(|term| term.1));
        self.ends.push(self.variables.len());
    }

    fn len(&self) -> usize {
        self.ends.len()
    }

    fn terms(&self, sum: usize) -> impl Iterator<Item = (usize, f64)> + Clone + '_ {
        let begin = if sum == 0 { 0 } else { self.ends[sum - 1] };
        let range = begin..self.ends[sum];
        let variables = self.variables[range.clone()].iter().map(|&variable| variable as usize);
        variables.zip(self.factors[range].iter().copied())
    }

    fn at(&self, sum: usize, values: &[f64]) -> f64 {
        self.terms(sum).map(|(variable, c)| c * values[variable]).sum()
    }

    fn add(&self, sum: usize, by: f64, to: &mut [f64]) {
        self.terms(sum).for_each(|(variable, c)| to[variable] += c * by);
    }
}

/// Numbers for each row of the program, then for each lower bound, then for each upper bound.
type OfRows = Vec<f64>;

/// A program with its variables in the order of the matrix.
struct Inward<'a> {
    program: &'a Program,
    /// Place of each variable in the matrix.
    place: Vec<usize>,
    cost: Vec<f64>,
    squares: Sums,
    constants: Vec<f64>,
    /// What the rows limit: a row and its opposite, from above and from below, are one sum.
    sums: Sums,
    /// For each sum its rows, and what it is multiplied by in each: one, or minus one.
    sides: Vec<Vec<(usize, f64)>>,
    /// What each row is at most; infinite where there is no bound.
    limits: OfRows,
    /// How many of them are finite.
    n_limits: usize,
}

/// Where the steps have come to.
#[derive(Clone)]
struct At {
    values: Vec<f64>,
    slacks: OfRows,
    multipliers: OfRows,
}

/// What is still wrong there.
struct State {
    /// The slope of the cost plus the pull of the rows.
    slope: Vec<f64>,
    /// By how much slacks and values disagree.
    missing: OfRows,
    /// The mean product of a slack and its multiplier.
    product: f64,
    /// The worst departure from the conditions of an optimum.
    accuracy: f64,
}

impl<'a> Inward<'a> {
    fn new(program: &'a Program) -> Self {
        let n = program.bounds.len();
        let place = order(n, program.at_most.iter().map(|row| &row.terms));
        let (mut squares, mut sums) = (Sums::default(), Sums::default());
        program.squares.iter().for_each(|(terms, _)| squares.push(terms, &place));
        let mut sides: Vec<Vec<(usize, f64)>> = Vec::new();
        let mut last: Option<&Terms> = None;
        for (row_idx, row) in program.at_most.iter().enumerate() {
            match sides.last_mut() {
                Some(sides) if last.is_some_and(|last| are_opposite(last, &row.terms)) => {
                    sides.push((row_idx, -1.0));
                }
                _ => {
                    last = Some(&row.terms);
                    sums.push(&row.terms, &place);
                    sides.push(vec![(row_idx, 1.0)]);
                }
            }
        }
        let n_rows = program.at_most.len();
        let mut limits: OfRows = program.at_most.iter().map(|row| row.limit).collect();
        limits.resize(n_rows + 2 * n, f64::INFINITY);
        let mut cost = vec![0.0; n];
        for (variable, &(lower, upper)) in program.bounds.iter().enumerate() {
            limits[n_rows + place[variable]] = -lower;
            limits[n_rows + n + place[variable]] = upper;
            cost[place[variable]] = program.cost[variable];
        }
        let n_limits = limits.iter().filter(|limit| limit.is_finite()).count();
        let constants = program.squares.iter().map(|square| square.1).collect();
        Self { program, place, cost, squares, constants, sums, sides, limits, n_limits }
    }

    fn start(&self) -> At {
        let mut values = vec![0.0; self.cost.len()];
        for (&(lower, upper), &place) in self.program.bounds.iter().zip(&self.place) {
            values[place] = 0.0_f64.max(lower).min(upper);
        }
        let rows = self.rows_of(&values);
        let slacks = self.limits.iter().zip(rows).map(|(limit, row)| (limit - row).max(1.0));
        let is_there = |limit: &f64| if limit.is_finite() { 1.0 } else { 0.0 };
        At {
            slacks: slacks.collect(),
            multipliers: self.limits.iter().map(is_there).collect(),
            values,
        }
    }

    /// What the rows come to at given values.
    fn rows_of(&self, values: &[f64]) -> OfRows {
        let mut rows = vec![0.0; self.program.at_most.len()];
        for (sum, sides) in self.sides.iter().enumerate() {
            let value = self.sums.at(sum, values);
            sides.iter().for_each(|&(row, sign)| rows[row] = sign * value);
        }
        rows.extend(values.iter().map(|value| -value));
        rows.extend(values);
        rows
    }

    /// Adds to each variable what the rows, each by so much, do to it.
    fn add_pulls(&self, of_rows: &[f64], to: &mut [f64]) {
        for (sum, sides) in self.sides.iter().enumerate() {
            let by: f64 = sides.iter().map(|&(row, sign)| sign * of_rows[row]).sum();
            if by != 0.0 {
                self.sums.add(sum, by, to);
            }
        }
        let (lower, upper) = of_rows[self.program.at_most.len()..].split_at(to.len());
        for ((to, lower), upper) in to.iter_mut().zip(lower).zip(upper) {
            *to += upper - lower;
        }
    }

    fn look(&self, at: &At) -> State {
        let mut slope = self.cost.clone();
        for (square, constant) in self.constants.iter().enumerate() {
            let by = self.squares.at(square, &at.values) + constant;
            self.squares.add(square, by, &mut slope);
        }
        self.add_pulls(&at.multipliers, &mut slope);
        let (pull, cost) =
            (1.0 + largest(&at.multipliers), 1.0 + inner_abs(&self.cost, &at.values));
        let mut accuracy = largest(&slope) / pull;
        let mut product = 0.0;
        let mut missing = self.rows_of(&at.values);
        for (row, missing) in missing.iter_mut().enumerate() {
            if !self.limits[row].is_finite() {
                *missing = 0.0;
                continue;
            }
            let slack = self.limits[row] - *missing;
            *missing = slack - at.slacks[row];
            product += at.slacks[row] * at.multipliers[row];
            accuracy = accuracy.max(-slack).max((slack * at.multipliers[row]).abs() / cost);
        }
        let accuracy = if accuracy.is_nan() { f64::INFINITY } else { accuracy };
        State { slope, missing, product: product / self.n_limits.max(1) as f64, accuracy }
    }

    fn step(&self, at: &mut At, state: &State) -> Option<()> {
        let State { slope, missing, product, .. } = state;
        let weights: OfRows = at.multipliers.iter().zip(&at.slacks).map(|(m, s)| m / s).collect();
        let left_out = (LEFT_OUT_PER_PRODUCT * product).clamp(1e-13, LEFT_OUT);
        let system = System::new(self, &weights, left_out)?;
        let enough = 1e-2 * product.min(1.0) + 1e-14;
        // The way on which each product of slack and multiplier changes by its aim.
        let way = |aims: &[f64]| -> Option<At> {
            let shares: OfRows = (0..aims.len())
                .map(|row| aims[row] / at.slacks[row] - weights[row] * missing[row])
                .collect();
            let mut right = vec![0.0; slope.len()];
            self.add_pulls(&shares, &mut right);
            right.iter_mut().zip(slope).for_each(|(right, slope)| *right = -*right - slope);
            let values = system.solve(&right, enough)?;
            let rows = self.rows_of(&values);
            let slacks = missing.iter().zip(&rows).map(|(missing, row)| missing - row).collect();
            let multipliers =
                shares.iter().zip(&weights).zip(&rows).map(|((s, w), row)| s + w * row).collect();
            Some(At { values, slacks, multipliers })
        };
        let straight: OfRows = at
            .slacks
            .iter()
            .zip(&at.multipliers)
            .map(|(s, m)| if *m > 0.0 { -s * m } else { 0.0 })
            .collect();
        let predicted = way(&straight)?;
        let room = way_to_the_wall(&at.slacks, &predicted.slacks);
        let pull = way_to_the_wall(&at.multipliers, &predicted.multipliers);
        let there = (0..straight.len()).filter(|&row| at.multipliers[row] > 0.0);
        let after: f64 = there
            .map(|row| {
                (at.slacks[row] + room * predicted.slacks[row])
                    * (at.multipliers[row] + pull * predicted.multipliers[row])
            })
            .sum::<f64>()
            / self.n_limits as f64;
        let aim = (after / product).powi(3) * product;
        let bent: OfRows = (0..straight.len())
            .map(|row| match at.multipliers[row] > 0.0 {
                true => straight[row] + aim - predicted.slacks[row] * predicted.multipliers[row],
                false => 0.0,
            })
            .collect();
        let corrected = way(&bent)?;
        let short = |way: f64| (SHORT_OF_THE_WALL * way).min(1.0);
        let mut room = short(way_to_the_wall(&at.slacks, &corrected.slacks));
        let mut pull = short(way_to_the_wall(&at.multipliers, &corrected.multipliers));
        if !self.constants.is_empty() {
            // With squares both are parts of the same slope.
            room = room.min(pull);
            pull = room;
        }
        go(&mut at.values, &corrected.values, room);
        go(&mut at.slacks, &corrected.slacks, room);
        go(&mut at.multipliers, &corrected.multipliers, pull);
        Some(())
    }

    fn optimum(&self, at: &At, accuracy: f64) -> Optimum {
        let (n_rows, n) = (self.program.at_most.len(), self.place.len());
        let with_place = self.program.bounds.iter().zip(&self.place);
        Optimum {
            values: with_place
                .map(|(&(lower, upper), &place)| on_bounds(at.values[place], lower, upper))
                .collect(),
            row_multipliers: at.multipliers[..n_rows].to_vec(),
            bound_multipliers: self
                .place
                .iter()
                .map(|&place| (at.multipliers[n_rows + place], at.multipliers[n_rows + n + place]))
                .collect(),
            accuracy,
        }
    }
}

/// The matrix of a step: the squares, and each row as strong as its multiplier is against its slack.
struct System<'a> {
    inward: &'a Inward<'a>,
    /// Sums of rows that do something, and how strong each is.
    strong: Vec<(usize, f64)>,
    /// What the bounds add to the diagonal.
    of_bounds: Vec<f64>,
    /// One over the root of the diagonal.
    root: Vec<f64>,
    /// Factor of the matrix with its diagonal brought to one.
    factor: Factor,
}

impl<'a> System<'a> {
    fn new(inward: &'a Inward<'a>, weights: &[f64], left_out: f64) -> Option<Self> {
        let n = inward.place.len();
        let (lower, upper) = weights[inward.program.at_most.len()..].split_at(n);
        let of_bounds: Vec<f64> =
            lower.iter().zip(upper).map(|(lower, upper)| lower + upper).collect();
        let strength =
            |sum: usize| inward.sides[sum].iter().map(|&(row, _)| weights[row]).sum::<f64>();
        let strengths: Vec<f64> = (0..inward.sums.len()).map(strength).collect();
        let mut diagonal = of_bounds.clone();
        let mut add_squares = |sums: &Sums, sum: usize, by: f64| {
            sums.terms(sum).for_each(|(variable, c)| diagonal[variable] += by * c * c);
        };
        (0..inward.squares.len()).for_each(|square| add_squares(&inward.squares, square, 1.0));
        strengths.iter().enumerate().for_each(|(sum, by)| add_squares(&inward.sums, sum, *by));
        if diagonal.iter().any(|d| !(d.is_finite() && *d > 0.0)) {
            return None;
        }
        let root: Vec<f64> = diagonal.iter().map(|d| 1.0 / d.sqrt()).collect();

        // Each term as a share of the diagonal of its variable: what is small beside the largest of
        // its row stays out.
        let mut kept: Vec<Terms> = Vec::new();
        let mut first: Vec<usize> = (0..n).collect();
        let mut keep = |sums: &Sums, sum: usize, by: f64| {
            let by = by.sqrt();
            let shares = sums.terms(sum).map(|(variable, c)| (variable, c * by * root[variable]));
            let most = shares.clone().map(|share| share.1.abs()).fold(0.0, f64::max);
            if most * most >= left_out {
                let large: Terms =
                    shares.filter(|share| share.1.abs() * most >= left_out).collect();
                let begin = large[0].0;
                large.iter().for_each(|term| first[term.0] = first[term.0].min(begin));
                kept.push(large);
            }
            most * most
        };
        (0..inward.squares.len()).for_each(|square| {
            keep(&inward.squares, square, 1.0);
        });
        let strong = strengths
            .into_iter()
            .enumerate()
            .filter(|&(sum, by)| keep(&inward.sums, sum, by) > NOTHING)
            .collect();
        let mut matrix = Skyline::new(first);
        for terms in &kept {
            for (at, &(row, c)) in terms.iter().enumerate() {
                matrix.add_products(row, c, &terms[..at]);
            }
        }
        (0..n).for_each(|variable| matrix.add(variable, variable, 1.0 + SHIFT));
        let factor = matrix.factor(VANISHED, 0.0);
        Some(Self { inward, strong, of_bounds, root, factor })
    }

    /// The matrix with every term, times given values.
    fn times(&self, values: &[f64]) -> Vec<f64> {
        let mut product: Vec<f64> = self.of_bounds.iter().zip(values).map(|(w, v)| w * v).collect();
        let (squares, sums) = (&self.inward.squares, &self.inward.sums);
        for square in 0..squares.len() {
            squares.add(square, squares.at(square, values), &mut product);
        }
        for &(sum, by) in &self.strong {
            sums.add(sum, by * sums.at(sum, values), &mut product);
        }
        product
    }

    /// Solves with what is in the matrix.
    fn nearly(&self, right: &[f64]) -> Vec<f64> {
        let mut answer: Vec<f64> = right.iter().zip(&self.root).map(|(r, root)| r * root).collect();
        self.factor.solve(&mut answer);
        answer.iter_mut().zip(&self.root).for_each(|(answer, root)| *answer *= root);
        answer
    }

    /// Solves with every term until no more than `enough` is left: conjugate gradients, with the
    /// factor as what they begin from.
    fn solve(&self, right: &[f64], enough: f64) -> Option<Vec<f64>> {
        let mut answer = vec![0.0; right.len()];
        let mut left = right.to_vec();
        let mut near = self.nearly(&left);
        let mut direction = near.clone();
        let mut size = inner(&left, &near);
        for _ in 0..DIRECTIONS {
            if largest(&left) <= enough || size <= 0.0 {
                break;
            }
            let times = self.times(&direction);
            let by = size / inner(&direction, &times);
            if !by.is_finite() {
                return None;
            }
            go(&mut answer, &direction, by);
            go(&mut left, &times, -by);
            near = self.nearly(&left);
            let next = inner(&left, &near);
            let turn = next / size;
            size = next;
            direction.iter_mut().zip(&near).for_each(|(d, near)| *d = near + turn * *d);
        }
        Some(answer)
    }
}

fn are_opposite(a: &Terms, b: &Terms) -> bool {
    a.len() == b.len() && a.iter().zip(b).all(|(a, b)| a.0 == b.0 && a.1 == -b.1)
}

fn largest(numbers: &[f64]) -> f64 {
    let worse = |most: f64, n: &f64| if n.is_nan() { f64::INFINITY } else { most.max(n.abs()) };
    numbers.iter().fold(0.0, worse)
}

fn inner(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

fn inner_abs(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| (a * b).abs()).sum()
}

fn go(at: &mut [f64], along: &[f64], by: f64) {
    at.iter_mut().zip(along).for_each(|(at, along)| *at += by * along);
}

/// How far one can go along before a number is nothing, at most all the way.
fn way_to_the_wall(at: &[f64], along: &[f64]) -> f64 {
    let shrinking = at.iter().zip(along).filter(|(at, along)| **along < 0.0 && at.is_finite());
    shrinking.fold(1.0, |way: f64, (at, along)| way.min(-at / along))
}
