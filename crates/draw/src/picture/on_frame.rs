//! What the pictures of the frame are made of.

use super::{Medium, Orientation, RoomOutline, TitleBlock};
use crate::number::Print;
use floorwright_engine::frame::ForceRange;
use floorwright_engine::ids::SupportId;
use floorwright_engine::site::Position;
use floorwright_engine::units::{Force, Length};

/// What a line under the floor stands for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum LineKind {
    /// A wall, with what rests on it.
    Wall,
    /// A timber that crosses the bearers.
    Joist,
    /// A timber on supports.
    Bearer,
}

/// A timber or a wall on the plan.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FrameLine {
    /// What it is.
    pub kind: LineKind,
    /// One end.
    pub from: Position,
    /// The other.
    pub to: Position,
    /// It was proposed by rules rather than given: drawn dashed.
    pub assumed: bool,
}

/// What is known of one support at one time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Holding {
    /// It carries under every assumption.
    Carries(ForceRange),
    /// It carries under some assumptions and hangs under others.
    MayHang(ForceRange),
    /// It hangs free of its bearer, with air between the two from the first to the second.
    Hangs(Length, Length),
    /// A jack stands there and pushes.
    Jack(ForceRange),
    /// It comes to hang free at this time, by how much is not listed.
    LetsGo,
    /// Nothing is listed for this support at this time.
    NotListed,
}

/// One support at one time.
#[derive(Clone, Debug, PartialEq)]
pub struct SupportHolding {
    /// Its name.
    pub support: SupportId,
    /// Where it stands.
    pub at: Position,
    /// What it does.
    pub holding: Holding,
}

/// Who carries what at one time.
#[derive(Clone, Debug, PartialEq)]
pub struct CarriedState {
    /// Which time, as `Today` or `Pass 3, move 2`.
    pub title: String,
    /// One for each support.
    pub supports: Vec<SupportHolding>,
    /// The frame rocks under some assumption: no number is drawn, whatever `supports` holds.
    pub rocks: bool,
    /// What else is to be said of it; may be empty.
    pub note: String,
}

/// Who carries what: one time large, or several side by side.
///
/// # Units and sign
/// Forces on supports are positive, in kilonewtons; air is in the unit of the picture.
#[derive(Clone, Debug, PartialEq)]
pub struct CarriedPicture {
    /// What it is looked at on.
    pub medium: Medium,
    /// Whose drawing it is.
    pub title_block: TitleBlock,
    /// Which way the plan lies.
    pub orientation: Orientation,
    /// Unit of the air under bearers.
    pub print: Print,
    /// The rooms.
    pub rooms: Vec<RoomOutline>,
    /// The timbers and walls.
    pub lines: Vec<FrameLine>,
    /// Loads at one place.
    pub point_loads: Vec<Position>,
    /// How many things about the frame are assumed rather than given.
    pub n_assumed: usize,
    /// The times, in order. One alone is drawn large with the supports' names.
    pub states: Vec<CarriedState>,
}

impl CarriedPicture {
    /// The picture of one of its times (by its place among them), drawn large with names.
    pub fn alone(&self, state: usize) -> Option<Self> {
        let state = self.states.get(state)?.clone();
        let title = format!("Who carries what: {}", state.title);
        let title_block = TitleBlock { title, ..self.title_block.clone() };
        Some(Self { title_block, states: vec![state], ..self.clone() })
    }
}

/// A force along the rise of a jack, over all assumptions.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct JackRise {
    /// How far the bearer is raised there.
    pub rise: Length,
    /// What the jack pushes.
    pub force: ForceRange,
}

/// A place on a curve at which one or more supports let go of their load.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LetGo {
    /// How far the bearer is raised there.
    pub rise: Length,
    /// What the jack pushes there.
    pub force: Force,
    /// How many have let go since the start.
    pub n_gone: usize,
}

/// One way of raising a jack.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct JackLine {
    /// In order of rise.
    pub points: Vec<JackRise>,
    /// Where supports let go, on the curves that end least and most.
    pub let_go: Vec<LetGo>,
    /// From this rise on the frame rocks under some assumption; the line ends before it.
    pub rocks_from: Option<Length>,
}

/// What a jack may push at most.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct JackLimit {
    /// What is written on it.
    pub rating: Force,
    /// The share of that which it is used to (a ratio).
    pub share: f64,
}

impl JackLimit {
    /// The rating times the share.
    pub fn force(&self) -> Force {
        self.rating * self.share
    }
}

/// The force at a jack as it rises.
///
/// # Units and sign
/// Rises up positive, in the unit of the picture; forces positive, in kilonewtons.
#[derive(Clone, Debug, PartialEq)]
pub struct JackPicture {
    /// What it is looked at on.
    pub medium: Medium,
    /// Whose drawing it is.
    pub title_block: TitleBlock,
    /// Unit of the rises.
    pub print: Print,
    /// Where the jack stands, in words.
    pub place: String,
    /// Raised while all other supports stay.
    pub alone: JackLine,
    /// Raised together with its neighbours, if that was worked out.
    pub together: JackLine,
    /// Who the neighbours are, in words; may be empty.
    pub neighbours: String,
    /// What the jack may push; `None` if its rating is not known.
    pub limit: Option<JackLimit>,
    /// What else is to be said; may be empty.
    pub note: String,
}

/// A share of a limit, with where it is.
#[derive(Clone, Debug, PartialEq)]
pub struct ShareAt {
    /// The share (a ratio).
    pub share: f64,
    /// Where, in words.
    pub place: String,
}

/// A jack's force, with where it stands.
#[derive(Clone, Debug, PartialEq)]
pub struct JackAt {
    /// What it pushes.
    pub force: ForceRange,
    /// The support that it stands at.
    pub support: SupportId,
}

/// One move of the way.
#[derive(Clone, Debug, PartialEq)]
pub struct WayMove {
    /// Its pass, from 1.
    pub pass: usize,
    /// Its number in the pass, from 1.
    pub number: usize,
    /// Steepest slope between neighbours that it moves, as a share of the pair's limit.
    pub slope: Option<ShareAt>,
    /// The jack that pushes most.
    pub jack: Option<JackAt>,
    /// The most bent timber, as a share of its strength.
    pub bent: Option<ShareAt>,
    /// The frame rocks in it: nothing else is known.
    pub rocks: bool,
}

/// How near the work comes to its limits, move by move.
#[derive(Clone, Debug, PartialEq)]
pub struct WayPicture {
    /// What it is looked at on.
    pub medium: Medium,
    /// Whose drawing it is.
    pub title_block: TitleBlock,
    /// The moves were checked on a frame; if not, the picture says that no force is known.
    pub on_frame: bool,
    /// In order.
    pub moves: Vec<WayMove>,
    /// What a jack may push; `None` if its rating is not known.
    pub jack_limit: Option<JackLimit>,
    /// The share of its strength that a timber may be bent to (a ratio).
    pub bending_limit: f64,
    /// Where and why the frame forbids this order of work, in words; `None` if it does not.
    pub stop: Option<String>,
    /// Bending passes its limit under some of the assumptions, not under all.
    pub may_bend_too_far: bool,
}
