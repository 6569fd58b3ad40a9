//! What a survey comes to: levels, and everything that says how far to trust them.

use super::doubts::SetupDoubt;
use super::fault::{DriftRefusal, SurveyFault};
use super::levels::Levels;
use super::loops::Loop;
use super::suspects::{Alike, Suspect};
use super::uncontrolled::Uncontrolled;
use crate::ids::{PointId, SetupId};
use crate::units::{DriftRate, Length, Level, Minutes};
use serde::Serialize;
use std::fmt;

/// A reduced survey.
///
/// # Units and sign
/// Residuals are `adjusted - observed`, in millimetres of what was written down: a reading's
/// residual is in graduations of its staff. An estimated error is `observed - true`: positive
/// means that the number written down is too big. "Prior" standard deviations come from the
/// stated ones, "post" from the scatter of this survey.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Reduction {
    /// Levels of all points that a known height reaches.
    pub levels: Levels,
    /// One for each setup, in the order given.
    pub setups: Vec<SetupLine>,
    /// One for each usable reading, leg and weighted benchmark: readings by setup, then legs,
    /// then benchmarks, each in the order given.
    pub observations: Vec<Observation>,
    /// What hangs together, in order of the first point.
    pub parts: Vec<Part>,
    /// Observations less unknowns.
    pub redundancy: usize,
    /// Sum of the squared residuals, each divided by its standard deviation.
    pub weighted_ss: f64,
    /// What the scatter of this survey is to what the stated standard deviations promise;
    /// 1 is as promised, `None` without spare observations.
    pub s0: Option<f64>,
    /// What the prior standard deviations are multiplied by where somebody acts on them
    /// ([`Levels::sd`], differences, lifts, verdicts): 1 unless the scatter says that they promise
    /// too much, or they are to be estimated from it.
    pub widening: f64,
    /// Whether all residuals together are as small as the stated standard deviations promise.
    pub global_test: GlobalTest,
    /// Observations that an error shows in alike, so that a test cannot tell which is wrong. On
    /// a survey too large to compare every pair it is empty; each suspect still names its own.
    pub alike: Vec<Alike>,
    /// Observations that are likely wrong, worst first. Each is sought with the ones before it
    /// set aside; none is left out of the levels.
    pub suspects: Vec<Suspect>,
    /// What the readings of one setup say against each other, before anything is adjusted.
    pub doubts: Vec<SetupDoubt>,
    /// Readings and legs that nothing checks.
    pub uncontrolled: Vec<Uncontrolled>,
    /// Independent loops of legs, and lines of legs between held benchmarks.
    pub loops: Vec<Loop>,
    /// Everything that was wrong with the survey as written down.
    pub faults: Vec<SurveyFault>,
}

/// Where an observation stands in the survey.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum ObservationSource {
    /// A reading.
    Reading {
        /// Index of the setup.
        setup: usize,
        /// Index among the setup's readings.
        reading: usize,
    },
    /// A leg.
    Leg {
        /// Index of the leg.
        leg: usize,
    },
    /// A benchmark that is known with a standard deviation.
    Benchmark {
        /// Index of the benchmark.
        benchmark: usize,
    },
}

/// What an observation is called.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum ObservationName {
    /// A reading.
    Reading {
        /// Where the staff stood.
        point: PointId,
        /// What it was read from.
        setup: SetupId,
    },
    /// A leg.
    Leg {
        /// Where it starts.
        from: PointId,
        /// Where it ends.
        to: PointId,
    },
    /// A benchmark.
    Benchmark {
        /// The point.
        point: PointId,
    },
}

impl ObservationName {
    /// The point that the staff stood on; a leg has two ends and none of them is it.
    pub fn point(&self) -> Option<&PointId> {
        match self {
            Self::Reading { point, .. } | Self::Benchmark { point } => Some(point),
            Self::Leg { .. } => None,
        }
    }
}

impl fmt::Display for ObservationName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Reading { point, setup } => write!(f, "{point} from setup {setup}"),
            Self::Leg { from, to } => write!(f, "the leg from {from} to {to}"),
            Self::Benchmark { point } => write!(f, "the height of benchmark {point}"),
        }
    }
}

/// One observation against the others.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Observation {
    /// Where it stands in the survey.
    pub source: ObservationSource,
    /// What it is called.
    pub name: ObservationName,
    /// Prior standard deviation.
    pub sd: Length,
    /// `adjusted - observed`.
    pub residual: Length,
    /// Share of an error in it that shows in its residual, from 0 to 1.
    pub redundancy_number: f64,
    /// Whether an error in it would show.
    pub control: Control,
}

/// Whether an error in an observation would show.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[serde(tag = "status", rename_all = "kebab-case")]
pub enum Control {
    /// It would.
    Controlled(Check),
    /// It joins two held heights: it checks them and takes no part in any level.
    BenchmarkCheck(Check),
    /// It would not: nothing else reaches what it measures.
    NotControlled,
}

impl Control {
    /// The figures of the check, if there is one.
    pub fn check(&self) -> Option<&Check> {
        match self {
            Self::Controlled(check) | Self::BenchmarkCheck(check) => Some(check),
            Self::NotControlled => None,
        }
    }
}

/// The test of one observation.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Check {
    /// Residual divided by its prior standard deviation; for correlated observations the
    /// general form.
    pub w: f64,
    /// `w` divided by `s0`; `None` with fewer than two spare observations.
    pub tau: Option<f64>,
    /// The smallest error that the test would find with the stated power.
    pub smallest_detectable: Length,
    /// How far off it is if it alone is wrong: `observed - true`.
    pub error: Length,
}

/// The line of sight or water line of a setup.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SetupLine {
    /// The setup.
    pub setup: SetupId,
    /// Its level, at the mean time of its readings where it drifts; `None` where no known
    /// height reaches it.
    pub line: Option<LineLevel>,
    /// How the line creeps.
    pub drift: DriftFound,
}

/// The level of a line.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct LineLevel {
    /// Height above the datum.
    pub level: Level,
    /// Prior standard deviation.
    pub sd_prior: Length,
    /// Standard deviation by the scatter of this survey; `None` without spare readings.
    pub sd_post: Option<Length>,
}

/// What was found of a setup's drift.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(tag = "status", rename_all = "kebab-case")]
pub enum DriftFound {
    /// It was not to be sought.
    NotSought,
    /// The readings cannot give it; the setup is reduced without.
    Refused {
        /// Why.
        why: DriftRefusal,
    },
    /// It was found.
    Found(DriftLine),
}

/// An even drift of a setup's line.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct DriftLine {
    /// How fast the line rises.
    pub rate: DriftRate,
    /// Prior standard deviation of the rate.
    pub sd_prior: DriftRate,
    /// Standard deviation by the scatter of this survey; `None` without spare readings.
    pub sd_post: Option<DriftRate>,
    /// The rate is more than twice its prior standard deviation, widened as the levels' are.
    pub proven: bool,
    /// Mean time of the readings, which the level of the line is given for.
    pub mean_time: Minutes,
    /// The even drift against straight pieces between readings of the base; `None` where no
    /// point was read at three or more times from this setup.
    pub pieces: Option<DriftPieces>,
}

/// The drift taken as straight pieces between repeated readings of one point.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct DriftPieces {
    /// The point read most often.
    pub base: PointId,
    /// Each other reading between two of the base.
    pub readings: Vec<PieceReading>,
    /// The largest difference that the choice makes to a reading.
    pub largest_difference: Length,
    /// It stays within the standard deviation of a reading: one line is enough.
    pub one_line_is_enough: bool,
}

/// A reading corrected piece by piece.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PieceReading {
    /// Where the staff stood.
    pub point: PointId,
    /// When it was read.
    pub time: Minutes,
    /// Height of the point above the base, by this reading and the two of the base around it.
    pub above_base: Length,
    /// The same less what the even drift gives for this reading.
    pub difference: Length,
}

/// Points and setups that hang together.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Part {
    /// Its points, by name.
    pub points: Vec<PointId>,
    /// Its setups, in the order given.
    pub setups: Vec<SetupId>,
    /// Whether a known height reaches it.
    pub height: PartHeight,
}

/// Whether a known height reaches a part.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(tag = "status", rename_all = "kebab-case")]
pub enum PartHeight {
    /// Its levels are in [`Reduction::levels`].
    Known,
    /// None does. It has differences only, here from its first point to each other.
    Unknown {
        /// The differences.
        differences: Vec<Difference>,
    },
}

/// A difference of height between two points.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Difference {
    /// Where it starts.
    pub from: PointId,
    /// Where it ends.
    pub to: PointId,
    /// Height of `to` above `from`.
    pub rise: Length,
    /// Prior standard deviation.
    pub sd_prior: Length,
    /// Standard deviation by the scatter of this survey; `None` without spare readings.
    pub sd_post: Option<Length>,
}

/// Whether all residuals together are as small as promised.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[serde(tag = "status", rename_all = "kebab-case")]
pub enum GlobalTest {
    /// There is nothing to test with.
    NoSpareObservations,
    /// They are.
    Passed {
        /// What the weighted sum of squares may come to.
        critical: f64,
    },
    /// They are not: a blunder, a wrong model, or standard deviations that promise too much.
    Failed {
        /// What the weighted sum of squares may come to.
        critical: f64,
    },
}

impl Reduction {
    /// Parts that no known height reaches.
    pub fn datum_defect(&self) -> usize {
        self.parts.iter().filter(|part| part.height != PartHeight::Known).count()
    }
}
