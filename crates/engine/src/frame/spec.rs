//! What the frame under the floor is made of, as the job or a proposal gives it.

use crate::ids::{BearerId, JoistId, SupportId};
use crate::site::Position;
use crate::source::SourceStatus;
use crate::units::{AreaLoad, Density, Force, Length, LineLoad, Stress};
use serde::Serialize;

/// Which way a timber or a wall runs on the plan.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Direction {
    /// Along x, to the right.
    X,
    /// Along y, up the page.
    Y,
}

impl Direction {
    /// The coordinate of a place along this direction.
    pub fn along(self, place: Position) -> Length {
        match self {
            Self::X => place.x,
            Self::Y => place.y,
        }
    }

    /// The coordinate of a place across this direction.
    pub fn across(self, place: Position) -> Length {
        self.turned().along(place)
    }

    /// The place with these coordinates along and across.
    pub fn place(self, along: Length, across: Length) -> Position {
        match self {
            Self::X => Position { x: along, y: across },
            Self::Y => Position { x: across, y: along },
        }
    }

    /// The other direction.
    pub fn turned(self) -> Self {
        match self {
            Self::X => Self::Y,
            Self::Y => Self::X,
        }
    }
}

/// A straight line along x or along y, with two ends.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Run {
    /// Which way it runs.
    pub direction: Direction,
    /// Its coordinate across: y of a run along x, x of a run along y.
    pub at: Length,
    /// Its lower end along.
    pub from: Length,
    /// Its upper end along.
    pub to: Length,
}

impl Run {
    /// The place a distance along.
    pub fn place(&self, along: Length) -> Position {
        self.direction.place(along, self.at)
    }

    /// How long it is.
    pub fn length(&self) -> Length {
        self.to - self.from
    }

    /// Whether a coordinate along lies between its ends, or within `margin` of one.
    pub fn reaches(&self, along: Length, margin: Length) -> bool {
        along >= self.from - margin && along <= self.to + margin
    }
}

/// A rectangular timber, on edge.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Section {
    /// Across, level.
    pub breadth: Length,
    /// Upright.
    pub depth: Length,
}

/// What is known of a timber's strength: characteristic values, or whatever its source calls so.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Strength {
    /// In bending.
    pub bending: Stress,
    /// In shear along the grain.
    pub shear: Stress,
    /// In bearing across the grain; `None` where the source gives none. Values of different
    /// standards come from different tests and do not convert.
    pub across_grain: Option<Stress>,
}

/// A grade of timber, or figures given for one piece.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Timber {
    /// What it is called, such as "F5, dry".
    pub name: String,
    /// Modulus of elasticity along the grain.
    pub stiffness: Stress,
    /// Mass by volume.
    pub density: Density,
    /// Its strength; `None` if only its stiffness is known.
    pub strength: Option<Strength>,
    /// Where the figures come from.
    pub source: String,
    /// How far that may be trusted.
    pub status: SourceStatus,
}

/// A timber that rests on supports.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Bearer {
    /// Its name.
    pub id: BearerId,
    /// Where it runs, its cantilevers included.
    pub run: Run,
    /// The supports under it, in order along it. A support may stand a little beside the line,
    /// and two bearers that lap may share one.
    pub supports: Vec<SupportId>,
    /// Supports over which it is jointed, so that it bends freely there.
    pub joints: Vec<SupportId>,
    /// Its section.
    pub section: Section,
    /// What it is made of.
    pub timber: Timber,
    /// Load on it beyond its own weight, all along.
    pub extra: LineLoad,
}

/// A timber that crosses the bearers and carries the floor.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Joist {
    /// Its name.
    pub id: JoistId,
    /// Where it runs.
    pub run: Run,
    /// Bearers over which it is jointed, so that it bends freely there.
    pub joints: Vec<BearerId>,
    /// Its section.
    pub section: Section,
    /// What it is made of.
    pub timber: Timber,
    /// Joists of one floor share its area load between them, each half way to the next. A step
    /// in the floor parts two floors.
    pub floor: String,
}

/// A load along a straight line: a wall with what it carries.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Wall {
    /// What it is called.
    pub name: String,
    /// Where it stands.
    pub run: Run,
    /// Its weight with what rests on it.
    pub load: LineLoad,
    /// Where the figure comes from.
    pub source: String,
}

/// A load at one place: a post from the roof, a water tank, a stove.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PointLoad {
    /// What it is called.
    pub name: String,
    /// Where it stands.
    pub at: Position,
    /// Its weight.
    pub load: Force,
    /// Where the figure comes from.
    pub source: String,
}

/// What the floor carries over its whole area.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct FloorLoad {
    /// Boards, linings and whatever does not move.
    pub dead: AreaLoad,
    /// People and furniture, where they are asked for.
    pub live: AreaLoad,
    /// Where the figures come from.
    pub source: String,
}

/// The frame under a floor. [`super::Frame::new`] checks it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct FrameSpec {
    /// The bearers.
    pub bearers: Vec<Bearer>,
    /// The joists.
    pub joists: Vec<Joist>,
    /// Walls with what rests on them.
    pub walls: Vec<Wall>,
    /// Loads at one place.
    pub point_loads: Vec<PointLoad>,
    /// Area loads.
    pub floor_load: FloorLoad,
    /// Length of bearer that rests on a support or a jack head, for stress across the grain.
    pub seat_length: Length,
    /// How far loads may be off either way (a ratio): 0.25 for a quarter more or less.
    pub load_doubt: f64,
    /// The share of today's sag that the timber has kept for good, from and to (ratios from 0 to
    /// 1). Nobody can see it, so results are given for both ends.
    pub set_share: (f64, f64),
    /// What of all this is assumed rather than given, in sentences. Everything that the frame
    /// says rests on them.
    pub assumed: Vec<String>,
}
