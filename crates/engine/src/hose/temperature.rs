//! What unequal temperatures do to the water line.

use super::fluid::Fluid;
use super::validity::OutsideValidity;
use crate::units::{Length, Temperature};

/// One stretch of the hose, walked from the near surface towards the far one.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Run {
    /// How far it rises, up positive; zero for a flat stretch.
    pub rise: Length,
    /// How warm the water in it is.
    pub temperature: Temperature,
}

/// How much higher the far surface stands than the near one, because the water between them is
/// not all as warm. The far surface's own last stretch is at `far`.
///
/// # Units and sign
/// Up positive. A flat stretch does not count, however warm; a hump counts twice.
///
/// # Errors
/// A temperature outside what the fluid's density is known for.
///
/// # References
/// Along the hose the pressure is that of the air at both ends, so `sum rho_i rise_i = 0`; the last
/// rise is what is left over, at the density of the far leg.
pub fn far_surface_higher(
    runs: &[Run],
    far: Temperature,
    fluid: Fluid,
) -> Result<Length, OutsideValidity> {
    let mut weight = 0.0;
    let mut rise = Length::ZERO;
    for run in runs {
        weight += fluid.density(run.temperature)?.to_kg_per_m3() * run.rise.to_mm();
        rise += run.rise;
    }
    let left_over = Length::mm(-weight / fluid.density(far)?.to_kg_per_m3());
    Ok(rise + left_over)
}

/// How much higher the surface in the warm leg stands, both legs hanging equally deep.
///
/// A staff in the warm leg reads too high, so the floor there comes out too low by as much.
///
/// # Errors
/// A temperature outside what the fluid's density is known for.
///
/// # Examples
/// ```
/// use floorwright_engine::hose::{Fluid, warm_leg_higher};
/// use floorwright_engine::units::{Length, Temperature};
/// let celsius = Temperature::celsius;
/// let higher = warm_leg_higher(Length::m(0.9), celsius(18.0), celsius(26.0), Fluid::Water)?;
/// assert_eq!(higher.to_string(), "1.6 mm");
/// # Ok::<(), floorwright_engine::hose::OutsideValidity>(())
/// ```
pub fn warm_leg_higher(
    leg: Length,
    cold: Temperature,
    warm: Temperature,
    fluid: Fluid,
) -> Result<Length, OutsideValidity> {
    let runs = [Run { rise: -leg, temperature: cold }];
    far_surface_higher(&runs, warm, fluid)
}
