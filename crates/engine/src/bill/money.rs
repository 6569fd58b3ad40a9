//! Money, shares and working time as whole numbers, so that a sum comes out the same by hand.

use serde::{Serialize, Serializer};
use std::fmt;
use std::iter::Sum;
use std::ops::Add;

/// The most that a bill may come to; beyond it a digit too many was typed.
pub const MOST_MONEY: Money = Money::cents(100_000_000_000);

/// An amount of money in whole cents of the bill's currency.
///
/// # Examples
/// ```
/// use floorwright_engine::bill::Money;
/// assert_eq!(Money::cents(123_405).to_string(), "1234.05");
/// assert_eq!(Money::cents(-5).to_string(), "-0.05");
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct Money(i64);

impl Money {
    /// Nothing.
    pub const ZERO: Self = Self(0);

    /// From whole cents.
    pub const fn cents(cents: i64) -> Self {
        Self(cents)
    }

    /// In whole cents.
    pub const fn to_cents(self) -> i64 {
        self.0
    }

    /// So many times `numerator / denominator` of it, rounded once to the cent, half away from
    /// zero. `None` if that is more than [`MOST_MONEY`], or the denominator is zero.
    pub(super) fn times(self, numerator: u64, denominator: u64) -> Option<Self> {
        if denominator == 0 {
            return None;
        }
        let product = i128::from(self.0).checked_mul(i128::from(numerator))?;
        let denominator = u128::from(denominator);
        let twice = product.unsigned_abs().checked_mul(2)?.checked_add(denominator)?;
        let cents = i64::try_from(twice / (2 * denominator)).ok()?;
        let is_enough = cents <= MOST_MONEY.0;
        is_enough.then_some(Self(if product < 0 { -cents } else { cents }))
    }
}

impl Add for Money {
    type Output = Self;
    /// Holds at the largest amount instead of turning negative.
    fn add(self, other: Self) -> Self {
        Self(self.0.saturating_add(other.0))
    }
}

impl Sum for Money {
    fn sum<I: Iterator<Item = Self>>(amounts: I) -> Self {
        amounts.fold(Self::ZERO, Add::add)
    }
}

impl fmt::Display for Money {
    /// Two decimals and no currency: `1234.05`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let sign = if self.0 < 0 { "-" } else { "" };
        let cents = self.0.unsigned_abs();
        f.pad(&format!("{sign}{}.{:02}", cents / 100, cents % 100))
    }
}

impl Serialize for Money {
    /// Whole cents.
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_i64(self.0)
    }
}

/// A share of an amount, such as a margin or a tax, in whole millionths.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Share(u32);

impl Share {
    /// From a ratio between 0 and 1 that is a whole number of millionths (so 0.125, 12.5 %,
    /// 0.000001); `None` for anything else.
    ///
    /// # Examples
    /// ```
    /// use floorwright_engine::bill::Share;
    /// assert_eq!(Share::from_ratio(0.1).unwrap().to_ratio(), 0.1);
    /// assert_eq!(Share::from_ratio(-0.1), None);
    /// assert_eq!(Share::from_ratio(1.0 / 3.0), None);
    /// assert_eq!(Share::from_ratio(f64::NAN), None);
    /// ```
    pub fn from_ratio(ratio: f64) -> Option<Self> {
        let millionths = (ratio * 1e6).round();
        let is_whole = (ratio * 1e6 - millionths).abs() < 1e-4;
        (is_whole && (0.0..=1e6).contains(&millionths)).then_some(Self(millionths as u32))
    }

    /// As a ratio.
    pub fn to_ratio(self) -> f64 {
        f64::from(self.0) / 1e6
    }

    /// This share of an amount, rounded once to the cent.
    pub(super) fn of(self, amount: Money) -> Option<Money> {
        amount.times(u64::from(self.0), 1_000_000)
    }
}

impl Serialize for Share {
    /// As a ratio.
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_f64(self.to_ratio())
    }
}

/// A span of working time in whole seconds.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct WorkTime(u64);

impl WorkTime {
    /// No time.
    pub const ZERO: Self = Self(0);

    /// From whole seconds.
    pub const fn seconds(seconds: u64) -> Self {
        Self(seconds)
    }

    /// From minutes, to the nearest second; `None` if negative, not a number or above a year.
    pub fn from_minutes(minutes: f64) -> Option<Self> {
        let seconds = (minutes * 60.0).round();
        (0.0..=366.0 * 86_400.0).contains(&seconds).then_some(Self(seconds as u64))
    }

    /// In seconds.
    pub const fn to_seconds(self) -> u64 {
        self.0
    }

    /// In minutes.
    pub fn to_minutes(self) -> f64 {
        self.0 as f64 / 60.0
    }

    /// In hours.
    pub fn to_hours(self) -> f64 {
        self.0 as f64 / 3600.0
    }

    /// So many times as long.
    pub(super) fn times(self, number: u64) -> Self {
        Self(self.0.saturating_mul(number))
    }
}

impl Add for WorkTime {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self(self.0.saturating_add(other.0))
    }
}

impl Sum for WorkTime {
    fn sum<I: Iterator<Item = Self>>(times: I) -> Self {
        times.fold(Self::ZERO, Add::add)
    }
}

impl fmt::Display for WorkTime {
    /// Hours and minutes, and seconds if there are any: `3 h 25 min`, `4 min 30 s`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (hours, minutes, seconds) = (self.0 / 3600, self.0 / 60 % 60, self.0 % 60);
        let parts: Vec<String> = [(hours, "h"), (minutes, "min"), (seconds, "s")]
            .into_iter()
            .filter(|(number, _)| *number > 0)
            .map(|(number, unit)| format!("{number} {unit}"))
            .collect();
        f.pad(&if parts.is_empty() { "0 min".to_owned() } else { parts.join(" ") })
    }
}

impl Serialize for WorkTime {
    /// In minutes.
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_f64(self.to_minutes())
    }
}

/// A currency by its three letters, such as AUD.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
#[serde(transparent)]
pub struct Currency(String);

impl Currency {
    /// Three capital letters as ISO 4217 has them; `None` for anything else. Amounts are counted
    /// in hundredths of it.
    pub fn new(letters: &str) -> Option<Self> {
        let is_code = letters.len() == 3 && letters.bytes().all(|byte| byte.is_ascii_uppercase());
        is_code.then(|| Self(letters.to_owned()))
    }

    /// Its letters.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl fmt::Display for Currency {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&self.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_half_cent_goes_away_from_zero_and_nothing_is_rounded_twice() {
        let check = |cents: i64, numerator: u64, denominator: u64, expected: i64| {
            let found = Money::cents(cents).times(numerator, denominator);
            assert_eq!(found, Some(Money::cents(expected)), "{cents} x {numerator}/{denominator}");
        };
        check(5, 1, 2, 3);
        check(-5, 1, 2, -3);
        check(49, 1, 100, 0);
        check(50, 1, 100, 1);
        check(8250, 1230, 3600, 2819); // 28.1875
        check(1, 2, 3, 1);
        check(1, 1, 3, 0);
    }

    #[test]
    fn shares_are_exact_where_binary_is_not() {
        // 0.15 * 12.30 is 1.845 by hand; in binary it is a hair less.
        assert_eq!(
            Share::from_ratio(0.15).unwrap().of(Money::cents(1230)),
            Some(Money::cents(185))
        );
    }

    #[test]
    fn too_much_money_is_none_instead_of_an_overflow() {
        assert_eq!(MOST_MONEY.times(2, 1), None);
        assert_eq!(Money::cents(i64::MAX).times(u64::MAX, 1), None);
        assert_eq!(Money::cents(1).times(1, 0), None);
    }

    #[test]
    fn time_is_said_in_hours_and_minutes() {
        assert_eq!(WorkTime::seconds(12_300).to_string(), "3 h 25 min");
        assert_eq!(WorkTime::seconds(270).to_string(), "4 min 30 s");
        assert_eq!(WorkTime::ZERO.to_string(), "0 min");
        assert_eq!(WorkTime::from_minutes(-1.0), None);
        assert_eq!(WorkTime::from_minutes(f64::NAN), None);
    }
}
