//! What a picture is made of.

mod on_frame;

pub use on_frame::{
    CarriedPicture, CarriedState, FrameLine, Holding, JackAt, JackLimit, JackLine, JackPicture,
    JackRise, LetGo, LineKind, ShareAt, SupportHolding, WayMove, WayPicture,
};

use crate::classes::ColourScale;
use crate::number::Print;
use floorwright_engine::frame::ForceRange;
use floorwright_engine::ids::{PointId, SupportId};
use floorwright_engine::site::{Outline, Position};
use floorwright_engine::units::Length;
use std::collections::BTreeMap;

/// What the picture is looked at on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Medium {
    /// A sheet of paper, to scale, with its title block.
    Sheet(Paper),
    /// A phone: one column, text large for the width, a scale bar in place of a scale.
    Screen,
}

/// A sheet of the ISO A series, lying.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Paper {
    /// 297 by 210 mm.
    #[default]
    A4,
    /// 420 by 297 mm.
    A3,
    /// 594 by 420 mm.
    A2,
    /// 841 by 594 mm.
    A1,
    /// 1189 by 841 mm.
    A0,
}

/// Whose drawing it is and which; an empty field is drawn as a dash.
///
/// # References
/// Fields of ISO 7200 (second-hand).
#[derive(Clone, Debug, Default, PartialEq)]
pub struct TitleBlock {
    /// Who owns the drawing.
    pub owner: String,
    /// The job.
    pub job: String,
    /// What the drawing shows.
    pub title: String,
    /// Identification number; the standard suggests at most 16 characters.
    pub number: String,
    /// Which sheet of how many, as `1 of 4`.
    pub sheet: String,
    /// Kind of document, as `levels plan`.
    pub document_type: String,
    /// Date of issue.
    pub date: String,
    /// Who made it.
    pub created_by: String,
    /// Who approved it.
    pub approved_by: String,
    /// The revision that this is.
    pub revision: Revision,
}

/// One revision of a drawing.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Revision {
    /// Its letter.
    pub mark: String,
    /// Its date.
    pub date: String,
    /// What changed.
    pub change: String,
}

/// Which way the plan lies; only ever what the job declares.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub enum Orientation {
    /// The job does not say, and the drawing says that.
    #[default]
    NotDeclared,
    /// North lies in this direction on the plan, as a vector of any length.
    North(Position),
    /// The street is on this side of the plan.
    Street(Side),
}

/// A side of the plan as it is drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Side {
    /// Towards smaller x.
    Left,
    /// Towards larger x.
    Right,
    /// Towards larger y.
    Top,
    /// Towards smaller y.
    Bottom,
}

/// A room on the plan.
#[derive(Clone, Debug, PartialEq)]
pub struct RoomOutline {
    /// Its name.
    pub name: String,
    /// The line round it.
    pub outline: Outline,
}

/// A point of the floor.
#[derive(Clone, Debug, PartialEq)]
pub struct FloorPoint {
    /// Its name.
    pub point: PointId,
    /// Where it is.
    pub at: Position,
    /// Its level above the target, up positive; `None` if it has no level.
    pub departure: Option<Length>,
    /// Whether its readings are in doubt.
    pub suspect: bool,
}

/// A line of equal departure.
#[derive(Clone, Debug, PartialEq)]
pub struct Contour {
    /// The departure along it, up positive.
    pub departure: Length,
    /// The line.
    pub line: Vec<Position>,
    /// Drawn thicker and with its number.
    pub index: bool,
}

/// A patch of the floor.
#[derive(Clone, Debug, PartialEq)]
pub struct ShadedCell {
    /// Its corners.
    pub corners: Vec<Position>,
    /// The departure that it is coloured by, up positive.
    pub departure: Length,
}

/// How far the floor is from the target.
#[derive(Clone, Debug, PartialEq)]
pub struct FloorPicture {
    /// What it is looked at on.
    pub medium: Medium,
    /// Whose drawing it is.
    pub title_block: TitleBlock,
    /// Which way the plan lies.
    pub orientation: Orientation,
    /// What levels are counted from and where that is, in words.
    pub datum_note: String,
    /// The target in words, as `12 mm below the threshold of the new room`.
    pub target_note: String,
    /// Which departure gets which colour: the same before and after.
    pub colours: ColourScale,
    /// Points within this of the target are in order, if the job says so.
    pub tolerance: Option<Length>,
    /// Height between contours, if there are any.
    pub contour_interval: Option<Length>,
    /// Unit and decimals of the numbers.
    pub print: Print,
    /// The rooms.
    pub rooms: Vec<RoomOutline>,
    /// The points.
    pub points: Vec<FloorPoint>,
    /// The lines of equal departure; what lies outside the rooms is cut off.
    pub contours: Vec<Contour>,
    /// The shading.
    pub cells: Vec<ShadedCell>,
}

/// What is done at a support.
#[derive(Clone, Debug, PartialEq)]
pub struct SupportMark {
    /// Its name.
    pub support: SupportId,
    /// Where it stands.
    pub at: Position,
    /// How far it is raised, up positive; below zero it is let down.
    pub lift: Length,
    /// Whether the readings that its lift rests on are in doubt.
    pub in_doubt: bool,
    /// The packers in its stack, thickest first.
    pub packers: Vec<Length>,
    /// Why it must stay as it is, if it must.
    pub fixed: Option<String>,
}

/// The lift and the packers at each support.
#[derive(Clone, Debug, PartialEq)]
pub struct LiftPicture {
    /// What it is looked at on.
    pub medium: Medium,
    /// Whose drawing it is.
    pub title_block: TitleBlock,
    /// Which way the plan lies.
    pub orientation: Orientation,
    /// What the lifts bring the floor to, in words.
    pub target_note: String,
    /// Which lift gets which colour.
    pub colours: ColourScale,
    /// Unit and decimals of the numbers.
    pub print: Print,
    /// The rooms.
    pub rooms: Vec<RoomOutline>,
    /// The supports.
    pub supports: Vec<SupportMark>,
    /// Where nobody lifts yet: a flag for each such support, and what it means.
    pub flags: BTreeMap<SupportId, (String, String)>,
}

/// One support moved in a pass.
#[derive(Clone, Debug, PartialEq)]
pub struct Move {
    /// The support.
    pub support: SupportId,
    /// How far it is raised in this pass, up positive.
    pub lift: Length,
}

/// What the frame says of one pass.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct PassForces {
    /// What the jack at each support pushes at most in this pass, over all assumptions.
    pub jacks: Vec<(SupportId, ForceRange)>,
    /// Supports that come to hang free of their bearer in some move of this pass.
    pub lets_go: Vec<SupportId>,
    /// The frame rocks in some move: no force is drawn, whatever `jacks` holds.
    pub rocks: bool,
}

/// One pass.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct PassStep {
    /// Its number, from 1.
    pub number: usize,
    /// The supports that move; every other one stays.
    pub moves: Vec<Move>,
    /// What the frame says of it; `None` if no frame was looked at.
    pub forces: Option<PassForces>,
}

/// One pass, or several side by side.
#[derive(Clone, Debug, PartialEq)]
pub struct PassPicture {
    /// What it is looked at on.
    pub medium: Medium,
    /// Whose drawing it is.
    pub title_block: TitleBlock,
    /// Which way the plan lies.
    pub orientation: Orientation,
    /// Which lift gets which colour: the same for every pass.
    pub colours: ColourScale,
    /// Unit and decimals of the numbers.
    pub print: Print,
    /// The rooms.
    pub rooms: Vec<RoomOutline>,
    /// Name and place of every support.
    pub supports: Vec<(SupportId, Position)>,
    /// The passes. One alone is drawn large with the supports' names.
    pub passes: Vec<PassStep>,
    /// Where and why the frame forbids this order of work, in words; `None` if it does not.
    pub stop: Option<String>,
    /// Supports that are not to be lifted yet: the mark beside the lift, and what it means.
    pub flags: BTreeMap<SupportId, (String, String)>,
}

impl PassPicture {
    /// The picture of one of its passes (by its place among them), drawn large with names.
    pub fn alone(&self, pass: usize) -> Option<Self> {
        let step = self.passes.get(pass)?.clone();
        let last = self.passes.last()?.number;
        let title = format!("Pass {} of {last}", step.number);
        let title_block = TitleBlock { title, ..self.title_block.clone() };
        Some(Self { title_block, passes: vec![step], ..self.clone() })
    }
}

/// The floor at one place along a line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ProfilePoint {
    /// Distance along the line.
    pub along: Length,
    /// Level above the target, up positive; `None` where the floor is unknown, and the line breaks.
    pub departure: Option<Length>,
    /// How far the true level may be from that (the expanded uncertainty); zero if not known.
    pub uncertainty: Length,
}

/// A support that the line passes over.
#[derive(Clone, Debug, PartialEq)]
pub struct ProfileSupport {
    /// Its name.
    pub support: SupportId,
    /// Distance along the line.
    pub along: Length,
}

/// A section through the floor along a line.
#[derive(Clone, Debug, PartialEq)]
pub struct ProfilePicture {
    /// What it is looked at on.
    pub medium: Medium,
    /// Whose drawing it is.
    pub title_block: TitleBlock,
    /// Unit of the numbers.
    pub print: Print,
    /// Where the line runs, in words.
    pub line_note: String,
    /// The target in words.
    pub target_note: String,
    /// What levels are counted from and where that is, in words.
    pub datum_note: String,
    /// The floor as it was read, in order along the line.
    pub before: Vec<ProfilePoint>,
    /// The floor as it is to be, or is; empty if there is none.
    pub after: Vec<ProfilePoint>,
    /// Supports below the line.
    pub supports: Vec<ProfileSupport>,
    /// Half-width of the band that is in order, if the job says so.
    pub tolerance: Option<Length>,
}
