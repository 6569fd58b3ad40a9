//! The builder's own hose, checked when it is made.

use super::fluid::{Fluid, MOST_GLYCOL};
use super::scale::Reservoir;
use super::settling::{Column, MARGIN};
use super::validity::OutsideValidity;
use crate::units::{Area, Length, Temperature, Viscosity};
use serde::Serialize;

/// How readings are taken.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Care {
    /// As one does in passing: no more is taken for granted.
    #[default]
    Casual,
    /// Tube clean with a drop of detergent and tapped, eye level with the water, staff upright on
    /// a clean spot, the wait kept to, hose low and shaded, doors open, back to the benchmark in
    /// time.
    Careful,
}

/// How much of a hose on the floor leads towards a point: none lies straight (a ratio, common
/// practice).
const SLACK: f64 = 0.95;

/// A home-made hose level.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Hose {
    /// What stands at its other end.
    pub reservoir: Reservoir,
    /// Inside diameter of the tube.
    pub bore: Length,
    /// Length of the hose from end to end.
    pub length: Length,
    /// What it is filled with.
    pub fluid: Fluid,
    /// How warm the water in it is.
    pub temperature: Temperature,
    /// How warm the legs at the reservoir and at the staff are, where they were measured.
    pub leg_temperatures: Option<(Temperature, Temperature)>,
    /// How deep the legs hang: from the water line down to the floor.
    pub leg: Length,
    /// To what a reading is rounded.
    pub read_to: Length,
    /// How readings are taken.
    pub care: Care,
    /// The tube is closed while it is carried, and opened fully to read.
    pub capped: bool,
    /// Where the tube can be read, from and to, above the foot of the staff.
    pub reads: (Length, Length),
    /// How far up or down the end goes from one point to the next, at most.
    pub largest_move: Length,
    /// How near to its rest the water has to be when it is read.
    pub settle_to: Length,
}

impl Default for Hose {
    /// What is taken where the builder does not say: 20 m of 10 mm tube on a pail of 200 mm, water
    /// at 20 C, legs of 1 m, read casually to the millimetre.
    fn default() -> Self {
        Self {
            reservoir: Reservoir::Pail { area: Area::of_circle(Length::mm(200.0)) },
            bore: Length::mm(10.0),
            length: Length::m(20.0),
            fluid: Fluid::Water,
            temperature: Temperature::celsius(20.0),
            leg_temperatures: None,
            leg: Length::m(1.0),
            read_to: Length::mm(1.0),
            care: Care::Casual,
            capped: false,
            reads: (Length::mm(200.0), Length::mm(1600.0)),
            largest_move: Length::mm(100.0),
            settle_to: Length::mm(0.5),
        }
    }
}

/// Below this nothing is known of any filling, C.
const COLDEST: f64 = 0.0;
/// Above this nothing is known of all fillings, C.
const HOTTEST: f64 = 40.0;

/// What is wrong with a hose. Each names the part it is about, as the job does.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum HoseFault {
    /// A length that no hose has.
    #[error("{key} is out of range: {value}, must be {low} to {high}")]
    OutOfRange {
        /// The part.
        key: &'static str,
        /// Its value.
        value: Length,
        /// The least.
        low: Length,
        /// The most.
        high: Length,
    },
    /// The pail holds no more than the tube.
    #[error(
        "the reservoir is smaller than the hose: {reservoir:.0} mm2 of water, the bore has {bore:.0} mm2"
    )]
    ReservoirTooSmall {
        /// Free water area of the reservoir, mm2.
        reservoir: f64,
        /// Area of the bore, mm2.
        bore: f64,
    },
    /// More glycol than is known of, or less than none.
    #[error("a share of {percent:.0} % glycol by mass is not known of, must be 0 % to 50 %")]
    Glycol {
        /// The share.
        percent: f64,
    },
    /// Ice in the hose.
    #[error("the filling freezes at {freezes:.1} C, and {key} is {temperature:.1} C")]
    Freezes {
        /// The temperature's name.
        key: &'static str,
        /// At which it freezes.
        freezes: f64,
        /// What it is said to have.
        temperature: f64,
    },
    /// A temperature at which nothing about the filling is known.
    #[error("{1}")]
    Outside(&'static str, OutsideValidity),
    /// Legs that leave no hose between them.
    #[error("two legs of {leg} and a hose of {length} leave nothing to reach with")]
    LegsTooLong {
        /// One leg.
        leg: Length,
        /// The hose.
        length: Length,
    },
    /// A scale that begins above its end.
    #[error("the tube is read from {from} to {to}: that is no stretch to read in")]
    NothingToRead {
        /// From.
        from: Length,
        /// To.
        to: Length,
    },
}

impl HoseFault {
    /// Which part of the hose it is about, by the job's key.
    pub fn key(&self) -> &'static str {
        match self {
            Self::OutOfRange { key, .. } | Self::Freezes { key, .. } | Self::Outside(key, _) => key,
            Self::ReservoirTooSmall { .. } => "reservoir",
            Self::Glycol { .. } => "glycol",
            Self::LegsTooLong { .. } => "leg",
            Self::NothingToRead { .. } => "reads",
        }
    }

    /// Whether levels can still be worked out: only what depends on how the filling flows is not known.
    pub fn leaves_levels(&self) -> bool {
        matches!(self, Self::Outside(..))
    }

    /// The way out.
    pub fn hint(&self) -> &'static str {
        match self {
            Self::OutOfRange { key: "bore", .. } => {
                "a hose level has a bore of 6 to 15 mm, and nothing here was checked for others; \
                 below 5 mm air never leaves it"
            }
            Self::OutOfRange { key: "length", .. } => {
                "a hose longer than that settles too slowly and holds too much air: use two stands"
            }
            Self::OutOfRange { .. } => "check the unit",
            Self::ReservoirTooSmall { .. } => {
                "give the pail's inside diameter at the water line; for two equal tubes write \
                 kind = \"twin\""
            }
            Self::Glycol { .. } => "write the share by mass, such as glycol = \"30 %\"",
            Self::Freezes { temperature, .. } if *temperature >= COLDEST => {
                "do not read it: wait for warmer weather, or mix in propylene glycol before filling"
            }
            Self::Freezes { .. } => {
                "do not read it: wait for warmer weather; below 0 C nothing is known here of any \
                 filling, so more glycol does not help either"
            }
            Self::Outside(_, outside) if outside.is_below() => {
                "read when it is warmer: how this filling behaves so cold is not known here"
            }
            Self::Outside(..) => {
                "read in the cool of the day: how this filling behaves so hot is not known here"
            }
            Self::LegsTooLong { .. } => "take a longer hose, or check the height of the legs",
            Self::NothingToRead { .. } => "write reads = [from, to] above the foot of the staff",
        }
    }
}

impl Hose {
    /// The hose, if it can be one.
    ///
    /// # Errors
    /// Every fault found.
    pub fn checked(self) -> Result<Self, Vec<HoseFault>> {
        let mut faults = Vec::new();
        let mut range = |key, value: Length, low: Length, high: Length| {
            let holds = value.is_finite() && value >= low && value <= high;
            if !holds {
                faults.push(HoseFault::OutOfRange { key, value, low, high });
            }
        };
        let (mm, m) = (Length::mm, Length::m);
        range("bore", self.bore, mm(4.0), mm(15.0));
        range("length", self.length, m(3.0), m(100.0));
        range("leg", self.leg, mm(50.0), m(4.0));
        range("read_to", self.read_to, mm(0.05), mm(20.0));
        range("largest_move", self.largest_move, mm(1.0), m(4.0));
        range("settle_to", self.settle_to, mm(0.05), mm(20.0));
        self.check_parts(&mut faults);
        self.check_filling(&mut faults);
        if faults.is_empty() { Ok(self) } else { Err(faults) }
    }

    fn check_parts(&self, faults: &mut Vec<HoseFault>) {
        if let Reservoir::Pail { area } | Reservoir::FixedMark { area } = self.reservoir {
            let bore = Area::of_circle(self.bore);
            let holds = area.is_finite() && area > bore;
            if !holds {
                let (reservoir, bore) = (area.to_mm2(), bore.to_mm2());
                faults.push(HoseFault::ReservoirTooSmall { reservoir, bore });
            }
        }
        if self.leg * 2.0 >= self.length {
            faults.push(HoseFault::LegsTooLong { leg: self.leg, length: self.length });
        }
        let (from, to) = self.reads;
        let holds = from.is_finite() && to.is_finite() && from >= Length::ZERO && to > from;
        if !holds {
            faults.push(HoseFault::NothingToRead { from, to });
        }
    }

    fn check_filling(&self, faults: &mut Vec<HoseFault>) {
        if let Fluid::Mix { mass_share, .. } = self.fluid
            && !(0.0..=MOST_GLYCOL).contains(&mass_share)
        {
            faults.push(HoseFault::Glycol { percent: mass_share * 100.0 });
            return;
        }
        let freezes = self.fluid.freezes().map_or(0.0, Temperature::to_celsius);
        for (key, temperature) in self.temperatures() {
            if temperature.to_celsius() <= freezes {
                let temperature = temperature.to_celsius();
                faults.push(HoseFault::Freezes { key, freezes, temperature });
            } else if let Err(outside) = self.fluid.density(temperature) {
                faults.push(HoseFault::Outside(key, outside));
            }
        }
    }

    fn temperatures(&self) -> impl Iterator<Item = (&'static str, Temperature)> {
        let legs = self.leg_temperatures.map(|(one, other)| [one, other]);
        let legs = legs.into_iter().flatten().map(|t| ("leg_temperatures", t));
        std::iter::once(("temperature", self.temperature)).chain(legs)
    }

    /// The same hose at the nearest temperatures at which its filling is known.
    #[must_use]
    pub fn nearest_known(&self) -> Self {
        let known = |t: Temperature| Temperature::celsius(t.to_celsius().clamp(COLDEST, HOTTEST));
        let legs = self.leg_temperatures.map(|(one, other)| (known(one), known(other)));
        Self { temperature: known(self.temperature), leg_temperatures: legs, ..self.clone() }
    }

    /// What a difference of its readings is multiplied by (a ratio).
    pub fn factor(&self) -> f64 {
        self.reservoir.factor(self.bore)
    }

    /// How thick its filling is.
    ///
    /// # Errors
    /// At a temperature at which that is not known.
    pub fn viscosity(&self) -> Result<Viscosity, OutsideValidity> {
        self.fluid.viscosity(self.temperature)
    }

    /// The water in it, for waits.
    ///
    /// # Errors
    /// Where waits were not checked.
    pub fn column(&self) -> Result<Column, OutsideValidity> {
        let ratio = self.reservoir.area_ratio(self.bore);
        Column::new(self.bore, self.length, self.viscosity()?, ratio)
    }

    /// How far along the floor it reaches from the reservoir: its length less both legs, and less
    /// a twentieth, for no hose lies straight.
    pub fn reach(&self) -> Length {
        (self.length - self.leg * 2.0) * SLACK
    }

    /// The length of a hose with these legs that reaches so far along the floor.
    pub fn length_to_reach(&self, along: Length) -> Length {
        along * (1.0 / SLACK) + self.leg * 2.0
    }
}

/// Which floors a hose can be read on without moving its reservoir.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct ReadableRange {
    /// The lowest floor, against the floor under the reservoir: held lower, the open tube
    /// siphons. Above zero where the water stands above the top of the scale.
    pub lowest: Length,
    /// The highest floor: held higher, the water falls off the scale, and then air enters.
    pub highest: Length,
    /// What the water needs above it in the tube, so that a quick move does not throw it out.
    pub freeboard: Length,
    /// What a point read this much too low spills, in millilitres for each 10 mm; nothing for
    /// twin tubes, which stop by themselves.
    pub spills_per_10_mm: Option<crate::units::Volume>,
}

/// How far a hose reads, the water in its reservoir standing one leg above the floor.
///
/// # Units and sign
/// Floors above that under the reservoir are positive.
///
/// # References
/// The tube is read from b to t above the staff's foot, the water line stands at z:
/// `z - t + freeboard <= h <= z - b`. The ends of a twin move together, each by half, and both have
/// to stay on their scales.
///
/// # Errors
/// Where the overshoot of a quick move is not known.
pub fn range_of(hose: &Hose) -> Result<ReadableRange, OutsideValidity> {
    let start = hose.reservoir.start_of(hose.largest_move);
    let freeboard =
        if hose.capped { Length::ZERO } else { start * (hose.column()?.overshoot() * MARGIN) };
    let (from, to) = hose.reads;
    let line = hose.leg;
    // Below zero where the water line itself is beyond an end of the scale.
    let down = to - line - freeboard;
    let up = line - from;
    let (lowest, highest, spills) = match hose.reservoir {
        Reservoir::Pail { area } => {
            let factor = hose.factor();
            let ten = super::scale::siphoned(area, Length::mm(10.0));
            (-(down * factor), up * factor, Some(ten))
        }
        Reservoir::FixedMark { area } => {
            (-down, up, Some(super::scale::siphoned(area, Length::mm(10.0))))
        }
        // Both surfaces move by half of the move: each end needs its half in its own tube.
        Reservoir::TwinBothEnds | Reservoir::TwinOneEnd => {
            let half = down.min(up).max(Length::ZERO);
            (-(half * 2.0), half * 2.0, None)
        }
    };
    Ok(ReadableRange { lowest, highest, freeboard, spills_per_10_mm: spills })
}
