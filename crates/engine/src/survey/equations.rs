//! Weighted rows of a least-squares system, and how they are solved.

use super::dense::DenseFactor;
use super::sparse::SparseFactor;

/// Up to this many unknowns a full matrix is quick, and its digits are better.
const DENSE_UNKNOWNS: usize = 300;
/// Up to this many entries a full matrix is built at all when the sparse way goes badly.
const DENSE_ENTRIES: usize = 3_000_000;
/// Below this ratio of a pivot to the diagonal it came from, normal equations have lost more
/// digits than a level can spare.
const TOUCHY_PIVOT_RATIO: f64 = 1e-11;
/// Corrections after a solution through normal equations; the second only confirms.
const REFINEMENTS: usize = 2;

/// Which way to solve.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) enum Solver {
    /// By size and by how touchy the system is.
    #[default]
    Auto,
    /// A full matrix.
    #[cfg(test)]
    Dense,
    /// Sparse normal equations.
    #[cfg(test)]
    Sparse,
}

/// Rows `sum of factor * unknown = rhs`, each already divided by its standard deviation.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Rows {
    n_unknowns: usize,
    starts: Vec<usize>,
    terms: Vec<(usize, f64)>,
    rhs: Vec<f64>,
}

impl Rows {
    pub(crate) fn new(n_unknowns: usize) -> Self {
        Self { n_unknowns, starts: vec![0], terms: Vec::new(), rhs: Vec::new() }
    }

    pub(crate) fn push(&mut self, terms: &[(usize, f64)], rhs: f64) {
        self.terms.extend_from_slice(terms);
        self.starts.push(self.terms.len());
        self.rhs.push(rhs);
    }

    pub(crate) fn n_unknowns(&self) -> usize {
        self.n_unknowns
    }

    pub(crate) fn len(&self) -> usize {
        self.rhs.len()
    }

    pub(crate) fn terms(&self, row: usize) -> &[(usize, f64)] {
        &self.terms[self.starts[row]..self.starts[row + 1]]
    }

    pub(crate) fn rhs(&self, row: usize) -> f64 {
        self.rhs[row]
    }

    /// Row times unknowns, less the right-hand side.
    pub(crate) fn residual(&self, row: usize, unknowns: &[f64]) -> f64 {
        dot(self.terms(row), unknowns) - self.rhs[row]
    }

    pub(crate) fn residuals(&self, unknowns: &[f64]) -> Vec<f64> {
        (0..self.len()).map(|row| self.residual(row, unknowns)).collect()
    }
}

/// A sparse row times a full vector.
pub(crate) fn dot(terms: &[(usize, f64)], vector: &[f64]) -> f64 {
    terms.iter().map(|&(unknown, factor)| factor * vector[unknown]).sum()
}

/// The cofactors of the unknowns, whole or where the pattern has them.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Factor {
    Dense(DenseFactor),
    Sparse(SparseFactor),
}

impl Factor {
    /// Cofactor of two unknowns that meet in an observation (dense: of any two).
    pub(crate) fn entry(&self, one: usize, other: usize) -> f64 {
        match self {
            Self::Dense(dense) => dense.entry(one, other),
            Self::Sparse(sparse) => sparse.entry(one, other),
        }
    }

    /// The cofactor matrix times a sparse vector.
    pub(crate) fn apply_terms(&self, terms: &[(usize, f64)], n_unknowns: usize) -> Vec<f64> {
        let mut vector = vec![0.0; n_unknowns];
        match self {
            Self::Dense(dense) => {
                for &(unknown, factor) in terms {
                    dense.add_column(unknown, factor, &mut vector);
                }
            }
            Self::Sparse(sparse) => {
                for &(unknown, factor) in terms {
                    vector[unknown] += factor;
                }
                sparse.apply(&mut vector);
            }
        }
        vector
    }

    /// Cofactor of any sparse combination of unknowns.
    pub(crate) fn combination(&self, terms: &[(usize, f64)]) -> f64 {
        match self {
            Self::Dense(_) => self.quadratic(terms),
            Self::Sparse(sparse) => sparse.quadratic(terms),
        }
    }

    /// Cofactor of a sparse combination of unknowns that all meet in one observation.
    pub(crate) fn quadratic(&self, terms: &[(usize, f64)]) -> f64 {
        let mut sum = 0.0;
        for (at, &(one, one_factor)) in terms.iter().enumerate() {
            sum += one_factor * one_factor * self.entry(one, one);
            for &(other, other_factor) in &terms[at + 1..] {
                sum += 2.0 * one_factor * other_factor * self.entry(one, other);
            }
        }
        sum
    }
}

/// Solves the rows; `None` if they do not determine every unknown to working precision.
pub(crate) fn solve(rows: &Rows, solver: Solver) -> Option<(Vec<f64>, Factor)> {
    let dense = || {
        let (unknowns, factor) = DenseFactor::solve_rows(rows)?;
        Some((unknowns, Factor::Dense(factor)))
    };
    let entries = rows.len().saturating_mul(rows.n_unknowns());
    let solved = match solver {
        #[cfg(test)]
        Solver::Dense => dense(),
        #[cfg(test)]
        Solver::Sparse => solve_sparse(rows).map(|(unknowns, factor, _)| (unknowns, factor)),
        Solver::Auto if rows.n_unknowns() <= DENSE_UNKNOWNS && entries <= DENSE_ENTRIES => dense(),
        Solver::Auto => match solve_sparse(rows) {
            Some((unknowns, factor, ratio))
                if ratio > TOUCHY_PIVOT_RATIO || entries > DENSE_ENTRIES =>
            {
                Some((unknowns, factor))
            }
            _ if entries <= DENSE_ENTRIES => dense(),
            _ => None,
        },
    };
    solved.filter(|(unknowns, _)| unknowns.iter().all(|value| value.is_finite()))
}

fn solve_sparse(rows: &Rows) -> Option<(Vec<f64>, Factor, f64)> {
    let factor = SparseFactor::of_rows(rows)?;
    let mut unknowns = vec![0.0; rows.n_unknowns()];
    for _ in 0..=REFINEMENTS {
        let mut correction = vec![0.0; rows.n_unknowns()];
        for row in 0..rows.len() {
            let residual = rows.residual(row, &unknowns);
            for &(unknown, term) in rows.terms(row) {
                correction[unknown] -= term * residual;
            }
        }
        factor.apply(&mut correction);
        for (value, change) in unknowns.iter_mut().zip(&correction) {
            *value += change;
        }
    }
    let ratio = factor.smallest_pivot_ratio();
    Some((unknowns, Factor::Sparse(factor), ratio))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A long chain of firm differences on one loose tie: normal equations lose it, the full
    /// factorisation does not.
    #[test]
    fn touchy_rows_are_solved_in_full() {
        let n_unknowns = DENSE_UNKNOWNS + 50;
        let mut rows = Rows::new(n_unknowns);
        rows.push(&[(0, 1.0)], 7.0);
        for unknown in 1..n_unknowns {
            rows.push(&[(unknown - 1, -1e7), (unknown, 1e7)], 1e7);
        }
        let (unknowns, factor) = solve(&rows, Solver::Auto).unwrap();
        assert!(matches!(factor, Factor::Dense(_)));
        for (unknown, value) in unknowns.iter().enumerate() {
            assert!((value - (7.0 + unknown as f64)).abs() < 1e-6, "{unknown}: {value}");
        }
        assert!((factor.entry(n_unknowns - 1, n_unknowns - 1) - 1.0).abs() < 1e-6);
    }

    #[test]
    fn large_sound_rows_are_solved_sparsely() {
        let mut rows = Rows::new(DENSE_UNKNOWNS + 50);
        for unknown in 0..rows.n_unknowns() {
            rows.push(&[(unknown, 2.0)], 6.0);
        }
        let (unknowns, factor) = solve(&rows, Solver::Auto).unwrap();
        assert!(matches!(factor, Factor::Sparse(_)));
        assert!(unknowns.iter().all(|value| (value - 3.0).abs() < 1e-12));
    }
}
