//! Critical values of the tests: how far off is too far to be chance.
//!
//! Probabilities outside 1e-12 to 1 - 1e-12 are taken as that bound, so that every answer is
//! finite.
//!
//! # References
//! Baarda, *A testing procedure for use in geodetic networks*, 1968 (test of one observation,
//! smallest detectable error); Pope, NOAA TR NOS 65 NGS 1, 1976 (tau; formula from memory).
//! Checked against printed figures in `tests/published/quantiles.rs`.

use statrs::distribution::{ChiSquared, ContinuousCDF, Normal, StudentsT};

const SMALLEST_PROBABILITY: f64 = 1e-12;

/// The value that a standard normal variable stays below with the given probability.
pub fn normal_quantile(probability: f64) -> f64 {
    Normal::standard().inverse_cdf(bounded(probability))
}

/// The value that Student's t stays below with the given probability; `None` without a degree
/// of freedom.
pub fn student_quantile(freedom: usize, probability: f64) -> Option<f64> {
    let student = StudentsT::new(0.0, 1.0, freedom as f64).ok()?;
    Some(student.inverse_cdf(bounded(probability)))
}

/// The value that chi-square stays below with the given probability; `None` without a degree of
/// freedom.
pub fn chi_squared_quantile(freedom: usize, probability: f64) -> Option<f64> {
    let chi_squared = ChiSquared::new(freedom as f64).ok()?;
    Some(chi_squared.inverse_cdf(bounded(probability)))
}

/// How large `|w|` of one observation may be, two-sided at error probability `alpha`.
pub fn w_critical(alpha: f64) -> f64 {
    normal_quantile(1.0 - alpha / 2.0)
}

/// How large `|tau|` of one observation may be, two-sided at error probability `alpha`.
///
/// `None` with fewer than two spare observations: with one, every controlled observation has
/// `|tau| = 1` and there is nothing to test. Always below `sqrt(redundancy)`.
pub fn tau_critical(redundancy: usize, alpha: f64) -> Option<f64> {
    let freedom = redundancy.checked_sub(1)?;
    let t = student_quantile(freedom, 1.0 - alpha / 2.0)?;
    Some(t * (redundancy as f64 / (freedom as f64 + t * t)).sqrt())
}

/// What the weighted sum of squares may come to, at error probability `alpha`; `None` without a
/// spare observation.
pub fn global_critical(redundancy: usize, alpha: f64) -> Option<f64> {
    chi_squared_quantile(redundancy, 1.0 - alpha)
}

/// How many standard deviations off its expectation `w` must be pushed for the test at `alpha`
/// (two-sided) to answer with probability `power`: Baarda's delta-0. Never negative.
pub fn detectable_shift(alpha: f64, power: f64) -> f64 {
    (w_critical(alpha) + normal_quantile(power)).max(0.0)
}

fn bounded(probability: f64) -> f64 {
    if probability.is_nan() {
        return 0.5;
    }
    probability.clamp(SMALLEST_PROBABILITY, 1.0 - SMALLEST_PROBABILITY)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_spare_observation_has_no_tau_test() {
        assert_eq!(tau_critical(0, 0.001), None);
        assert_eq!(tau_critical(1, 0.001), None);
    }

    #[test]
    fn hostile_probabilities_give_finite_answers() {
        for probability in [f64::NAN, -1.0, 0.0, 1.0, 2.0, f64::INFINITY] {
            assert!(normal_quantile(probability).is_finite());
            assert!(w_critical(probability).is_finite());
            assert!(tau_critical(4, probability).unwrap().is_finite());
            assert!(global_critical(4, probability).unwrap().is_finite());
        }
    }

    /// Second method for many spare observations: Wilson and Hilferty 1931 (formula from
    /// memory), good to about 1e-6 there.
    #[test]
    fn global_limit_of_a_large_survey() {
        for freedom in [1_000_usize, 80_000, 1_000_000] {
            let n = freedom as f64;
            let spread = 2.0 / (9.0 * n);
            let close_to = n * (1.0 - spread + normal_quantile(0.95) * spread.sqrt()).powi(3);
            let got = global_critical(freedom, 0.05).unwrap();
            assert!((got / close_to - 1.0).abs() < 1e-5, "{freedom}: {got} {close_to}");
        }
    }

    #[test]
    fn tau_never_passes_the_root_of_the_redundancy() {
        for redundancy in 2..200 {
            for alpha in [0.05, 0.001, 1e-9] {
                assert!(tau_critical(redundancy, alpha).unwrap() < (redundancy as f64).sqrt());
            }
        }
    }
}
