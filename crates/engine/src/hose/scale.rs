//! How far the reservoir's own water line moves, and what runs out of it.

use crate::units::{Area, Length, Volume};
use serde::Serialize;

/// Mean radius of the Earth (IUGG, rounded).
const EARTH: Length = Length::mm(6_371_000_000.0);

/// How far a straight line of sight stands above the level surface at a distance. The water of a hose
/// follows that surface and needs no such correction.
///
/// # References
/// `c = d^2 / (2 R)`, the first term of the distance from a tangent to its circle.
pub fn straight_sight_rises(distance: Length) -> Length {
    distance * (distance / EARTH) * 0.5
}

/// What stands at the other end of the hose.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum Reservoir {
    /// A pail or pot with this free water area at its water line, floats and lids taken off.
    Pail {
        /// The area.
        area: Area,
    },
    /// A second tube of the same bore, and both ends are read at the same moment.
    TwinBothEnds,
    /// A second tube of the same bore that stays where it is and is not read.
    TwinOneEnd,
    /// The hose is slid until the water stands at one mark on it: nothing flows to or from the
    /// reservoir, whose area does not matter.
    FixedMark {
        /// Its free water area.
        area: Area,
    },
}

impl Reservoir {
    /// Area of the moving tube over that of everything else that is free (a ratio).
    pub fn area_ratio(self, bore: Length) -> f64 {
        match self {
            Self::Pail { area } | Self::FixedMark { area } => Area::of_circle(bore) / area,
            Self::TwinBothEnds | Self::TwinOneEnd => 1.0,
        }
    }

    /// Whether the other end is a second tube of the same bore.
    pub fn is_twin(self) -> bool {
        matches!(self, Self::TwinBothEnds | Self::TwinOneEnd)
    }

    /// What a difference of readings is multiplied by (a ratio).
    ///
    /// # References
    /// The water keeps its volume: `A_r dz + A dr = 0` and `z = h + r`, so
    /// `h2 - h1 = -(r2 - r1) (1 + A/A_r)`. Both ends of a twin read at once share one water line,
    /// and a fixed mark moves no water: factor 1.
    pub fn factor(self, bore: Length) -> f64 {
        match self {
            Self::Pail { .. } | Self::TwinOneEnd => 1.0 + self.area_ratio(bore),
            Self::TwinBothEnds | Self::FixedMark { .. } => 1.0,
        }
    }

    /// All free water area, the moving tube's included.
    pub fn free_area(self, bore: Length) -> Area {
        let tube = Area::of_circle(bore);
        match self {
            Self::Pail { area } | Self::FixedMark { area } => area + tube,
            Self::TwinBothEnds | Self::TwinOneEnd => tube * 2.0,
        }
    }

    /// How far the water in the tube starts from where it comes to rest, when its end is raised or
    /// lowered by this much with the water carried along.
    pub fn start_of(self, moved: Length) -> Length {
        match self {
            Self::Pail { .. } | Self::FixedMark { .. } => moved,
            Self::TwinBothEnds | Self::TwinOneEnd => moved / 2.0,
        }
    }
}

/// How much of a true difference does not show in the readings, if nobody corrects it.
pub fn not_shown(difference: Length, factor: f64) -> Length {
    difference * (1.0 - 1.0 / factor)
}

/// What runs out onto the floor when an open end is held this far below the water line.
pub fn siphoned(reservoir: Area, low_by: Length) -> Volume {
    reservoir * low_by.max(Length::ZERO)
}

/// How far the water line falls for what was spilled.
pub fn spill_lowers(spilled: Volume, free: Area) -> Length {
    spilled.over(free)
}
