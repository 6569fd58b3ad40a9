//! The frame while supports move: contact and stresses kept up to date move by move.

use super::contact::{Balance, NO_FORCE, Stretch};
use super::frame::{Bent, Contact, Frame, Loads, NotSettled};
use super::response::{ABREAST, Felt, FeltByTimber, SIZES};
use crate::units::{Force, Length, Moment, Stress};
use pulp::{Arch, Simd, WithSimd};

/// A change of a moment that may stay unknown until it adds up, in N mm: a millionth of what a
/// timber of a house bears. In a large frame it may be a little more.
const TRIFLE: f64 = 0.1;
const TRIFLE_IN_LARGE: f64 = 10.0;

/// The same on the way through many moves, after each round of which all is worked out anew: some
/// thousandths of a newton per square millimetre.
const TRIFLE_ON_THE_WAY: f64 = 100.0;
const TRIFLE_ON_THE_WAY_IN_LARGE: f64 = 300.0;

/// A change of a moment for which its stretches are looked at again, in N mm.
const SEEN: f64 = 100.0;

/// How much of a shape the timbers have kept for good.
///
/// # Method
/// Timber that has stood bent for decades has crept to its shape. The frame is solved on seats
/// that are lower by the kept share of the shape, and the share is added to the heights again;
/// only the shape over the supports matters for reactions. Share 0 is springy timber, share 1
/// timber whose unloaded shape is today's.
#[derive(Clone, Copy, Debug)]
pub struct SetShape<'a> {
    /// Today's height of the bearer over each support.
    pub heights: &'a [Length],
    /// The share that is kept (a ratio from 0 to 1).
    pub share: f64,
}

/// The frame on its seats.
#[derive(Clone, Debug)]
pub struct OnSeats<'f> {
    frame: &'f Frame,
    balance: Balance<'f>,
    /// What the timbers have kept, by the support's index, in millimetres.
    kept: Vec<f64>,
    loads: Loads,
    /// By their numbers, some abreast, and one that is always nothing.
    moments: Vec<[f64; ABREAST]>,
    /// What the moments do not know yet of each height, size by size.
    untold: Vec<[f64; SIZES]>,
    trifle: f64,
    is_on_the_way: bool,
    /// Each moment when its stretches were last called touched.
    seen: Vec<[f64; ABREAST]>,
    /// Where moments changed since touched stretches were last asked for.
    stirred: Vec<u32>,
    is_stirred: Vec<bool>,
    /// Room to list stretches in, each once.
    is_touched: Vec<bool>,
    /// Supports whose bearer moved since the list was last taken, in the frame's order.
    moved: Vec<usize>,
}

/// Moments are told of a movement, to be compiled for each width of registers.
struct Telling<'a> {
    moments: &'a mut [[f64; ABREAST]],
    is_stirred: &'a mut [bool],
    stirred: &'a mut Vec<u32>,
    felt: &'a FeltByTimber,
    size: usize,
    by: f64,
}

impl WithSimd for Telling<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, _: S) {
        let (numbers, per_mm) = self.felt.of_size(self.size);
        for (&number, per_mm) in numbers.iter().zip(per_mm) {
            let moments = &mut self.moments[number as usize];
            for lane in 0..ABREAST {
                moments[lane] += per_mm[lane] * self.by;
            }
            let is_stirred = &mut self.is_stirred[number as usize];
            if !*is_stirred {
                *is_stirred = true;
                self.stirred.push(number);
            }
        }
    }
}

impl<'f> OnSeats<'f> {
    /// Settles the frame on its seats.
    ///
    /// # Errors
    /// [`NotSettled`] if the frame tips over.
    ///
    /// # Panics
    /// If there are not as many seats, or heights of the set shape, as supports.
    pub fn new(
        frame: &'f Frame,
        seats: &[Length],
        loads: Loads,
        set: Option<SetShape<'_>>,
    ) -> Result<Self, NotSettled> {
        assert_eq!(seats.len(), frame.supports().len(), "as many seats as supports");
        let kept: Vec<f64> = match set {
            Some(SetShape { heights, share }) => {
                heights.iter().map(|height| height.to_mm() * share).collect()
            }
            None => vec![0.0; seats.len()],
        };
        let above: Vec<f64> =
            seats.iter().zip(&kept).map(|(seat, kept)| seat.to_mm() - kept).collect();
        let mut balance = frame.balance(&above, loads)?;
        balance.moved.clear();
        let mut on_seats = Self {
            frame,
            kept,
            loads,
            moments: Vec::new(),
            untold: vec![[0.0; SIZES]; frame.place_of.len()],
            trifle: if balance.is_large() { TRIFLE_IN_LARGE } else { TRIFLE },
            is_on_the_way: false,
            seen: Vec::new(),
            stirred: Vec::new(),
            is_stirred: Vec::new(),
            is_touched: vec![false; frame.stretches.len()],
            moved: Vec::new(),
            balance,
        };
        on_seats.moments_anew();
        on_seats.seen = on_seats.moments.clone();
        on_seats.is_stirred = vec![false; on_seats.moments.len()];
        on_seats.look_for_rocking();
        Ok(on_seats)
    }

    /// All moments from the heights over the supports, by one solution of the whole frame.
    fn moments_anew(&mut self) {
        self.untold.fill([0.0; SIZES]);
        let moments = self.frame.moments(&self.balance.heights, self.loads);
        self.moments.clear();
        self.moments.resize(moments.len() / ABREAST + 1, [0.0; ABREAST]);
        self.moments.as_flattened_mut()[..moments.len()].copy_from_slice(&moments);
    }

    /// For many moves in a row: what is next to nothing in a moment may add up for a while, and in
    /// a large frame [`Self::rocks`] says what was true when all was last worked out anew.
    pub fn on_the_way(mut self) -> Self {
        let is_large = self.balance.is_large();
        self.trifle = if is_large { TRIFLE_ON_THE_WAY_IN_LARGE } else { TRIFLE_ON_THE_WAY };
        self.is_on_the_way = true;
        self
    }

    /// Brings seats to new heights, as a set of jacks does, and settles again.
    ///
    /// # Errors
    /// [`NotSettled`] if the frame tips over.
    pub fn set_seats(&mut self, changes: &[(usize, Length)]) -> Result<(), NotSettled> {
        let in_order: Vec<(usize, f64)> = changes
            .iter()
            .map(|&(support, seat)| (self.place(support), seat.to_mm() - self.kept[support]))
            .collect();
        self.balance.set_seats(&in_order)?;
        for (place, by) in self.moved_in_all() {
            self.moved.push(self.frame.stiffness.order[place]);
            self.tell_moments(place, by);
        }
        if !self.balance.is_large() {
            self.look_for_rocking();
        }
        Ok(())
    }

    /// Tells the moments of a movement: those that hardly feel it only when it has added up.
    fn tell_moments(&mut self, place: usize, by: f64) {
        let felt = &self.frame.response.moments[place];
        for size in 0..SIZES {
            let untold = &mut self.untold[place][size];
            *untold += by;
            if untold.abs() * felt.peak * Felt::largest(size) <= self.trifle {
                continue;
            }
            let by = std::mem::take(untold);
            Arch::new().dispatch(Telling {
                moments: &mut self.moments,
                is_stirred: &mut self.is_stirred,
                stirred: &mut self.stirred,
                felt,
                size,
                by,
            });
        }
    }

    /// How far each bearer moved in all: settling moves the same ones to and fro.
    fn moved_in_all(&mut self) -> Vec<(usize, f64)> {
        let mut moved = std::mem::take(&mut self.balance.moved);
        moved.sort_by_key(|part| part.0);
        moved.dedup_by(|next, kept| {
            let same = next.0 == kept.0;
            kept.1 += if same { next.1 } else { 0.0 };
            same
        });
        moved
    }

    /// Works everything out anew from the heights, so that rounding does not add up over many
    /// moves, and looks whether the frame rocks.
    pub fn refresh(&mut self) {
        self.balance.refresh();
        self.look_for_rocking();
        self.moments_anew();
    }

    fn look_for_rocking(&mut self) {
        if self.balance.known_to_rock().is_some() {
            return;
        }
        if self.is_sure_to_keep_still() {
            self.balance.keeps_still();
        } else {
            self.balance.look_for_rocking();
        }
    }

    /// Supports whose bearer has moved since this was last asked, in order.
    pub fn take_moved(&mut self) -> Vec<usize> {
        let mut moved = std::mem::take(&mut self.moved);
        moved.sort_unstable();
        moved.dedup();
        moved
    }

    /// Whether a lift at one support is felt at the other by more than a hundredth of what it is
    /// felt where it is made.
    pub fn feel_one_another(&self, a: usize, b: usize) -> bool {
        let (a, b) = (self.place(a), self.place(b));
        self.frame.response.near[a].binary_search(&b).is_ok()
    }

    /// Whether any support has let go of its bearer or taken hold since this was last asked, by more
    /// than a newton or a hundredth of a millimetre. If none has, all heights, reactions and
    /// moments ran evenly from what they were.
    pub fn take_regrouped(&mut self) -> bool {
        std::mem::take(&mut self.balance.regrouped)
    }

    /// The most pressed support among those whose reaction changed since this was last asked.
    pub fn take_most_pressed(&mut self) -> Option<(usize, Stress)> {
        let felt = std::mem::replace(&mut self.balance.felt, Stretch::EMPTY);
        felt.supports()
            .filter(|&place| self.balance.held[place])
            .map(|place| {
                let support = self.frame.stiffness.order[place];
                (support, self.balance.reactions[place] / self.frame.seat_area(support))
            })
            .max_by(|a, b| a.1.total_cmp(&b.1).then(b.0.cmp(&a.0)))
            .map(|(support, stress)| (support, Stress::n_per_mm2(stress.max(0.0))))
    }

    fn place(&self, support: usize) -> usize {
        self.frame.place_of[support]
    }

    /// Height of the bearer over a support.
    pub fn height(&self, support: usize) -> Length {
        Length::mm(self.balance.heights[self.place(support)] + self.kept[support])
    }

    /// Height of a seat.
    pub fn seat(&self, support: usize) -> Length {
        Length::mm(self.balance.seats[self.place(support)] + self.kept[support])
    }

    /// What a support carries.
    pub fn reaction(&self, support: usize) -> Force {
        let place = self.place(support);
        if self.balance.held[place] {
            Force::n(self.balance.reactions[place].max(0.0))
        } else {
            Force::ZERO
        }
    }

    /// The force at a jack that raises the bearer over a support by so much from where it lies or
    /// hangs, alone, all other seats staying. Nothing is moved.
    ///
    /// # Errors
    /// [`NotSettled`] if the frame tips over.
    ///
    /// # References
    /// Held against a contact solved anew for the raised seat, on random houses, in
    /// `tests/frame_second_method.rs`.
    pub fn force_alone(&self, support: usize, rise: Length) -> Result<Force, NotSettled> {
        let mut raised = self.clone();
        raised.set_seats(&[(support, self.height(support) + rise)])?;
        Ok(raised.reaction(support))
    }

    /// Whether a support carries anything.
    pub fn carries(&self, support: usize) -> bool {
        self.reaction(support).to_n() > NO_FORCE
    }

    /// How many supports carry.
    pub fn n_carrying(&self) -> usize {
        (0..self.kept.len()).filter(|&support| self.carries(support)).count()
    }

    /// Air between a support and its bearer.
    pub fn gap(&self, support: usize) -> Length {
        let place = self.place(support);
        if self.balance.held[place] {
            Length::ZERO
        } else {
            Length::mm((self.balance.heights[place] - self.balance.seats[place]).max(0.0))
        }
    }

    /// The frame is in balance on too few supports: its tilt is not determined.
    pub fn rocks(&self) -> bool {
        let leaves_it = self.is_on_the_way && self.balance.is_large();
        let known = self.balance.known_to_rock().or_else(|| leaves_it.then_some(false));
        known.unwrap_or_else(|| !self.is_sure_to_keep_still() && self.balance.leaves_a_way())
    }

    /// Straight lines alone show that nothing can rock.
    fn is_sure_to_keep_still(&self) -> bool {
        let nodes = &self.frame.members.node_of_support;
        let held = (0..nodes.len()).filter(|&support| self.carries(support));
        self.frame.pieces.keep_still(held.map(|support| nodes[support]), nodes)
    }

    /// Stress across the grain of the bearers on a support.
    pub fn bearing(&self, support: usize) -> Stress {
        Stress::n_per_mm2(self.reaction(support).to_n() / self.frame.seat_area(support))
    }

    /// All supports at once.
    pub fn contact(&self) -> Contact {
        let all = 0..self.kept.len();
        Contact {
            heights: all.clone().map(|support| self.height(support)).collect(),
            reactions: all.clone().map(|support| self.reaction(support)).collect(),
            gaps: all.clone().map(|support| self.gap(support)).collect(),
            bearing: all.map(|support| self.bearing(support)).collect(),
            rocks: self.rocks(),
        }
    }

    /// The moment at a coordinate along a timber where it has a station; bearers count first.
    pub fn moment(&self, timber: usize, along: Length) -> Option<Moment> {
        let number = self.frame.moment_at(timber, along.to_mm())?;
        Some(Moment::n_mm(self.moments.as_flattened()[number as usize]))
    }

    /// How many stretches of timber there are, to ask [`Self::bending`] and [`Self::shear`] about.
    pub fn n_stretches(&self) -> usize {
        self.frame.stretches.len()
    }

    /// Stretches whose stress changed since this was last asked; a change of less than about
    /// 0.001 N/mm2 counts when it has added up to that.
    pub fn take_touched(&mut self) -> Vec<usize> {
        let mut touched = Vec::new();
        for abreast in std::mem::take(&mut self.stirred) {
            let abreast = abreast as usize;
            self.is_stirred[abreast] = false;
            let (now, seen) = (&self.moments[abreast], &mut self.seen[abreast]);
            for (lane, (now, seen)) in now.iter().zip(seen).enumerate() {
                if (now - *seen).abs() > SEEN {
                    *seen = *now;
                    let element = self.frame.element_of_moment[abreast * ABREAST + lane];
                    for element in [element - 1, element] {
                        if !std::mem::replace(&mut self.is_touched[element], true) {
                            touched.push(element);
                        }
                    }
                }
            }
        }
        for &element in &touched {
            self.is_touched[element] = false;
        }
        touched
    }

    #[inline]
    fn ends(&self, stretch: usize) -> [f64; 2] {
        let moments = self.moments.as_flattened();
        self.frame.stretches[stretch].ends.map(|number| moments[number as usize])
    }

    fn load(&self, stretch: usize) -> f64 {
        let [dead, live] = self.frame.stretches[stretch].load;
        dead * self.loads.dead + live * self.loads.live
    }

    /// Where the shear of a stretch is nothing, as a distance from its beginning, and the moment
    /// there; `None` if that is nowhere inside.
    fn where_level(&self, stretch: usize) -> Option<(f64, f64)> {
        let length = self.frame.stiffness.elements[stretch].length;
        let ([begin, end], load) = (self.ends(stretch), self.load(stretch));
        let shear = (end - begin) / length + load * length / 2.0;
        let inside = if load == 0.0 { 0.0 } else { shear / load };
        let moment = begin + shear * inside - load * inside * inside / 2.0;
        (inside > 0.0 && inside < length).then_some((inside, moment))
    }

    /// The largest moment in a stretch, without regard to its sign, and how far along it is.
    fn peak(&self, stretch: usize) -> (f64, f64) {
        let length = self.frame.stiffness.elements[stretch].length;
        let [begin, end] = self.ends(stretch);
        let inside = self.where_level(stretch).map(|(along, moment)| (moment, along));
        let all = [Some((begin, 0.0)), Some((end, length)), inside];
        let larger = |a: (f64, f64), b: (f64, f64)| if b.0.abs() > a.0.abs() { b } else { a };
        all.into_iter().flatten().reduce(larger).unwrap_or_default()
    }

    /// The largest sagging moment in a stretch; negative if all of it hogs.
    pub fn most_sagging(&self, stretch: usize) -> Moment {
        let ([begin, end], load) = (self.ends(stretch), self.load(stretch));
        let inside = self.where_level(stretch).map_or(f64::NEG_INFINITY, |(_, moment)| moment);
        Moment::n_mm(if load < 0.0 { begin.max(end) } else { begin.max(end).max(inside) })
    }

    /// The largest bending stress in a stretch.
    pub fn bending(&self, stretch: usize) -> Stress {
        let member = self.frame.stiffness.elements[stretch].member;
        Stress::n_per_mm2(self.peak(stretch).0.abs() / self.frame.members.members[member].modulus)
    }

    /// The largest shear stress in a stretch, at mid-depth of the rectangle.
    pub fn shear(&self, stretch: usize) -> Stress {
        let element = &self.frame.stiffness.elements[stretch];
        let ([begin, end], load) = (self.ends(stretch), self.load(stretch));
        let at_begin = (end - begin) / element.length + load * element.length / 2.0;
        let at_end = at_begin - load * element.length;
        let area = self.frame.members.members[element.member].area;
        Stress::n_per_mm2(1.5 * at_begin.abs().max(at_end.abs()) / area)
    }

    /// The largest bending stress and the largest shear stress in a stretch, in N/mm2: both at
    /// once for those who ask about every stretch after every move.
    #[inline]
    pub(crate) fn stresses(&self, stretch: usize) -> (f64, f64) {
        let known = &self.frame.stretches[stretch];
        let ([begin, end], load) = (self.ends(stretch), self.load(stretch));
        let half = load * known.length / 2.0;
        let middle = (end - begin) / known.length;
        let mut moment = begin.abs().max(end.abs());
        if middle.abs() < half.abs() {
            // Where the shear is nothing lies inside.
            let at_begin = middle + half;
            moment = moment.max((begin + at_begin * at_begin / (2.0 * load)).abs());
        }
        (moment / known.modulus, 1.5 * (middle.abs() + half.abs()) / known.area)
    }

    /// A stretch at its most bent, in full.
    pub fn bent(&self, stretch: usize) -> Bent {
        let element = &self.frame.stiffness.elements[stretch];
        let (moment, inside) = self.peak(stretch);
        let member = &self.frame.members.members[element.member];
        let stress = self.bending(stretch);
        let strength = self.frame.timber(element.member).strength;
        Bent {
            timber: member.name.clone(),
            is_bearer: element.member < self.frame.members.n_bearers,
            along: Length::mm(member.stations[element.station].along + inside),
            moment: Moment::n_mm(moment),
            stress,
            share: strength.map(|strength| stress / strength.bending),
        }
    }

    /// The most bent bearer and the most bent joist, by stress.
    pub fn most_bent(&self) -> (Option<Bent>, Option<Bent>) {
        let n_bearers = self.frame.members.n_bearers;
        let worst = |bearers: bool| {
            (0..self.n_stretches())
                .filter(|&stretch| {
                    (self.frame.stiffness.elements[stretch].member < n_bearers) == bearers
                })
                .map(|stretch| (stretch, self.bending(stretch)))
                .max_by(|a, b| a.1.to_n_per_mm2().total_cmp(&b.1.to_n_per_mm2()))
                .map(|(stretch, _)| self.bent(stretch))
        };
        (worst(true), worst(false))
    }
}
