//! Quantities of water in a hose: temperature, time, areas, viscosity, surface tension, pressure.

use super::{Length, additive, as_number, scaled, sized};
use serde::{Serialize, Serializer};
use std::iter::Sum;
use std::ops::{Add, AddAssign, Div, Mul, Neg, Sub, SubAssign};

/// A temperature. Held in degrees Celsius; a difference of two is in kelvin.
#[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd)]
pub struct Temperature(f64);

/// A short time. Held in seconds.
#[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd)]
pub struct Seconds(f64);

/// An area. Held in square millimetres.
#[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd)]
pub struct Area(f64);

/// A volume. Held in millilitres.
#[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd)]
pub struct Volume(f64);

/// A kinematic viscosity. Held in square millimetres per second.
#[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd)]
pub struct Viscosity(f64);

/// A surface tension. Held in newtons per metre.
#[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd)]
pub struct SurfaceTension(f64);

/// A pressure. Held in pascals.
#[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd)]
pub struct Pressure(f64);

/// An angle. Held in degrees.
#[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd)]
pub struct Angle(f64);

impl Temperature {
    /// From degrees Celsius.
    pub const fn celsius(celsius: f64) -> Self {
        Self(celsius)
    }

    /// In degrees Celsius.
    pub const fn to_celsius(self) -> f64 {
        self.0
    }
}

impl Seconds {
    /// From seconds.
    pub const fn new(seconds: f64) -> Self {
        Self(seconds)
    }

    /// In seconds.
    pub const fn to_seconds(self) -> f64 {
        self.0
    }
}

impl Area {
    /// From square millimetres.
    pub const fn mm2(mm2: f64) -> Self {
        Self(mm2)
    }

    /// Of a circle of this diameter.
    pub fn of_circle(diameter: Length) -> Self {
        Self(std::f64::consts::PI / 4.0 * diameter.to_mm() * diameter.to_mm())
    }

    /// In square millimetres.
    pub const fn to_mm2(self) -> f64 {
        self.0
    }
}

impl Volume {
    /// From millilitres.
    pub const fn ml(ml: f64) -> Self {
        Self(ml)
    }

    /// In millilitres.
    pub const fn to_ml(self) -> f64 {
        self.0
    }

    /// In litres.
    pub fn to_litres(self) -> f64 {
        self.0 * 1e-3
    }

    /// How deep it stands over an area.
    pub fn over(self, area: Area) -> Length {
        Length::mm(self.0 * 1e3 / area.0)
    }
}

impl Mul<Length> for Area {
    type Output = Volume;
    fn mul(self, depth: Length) -> Volume {
        Volume(self.0 * depth.to_mm() * 1e-3)
    }
}

impl Viscosity {
    /// From square millimetres per second.
    pub const fn mm2_per_s(mm2_per_s: f64) -> Self {
        Self(mm2_per_s)
    }

    /// In square millimetres per second.
    pub const fn to_mm2_per_s(self) -> f64 {
        self.0
    }

    /// In square metres per second.
    pub fn to_m2_per_s(self) -> f64 {
        self.0 * 1e-6
    }
}

impl SurfaceTension {
    /// From newtons per metre.
    pub const fn n_per_m(n_per_m: f64) -> Self {
        Self(n_per_m)
    }

    /// In newtons per metre.
    pub const fn to_n_per_m(self) -> f64 {
        self.0
    }
}

impl Pressure {
    /// From pascals.
    pub const fn pa(pa: f64) -> Self {
        Self(pa)
    }

    /// In pascals.
    pub const fn to_pa(self) -> f64 {
        self.0
    }
}

impl Angle {
    /// From degrees.
    pub const fn degrees(degrees: f64) -> Self {
        Self(degrees)
    }

    /// In degrees.
    pub const fn to_degrees(self) -> f64 {
        self.0
    }

    /// In radians.
    pub fn to_radians(self) -> f64 {
        self.0.to_radians()
    }
}

additive!(Seconds);
additive!(Area);
additive!(Volume);
scaled!(Seconds);
scaled!(Area);
scaled!(Volume);
sized!(Temperature);
sized!(Seconds);
sized!(Area);
as_number!(Temperature, to_celsius);
as_number!(Seconds, to_seconds);
as_number!(Area, to_mm2);
as_number!(Volume, to_ml);
as_number!(Viscosity, to_mm2_per_s);
as_number!(SurfaceTension, to_n_per_m);
as_number!(Pressure, to_pa);
as_number!(Angle, to_degrees);
