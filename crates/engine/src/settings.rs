//! What the builder wants and what must not be exceeded: goal, limits and stock.

use crate::ids::{PointId, RoomId};
use crate::units::{Force, Length, Level};
use serde::Serialize;

/// A limit together with why it has that value.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Limit<T> {
    /// The value.
    pub value: T,
    /// Where it comes from: a source with its status, or the builder's own reason.
    pub reason: String,
    /// Whether the program supplied it because the job is silent.
    pub assumed: bool,
}

impl<T> Limit<T> {
    /// A value that the program supplies, with its reason.
    pub fn assumed(value: T, reason: &str) -> Self {
        Self { value, reason: reason.to_owned(), assumed: true }
    }

    /// A value that the job gives, with its reason.
    pub fn given(value: T, reason: &str) -> Self {
        Self { value, reason: reason.to_owned(), assumed: false }
    }
}

/// The height that the floor is to be brought to.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum TargetHeight {
    /// That of a surveyed point, plus an offset (up positive): tie to new work.
    Point {
        /// The point.
        point: PointId,
        /// Added to its level.
        offset: Length,
    },
    /// A height above the datum.
    Number(Level),
    /// The highest floor point that was read; nothing has to come down.
    #[default]
    Highest,
    /// Whatever height does best by the preference.
    Free,
}

/// What to prefer among the lifts that meet every requirement.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Preference {
    /// Smallest sum of squared departures from the target: what a builder means by level.
    #[default]
    LeastSquares,
    /// Smallest departure at the worst point; then the least lift that keeps it.
    SmallestLargest,
    /// Least total lift (and lowering) that meets the tolerances.
    LeastLift,
    /// Fewest supports touched that meet the tolerances.
    FewestSupports,
}

/// Where the floor is to end.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Goal {
    /// The height.
    pub height: TargetHeight,
    /// What to prefer.
    pub prefer: Preference,
    /// Every floor point within this of the target, if it is required.
    pub level_tolerance: Option<Length>,
    /// Steepest slope between neighbouring floor points (a ratio), if it is required.
    pub slope_tolerance: Option<f64>,
    /// The target may lean at most this much (a ratio), if it may lean at all.
    pub tilt_allowed: Option<f64>,
    /// Every support that may be moved has to carry after the lift. `None`: it has to where the
    /// frame was given; under one that was proposed it is only reported.
    pub every_support_carries: Option<bool>,
    /// Only these rooms; empty means all.
    pub rooms: Vec<RoomId>,
}

/// What a pass may do.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Limits {
    /// The most that any support may be raised in one pass.
    pub lift_per_pass: Limit<Length>,
    /// How many jacks lift at the same time.
    pub jacks: Limit<usize>,
    /// Steepest slope between neighbouring supports on the way (a ratio), unless they stand
    /// steeper at the start or at the end: an old floor may be beyond it on the first day. What
    /// bends from today's shape by more than this is named, not prevented.
    pub distortion: Limit<f64>,
    /// Supports further apart than this are not neighbours.
    pub neighbour_distance: Limit<Length>,
    /// The most that any support may be raised in all, unless the support says otherwise.
    pub max_lift: Limit<Length>,
    /// Above this height of packing the builder is warned.
    pub packing_warn: Limit<Length>,
    /// Above this height of packing a taller support is needed.
    pub packing_stop: Limit<Length>,
    /// What is written on a jack as the most it lifts; `None` if it is not known.
    pub jack_rating: Option<Limit<Force>>,
    /// The share of its rating that a jack is used to (a ratio).
    pub jack_derating: Limit<f64>,
    /// The share of a timber's characteristic strength in bending that it may be stressed to on
    /// the way (a ratio), or a twentieth further than it is at the start or at the end.
    pub bending_share: Limit<f64>,
    /// What every support has to carry at least when all is lifted.
    pub carry_least: Limit<Force>,
    /// How much the rise of a bearer from one support to the next may exceed what the distortion
    /// limit gives for their seats: a bearer may leave a low seat for a while.
    pub beam_allowance: Limit<Length>,
}

impl Default for Limits {
    fn default() -> Self {
        Self {
            lift_per_pass: Limit::assumed(
                Length::mm(5.0),
                "a choice for this job; no standard gives a lift rate (common practice: a little at a time)",
            ),
            jacks: Limit::assumed(
                2,
                "a choice for this job: one person to a jack, and one to watch",
            ),
            distortion: Limit::assumed(
                1.0 / 300.0,
                "first cracking of panels, Skempton & MacDonald 1956 (second-hand; from settling masonry and framed buildings, an analogy for jacking)",
            ),
            neighbour_distance: Limit::assumed(
                Length::m(3.6),
                "a choice for this job: the longest bearer or joist span between supports that stand next to one another",
            ),
            max_lift: Limit::assumed(
                Length::mm(150.0),
                "a choice for this job: more than this is a new support, not packing",
            ),
            packing_warn: Limit::assumed(Length::mm(50.0), "own rule, editable"),
            packing_stop: Limit::assumed(
                Length::mm(100.0),
                "above this replace the pile: MBIE Codewords 74; BRANZ maintainingmyhome.org.nz",
            ),
            jack_rating: None,
            jack_derating: Limit::assumed(
                0.5,
                "at most half the rating of a bottle jack (common practice, no source)",
            ),
            bending_share: Limit::assumed(
                0.5,
                "own rule, editable: half the characteristic strength, for old timber of unknown grade that bears its load for long",
            ),
            carry_least: Limit::assumed(
                Force::ZERO,
                "own rule: a support cannot pull, and how much it has to carry is a choice for this job",
            ),
            beam_allowance: Limit::assumed(Length::mm(0.5), "own rule, editable"),
        }
    }
}

/// One thickness of packer that can be bought.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Packer {
    /// How thick.
    pub thickness: Length,
    /// Pieces in a pack.
    pub pack: u32,
    /// Price of a pack in whole cents, if known.
    pub pack_price_cents: Option<u64>,
}

/// The packers that stacks are built from.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Stock {
    /// The thicknesses.
    pub packers: Vec<Packer>,
    /// Most pieces in one stack.
    pub max_pieces: Limit<usize>,
    /// How far a stack may miss the wanted thickness.
    pub tolerance: Limit<Length>,
}

impl Default for Stock {
    fn default() -> Self {
        let piece = |mm: f64| Packer { thickness: Length::mm(mm), pack: 1, pack_price_cents: None };
        Self {
            packers: [1.5, 3.0, 5.0, 10.0, 20.0].map(piece).to_vec(),
            max_pieces: Limit::assumed(6, "own rule: few thick leaves"),
            tolerance: Limit::assumed(
                Length::mm(0.75),
                "half of the thinnest packer of the assumed stock",
            ),
        }
    }
}
