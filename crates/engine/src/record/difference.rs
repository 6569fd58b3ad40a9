//! Whether something moved as far as it was to: a difference of two figures that are both uncertain.

use crate::settings::Limit;
use crate::survey::normal_quantile;
use crate::units::Length;
use serde::Serialize;

/// Less than this is no movement, and no lift, to speak of.
pub const STILL: Length = Length::mm(0.5);

/// How measured and predicted movement are held against one another.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct RecordSettings {
    /// Standard deviation of a lift as it is measured at the support.
    pub lift_sd: Limit<Length>,
    /// How often a place that did move as predicted is called out all the same: the error
    /// probability of the test on either side (a ratio).
    pub false_alarm: Limit<f64>,
    /// How often a shortfall of [`Difference::least_found`] is found (a ratio).
    pub power: Limit<f64>,
    /// How far the movement that is predicted between supports may be off, as a share of it
    /// (standard deviation, a ratio).
    pub between_share: Limit<f64>,
}

impl Default for RecordSettings {
    fn default() -> Self {
        Self {
            lift_sd: Limit::assumed(
                Length::mm(1.0),
                "own rule: a lift measured with a rule between support and bearer",
            ),
            false_alarm: Limit::assumed(0.01, "own rule: one support in a hundred"),
            power: Limit::assumed(0.8, "own rule, as for the smallest error found in a survey"),
            between_share: Limit::assumed(
                0.1,
                "own rule: between supports the movement follows from timber that nobody measured",
            ),
        }
    }
}

/// What came of a movement.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Followed {
    /// As predicted, as far as the readings tell, and they would have told.
    AsPredicted,
    /// Surely less than predicted.
    Less,
    /// Surely more than predicted.
    More,
    /// It was to stay where it was, and it surely moved.
    Moved,
    /// The lift is so small that the readings do not tell whether it followed.
    CannotTell,
}

/// Predicted against measured movement.
///
/// # Units and sign
/// Movements up positive.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Difference {
    /// What the lifts that were done should have given.
    pub predicted: Length,
    /// Its standard deviation.
    pub sd_predicted: Length,
    /// What the readings say.
    pub measured: Length,
    /// Its standard deviation.
    pub sd_measured: Length,
    /// Standard deviation of the one less the other.
    pub sd: Length,
    /// How far they may be apart by chance: beyond it is called out.
    pub guard: Length,
    /// The smallest shortfall that is found with the power of the settings.
    pub least_found: Length,
    /// What came of it.
    pub followed: Followed,
}

/// Holds a measured movement against the predicted one.
///
/// With `sd` the root of the sum of both variances, the guard is `z(1 - false_alarm) sd` and the
/// smallest shortfall found is `(z(1 - false_alarm) + z(power)) sd`. A movement that was to be
/// smaller than that, and is not called out, is [`Followed::CannotTell`]: its failing would not
/// have shown.
///
/// # Units and sign
/// Movements up positive, standard deviations zero or more.
///
/// # Examples
/// ```
/// use floorwright_engine::record::{Followed, RecordSettings, difference};
/// use floorwright_engine::units::Length;
///
/// let sd = Length::mm(1.0);
/// let of = |predicted: f64, measured: f64| {
///     let settings = RecordSettings::default();
///     let (predicted, measured) = (Length::mm(predicted), Length::mm(measured));
///     difference((predicted, sd), (measured, sd), &settings).followed
/// };
/// assert_eq!(of(10.0, 8.5), Followed::AsPredicted);
/// assert_eq!(of(10.0, 2.0), Followed::Less);
/// assert_eq!(of(3.0, 1.0), Followed::CannotTell);
/// ```
///
/// # References
/// The one-sided test of a difference with known variance; the smallest shortfall is Baarda's
/// smallest detectable error for it (*A testing procedure for use in geodetic networks*, 1968).
pub fn difference(
    (predicted, sd_predicted): (Length, Length),
    (measured, sd_measured): (Length, Length),
    settings: &RecordSettings,
) -> Difference {
    let sd = (sd_predicted.squared() + sd_measured.squared()).sd();
    let critical = normal_quantile(1.0 - settings.false_alarm.value);
    let guard = sd * critical;
    let least_found = guard + sd * normal_quantile(settings.power.value);
    let is_still = predicted.abs() < STILL;
    // How far it fell behind, whichever way it was to go.
    let behind = if predicted < Length::ZERO { measured - predicted } else { predicted - measured };
    let followed = if behind.abs() > guard {
        match (is_still, behind > Length::ZERO) {
            (true, _) => Followed::Moved,
            (false, true) => Followed::Less,
            (false, false) => Followed::More,
        }
    } else if !is_still && predicted.abs() < least_found {
        Followed::CannotTell
    } else {
        Followed::AsPredicted
    };
    Difference { predicted, sd_predicted, measured, sd_measured, sd, guard, least_found, followed }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(predicted: f64, measured: f64, sds: (f64, f64)) -> Difference {
        let side = |value: f64, sd: f64| (Length::mm(value), Length::mm(sd));
        difference(side(predicted, sds.0), side(measured, sds.1), &RecordSettings::default())
    }

    /// z(0.99) = 2.326348 and z(0.80) = 0.841621: any table of the normal distribution.
    #[test]
    fn guard_and_smallest_shortfall_in_closed_form() {
        let found = of(20.0, 20.0, (3.0, 4.0));
        assert!((found.sd.to_mm() - 5.0).abs() < 1e-12);
        assert!((found.guard.to_mm() - 5.0 * 2.326_348).abs() < 1e-5);
        assert!((found.least_found.to_mm() - 5.0 * 3.167_969).abs() < 1e-5);
    }

    #[test]
    fn the_guard_is_where_the_answer_turns() {
        let check = |predicted: f64, measured: f64, expected: Followed| {
            assert_eq!(of(predicted, measured, (0.6, 0.8)).followed, expected, "{measured}");
        };
        check(10.0, 10.0 - 2.326, Followed::AsPredicted);
        check(10.0, 10.0 - 2.327, Followed::Less);
        check(10.0, 10.0 + 2.327, Followed::More);
        check(-10.0, -10.0 + 2.327, Followed::Less); // let down, and it did not come down
        check(-10.0, -10.0 - 2.327, Followed::More);
        check(3.16, 2.0, Followed::CannotTell);
        check(3.17, 2.0, Followed::AsPredicted);
        check(0.0, 2.326, Followed::AsPredicted);
        check(0.0, -2.327, Followed::Moved);
    }

    #[test]
    fn without_any_uncertainty_every_hair_counts() {
        assert_eq!(of(10.0, 9.999, (0.0, 0.0)).followed, Followed::Less);
        assert_eq!(of(10.0, 10.0, (0.0, 0.0)).followed, Followed::AsPredicted);
    }
}
