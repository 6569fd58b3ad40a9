//! Quantities of the frame under the floor: forces, loads, stresses, moments.

use super::{Length, additive, as_number, round_to, scaled, sized};
use serde::{Serialize, Serializer};
use std::fmt;
use std::iter::Sum;
use std::ops::{Add, AddAssign, Div, Mul, Neg, Sub, SubAssign};

/// Standard gravity in metres per second squared, which turns a mass into a weight.
const GRAVITY: f64 = 9.80665;

/// A force. Reactions are positive up, loads positive down. Held in newtons.
#[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd)]
pub struct Force(f64);

/// A force spread along a line, positive down. Held in newtons per millimetre.
#[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd)]
pub struct LineLoad(f64);

/// A force spread over an area, positive down. Held in newtons per square millimetre.
#[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd)]
pub struct AreaLoad(f64);

/// A stress, a strength or a modulus of elasticity. Held in newtons per square millimetre.
#[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd)]
pub struct Stress(f64);

/// A bending moment, sagging positive. Held in newton millimetres.
#[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd)]
pub struct Moment(f64);

/// A mass by volume. Held in kilograms per cubic metre.
#[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd)]
pub struct Density(f64);

impl Force {
    /// No force.
    pub const ZERO: Self = Self(0.0);

    /// From newtons.
    pub const fn n(n: f64) -> Self {
        Self(n)
    }

    /// From kilonewtons.
    pub fn kn(kn: f64) -> Self {
        Self(kn * 1e3)
    }

    /// In newtons.
    pub const fn to_n(self) -> f64 {
        self.0
    }

    /// In kilonewtons.
    pub fn to_kn(self) -> f64 {
        self.0 * 1e-3
    }

    /// The weight of a mass in kilograms, as a jack's rating is often written.
    pub fn of_kg(kg: f64) -> Self {
        Self(kg * GRAVITY)
    }

    /// The mass in kilograms that weighs as much.
    pub fn to_kg(self) -> f64 {
        self.0 / GRAVITY
    }
}

impl LineLoad {
    /// No load.
    pub const ZERO: Self = Self(0.0);

    /// From kilonewtons per metre, which is the same number of newtons per millimetre.
    pub const fn kn_per_m(load: f64) -> Self {
        Self(load)
    }

    /// In kilonewtons per metre.
    pub const fn to_kn_per_m(self) -> f64 {
        self.0
    }
}

impl AreaLoad {
    /// No load.
    pub const ZERO: Self = Self(0.0);

    /// From kilopascals: kilonewtons per square metre.
    pub fn kpa(load: f64) -> Self {
        Self(load * 1e-3)
    }

    /// In kilopascals.
    pub fn to_kpa(self) -> f64 {
        self.0 * 1e3
    }

    /// In newtons per square millimetre.
    pub const fn to_n_per_mm2(self) -> f64 {
        self.0
    }
}

impl Stress {
    /// No stress.
    pub const ZERO: Self = Self(0.0);

    /// From newtons per square millimetre, which are megapascals.
    pub const fn n_per_mm2(stress: f64) -> Self {
        Self(stress)
    }

    /// In newtons per square millimetre.
    pub const fn to_n_per_mm2(self) -> f64 {
        self.0
    }
}

impl Moment {
    /// No moment.
    pub const ZERO: Self = Self(0.0);

    /// From newton millimetres.
    pub const fn n_mm(moment: f64) -> Self {
        Self(moment)
    }

    /// In newton millimetres.
    pub const fn to_n_mm(self) -> f64 {
        self.0
    }

    /// In kilonewton metres.
    pub fn to_kn_m(self) -> f64 {
        self.0 * 1e-6
    }
}

impl Density {
    /// From kilograms per cubic metre.
    pub const fn kg_per_m3(density: f64) -> Self {
        Self(density)
    }

    /// In kilograms per cubic metre.
    pub const fn to_kg_per_m3(self) -> f64 {
        self.0
    }

    /// The weight of a beam of this section along its length.
    pub fn weight_along(self, breadth: Length, depth: Length) -> LineLoad {
        LineLoad(self.0 * GRAVITY * 1e-9 * breadth.to_mm() * depth.to_mm())
    }
}

additive!(Force);
additive!(LineLoad);
additive!(AreaLoad);
additive!(Stress);
additive!(Moment);
sized!(Force);
sized!(Stress);
sized!(Moment);
scaled!(Force);
scaled!(LineLoad);
scaled!(AreaLoad);
scaled!(Stress);
scaled!(Moment);
scaled!(Density);

impl Mul<Length> for LineLoad {
    type Output = Force;
    fn mul(self, length: Length) -> Force {
        Force(self.0 * length.to_mm())
    }
}

impl Mul<Length> for AreaLoad {
    type Output = LineLoad;
    fn mul(self, width: Length) -> LineLoad {
        LineLoad(self.0 * width.to_mm())
    }
}

impl fmt::Display for Force {
    /// Kilonewtons with one decimal: `4.6 kN`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:.1} kN", round_to(self.to_kn(), 0.1))
    }
}

impl fmt::Display for LineLoad {
    /// Kilonewtons per metre with two decimals: `1.50 kN/m`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:.2} kN/m", round_to(self.0, 0.01))
    }
}

impl fmt::Display for AreaLoad {
    /// Kilopascals with two decimals: `0.50 kPa`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:.2} kPa", round_to(self.to_kpa(), 0.01))
    }
}

impl fmt::Display for Stress {
    /// Newtons per square millimetre with one decimal: `17.1 N/mm²`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:.1} N/mm²", round_to(self.0, 0.1))
    }
}

as_number!(Force, to_n);
as_number!(LineLoad, to_kn_per_m);
as_number!(AreaLoad, to_kpa);
as_number!(Stress, to_n_per_mm2);
as_number!(Moment, to_n_mm);
as_number!(Density, to_kg_per_m3);

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: the kilonewton per metre and the newton per millimetre are one unit; 600 kg/m3 of
    /// 75 x 125 mm is 5.625 kg/m, times 9.80665 N/kg (closed form).
    #[test]
    fn weight_of_a_bearer() {
        let load = Density::kg_per_m3(600.0).weight_along(Length::mm(75.0), Length::mm(125.0));
        assert!((load.to_kn_per_m() - 5.625 * 9.80665e-3).abs() < 1e-12);
        assert!(((load * Length::m(2.0)).to_n() - 2.0 * 5.625 * 9.80665).abs() < 1e-9);
        assert!((Force::of_kg(2000.0).to_kn() - 19.6133).abs() < 1e-9);
    }

    #[test]
    fn area_times_width_is_a_line_load() {
        assert_eq!((AreaLoad::kpa(0.5) * Length::mm(450.0)).to_string(), "0.23 kN/m");
        assert_eq!(Force::n(4628.4431).to_string(), "4.6 kN");
    }
}
