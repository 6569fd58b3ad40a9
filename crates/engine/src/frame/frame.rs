//! The frame as it is asked: loads, reactions, what a lift does.

use super::contact::{Balance, NO_FORCE, Unsettled};
use super::faults::FrameFault;
use super::places::Floor;
use super::response::{FeltByTimber, Response, felt_by_timber, respond};
use super::sharing::{Hole, share};
use super::spec::{FrameSpec, Strength, Timber};
use super::stations::{Members, lay_out, station_at};
use super::stiffness::{Element, SLOPE_SCALE, Stiffness, Sum, assemble};
use super::straight::Pieces;
use super::{checks, sharing};
use crate::ids::{JoistId, SupportId};
use crate::influence::InfluenceRow;
use crate::site::{Position, Support};
use crate::units::{Force, Length, Moment, Stress};
use serde::{Serialize, Serializer};
use std::sync::OnceLock;

/// Which loads are on the floor, each as a share of what the frame gives.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Loads {
    /// Own weight, walls, roof: 1 as given.
    pub dead: f64,
    /// People and furniture: 0 for an empty house, 1 as given.
    pub live: f64,
}

impl Loads {
    /// The house as it stands, empty.
    pub const DEAD: Self = Self { dead: 1.0, live: 0.0 };

    /// With people and furniture in.
    pub const IN_USE: Self = Self { dead: 1.0, live: 1.0 };

    /// All of it times a ratio.
    pub fn times(self, ratio: f64) -> Self {
        Self { dead: self.dead * ratio, live: self.live * ratio }
    }
}

/// Why the contact has no answer: loads past the last support tip the frame over, or seats or loads
/// are no numbers to compute with. Anything else is a fault of this program. No numbers are given.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, thiserror::Error)]
#[error(
    "which supports carry could not be settled, as when a load past the last support tips the frame \
     over: no loads are given, because they would be wrong"
)]
pub struct NotSettled;

impl From<Unsettled> for NotSettled {
    fn from(_: Unsettled) -> Self {
        Self
    }
}

/// The frame under a floor, ready to be asked.
///
/// Bearers and joists are beams without torsion, tied in height where they cross; supports are
/// rigid, push and cannot pull. Not modelled: shear deflection, creep in time, lift-off of a joist
/// from its bearer, twist and boards (a real floor resists a twist a little), soft ground,
/// friction, sideways stability, damage and splices, walls that are stiff in their own plane.
///
/// # Units and sign
/// Heights and reactions up positive, sagging moments positive.
///
/// # References
/// Euler-Bernoulli beams; held against continuous-beam tables, closed forms and an invented floor
/// computed elsewhere in `tests/frame_beams.rs` and `tests/frame_tiny.rs`.
#[derive(Clone, Debug)]
pub struct Frame {
    spec: FrameSpec,
    supports: Vec<SupportId>,
    pub(super) members: Members,
    pub(super) pieces: Pieces,
    pub(super) stiffness: Stiffness,
    pub(super) response: Response,
    /// For each support, in the stiffness's order: what a lift does to moments, once that is asked.
    felt_by_timber: OnceLock<Vec<FeltByTimber>>,
    /// Place of each support in the stiffness's order.
    pub(super) place_of: Vec<usize>,
    /// For each element, the numbers of the moments at its beginning and its end.
    pub(super) moments_of: Vec<[Option<u32>; 2]>,
    /// The element that begins where each moment is.
    pub(super) element_of_moment: Vec<usize>,
    /// What stresses are worked out from, for each element.
    pub(super) stretches: Vec<StretchOfTimber>,
    places: Vec<Option<InfluenceRow>>,
    floor_m2: f64,
    holes: Vec<Hole>,
    joists_alone: Vec<JoistId>,
}

impl Frame {
    /// Builds the frame over these supports, which are then counted in the order given. `places`
    /// are the places of the floor whose movement will be asked for.
    ///
    /// # Errors
    /// Every fault of the frame, each naming the place, the value and the limit.
    pub fn new(
        supports: &[Support],
        spec: &FrameSpec,
        places: &[Position],
    ) -> Result<Self, Vec<FrameFault>> {
        let faults = checks::faults(supports, spec);
        if !faults.is_empty() {
            return Err(faults);
        }
        let shared = share(spec)?;
        let members = lay_out(supports, spec, &breaks(spec, &shared))?;
        let stiffness = assemble(&members, &shared)?;
        let (moments_of, element_of_moment) = moments(&members, &stiffness);
        let floor = Floor::new(&members, &stiffness);
        let hanging: Vec<_> = places.iter().map(|&place| floor.hanging(place)).collect();
        let sums: Vec<Sum> = hanging
            .iter()
            .map(|hanging| hanging.as_ref().map_or_else(Vec::new, |hanging| hanging.sum.clone()))
            .collect();
        let mut response = respond(&stiffness, &sums);
        let mut place_of = vec![0; supports.len()];
        for (place, &support) in stiffness.order.iter().enumerate() {
            place_of[support] = place;
        }
        let stretches = stretches(&members, &stiffness, &moments_of, element_of_moment.len());
        let rows = std::mem::take(&mut response.places);
        let places = places
            .iter()
            .zip(hanging)
            .zip(rows)
            .map(|((&place, hanging), terms)| Some(row(supports, place, hanging?.between, terms)))
            .collect();
        Ok(Self {
            spec: spec.clone(),
            supports: supports.iter().map(|support| support.id.clone()).collect(),
            pieces: Pieces::new(&members),
            members,
            stiffness,
            response,
            felt_by_timber: OnceLock::new(),
            place_of,
            stretches,
            moments_of,
            element_of_moment,
            places,
            floor_m2: shared.floor * 1e-6,
            holes: shared.holes,
            joists_alone: shared.alone,
        })
    }

    /// What it was made of.
    pub fn spec(&self) -> &FrameSpec {
        &self.spec
    }

    /// The supports, in the order that everything counts by.
    pub fn supports(&self) -> &[SupportId] {
        &self.supports
    }

    /// How many unknowns it has, the heights over the supports included.
    pub fn n_unknowns(&self) -> usize {
        self.stiffness.n_free + self.supports.len()
    }

    /// The floor that the joists carry, in square metres.
    pub fn floor_m2(&self) -> f64 {
        self.floor_m2
    }

    /// Where joists lie so far apart that no floor is taken to be between them: it weighs nothing.
    pub fn holes(&self) -> &[Hole] {
        &self.holes
    }

    /// Joists that no other lies beside: they carry no floor.
    pub fn joists_alone(&self) -> &[JoistId] {
        &self.joists_alone
    }

    /// The whole load.
    pub fn total(&self, loads: Loads) -> Force {
        let [dead, live] = [0, 1].map(|kind: usize| self.total_of(kind));
        Force::n(dead * loads.dead + live * loads.live)
    }

    fn total_of(&self, kind: usize) -> f64 {
        // The load that the supports take when all are level: equal to the whole of it.
        -self.response.g[kind].iter().sum::<f64>()
    }

    /// How far each of the places asked for moves with a lift at each support; `None` where the
    /// frame is not.
    pub fn places(&self) -> &[Option<InfluenceRow>] {
        &self.places
    }

    /// Change of the reaction at one support for each millimetre of lift at the others, and the
    /// reaction when all bearers lie straight: `R = sum(per_mm * height) + straight`, with every
    /// support carrying.
    pub fn reaction_row(&self, support: usize, loads: Loads) -> (Vec<(usize, f64)>, Force) {
        let place = self.place_of[support];
        let (first, row) = &self.response.rows[place];
        let terms = row
            .iter()
            .enumerate()
            .map(|(at, &k)| (self.stiffness.order[first + at], k))
            .filter(|term| term.1 != 0.0)
            .collect();
        (terms, Force::n(-self.g(loads)[place]))
    }

    pub(super) fn g(&self, loads: Loads) -> Vec<f64> {
        let [dead, live] = &self.response.g;
        dead.iter().zip(live).map(|(d, l)| d * loads.dead + l * loads.live).collect()
    }

    /// Settles the frame on its seats.
    ///
    /// # Errors
    /// [`NotSettled`] if the frame tips over.
    ///
    /// # Panics
    /// If there are not as many seats as supports: a bug of the caller.
    pub fn contact(&self, seats: &[Length], loads: Loads) -> Result<Contact, NotSettled> {
        Ok(super::OnSeats::new(self, seats, loads, None)?.contact())
    }

    /// Every kept moment with the supports at these heights (in the stiffness's order).
    pub(super) fn moments(&self, heights: &[f64], loads: Loads) -> Vec<f64> {
        let Stiffness { n_free, beside, factor, elements, forces: [dead, live], .. } =
            &self.stiffness;
        let common = heights.iter().sum::<f64>() / heights.len().max(1) as f64;
        let mut unknowns: Vec<f64> = dead[..*n_free]
            .iter()
            .zip(live)
            .map(|(dead, live)| dead * loads.dead + live * loads.live)
            .collect();
        for (beside, height) in beside.iter().zip(heights) {
            for &(unknown, k) in beside {
                unknowns[unknown] -= k * (height - common);
            }
        }
        factor.solve(&mut unknowns);
        unknowns.extend(heights.iter().map(|height| height - common));
        self.element_of_moment
            .iter()
            .map(|&element| {
                let element = &elements[element];
                let [dead, live] = element.load;
                let at_begin = element.unknowns.iter().zip(element.matrix()[1]);
                let shape: f64 = at_begin.map(|(&u, k)| -k * SLOPE_SCALE * unknowns[u]).sum();
                shape + element.load_moment(dead * loads.dead + live * loads.live)
            })
            .collect()
    }

    /// For each support, in the stiffness's order, what a lift does to every kept moment: worked out
    /// when it is first asked for, because forces and heights do not need it.
    pub(super) fn felt_by_timber(&self) -> &[FeltByTimber] {
        self.felt_by_timber.get_or_init(|| felt_by_timber(&self.stiffness, &self.element_of_moment))
    }

    pub(super) fn balance(&self, seats: &[f64], loads: Loads) -> Result<Balance<'_>, NotSettled> {
        let in_order = self.stiffness.order.iter().map(|&support| seats[support]).collect();
        Ok(Balance::new(&self.response, self.g(loads), in_order)?)
    }

    pub(super) fn timber(&self, member: usize) -> &Timber {
        match member.checked_sub(self.spec.bearers.len()) {
            None => &self.spec.bearers[member].timber,
            Some(joist) => &self.spec.joists[joist].timber,
        }
    }

    /// How many stretches of timber there are, to ask [`Timbers`](super::Timbers) about.
    pub fn n_stretches(&self) -> usize {
        self.stretches.len()
    }

    /// The number of the timber that a stretch is part of, bearers first.
    pub(crate) fn timber_of(&self, stretch: usize) -> usize {
        self.stiffness.elements[stretch].member
    }

    /// What is known of the strength of a timber, by its number.
    pub(crate) fn strength(&self, timber: usize) -> Option<Strength> {
        self.timber(timber).strength
    }

    /// What a timber is called in messages, by its number.
    pub(crate) fn timber_name(&self, timber: usize) -> &str {
        &self.members.members[timber].name
    }

    /// How many bearers and joists there are.
    pub(crate) fn n_timbers(&self) -> usize {
        self.members.members.len()
    }

    /// Breadth of the bearers on a support times the length of the seat, in mm2.
    pub(super) fn seat_area(&self, support: usize) -> f64 {
        self.members.breadth_on_support[support] * self.spec.seat_length.to_mm()
    }
}

impl Serialize for Frame {
    /// What it is made of: everything else follows from that.
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        self.spec.serialize(serializer)
    }
}

/// Which supports carry, and how much.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Contact {
    /// Height of the bearer over each support.
    pub heights: Vec<Length>,
    /// What each carries.
    pub reactions: Vec<Force>,
    /// Air between each and its bearer.
    pub gaps: Vec<Length>,
    /// Stress across the grain of the bearers on each.
    pub bearing: Vec<Stress>,
    /// The frame rocks: it is in balance on too few supports, and its tilt and the gaps are not
    /// determined. Do not use them.
    pub rocks: bool,
}

impl Contact {
    /// Whether a support carries anything.
    pub fn carries(&self, support: usize) -> bool {
        self.reactions[support].to_n() > NO_FORCE
    }

    /// Everything that the supports carry.
    pub fn total(&self) -> Force {
        self.reactions.iter().copied().sum()
    }
}

/// What the stresses in an element are worked out from.
#[derive(Clone, Debug)]
pub(super) struct StretchOfTimber {
    /// The numbers of the moments at its beginning and its end; one past the last for none.
    pub ends: [u32; 2],
    pub length: f64,
    /// Uniform dead and live load, N/mm.
    pub load: [f64; 2],
    pub modulus: f64,
    pub area: f64,
}

fn stretches(
    members: &Members,
    stiffness: &Stiffness,
    moments_of: &[[Option<u32>; 2]],
    n_moments: usize,
) -> Vec<StretchOfTimber> {
    let stretch = |(element, ends): (&Element, &[Option<u32>; 2])| {
        let member = &members.members[element.member];
        StretchOfTimber {
            ends: ends.map(|number| number.unwrap_or(n_moments as u32)),
            length: element.length,
            load: element.load,
            modulus: member.modulus,
            area: member.area,
        }
    };
    stiffness.elements.iter().zip(moments_of).map(stretch).collect()
}

fn row(
    supports: &[Support],
    place: Position,
    between: bool,
    terms: Vec<(usize, f64)>,
) -> InfluenceRow {
    let nearest = terms
        .iter()
        .map(|&(support, _)| supports[support].at.distance(place))
        .min_by(Length::total_cmp)
        .unwrap_or(Length::ZERO);
    InfluenceRow { terms, between_supports: between, held_back: false, nearest_support: nearest }
}

/// Coordinates along each member where its load changes.
fn breaks(spec: &FrameSpec, shared: &sharing::Shared) -> Vec<Vec<f64>> {
    let n = spec.bearers.len() + spec.joists.len();
    (0..n)
        .map(|member| {
            let shares = [&shared.dead, &shared.live];
            let uniform = shares.iter().flat_map(|shares| &shares.uniform[member]);
            let points = shares.iter().flat_map(|shares| &shares.points[member]);
            uniform.flat_map(|&(from, to, _)| [from, to]).chain(points.map(|p| p.0)).collect()
        })
        .collect()
}

/// The moments that are kept: one at the beginning of every element that begins at an inner
/// station which is not a joint. Returns their numbers by element, and those elements.
fn moments(members: &Members, stiffness: &Stiffness) -> (Vec<[Option<u32>; 2]>, Vec<usize>) {
    let mut of = vec![[None, None]; stiffness.elements.len()];
    let mut from = Vec::new();
    for (element_idx, element) in stiffness.elements.iter().enumerate() {
        let station = element.station;
        if station == 0 || members.members[element.member].stations[station].joint {
            continue;
        }
        let number = Some(from.len() as u32);
        of[element_idx][0] = number;
        of[element_idx - 1][1] = number;
        from.push(element_idx);
    }
    (of, from)
}

/// A bearer or joist at its most bent.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Bent {
    /// The timber, such as "bearer B1".
    pub timber: String,
    /// Whether it is a bearer.
    pub is_bearer: bool,
    /// Where along it, from the start of its coordinate.
    pub along: Length,
    /// The moment there.
    pub moment: Moment,
    /// The bending stress there.
    pub stress: Stress,
    /// That as a share of its strength (a ratio), if its strength is known.
    pub share: Option<f64>,
}

impl Frame {
    /// Station of a bearer over a support, for tests and pictures: the bearer's index and the
    /// coordinate along it.
    pub fn over_support(&self, support: usize) -> (usize, Length) {
        let (bearer, station) = self.members.bearer_of_support[support];
        (bearer, Length::mm(self.members.members[bearer].stations[station].along))
    }

    /// The number of the moment of a member at a coordinate along it.
    pub(super) fn moment_at(&self, member: usize, along: f64) -> Option<u32> {
        let station = station_at(&self.members.members[member], along)?;
        let element = self.stiffness.elements_of[member] + station;
        self.moments_of.get(element).and_then(|ends| ends[0]).filter(|_| station > 0)
    }
}
