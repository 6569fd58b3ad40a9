//! Least squares on a large sparse survey, and the parts of the covariance that it needs.
//!
//! The normal equations are factorised sparsely; the inverse is then computed only where the
//! factor has entries (Takahashi's recursion). Those entries include every pair of unknowns that
//! meet in one observation, which is all that standard deviations and redundancy numbers need,
//! at memory in proportion to the factor.
//!
//! # References
//! Takahashi, Fagan and Chen 1973, as set out in Erisman and Tinney 1975 (from memory).

use super::equations::Rows;
use faer::Par;
use faer::Side;
use faer::dyn_stack::{MemBuffer, MemStack};
use faer::sparse::linalg::SupernodalThreshold;
use faer::sparse::linalg::cholesky::{
    CholeskySymbolicParams, SymbolicCholeskyRaw, SymmetricOrdering, factorize_symbolic_cholesky,
};
use faer::sparse::{SparseColMat, Triplet};

/// A Cholesky factor with the selected inverse on its pattern.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct SparseFactor {
    /// Place of each unknown in the elimination order.
    place: Vec<usize>,
    starts: Vec<usize>,
    rows: Vec<usize>,
    /// Lower triangle by columns, diagonal first, rows ascending.
    lower: Vec<f64>,
    /// The inverse at the same places.
    inverse: Vec<f64>,
    smallest_pivot_ratio: f64,
}

impl SparseFactor {
    /// Factorises the normal equations of weighted rows; `None` if they are not positive
    /// definite to working precision.
    pub(crate) fn of_rows(rows: &Rows) -> Option<Self> {
        let n_unknowns = rows.n_unknowns();
        let normal = normal_matrix(rows)?;
        let params = CholeskySymbolicParams {
            supernodal_flop_ratio_threshold: SupernodalThreshold::FORCE_SIMPLICIAL,
            ..Default::default()
        };
        let symbolic = factorize_symbolic_cholesky(
            normal.symbolic(),
            Side::Lower,
            SymmetricOrdering::Amd,
            params,
        )
        .ok()?;
        let mut lower = vec![0.0; symbolic.len_val()];
        let scratch = symbolic.factorize_numeric_llt_scratch::<f64>(Par::Seq, Default::default());
        let mut memory = MemBuffer::try_new(scratch).ok()?;
        symbolic
            .factorize_numeric_llt(
                &mut lower,
                normal.as_ref(),
                Side::Lower,
                Default::default(),
                Par::Seq,
                MemStack::new(&mut memory),
                Default::default(),
            )
            .ok()?;
        let SymbolicCholeskyRaw::Simplicial(pattern) = symbolic.raw() else {
            return None;
        };
        let place = match symbolic.perm() {
            Some(order) => order.arrays().1.to_vec(),
            None => (0..n_unknowns).collect(),
        };
        let mut factor = Self {
            place,
            starts: pattern.col_ptr().to_vec(),
            rows: pattern.row_idx().to_vec(),
            inverse: vec![0.0; lower.len()],
            lower,
            smallest_pivot_ratio: 1.0,
        };
        factor.smallest_pivot_ratio = factor.pivot_ratio(&normal);
        factor.fill_inverse();
        factor.is_finite().then_some(factor)
    }

    /// The smallest pivot beside the diagonal that it came from: how much of an unknown's own
    /// information the others leave it.
    pub(crate) fn smallest_pivot_ratio(&self) -> f64 {
        self.smallest_pivot_ratio
    }

    fn pivot_ratio(&self, normal: &SparseColMat<usize, f64>) -> f64 {
        let ratios = (0..self.place.len()).map(|unknown| {
            let pivot = self.lower[self.starts[self.place[unknown]]];
            pivot * pivot / normal.get(unknown, unknown).copied().unwrap_or(1.0)
        });
        ratios.fold(1.0, f64::min)
    }

    fn is_finite(&self) -> bool {
        self.lower.iter().chain(&self.inverse).all(|value| value.is_finite())
    }

    fn column(&self, column: usize) -> std::ops::Range<usize> {
        self.starts[column]..self.starts[column + 1]
    }

    /// Takahashi's recursion, from the last column to the first:
    /// `Z_ij = -(sum over k of Z_ik L_kj) / L_jj` below the diagonal and
    /// `Z_jj = 1 / L_jj^2 - (sum over k of Z_kj L_kj) / L_jj` on it.
    fn fill_inverse(&mut self) {
        let n_columns = self.place.len();
        let mut below = vec![0.0; n_columns];
        let mut in_column = vec![false; n_columns];
        let mut sums = vec![0.0; n_columns];
        for column in (0..n_columns).rev() {
            let diagonal = self.starts[column];
            let under = diagonal + 1..self.starts[column + 1];
            for at in under.clone() {
                let row = self.rows[at];
                (below[row], in_column[row], sums[row]) = (self.lower[at], true, 0.0);
            }
            for at in under.clone() {
                let other = self.rows[at];
                let factor = below[other];
                let mut sum = self.inverse[self.starts[other]] * factor;
                for cross in self.starts[other] + 1..self.starts[other + 1] {
                    let row = self.rows[cross];
                    if in_column[row] {
                        sum += self.inverse[cross] * below[row];
                        sums[row] += self.inverse[cross] * factor;
                    }
                }
                sums[other] += sum;
            }
            let pivot = self.lower[diagonal];
            let mut on_diagonal = 1.0 / pivot;
            for at in under {
                let row = self.rows[at];
                let entry = -sums[row] / pivot;
                self.inverse[at] = entry;
                on_diagonal -= entry * below[row];
                in_column[row] = false;
            }
            self.inverse[diagonal] = on_diagonal / pivot;
        }
    }

    /// An entry of the inverse for two unknowns that meet in an observation; zero for a pair
    /// outside the pattern.
    pub(crate) fn entry(&self, one: usize, other: usize) -> f64 {
        let (one, other) = (self.place[one], self.place[other]);
        let (column, row) = (one.min(other), one.max(other));
        let range = self.column(column);
        let start = range.start;
        self.rows[range].binary_search(&row).map_or(0.0, |at| self.inverse[start + at])
    }

    /// The inverse times a vector, by two triangular solves.
    pub(crate) fn apply(&self, vector: &mut [f64]) {
        let mut work = vec![0.0; self.place.len()];
        for (value, &place) in vector.iter().zip(&self.place) {
            work[place] = *value;
        }
        self.solve_lower(&mut work);
        for column in (0..work.len()).rev() {
            let range = self.column(column);
            let known: f64 =
                (range.start + 1..range.end).map(|at| self.lower[at] * work[self.rows[at]]).sum();
            work[column] = (work[column] - known) / self.lower[range.start];
        }
        for (value, &place) in vector.iter_mut().zip(&self.place) {
            *value = work[place];
        }
    }

    /// The inverse between a sparse vector and itself: the square of `L^-1` times the vector,
    /// for which one triangular solve will do.
    pub(crate) fn quadratic(&self, terms: &[(usize, f64)]) -> f64 {
        let mut work = vec![0.0; self.place.len()];
        for &(unknown, factor) in terms {
            work[self.place[unknown]] += factor;
        }
        self.solve_lower(&mut work);
        work.iter().map(|value| value * value).sum()
    }

    /// Solves with the lower triangle in place, in the elimination order.
    fn solve_lower(&self, work: &mut [f64]) {
        for column in 0..work.len() {
            if work[column] == 0.0 {
                continue;
            }
            let range = self.column(column);
            let value = work[column] / self.lower[range.start];
            work[column] = value;
            for at in range.start + 1..range.end {
                work[self.rows[at]] -= self.lower[at] * value;
            }
        }
    }
}

/// Lower triangle of the normal equations.
fn normal_matrix(rows: &Rows) -> Option<SparseColMat<usize, f64>> {
    let mut entries = Vec::new();
    for row in 0..rows.len() {
        let terms = rows.terms(row);
        for &(one, one_factor) in terms {
            for &(other, other_factor) in terms {
                if one >= other {
                    entries.push(Triplet::new(one, other, one_factor * other_factor));
                }
            }
        }
    }
    SparseColMat::try_new_from_triplets(rows.n_unknowns(), rows.n_unknowns(), &entries).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A ring of unknowns with a few chords and one tie to the ground.
    fn ring(n_unknowns: usize) -> Rows {
        let mut rows = Rows::new(n_unknowns);
        rows.push(&[(0, 1.0)], 0.5);
        for unknown in 0..n_unknowns {
            rows.push(&[(unknown, -1.0), ((unknown + 1) % n_unknowns, 1.0)], 0.1);
            rows.push(&[(unknown, -2.0), ((unknown + 5) % n_unknowns, 2.0)], -0.3);
        }
        rows
    }

    #[test]
    fn selected_inverse_is_what_the_solves_give() {
        let rows = ring(40);
        let factor = SparseFactor::of_rows(&rows).unwrap();
        for unknown in 0..40 {
            let mut column = vec![0.0; 40];
            column[unknown] = 1.0;
            factor.apply(&mut column);
            for other in [unknown, (unknown + 1) % 40, (unknown + 5) % 40] {
                let selected = factor.entry(other, unknown);
                assert!((selected - column[other]).abs() < 1e-12, "{unknown} {other}");
            }
        }
    }

    #[test]
    fn undetermined_unknowns_are_refused_or_show_in_the_pivots() {
        let mut rows = Rows::new(2);
        rows.push(&[(0, 1.0), (1, -1.0)], 0.0);
        let factor = SparseFactor::of_rows(&rows);
        assert!(factor.is_none_or(|factor| factor.smallest_pivot_ratio() < 1e-12));
    }
}
