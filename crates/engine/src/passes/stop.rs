//! Why an order of moves must not be worked by as it is.

use super::FrameCase;
use crate::ids::{BearerId, SupportId};
use crate::units::{Force, Length, round_to};
use serde::Serialize;
use std::fmt;

/// What passes its limit in a move.
#[derive(Clone, Debug, PartialEq, Serialize, thiserror::Error)]
#[serde(rename_all = "kebab-case")]
pub enum StopReason {
    /// Which supports carry could not be worked out, as when the loads tip the frame over.
    #[error("which supports carry could not be settled, so nothing is known of this move")]
    NotSettled,
    /// The frame is in balance on too few supports.
    #[error("the frame rocks: it is in balance on too few supports and may tip{}", OnTooFew(.loose))]
    Rocks {
        /// Bearers that fewer than two of their supports carry, each with those that do.
        loose: Vec<LooseBearer>,
        /// It rocks when all is done, whatever the order of moves.
        at_end: bool,
    },
    /// A jack has to push too much.
    #[error("the jack at support {support} pushes {force}, the limit is {limit}")]
    Jack {
        /// Where it stands.
        support: SupportId,
        /// What it pushes at most.
        force: Force,
        /// The rating times the share that it is used to.
        limit: Force,
        /// The least rating with which the whole order of moves keeps within that share.
        rating_needed: Force,
    },
    /// A timber bends too far.
    #[error(
        "{timber} is bent to {} of its strength at {:.1} m on the plan, the limit is {}",
        apart(*.share, *.limit).0, .along.to_m(), apart(*.share, *.limit).1
    )]
    Bending {
        /// The timber, such as "bearer B1".
        timber: String,
        /// Where along it, as a coordinate of the plan.
        along: Length,
        /// The bending stress as a share of its strength (a ratio).
        share: f64,
        /// The limit at this place (a ratio).
        limit: f64,
    },
    /// The seats of two neighbours get too far apart in height.
    #[error("the seats of {} and {} slope by {}, the limit is {}",
        .pair.0, .pair.1, OneIn(*.slope), OneIn(*.limit))]
    SeatSlope {
        /// The pair.
        pair: (SupportId, SupportId),
        /// Their slope, without sign (a ratio).
        slope: f64,
        /// The limit of the pair (a ratio).
        limit: f64,
    },
    /// The floor between two neighbours slopes too far, whatever their seats do.
    #[error("the floor from {} to {} slopes by {}, the limit is {}",
        .pair.0, .pair.1, OneIn(*.slope), OneIn(*.limit))]
    BeamSlope {
        /// The pair.
        pair: (SupportId, SupportId),
        /// The slope of the bearers over them, without sign (a ratio).
        slope: f64,
        /// The limit of the pair with its allowance (a ratio).
        limit: f64,
    },
}

impl StopReason {
    /// The worst kind first.
    pub(super) fn rank(&self) -> usize {
        match self {
            Self::NotSettled => 0,
            Self::Rocks { .. } => 1,
            Self::Jack { .. } => 2,
            Self::Bending { .. } => 3,
            Self::SeatSlope { .. } => 4,
            Self::BeamSlope { .. } => 5,
        }
    }

    /// Whether it is about how far timber is bent.
    pub(super) fn is_of_shape(&self) -> bool {
        matches!(self, Self::Bending { .. } | Self::BeamSlope { .. })
    }

    /// By how many times the limit is passed (a ratio).
    pub(super) fn excess(&self) -> f64 {
        match self {
            Self::NotSettled | Self::Rocks { .. } => f64::INFINITY,
            Self::Jack { force, limit, .. } => *force / *limit,
            Self::Bending { share, limit, .. } => share / limit,
            Self::SeatSlope { slope, limit, .. } | Self::BeamSlope { slope, limit, .. } => {
                slope / limit
            }
        }
    }

    /// The way out.
    pub fn hint(&self) -> String {
        match self {
            Self::NotSettled => "check the frame's numbers; do not work by this plan".to_owned(),
            Self::Rocks { at_end: true, .. } => {
                "it rocks when all is lifted, so no order of moves helps: lift less there, or more at \
                 the neighbours that come free; if it rocks only where much of the sag has set, or \
                 little, settle how far it has (set_share in [frame])"
                    .to_owned()
            }
            Self::Rocks { at_end: false, .. } => {
                "it rocks on the way only: more jacks at a time, so that neighbours rise together, or \
                 a smaller lift in a pass"
                    .to_owned()
            }
            Self::Jack { rating_needed, .. } => format!(
                "a jack rated at least {}, or more jacks at a time, so that neighbours rise together",
                rounded_up(*rating_needed)
            ),
            Self::Bending { .. } => {
                "less lift in a pass, or more jacks at a time; or a limit for this timber that an \
                 engineer has given"
                    .to_owned()
            }
            Self::SeatSlope { .. } => "less lift in a pass, or more jacks at a time".to_owned(),
            Self::BeamSlope { .. } => {
                "more jacks at a time, so that neighbours rise together; or a wider limit for this \
                 floor, if what stands on it bears that"
                    .to_owned()
            }
        }
    }
}

/// A bearer that too few of its supports carry.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LooseBearer {
    /// The bearer.
    pub bearer: BearerId,
    /// Those of its supports that carry: one, or none.
    pub on: Vec<SupportId>,
}

/// Bearers that are held by too few of their supports, to stand at the end of a sentence.
struct OnTooFew<'a>(&'a [LooseBearer]);

impl fmt::Display for OnTooFew<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        const MOST: usize = 3;
        for (idx, LooseBearer { bearer, on }) in self.0.iter().take(MOST).enumerate() {
            let mark = if idx == 0 { ": " } else { ", " };
            match on.first() {
                Some(support) => write!(f, "{mark}bearer {bearer} rests on {support} alone")?,
                None => write!(f, "{mark}bearer {bearer} rests on none of its supports")?,
            }
        }
        match self.0.len().checked_sub(MOST) {
            None | Some(0) => Ok(()),
            Some(more) => write!(f, " and {more} more bearers are as loose"),
        }
    }
}

/// The first move in which a limit would be passed.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Stop {
    /// The pass, counted from 1; 0 if the frame cannot be worked on as it stands today.
    pub pass: usize,
    /// The move in the pass, counted from 1; 0 before the first.
    pub move_in_pass: usize,
    /// What passes its limit.
    pub reason: StopReason,
    /// The assumptions under which it does; `None` if under all alike.
    pub case: Option<FrameCase>,
}

impl Stop {
    /// The way out.
    pub fn hint(&self) -> String {
        match (&self.reason, self.pass) {
            (StopReason::Rocks { .. }, 0) => {
                "it rocks as it stands, so nothing that is done in the passes helps: check that every \
                 support and bearer is in the job, their places, gaps and readings, and settle how \
                 far the sag has set (set_share in [frame]); if it is so, have it held and packed \
                 first"
                    .to_owned()
            }
            (reason, _) => reason.hint(),
        }
    }
}

impl fmt::Display for Stop {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.pass {
            0 => write!(f, "before the first move: {}", self.reason)?,
            pass => write!(f, "pass {pass}, move {}: {}", self.move_in_pass, self.reason)?,
        }
        match self.case {
            Some(case) => write!(
                f,
                " (if {} of the sag has set and loads are {} of what is given)",
                Percent(case.set_share),
                Percent(case.loads.dead)
            ),
            None => Ok(()),
        }
    }
}

/// In kilonewtons with one decimal, never less than the force.
fn rounded_up(force: Force) -> Force {
    Force::kn((force.to_kn() * 10.0 - 1e-6).ceil() / 10.0)
}

struct Percent(f64);

/// Two of them that are compared, with as many decimals as it takes to tell one from the other.
fn apart(share: f64, limit: f64) -> (String, String) {
    const MOST: usize = 4;
    let said = |ratio: f64, decimals: usize| {
        format!("{:.decimals$} %", round_to(ratio * 100.0, 0.1_f64.powi(decimals as i32)))
    };
    let both = |decimals| (said(share, decimals), said(limit, decimals));
    (1..MOST).map(both).find(|(share, limit)| share != limit).unwrap_or_else(|| both(MOST))
}

impl fmt::Display for Percent {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:.0} %", round_to(self.0 * 100.0, 1.0))
    }
}

/// A slope as builders say it.
struct OneIn(f64);

impl fmt::Display for OneIn {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.0 > 0.0 { write!(f, "1 in {:.0}", 1.0 / self.0) } else { write!(f, "nothing") }
    }
}
