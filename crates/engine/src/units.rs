//! Quantities, each with its unit in the constructor and in the accessor.
//!
//! A [`Level`] is a height above the job's datum; a [`Length`] is a difference. `Level - Level`
//! is a `Length`; `Level + Level` does not compile. [`ExactLength`] is how a reading is kept:
//! whole nanometres, so that sums over a level book are exact in millimetres and in sixteenths.

mod inches;
mod structural;
mod water;

pub use structural::{AreaLoad, Density, Force, LineLoad, Moment, Stress};
pub use water::{Angle, Area, Pressure, Seconds, SurfaceTension, Temperature, Viscosity, Volume};

use serde::{Serialize, Serializer};
use std::fmt;
use std::iter::Sum;
use std::ops::{Add, AddAssign, Div, Mul, Neg, Sub, SubAssign};

/// Two lengths closer than this are the same length to this program: a thousandth of a millimetre.
pub const LENGTH_EPS: Length = Length(1e-3);

/// A difference of height, a distance, a lift or a thickness. Held in millimetres.
#[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd)]
pub struct Length(f64);

/// A height above the job's datum, up positive. Held in millimetres.
#[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd)]
pub struct Level(f64);

/// The square of a length: a variance or a covariance. Held in square millimetres.
#[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd)]
pub struct Variance(f64);

/// Time since the job's clock started. Held in minutes.
#[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd)]
pub struct Minutes(f64);

/// How fast a water line or a line of sight creeps, up positive. Held in millimetres per minute.
#[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd)]
pub struct DriftRate(f64);

/// A length as it was read, exact: whole nanometres.
///
/// 1 mm is 10^6 nm and 1/64 in is 396,875 nm, so millimetres, metres with three decimals and
/// sixteenths of an inch are all held without rounding.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct ExactLength(i64);

impl Length {
    /// No length.
    pub const ZERO: Self = Self(0.0);

    /// From millimetres.
    pub const fn mm(mm: f64) -> Self {
        Self(mm)
    }

    /// From metres.
    pub fn m(m: f64) -> Self {
        Self(m * 1e3)
    }

    /// From inches of 25.4 mm.
    pub fn inches(inches: f64) -> Self {
        Self(inches * 25.4)
    }

    /// In millimetres.
    pub const fn to_mm(self) -> f64 {
        self.0
    }

    /// In metres.
    pub fn to_m(self) -> f64 {
        self.0 * 1e-3
    }

    /// In inches of 25.4 mm.
    pub fn to_inches(self) -> f64 {
        self.0 / 25.4
    }

    /// Times itself, as a variance.
    pub fn squared(self) -> Variance {
        Variance(self.0 * self.0)
    }

    /// The order of two lengths, NaN last; for sorting.
    pub fn total_cmp(&self, other: &Self) -> std::cmp::Ordering {
        self.0.total_cmp(&other.0)
    }
}

impl Level {
    /// The datum itself.
    pub const DATUM: Self = Self(0.0);

    /// From millimetres above the datum.
    pub const fn mm(mm: f64) -> Self {
        Self(mm)
    }

    /// From metres above the datum.
    pub fn m(m: f64) -> Self {
        Self(m * 1e3)
    }

    /// In millimetres above the datum.
    pub const fn to_mm(self) -> f64 {
        self.0
    }

    /// In metres above the datum.
    pub fn to_m(self) -> f64 {
        self.0 * 1e-3
    }

    /// Neither infinite nor NaN.
    pub fn is_finite(self) -> bool {
        self.0.is_finite()
    }

    /// The order of two levels, NaN last; for sorting.
    pub fn total_cmp(&self, other: &Self) -> std::cmp::Ordering {
        self.0.total_cmp(&other.0)
    }
}

impl Variance {
    /// No spread at all.
    pub const ZERO: Self = Self(0.0);

    /// From square millimetres.
    pub const fn mm2(mm2: f64) -> Self {
        Self(mm2)
    }

    /// In square millimetres.
    pub const fn to_mm2(self) -> f64 {
        self.0
    }

    /// The standard deviation. A variance that rounding has left a hair below zero counts as zero.
    pub fn sd(self) -> Length {
        Length(self.0.max(0.0).sqrt())
    }
}

impl Minutes {
    /// From minutes.
    pub const fn new(minutes: f64) -> Self {
        Self(minutes)
    }

    /// In minutes.
    pub const fn to_minutes(self) -> f64 {
        self.0
    }

    /// Neither infinite nor NaN.
    pub fn is_finite(self) -> bool {
        self.0.is_finite()
    }
}

impl DriftRate {
    /// From millimetres per minute.
    pub const fn mm_per_minute(rate: f64) -> Self {
        Self(rate)
    }

    /// In millimetres per minute.
    pub const fn to_mm_per_minute(self) -> f64 {
        self.0
    }

    /// In millimetres per hour, as a builder would say it.
    pub fn to_mm_per_hour(self) -> f64 {
        self.0 * 60.0
    }
}

impl ExactLength {
    /// Nothing.
    pub const ZERO: Self = Self(0);

    /// From whole nanometres.
    pub const fn nm(nm: i64) -> Self {
        Self(nm)
    }

    /// From millimetres, to the nearest nanometre; `None` if that does not fit or is not a number.
    pub fn from_mm(mm: f64) -> Option<Self> {
        let nm = (mm * 1e6).round();
        (nm.abs() < 9e18).then_some(Self(nm as i64))
    }

    /// In whole nanometres.
    pub const fn to_nm(self) -> i64 {
        self.0
    }

    /// As a plain length, for arithmetic that need not be exact.
    pub fn to_length(self) -> Length {
        Length(self.0 as f64 * 1e-6)
    }

    /// In millimetres.
    pub fn to_mm(self) -> f64 {
        self.0 as f64 * 1e-6
    }

    /// Without its sign.
    pub const fn abs(self) -> Self {
        Self(self.0.saturating_abs())
    }
}

macro_rules! additive {
    ($name:ident) => {
        impl Add for $name {
            type Output = Self;
            fn add(self, other: Self) -> Self {
                Self(self.0 + other.0)
            }
        }
        impl Sub for $name {
            type Output = Self;
            fn sub(self, other: Self) -> Self {
                Self(self.0 - other.0)
            }
        }
        impl Neg for $name {
            type Output = Self;
            fn neg(self) -> Self {
                Self(-self.0)
            }
        }
        impl AddAssign for $name {
            fn add_assign(&mut self, other: Self) {
                self.0 += other.0;
            }
        }
        impl SubAssign for $name {
            fn sub_assign(&mut self, other: Self) {
                self.0 -= other.0;
            }
        }
        impl Sum for $name {
            fn sum<I: Iterator<Item = Self>>(values: I) -> Self {
                values.fold(Self::default(), Add::add)
            }
        }
    };
}
use additive;
additive!(Length);
additive!(Variance);
additive!(DriftRate);
additive!(Minutes);
additive!(ExactLength);

macro_rules! scaled {
    ($name:ident) => {
        impl Mul<f64> for $name {
            type Output = Self;
            fn mul(self, ratio: f64) -> Self {
                Self(self.0 * ratio)
            }
        }
        impl Div<f64> for $name {
            type Output = Self;
            fn div(self, ratio: f64) -> Self {
                Self(self.0 / ratio)
            }
        }
        impl Div for $name {
            type Output = f64;
            fn div(self, other: Self) -> f64 {
                self.0 / other.0
            }
        }
    };
}
use scaled;
scaled!(Length);
scaled!(Variance);
scaled!(DriftRate);

impl Mul<Minutes> for DriftRate {
    type Output = Length;
    fn mul(self, time: Minutes) -> Length {
        Length(self.0 * time.0)
    }
}

impl Sub for Level {
    type Output = Length;
    fn sub(self, other: Self) -> Length {
        Length(self.0 - other.0)
    }
}

impl Add<Length> for Level {
    type Output = Self;
    fn add(self, rise: Length) -> Self {
        Self(self.0 + rise.0)
    }
}

impl Sub<Length> for Level {
    type Output = Self;
    fn sub(self, fall: Length) -> Self {
        Self(self.0 - fall.0)
    }
}

impl fmt::Display for Length {
    /// Millimetres with one decimal: `12.5 mm`. The sign of a value that rounds to zero is dropped.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} mm", Tenths(self.0))
    }
}

impl fmt::Display for Level {
    /// Millimetres above the datum with one decimal and a sign: `+12.5 mm`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:+} mm", Tenths(self.0))
    }
}

impl fmt::Display for ExactLength {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.to_length().fmt(f)
    }
}

/// One decimal, half away from zero, never `-0.0`.
struct Tenths(f64);

impl fmt::Display for Tenths {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let rounded = round_to(self.0, 0.1);
        if f.sign_plus() && rounded > 0.0 {
            write!(f, "+{rounded:.1}")
        } else {
            write!(f, "{rounded:.1}")
        }
    }
}

/// Rounds to the nearest multiple of `step`, half away from zero, and never to minus zero.
///
/// This is the one rounding rule of the program; it is applied where a number becomes text.
/// A value within a millionth of a step of the half counts as the half, so that a decimal
/// which binary cannot hold (0.15, 2.45) rounds the way it is written.
pub fn round_to(value: f64, step: f64) -> f64 {
    let steps = value / step;
    let rounded = (steps.abs() + 0.5 + 1e-6).floor() * step;
    if rounded == 0.0 { 0.0 } else { rounded.copysign(value) }
}

macro_rules! sized {
    ($name:ident) => {
        impl $name {
            /// Without its sign.
            pub fn abs(self) -> Self {
                Self(self.0.abs())
            }

            /// The smaller of the two.
            pub fn min(self, other: Self) -> Self {
                Self(self.0.min(other.0))
            }

            /// The larger of the two.
            pub fn max(self, other: Self) -> Self {
                Self(self.0.max(other.0))
            }

            /// Neither infinite nor NaN.
            pub fn is_finite(self) -> bool {
                self.0.is_finite()
            }
        }
    };
}
use sized;
sized!(Length);

macro_rules! as_number {
    ($name:ident, $accessor:ident) => {
        impl Serialize for $name {
            fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
                serializer.serialize_f64(self.$accessor())
            }
        }
    };
}
use as_number;
as_number!(Length, to_mm);
as_number!(Level, to_mm);
as_number!(Variance, to_mm2);
as_number!(Minutes, to_minutes);
as_number!(DriftRate, to_mm_per_minute);
as_number!(ExactLength, to_mm);

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sixty_fourths_of_an_inch_are_exact() {
        assert_eq!(ExactLength::from_mm(25.4 / 64.0), Some(ExactLength::nm(396_875)));
    }

    #[test]
    fn not_a_number_is_no_reading() {
        assert_eq!(ExactLength::from_mm(f64::NAN), None);
        assert_eq!(ExactLength::from_mm(f64::INFINITY), None);
    }

    #[test]
    fn difference_of_levels_is_a_length() {
        assert_eq!(Level::mm(12.0) - Level::m(0.010), Length::mm(2.0));
    }

    #[test]
    fn rounding_is_half_away_from_zero_and_without_minus_zero() {
        let check = |value: f64, expected: &str| {
            assert_eq!(Length::mm(value).to_string(), expected, "{value}");
        };
        check(0.15, "0.2 mm");
        check(-0.15, "-0.2 mm");
        check(-0.04, "0.0 mm");
        check(2.45, "2.5 mm");
        assert_eq!(Level::mm(0.04).to_string(), "0.0 mm");
        assert_eq!(Level::mm(3.0).to_string(), "+3.0 mm");
    }
}
