//! From readings to levels with their uncertainty.

mod input;
mod levels;

pub use input::{
    Benchmark, Datum, Drift, Leg, LegWeight, Reading, ReadingSd, SdTrust, Setup, SourcePlace,
    Survey, TestSettings,
};
pub use levels::{Levels, PointLevel};
