//! Plain water at one atmosphere: density, viscosity, surface tension, expansion.

use super::validity::OutsideValidity;
use crate::units::{Density, SurfaceTension, Temperature, Viscosity};

const LIQUID: &str = "the range over which the formulas were held against IAPWS-95";

fn celsius(temperature: Temperature) -> Result<f64, OutsideValidity> {
    OutsideValidity::check(
        "a water temperature",
        temperature.to_celsius(),
        (0.0, 45.0, "C"),
        LIQUID,
    )
}

/// Density of air-free water, for the difference that a warm leg makes.
///
/// # Errors
/// Outside 0 to 45 C.
///
/// # References
/// Kell 1975, as reprinted in Jones and Harris, J. Res. NIST 97(3), 1992, eq. 1. Many copies
/// have 16.897850e-3 in the denominator, which is a misprint: 0.27 kg/m3 low at 20 C and 3 % wrong
/// on differences.
pub fn water_density(temperature: Temperature) -> Result<Density, OutsideValidity> {
    let t = celsius(temperature)?;
    let above = 999.83952
        + t * (16.945176
            + t * (-7.9870401e-3 + t * (-46.170461e-6 + t * (105.56302e-9 - t * 280.54253e-12))));
    Ok(Density::kg_per_m3(above / (1.0 + 16.879850e-3 * t)))
}

/// Kinematic viscosity of water, on which the wait depends.
///
/// # Errors
/// Outside 0 to 45 C.
///
/// # References
/// IAPWS SR6-08 (2011), viscosity of liquid water at 0.1 MPa: four terms in T/300 K, from memory;
/// agrees with the IAPWS formulation to 0.0005 mPa s at every tabled temperature
/// (`tests/published/hose.rs`).
pub fn water_viscosity(temperature: Temperature) -> Result<Viscosity, OutsideValidity> {
    const TERMS: [(f64, f64); 4] =
        [(280.68, -1.9), (511.45, -7.7), (61.131, -19.6), (0.45903, -40.0)];
    let ratio = (celsius(temperature)? + 273.15) / 300.0;
    let micro_pa_s: f64 = TERMS.iter().map(|(factor, power)| factor * ratio.powf(*power)).sum();
    let density = water_density(temperature)?.to_kg_per_m3();
    Ok(Viscosity::mm2_per_s(micro_pa_s / density))
}

/// Surface tension of clean water against air; a drop of detergent more than halves it.
///
/// # Errors
/// Outside 0 to 45 C.
///
/// # References
/// IAPWS release R1-76 (2014): `235.8 tau^1.256 (1 - 0.625 tau)` mN/m, `tau = 1 - T/647.096 K`.
pub fn surface_tension(temperature: Temperature) -> Result<SurfaceTension, OutsideValidity> {
    let tau = 1.0 - (celsius(temperature)? + 273.15) / 647.096;
    Ok(SurfaceTension::n_per_m(0.2358 * tau.powf(1.256) * (1.0 - 0.625 * tau)))
}

/// Share by which water swells for each kelvin (a ratio per kelvin); below zero under 4 C.
///
/// # Errors
/// Outside 0 to 45 C.
///
/// # References
/// The slope of [`water_density`], over a tenth of a kelvin.
pub fn expansion(temperature: Temperature) -> Result<f64, OutsideValidity> {
    const HALF_STEP: f64 = 0.05;
    let t = celsius(temperature)?;
    let (low, high) = ((t - HALF_STEP).max(0.0), (t + HALF_STEP).min(45.0));
    let at = |t| Ok(water_density(Temperature::celsius(t))?.to_kg_per_m3());
    Ok((at(low)? - at(high)?) / (high - low) / at(t)?)
}
