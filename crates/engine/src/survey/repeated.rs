//! How far readings of one thing may differ, and how long its base may be left: for every instrument, the
//! hose among them.

use crate::units::{Length, Variance};

/// Points between two readings of the benchmark, at most (levelling practice: 10 to 15).
pub const POINTS_BETWEEN: usize = 12;
/// Minutes between two readings of the benchmark, at most (levelling practice).
pub const MINUTES_BETWEEN: f64 = 30.0;

/// How fast a water line falls by drying up in a draught of half-dry air, in an hour: what
/// [`dries_per_hour`](crate::hose::dries_per_hour) gives for 20 C.
pub const DRIES_AT_MOST: Length = Length::mm(0.25);

/// How far two readings that should be alike may differ: 95 % of differences of two readings.
pub fn alike_within(sd: Length) -> Length {
    sd * (2.0 * 2.0_f64.sqrt())
}

/// The root of the sum of squares.
pub fn root_sum_of_squares(parts: impl IntoIterator<Item = Length>) -> Length {
    parts.into_iter().map(Length::squared).sum::<Variance>().sd()
}

/// Whether double readings differ to one side more than chance has it: something moved, drift or
/// air, and their mean is not to be trusted.
///
/// # References
/// `|mean d| > 2 s_d/sqrt(n)`, with at least three pairs.
pub fn something_moved(differences: &[Length]) -> bool {
    let n = differences.len() as f64;
    if differences.len() < 3 {
        return false;
    }
    let mean = differences.iter().copied().sum::<Length>() / n;
    let squares: f64 = differences.iter().map(|&d| (d - mean).squared().to_mm2()).sum();
    mean.abs() > Length::mm(2.0 * (squares / (n - 1.0)).sqrt() / n.sqrt())
}
