//! Signed numbers as they are printed.

use floorwright_engine::units::{Length, round_to};

/// How many decimals of a millimetre a picture prints.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Decimals {
    /// Whole millimetres.
    #[default]
    Whole,
    /// Tenths of a millimetre.
    Tenths,
}

impl Decimals {
    /// Rounds half away from zero, never to minus zero.
    pub(crate) fn round(self, length: Length) -> f64 {
        round_to(length.to_mm(), if self == Self::Whole { 1.0 } else { 0.1 })
    }

    /// With its sign, by the true minus (U+2212), which is as wide as the plus; zero has none, and
    /// what is no number is a question mark.
    pub(crate) fn signed(self, length: Length) -> String {
        if !length.is_finite() {
            return "?".to_owned();
        }
        let rounded = self.round(length);
        let sign = match rounded {
            r if r > 0.0 => "+",
            r if r < 0.0 => "\u{2212}",
            _ => "",
        };
        format!("{sign}{}", self.digits(rounded.abs()))
    }

    fn digits(self, magnitude: f64) -> String {
        if self == Self::Whole { format!("{magnitude:.0}") } else { format!("{magnitude:.1}") }
    }
}

/// A number that is a tidy setting rather than a measurement: no decimals unless it has some.
pub(crate) fn tidy(length: Length) -> String {
    if !length.is_finite() {
        return "?".to_owned();
    }
    let rounded = round_to(length.to_mm().abs(), 0.1);
    if (rounded - rounded.round()).abs() < 1e-9 {
        format!("{rounded:.0}")
    } else {
        format!("{rounded:.1}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sign_and_decimals_are_fixed() {
        let check = |decimals: Decimals, mm: f64, expected: &str| {
            assert_eq!(decimals.signed(Length::mm(mm)), expected, "{mm}");
        };
        check(Decimals::Whole, 12.4, "+12");
        check(Decimals::Whole, -12.5, "\u{2212}13");
        check(Decimals::Whole, -0.4, "0");
        check(Decimals::Tenths, -0.04, "0.0");
        check(Decimals::Tenths, 3.0, "+3.0");
        check(Decimals::Tenths, -3.25, "\u{2212}3.3");
        check(Decimals::Tenths, f64::NAN, "?");
        assert_eq!(tidy(Length::mm(1.5)) + &tidy(Length::mm(20.0)), "1.520");
    }
}
