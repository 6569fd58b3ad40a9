//! What the hose is filled with.

use super::validity::OutsideValidity;
use super::water::{water_density, water_viscosity};
use crate::units::{Density, Temperature, Viscosity};
use serde::Serialize;

/// The most glycol, by mass, that the table has (a ratio).
pub const MOST_GLYCOL: f64 = 0.5;

/// An antifreeze.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Glycol {
    /// Propylene glycol: far less poisonous than the other, not harmless.
    Propylene,
    /// Ethylene glycol: a sweet poison.
    Ethylene,
}

/// What the hose is filled with.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum Fluid {
    /// Plain water.
    #[default]
    Water,
    /// Water with a little dye in all of it; as heavy and as thin as water.
    DyedWater,
    /// Water with antifreeze in all of it.
    Mix {
        /// Which.
        glycol: Glycol,
        /// Its share by mass (a ratio).
        mass_share: f64,
    },
}

const TEMPERATURES: [f64; 5] = [0.0, 10.0, 20.0, 30.0, 40.0];
const STEP: f64 = 0.1;

/// Density and viscosity at 0 to 40 C, and the freezing point, of one mix.
struct Row {
    freezes: f64,
    density: [f64; 5],
    viscosity: [f64; 5],
}

const fn row(freezes: f64, density: [f64; 5], viscosity: [f64; 5]) -> Row {
    Row { freezes, density, viscosity }
}

/// 10 to 50 % by mass. Melinder 2010, by the incompressible fits of CoolProp; independent tables
/// differ by up to 5 kg/m3, between mass and volume percent and between inhibitors.
const PROPYLENE: [Row; 5] = [
    row(-2.9, [1009.3, 1008.3, 1006.2, 1003.2, 999.4], [2.719, 1.92, 1.423, 1.102, 0.884]),
    row(-7.2, [1020.1, 1017.9, 1014.8, 1010.9, 1006.4], [4.228, 2.824, 2.001, 1.491, 1.162]),
    row(-12.8, [1031.6, 1028.0, 1023.8, 1018.9, 1013.4], [6.899, 4.317, 2.896, 2.065, 1.552]),
    row(-20.6, [1042.4, 1037.6, 1032.3, 1026.4, 1020.1], [11.397, 6.684, 4.247, 2.896, 2.099]),
    row(-32.2, [1050.9, 1045.3, 1039.1, 1032.4, 1025.4], [18.185, 10.12, 6.153, 4.044, 2.842]),
];
const ETHYLENE: [Row; 5] = [
    row(-3.4, [1013.6, 1012.5, 1010.6, 1007.8, 1004.3], [2.313, 1.673, 1.261, 0.987, 0.798]),
    row(-7.9, [1029.1, 1026.9, 1024.1, 1020.6, 1016.4], [3.088, 2.191, 1.623, 1.25, 0.997]),
    row(-14.6, [1045.0, 1041.8, 1038.0, 1033.7, 1028.8], [4.113, 2.863, 2.087, 1.585, 1.25]),
    row(-23.8, [1060.4, 1056.4, 1051.9, 1046.8, 1041.4], [5.48, 3.736, 2.68, 2.012, 1.57]),
    row(-36.0, [1074.6, 1070.0, 1064.9, 1059.4, 1053.4], [7.379, 4.913, 3.468, 2.576, 1.997]),
];

impl Fluid {
    /// Density, for warnings: never to correct a reading by.
    ///
    /// # Errors
    /// Water outside 0 to 45 C; mixes outside 0 to 40 C or above [`MOST_GLYCOL`].
    pub fn density(self, temperature: Temperature) -> Result<Density, OutsideValidity> {
        match self {
            Self::Water | Self::DyedWater => water_density(temperature),
            Self::Mix { glycol, mass_share } => {
                check_mix(mass_share, temperature)?;
                let none = water_density(temperature)?.to_kg_per_m3();
                let of_row = |row: &Row, t| between_temperatures(&row.density, t);
                let density = of_mix(glycol, mass_share, temperature, none, of_row)?;
                Ok(Density::kg_per_m3(density))
            }
        }
    }

    /// Kinematic viscosity, for waits.
    ///
    /// # Errors
    /// As [`Fluid::density`].
    pub fn viscosity(self, temperature: Temperature) -> Result<Viscosity, OutsideValidity> {
        match self {
            Self::Water | Self::DyedWater => water_viscosity(temperature),
            Self::Mix { glycol, mass_share } => {
                check_mix(mass_share, temperature)?;
                let none = water_viscosity(temperature)?.to_mm2_per_s().ln();
                let of_row = |row: &Row, t| between_temperatures(&row.viscosity.map(f64::ln), t);
                let viscosity = of_mix(glycol, mass_share, temperature, none, of_row)?;
                Ok(Viscosity::mm2_per_s(viscosity.exp()))
            }
        }
    }

    /// The temperature at which the first ice forms.
    ///
    /// # Errors
    /// Above [`MOST_GLYCOL`].
    pub fn freezes(self) -> Result<Temperature, OutsideValidity> {
        match self {
            Self::Water | Self::DyedWater => Ok(Temperature::celsius(0.0)),
            Self::Mix { glycol, mass_share } => {
                let at = Temperature::celsius(20.0);
                let freezes = of_mix(glycol, mass_share, at, 0.0, |row, _| row.freezes)?;
                Ok(Temperature::celsius(freezes))
            }
        }
    }

    /// Whether it is a poison that has to be warned of.
    pub fn glycol(self) -> Option<Glycol> {
        match self {
            Self::Mix { glycol, .. } => Some(glycol),
            _ => None,
        }
    }
}

/// Share and temperature of a mix, within its table.
fn check_mix(mass_share: f64, temperature: Temperature) -> Result<(f64, f64), OutsideValidity> {
    const BASIS: &str = "the table of mixes (Melinder 2010)";
    let limits = (0.0, MOST_GLYCOL, "by mass");
    let share = OutsideValidity::check("a share of glycol", mass_share, limits, BASIS)?;
    let limits = (TEMPERATURES[0], TEMPERATURES[4], "C");
    let t = temperature.to_celsius();
    let t = OutsideValidity::check("a temperature of the mix", t, limits, BASIS)?;
    Ok((share, t))
}

/// Along the shares by mass, from what holds without any glycol.
fn of_mix(
    glycol: Glycol,
    mass_share: f64,
    temperature: Temperature,
    without: f64,
    of_row: impl Fn(&Row, f64) -> f64,
) -> Result<f64, OutsideValidity> {
    let (share, t) = check_mix(mass_share, temperature)?;
    let rows = match glycol {
        Glycol::Propylene => &PROPYLENE,
        Glycol::Ethylene => &ETHYLENE,
    };
    let values: Vec<f64> =
        std::iter::once(without).chain(rows.iter().map(|row| of_row(row, t))).collect();
    Ok(through_three(&values, share / STEP))
}

fn between_temperatures(values: &[f64; 5], t: f64) -> f64 {
    through_three(values, t / (TEMPERATURES[1] - TEMPERATURES[0]))
}

/// The parabola through the three values nearest to `at`, which counts their steps.
fn through_three(values: &[f64], at: f64) -> f64 {
    let middle = (at.round() as usize).clamp(1, values.len() - 2);
    let x = at - middle as f64;
    let [before, here, after] = [values[middle - 1], values[middle], values[middle + 1]];
    here + x * (after - before) / 2.0 + x * x * (after - 2.0 * here + before) / 2.0
}
