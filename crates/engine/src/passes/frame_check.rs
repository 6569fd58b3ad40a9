//! What the frame says about every move of an order of work.

use super::{FrameCase, Stop};
use crate::frame::Bent;
use crate::ids::SupportId;
use crate::units::{Force, Stress};
use serde::Serialize;

/// What one jack pushes, over all assumptions.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct JackRange {
    /// Where it stands.
    pub support: SupportId,
    /// The largest force under the assumptions that give the least.
    pub least: Force,
    /// The largest force under the assumptions that give the most.
    pub most: Force,
}

/// A timber at its most bent, with the assumptions under which it is.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct MostBent {
    /// The timber, where along it, and how far it is stressed.
    pub bent: Bent,
    /// The assumptions.
    pub case: FrameCase,
}

/// A support that is pressed most.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct MostPressed {
    /// The support.
    pub support: SupportId,
    /// Stress across the grain of the bearers on it.
    pub stress: Stress,
}

/// One timber with its largest shear stress.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct MostSheared {
    /// The timber, such as "bearer B1".
    pub timber: String,
    /// The stress at mid-depth.
    pub stress: Stress,
    /// That as a share of its strength in shear (a ratio), if that is known.
    pub share: Option<f64>,
}

/// What happens in one move.
///
/// Bent timbers and pressed supports are looked for where the move changes anything, in the first
/// move everywhere.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct MoveCheck {
    /// What each jack pushes at most: before, at the end, and half way if supports let go or take
    /// hold in between while jacks rise near one another.
    pub jacks: Vec<JackRange>,
    /// Supports that come to hang free of their bearer by more than 0.1 mm under any of the
    /// assumptions.
    pub lost_contact: Vec<SupportId>,
    /// The most bent timber, by share of its strength; by stress where no strength is known.
    pub most_bent: Option<MostBent>,
    /// The most pressed support.
    pub most_pressed: Option<MostPressed>,
    /// The frame rocks under some assumption: nothing else is known of this move.
    pub rocks: bool,
}

/// What happens in one pass.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct PassCheck {
    /// Counted from 1.
    pub number: usize,
    /// Its moves, in order.
    pub moves: Vec<MoveCheck>,
    /// The jack that pushes most.
    pub jack: Option<JackRange>,
    /// The most bent timber.
    pub most_bent: Option<MostBent>,
    /// The most pressed support.
    pub most_pressed: Option<MostPressed>,
    /// How often a support comes to hang free, counted once a move.
    pub lost_contact: usize,
}

/// The largest of everything on the way, from the end of the first move on.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct FramePeaks {
    /// The jack that pushes most.
    pub jack: Option<JackRange>,
    /// The bearer that is stressed most.
    pub bearer: Option<MostBent>,
    /// The joist that is stressed most.
    pub joist: Option<MostBent>,
    /// The timber that is bent to the largest share of its strength; `None` if no strength is
    /// known.
    pub share: Option<MostBent>,
    /// The timber that is sheared most, by share of its strength; by stress where none is known.
    pub sheared: Option<MostSheared>,
    /// The support that is pressed most.
    pub pressed: Option<MostPressed>,
    /// Steepest slope between neighbouring seats, today's included (a ratio).
    pub seat_slope: f64,
    /// Largest excess of such a slope over its limit (a ratio); zero if none.
    pub seat_slope_over: f64,
    /// Steepest slope of the bearers between neighbouring supports (a ratio).
    pub beam_slope: f64,
    /// Largest excess of such a slope over its limit and the allowance (a ratio); zero if none.
    pub beam_slope_over: f64,
    /// How many supports come to hang free at some time.
    pub lost_contact: usize,
    /// The frame rocks at some time.
    pub rocks: bool,
}

/// A timber that is bent beyond the limit when all is done: no order of moves avoids it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct BentAtEnd {
    /// The timber at its most bent, with the assumptions.
    pub most_bent: MostBent,
    /// The largest share of its strength today, under the same assumptions (a ratio).
    pub share_today: f64,
}

/// Every move of an order of work, checked on the frame.
///
/// # Units and sign
/// Forces positive up, shares and slopes are ratios without sign.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct FrameCheck {
    /// The assumptions that ranges run over.
    pub cases: Vec<FrameCase>,
    /// In order.
    pub passes: Vec<PassCheck>,
    /// What the jack at each support pushes at most in all passes; supports that never move have
    /// none, and nothing is given where the frame rocks.
    pub jacks: Vec<JackRange>,
    /// The largest of everything.
    pub peaks: FramePeaks,
    /// Timbers that end bent beyond the limit, once for each share of set sag.
    pub bent_at_end: Vec<BentAtEnd>,
    /// Timbers whose strength is unknown: their bending has no limit here.
    pub strength_unknown: Vec<String>,
    /// The least rating of a jack with which no jack pushes more than its share of it; `None` if
    /// nothing is lifted or the frame rocks.
    pub rating_needed: Option<Force>,
    /// The first move in which a limit would be passed: a limit of jacks and seats under any of the
    /// assumptions, a limit of bending and of the floor's slope under all of them.
    pub stop: Option<Stop>,
    /// Where bending or the floor's slope would first pass its limit under some of the
    /// assumptions: once for each share of set sag.
    pub may_stop: Vec<Stop>,
}

impl FrameCheck {
    /// Whether no limit is surely passed in any move; see [`Self::may_stop`] for the others.
    pub fn passed(&self) -> bool {
        self.stop.is_none()
    }
}
