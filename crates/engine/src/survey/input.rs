//! What was written down on site: setups with their readings, legs of level lines, benchmarks.

use crate::ids::{PointId, SetupId};
use crate::units::{ExactLength, Length, Level, Minutes, Variance};
use serde::Serialize;

/// All readings of a job and what they hang on.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Survey {
    /// What the levels are counted from.
    pub datum: Datum,
    /// Known heights.
    pub benchmarks: Vec<Benchmark>,
    /// Standings of the instrument with what was read from each.
    pub setups: Vec<Setup>,
    /// Height differences measured elsewhere, as a level line has them.
    pub legs: Vec<Leg>,
    /// How sure a test has to be before it speaks.
    pub tests: TestSettings,
}

/// What the levels are counted from.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Datum {
    /// The benchmarks, each held or weighted as its own standard deviation says.
    #[default]
    Benchmarks,
    /// The benchmarks as observed heights with a full covariance: one row and column for each
    /// benchmark, in their order. Their own standard deviations are then not used.
    CorrelatedBenchmarks(Vec<Vec<Variance>>),
    /// No height is known: the mean correction to the approximate heights of these points is
    /// zero. Differences are the same whatever the choice.
    Free {
        /// The points that carry the datum, with the heights assumed for them.
        approximate: Vec<(PointId, Level)>,
    },
    /// No height is known: this point is called zero.
    PointIsZero(PointId),
}

/// A mark of known height.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Benchmark {
    /// The point that it is.
    pub point: PointId,
    /// Its height above the datum.
    pub level: Level,
    /// How well that is known; zero holds it exactly.
    pub sd: Length,
}

/// One standing of the instrument: one line of sight, or one filling of a hose.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Setup {
    /// Its name.
    pub id: SetupId,
    /// Standard deviation of one reading, unless the reading says otherwise.
    pub reading_sd: ReadingSd,
    /// What a difference of readings is multiplied by: 1 for a level,
    /// 1 + A/A_r for a hose of bore area A on a reservoir of water area A_r.
    pub scale: f64,
    /// Whether the line of sight or the water line is taken to creep with time.
    pub drift: Drift,
    /// The readings, in the order taken.
    pub readings: Vec<Reading>,
}

/// How the standard deviation of a reading is found.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum ReadingSd {
    /// The same for each.
    Each(Length),
    /// Grows with the square root of the sight's length.
    ByDistance {
        /// At a sight of one kilometre.
        per_sqrt_km: Length,
        /// Never less than this, and what a reading without a distance gets.
        at_least: Length,
    },
}

/// How the water line or the line of sight changes during a setup.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Drift {
    /// It stays.
    #[default]
    None,
    /// It rises or falls evenly with clock time; every reading of the setup needs a time.
    Linear,
}

/// A graduation read on a staff whose foot stands on a point.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Reading {
    /// Where the staff's foot was.
    pub point: PointId,
    /// The graduation at the line of sight or the water line, positive away from the foot.
    pub value: ExactLength,
    /// The staff hung upside down: foot up, against a soffit.
    pub inverted: bool,
    /// When, if it was noted.
    pub time: Option<Minutes>,
    /// Its own standard deviation, in place of the setup's.
    pub sd: Option<Length>,
    /// Length of the sight, for weights by distance.
    pub distance: Option<Length>,
    /// Where it was written down.
    pub place: Option<SourcePlace>,
}

/// File and line that a reading came from, for messages.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct SourcePlace {
    /// File as the job names it.
    pub file: String,
    /// Line, from 1.
    pub line: usize,
}

/// A measured difference of height between two points.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Leg {
    /// Where it starts.
    pub from: PointId,
    /// Where it ends.
    pub to: PointId,
    /// Height of `to` above `from`.
    pub rise: ExactLength,
    /// How well it is known.
    pub weight: LegWeight,
    /// Where it was written down.
    pub place: Option<SourcePlace>,
}

/// The standard deviation of a leg, by the model that the builder chose.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum LegWeight {
    /// Given outright.
    Sd(Length),
    /// Grows with the square root of the number of setups.
    Setups {
        /// How many setups it took.
        n_setups: u32,
        /// Standard deviation of one setup's difference.
        per_setup: Length,
    },
    /// Grows with the square root of the length.
    Distance {
        /// Length of the leg.
        length: Length,
        /// Standard deviation of one kilometre.
        per_sqrt_km: Length,
    },
}

impl LegWeight {
    /// The standard deviation that the model gives.
    pub fn sd(self) -> Length {
        match self {
            Self::Sd(sd) => sd,
            Self::Setups { n_setups, per_setup } => per_setup * f64::from(n_setups).sqrt(),
            Self::Distance { length, per_sqrt_km } => per_sqrt_km * (length.to_m() / 1000.0).sqrt(),
        }
    }
}

impl Setup {
    /// The standard deviation of one of its readings.
    pub fn sd_of(&self, reading: &Reading) -> Length {
        if let Some(sd) = reading.sd {
            return sd;
        }
        match (self.reading_sd, reading.distance) {
            (ReadingSd::Each(sd), _) => sd,
            (ReadingSd::ByDistance { at_least, .. }, None) => at_least,
            (ReadingSd::ByDistance { per_sqrt_km, at_least }, Some(distance)) => {
                at_least.max(per_sqrt_km * (distance.to_m() / 1000.0).sqrt())
            }
        }
    }
}

/// How sure a test has to be before it speaks.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct TestSettings {
    /// Two-sided error probability of the test of one observation. Default 0.001.
    pub alpha: f64,
    /// Power that the smallest detectable error is stated for. Default 0.80.
    pub power: f64,
    /// Error probability of the global test. Default 0.05.
    pub global_alpha: f64,
    /// Whether the stated standard deviations are trusted (normal test, `w`) or are estimated
    /// from this survey (tau test). Default [`SdTrust::Stated`].
    pub trust: SdTrust,
}

/// Where the standard deviation that a test uses comes from.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum SdTrust {
    /// From a field test or the maker: `w` against the normal quantile.
    #[default]
    Stated,
    /// From the residuals of this survey: tau.
    Estimated,
}

impl Default for TestSettings {
    fn default() -> Self {
        Self { alpha: 0.001, power: 0.80, global_alpha: 0.05, trust: SdTrust::Stated }
    }
}
