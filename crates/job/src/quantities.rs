//! Forces, loads, stresses and densities as people write them.
//!
//! A bare number is in the unit that comes first in each list, whatever the unit of lengths is.

use crate::form_v1::Quantity;

/// A kind of quantity: its units, the one of a bare number first, and what each counts of that.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Kind {
    /// Units as they are written, in small letters without spaces, and how much of the first unit
    /// each is.
    units: &'static [(&'static str, f64)],
    /// What to write; given as the hint.
    pub examples: &'static str,
}

const GRAVITY_KN_PER_KG: f64 = 9.80665e-3;
const KN_PER_LB: f64 = 4.448_221_615_260_5e-3;
const M_PER_FT: f64 = 0.3048;

/// Forces in kilonewtons. A ton is not among the units, for it may be of 2,000 lb, of 2,240 lb or
/// of 1,000 kg.
pub const FORCE: Kind = Kind {
    units: &[
        ("kn", 1.0),
        ("n", 1e-3),
        ("kg", GRAVITY_KN_PER_KG),
        ("t", GRAVITY_KN_PER_KG * 1e3),
        ("lb", KN_PER_LB),
        ("lbs", KN_PER_LB),
    ],
    examples: "write a number of kN, or for example \"250 kg\", \"2 t\" (of 1,000 kg) or \"4000 lb\"",
};

/// Loads along a line in kilonewtons per metre.
pub const LINE_LOAD: Kind = Kind {
    units: &[
        ("kn/m", 1.0),
        ("n/m", 1e-3),
        ("n/mm", 1.0),
        ("kg/m", GRAVITY_KN_PER_KG),
        ("lb/ft", KN_PER_LB / M_PER_FT),
        ("plf", KN_PER_LB / M_PER_FT),
    ],
    examples: "write a number of kN/m, or for example \"1.5 kN/m\", \"150 kg/m\" or \"100 lb/ft\"",
};

/// Loads over an area in kilopascals.
pub const AREA_LOAD: Kind = Kind {
    units: &[
        ("kpa", 1.0),
        ("kn/m2", 1.0),
        ("n/m2", 1e-3),
        ("kg/m2", GRAVITY_KN_PER_KG),
        ("psf", KN_PER_LB / (M_PER_FT * M_PER_FT)),
        ("lb/ft2", KN_PER_LB / (M_PER_FT * M_PER_FT)),
    ],
    examples: "write a number of kPa, or for example \"0.5 kPa\", \"50 kg/m2\" or \"10 psf\"",
};

/// Stresses and moduli in newtons per square millimetre.
pub const STRESS: Kind = Kind {
    units: &[
        ("n/mm2", 1.0),
        ("mpa", 1.0),
        ("gpa", 1e3),
        ("psi", KN_PER_LB * 1e3 / (25.4 * 25.4)),
        ("ksi", KN_PER_LB * 1e6 / (25.4 * 25.4)),
    ],
    examples: "write a number of N/mm2 (MPa), or for example \"6900 MPa\", \"6.9 GPa\" or \"900 psi\"",
};

/// Densities in kilograms per cubic metre.
pub const DENSITY: Kind = Kind {
    units: &[("kg/m3", 1.0), ("lb/ft3", 16.018_463_373_960_14), ("pcf", 16.018_463_373_960_14)],
    examples: "write a number of kg/m3, or for example \"600 kg/m3\" or \"35 lb/ft3\"",
};

/// Plain numbers: money, hours, minutes.
pub const PLAIN: Kind = Kind { units: &[("", 1.0)], examples: "write a number, such as 82.50" };

/// Ratios.
pub const RATIO: Kind =
    Kind { units: &[("", 1.0), ("%", 1e-2)], examples: "write a ratio such as 0.5, or \"50 %\"" };

impl Kind {
    /// The number of the first unit, if that is what was written.
    ///
    /// # Examples
    /// ```
    /// use floorwright_job::form_v1::Quantity;
    /// use floorwright_job::quantities::FORCE;
    /// assert_eq!(FORCE.read(&Quantity::from("2 t")), Some(19.6133));
    /// assert_eq!(FORCE.read(&Quantity::from("2 tons")), None);
    /// ```
    pub fn read(&self, written: &Quantity) -> Option<f64> {
        let text = match written {
            Quantity::Number(number) => return Some(*number),
            Quantity::Text(text) => plain(text),
        };
        let with_unit = self
            .units
            .iter()
            .find_map(|(unit, factor)| Some(plain_number(text.strip_suffix(unit)?)? * factor));
        with_unit.or_else(|| plain_number(&text))
    }
}

fn plain(text: &str) -> String {
    text.chars()
        .filter(|letter| !letter.is_whitespace())
        .flat_map(char::to_lowercase)
        .map(|letter| match letter {
            '\u{b2}' => '2',
            '\u{b3}' => '3',
            '\u{2212}' => '-',
            other => other,
        })
        .collect()
}

/// Digits with at most one decimal point, and no exponent.
fn plain_number(text: &str) -> Option<f64> {
    let digits = text.strip_prefix('-').unwrap_or(text);
    let plain = digits.bytes().all(|byte| byte.is_ascii_digit() || byte == b'.');
    if plain && digits.len() < 20 { text.parse().ok() } else { None }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_ways_to_write_one_quantity() {
        let check = |kind: Kind, text: &str, expected: f64| {
            let found = kind.read(&Quantity::from(text)).unwrap_or(f64::NAN);
            assert!((found - expected).abs() <= 1e-6 * expected.abs(), "{text}: {found}");
        };
        check(FORCE, "2.5", 2.5);
        check(FORCE, "2500 N", 2.5);
        check(FORCE, "250kg", 2.451_662_5);
        check(FORCE, "5 T", 49.033_25);
        check(FORCE, "4000 lb", 17.792_886);
        check(LINE_LOAD, "1.5 kN/m", 1.5);
        check(LINE_LOAD, "100 lb/ft", 1.459_390);
        check(AREA_LOAD, "40 psf", 1.915_210);
        check(AREA_LOAD, "50 kg/m\u{b2}", 0.490_332_5);
        check(STRESS, "1600000 psi", 11_031.612);
        check(STRESS, "6.9 GPa", 6900.0);
        check(DENSITY, "35 pcf", 560.646_2);
        check(RATIO, "50 %", 0.5);
    }

    #[test]
    fn what_is_no_quantity_is_none() {
        for text in ["", "kN", "2 tons", "2 ton", "1e3", "nan", "2,5 kN", "2 kPa", "--2", "inf"] {
            assert_eq!(FORCE.read(&Quantity::from(text)), None, "{text}");
        }
    }
}
