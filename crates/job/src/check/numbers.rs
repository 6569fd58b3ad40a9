//! Typed numbers to quantities: one way in for each kind, each with its range.

use super::{Checker, Spot};
use crate::form_v1::{LimitForm, Quantity, Terms};
use crate::limits::Range;
use crate::measure::{DecimalMark, Unit, parse_length, parse_slope};
use crate::quantities::Kind;
use crate::said::NO_REASON;
use crate::words::Words;
use floorwright_engine::settings::Limit;
use floorwright_engine::units::{ExactLength, Length, Level};

impl Checker<'_> {
    /// A length in the given unit, within its range; otherwise a fault and nothing.
    pub(super) fn exact_length(
        &mut self,
        spot: &Spot,
        key: &str,
        quantity: &Quantity,
        unit: Unit,
        range: &Range,
    ) -> Option<ExactLength> {
        let length = match quantity {
            Quantity::Number(number) => {
                let mm = number * mm_in(unit);
                match ExactLength::from_mm(mm) {
                    Some(length) => length,
                    None => {
                        self.out_of_range(spot, key, range.show(mm), range);
                        return None;
                    }
                }
            }
            Quantity::Text(text) => match parse_length(text, unit, DecimalMark::Point) {
                Ok(length) => length,
                Err(error) => {
                    let fault = self
                        .error(spot, key, format!("{key} cannot be read: {error}"))
                        .value(text.as_str())
                        .hint(error.hint());
                    self.faults.push(fault);
                    return None;
                }
            },
        };
        if !range.holds(length.to_mm()) {
            self.out_of_range(spot, key, range.show(length.to_mm()), range);
            return None;
        }
        Some(length)
    }

    /// A length in the job's unit.
    pub(super) fn length(
        &mut self,
        spot: &Spot,
        key: &str,
        quantity: Option<&Quantity>,
        range: &Range,
    ) -> Option<Length> {
        let unit = self.units;
        self.exact_length(spot, key, quantity?, unit, range).map(ExactLength::to_length)
    }

    /// A height above the datum in the job's unit.
    pub(super) fn level(
        &mut self,
        spot: &Spot,
        key: &str,
        quantity: Option<&Quantity>,
        range: &Range,
    ) -> Option<Level> {
        self.length(spot, key, quantity, range).map(|length| Level::mm(length.to_mm()))
    }

    /// A slope, as a ratio.
    pub(super) fn slope(
        &mut self,
        spot: &Spot,
        key: &str,
        quantity: Option<&Quantity>,
        range: &Range,
    ) -> Option<f64> {
        let ratio = match quantity? {
            Quantity::Number(mm_per_m) => mm_per_m / 1000.0,
            Quantity::Text(text) => match parse_slope(text) {
                Some(ratio) => ratio,
                None => {
                    let fault = self
                        .error(spot, key, format!("{key} is not a slope"))
                        .value(text.as_str())
                        .hint("write \"1 in 300\", or a number of mm per m");
                    self.faults.push(fault);
                    return None;
                }
            },
        };
        if range.holds(ratio) {
            return Some(ratio);
        }
        let typed = match quantity? {
            Quantity::Number(mm_per_m) => format!("{mm_per_m} mm per m"),
            Quantity::Text(text) => text.clone(),
        };
        let end = |slope: f64| match slope {
            slope if slope > 0.0 => format!("1 in {:.0}", 1.0 / slope),
            _ => "level".to_owned(),
        };
        let limit = format!("{} to {}", end(range.low), end(range.high));
        let fault = self.error(spot, key, format!("{key} is out of range"));
        self.faults.push(fault.value(typed).limit(limit).hint(range.why));
        None
    }

    /// A force, a load, a stress, a density or a ratio, in the first unit of its kind.
    pub(super) fn measured(
        &mut self,
        spot: &Spot,
        key: &str,
        quantity: Option<&Quantity>,
        kind: &Kind,
        range: &Range,
    ) -> Option<f64> {
        let quantity = quantity?;
        match kind.read(quantity) {
            Some(number) => self.number(spot, key, number, range),
            None => {
                let fault = self
                    .error(spot, key, format!("{key} cannot be read"))
                    .value(quantity.to_string())
                    .hint(kind.examples);
                self.faults.push(fault);
                None
            }
        }
    }

    /// A plain number.
    pub(super) fn number(
        &mut self,
        spot: &Spot,
        key: &str,
        number: f64,
        range: &Range,
    ) -> Option<f64> {
        if range.holds(number) {
            return Some(number);
        }
        self.out_of_range(spot, key, range.show(number), range);
        None
    }

    /// A whole number.
    pub(super) fn count(
        &mut self,
        spot: &Spot,
        key: &str,
        quantity: &Quantity,
        range: &Range,
    ) -> Option<usize> {
        let number = match quantity {
            Quantity::Number(number) => *number,
            Quantity::Text(text) => text.trim().parse().unwrap_or(f64::NAN),
        };
        if number.is_finite() && number.fract() != 0.0 {
            let fault = self
                .error(spot, key, format!("{key} is not a whole number"))
                .value(range.show(number))
                .hint("write a whole number");
            self.faults.push(fault);
            return None;
        }
        self.number(spot, key, number, range).map(|number| number as usize)
    }

    fn out_of_range(&mut self, spot: &Spot, key: &str, value: String, range: &Range) {
        let (mut value, mut limit) = (value, range.words());
        // In the unit of the job, unless an end is too small for a sixty-fourth of an inch.
        if range.unit == "mm" && (range.low == 0.0 || range.low.abs() >= 1.0) {
            let words = Words::new(Terms::default(), self.units);
            (value, limit) = (words.sentence(value), words.sentence(limit));
        }
        let fault = self
            .error(spot, key, format!("{key} is out of range"))
            .value(value)
            .limit(limit)
            .hint(range.why);
        self.faults.push(fault);
    }

    /// A limit by the job in place of the assumed one, with its reason.
    pub(super) fn limit<T>(
        &mut self,
        given: Option<&LimitForm>,
        assumed: Limit<T>,
        read: impl FnOnce(&mut Self, &Quantity) -> Option<T>,
    ) -> Limit<T> {
        let (quantity, reason) = match given {
            None => return assumed,
            Some(LimitForm::Bare(quantity)) => (quantity, None),
            Some(LimitForm::Reasoned(reasoned)) => (&reasoned.value, reasoned.reason.as_deref()),
        };
        match read(self, quantity) {
            Some(value) => Limit::given(value, reason.unwrap_or(NO_REASON)),
            None => assumed,
        }
    }
}

/// How many millimetres a bare number counts.
pub(super) fn mm_in(unit: Unit) -> f64 {
    match unit {
        Unit::Millimetres => 1.0,
        Unit::Metres => 1e3,
        Unit::FeetInches => 25.4,
    }
}
