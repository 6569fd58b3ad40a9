//! Numbers as they are printed: millimetres, or feet, inches and sixteenths.

use floorwright_engine::frame::ForceRange;
use floorwright_engine::units::{ExactLength, Force, Length, Level, round_to};

/// How many decimals of a millimetre a picture prints.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Decimals {
    /// Whole millimetres.
    #[default]
    Whole,
    /// Tenths of a millimetre.
    Tenths,
}

/// The unit of every number in a picture.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Print {
    /// Heights in millimetres, lengths on the plan in metres.
    Millimetres(Decimals),
    /// Feet, inches and fractions down to a sixteenth.
    Sixteenths,
}

const SIXTEENTH: f64 = 25.4 / 16.0;
const FOOT: f64 = 12.0 * 25.4;

impl Default for Print {
    fn default() -> Self {
        Self::Millimetres(Decimals::Whole)
    }
}

impl Print {
    /// The same with whole millimetres.
    pub(crate) fn whole(self) -> Self {
        match self {
            Self::Millimetres(_) => Self::default(),
            Self::Sixteenths => Self::Sixteenths,
        }
    }

    /// The number in its smallest part, a millimetre, a tenth or a sixteenth of an inch: rounded
    /// half away from zero, never to minus zero.
    pub(crate) fn round(self, length: Length) -> f64 {
        match self {
            Self::Millimetres(Decimals::Whole) => round_to(length.to_mm(), 1.0),
            Self::Millimetres(Decimals::Tenths) => round_to(length.to_mm(), 0.1),
            Self::Sixteenths => round_to(length.to_mm() / SIXTEENTH, 1.0),
        }
    }

    /// With its sign, by the true minus (U+2212), which is as wide as the plus; zero has none, and
    /// what is no number is a question mark.
    pub(crate) fn signed(self, length: Length) -> String {
        if !length.is_finite() {
            return "?".to_owned();
        }
        let rounded = self.round(length);
        let size = match self {
            Self::Millimetres(Decimals::Whole) => format!("{:.0}", rounded.abs()),
            Self::Millimetres(Decimals::Tenths) => format!("{:.1}", rounded.abs()),
            Self::Sixteenths => sixteenths(length.abs()),
        };
        if size == "?" { size } else { with_sign(rounded, &size) }
    }

    /// A tidy setting rather than a measurement, without its sign: no decimals unless it has some.
    pub(crate) fn tidy(self, length: Length) -> String {
        if !length.is_finite() {
            return "?".to_owned();
        }
        match self {
            Self::Sixteenths => sixteenths(length.abs()),
            Self::Millimetres(_) => {
                let rounded = round_to(length.to_mm().abs(), 0.1);
                let decimals = usize::from((rounded - rounded.round()).abs() > 1e-9);
                format!("{rounded:.decimals$}")
            }
        }
    }

    /// A tidy setting with its sign.
    pub(crate) fn tidy_signed(self, length: Length) -> String {
        let size = self.tidy(length);
        let is_zero = !size.bytes().any(|byte| byte.is_ascii_digit() && byte != b'0');
        with_sign(if is_zero { 0.0 } else { length.to_mm() }, &size)
    }

    /// A tidy setting with its unit, in running text.
    pub(crate) fn with_unit(self, length: Length) -> String {
        match self {
            Self::Millimetres(_) => format!("{} mm", self.tidy(length)),
            Self::Sixteenths => self.tidy(length),
        }
    }

    /// A height above the datum with its unit.
    pub(crate) fn level(self, level: Level) -> String {
        let height = level - Level::DATUM;
        match self {
            Self::Millimetres(_) => {
                format!("{} mm", Self::Millimetres(Decimals::Tenths).signed(height))
            }
            Self::Sixteenths => self.signed(height),
        }
    }

    /// A length on the plan with its unit.
    pub(crate) fn on_plan(self, length: Length) -> String {
        let size = match self {
            Self::Millimetres(_) => format!("{:.2} m", round_to(length.to_m().abs(), 0.01)),
            Self::Sixteenths => sixteenths(length.abs()),
        };
        if length < Length::ZERO { format!("\u{2212}{size}") } else { size }
    }

    /// What heights are in, as a heading says it.
    pub(crate) fn heights_are_in(self) -> &'static str {
        match self {
            Self::Millimetres(_) => "mm",
            Self::Sixteenths => "inches",
        }
    }

    /// A round length on the ground, in millimetres, that is not above the limit, with its words.
    pub(crate) fn round_ground(self, limit: f64) -> (f64, String) {
        match self {
            Self::Millimetres(_) => {
                let ground = round_below(limit);
                let words = if ground >= 1e3 {
                    format!("{:.0} m", ground / 1e3)
                } else {
                    format!("{ground:.0} mm")
                };
                (ground, words)
            }
            Self::Sixteenths if limit >= FOOT => {
                let feet = round_below(limit / FOOT);
                (feet * FOOT, format!("{feet:.0} ft"))
            }
            Self::Sixteenths => {
                let inches = round_below(limit / 25.4);
                (inches * 25.4, format!("{inches:.0} in"))
            }
        }
    }

    /// A round step of height in millimetres that is not below the least.
    pub(crate) fn height_step(self, least: f64) -> f64 {
        match self {
            Self::Millimetres(_) => round_step(least),
            Self::Sixteenths => {
                let doubled = (0..40).map(|power| SIXTEENTH * 2_f64.powi(power));
                doubled.into_iter().find(|step| *step >= least).unwrap_or(least)
            }
        }
    }

    /// A round step along a line in millimetres that is not below the least.
    pub(crate) fn along_step(self, least: f64) -> f64 {
        match self {
            Self::Millimetres(_) => round_step(least).max(1.0),
            Self::Sixteenths => round_step(least / FOOT).max(1.0) * FOOT,
        }
    }

    /// A place along a line, without its unit, and the unit.
    pub(crate) fn along(self, along: f64, step: f64) -> (String, &'static str) {
        match self {
            Self::Millimetres(_) => {
                let decimals = usize::from(step < 1e3);
                (format!("{:.decimals$}", along / 1e3), "m")
            }
            Self::Sixteenths => (format!("{:.0}", along / FOOT), "ft"),
        }
    }
}

/// Kilonewtons with one decimal, without the unit.
pub(crate) fn kilonewtons(force: Force) -> String {
    if !is_printable(force) {
        return "?".to_owned();
    }
    format!("{:.1}", round_to(force.to_kn(), 0.1))
}

/// A force that something has to bear, in kilonewtons: never printed as less than it is.
pub(crate) fn kilonewtons_up(force: Force) -> String {
    outward(force, |tenths| (tenths - HAIR).ceil())
}

/// A range of forces, rounded apart; one number where both ends print alike.
pub(crate) fn kilonewtons_range(range: ForceRange) -> String {
    let least = outward(range.least, |tenths| (tenths + HAIR).floor());
    from_to(&least, &kilonewtons_up(range.most))
}

/// What is a hair beyond a step by rounding alone is taken for the step.
const HAIR: f64 = 1e-6;

/// Only what is nothing at all is plain 0. Nothing pulls, so that less than nothing is rounding.
fn outward(force: Force, round: fn(f64) -> f64) -> String {
    if !is_printable(force) {
        return "?".to_owned();
    }
    if force == Force::ZERO {
        return "0".to_owned();
    }
    format!("{:.1}", round(force.to_kn() * 10.0).max(0.0) / 10.0)
}

/// A share in whole hundredths.
pub(crate) fn percent(share: f64) -> String {
    if share.is_finite() && share.abs() < 1e6 {
        format!("{:.0} %", round_to(share * 100.0, 1.0))
    } else {
        "?".to_owned()
    }
}

/// Two ends that were printed; one of them where both say the same.
pub(crate) fn from_to(least: &str, most: &str) -> String {
    if least == most { most.to_owned() } else { format!("{least}–{most}") }
}

/// Whether a force is a number, and no larger than anything that stands on the ground.
pub(crate) fn is_printable(force: Force) -> bool {
    force.to_kn().abs() < 1e9
}

fn sixteenths(length: Length) -> String {
    ExactLength::from_mm(length.to_mm())
        .map_or_else(|| "?".to_owned(), |exact| exact.feet_and_inches(16))
}

fn with_sign(number: f64, size: &str) -> String {
    let sign = match number {
        n if n > 0.0 => "+",
        n if n < 0.0 => "\u{2212}",
        _ => "",
    };
    format!("{sign}{size}")
}

/// The largest 1, 2 or 5 times a power of ten that is not above `limit`.
fn round_below(limit: f64) -> f64 {
    let power = 10_f64.powf(limit.log10().floor());
    let steps = [5.0, 2.0, 1.0].map(|step| step * power);
    steps.into_iter().find(|&step| step <= limit * (1.0 + 1e-12)).unwrap_or(power)
}

/// The smallest 1, 2 or 5 times a power of ten that is not below `least`.
pub(crate) fn round_step(least: f64) -> f64 {
    let power = 10_f64.powf(least.max(1e-3).log10().floor());
    let steps = [1.0, 2.0, 5.0, 10.0].map(|step| step * power);
    steps.into_iter().find(|&step| step >= least).unwrap_or(10.0 * power)
}

#[cfg(test)]
mod tests {
    use super::*;

    const WHOLE: Print = Print::Millimetres(Decimals::Whole);
    const TENTHS: Print = Print::Millimetres(Decimals::Tenths);

    #[test]
    fn sign_and_decimals_are_fixed() {
        let check = |print: Print, mm: f64, expected: &str| {
            assert_eq!(print.signed(Length::mm(mm)), expected, "{mm}");
        };
        check(WHOLE, 12.4, "+12");
        check(WHOLE, -12.5, "\u{2212}13");
        check(WHOLE, -0.4, "0");
        check(TENTHS, -0.04, "0.0");
        check(TENTHS, 3.0, "+3.0");
        check(TENTHS, -3.25, "\u{2212}3.3");
        check(TENTHS, f64::NAN, "?");
        check(Print::Sixteenths, 25.4, "+1\"");
        check(Print::Sixteenths, -36.0, "\u{2212}1 7/16\""); // 22.68 sixteenths
        check(Print::Sixteenths, -0.7, "0\"");
        check(Print::Sixteenths, 311.15, "+1' 0 1/4\"");
        check(Print::Sixteenths, 1e300, "?");
        assert_eq!(WHOLE.tidy(Length::mm(1.5)) + &WHOLE.tidy(Length::mm(20.0)), "1.520");
    }

    #[test]
    fn settings_carry_their_unit() {
        assert_eq!(WHOLE.with_unit(Length::mm(2.5)), "2.5 mm");
        assert_eq!(Print::Sixteenths.with_unit(Length::inches(0.1875)), "3/16\"");
        assert_eq!(WHOLE.tidy_signed(Length::mm(-12.5)), "\u{2212}12.5");
        assert_eq!(WHOLE.tidy_signed(Length::ZERO), "0");
        assert_eq!(WHOLE.level(Level::mm(1403.84)), "+1403.8 mm");
        assert_eq!(Print::Sixteenths.level(Level::mm(-304.8)), "\u{2212}1' 0\"");
        assert_eq!(WHOLE.on_plan(Length::mm(-1234.0)), "\u{2212}1.23 m");
        assert_eq!(Print::Sixteenths.on_plan(Length::inches(-6.5)), "\u{2212}6 1/2\"");
    }

    #[test]
    fn ranges_of_forces_are_rounded_apart_and_a_range_of_one_number_is_one_number() {
        let range = |least: f64, most: f64| {
            kilonewtons_range(ForceRange { least: Force::n(least), most: Force::n(most) })
        };
        assert_eq!(range(1249.0, 1250.0), "1.2–1.3");
        assert_eq!(range(1290.0, 1310.0), "1.2–1.4");
        assert_eq!(range(1200.0, 1200.0), "1.2");
        assert_eq!(range(300.0 * (1.0 + 1e-12), 300.0 * (1.0 + 1e-12)), "0.3");
        assert_eq!(range(0.0, 20.0), "0–0.1");
        assert_eq!(range(0.0, 0.0), "0");
        assert_eq!(range(-20.0, 20.0), "0.0–0.1");
        assert_eq!(kilonewtons_up(Force::n(6910.0)), "7.0");
        assert_eq!(range(f64::NAN, 1e300), "?");
        assert_eq!(percent(0.655), "66 %");
        assert_eq!(percent(f64::INFINITY), "?");
    }

    #[test]
    fn steps_are_round_in_their_unit() {
        assert_eq!(WHOLE.round_ground(5000.0), (5000.0, "5 m".to_owned()));
        assert_eq!(Print::Sixteenths.round_ground(5000.0), (10.0 * FOOT, "10 ft".to_owned()));
        assert_eq!(Print::Sixteenths.round_ground(200.0), (5.0 * 25.4, "5 in".to_owned()));
        assert_eq!(WHOLE.height_step(3.2), 5.0);
        assert_eq!(Print::Sixteenths.height_step(5.0), 6.35);
        assert_eq!(Print::Sixteenths.along_step(1300.0), 5.0 * FOOT);
    }
}
