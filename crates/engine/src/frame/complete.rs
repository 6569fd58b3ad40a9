//! From what the builder gives to a whole frame: what is missing is filled in by rule and named.

use super::spec::{
    Bearer, Direction, FloorLoad, FrameSpec, Joist, PointLoad, Section, Timber, Wall,
};
use crate::ids::RoomId;
use crate::site::Site;
use crate::units::{Length, LineLoad};
use serde::Serialize;

/// Joists given by direction and spacing.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct JoistSet {
    /// Which way they run; across the bearers if not given.
    pub direction: Option<Direction>,
    /// From one to the next.
    pub spacing: Length,
    /// Where the first one lies (its coordinate across); the end of the bearers if not given.
    pub first: Option<Length>,
    /// Only under these rooms; empty means under the whole floor.
    pub rooms: Vec<RoomId>,
    /// Section of each.
    pub section: Section,
    /// What they are made of.
    pub timber: Timber,
}

/// What the builder knows of the frame; anything may be missing.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct GivenFrame {
    /// Bearers; none if they are to be proposed from the grid of supports.
    pub bearers: Vec<Bearer>,
    /// Joists one by one.
    pub joists: Vec<Joist>,
    /// Joists by direction and spacing.
    pub joist_sets: Vec<JoistSet>,
    /// Walls with what rests on them; `None` if nothing was said of walls.
    pub walls: Option<Vec<Wall>>,
    /// Loads at one place.
    pub point_loads: Vec<PointLoad>,
    /// Area loads.
    pub floor_load: Option<FloorLoad>,
    /// Length of bearer on a seat.
    pub seat_length: Option<Length>,
    /// Doubt about the loads (a ratio).
    pub load_doubt: Option<f64>,
    /// Share of the sag that has set (ratios from and to).
    pub set_share: Option<(f64, f64)>,
}

/// What is taken where the builder gives nothing, with the reason for each.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct FrameRules {
    /// Which way bearers run; the way that makes the longer rows if not given.
    pub bearers_run: Option<Direction>,
    /// Supports on one line within this are one row; also how far a support may stand beside
    /// its bearer.
    pub row_width: Length,
    /// Bearers and joists span no further than this between two places that they rest on.
    pub longest_span: Length,
    /// Timbers run on to the edge of the floor if that is no further than this.
    pub longest_overhang: Length,
    /// Section of a bearer.
    pub bearer: Section,
    /// Section of a joist.
    pub joist: Section,
    /// From joist to joist.
    pub joist_spacing: Length,
    /// What both are made of.
    pub timber: Timber,
    /// Outer walls with their part of the roof.
    pub outer_wall: LineLoad,
    /// Walls between rooms.
    pub inner_wall: LineLoad,
    /// Area loads.
    pub floor_load: FloorLoad,
    /// Length of bearer on a seat.
    pub seat_length: Length,
    /// Doubt about the loads (a ratio).
    pub load_doubt: f64,
    /// Share of the sag that has set (ratios from and to).
    pub set_share: (f64, f64),
    /// Where sections, spacing and walls come from, with their standing, in one sentence.
    pub source: String,
}

/// Why a frame cannot be proposed.
#[derive(Clone, Debug, PartialEq, Serialize, thiserror::Error)]
pub enum ProposalFault {
    /// No supports to build on.
    #[error("there are no supports")]
    NoSupports,
}

impl ProposalFault {
    /// The way out.
    pub fn hint(&self) -> &'static str {
        "stub"
    }
}

/// Stub.
pub fn complete(_: &Site, _: &GivenFrame, _: &FrameRules) -> Result<FrameSpec, Vec<ProposalFault>> {
    Err(vec![ProposalFault::NoSupports])
}
