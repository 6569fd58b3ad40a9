//! Large programs: a part of the rows at a time, with the largest of their terms.
//!
//! Two things make a lifting problem with a frame large: there are many more rows than are ever
//! tight, and each row has a long tail of small terms. So a program is solved in rounds:
//!
//! - Only the rows that were found broken so far, and the short ones, are in the program. An
//!   answer that keeps all the other rows as well is an answer to the whole program.
//! - Of long rows and squares only the largest terms are in the matrix that is factored. What the
//!   others contribute is carried over from the round before: to the limit and to the cost from
//!   its values, to the slope from its multipliers. Polishing takes out the rest, and only an
//!   answer that meets the conditions of an optimum *with every term* is taken.
//!
//! Where that does not settle, fewer terms are left out, at last none.

use super::{Answer, Failure, Optimum, Program, Row, Standard, Stopped, Terms, dot};
use super::{GUESSES, quadratic_part};

/// Rows with no more terms than this are in from the start.
const SHORT: usize = 4;

/// A row that is missed by less than this, in terms of its largest coefficient, is met.
const MET: f64 = 1e-8;

/// Shares of a row, by the sum of its coefficients without sign, that may be left out of the
/// matrix; the next is tried when one does not settle.
const LEFT_OUT: [f64; 3] = [0.04, 0.003, 0.0];

/// An answer that meets the conditions of an optimum as well as this is taken: millimetres for
/// the rows, shares of the multipliers for the cost. Most are met far better.
const SETTLED: f64 = 1e-6;

/// With no more variables than this, every guess at the tight rows is tried.
const SMALL: usize = 500;

/// A share by which many terms are left out.
const MANY: f64 = 0.01;

/// Rounds with each share.
const ROUNDS: usize = 25;

/// Rounds without a better answer after which less is left out.
const PATIENCE: usize = 3;

/// Solves a program in rounds.
///
/// # Errors
/// [`Failure::Infeasible`] is said only with a proof that holds for every term.
pub(in crate::target) fn minimise(program: &Program) -> Result<Optimum, Failure> {
    let mut rounds = Rounds::new(program);
    for share in LEFT_OUT {
        match rounds.run(share) {
            Err(Failure::Unsettled) => {}
            settled => return settled,
        }
    }
    Err(Failure::Unsettled)
}

struct Rounds<'a> {
    program: &'a Program,
    n_equal: usize,
    /// Whether each row, equations first, is in.
    is_in: Vec<bool>,
    /// The best values so far, and the multiplier of each row.
    values: Vec<f64>,
    multipliers: Vec<f64>,
}

/// The rows that are in, and the variables that they need.
struct Part {
    rows: Vec<usize>,
    variables: Vec<usize>,
    whole: Standard,
    bounds: Program,
}

impl<'a> Rounds<'a> {
    fn new(program: &'a Program) -> Self {
        let rows = program.equal.iter().chain(&program.at_most);
        let is_in: Vec<bool> = rows.map(|row| row.terms.len() <= SHORT).collect();
        Self {
            program,
            n_equal: program.equal.len(),
            multipliers: vec![0.0; is_in.len()],
            is_in,
            values: program.bounds.iter().map(|bounds| nearest_to_zero(*bounds)).collect(),
        }
    }

    fn row(&self, row_idx: usize) -> &'a Row {
        match row_idx.checked_sub(self.n_equal) {
            None => &self.program.equal[row_idx],
            Some(row_idx) => &self.program.at_most[row_idx],
        }
    }

    fn run(&mut self, share: f64) -> Result<Optimum, Failure> {
        let (mut least, mut idle) = (f64::INFINITY, 0);
        for _ in 0..ROUNDS {
            let part = self.part();
            let values = self.values_of(&part);
            let thin = part.thin(share, &values, &self.multipliers_of(&part));
            let found = match thin.interior_point(&values) {
                Ok(found) => found,
                Err(stopped) => return Err(part.failure(&stopped, share)),
            };
            let answer = part.polished(&thin, &found.answer, share == 0.0);
            let departure = part.whole.departure(&answer);
            self.keep(&part, &answer);
            let broken = self.broken();
            let good = departure <= SETTLED || (share == 0.0 && found.settled);
            if good && broken.is_empty() {
                return Ok(self.optimum(&part, answer));
            }
            idle = if departure < 0.5 * least || !broken.is_empty() { 0 } else { idle + 1 };
            least = least.min(departure);
            // With many terms left out, more rounds seldom help.
            if idle > if share > MANY { 1 } else { PATIENCE } {
                break;
            }
            for row_idx in broken {
                self.is_in[row_idx] = true;
            }
        }
        Err(Failure::Unsettled)
    }

    /// Variables that no row in needs and that cost something stay at their lower bound.
    fn part(&self) -> Part {
        let program = self.program;
        let rows: Vec<usize> = (0..self.is_in.len()).filter(|&row| self.is_in[row]).collect();
        let mut needed: Vec<bool> = program
            .cost
            .iter()
            .zip(&program.bounds)
            .map(|(cost, bounds)| *cost <= 0.0 || !bounds.0.is_finite())
            .collect();
        let in_rows = rows.iter().map(|&row_idx| &self.row(row_idx).terms);
        for terms in in_rows.chain(program.squares.iter().map(|(terms, _)| terms)) {
            terms.iter().for_each(|term| needed[term.0] = true);
        }
        let any_needed = needed.contains(&true);
        // The solver wants at least one variable.
        if let Some(first) = needed.first_mut().filter(|_| !any_needed) {
            *first = true;
        }
        let variables: Vec<usize> =
            (0..needed.len()).filter(|&variable| needed[variable]).collect();
        let mut place = vec![usize::MAX; needed.len()];
        for (at, &variable) in variables.iter().enumerate() {
            place[variable] = at;
        }
        let moved =
            |terms: &Terms| -> Terms { terms.iter().map(|&(v, c)| (place[v], c)).collect() };
        let row = |&row_idx: &usize| {
            let row = self.row(row_idx);
            Row { terms: moved(&row.terms), limit: row.limit }
        };
        let n_equal = rows.partition_point(|&row_idx| row_idx < self.n_equal);
        let bounds = Program {
            squares: program.squares.iter().map(|(terms, c)| (moved(terms), *c)).collect(),
            cost: variables.iter().map(|&variable| program.cost[variable]).collect(),
            equal: rows[..n_equal].iter().map(row).collect(),
            at_most: rows[n_equal..].iter().map(row).collect(),
            bounds: variables.iter().map(|&variable| program.bounds[variable]).collect(),
        };
        Part { rows, variables, whole: Standard::without_matrix(&bounds), bounds }
    }

    fn values_of(&self, part: &Part) -> Vec<f64> {
        part.variables.iter().map(|&variable| self.values[variable]).collect()
    }

    fn multipliers_of(&self, part: &Part) -> Vec<f64> {
        part.rows.iter().map(|&row_idx| self.multipliers[row_idx]).collect()
    }

    fn keep(&mut self, part: &Part, answer: &Answer) {
        for (value, &(lower, _)) in self.values.iter_mut().zip(&self.program.bounds) {
            *value = if lower.is_finite() { lower } else { 0.0 };
        }
        for (&variable, &value) in part.variables.iter().zip(&answer.values) {
            self.values[variable] = value;
        }
        for (&row_idx, &multiplier) in part.rows.iter().zip(&answer.multipliers) {
            self.multipliers[row_idx] = multiplier;
        }
    }

    /// Rows that are not in and that the values break, most broken first, as many as there are
    /// variables.
    fn broken(&self) -> Vec<usize> {
        let mut broken: Vec<(f64, usize)> = (0..self.is_in.len())
            .filter(|&row_idx| !self.is_in[row_idx])
            .filter_map(|row_idx| {
                let row = self.row(row_idx);
                let by = (dot(&row.terms, &self.values) - row.limit) / row.scale();
                let by = if row_idx < self.n_equal { by.abs() } else { by };
                (by > MET).then_some((by, row_idx))
            })
            .collect();
        broken.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
        broken.truncate(self.program.bounds.len().max(100));
        broken.into_iter().map(|(_, row_idx)| row_idx).collect()
    }

    /// The answer of a part as one of the program.
    fn optimum(&self, part: &Part, answer: Answer) -> Optimum {
        let of_part = part.whole.optimum(&part.bounds, answer);
        let program = self.program;
        let mut optimum = Optimum {
            values: self.values.clone(),
            row_multipliers: vec![0.0; program.at_most.len()],
            bound_multipliers: program.cost.iter().map(|cost| (*cost, 0.0)).collect(),
            accuracy: of_part.accuracy,
        };
        for (at, &variable) in part.variables.iter().enumerate() {
            optimum.values[variable] = of_part.values[at];
            optimum.bound_multipliers[variable] = of_part.bound_multipliers[at];
        }
        let at_most = part.rows.iter().filter_map(|row_idx| row_idx.checked_sub(self.n_equal));
        for (row_idx, multiplier) in at_most.zip(of_part.row_multipliers) {
            optimum.row_multipliers[row_idx] = multiplier;
        }
        optimum
    }
}

fn nearest_to_zero((lower, upper): (f64, f64)) -> f64 {
    0.0_f64.max(lower).min(upper)
}

impl Part {
    /// The solver's answer for the thin program, or what polishing with every term makes of it.
    fn polished(&self, thin: &Standard, raw: &Answer, is_last: bool) -> Answer {
        // The first guess is nearly always the best; the others cost as much as it does.
        let guesses = if is_last || self.variables.len() <= SMALL { 3 } else { 1 };
        let mut best = self.whole.sum_of_departures(raw);
        let mut answer = raw.clone();
        for guess in GUESSES.into_iter().take(guesses) {
            let Some(polished) = self.whole.polish(thin, raw, guess) else { continue };
            let sum = self.whole.sum_of_departures(&polished);
            if sum < best {
                (best, answer) = (sum, polished);
            }
            if best <= SETTLED {
                break;
            }
        }
        answer
    }

    /// The part with the small terms left out, made right at given values and multipliers.
    fn thin(&self, share: f64, values: &[f64], multipliers: &[f64]) -> Standard {
        let whole = &self.whole;
        let squares: Vec<(Terms, f64)> =
            whole.squares.iter().map(|terms| (largest_terms(terms, share), 0.0)).collect();
        let mut thin = Standard {
            n_variables: whole.n_variables,
            n_equal: whole.n_equal,
            n_at_most: whole.n_at_most,
            quadratic: quadratic_part(&squares, whole.n_variables),
            squares: Vec::new(),
            linear: whole.linear.clone(),
            rows: Vec::with_capacity(whole.rows.len()),
            row_scales: whole.row_scales.clone(),
            bound_rows: whole.bound_rows.clone(),
        };
        // The slope of the cost is right at the given values.
        for (full, (kept, _)) in whole.squares.iter().zip(&squares) {
            let by = dot(full, values);
            full.iter().for_each(|&(variable, c)| thin.linear[variable] += c * by);
            let by = dot(kept, values);
            kept.iter().for_each(|&(variable, c)| thin.linear[variable] -= c * by);
        }
        for (row_idx, row) in whole.rows.iter().enumerate() {
            let terms = largest_terms(&row.terms, share);
            let limit = row.limit - dot(&row.terms, values) + dot(&terms, values);
            if let Some(&multiplier) = multipliers.get(row_idx).filter(|m| **m != 0.0) {
                row.terms.iter().for_each(|&(v, c)| thin.linear[v] += c * multiplier);
                terms.iter().for_each(|&(v, c)| thin.linear[v] -= c * multiplier);
            }
            thin.rows.push(Row { terms, limit });
        }
        thin
    }

    /// What it means that the solver stopped: that there is no answer is believed only if the
    /// proof holds with every term.
    fn failure(&self, stopped: &Stopped, share: f64) -> Failure {
        let is_proved = share == 0.0 || self.is_impossible(&stopped.proof);
        if stopped.failure == Failure::Infeasible && is_proved {
            Failure::Infeasible
        } else {
            Failure::Unsettled
        }
    }

    /// Whether no values within the bounds meet the rows, weighted by the proof's multipliers and
    /// added up (Farkas' lemma, with the bounds taken exactly).
    fn is_impossible(&self, proof: &[f64]) -> bool {
        let n_rows = self.rows.len();
        if proof.len() < n_rows {
            return false;
        }
        let mut sum = vec![0.0; self.whole.n_variables];
        let mut limit = 0.0;
        let mut size = 0.0;
        for (row_idx, (row, &weight)) in self.whole.rows[..n_rows].iter().zip(proof).enumerate() {
            let weight = if row_idx < self.whole.n_equal { weight } else { weight.max(0.0) };
            row.terms.iter().for_each(|&(variable, c)| sum[variable] += c * weight);
            limit += weight * row.limit;
            size += weight.abs() * (1.0 + row.limit.abs());
        }
        let least: f64 = sum
            .iter()
            .zip(&self.bounds.bounds)
            .map(|(&c, &(lower, upper))| {
                if c.abs() <= 1e-12 * size {
                    0.0
                } else if c > 0.0 {
                    c * lower
                } else {
                    c * upper
                }
            })
            .sum();
        least > limit + 1e-9 * size
    }
}

/// The largest terms of a row; those left out add up to at most `share` of it, without sign. What
/// they add up to with sign is given to the largest, so that moving everything together stays right.
fn largest_terms(terms: &Terms, share: f64) -> Terms {
    if share == 0.0 || terms.len() <= super::rounds::SHORT {
        return terms.clone();
    }
    let mut kept = terms.clone();
    kept.sort_by(|a, b| b.1.abs().total_cmp(&a.1.abs()).then(a.0.cmp(&b.0)));
    let room = share * kept.iter().map(|term| term.1.abs()).sum::<f64>();
    let (mut left_out, mut with_sign) = (0.0, 0.0);
    while let Some(&(_, smallest)) = kept.last() {
        if left_out + smallest.abs() > room {
            break;
        }
        left_out += smallest.abs();
        with_sign += smallest;
        kept.pop();
    }
    if let Some(largest) = kept.first_mut() {
        largest.1 += with_sign;
    }
    kept.sort_by_key(|term| term.0);
    kept
}
