//! Slips of the unit that leave every number in its range: metres typed in a job in millimetres.

use super::{Checker, Spot};
use crate::form_v1::Quantity;
use crate::measure::Unit;
use floorwright_engine::ids::SupportId;
use floorwright_engine::site::Position;
use floorwright_engine::units::{ExactLength, Length};
use std::collections::BTreeSet;

/// Readings below this, all of them, are metres read as millimetres: our own rule, for a staff is
/// at most 8 m long.
const LOOKS_LIKE_METRES: Length = Length::mm(10.0);

/// A plan smaller than this is no floor: our own rule.
const SMALLEST_PLAN: Length = Length::mm(1000.0);

/// Supports nearer to one another than this cannot both be there: our own rule.
const NEAREST_SUPPORTS: Length = Length::mm(5.0);

/// From so many on it is no accident.
const ENOUGH: usize = 3;

/// The readings of one setup or level book that brought no unit of their own.
#[derive(Debug)]
pub(super) struct BareReadings {
    pub(super) spot: Spot,
    pub(super) values: Vec<ExactLength>,
}

impl BareReadings {
    pub(super) fn new(spot: &Spot) -> Self {
        Self { spot: spot.clone(), values: Vec::new() }
    }

    /// Notes a reading, if it was typed without a unit.
    pub(super) fn note(&mut self, typed: &Quantity, value: ExactLength) {
        let bare = match typed {
            Quantity::Number(_) => true,
            Quantity::Text(text) => text.trim().parse::<f64>().is_ok(),
        };
        if bare {
            self.values.push(value);
        }
    }

    fn looks_like_metres(&self) -> bool {
        let below = |value: &ExactLength| value.to_length().abs() < LOOKS_LIKE_METRES;
        !self.values.is_empty() && self.values.iter().all(below)
    }
}

impl Checker<'_> {
    /// Readings that are all too small to be millimetres, in the whole job or in one setup.
    pub(super) fn check_metres(&mut self) {
        if self.reading_units != Unit::Millimetres {
            return;
        }
        let groups = std::mem::take(&mut self.bare_readings);
        let typed = groups.iter().filter(|group| !group.values.is_empty());
        let n_readings: usize = typed.clone().map(|group| group.values.len()).sum();
        if n_readings > 0 && typed.clone().all(BareReadings::looks_like_metres) {
            let spot = self.spot("job", "");
            self.readings_too_small(&spot, "reading_units", n_readings);
            return;
        }
        for group in typed.filter(|group| group.values.len() >= ENOUGH) {
            if group.looks_like_metres() {
                self.readings_too_small(&group.spot, "readings", group.values.len());
            }
        }
    }

    fn readings_too_small(&mut self, spot: &Spot, key: &str, n_readings: usize) {
        let which = if n_readings == 1 {
            "the only reading is".to_owned()
        } else {
            format!("all {n_readings} readings are")
        };
        let what = format!("{which} below {LOOKS_LIKE_METRES}: are they in metres?");
        let hint = if self.bare_table {
            "if they are in metres, head the column reading_m; if in millimetres, reading_mm"
        } else {
            "if they are in metres, write reading_units = \"m\" under [job]; if not, write each with its unit, such as \"1.6 mm\""
        };
        let fault = if n_readings >= ENOUGH {
            self.error(spot, key, what)
        } else {
            self.warning(spot, key, what)
        };
        self.faults.push(fault.hint(hint));
    }

    /// A plan that is too small for a floor: its places are in another unit than the job's.
    pub(super) fn check_plan_size(
        &mut self,
        places: &[Position],
        supports: &[(SupportId, Position)],
    ) {
        let distinct: BTreeSet<(u64, u64)> = places
            .iter()
            .map(|at| ((at.x.to_mm() + 0.0).to_bits(), (at.y.to_mm() + 0.0).to_bits()))
            .collect();
        let (unit, hint) = match (self.units, self.bare_table) {
            (Unit::Millimetres, true) => ("metres", "if they are, head the columns x_m and y_m"),
            (Unit::Millimetres, false) => (
                "metres",
                "if they are, write units = \"m\" under [job], or each with its unit, such as \"3.6 m\"",
            ),
            (Unit::FeetInches, _) => {
                ("feet", "if they are, write each with its foot mark, such as \"12'\"")
            }
            (Unit::Metres, _) => return,
        };
        let extent = |along: fn(&Position) -> Length| {
            let along = places.iter().map(along);
            let (low, high) = (along.clone().reduce(Length::min), along.reduce(Length::max));
            low.zip(high).map_or(Length::ZERO, |(low, high)| high - low)
        };
        let wide = extent(|at| at.x).max(extent(|at| at.y));
        if distinct.len() < ENOUGH || wide >= SMALLEST_PLAN {
            return;
        }
        let spot = self.spot("", "plan");
        let fault = match too_near(supports) {
            Some((first, second, apart)) => self.error(
                &spot,
                "",
                format!("it is {wide} wide, and supports {first} and {second} are {apart} apart: are x and y in {unit}?"),
            ),
            None => {
                self.warning(&spot, "", format!("the whole plan is {wide} wide: are x and y in {unit}?"))
            }
        };
        self.faults.push(fault.hint(hint));
    }
}

/// Two supports that stand too near to one another, if there are any; those on one and the same
/// place are another fault.
fn too_near(supports: &[(SupportId, Position)]) -> Option<(&SupportId, &SupportId, Length)> {
    let mut along_x: Vec<&(SupportId, Position)> = supports.iter().collect();
    along_x.sort_by(|(_, a), (_, b)| a.x.total_cmp(&b.x).then(a.y.total_cmp(&b.y)));
    for (idx, (first, at)) in along_x.iter().enumerate() {
        let near =
            along_x[idx + 1..].iter().take_while(|(_, other)| other.x - at.x < NEAREST_SUPPORTS);
        for (second, other) in near {
            let apart = at.distance(*other);
            if apart > Length::ZERO && apart < NEAREST_SUPPORTS {
                return Some((first, second, apart));
            }
        }
    }
    None
}
