//! What is wrong with a frame.

use crate::ids::{BearerId, JoistId, SupportId};
use crate::units::Length;
use serde::Serialize;

/// Why a frame cannot be computed with. Each names the place, the value and the limit.
#[derive(Clone, Debug, PartialEq, Serialize, thiserror::Error)]
pub enum FrameFault {
    /// No bearer at all.
    #[error("the frame has no bearers")]
    NoBearers,
    /// A bearer over a support that is not in the job.
    #[error("bearer {bearer} is said to rest on support {support}, which is not in the job")]
    UnknownSupport {
        /// The bearer.
        bearer: BearerId,
        /// The name that is not known.
        support: SupportId,
    },
    /// A joint over something the timber does not rest on.
    #[error("{timber} is said to be jointed over {over}, which it does not rest on")]
    JointElsewhere {
        /// The bearer or joist.
        timber: String,
        /// Where the joint is said to be.
        over: String,
    },
    /// A bearer that rests on nothing, or one support twice.
    #[error("bearer {0} rests on no support, or names one twice")]
    BearerOnNothing(BearerId),
    /// A support far off the line of its bearer.
    #[error(
        "support {support} stands {beside} beside the line of bearer {bearer}, the limit is {limit}"
    )]
    SupportBeside {
        /// The bearer.
        bearer: BearerId,
        /// The support.
        support: SupportId,
        /// How far.
        beside: Length,
        /// The most that is taken for one line.
        limit: Length,
    },
    /// A support beyond the end of its bearer.
    #[error("support {support} stands {beyond} beyond the end of bearer {bearer}")]
    SupportBeyondEnd {
        /// The bearer.
        bearer: BearerId,
        /// The support.
        support: SupportId,
        /// How far.
        beyond: Length,
    },
    /// A support that carries no bearer.
    #[error("support {0} is under no bearer")]
    SupportUnderNothing(SupportId),
    /// Two bearers that cross.
    #[error("bearers {0} and {1} cross")]
    BearersCross(BearerId, BearerId),
    /// Two bearers on one line that overlap.
    #[error("bearers {0} and {1} overlap by {2}")]
    BearersOverlap(BearerId, BearerId, Length),
    /// Two joists on one line that overlap, or that cross.
    #[error("joists {0} and {1} cross or overlap")]
    JoistsClash(JoistId, JoistId),
    /// A joist that crosses fewer than two bearers.
    #[error("joist {joist} rests on {bearers} of the bearers, it needs two")]
    JoistOverAir {
        /// The joist.
        joist: JoistId,
        /// How many it crosses.
        bearers: usize,
    },
    /// A timber that is not a timber.
    #[error("{timber} has {what} of {value}, the limit is {limit}")]
    OutOfRange {
        /// The bearer or joist, or "the frame".
        timber: String,
        /// Which number.
        what: &'static str,
        /// The number with its unit.
        value: String,
        /// What it may be.
        limit: String,
    },
    /// A load that stands where the frame is not.
    #[error("{load} stands {beyond} outside the joists and bearers")]
    LoadOutside {
        /// The wall or point load.
        load: String,
        /// How far outside.
        beyond: Length,
    },
    /// A name used twice.
    #[error("{0} is given twice")]
    GivenTwice(String),
    /// Timbers that turn freely although every support is held.
    #[error("{0} can turn freely although every support holds")]
    Loose(String),
    /// More unknowns than can be held.
    #[error("the frame has {unknowns} unknowns and a band of {band}, which is beyond this program")]
    TooLarge {
        /// Unknowns.
        unknowns: usize,
        /// Half band width.
        band: usize,
    },
}

impl FrameFault {
    /// The way out.
    pub fn hint(&self) -> &'static str {
        match self {
            Self::NoBearers => "list the bearers with their supports, or leave the frame out",
            Self::UnknownSupport { .. } => "correct the name, or add the support with its place",
            Self::JointElsewhere { .. } => "name a support or bearer that it crosses",
            Self::BearerOnNothing(_) => "name each support under the bearer once",
            Self::SupportBeside { .. } => {
                "correct its place, or end the bearer and begin another one over that support"
            }
            Self::SupportBeyondEnd { .. } => "lengthen the bearer, or take the support out of it",
            Self::SupportUnderNothing(_) => {
                "name it among the supports of the bearer that it carries"
            }
            Self::BearersCross(..) => {
                "bearers of one floor lie beside one another: end one at the other, over a support"
            }
            Self::BearersOverlap(..) => "end one where the other begins",
            Self::JoistsClash(..) => "end one where the other begins, or take one out",
            Self::JoistOverAir { .. } => "lengthen the joist to the next bearer, or take it out",
            Self::OutOfRange { .. } => "check the number and its unit",
            Self::LoadOutside { .. } => "correct its place, or extend the joists to it",
            Self::GivenTwice(_) => "give each its own name",
            Self::Loose(_) => {
                "a timber needs two places to rest on: take out the joint, or add a support"
            }
            Self::TooLarge { .. } => "divide the job into parts",
        }
    }
}
