//! Air: on the two surfaces, shut in over one of them, and caught in the hose.

use super::GRAVITY;
use super::meniscus::STUCK_FACTOR;
use crate::units::{Angle, Density, Length, Pressure, SurfaceTension, Temperature};

/// One atmosphere.
const ATMOSPHERE: f64 = 101_325.0;
/// Density of air that a wind pressure is worked out with, kg/m3; rounded.
const AIR: f64 = 1.2;

/// How far apart two surfaces stand for a difference of air pressure; the side with more stands
/// lower.
pub fn level_of_pressure(difference: Pressure, density: Density) -> Length {
    Length::m(difference.to_pa() / (density.to_kg_per_m3() * GRAVITY))
}

/// What a wind of this speed, in metres per second (a plain number, as forecasts have it), does on
/// an open end that it blows into.
///
/// # References
/// Half rho v squared with coefficient 1; air of 1.2 kg/m3.
pub fn wind_pressure(metres_per_second: f64) -> Pressure {
    Pressure::pa(0.5 * AIR * metres_per_second * metres_per_second)
}

/// What a closed end shows of a move: almost nothing.
///
/// `air` is the length of air shut in over the water, `raised` how far the end was raised.
///
/// # References
/// Hydrostatics with Boyle's law: `rho g (h - y) = p0 (1 - l/(l + y))`, a quadratic in y.
pub fn closed_end_shows(air: Length, raised: Length, density: Density) -> Length {
    let weight = density.to_kg_per_m3() * GRAVITY;
    let (l, h) = (air.to_m(), raised.to_m());
    let half = (ATMOSPHERE + weight * (l - h)) / 2.0;
    let product = weight * weight * h * l;
    // The stable form of the root: the plain one loses digits where the answer is small.
    Length::m(product / weight / (half + (half * half + product).sqrt()))
}

/// The level that one warming of shut-in air is worth, if its room does not grow.
pub fn warming_of_closed_air(from: Temperature, to: Temperature, density: Density) -> Length {
    let kelvin = from.to_celsius() + 273.15;
    let rise = ATMOSPHERE * (to.to_celsius() - from.to_celsius()) / kelvin;
    level_of_pressure(Pressure::pa(rise), density)
}

/// The pressure that one slug of air on a flat run can hold before it moves; an upper limit, which
/// tapping lowers.
///
/// # References
/// `4 sigma/D (cos receding - cos advancing)`: the two ends of the slug meet the wall at different
/// angles.
pub fn slug_holds(
    bore: Length,
    tension: SurfaceTension,
    advancing: Angle,
    receding: Angle,
) -> Pressure {
    let angles = receding.to_radians().cos() - advancing.to_radians().cos();
    Pressure::pa(STUCK_FACTOR * tension.to_n_per_m() / bore.to_m() * angles)
}
