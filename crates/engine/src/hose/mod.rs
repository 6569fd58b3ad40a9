//! A home-made hose level: how far to trust it, how long to wait, and where to stand with it.
//!
//! [`Hose`] is the builder's own instrument. From it follow the wait after each move
//! ([`Column`]), what a difference of readings is to be multiplied by and how far the hose reads
//! ([`range_of`]), what makes it wrong and by how much ([`budget_of`]), and how far its own
//! repeats bear that out ([`sd_from_repeats`]). [`plan_stands`] lays out the survey of a house.
//!
//! # Units and sign
//! Heights and levels are up positive. Temperatures are in degrees Celsius. The reading of a hose
//! is the height of the water in its tube above the foot of the staff.
//!
//! # What it does not do
//! A figure outside the range that its formula was checked over is not given: the answer is
//! [`OutsideValidity`]. Levels are never corrected for temperature: what nobody measured in every
//! leg is uncertainty.

mod air;
mod budget;
mod checks;
mod cover;
mod design;
mod fluid;
mod instrument;
mod meniscus;
mod repeats;
mod scale;
mod settling;
mod stands;
mod temperature;
mod tour;
mod validity;
mod walls;
mod water;
mod ways;

pub use air::{
    closed_end_shows, level_of_pressure, slug_holds, warming_of_closed_air, wind_pressure,
};
pub use budget::{Budget, Component, LEAST_CLAIMED, budget_of, unmixed_per_metre};
pub use checks::{
    DriftWatch, SiteChecks, SwingVerdict, dries_per_hour, drift_watch, judge_swing, site_checks,
};
pub use design::{Accuracy, PointWorth, SHARE_OF_TOLERANCE, survey_of};
pub use fluid::{Fluid, Glycol, MOST_GLYCOL};
pub use instrument::{Care, Hose, HoseFault, ReadableRange, range_of};
pub use meniscus::{bubble_never_rises_below, capillary_length, jurin_rise, meniscus_rise};
pub use repeats::{
    BUDGET_WORTH, HoseTest, REPEATS_WITHIN, ReadingWorth, Repeats, blended, drift_correction,
    hose_test, lean_reads_long, repeats_in, repeats_of_pairs, reversal, sd_from_repeats,
    upper_95_factor,
};
pub use scale::{Reservoir, not_shown, siphoned, spill_lowers, straight_sight_rises};
pub use settling::{Column, MARGIN, Regime, SHORTEST_WAIT, critical_length};
pub use stands::{
    MOST_POINTS, NoStands, REPEAT_ONE_IN, Stand, StandRow, StandsAsk, StandsPlan, TIES, Unreached,
    Why, plan_stands,
};
pub use temperature::{Run, far_surface_higher, warm_leg_higher};
pub use validity::OutsideValidity;
pub use walls::{DOOR_BESIDE_WALL, Door};
pub use water::{expansion, surface_tension, water_density, water_viscosity};

/// Standard gravity, m/s2.
pub(crate) const GRAVITY: f64 = 9.80665;
