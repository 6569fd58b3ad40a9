//! What makes a reading wrong, part by part, and what it comes to.

use super::air::level_of_pressure;
use super::fluid::Fluid;
use super::instrument::{Care, Hose};
use super::meniscus::meniscus_rise;
use super::repeats::root_sum_of_squares;
use super::scale::{Reservoir, not_shown};
use super::temperature::warm_leg_higher;
use super::validity::OutsideValidity;
use super::water::{surface_tension, water_density};
use crate::units::{Angle, Length, Pressure, Temperature};
use serde::Serialize;

/// Nothing better is claimed for a builder's hose: 1 mm at 95 %. No repeatability study of one was
/// found (our own rule).
pub const LEAST_CLAIMED: Length = Length::mm(0.5);

/// Over so wide a range of levels the doubt of the scale is counted.
const SCALE_RANGE: Length = Length::mm(100.0);
/// Doubt of a ratio of areas whose diameters were measured with a tape (engineering judgement).
const AREA_DOUBT: f64 = 0.1;

/// One cause of error.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Component {
    /// What it is.
    pub name: &'static str,
    /// Standard uncertainty of one reading from it, the way this hose is read.
    pub sd: Length,
    /// The same, read carefully.
    pub careful: Length,
    /// The least that physics leaves (engineering judgement).
    pub at_best: Length,
    /// How much it is for how much of its cause.
    pub sensitivity: String,
    /// What takes it away.
    pub remedy: &'static str,
    /// Two readings of one point shortly after each other share it, so that they do not show it.
    pub hidden_from_repeats: bool,
}

/// All causes together.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Budget {
    /// The causes, biggest first.
    pub components: Vec<Component>,
    /// Their sum by squares: the standard uncertainty of one reading.
    pub combined: Length,
    /// The same, read carefully.
    pub careful: Length,
    /// The same, as far as physics allows.
    pub at_best: Length,
    /// What is taken for a reading: never less than [`LEAST_CLAIMED`].
    pub claimed: Length,
}

impl Budget {
    /// What two readings of one point show of it.
    pub fn random(&self) -> Length {
        self.sum(false)
    }

    /// What they do not show.
    pub fn hidden(&self) -> Length {
        self.sum(true)
    }

    fn sum(&self, hidden: bool) -> Length {
        let parts = self.components.iter().filter(|part| part.hidden_from_repeats == hidden);
        root_sum_of_squares(parts.map(|part| part.sd))
    }
}

/// Half the width of a range in which all values are as likely, as a standard uncertainty.
fn of_range(half_width: Length) -> Length {
    half_width.abs() / 3.0_f64.sqrt()
}

/// The error budget of one reading of a hose.
///
/// # Units and sign
/// Standard uncertainties (k = 1) in millimetres; sensitivities say theirs.
///
/// # Errors
/// Where the physics of a part is not known for this hose.
///
/// # References
/// Combination by the root of the sum of squares (JCGM 100:2008, 5.1.2; ranges as rectangular
/// distributions, 4.3.7). Sizes of causes: rounding from the scale; meniscus from a contact angle of
/// 60 to 90 degrees, of 75 to 90 read carefully; temperature from legs that change by 5 K against
/// each other, by 2 K kept low and shaded, or by what was measured; air pressure from 3 Pa of stack
/// and 2 Pa of wind across a house (National Academies, report on indoor climate), a third of it in
/// one room with its doors open; the rest is engineering judgement.
pub fn budget_of(hose: &Hose) -> Result<Budget, OutsideValidity> {
    let mut components = vec![
        reading(hose),
        meniscus(hose)?,
        foot(hose.care),
        temperature(hose)?,
        settling(hose),
        pressure(hose)?,
        drift(hose),
    ];
    components.extend(scale(hose));
    components.sort_by(|a, b| b.sd.total_cmp(&a.sd));
    let sum = |size: fn(&Component) -> Length| root_sum_of_squares(components.iter().map(size));
    let combined = sum(|part| part.sd);
    let (careful, at_best) = (sum(|part| part.careful), sum(|part| part.at_best));
    let claimed = combined.max(LEAST_CLAIMED);
    Ok(Budget { components, combined, careful, at_best, claimed })
}

fn by_care(care: Care, casual: Length, careful: Length) -> Length {
    if care == Care::Careful { careful } else { casual }
}

fn reading(hose: &Hose) -> Component {
    // An eye a few degrees off, over the width of the tube.
    let parallax = Length::mm(0.14);
    let of = |step: Length| root_sum_of_squares([step / 12.0_f64.sqrt(), parallax]);
    Component {
        name: "scale and eye",
        sd: of(hose.read_to),
        careful: of(hose.read_to.min(Length::mm(0.5))),
        at_best: Length::mm(0.05),
        sensitivity: format!(
            "0.29 of the smallest step, here {:.1} mm; an eye 5 degrees off across the bore {:.1} mm",
            hose.read_to.to_mm(),
            hose.bore.to_mm() * 5.0_f64.to_radians().tan()
        ),
        remedy: "read to half a millimetre, eye level with the bottom of the curve",
        hidden_from_repeats: false,
    }
}

fn meniscus(hose: &Hose) -> Result<Component, OutsideValidity> {
    let t = hose.temperature.max(Temperature::celsius(0.0));
    let (tension, density) = (surface_tension(t)?, water_density(t)?);
    let rise = |degrees: f64| meniscus_rise(hose.bore, Angle::degrees(degrees), tension, density);
    // Whatever the two ends of the range of angles are, the flat one rises by nothing.
    let (casual, careful) = (rise(60.0)?, rise(75.0)?);
    Ok(Component {
        name: "meniscus",
        sd: by_care(hose.care, of_range(casual / 2.0), of_range(careful / 2.0)),
        careful: of_range(careful / 2.0),
        at_best: Length::mm(0.05),
        sensitivity: format!(
            "{:.1} mm between a wetted and a greasy stretch of tube; more in a thinner one",
            casual.to_mm()
        ),
        remedy: "clean tube, a drop of detergent mixed through, come from the same side, tap",
        hidden_from_repeats: false,
    })
}

fn foot(care: Care) -> Component {
    let careful = Length::mm(0.25);
    Component {
        name: "staff foot and lean",
        sd: by_care(care, Length::mm(0.6), careful),
        careful,
        at_best: Length::mm(0.05),
        sensitivity: "a lean of 2 degrees reads 0.6 mm long for each metre".to_owned(),
        remedy: "a level on the staff, a marked spot, grit brushed away",
        hidden_from_repeats: false,
    }
}

fn temperature(hose: &Hose) -> Result<Component, OutsideValidity> {
    // The most that one leg may stand off the other if it is up to so much colder or warmer: near 4 C,
    // where water is densest, that is not at the far end.
    let at = |kelvin: f64| -> Result<Length, OutsideValidity> {
        const STEPS: i32 = 10;
        let here = hose.temperature.to_celsius();
        let mut most = Length::ZERO;
        for step in -STEPS..=STEPS {
            let there = (here + kelvin * f64::from(step) / f64::from(STEPS)).clamp(0.0, 40.0);
            let (one, other) = (hose.temperature, Temperature::celsius(there));
            most = most.max(warm_leg_higher(hose.leg, one, other, hose.fluid)?.abs());
        }
        Ok(most)
    };
    let per_kelvin = at(1.0)?;
    let measured = match hose.leg_temperatures {
        Some((one, other)) => Some(warm_leg_higher(hose.leg, one, other, hose.fluid)?.abs()),
        None => None,
    };
    let careful = of_range(at(2.0)?);
    let sd = match measured {
        Some(half_width) => of_range(half_width),
        None => by_care(hose.care, of_range(at(5.0)?), careful),
    };
    Ok(Component {
        name: "warm and cold legs",
        sd,
        // Care does not change what was measured.
        careful: if measured.is_some() { sd } else { careful.min(sd) },
        at_best: Length::mm(0.05).min(sd),
        sensitivity: format!(
            "{:.2} mm for each K that one leg of {:.1} m is warmer{}; a hump counts twice",
            per_kelvin.to_mm(),
            hose.leg.to_m(),
            match (measured, hose.care) {
                (Some(_), _) => ", as they were measured",
                (None, Care::Casual) => ", 5 K taken",
                (None, Care::Careful) => ", 2 K taken",
            }
        ),
        remedy: "hose low, in the shade, reservoir low; wait after moving between warm and cold",
        hidden_from_repeats: true,
    })
}

fn settling(hose: &Hose) -> Component {
    let careful = of_range(hose.settle_to.min(Length::mm(0.2)));
    let waited = of_range(hose.settle_to);
    Component {
        name: "not yet at rest",
        sd: by_care(hose.care, waited.max(Length::mm(0.5)), waited),
        careful,
        at_best: Length::mm(0.02),
        sensitivity: "mm to tens of mm when read at once; see the wait".to_owned(),
        remedy: "keep to the wait, then two readings 10 s apart that agree",
        hidden_from_repeats: false,
    }
}

fn pressure(hose: &Hose) -> Result<Component, OutsideValidity> {
    let density = hose.fluid.density(hose.temperature)?;
    let of = |pa: f64| of_range(level_of_pressure(Pressure::pa(pa), density));
    Ok(Component {
        name: "air pressure",
        sd: by_care(hose.care, of(5.0), of(1.7)),
        careful: of(1.7),
        at_best: Length::mm(0.03),
        sensitivity: format!(
            "{:.2} mm for each Pa between the ends; wind of 5 m/s on one end 1.5 mm",
            level_of_pressure(Pressure::pa(1.0), density).to_mm()
        ),
        remedy: "both ends in one room, doors open, fans off, lid vented",
        hidden_from_repeats: true,
    })
}

fn drift(hose: &Hose) -> Component {
    let (casual, careful) = match hose.reservoir {
        // Both ends at once: what is lost is lost to both.
        Reservoir::TwinBothEnds => (Length::ZERO, Length::ZERO),
        _ => (Length::mm(0.5), Length::mm(0.1)),
    };
    Component {
        name: "drift",
        sd: by_care(hose.care, casual, careful),
        careful,
        at_best: if careful == Length::ZERO { Length::ZERO } else { Length::mm(0.03) },
        sensitivity: "0.02 to 0.25 mm an hour dries up; more if it leaks or is spilled".to_owned(),
        remedy: "back to the benchmark in time; vented lid; reservoir on the ground",
        hidden_from_repeats: true,
    }
}

/// What is left of the scale after the readings are corrected.
fn scale(hose: &Hose) -> Option<Component> {
    let factor = hose.factor();
    if factor == 1.0 {
        return None;
    }
    // Two equal tubes have a ratio that nobody measured wrong.
    let doubt = if hose.reservoir == Reservoir::TwinOneEnd { 0.02 } else { AREA_DOUBT };
    let lost = not_shown(SCALE_RANGE, factor);
    let sd = of_range(lost * doubt);
    Some(Component {
        name: "reservoir scale, corrected",
        sd,
        careful: sd,
        at_best: sd.min(Length::mm(0.01)),
        sensitivity: format!("left out it would be {:.2} mm in 100 mm", lost.to_mm()),
        remedy: "a wider pail, or slide the hose to a fixed mark",
        hidden_from_repeats: true,
    })
}

/// How high an unmixed filling would stand apart, for each metre of leg: antifreeze in one leg and
/// plain water in the other. `None` for water.
///
/// # Errors
/// Where the density of the filling is not known.
pub fn unmixed_per_metre(hose: &Hose) -> Result<Option<Length>, OutsideValidity> {
    if hose.fluid.glycol().is_none() {
        return Ok(None);
    }
    let water = Fluid::Water.density(hose.temperature)?.to_kg_per_m3();
    let mix = hose.fluid.density(hose.temperature)?.to_kg_per_m3();
    Ok(Some(Length::m(1.0) * ((mix - water) / water)))
}
