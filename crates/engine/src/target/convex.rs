//! Convex programs: the one place that knows the solver.
//!
//! A program is: minimise half a sum of squares plus a linear cost, under linear rows and
//! bounds. An interior-point method finds which rows and bounds are tight; the answer is then
//! *polished*: the tight ones are held as equations, solved again directly, and the conditions
//! of an optimum are measured. Whichever of the two answers meets them better is returned,
//! together with the measurement.
//!
//! Numbers here are millimetres by convention of the callers, so that everything is of the size
//! of one; a missing bound is an infinity, never a large number.

mod active;
mod inward;
mod krylov;
mod rounds;

#[cfg(test)]
pub(super) use {
    active::minimise as by_guessing, inward::minimise as inward, rounds::minimise as in_rounds,
};

use clarabel::algebra::CscMatrix;
use clarabel::solver::{
    DefaultSettings, DefaultSolver, IPSolver, NonnegativeConeT, SolverStatus, SupportedConeT,
    ZeroConeT,
};
use faer::linalg::solvers::PartialPivLu;
use faer::prelude::Solve;
use faer::sparse::linalg::solvers::Lu;
use faer::sparse::{SparseColMat, Triplet};
use faer::{Col, Mat, Side};
use std::collections::BTreeSet;

/// Coefficients of the variables in a row, each variable at most once.
pub(super) type Terms = Vec<(usize, f64)>;

/// A linear row: the terms' sum is at most, or equal to, the limit.
#[derive(Clone, Debug)]
pub(super) struct Row {
    pub terms: Terms,
    pub limit: f64,
}

impl Row {
    /// Its largest coefficient, or one.
    pub fn scale(&self) -> f64 {
        let largest = self.terms.iter().map(|term| term.1.abs()).fold(0.0, f64::max);
        if largest > 0.0 { largest } else { 1.0 }
    }
}

/// A program in `bounds.len()` variables.
#[derive(Clone, Debug, Default)]
pub(super) struct Program {
    /// Half the sum of the squares of `terms + constant` is part of the cost.
    pub squares: Vec<(Terms, f64)>,
    /// The linear cost of each variable.
    pub cost: Vec<f64>,
    /// The terms' sum equals the limit.
    pub equal: Vec<Row>,
    /// The terms' sum is at most the limit.
    pub at_most: Vec<Row>,
    /// Lower and upper bound of each variable; infinite where there is none.
    pub bounds: Vec<(f64, f64)>,
}

/// The answer to a program.
#[derive(Clone, Debug)]
pub(super) struct Optimum {
    pub values: Vec<f64>,
    /// One for each row of `at_most`, zero or more.
    pub row_multipliers: Vec<f64>,
    /// For each variable: of its lower and of its upper bound, zero or more.
    pub bound_multipliers: Vec<(f64, f64)>,
    /// The worst departure from the conditions of an optimum.
    pub accuracy: f64,
}

/// Why there is no answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Failure {
    /// The solver holds a proof that no values meet the rows and bounds.
    Infeasible,
    /// The solver did not settle, or the cost has no lowest value.
    Unsettled,
}

impl Program {
    /// Adds a variable and returns its index.
    pub fn variable(&mut self, cost: f64, bounds: (f64, f64)) -> usize {
        self.cost.push(cost);
        self.bounds.push(bounds);
        self.cost.len() - 1
    }

    /// The cost of given values.
    pub fn cost_of(&self, values: &[f64]) -> f64 {
        let squares: f64 =
            self.squares.iter().map(|(terms, c)| (dot(terms, values) + c).powi(2)).sum();
        let linear: f64 = self.cost.iter().zip(values).map(|(cost, value)| cost * value).sum();
        0.5 * squares + linear
    }
}

/// The sum of the terms at given values.
pub(super) fn dot(terms: &[(usize, f64)], values: &[f64]) -> f64 {
    terms.iter().map(|&(variable, coefficient)| coefficient * values[variable]).sum()
}

/// An answer that meets the conditions of an optimum as well as this needs no more polishing.
const SHARP: f64 = 1e-10;

/// An answer that the solver itself does not call solved is taken only if the conditions of an
/// optimum, which are proof by themselves, are measured to hold this well.
const MEASURED: f64 = 1e-8;

/// Programs with no more terms in their rows and squares than this are solved as a whole.
const AS_A_WHOLE: usize = 6000;

/// Steps of refinement, at most.
const REFINED: usize = 20;

/// The same where the factor is of a system with fewer terms.
const REFINED_LIKE: usize = 6;

/// How the tight rows are told from the slack ones.
#[derive(Clone, Copy)]
enum Tight {
    MultiplierAboveSlack,
    SlackBelow(f64),
}

/// Guesses, the best first.
const GUESSES: [Tight; 3] =
    [Tight::MultiplierAboveSlack, Tight::SlackBelow(1e-7), Tight::SlackBelow(1e-5)];

/// Solves a program: by guessing which rows are tight where its squares determine everything; else
/// a small one as a whole, a large one by an interior point of our own, or where that does not settle a
/// part of its rows at a time.
///
/// # Errors
/// [`Failure::Infeasible`] and [`Failure::Unsettled`].
///
/// # References
/// The polishing step: Stellato et al., *OSQP: an operator splitting solver for quadratic
/// programs*, Math. Prog. Comp. 12 (2020), section 4; checked here against enumeration of
/// vertices and by measuring the Karush-Kuhn-Tucker conditions of every answer.
pub(super) fn minimise(program: &Program) -> Result<Optimum, Failure> {
    if let Some(optimum) = active::minimise(program) {
        return Ok(optimum);
    }
    let rows = program.equal.iter().chain(&program.at_most).map(|row| row.terms.len());
    let squares = program.squares.iter().map(|(terms, _)| terms.len());
    if rows.chain(squares).sum::<usize>() <= AS_A_WHOLE {
        as_a_whole(program)
    } else {
        inward::minimise(program).map_or_else(|| rounds::minimise(program), Ok)
    }
}

/// What the arithmetic leaves beside a bound belongs on it.
fn on_bounds(value: f64, lower: f64, upper: f64) -> f64 {
    let value = value.clamp(lower, upper);
    if (value - lower).abs() < 1e-8 {
        lower
    } else if (value - upper).abs() < 1e-8 {
        upper
    } else {
        value
    }
}

/// Solves a program with all of its rows at once.
pub(super) fn as_a_whole(program: &Program) -> Result<Optimum, Failure> {
    let standard = Standard::of(program);
    if standard.n_variables == 0 {
        let met = standard.rows.iter().enumerate().all(|(row_idx, row)| {
            if row_idx < standard.n_equal { row.limit.abs() < 1e-9 } else { row.limit > -1e-9 }
        });
        let answer = Answer { values: vec![], multipliers: vec![0.0; standard.rows.len()] };
        return if met { Ok(standard.optimum(program, answer)) } else { Err(Failure::Infeasible) };
    }
    let found =
        standard.interior_point(&vec![0.0; standard.n_variables]).map_err(|no| no.failure)?;
    let best = standard.polished(&standard, found.answer);
    if !found.settled && standard.departure(&best) > MEASURED {
        return Err(Failure::Unsettled);
    }
    Ok(standard.optimum(program, best))
}

/// A symmetric system with a few unknowns that meet nearly every other one, such as a free height.
///
/// Those would fill the sparse factor of the whole, so they are kept out of it: the rest is
/// factored alone, and they are solved from the small system that is left (the Schur complement).
struct Bordered {
    rest: Lu<usize, f64>,
    /// Place of each unknown: among the rest, or in the border.
    place: Vec<Place>,
    /// For each unknown of the border: its column over the rest, and that column solved.
    border: Vec<(Col<f64>, Col<f64>)>,
    small: Option<PartialPivLu<f64>>,
    n_rest: usize,
}

#[derive(Clone, Copy)]
enum Place {
    Rest(usize),
    Border(usize),
}

/// An unknown that meets more others than this is kept out of the sparse factor.
const MEETS_MANY: usize = 200;

impl Bordered {
    fn new(size: usize, triplets: Vec<Triplet<usize, usize, f64>>) -> Option<Self> {
        let mut meets = vec![0_usize; size];
        for triplet in &triplets {
            meets[triplet.row] += 1;
        }
        let (mut n_rest, mut n_border) = (0, 0);
        let place: Vec<Place> = meets
            .iter()
            .map(|&meets| {
                let next = if meets > MEETS_MANY { &mut n_border } else { &mut n_rest };
                *next += 1;
                if meets > MEETS_MANY {
                    Place::Border(n_border - 1)
                } else {
                    Place::Rest(n_rest - 1)
                }
            })
            .collect();
        let mut within = Vec::with_capacity(triplets.len());
        let mut columns = vec![Col::<f64>::zeros(n_rest); n_border];
        let mut corner = Mat::<f64>::zeros(n_border, n_border);
        for Triplet { row, col, val } in triplets {
            match (place[row], place[col]) {
                (Place::Rest(row), Place::Rest(col)) => within.push(Triplet::new(row, col, val)),
                (Place::Rest(row), Place::Border(col)) => columns[col][row] += val,
                (Place::Border(row), Place::Border(col)) => corner[(row, col)] += val,
                // The system is symmetric: this is the mirror of a column.
                (Place::Border(_), Place::Rest(_)) => {}
            }
        }
        let rest =
            SparseColMat::try_new_from_triplets(n_rest, n_rest, &within).ok()?.sp_lu().ok()?;
        let border: Vec<(Col<f64>, Col<f64>)> = columns
            .into_iter()
            .map(|column| {
                let solved = rest.solve(&column);
                (column, solved)
            })
            .collect();
        for (row, (column, _)) in border.iter().enumerate() {
            for (col, (_, solved)) in border.iter().enumerate() {
                let met: f64 = column.transpose() * solved;
                corner[(row, col)] -= met;
            }
        }
        let small = (n_border > 0).then(|| corner.partial_piv_lu());
        Some(Self { rest, place, border, small, n_rest })
    }

    fn solve(&self, right: &Col<f64>) -> Col<f64> {
        let mut of_rest = Col::<f64>::zeros(self.n_rest);
        let mut of_border = Col::<f64>::zeros(self.border.len());
        for (unknown, place) in self.place.iter().enumerate() {
            match *place {
                Place::Rest(at) => of_rest[at] = right[unknown],
                Place::Border(at) => of_border[at] = right[unknown],
            }
        }
        let mut rest = self.rest.solve(&of_rest);
        if let Some(small) = &self.small {
            for (at, (column, _)) in self.border.iter().enumerate() {
                let met: f64 = column.transpose() * &rest;
                of_border[at] -= met;
            }
            of_border = small.solve(&of_border);
            for (at, (_, solved)) in self.border.iter().enumerate() {
                rest -= solved * faer::Scale(of_border[at]);
            }
        }
        Col::from_fn(self.place.len(), |unknown| match self.place[unknown] {
            Place::Rest(at) => rest[at],
            Place::Border(at) => of_border[at],
        })
    }
}

/// Whether some direction of the variables changes none of the squares: then the least squares
/// are the same for many answers.
pub(super) fn has_flat_direction(program: &Program) -> bool {
    let n_variables = program.bounds.len();
    let alone = |(terms, _): &(Terms, f64)| match terms.as_slice() {
        [(variable, coefficient)] if coefficient.abs() > 0.1 => Some(*variable),
        _ => None,
    };
    // A square of its own for every variable leaves no flat direction: there is nothing to compute.
    let alone: BTreeSet<usize> = program.squares.iter().filter_map(alone).collect();
    if n_variables > 0 && alone.len() == n_variables {
        return false;
    }
    let quadratic = quadratic_part(&program.squares, n_variables);
    let largest = quadratic.iter().filter(|e| e.0 == e.1).map(|e| e.2).fold(0.0_f64, f64::max);
    if n_variables == 0 || largest == 0.0 {
        return n_variables > 0;
    }
    let shift = 1e-9 * largest;
    let lower = quadratic
        .iter()
        .map(|&(row, column, value)| Triplet::new(column, row, value))
        .chain((0..n_variables).map(|variable| Triplet::new(variable, variable, shift)))
        .collect::<Vec<_>>();
    let Ok(matrix) = SparseColMat::try_new_from_triplets(n_variables, n_variables, &lower) else {
        return true;
    };
    let Ok(factor) = matrix.sp_cholesky(Side::Lower) else { return true };
    // Inverse iteration from a start without pattern converges on the flattest direction.
    let mut direction = Col::from_fn(n_variables, |i| 1.0 + (i as f64 * 0.618_034).fract());
    let mut smallest = largest;
    for _ in 0..12 {
        direction = &direction * (1.0 / direction.norm_l2());
        direction = factor.solve(&direction);
        smallest = 1.0 / direction.norm_l2() - shift;
    }
    smallest < 1e-7 * largest
}

/// The program as the solver wants it: equations first, then rows that are at most their limit,
/// then bounds; every row divided by its largest coefficient.
struct Standard {
    n_variables: usize,
    n_equal: usize,
    n_at_most: usize,
    /// The terms whose squares are halved and summed.
    squares: Vec<Terms>,
    /// The same as a matrix: upper triangle, sorted by column then row, one entry to a place.
    quadratic: Vec<(usize, usize, f64)>,
    linear: Vec<f64>,
    rows: Vec<Row>,
    row_scales: Vec<f64>,
    /// Which bound each row after the `at_most` rows stands for: variable, and whether upper.
    bound_rows: Vec<(usize, bool)>,
}

#[derive(Clone)]
struct Answer {
    values: Vec<f64>,
    multipliers: Vec<f64>,
}

/// What the solver found, and whether the solver itself calls it solved.
struct Found {
    answer: Answer,
    settled: bool,
}

/// Why the solver stopped without an answer; where it says that there is none, the multipliers
/// that it offers as proof.
struct Stopped {
    failure: Failure,
    proof: Vec<f64>,
}

impl Standard {
    fn of(program: &Program) -> Self {
        let mut standard = Self::without_matrix(program);
        standard.quadratic = quadratic_part(&program.squares, standard.n_variables);
        standard
    }

    /// The same without the quadratic cost as a matrix, which is a large one where squares have
    /// many terms.
    fn without_matrix(program: &Program) -> Self {
        let n_variables = program.bounds.len();
        let mut linear = program.cost.clone();
        for (terms, constant) in &program.squares {
            for &(variable, coefficient) in terms {
                linear[variable] += coefficient * constant;
            }
        }
        let mut rows = Vec::new();
        let mut row_scales = Vec::new();
        for row in program.equal.iter().chain(&program.at_most) {
            let scale = row.scale();
            let terms = row.terms.iter().map(|&(v, c)| (v, c / scale)).collect();
            rows.push(Row { terms, limit: row.limit / scale });
            row_scales.push(scale);
        }
        let mut bound_rows = Vec::new();
        for (variable, &(lower, upper)) in program.bounds.iter().enumerate() {
            if lower.is_finite() {
                rows.push(Row { terms: vec![(variable, -1.0)], limit: -lower });
                bound_rows.push((variable, false));
            }
            if upper.is_finite() {
                rows.push(Row { terms: vec![(variable, 1.0)], limit: upper });
                bound_rows.push((variable, true));
            }
        }
        row_scales.resize(rows.len(), 1.0);
        Self {
            n_variables,
            n_equal: program.equal.len(),
            n_at_most: program.at_most.len(),
            squares: program.squares.iter().map(|(terms, _)| terms.clone()).collect(),
            quadratic: Vec::new(),
            linear,
            rows,
            row_scales,
            bound_rows,
        }
    }

    /// Solves for the change from given values: the solver's tolerances are shares of the cost and
    /// of the limits, and are finer the smaller those are.
    fn interior_point(&self, from: &[f64]) -> Result<Found, Stopped> {
        let stopped = |failure| Stopped { failure, proof: Vec::new() };
        let n_rows = self.rows.len();
        let limits: Vec<f64> =
            self.rows.iter().map(|row| row.limit - dot(&row.terms, from)).collect();
        let mut linear = self.linear.clone();
        for &(row, column, value) in &self.quadratic {
            linear[row] += value * from[column];
            if row != column {
                linear[column] += value * from[row];
            }
        }
        let (mut i, mut j, mut v) = (Vec::new(), Vec::new(), Vec::new());
        for (row_idx, row) in self.rows.iter().enumerate() {
            for &(variable, coefficient) in &row.terms {
                i.push(row_idx);
                j.push(variable);
                v.push(coefficient);
            }
        }
        let matrix = CscMatrix::new_from_triplets(n_rows, self.n_variables, i, j, v);
        let quadratic = CscMatrix::new_from_triplets(
            self.n_variables,
            self.n_variables,
            self.quadratic.iter().map(|entry| entry.0).collect(),
            self.quadratic.iter().map(|entry| entry.1).collect(),
            self.quadratic.iter().map(|entry| entry.2).collect(),
        );
        let mut cones: Vec<SupportedConeT<f64>> = Vec::new();
        if self.n_equal > 0 {
            cones.push(ZeroConeT(self.n_equal));
        }
        if n_rows > self.n_equal {
            cones.push(NonnegativeConeT(n_rows - self.n_equal));
        }
        let settings = DefaultSettings {
            verbose: false,
            max_threads: 1,
            direct_solve_method: "qdldl".to_owned(),
            ..DefaultSettings::default()
        };
        let mut solver =
            DefaultSolver::new(&quadratic, &linear, &matrix, &limits, &cones, settings)
                .map_err(|_| stopped(Failure::Unsettled))?;
        solver.solve();
        let solution = solver.solution;
        let settled = match solution.status {
            SolverStatus::Solved => true,
            SolverStatus::AlmostSolved | SolverStatus::InsufficientProgress => false,
            SolverStatus::PrimalInfeasible => {
                return Err(Stopped { failure: Failure::Infeasible, proof: solution.z });
            }
            _ => return Err(stopped(Failure::Unsettled)),
        };
        let values = solution.x.iter().zip(from).map(|(change, from)| change + from).collect();
        Ok(Found { answer: Answer { values, multipliers: solution.z }, settled })
    }

    /// The best of an answer and what polishing makes of it. `thin` is the standard itself, or
    /// one like it with fewer terms whose answer it is.
    fn polished(&self, thin: &Self, raw: Answer) -> Answer {
        // Which rows are tight is a guess where slack and multiplier are both small: try a few.
        let mut best = None;
        for guess in GUESSES {
            let polished = self.polish(thin, &raw, guess);
            let departure = polished.as_ref().map_or(f64::INFINITY, |p| self.departure(p));
            if best.as_ref().is_none_or(|(least, _)| departure < *least) {
                best = polished.map(|polished| (departure, polished)).or(best);
            }
            if departure < SHARP {
                break;
            }
        }
        match best {
            Some((departure, polished)) if departure <= self.departure(&raw).max(SHARP) => polished,
            _ => raw,
        }
    }

    /// Holds the tight rows as equations and solves them with the stationarity condition.
    ///
    /// The system may be singular (several answers, or rows that repeat one another), so it is
    /// shifted a little and the shift is taken out again by refinement, together with the terms
    /// that `thin` leaves out.
    fn polish(&self, thin: &Self, raw: &Answer, guess: Tight) -> Option<Answer> {
        const SHIFT: f64 = 1e-7;
        let tight: Vec<usize> = (0..self.rows.len())
            .filter(|&row_idx| {
                let slack = thin.rows[row_idx].limit - dot(&thin.rows[row_idx].terms, &raw.values);
                let is_tight = match guess {
                    Tight::MultiplierAboveSlack => raw.multipliers[row_idx] > slack,
                    Tight::SlackBelow(limit) => slack < limit,
                };
                row_idx < self.n_equal || is_tight
            })
            .collect();
        let n = self.n_variables;
        let size = n + tight.len();
        let mut triplets = Vec::new();
        for &(row, column, value) in &thin.quadratic {
            triplets.push(Triplet::new(row, column, value));
            if row != column {
                triplets.push(Triplet::new(column, row, value));
            }
        }
        triplets.extend((0..n).map(|variable| Triplet::new(variable, variable, SHIFT)));
        for (tight_idx, &row_idx) in tight.iter().enumerate() {
            for &(variable, coefficient) in &thin.rows[row_idx].terms {
                triplets.push(Triplet::new(n + tight_idx, variable, coefficient));
                triplets.push(Triplet::new(variable, n + tight_idx, coefficient));
            }
            triplets.push(Triplet::new(n + tight_idx, n + tight_idx, -SHIFT));
        }
        let factor = Bordered::new(size, triplets)?;

        let mut polished =
            Answer { values: raw.values.clone(), multipliers: vec![0.0; self.rows.len()] };
        for &row_idx in &tight {
            polished.multipliers[row_idx] = raw.multipliers[row_idx];
        }
        let system = |step: &Col<f64>| {
            let mut out = Col::<f64>::zeros(size);
            for terms in &self.squares {
                let by: f64 = terms.iter().map(|&(variable, c)| c * step[variable]).sum();
                terms.iter().for_each(|&(variable, c)| out[variable] += c * by);
            }
            for (tight_idx, &row_idx) in tight.iter().enumerate() {
                for &(variable, c) in &self.rows[row_idx].terms {
                    out[variable] += c * step[n + tight_idx];
                    out[n + tight_idx] += c * step[variable];
                }
            }
            out
        };
        let is_like = !std::ptr::eq(self, thin);
        let mut least = f64::INFINITY;
        for _ in 0..if is_like { REFINED_LIKE } else { REFINED } {
            let gradient = self.gradient(&polished);
            let missing = |i: usize| {
                let row = &self.rows[tight[i - n]];
                row.limit - dot(&row.terms, &polished.values)
            };
            let residual = Col::from_fn(size, |i| if i < n { -gradient[i] } else { missing(i) });
            let left = residual.norm_max();
            let idle = is_like && left > 0.5 * least;
            least = least.min(left);
            if left < 1e-13 || idle || left.is_nan() {
                break;
            }
            let step = if is_like {
                krylov::solve(system, |right| factor.solve(right), &residual)
            } else {
                factor.solve(&residual)
            };
            for variable in 0..n {
                polished.values[variable] += step[variable];
            }
            for (tight_idx, &row_idx) in tight.iter().enumerate() {
                polished.multipliers[row_idx] += step[n + tight_idx];
            }
        }
        polished.values.iter().all(|value| value.is_finite()).then_some(polished)
    }

    /// The slope of the cost plus the pull of the rows: zero at an optimum.
    fn gradient(&self, answer: &Answer) -> Vec<f64> {
        let mut gradient = self.linear.clone();
        for terms in &self.squares {
            let size = dot(terms, &answer.values);
            for &(variable, coefficient) in terms {
                gradient[variable] += coefficient * size;
            }
        }
        for (row, multiplier) in self.rows.iter().zip(&answer.multipliers) {
            for &(variable, coefficient) in &row.terms {
                gradient[variable] += coefficient * multiplier;
            }
        }
        gradient
    }

    /// The worst departure from the conditions of an optimum: rows met, as it is; multipliers not
    /// negative and no slope left, relative to the multipliers; no pull from a slack row,
    /// relative to the cost. NaN counts as infinitely bad.
    fn departure(&self, answer: &Answer) -> f64 {
        let size = |numbers: &[f64]| 1.0 + numbers.iter().map(|n| n.abs()).fold(0.0, worse);
        let pull = size(&answer.multipliers);
        let linear = self.linear.iter().zip(&answer.values).map(|(c, v)| (c * v).abs());
        let cost = 1.0 + linear.sum::<f64>();
        let mut worst = (size(&self.gradient(answer)) - 1.0) / pull;
        for (row_idx, row) in self.rows.iter().enumerate() {
            let slack = row.limit - dot(&row.terms, &answer.values);
            let multiplier = answer.multipliers[row_idx];
            let departure = if row_idx < self.n_equal {
                slack.abs()
            } else {
                (-slack).max(-multiplier / pull).max((slack * multiplier).abs() / cost)
            };
            worst = worse(worst, departure);
        }
        worst
    }

    /// All departures from the conditions of an optimum together: a few large ones that the next
    /// round puts right count less than a thousand small ones.
    fn sum_of_departures(&self, answer: &Answer) -> f64 {
        let slopes: f64 = self.gradient(answer).iter().map(|slope| slope.abs()).sum();
        let of_row = |(row_idx, (row, multiplier)): (usize, (&Row, &f64))| {
            let slack = row.limit - dot(&row.terms, &answer.values);
            if row_idx < self.n_equal {
                slack.abs()
            } else {
                (-slack).max(0.0) + (-multiplier).max(0.0) + slack.abs().min(multiplier.abs())
            }
        };
        let rows = self.rows.iter().zip(&answer.multipliers).enumerate().map(of_row);
        let sum = slopes + rows.sum::<f64>();
        if sum.is_nan() { f64::INFINITY } else { sum }
    }

    fn optimum(&self, program: &Program, mut answer: Answer) -> Optimum {
        let accuracy = self.departure(&answer);
        for (value, &(lower, upper)) in answer.values.iter_mut().zip(&program.bounds) {
            *value = on_bounds(*value, lower, upper);
        }
        let row_multipliers = (self.n_equal..self.n_equal + self.n_at_most)
            .map(|row_idx| (answer.multipliers[row_idx] / self.row_scales[row_idx]).max(0.0))
            .collect();
        let mut bound_multipliers = vec![(0.0, 0.0); self.n_variables];
        let first_bound = self.n_equal + self.n_at_most;
        for (&(variable, upper), &multiplier) in
            self.bound_rows.iter().zip(&answer.multipliers[first_bound..])
        {
            let pair: &mut (f64, f64) = &mut bound_multipliers[variable];
            *(if upper { &mut pair.1 } else { &mut pair.0 }) = multiplier.max(0.0);
        }
        Optimum { values: answer.values, row_multipliers, bound_multipliers, accuracy }
    }
}

fn worse(a: f64, b: f64) -> f64 {
    if b.is_nan() { f64::INFINITY } else { a.max(b) }
}

/// The sum of the squares as a matrix: upper triangle, by column and then by row.
fn quadratic_part(squares: &[(Terms, f64)], n_variables: usize) -> Vec<(usize, usize, f64)> {
    let mut squares_of = vec![Vec::new(); n_variables];
    for (square_idx, (terms, _)) in squares.iter().enumerate() {
        for &(variable, coefficient) in terms {
            squares_of[variable].push((square_idx, coefficient));
        }
    }
    let mut entries = Vec::new();
    let mut sums = vec![0.0; n_variables];
    let mut met = Vec::new();
    for (column, of_column) in squares_of.iter().enumerate() {
        for &(square_idx, coefficient) in of_column {
            for &(row, other) in squares[square_idx].0.iter().filter(|term| term.0 <= column) {
                if sums[row] == 0.0 {
                    met.push(row);
                }
                sums[row] += coefficient * other;
            }
        }
        met.sort_unstable();
        for row in met.drain(..) {
            let sum = std::mem::take(&mut sums[row]);
            if sum != 0.0 {
                entries.push((row, column, sum));
            }
        }
    }
    entries
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Second method for a small linear program: try every corner.
    fn best_corner(cost: [f64; 2], rows: &[([f64; 2], f64)], upper: f64) -> Option<f64> {
        let mut lines: Vec<([f64; 2], f64)> = rows.to_vec();
        lines.extend([
            ([-1.0, 0.0], 0.0),
            ([0.0, -1.0], 0.0),
            ([1.0, 0.0], upper),
            ([0.0, 1.0], upper),
        ]);
        let mut best: Option<f64> = None;
        for first in 0..lines.len() {
            for second in first + 1..lines.len() {
                let ([a, b], e) = lines[first];
                let ([c, d], f) = lines[second];
                let determinant = a * d - b * c;
                if determinant.abs() < 1e-9 {
                    continue;
                }
                let corner = [(e * d - b * f) / determinant, (a * f - e * c) / determinant];
                let inside = |&([a, b], limit): &([f64; 2], f64)| {
                    a * corner[0] + b * corner[1] <= limit + 1e-7
                };
                if lines.iter().all(inside) {
                    let value = cost[0] * corner[0] + cost[1] * corner[1];
                    best = Some(best.map_or(value, |known| known.min(value)));
                }
            }
        }
        best
    }

    proptest! {
        /// Second method: the lowest cost at a corner of the allowed region.
        #[test]
        fn linear_optimum_is_the_best_corner(
            cost in prop::array::uniform2(-3i32..=3),
            rows in prop::collection::vec((prop::array::uniform2(-3i32..=3), -4i32..=12), 0..6),
        ) {
            let cost = cost.map(f64::from);
            let rows: Vec<_> =
                rows.into_iter().map(|(c, limit)| (c.map(f64::from), f64::from(limit))).collect();
            let program = Program {
                cost: cost.to_vec(),
                at_most: rows
                    .iter()
                    .map(|&([a, b], limit)| Row { terms: vec![(0, a), (1, b)], limit })
                    .collect(),
                bounds: vec![(0.0, 10.0); 2],
                ..Program::default()
            };
            match (minimise(&program), best_corner(cost, &rows, 10.0)) {
                (Ok(found), Some(best)) => {
                    let value = program.cost_of(&found.values);
                    prop_assert!((value - best).abs() < 1e-6, "{value} {best}");
                }
                (Err(_), None) => {}
                (found, best) => prop_assert!(false, "{found:?} against {best:?}"),
            }
        }

        /// A strictly convex program meets the conditions of an optimum to rounding.
        #[test]
        fn quadratic_answers_meet_the_conditions(
            wanted in prop::collection::vec(-30.0..30.0_f64, 1..12),
            limit in 0.5..20.0_f64,
        ) {
            let n = wanted.len();
            let mut program = Program::default();
            for &value in &wanted {
                let variable = program.variable(0.0, (0.0, 15.0));
                program.squares.push((vec![(variable, 1.0)], -value));
            }
            for pair in 1..n {
                program.at_most.push(Row { terms: vec![(pair, 1.0), (pair - 1, -1.0)], limit });
            }
            let found = minimise(&program).unwrap();
            prop_assert!(found.accuracy < 1e-6, "{}", found.accuracy);
        }
    }

    #[test]
    fn no_variables_is_a_question_about_the_limits() {
        let with =
            |limit| Program { at_most: vec![Row { terms: vec![], limit }], ..Program::default() };
        assert!(minimise(&with(1.0)).unwrap().values.is_empty());
        assert_eq!(minimise(&with(-1.0)).unwrap_err(), Failure::Infeasible);
    }

    /// Second method: the same system as a whole, by the plain sparse factor.
    #[test]
    fn a_bordered_system_is_solved_as_the_whole_one() {
        let size: usize = 320;
        let mut triplets = Vec::new();
        for unknown in 0..size {
            triplets.push(Triplet::new(unknown, unknown, 4.0 + (unknown % 7) as f64));
            if unknown + 1 < size {
                triplets.push(Triplet::new(unknown, unknown + 1, -1.0));
                triplets.push(Triplet::new(unknown + 1, unknown, -1.0));
            }
            for (many, value) in [(17_usize, 0.25), (200, -0.5)] {
                if unknown.abs_diff(many) > 1 {
                    triplets.push(Triplet::new(unknown, many, value));
                    triplets.push(Triplet::new(many, unknown, value));
                }
            }
        }
        let whole = SparseColMat::try_new_from_triplets(size, size, &triplets).unwrap();
        let bordered = Bordered::new(size, triplets).unwrap();
        assert_eq!(bordered.border.len(), 2);
        let right = Col::from_fn(size, |unknown| (unknown as f64 * 0.7).sin());
        let expected = whole.sp_lu().unwrap().solve(&right);
        assert!((bordered.solve(&right) - expected).norm_max() < 1e-10);
    }

    #[test]
    fn no_rows_at_all_is_plain_least_squares() {
        let mut program = Program::default();
        let height = program.variable(0.0, (f64::NEG_INFINITY, f64::INFINITY));
        program.squares = [3.0, 5.0, 10.0].map(|level| (vec![(height, 1.0)], -level)).to_vec();
        let found = minimise(&program).unwrap();
        assert!((found.values[0] - 6.0).abs() < 1e-9);
    }

    #[test]
    fn two_variables_that_only_act_together_are_flat() {
        let mut program = Program::default();
        program.variable(0.0, (0.0, 1.0));
        program.variable(0.0, (0.0, 1.0));
        program.squares.push((vec![(0, 1.0), (1, 1.0)], -1.0));
        assert!(has_flat_direction(&program));
        program.squares.push((vec![(0, 1.0)], 0.0));
        assert!(!has_flat_direction(&program));
    }
}
