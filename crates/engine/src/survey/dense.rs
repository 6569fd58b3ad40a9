//! Least squares by orthogonal (Householder) factorisation, for small or touchy systems.
//!
//! Forming normal equations loses half the digits; a QR factorisation of the design itself does
//! not. The price is a full matrix, so the large surveys go through
//! [`sparse`](super::sparse) instead.

use super::equations::Rows;
use faer::linalg::triangular_inverse::invert_upper_triangular;
use faer::{Mat, MatRef, Par};
use serde::Serialize;

/// A pivot this small beside the length of its column leaves nothing to solve for.
const SMALLEST_PIVOT_RATIO: f64 = 1e-15;

/// The answer of a least-squares fit with unit weights.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Fit {
    /// One for each column of the design.
    pub coefficients: Vec<f64>,
    /// Their standard deviations, from the scatter of this fit; `None` without spare
    /// observations.
    pub standard_deviations: Option<Vec<f64>>,
    /// Standard deviation of one observation, from the scatter of this fit.
    pub residual_sd: Option<f64>,
    /// Sum of the squared residuals.
    pub rss: f64,
    /// Observations less coefficients.
    pub redundancy: usize,
}

/// Why a fit is not possible.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum FitError {
    /// The design has no columns.
    #[error("there is nothing to fit: the design has no columns")]
    NoColumns,
    /// A row of the design has another length than the first, or no observation belongs to it.
    #[error("row {row} of the design has {found} numbers, expected {expected}")]
    Ragged {
        /// From 1.
        row: usize,
        /// Numbers in it.
        found: usize,
        /// Numbers in the first row.
        expected: usize,
    },
    /// Another number of observations than of rows.
    #[error("there are {observations} observations for {rows} rows")]
    CountsDiffer {
        /// Observations.
        observations: usize,
        /// Rows of the design.
        rows: usize,
    },
    /// Fewer observations than coefficients.
    #[error("{rows} observations cannot give {columns} coefficients")]
    TooFew {
        /// Observations.
        rows: usize,
        /// Coefficients.
        columns: usize,
    },
    /// A number that is infinite or NaN.
    #[error("row {0} holds a number that is not finite")]
    NotFinite(usize),
    /// A coefficient that the observations do not determine.
    #[error("coefficient {0} is not determined by the observations")]
    Undetermined(usize),
}

/// Fits `design * coefficients` to what was observed, with unit weights.
///
/// # Units and sign
/// Plain ratios: the caller knows what the columns stand for.
///
/// # Errors
/// [`FitError`] says what does not fit together; rows and coefficients are numbered from 1.
///
/// # Examples
/// ```
/// use floorwright_engine::survey::least_squares;
/// let fit = least_squares(&[vec![1.0, 0.0], vec![1.0, 1.0], vec![1.0, 2.0]], &[1.0, 3.0, 5.0])?;
/// assert!((fit.coefficients[0] - 1.0).abs() < 1e-12);
/// assert!((fit.coefficients[1] - 2.0).abs() < 1e-12);
/// # Ok::<(), floorwright_engine::survey::FitError>(())
/// ```
///
/// # References
/// Checked against NIST StRD Norris, Longley, Filip and Wampler-1 to -3 in
/// `tests/published/nist_strd.rs`.
pub fn least_squares(design: &[Vec<f64>], observed: &[f64]) -> Result<Fit, FitError> {
    let n_columns = check_design(design, observed)?;
    let augmented = Mat::from_fn(design.len(), n_columns + 1, |row, column| {
        if column < n_columns { design[row][column] } else { observed[row] }
    });
    let triangle = Triangle::of(augmented.as_ref(), n_columns);
    if let Some(column) = triangle.undetermined(augmented.as_ref()) {
        return Err(FitError::Undetermined(column + 1));
    }
    let coefficients = triangle.solution();
    if coefficients.iter().any(|value| !value.is_finite()) {
        return Err(FitError::Undetermined(n_columns));
    }
    let redundancy = design.len() - n_columns;
    let rss = if redundancy == 0 { 0.0 } else { residual_sum(design, observed, &coefficients) };
    let residual_sd = (redundancy > 0).then(|| (rss / redundancy as f64).sqrt());
    let standard_deviations = residual_sd.map(|sd| {
        let inverse = triangle.inverse();
        (0..n_columns)
            .map(|row| {
                let squares: f64 =
                    (row..n_columns).map(|column| inverse[(row, column)].powi(2)).sum();
                sd * squares.sqrt()
            })
            .collect()
    });
    Ok(Fit { coefficients, standard_deviations, residual_sd, rss, redundancy })
}

fn check_design(design: &[Vec<f64>], observed: &[f64]) -> Result<usize, FitError> {
    let n_columns = design.first().map_or(0, Vec::len);
    if n_columns == 0 {
        return Err(FitError::NoColumns);
    }
    if design.len() != observed.len() {
        return Err(FitError::CountsDiffer { observations: observed.len(), rows: design.len() });
    }
    for (idx, (row, value)) in design.iter().zip(observed).enumerate() {
        if row.len() != n_columns {
            let (row, found) = (idx + 1, row.len());
            return Err(FitError::Ragged { row, found, expected: n_columns });
        }
        if !value.is_finite() || row.iter().any(|number| !number.is_finite()) {
            return Err(FitError::NotFinite(idx + 1));
        }
    }
    if design.len() < n_columns {
        return Err(FitError::TooFew { rows: design.len(), columns: n_columns });
    }
    Ok(n_columns)
}

fn residual_sum(design: &[Vec<f64>], observed: &[f64], coefficients: &[f64]) -> f64 {
    design
        .iter()
        .zip(observed)
        .map(|(row, value)| {
            let fitted: f64 = row.iter().zip(coefficients).map(|(a, x)| a * x).sum();
            (fitted - value).powi(2)
        })
        .sum()
}

/// R of the factorisation of a design with the observations as a last column.
struct Triangle {
    r: Mat<f64>,
    n_columns: usize,
}

impl Triangle {
    fn of(augmented: MatRef<'_, f64>, n_columns: usize) -> Self {
        let qr = augmented.qr();
        Self { r: qr.thin_R().to_owned(), n_columns }
    }

    /// The first column that lies in the span of those before it.
    fn undetermined(&self, augmented: MatRef<'_, f64>) -> Option<usize> {
        (0..self.n_columns).find(|&column| {
            let length = augmented.col(column).norm_l2();
            let pivot = self.r[(column, column)].abs();
            pivot.is_nan() || pivot <= SMALLEST_PIVOT_RATIO * length
        })
    }

    fn smallest_pivot_ratio(&self, augmented: MatRef<'_, f64>) -> f64 {
        (0..self.n_columns)
            .map(|column| self.r[(column, column)].abs() / augmented.col(column).norm_l2())
            .fold(1.0, f64::min)
    }

    fn solution(&self) -> Vec<f64> {
        let mut solution = vec![0.0; self.n_columns];
        for row in (0..self.n_columns).rev() {
            let known: f64 = (row + 1..self.n_columns)
                .map(|column| self.r[(row, column)] * solution[column])
                .sum();
            solution[row] = (self.r[(row, self.n_columns)] - known) / self.r[(row, row)];
        }
        solution
    }

    /// Inverse of the square part: upper triangular.
    fn inverse(&self) -> Mat<f64> {
        let n_columns = self.n_columns;
        let mut inverse = Mat::zeros(n_columns, n_columns);
        let square = self.r.get(..n_columns, ..n_columns);
        invert_upper_triangular(inverse.as_mut(), square, Par::Seq);
        inverse
    }
}

/// The cofactors of all unknowns, kept whole.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct DenseFactor {
    inverse: Mat<f64>,
}

impl DenseFactor {
    /// Solves weighted rows; `None` if they do not determine every unknown.
    pub(crate) fn solve_rows(rows: &Rows) -> Option<(Vec<f64>, Self)> {
        let n_unknowns = rows.n_unknowns();
        if rows.len() < n_unknowns {
            return None;
        }
        let mut augmented = Mat::zeros(rows.len(), n_unknowns + 1);
        for row in 0..rows.len() {
            for &(unknown, factor) in rows.terms(row) {
                augmented[(row, unknown)] += factor;
            }
            augmented[(row, n_unknowns)] = rows.rhs(row);
        }
        let triangle = Triangle::of(augmented.as_ref(), n_unknowns);
        let ratio = triangle.smallest_pivot_ratio(augmented.as_ref());
        if ratio.is_nan() || ratio <= SMALLEST_PIVOT_RATIO {
            return None;
        }
        let r_inverse = triangle.inverse();
        let inverse = &r_inverse * r_inverse.transpose();
        Some((triangle.solution(), Self { inverse }))
    }

    pub(crate) fn entry(&self, row: usize, column: usize) -> f64 {
        self.inverse[(row, column)]
    }

    /// Adds a multiple of a column of the cofactors to a vector.
    pub(crate) fn add_column(&self, column: usize, factor: f64, vector: &mut [f64]) {
        for (value, cofactor) in vector.iter_mut().zip(self.inverse.col(column).iter()) {
            *value += factor * cofactor;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn faults_of_a_design_are_named() {
        let check = |design: &[Vec<f64>], observed: &[f64], expected: FitError| {
            assert_eq!(least_squares(design, observed), Err(expected));
        };
        check(&[], &[], FitError::NoColumns);
        check(&[vec![1.0]], &[], FitError::CountsDiffer { observations: 0, rows: 1 });
        check(&[vec![1.0, 2.0]], &[1.0], FitError::TooFew { rows: 1, columns: 2 });
        check(
            &[vec![1.0], vec![1.0, 2.0]],
            &[1.0, 1.0],
            FitError::Ragged { row: 2, found: 2, expected: 1 },
        );
        check(&[vec![1.0], vec![f64::NAN]], &[1.0, 1.0], FitError::NotFinite(2));
        let twice = [vec![1.0, 2.0], vec![2.0, 4.0], vec![3.0, 6.0]];
        check(&twice, &[1.0, 2.0, 3.0], FitError::Undetermined(2));
    }

    #[test]
    fn as_many_observations_as_coefficients_leave_no_standard_deviation() {
        let fit = least_squares(&[vec![1.0, 0.0], vec![1.0, 1.0]], &[1.0, 3.0]).unwrap();
        assert_eq!((fit.redundancy, fit.residual_sd), (0, None));
    }
}
