//! Where a formula ends.

/// A figure that is not given, because its formula was not checked so far out.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[error("{what} of {value} is outside {low} to {high} {unit}, {basis}: no figure is given")]
pub struct OutsideValidity {
    /// What is out of range.
    pub what: &'static str,
    /// Its value with its unit.
    pub value: String,
    /// The least that it may be.
    pub low: f64,
    /// The most that it may be.
    pub high: f64,
    /// Unit of both ends.
    pub unit: &'static str,
    /// What holds between these ends, and by whom.
    pub basis: &'static str,
    /// Whether the value lies below the least.
    below: bool,
}

impl OutsideValidity {
    /// Whether the value lies below the least that it may be.
    pub fn is_below(&self) -> bool {
        self.below
    }

    /// The value, if it is a number within its ends.
    pub(crate) fn check(
        what: &'static str,
        value: f64,
        (low, high, unit): (f64, f64, &'static str),
        basis: &'static str,
    ) -> Result<f64, Self> {
        if value.is_finite() && value >= low && value <= high {
            return Ok(value);
        }
        let digits = format!("{value:.3}");
        let digits = digits.trim_end_matches('0').trim_end_matches('.');
        let below = value < low;
        Err(Self { what, value: format!("{digits} {unit}"), low, high, unit, basis, below })
    }
}
