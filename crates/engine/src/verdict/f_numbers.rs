//! Flatness and levelness numbers of a line read every foot.
//!
//! The definitions of the differences are confirmed; the constants and the combining rule are
//! from memory, so every result is to be shown with [`F_NUMBER_SOURCE`].

use crate::units::Length;
use serde::Serialize;
use std::fmt;

/// Where the formulas come from, to be shown with their results.
pub const F_NUMBER_SOURCE: &str =
    "ASTM E1155 inch formulas; constants and combining rule from memory, unverified";
/// The fewest readings in a line.
pub const MIN_F_READINGS: usize = 12;

/// Numerator of the flatness number, inches.
const FLATNESS_INCHES: f64 = 4.57;
/// Numerator of the levelness number, inches.
const LEVELNESS_INCHES: f64 = 12.5;
/// A spread below this many inches is rounding, not floor.
const NO_SPREAD_INCHES: f64 = 1e-9;

/// A flatness or levelness number; higher is better.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum FNumber {
    /// The number (a ratio).
    Value(f64),
    /// The line is perfect and the number has no upper bound.
    Unbounded,
}

impl FNumber {
    /// One over the number (a ratio): how rough the line is, 0 for a perfect one.
    pub fn reciprocal(self) -> f64 {
        match self {
            Self::Value(value) => 1.0 / value,
            Self::Unbounded => 0.0,
        }
    }

    /// The number of a roughness; none or less has no upper bound.
    pub fn from_reciprocal(roughness: f64) -> Self {
        if roughness > 0.0 { Self::Value(1.0 / roughness) } else { Self::Unbounded }
    }
}

/// Why a line has no F-number.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NoFNumber {
    /// Too short a line.
    #[error("a line of {0} readings, F-numbers need {MIN_F_READINGS} or more, 1 ft apart")]
    TooFew(usize),
    /// A height that is not a number.
    #[error("reading {0} of the line is not a number")]
    NotFinite(usize),
}

/// The flatness number FF of heights read every foot along a line.
///
/// `q_i = h_i - 2 h_(i-1) + h_(i-2)`, `FF = 4.57 / (3 s_q + |mean q|)`, inches, s with n - 1.
///
/// # Errors
/// [`NoFNumber`]. The spacing is the caller's to check: heights at any other spacing have none.
pub fn flatness(heights: &[Length]) -> Result<FNumber, NoFNumber> {
    let inches = inches(heights)?;
    let curvature: Vec<f64> =
        inches.windows(3).map(|three| three[2] - 2.0 * three[1] + three[0]).collect();
    Ok(f_number(FLATNESS_INCHES, &curvature))
}

/// The levelness number FL of heights read every foot along a line.
///
/// `z_i = h_i - h_(i-10)`, `FL = 12.5 / (3 s_z + |mean z|)`, inches, s with n - 1.
///
/// # Errors
/// As [`flatness`].
pub fn levelness(heights: &[Length]) -> Result<FNumber, NoFNumber> {
    let inches = inches(heights)?;
    let rise: Vec<f64> = inches.windows(11).map(|run| run[10] - run[0]).collect();
    Ok(f_number(LEVELNESS_INCHES, &rise))
}

/// Joins the numbers of two samples of `n_first` and `n_second` differences.
///
/// `F = F_j F_k sqrt((r_j + r_k) / (r_k F_j^2 + r_j F_k^2))`.
pub fn combine_f_numbers(
    (first, n_first): (FNumber, usize),
    (second, n_second): (FNumber, usize),
) -> FNumber {
    // The formula is a mean of 1/F^2 weighted by the number of differences.
    let share =
        |number: FNumber, n_differences: usize| n_differences as f64 * number.reciprocal().powi(2);
    let sum = share(first, n_first) + share(second, n_second);
    FNumber::from_reciprocal((sum / (n_first + n_second).max(1) as f64).sqrt())
}

fn inches(heights: &[Length]) -> Result<Vec<f64>, NoFNumber> {
    if heights.len() < MIN_F_READINGS {
        return Err(NoFNumber::TooFew(heights.len()));
    }
    match heights.iter().position(|height| !height.is_finite()) {
        Some(bad) => Err(NoFNumber::NotFinite(bad + 1)),
        None => Ok(heights.iter().map(|height| height.to_inches()).collect()),
    }
}

fn f_number(numerator: f64, differences: &[f64]) -> FNumber {
    let n_differences = differences.len() as f64;
    let mean = differences.iter().sum::<f64>() / n_differences;
    let squares: f64 = differences.iter().map(|difference| (difference - mean).powi(2)).sum();
    let sd = (squares / (n_differences - 1.0)).sqrt();
    let spread = 3.0 * sd + mean.abs();
    if spread > NO_SPREAD_INCHES { FNumber::Value(numerator / spread) } else { FNumber::Unbounded }
}

impl fmt::Display for FNumber {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Value(value) => write!(f, "{value:.1}"),
            Self::Unbounded => f.write_str("unbounded"),
        }
    }
}
