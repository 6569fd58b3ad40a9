//! Testing the instrument before a house is trusted to it.

use crate::units::{LENGTH_EPS, Length};
use serde::Serialize;
use statrs::distribution::{ChiSquared, ContinuousCDF, FisherSnedecor, StudentsT};

/// The fewest pairs of readings in one set of the simplified test.
pub const SIMPLIFIED_PAIRS: usize = 10;
/// The pairs of readings in one set of the full test.
pub const FULL_PAIRS: usize = 20;
/// The two means of the simplified test may differ by this many standard deviations (a ratio).
pub const MEANS_WITHIN: f64 = 2.5;

/// Where the procedures come from, to be shown with their results.
pub const FIELD_TEST_SOURCE: &str =
    "after ISO 17123-2:2001, from memory, verify; constants worked out from the distributions";

/// Why a field test says nothing.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum FieldTestError {
    /// Too few pairs of readings.
    #[error("set {set} has {got} pairs of readings, the test needs {needed}")]
    TooFew {
        /// Which set, from 1.
        set: usize,
        /// How many pairs it has.
        got: usize,
        /// How many it needs.
        needed: usize,
    },
    /// A difference that is not a number.
    #[error("set {0} has a difference that is not a number")]
    NotFinite(usize),
    /// The two sights of a two-peg test have to differ.
    #[error(
        "the far sight is to be at least 1 m longer than the near one, they are {far} and {near}"
    )]
    SightsTooAlike {
        /// Near sight.
        near: Length,
        /// Far sight.
        far: Length,
    },
    /// A distance, a stated value or a number of spare readings out of range.
    #[error("a distance or stated value is to be positive, and a test needs a spare reading")]
    OutOfRange,
}

/// The result of the simplified test.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SimplifiedTest {
    /// Mean difference of the two marks with the level midway.
    pub mean_midway: Length,
    /// Mean difference with the level near one staff.
    pub mean_near: Length,
    /// Standard deviation of one difference, from the midway set.
    pub sd: Length,
    /// Midway mean less near mean.
    pub difference: Length,
    /// The largest difference that passes: 2.5 standard deviations, or what the maker states.
    pub limit: Length,
    /// The limit less the difference without its sign; a narrow pass shows here.
    pub margin: Length,
}

impl SimplifiedTest {
    /// Whether the two means agree.
    pub fn passes(&self) -> bool {
        self.margin >= -LENGTH_EPS
    }
}

/// The result of the full test: two sets of 20 pairs, staffs exchanged between the sets.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct FullTest {
    /// Standard deviation of one difference, 38 spare readings.
    pub sd: Length,
    /// First mean less second: what the staffs' zero marks differ by.
    pub staff_zero_difference: Length,
    /// The largest such difference that is put down to chance.
    pub staff_zero_limit: Length,
    /// Standard deviation of one kilometre levelled both ways; holds for 60 m between the staffs.
    pub sd_double_run_km: Length,
}

impl FullTest {
    /// Whether the staffs' zero marks agree.
    pub fn staffs_agree(&self) -> bool {
        self.staff_zero_difference.abs() <= self.staff_zero_limit + LENGTH_EPS
    }
}

/// Works the simplified test out.
///
/// Each set holds the differences of two fixed marks some 60 m apart, the level set again for
/// each pair: first with the level midway, then with it some 10 m from one staff. For a hose
/// level the second set is taken with the ends exchanged.
///
/// # Errors
/// [`FieldTestError::TooFew`] below ten pairs a set; [`FieldTestError::NotFinite`];
/// [`FieldTestError::OutOfRange`] if the maker's value is no length.
pub fn simplified_level_test(
    midway: &[Length],
    near_one_staff: &[Length],
    stated_by_maker: Option<Length>,
) -> Result<SimplifiedTest, FieldTestError> {
    check_set(1, midway, SIMPLIFIED_PAIRS)?;
    check_set(2, near_one_staff, SIMPLIFIED_PAIRS)?;
    let (mean_midway, mean_near) = (mean(midway), mean(near_one_staff));
    let sd = Length::mm((squares_about_mean(midway) / (midway.len() - 1) as f64).sqrt());
    let difference = mean_midway - mean_near;
    if stated_by_maker.is_some_and(|stated| !stated.is_finite() || stated < Length::ZERO) {
        return Err(FieldTestError::OutOfRange);
    }
    let limit = stated_by_maker.unwrap_or(sd * MEANS_WITHIN);
    let margin = limit - difference.abs();
    Ok(SimplifiedTest { mean_midway, mean_near, sd, difference, limit, margin })
}

/// Works the full test out.
///
/// # Errors
/// [`FieldTestError::TooFew`] unless both sets have 20 pairs; [`FieldTestError::NotFinite`].
pub fn full_level_test(
    first: &[Length],
    staffs_exchanged: &[Length],
) -> Result<FullTest, FieldTestError> {
    check_set(1, first, FULL_PAIRS)?;
    check_set(2, staffs_exchanged, FULL_PAIRS)?;
    let spare = first.len() + staffs_exchanged.len() - 2;
    let squares = squares_about_mean(first) + squares_about_mean(staffs_exchanged);
    let sd = Length::mm((squares / spare as f64).sqrt());
    let factor = staff_zero_factor(first.len(), staffs_exchanged.len())?;
    Ok(FullTest {
        sd,
        staff_zero_difference: mean(first) - mean(staffs_exchanged),
        staff_zero_limit: sd * factor,
        sd_double_run_km: sd * double_run_km_factor(Length::m(60.0))?,
    })
}

/// From one difference over a given distance to one kilometre levelled both ways (a ratio):
/// `sqrt(1000 / distance) / sqrt(2)`.
///
/// # Errors
/// [`FieldTestError::OutOfRange`] unless the distance is positive.
pub fn double_run_km_factor(between_staffs: Length) -> Result<f64, FieldTestError> {
    if between_staffs.is_finite() && between_staffs > Length::ZERO {
        Ok((1000.0 / between_staffs.to_m() / 2.0).sqrt())
    } else {
        Err(FieldTestError::OutOfRange)
    }
}

/// How far a standard deviation may exceed the stated one before the instrument fails (a ratio):
/// `sqrt(chi2(0.95, n) / n)` for n spare readings.
///
/// # Errors
/// [`FieldTestError::OutOfRange`] without a spare reading.
pub fn sd_ratio_limit(spare: usize) -> Result<f64, FieldTestError> {
    let spare = spare as f64;
    let distribution = ChiSquared::new(spare).map_err(|_| FieldTestError::OutOfRange)?;
    Ok((distribution.inverse_cdf(0.95) / spare).sqrt())
}

/// Between which ratios of variances two campaigns agree, at 95 %.
///
/// # Errors
/// [`FieldTestError::OutOfRange`] without a spare reading.
pub fn variance_ratio_limits(
    spare_first: usize,
    spare_second: usize,
) -> Result<(f64, f64), FieldTestError> {
    let quantile = |a: usize, b: usize| {
        FisherSnedecor::new(a as f64, b as f64)
            .map(|distribution| distribution.inverse_cdf(0.975))
            .map_err(|_| FieldTestError::OutOfRange)
    };
    Ok((1.0 / quantile(spare_second, spare_first)?, quantile(spare_first, spare_second)?))
}

/// How many standard deviations the means of two sets may differ by chance (a ratio), at 95 %:
/// `t(0.975, n) sqrt(1/n1 + 1/n2)`.
///
/// # Errors
/// [`FieldTestError::OutOfRange`] without a spare reading.
pub fn staff_zero_factor(n_first: usize, n_second: usize) -> Result<f64, FieldTestError> {
    if n_first < 2 || n_second < 2 {
        return Err(FieldTestError::OutOfRange);
    }
    let (n_first, n_second) = (n_first as f64, n_second as f64);
    let distribution = StudentsT::new(0.0, 1.0, n_first + n_second - 2.0)
        .map_err(|_| FieldTestError::OutOfRange)?;
    Ok(distribution.inverse_cdf(0.975) * (1.0 / n_first + 1.0 / n_second).sqrt())
}

/// How far the line of sight leaves the level, as a slope; negative dips.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Collimation {
    /// Rise of the line over its run (a ratio).
    pub slope: f64,
}

impl Collimation {
    /// The error that it makes over one sight; equal backsights and foresights cancel it.
    pub fn over(self, sight: Length) -> Length {
        sight * self.slope
    }
}

/// Works the two-peg test out.
///
/// # Units and sign
/// Both differences are reading on the far peg less reading on the near peg; the true one comes
/// from a setup midway. `collimation = (observed - true) / (far sight - near sight)`; negative
/// means that the line of sight dips.
///
/// # Errors
/// [`FieldTestError::SightsTooAlike`], [`FieldTestError::NotFinite`].
///
/// # Examples
/// ```
/// use floorwright_engine::survey::two_peg_test;
/// use floorwright_engine::units::Length;
///
/// let m = Length::m;
/// let collimation = two_peg_test(m(25.0), m(50.0), m(0.615), m(0.630)).unwrap();
/// assert_eq!(collimation.over(m(100.0)).to_string(), "-60.0 mm");
/// ```
pub fn two_peg_test(
    near: Length,
    far: Length,
    observed: Length,
    truth: Length,
) -> Result<Collimation, FieldTestError> {
    if ![near, far, observed, truth].iter().all(|length| length.is_finite()) {
        return Err(FieldTestError::NotFinite(1));
    }
    if far - near < Length::m(1.0) {
        return Err(FieldTestError::SightsTooAlike { near, far });
    }
    Ok(Collimation { slope: (observed - truth) / (far - near) })
}

fn check_set(set: usize, differences: &[Length], needed: usize) -> Result<(), FieldTestError> {
    if differences.len() < needed {
        return Err(FieldTestError::TooFew { set, got: differences.len(), needed });
    }
    if differences.iter().all(|difference| difference.is_finite()) {
        Ok(())
    } else {
        Err(FieldTestError::NotFinite(set))
    }
}

fn mean(differences: &[Length]) -> Length {
    differences.iter().copied().sum::<Length>() / differences.len() as f64
}

/// Sum of squared departures from the mean, in square millimetres.
fn squares_about_mean(differences: &[Length]) -> f64 {
    let mean = mean(differences);
    differences.iter().map(|&difference| (difference - mean).squared().to_mm2()).sum()
}
