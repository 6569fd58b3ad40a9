//! Moments and stresses in the timbers while supports move, kept up to date movement by movement.

use super::frame::{Bent, Frame, Loads};
use super::on_seats::{Movement, OnSeats};
use super::response::{ABREAST, Felt, FeltByTimber, SIZES};
use crate::units::{Length, Moment, Stress};
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

/// How far the timbers of a frame on its seats are bent.
///
/// It knows nothing of a movement until it is told of it by [`Self::follow`]: what supports carry
/// costs far less to keep up to date than what every stretch of timber bears.
#[derive(Clone, Debug)]
pub struct Timbers<'f> {
    frame: &'f Frame,
    felt: &'f [FeltByTimber],
    loads: Loads,
    /// By their numbers, some abreast, and one that is always nothing.
    moments: Vec<[f64; ABREAST]>,
    /// What the moments do not know yet of each height, size by size.
    untold: Vec<[f64; SIZES]>,
    trifle: f64,
    /// Each moment when its stretches were last called touched.
    seen: Vec<[f64; ABREAST]>,
    /// Where moments changed since touched stretches were last asked for.
    stirred: Vec<u32>,
    is_stirred: Vec<bool>,
    /// Room to list stretches in, each once.
    is_touched: Vec<bool>,
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

impl<'f> Timbers<'f> {
    /// The timbers of a frame as it lies on its seats now.
    pub fn new(on_seats: &OnSeats<'f>) -> Self {
        let frame = on_seats.frame();
        let mut timbers = Self {
            frame,
            felt: frame.felt_by_timber(),
            loads: on_seats.loads(),
            moments: Vec::new(),
            untold: vec![[0.0; SIZES]; frame.place_of.len()],
            trifle: if on_seats.is_large() { TRIFLE_IN_LARGE } else { TRIFLE },
            seen: Vec::new(),
            stirred: Vec::new(),
            is_stirred: Vec::new(),
            is_touched: vec![false; frame.stretches.len()],
        };
        timbers.refresh(on_seats);
        timbers.seen = timbers.moments.clone();
        timbers.is_stirred = vec![false; timbers.moments.len()];
        timbers
    }

    /// For many moves in a row: what is next to nothing in a moment may add up for a while.
    pub fn on_the_way(mut self) -> Self {
        let is_large = self.trifle == TRIFLE_IN_LARGE;
        self.trifle = if is_large { TRIFLE_ON_THE_WAY_IN_LARGE } else { TRIFLE_ON_THE_WAY };
        self
    }

    /// All moments from the heights over the supports, by one solution of the whole frame, so that
    /// rounding does not add up over many moves.
    pub fn refresh(&mut self, on_seats: &OnSeats<'f>) {
        self.untold.fill([0.0; SIZES]);
        let moments = self.frame.moments(on_seats.heights_in_order(), self.loads);
        self.moments.clear();
        self.moments.resize(moments.len() / ABREAST + 1, [0.0; ABREAST]);
        self.moments.as_flattened_mut()[..moments.len()].copy_from_slice(&moments);
    }

    /// Tells the moments of movements, as [`OnSeats::take_moved`] gives them: those that hardly
    /// feel one only when it has added up.
    pub fn follow(&mut self, moved: &[Movement]) {
        for movement in moved {
            self.tell(self.frame.place_of[movement.support], movement.by.to_mm());
        }
    }

    fn tell(&mut self, place: usize, by: f64) {
        let felt = &self.felt[place];
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

    /// The moment at a coordinate along a timber where it has a station; bearers count first.
    pub fn moment(&self, timber: usize, along: Length) -> Option<Moment> {
        let number = self.frame.moment_at(timber, along.to_mm())?;
        Some(Moment::n_mm(self.moments.as_flattened()[number as usize]))
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
            (0..self.frame.n_stretches())
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
