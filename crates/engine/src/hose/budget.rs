//! What makes a reading wrong, part by part, and what it comes to.

use super::air::level_of_pressure;
use super::fluid::Fluid;
use super::instrument::{Care, Hose};
use super::meniscus::meniscus_rise;
use super::scale::{Reservoir, not_shown};
use super::temperature::warm_leg_higher;
use super::validity::OutsideValidity;
use super::water::{surface_tension, water_density};
use crate::survey::root_sum_of_squares;
use crate::units::{Angle, Area, Length, Pressure, Temperature};
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

/// The error budget of one reading of a hose. Of a twin whose ends are both read a reading is what the
/// moving end shows less what the standing one shows.
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
        at_both_ends(hose, reading(hose)),
        at_both_ends(hose, meniscus(hose)?),
        foot(hose),
        as_read(hose, temperature(hose)?),
        settling(hose),
        as_read(hose, pressure(hose)?),
        drift(hose)?,
    ];
    components.extend(scale(hose).map(|part| as_read(hose, part)));
    components.sort_by(|a, b| b.sd.total_cmp(&a.sd));
    let sum = |size: fn(&Component) -> Length| root_sum_of_squares(components.iter().map(size));
    let combined = sum(|part| part.sd);
    let (careful, at_best) = (sum(|part| part.careful), sum(|part| part.at_best));
    let claimed = combined.max(LEAST_CLAIMED);
    Ok(Budget { components, combined, careful, at_best, claimed })
}

fn times(part: Component, by: f64) -> Component {
    let (sd, careful, at_best) = (part.sd * by, part.careful * by, part.at_best * by);
    Component { sd, careful, at_best, ..part }
}

/// What each of two ends that are read adds by itself.
fn at_both_ends(hose: &Hose, part: Component) -> Component {
    let n_read = if hose.reservoir == Reservoir::TwinBothEnds { 2.0_f64 } else { 1.0 };
    times(part, n_read.sqrt())
}

/// What two surfaces stand apart is a height. A reading shows it divided by the factor that every
/// difference of readings is multiplied by.
fn as_read(hose: &Hose, part: Component) -> Component {
    times(part, 1.0 / hose.factor())
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
        remedy: "read as finely as the scale lets you, eye level with the bottom of the curve",
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

fn foot(hose: &Hose) -> Component {
    let careful = Length::mm(0.25);
    Component {
        name: "staff foot and lean",
        // Once, of twin tubes too: the standing staff stays on its spot, and how it stands there is in
        // every reading alike.
        sd: by_care(hose.care, Length::mm(0.6), careful),
        careful,
        at_best: Length::mm(0.05),
        sensitivity: "a lean of 2 degrees reads 0.06 % too long".to_owned(),
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
            "{:.2} mm for each K that one leg is warmer{}; a hump counts twice",
            per_kelvin.to_mm(),
            match (measured, hose.care) {
                (Some(_), _) => ", as they were measured",
                (None, Care::Casual) => ", 5 K taken",
                (None, Care::Careful) => ", 2 K taken",
            }
        ),
        remedy: if hose.reservoir.is_twin() {
            "hose low, in the shade, out of the sun at both ends; wait after moving between warm and cold"
        } else {
            "hose low, in the shade, reservoir low; wait after moving between warm and cold"
        },
        hidden_from_repeats: true,
    })
}

fn settling(hose: &Hose) -> Component {
    let careful = of_range(hose.settle_to.min(Length::mm(0.2)));
    let waited = of_range(hose.settle_to);
    // What one end stands too high the other stands too low, for the water keeps its volume.
    let ends = if hose.reservoir == Reservoir::TwinBothEnds { 2.0 } else { 1.0 };
    let part = Component {
        name: "not yet at rest",
        sd: by_care(hose.care, waited.max(Length::mm(0.5)), waited),
        careful,
        at_best: Length::mm(0.02),
        sensitivity: if ends > 1.0 {
            "a great deal when read at once, and twice what is left at one end, for the other end \
             is off to the other side; see the wait"
        } else {
            "a great deal when read at once; see the wait"
        }
        .to_owned(),
        remedy: "keep to the wait, then two readings that agree, as far apart as is said there",
        hidden_from_repeats: false,
    };
    times(part, ends)
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
            "{:.2} mm for each Pa between the ends; wind of 5 m/s (11 mph) on one end 1.5 mm",
            level_of_pressure(Pressure::pa(1.0), density).to_mm()
        ),
        remedy: if hose.reservoir.is_twin() {
            "both ends in one room, doors open, fans off, both tubes open"
        } else {
            "both ends in one room, doors open, fans off, lid vented"
        },
        hidden_from_repeats: true,
    })
}

fn drift(hose: &Hose) -> Result<Component, OutsideValidity> {
    // How much warmer the whole hose may have got between two readings of the benchmark, with what is
    // shared out by time taken off (engineering judgement).
    const WARMS: f64 = 1.0;
    const WARMS_CAREFUL: f64 = 0.2;
    let per_kelvin = warming_lifts(hose)?;
    let (casual, careful) = match hose.reservoir {
        // Both ends at once: what is lost is lost to both.
        Reservoir::TwinBothEnds => (Length::ZERO, Length::ZERO),
        Reservoir::TwinOneEnd => {
            let of = |lost: f64, kelvin: f64| {
                root_sum_of_squares([Length::mm(lost), of_range(per_kelvin * kelvin)])
            };
            (of(0.5, WARMS), of(0.1, WARMS_CAREFUL))
        }
        Reservoir::Pail { .. } | Reservoir::FixedMark { .. } => (Length::mm(0.5), Length::mm(0.1)),
    };
    Ok(Component {
        name: "drift",
        sd: by_care(hose.care, casual, careful),
        careful,
        at_best: if careful == Length::ZERO { Length::ZERO } else { Length::mm(0.03) },
        sensitivity: match hose.reservoir {
            Reservoir::TwinBothEnds => {
                "none: what dries up, is spilled or swells shows at both ends alike".to_owned()
            }
            Reservoir::TwinOneEnd => format!(
                "{:.2} mm for each K that the whole hose warms, for nothing but two narrow tubes \
                 takes up what swells; more if it leaks or is spilled",
                per_kelvin.to_mm()
            ),
            Reservoir::Pail { .. } | Reservoir::FixedMark { .. } => {
                "0.02 mm to 0.25 mm in an hour dries up; more if it leaks or is spilled".to_owned()
            }
        },
        remedy: match hose.reservoir {
            Reservoir::TwinBothEnds => "both ends read at the same moment",
            Reservoir::TwinOneEnd => {
                "read both ends; or back to the benchmark in time, the hose in the shade"
            }
            Reservoir::Pail { .. } | Reservoir::FixedMark { .. } => {
                "back to the benchmark in time; vented lid; reservoir out of the way of feet"
            }
        },
        hidden_from_repeats: true,
    })
}

/// How far the surfaces rise for each kelvin that all the water in the hose warms: an upper limit, for
/// the tube swells too.
///
/// # References
/// The change of density of the filling times the volume of the hose, over all that is free.
fn warming_lifts(hose: &Hose) -> Result<Length, OutsideValidity> {
    let t = hose.temperature.to_celsius();
    // One kelvin up, or down where the figures end.
    let step = if t + 1.0 <= 40.0 { 1.0 } else { -1.0 };
    let at = |t: f64| hose.fluid.density(Temperature::celsius(t));
    let (here, there) = (at(t)?.to_kg_per_m3(), at(t + step)?.to_kg_per_m3());
    let swells = ((here - there) / here).abs();
    let volume_over_free = Area::of_circle(hose.bore) / hose.reservoir.free_area(hose.bore);
    Ok(hose.length * (swells * volume_over_free))
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
    let is_twin = hose.reservoir.is_twin();
    Some(Component {
        name: if is_twin { "tubes not alike" } else { "reservoir scale, corrected" },
        sd,
        careful: sd,
        at_best: sd.min(Length::mm(0.01)),
        sensitivity: format!("left out, {:.2} % of every height would not show", lost.to_mm()),
        remedy: if is_twin {
            "read both ends: then nothing has to be corrected"
        } else {
            "a wider pail, or slide the hose to a fixed mark"
        },
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
