//! Checks on site, and how long the benchmark may be left.

use super::budget::Budget;
use super::instrument::Hose;
use super::meniscus::meniscus_rise;
use super::scale::Reservoir;
use super::settling::{Column, Regime};
use super::water::{surface_tension, water_density};
use crate::survey::{MINUTES_BETWEEN, POINTS_BETWEEN, alike_within};
use crate::units::{Angle, Length, Minutes, Seconds, Temperature};
use serde::Serialize;

/// What the checks on site are held against.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct SiteChecks {
    /// Both ends side by side: their surfaces stand as they should within this.
    pub side_by_side: Length,
    /// How far the water in a clean wetted tube stands above that in the pail; nothing between tubes
    /// of one bore, or where it is not known.
    pub tube_above_pail: Option<Length>,
    /// The hose lifted half a metre at mid-length and laid down again: the reading changes by no
    /// more than this, or there is air in it.
    pub lifted: Length,
    /// The benchmark read again: within this; inside it the difference is spread by time, outside
    /// the readings between are taken again.
    pub closing: Length,
    /// The end raised by 100 mm and set down: a healthy column swings with this period.
    pub swing: Option<Seconds>,
}

/// What the checks on site are held against, for this hose.
///
/// # References
/// 95 % limits of a difference of two readings: random parts only where both are taken at once at
/// one place, all parts for the benchmark. Both ends of a twin beside each other are one reading of
/// it. A tube stands above its pail by up to [`meniscus_rise`] of a wetted wall; less where it is
/// greasy, or where there is detergent in the water.
pub fn site_checks(hose: &Hose, budget: &Budget, column: Option<Column>) -> SiteChecks {
    let random = alike_within(budget.random());
    let is_one_reading = hose.reservoir == Reservoir::TwinBothEnds;
    SiteChecks {
        side_by_side: if is_one_reading { budget.random() * 2.0 } else { random },
        tube_above_pail: if hose.reservoir.is_twin() { None } else { wetted_rise(hose) },
        lifted: random,
        closing: alike_within(budget.claimed),
        swing: column.and_then(|column| column.swing_period()),
    }
}

/// How far plain water climbs in a clean wetted tube of this bore.
fn wetted_rise(hose: &Hose) -> Option<Length> {
    let t = hose.temperature.max(Temperature::celsius(0.0));
    let (tension, density) = (surface_tension(t).ok()?, water_density(t).ok()?);
    meniscus_rise(hose.bore, Angle::degrees(0.0), tension, density).ok()
}

/// What a swing that was watched says of the hose.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum SwingVerdict {
    /// As it should.
    Free,
    /// It should swing and does not: a kink, a blockage, or air.
    Blocked,
    /// It swings more slowly than it should: a narrow place, or more hose than was said.
    Slow,
    /// It swings faster than it should: less water than was said; look for air.
    Fast,
    /// A hose that creeps by itself says nothing of a blockage.
    CannotTell,
}

/// Judges a swing by its period, or by there being none. A fifth either way is left for a soft
/// hose and a stopwatch (engineering judgement; a soft hose alone adds a twentieth).
pub fn judge_swing(column: Column, seen: Option<Seconds>) -> SwingVerdict {
    let (Regime::Swings, Some(expected)) = (column.regime(), column.swing_period()) else {
        return SwingVerdict::CannotTell;
    };
    // Heavily damped swings are over before anybody could time them.
    if !column.swings_to_see() {
        return SwingVerdict::CannotTell;
    }
    match seen.map(|seen| seen / expected) {
        None => SwingVerdict::Blocked,
        Some(ratio) if ratio > 1.2 => SwingVerdict::Slow,
        Some(ratio) if ratio < 0.8 => SwingVerdict::Fast,
        Some(_) => SwingVerdict::Free,
    }
}

/// How fast a free water surface falls by drying up, in millimetres an hour.
///
/// `humidity` is the relative humidity of the air (a ratio), `transfer` the coefficient of mass
/// transfer in metres per second: 0.002 in still air, 0.004 in a room, 0.008 in a draught.
///
/// # References
/// `transfer (1 - humidity) rho_v / rho`; saturated vapour by Magnus' formula (from memory) and the
/// gas law.
pub fn dries_per_hour(temperature: Temperature, humidity: f64, transfer: f64) -> Length {
    let t = temperature.to_celsius();
    let saturated = 611.2 * (17.62 * t / (243.12 + t)).exp();
    let vapour = saturated / (461.5 * (t + 273.15));
    Length::m(transfer * (1.0 - humidity) * vapour / 1000.0 * 3600.0)
}

/// When to go back to the benchmark.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct DriftWatch {
    /// After so many minutes at the latest.
    pub minutes: Minutes,
    /// After so many points at the latest.
    pub points: usize,
    /// How fast the water line falls by drying up in a draught, in half-dry air: mm an hour.
    pub per_hour: Length,
    /// What one millilitre spilled is worth.
    pub per_ml: Length,
}

/// When to go back to the benchmark with this hose: before the water line can have fallen by a
/// quarter of a reading's uncertainty in a draught, and at the latest as levelling practice has it.
pub fn drift_watch(hose: &Hose, budget: &Budget) -> DriftWatch {
    let free = hose.reservoir.free_area(hose.bore);
    let dry = dries_per_hour(hose.temperature, 0.5, 0.008);
    let per_hour = match hose.reservoir {
        Reservoir::Pail { area } | Reservoir::FixedMark { area } => dry * (area / free),
        // Down a narrow tube hardly anything dries up.
        Reservoir::TwinBothEnds | Reservoir::TwinOneEnd => dry * 0.02,
    };
    let may_fall = budget.claimed / 4.0;
    let minutes = (may_fall / per_hour * 60.0).clamp(10.0, MINUTES_BETWEEN);
    DriftWatch {
        minutes: Minutes::new(minutes.floor()),
        points: POINTS_BETWEEN,
        per_hour,
        per_ml: crate::units::Volume::ml(1.0).over(free),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::survey::DRIES_AT_MOST;

    /// By hand, at 20 C in half-dry air: saturated vapour 611.2 exp(17.62 * 20/263.12) = 2,333 Pa, so
    /// 2333/(461.5 * 293.15) = 0.01725 kg/m3; in a draught 0.008 * 0.5 * 0.01725/1000 m/s is 0.248 mm an hour.
    #[test]
    fn what_dries_up_at_most_is_what_a_draught_takes() {
        let hour = dries_per_hour(Temperature::celsius(20.0), 0.5, 0.008);
        assert!((hour.to_mm() - 0.248).abs() < 0.001, "{hour}");
        assert!(hour <= DRIES_AT_MOST && DRIES_AT_MOST - hour < Length::mm(0.005));
    }
}
