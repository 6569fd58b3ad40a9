//! What is wrong with a survey as it was written down. Every fault is reported at once.

use crate::ids::{PointId, SetupId};
use crate::units::{Length, Level};
use serde::Serialize;

/// A standard deviation below this is finer than a reading is held.
pub(crate) const SMALLEST_SD: Length = Length::mm(1e-6);
/// A standard deviation above this says nothing about a house.
pub(crate) const LARGEST_SD: Length = Length::mm(1e6);
/// A level further than this from the datum is a slip of the pen.
pub(crate) const LARGEST_LEVEL: Length = Length::mm(1e10);
/// Bounds of what a difference of readings may be multiplied by.
pub(crate) const SCALE_BOUNDS: (f64, f64) = (0.01, 100.0);

/// A fault of a survey, with the place it is in. What it spoils is left out; the rest is reduced.
#[derive(Clone, Debug, PartialEq, thiserror::Error, Serialize)]
#[serde(tag = "fault", content = "at", rename_all = "kebab-case")]
#[non_exhaustive]
pub enum SurveyFault {
    /// A standard deviation that cannot weigh anything.
    #[error("{what} has a standard deviation of {sd_mm} mm, the limits are {} mm and {} mm",
        SMALLEST_SD.to_mm(), LARGEST_SD.to_mm())]
    BadSd {
        /// The reading, leg or benchmark, in words.
        what: String,
        /// The value, mm; as text, for it may be no number at all.
        sd_mm: String,
    },
    /// A setup whose scale is no scale.
    #[error("setup {setup} has a scale of {scale}, the limits are {} and {}",
        SCALE_BOUNDS.0, SCALE_BOUNDS.1)]
    BadScale {
        /// The setup.
        setup: SetupId,
        /// The value; as text, for it may be no number at all.
        scale: String,
    },
    /// A level that cannot be.
    #[error("{what} has a level of {level_mm} mm, the limit is {} mm either way",
        LARGEST_LEVEL.to_mm())]
    BadLevel {
        /// The benchmark or datum point, in words.
        what: String,
        /// The value, mm; as text, for it may be no number at all.
        level_mm: String,
    },
    /// Two setups with one name.
    #[error("setup {0} is given more than once")]
    SetupTwice(SetupId),
    /// A setup from which nothing was read.
    #[error("setup {0} has no readings that can be used")]
    SetupEmpty(SetupId),
    /// A leg that ends where it starts.
    #[error("leg {number} goes from {point} to itself")]
    LegToItself {
        /// From 1, in the order given.
        number: usize,
        /// The point.
        point: PointId,
    },
    /// A point with more than one known height.
    #[error("benchmark {point} is given more than once; {used} is used, {left_out} is left out")]
    BenchmarkTwice {
        /// The point.
        point: PointId,
        /// The level used.
        used: Level,
        /// The level left out.
        left_out: Level,
    },
    /// A known height that the chosen datum does not use.
    #[error("benchmark {0} is not used: the datum is another")]
    BenchmarkUnused(PointId),
    /// A known height that no reading reaches.
    #[error("benchmark {0} is not tied to any reading or leg")]
    BenchmarkAlone(PointId),
    /// A benchmark covariance of the wrong shape.
    #[error(
        "the covariance of the benchmarks is not square in their number, {0}; their own \
        standard deviations are used"
    )]
    CovarianceShape(usize),
    /// A benchmark covariance that no set of heights can have.
    #[error(
        "the covariance of the benchmarks is not symmetric and positive definite; their own \
        standard deviations are used"
    )]
    CovarianceNotPositive,
    /// A benchmark covariance that counts a benchmark which is left out.
    #[error(
        "the covariance of the benchmarks counts one that is left out; their own standard \
        deviations are used"
    )]
    CovarianceIncomplete,
    /// A datum point that was never read.
    #[error("datum point {0} is not in any reading or leg")]
    DatumPointUnread(PointId),
    /// A datum point given twice.
    #[error("datum point {0} is given more than once")]
    DatumPointTwice(PointId),
    /// A part of the survey that hangs on no known height.
    #[error("no known height reaches {}; only differences are given for them", join_some(points))]
    NoHeight {
        /// The points of the part.
        points: Vec<PointId>,
    },
    /// A drift that the readings cannot give.
    #[error("no drift is found for setup {setup}: {why}; it is reduced without")]
    DriftRefused {
        /// The setup.
        setup: SetupId,
        /// Why not.
        why: DriftRefusal,
    },
    /// A probability that is none.
    #[error("{setting} is {value}, the limits are 0 and 1, both excluded; {used} is used")]
    BadTest {
        /// Which of the settings.
        setting: &'static str,
        /// The value; as text, for it may be no number at all.
        value: String,
        /// What is used in its place.
        used: f64,
    },
    /// The weights differ so much that working precision does not reach.
    #[error("the survey cannot be solved to working precision")]
    NotSolved,
}

/// Why a setup gets no drift.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error, Serialize)]
#[serde(tag = "why", rename_all = "kebab-case")]
pub enum DriftRefusal {
    /// Readings without a time.
    #[error("{n_without} of its {n_readings} readings have no time")]
    TimesMissing {
        /// Readings without a time.
        n_without: usize,
        /// Readings used.
        n_readings: usize,
    },
    /// All readings at one time.
    #[error("all its {n_readings} readings have the same time")]
    OneTime {
        /// Readings used.
        n_readings: usize,
    },
    /// Fewer readings than a rate and a height difference need.
    #[error("it has {n_readings} readings, at least 3 are needed")]
    TooFewReadings {
        /// Readings used.
        n_readings: usize,
    },
    /// Nothing was read twice at different times, and no other setup stands in for it.
    #[error("no point was read again later, so drift and levels cannot be told apart")]
    NotReadAgain,
}

impl SurveyFault {
    /// What the builder can do about it.
    pub fn hint(&self) -> &'static str {
        match self {
            Self::BadSd { .. } => {
                "give how far readings of one mark scatter, as a field test shows"
            }
            Self::BadScale { .. } => "a level has 1, a hose on a reservoir a little more",
            Self::BadLevel { .. } => "check the unit",
            Self::SetupTwice(_) => "give each standing of the instrument its own name",
            Self::SetupEmpty(_) => "add its readings or leave it out",
            Self::LegToItself { .. } => "check the names at both ends",
            Self::BenchmarkTwice { .. } | Self::DatumPointTwice(_) => "keep one of them",
            Self::BenchmarkUnused(_) => "take the benchmarks as the datum, or leave them out",
            Self::BenchmarkAlone(_) | Self::DatumPointUnread(_) => {
                "read it from a setup, or check its name"
            }
            Self::CovarianceShape(_) => "give one row and one column for each benchmark",
            Self::CovarianceNotPositive => "check signs and symmetry",
            Self::CovarianceIncomplete => "mend the benchmark or take out its row and column",
            Self::NoHeight { .. } => "read a point of known height, or one common point, with them",
            Self::DriftRefused { .. } => {
                "note the time of every reading and read the first point again at the end"
            }
            Self::BadTest { .. } => "give a probability such as 0.001",
            Self::NotSolved => "check for standard deviations that differ by many powers of ten",
        }
    }
}

/// Names that a sentence bears.
pub(crate) const MOST_NAMES: usize = 12;

/// Names in a sentence, a dozen of them and how many more.
pub(crate) fn join_some<T: ToString>(names: &[T]) -> String {
    let shown: Vec<String> = names.iter().take(MOST_NAMES).map(ToString::to_string).collect();
    match (names.len().saturating_sub(MOST_NAMES), shown.split_last()) {
        (_, None) => "nothing".into(),
        (0, Some((only, []))) => only.clone(),
        (0, Some((last, rest))) => format!("{} and {last}", rest.join(", ")),
        (more, Some(_)) => format!("{} and {more} more", shown.join(", ")),
    }
}
