//! Replays moves on the frame, under one set of assumptions after the other.
//!
//! # Method
//! In a move the seats rise evenly from where they are to where they go. As long as the same
//! supports carry, heights, reactions and moments run evenly too, and what is largest is largest
//! at one of the two ends; the seats for which the same supports carry are a convex set, so
//! the same supports at both ends means the same supports all the way. If any support lets go or
//! takes hold, the state half way is looked at as well. In between a force may then still be a
//! little larger: it runs in straight pieces that bend where a support lets go or takes hold.

use super::frame_check::{BentAtEnd, JackRange, MostBent, MostPressed, MostSheared, MoveCheck};
use super::stop::{Stop, StopReason};
use super::{FrameCase, FrameCases, NeighbourPair};
use crate::frame::{NotSettled, OnSeats};
use crate::ids::SupportId;
use crate::settings::Limits;
use crate::units::{Force, Length, Stress};
use std::collections::{BTreeMap, BTreeSet};

/// A bearer this far above its support has come free.
const FREE: Length = Length::mm(0.1);

/// A limit counts as passed when it is passed by more than this share of it: less is rounding.
const ROUNDING: f64 = 1e-6;

/// One support's part in a move, by its number in the frame.
#[derive(Clone, Copy, Debug)]
pub(super) struct Part {
    pub number: usize,
    /// Lift before and after.
    pub from: Length,
    pub to: Length,
}

/// Passes of moves of parts.
pub(super) type Order = Vec<Vec<Vec<Part>>>;

/// What is known of a stretch of timber before anything moves.
struct Stretch {
    timber: usize,
    is_bearer: bool,
    /// One over the strength in bending and in shear, in mm2/N; nothing if it is unknown.
    per_bending: f64,
    per_shear: f64,
}

/// What every replay stands on.
pub(super) struct Ground<'a, 'f> {
    cases: &'a FrameCases<'f>,
    /// The pairs by the frame's numbers, and the pairs of each support.
    ends: Vec<(usize, usize)>,
    pairs_of: Vec<Vec<usize>>,
    stretches: Vec<Stretch>,
    limits: &'a Limits,
    jack_limit: Option<f64>,
    at_ends: Result<Vec<AtEnds>, NotSettled>,
}

/// What the start and the end cost under one case: no excess on the way, because no order of moves
/// avoids it.
struct AtEnds {
    /// The largest share of its strength that each stretch may be bent to.
    share_limit: Vec<f64>,
    /// How steep the bearers stand between each pair.
    slope: Vec<f64>,
    /// Timbers that end beyond the limit.
    bent: Vec<BentAtEnd>,
}

/// Something found, with the share of strength and the stress that it is ranked by.
#[derive(Clone, Debug)]
struct Ranked<T> {
    share: f64,
    stress: f64,
    what: T,
}

fn keep_larger<T>(kept: &mut Option<Ranked<T>>, share: f64, stress: f64, what: impl FnOnce() -> T) {
    let larger = kept
        .as_ref()
        .is_none_or(|kept| share > kept.share || (share == kept.share && stress > kept.stress));
    if larger {
        *kept = Some(Ranked { share, stress, what: what() });
    }
}

/// What one move did, over all cases so far.
#[derive(Clone, Debug, Default)]
pub(super) struct InMove {
    /// Least and most of each jack.
    jacks: Vec<(f64, f64)>,
    lost: BTreeSet<usize>,
    bent: Option<Ranked<MostBent>>,
    pressed: Option<(usize, Stress)>,
    rocks: bool,
}

/// What was found over all moves and all cases so far.
#[derive(Clone, Debug)]
pub(super) struct Tally {
    pub moves: Vec<Vec<InMove>>,
    /// Least and most of the largest force of each jack, by the frame's numbers.
    pub jacks: Vec<Option<(f64, f64)>>,
    bearer: Option<Ranked<MostBent>>,
    joist: Option<Ranked<MostBent>>,
    share: Option<Ranked<MostBent>>,
    sheared: Option<Ranked<usize>>,
    pressed: Option<(usize, Stress)>,
    pub lost: BTreeSet<usize>,
    pub seat_slope: f64,
    pub seat_slope_over: f64,
    pub beam_slope: f64,
    pub beam_slope_over: f64,
    pub rocks: bool,
    pub stop: Option<Stop>,
}

/// Where a replay stands: pass and move, counted from 0.
type Place = (usize, usize);

impl Tally {
    fn new(order: &Order, n_supports: usize) -> Self {
        let in_move = |parts: &Vec<Part>| InMove {
            jacks: vec![(f64::INFINITY, 0.0); parts.len()],
            ..InMove::default()
        };
        Self {
            moves: order.iter().map(|moves| moves.iter().map(in_move).collect()).collect(),
            jacks: vec![None; n_supports],
            bearer: None,
            joist: None,
            share: None,
            sheared: None,
            pressed: None,
            lost: BTreeSet::new(),
            seat_slope: 0.0,
            seat_slope_over: 0.0,
            beam_slope: 0.0,
            beam_slope_over: 0.0,
            rocks: false,
            stop: None,
        }
    }

    /// Keeps the first stop; of those in one move the worst.
    pub fn stop_at(&mut self, stop: Stop) {
        let key = |stop: &Stop| (stop.pass, stop.move_in_pass, stop.reason.rank());
        let sooner = self.stop.as_ref().is_none_or(|kept| {
            let (new, old) = (key(&stop), key(kept));
            new < old || (new == old && stop.reason.excess() > kept.reason.excess())
        });
        if sooner {
            self.stop = Some(stop);
        }
    }

    pub fn bearer(&self) -> Option<MostBent> {
        self.bearer.as_ref().map(|found| found.what.clone())
    }

    pub fn joist(&self) -> Option<MostBent> {
        self.joist.as_ref().map(|found| found.what.clone())
    }

    /// The timber bent to the largest share of its strength, if any strength is known.
    pub fn share(&self) -> Option<MostBent> {
        self.share.as_ref().filter(|found| found.share > 0.0).map(|found| found.what.clone())
    }
}

impl<'a, 'f> Ground<'a, 'f> {
    /// Prepares for replays of orders of moves that all end with the same lifts.
    pub fn new(
        cases: &'a FrameCases<'f>,
        pairs: &[NeighbourPair],
        limits: &'a Limits,
        order: &Order,
    ) -> Self {
        let number = |support: usize| cases.in_frame[support];
        let ends: Vec<(usize, usize)> =
            pairs.iter().map(|pair| (number(pair.supports.0), number(pair.supports.1))).collect();
        let mut pairs_of = vec![Vec::new(); cases.today.len()];
        for (pair, &(a, b)) in ends.iter().enumerate() {
            pairs_of[a].push(pair);
            pairs_of[b].push(pair);
        }
        let derating = limits.jack_derating.value;
        let jack_limit = limits.jack_rating.as_ref().map(|rating| rating.value.to_n() * derating);
        let mut ground = Self {
            cases,
            ends,
            pairs_of,
            stretches: stretches(cases),
            limits,
            jack_limit,
            at_ends: Ok(Vec::new()),
        };
        let lifts = ground.lifts_at_end(order);
        ground.at_ends =
            cases.cases.iter().map(|case| ground.at_ends(case, pairs, &lifts)).collect();
        ground
    }

    fn at_ends(
        &self,
        (case, start): &(FrameCase, OnSeats<'f>),
        pairs: &[NeighbourPair],
        lifts: &[Length],
    ) -> Result<AtEnds, NotSettled> {
        let end = self.cases.at_end(lifts, *case)?;
        // A frame that rocks says nothing of its timbers.
        let both: Vec<&OnSeats<'f>> = [start, &end].into_iter().filter(|on| !on.rocks()).collect();
        let share_limit = self.stretches.iter().enumerate().map(|(stretch, known)| {
            if known.per_bending == 0.0 {
                return f64::INFINITY;
            }
            let shares = both.iter().map(|on| on.stresses(stretch).0 * known.per_bending);
            shares.fold(self.limits.bending_share.value, f64::max)
        });
        let slope = (0..pairs.len()).map(|pair| {
            let slopes = both.iter().map(|on| self.slope(pairs, pair, |number| on.height(number)));
            slopes.fold(0.0, f64::max)
        });
        Ok(AtEnds {
            share_limit: share_limit.collect(),
            slope: slope.collect(),
            bent: self.bent_at_end(*case, start, &end),
        })
    }

    fn bent_at_end(
        &self,
        case: FrameCase,
        start: &OnSeats<'f>,
        end: &OnSeats<'f>,
    ) -> Vec<BentAtEnd> {
        if end.rocks() {
            return Vec::new();
        }
        let n_timbers = self.cases.frame.n_timbers();
        let worst = |on: &OnSeats<'f>| {
            let mut worst: Vec<(f64, usize)> = vec![(0.0, 0); n_timbers];
            for (stretch, known) in self.stretches.iter().enumerate() {
                let share = on.stresses(stretch).0 * known.per_bending;
                if share > worst[known.timber].0 {
                    worst[known.timber] = (share, stretch);
                }
            }
            worst
        };
        let limit = self.limits.bending_share.value * (1.0 + ROUNDING);
        let both = worst(end).into_iter().zip(worst(start));
        both.filter(|((share, _), _)| *share > limit)
            .map(|((_, stretch), (share_today, _))| BentAtEnd {
                most_bent: MostBent { bent: end.bent(stretch), case },
                share_today,
            })
            .collect()
    }

    /// Timbers that end bent beyond the limit: each once for each share of set sag, under the
    /// loads that bend it most.
    pub fn all_bent_at_end(&self) -> Vec<BentAtEnd> {
        let share = |found: &BentAtEnd| found.most_bent.bent.share.unwrap_or_default();
        let mut kept: Vec<BentAtEnd> = Vec::new();
        let mut place_of: BTreeMap<(String, u64), usize> = BTreeMap::new();
        for found in self.at_ends.iter().flatten().flat_map(|at_ends| &at_ends.bent) {
            let bits = found.most_bent.case.set_share.to_bits();
            let key = (found.most_bent.bent.timber.clone(), bits);
            let place = *place_of.entry(key).or_insert_with(|| {
                kept.push(found.clone());
                kept.len() - 1
            });
            if share(found) > share(&kept[place]) {
                kept[place] = found.clone();
            }
        }
        kept
    }

    /// Timbers whose strength is unknown.
    pub fn strength_unknown(&self) -> Vec<String> {
        let frame = self.cases.frame;
        (0..frame.n_timbers())
            .filter(|&timber| frame.strength(timber).is_none())
            .map(|timber| frame.timber_name(timber).to_owned())
            .collect()
    }

    /// Replays an order of moves under every case. With `to_first_stop` nothing after the first
    /// stop is looked at.
    pub fn replay(&self, pairs: &[NeighbourPair], order: &Order, to_first_stop: bool) -> Tally {
        let mut tally = Tally::new(order, self.cases.today.len());
        (tally.seat_slope, tally.seat_slope_over) = self.seats(pairs, order, &mut tally);
        match &self.at_ends {
            Ok(at_ends) => {
                for ((case, on), at_ends) in self.cases.cases.iter().zip(at_ends) {
                    let mut one = OneCase::new(self, *case, on.clone(), at_ends, pairs);
                    one.run(order, to_first_stop, &mut tally);
                }
            }
            Err(NotSettled) => tally.stop_at(Stop {
                pass: order.len(),
                move_in_pass: order.last().map_or(0, Vec::len),
                reason: StopReason::NotSettled,
                case: None,
            }),
        }
        tally
    }

    /// The lifts when an order of moves is done, by the frame's numbers.
    pub fn lifts_at_end(&self, order: &Order) -> Vec<Length> {
        let mut lifts = vec![Length::ZERO; self.cases.today.len()];
        for part in order.iter().flatten().flatten() {
            lifts[part.number] = part.to;
        }
        lifts
    }

    /// The assumptions.
    pub fn cases(&self) -> Vec<FrameCase> {
        self.cases.cases()
    }

    fn id(&self, number: usize) -> SupportId {
        self.cases.frame.supports()[number].clone()
    }

    fn pair_ids(&self, pair: usize) -> (SupportId, SupportId) {
        let (a, b) = self.ends[pair];
        (self.id(a), self.id(b))
    }

    fn slope(&self, pairs: &[NeighbourPair], pair: usize, height: impl Fn(usize) -> Length) -> f64 {
        let (a, b) = self.ends[pair];
        ((height(b) - height(a)) / pairs[pair].distance).abs()
    }

    /// What jacks are rated at if they push a force at the share that they are used to.
    pub fn rating_for(&self, force: f64) -> Force {
        Force::n(force / self.limits.jack_derating.value)
    }

    pub fn move_check(&self, parts: &[Part], found: &InMove) -> MoveCheck {
        let jacks = parts.iter().zip(&found.jacks).map(|(part, &(least, most))| {
            let least = Force::n(least.min(most));
            JackRange { support: self.id(part.number), least, most: Force::n(most) }
        });
        MoveCheck {
            jacks: jacks.collect(),
            lost_contact: found.lost.iter().map(|&number| self.id(number)).collect(),
            most_bent: found.bent.as_ref().map(|bent| bent.what.clone()),
            most_pressed: self.most_pressed(found.pressed),
            rocks: found.rocks,
        }
    }

    fn most_pressed(&self, pressed: Option<(usize, Stress)>) -> Option<MostPressed> {
        pressed.map(|(number, stress)| MostPressed { support: self.id(number), stress })
    }

    pub fn pressed(&self, tally: &Tally) -> Option<MostPressed> {
        self.most_pressed(tally.pressed)
    }

    pub fn sheared(&self, tally: &Tally) -> Option<MostSheared> {
        tally.sheared.as_ref().map(|found| MostSheared {
            timber: self.cases.frame.timber_name(found.what).to_owned(),
            stress: Stress::n_per_mm2(found.stress),
            share: (found.share > 0.0).then_some(found.share),
        })
    }

    pub fn jack_ranges(&self, tally: &Tally) -> Vec<JackRange> {
        let lifted = tally.jacks.iter().enumerate();
        lifted
            .filter_map(|(number, range)| {
                let (least, most) = (*range)?;
                let support = self.id(number);
                Some(JackRange { support, least: Force::n(least), most: Force::n(most) })
            })
            .collect()
    }

    /// Steepest slope between seats, and the largest excess over a limit.
    fn seats(&self, pairs: &[NeighbourPair], order: &Order, tally: &mut Tally) -> (f64, f64) {
        let mut heights = self.cases.today.clone();
        let (mut steepest, mut over) = (0.0_f64, 0.0_f64);
        for pair in 0..pairs.len() {
            steepest = steepest.max(self.slope(pairs, pair, |number| heights[number]));
        }
        for (place, parts) in in_turn(order) {
            for part in parts {
                heights[part.number] = self.cases.today[part.number] + part.to;
            }
            for &pair in parts.iter().flat_map(|part| &self.pairs_of[part.number]) {
                let slope = self.slope(pairs, pair, |number| heights[number]);
                let limit = pairs[pair].limit;
                steepest = steepest.max(slope);
                if slope > limit * (1.0 + ROUNDING) {
                    over = over.max(slope - limit);
                    let pair = self.pair_ids(pair);
                    let reason = StopReason::SeatSlope { pair, slope, limit };
                    tally.stop_at(stop(place, reason, None));
                }
            }
        }
        (steepest, over)
    }
}

/// Every move with its place.
fn in_turn(order: &Order) -> impl Iterator<Item = (Place, &Vec<Part>)> {
    let moves = |(pass, moves): (usize, &'_ Vec<Vec<Part>>)| (pass, moves.len());
    order.iter().enumerate().map(moves).flat_map(move |(pass, n_moves)| {
        (0..n_moves).map(move |move_in_pass| ((pass, move_in_pass), &order[pass][move_in_pass]))
    })
}

fn stop((pass, move_in_pass): Place, reason: StopReason, case: Option<FrameCase>) -> Stop {
    Stop { pass: pass + 1, move_in_pass: move_in_pass + 1, reason, case }
}

fn stretches(cases: &FrameCases<'_>) -> Vec<Stretch> {
    let frame = cases.frame;
    let one_over = |stress: Option<Stress>| stress.map_or(0.0, |s| 1.0 / s.to_n_per_mm2());
    let n_stretches = cases.cases.first().map_or(0, |case| case.1.n_stretches());
    (0..n_stretches)
        .map(|stretch| {
            let timber = frame.timber_of(stretch);
            let strength = frame.strength(timber);
            Stretch {
                timber,
                is_bearer: timber < frame.spec().bearers.len(),
                per_bending: one_over(strength.map(|strength| strength.bending)),
                per_shear: one_over(strength.map(|strength| strength.shear)),
            }
        })
        .collect()
}

/// One case on its way.
struct OneCase<'a, 'f> {
    ground: &'a Ground<'a, 'f>,
    case: FrameCase,
    on: OnSeats<'f>,
    at_ends: &'a AtEnds,
    pairs: &'a [NeighbourPair],
    is_free: Vec<bool>,
    /// The largest force of each jack.
    largest: Vec<Option<f64>>,
}

impl<'a, 'f> OneCase<'a, 'f> {
    fn new(
        ground: &'a Ground<'a, 'f>,
        case: FrameCase,
        on: OnSeats<'f>,
        at_ends: &'a AtEnds,
        pairs: &'a [NeighbourPair],
    ) -> Self {
        let n_supports = ground.cases.today.len();
        let is_free = (0..n_supports).map(|number| on.gap(number) > FREE).collect();
        Self { ground, case, on, at_ends, pairs, is_free, largest: vec![None; n_supports] }
    }

    fn run(&mut self, order: &Order, to_first_stop: bool, tally: &mut Tally) {
        if self.on.rocks() {
            tally.rocks = true;
            let (pass, move_in_pass, reason) = (0, 0, StopReason::Rocks);
            tally.stop_at(Stop { pass, move_in_pass, reason, case: Some(self.case) });
        }
        self.on.take_regrouped();
        for (pass, moves) in order.iter().enumerate() {
            for (move_in_pass, parts) in moves.iter().enumerate() {
                let place = (pass, move_in_pass);
                let is_past = |stop: &Stop| (stop.pass, stop.move_in_pass) <= place;
                if to_first_stop && tally.stop.as_ref().is_some_and(is_past) {
                    return;
                }
                if self.move_once(parts, place, tally).is_err() {
                    tally.stop_at(self.stop(place, StopReason::NotSettled));
                    return;
                }
            }
            self.on.refresh();
        }
        self.close(tally);
    }

    /// The largest forces of this case widen the ranges.
    fn close(&self, tally: &mut Tally) {
        for (range, largest) in tally.jacks.iter_mut().zip(&self.largest) {
            if let Some(force) = *largest {
                let (least, most) = range.unwrap_or((f64::INFINITY, 0.0));
                *range = Some((least.min(force), most.max(force)));
            }
        }
    }

    fn stop(&self, place: Place, reason: StopReason) -> Stop {
        stop(place, reason, Some(self.case))
    }

    fn forces(&self, parts: &[Part], forces: &mut [f64]) {
        for (part, force) in parts.iter().zip(forces) {
            *force = force.max(self.on.reaction(part.number).to_n());
        }
    }

    fn bring(&mut self, parts: &[Part], share: f64) -> Result<(), NotSettled> {
        let today = &self.ground.cases.today;
        let seats: Vec<(usize, Length)> = parts
            .iter()
            .map(|part| {
                (part.number, today[part.number] + part.from + (part.to - part.from) * share)
            })
            .collect();
        self.on.set_seats(&seats)
    }

    fn move_once(
        &mut self,
        parts: &[Part],
        place: Place,
        tally: &mut Tally,
    ) -> Result<(), NotSettled> {
        let mut forces = vec![0.0; parts.len()];
        self.forces(parts, &mut forces);
        self.bring(parts, 1.0)?;
        if self.on.take_regrouped() {
            self.bring(parts, 0.5)?;
            self.forces(parts, &mut forces);
            self.look(parts, place, tally);
            self.bring(parts, 1.0)?;
            self.on.take_regrouped();
        }
        self.forces(parts, &mut forces);
        self.look(parts, place, tally);
        self.pushed(parts, &forces, place, tally);
        Ok(())
    }

    fn pushed(&mut self, parts: &[Part], forces: &[f64], place: Place, tally: &mut Tally) {
        for (jack, (part, &force)) in parts.iter().zip(forces).enumerate() {
            let range = &mut tally.moves[place.0][place.1].jacks[jack];
            *range = (range.0.min(force), range.1.max(force));
            let largest = &mut self.largest[part.number];
            *largest = Some(largest.map_or(force, |other| other.max(force)));
            let over = |limit: &f64| force > limit * (1.0 + ROUNDING);
            if let Some(limit) = self.ground.jack_limit.filter(over) {
                tally.stop_at(self.stop(
                    place,
                    StopReason::Jack {
                        support: self.ground.id(part.number),
                        force: Force::n(force),
                        limit: Force::n(limit),
                        rating_needed: self.ground.rating_for(force),
                    },
                ));
            }
        }
    }

    /// Looks at everything that the frame's last change of seats has changed.
    fn look(&mut self, parts: &[Part], place: Place, tally: &mut Tally) {
        let mut touched = self.on.take_touched();
        if place == (0, 0) {
            touched = (0..self.on.n_stretches()).collect();
        }
        let moved = self.on.take_moved();
        let pressed = self.on.take_most_pressed();
        if self.on.rocks() {
            tally.moves[place.0][place.1].rocks = true;
            tally.rocks = true;
            tally.stop_at(self.stop(place, StopReason::Rocks));
            return;
        }
        self.look_at_timber(&touched, place, tally);
        self.look_at_floor(&moved, place, tally);
        let seats = parts.iter().map(|part| part.number);
        self.look_for_air(moved.iter().copied().chain(seats), place, tally);
        let harder = |kept: &mut Option<(usize, Stress)>| {
            if pressed.is_some_and(|new| kept.is_none_or(|kept| new.1 > kept.1)) {
                *kept = pressed;
            }
        };
        harder(&mut tally.moves[place.0][place.1].pressed);
        harder(&mut tally.pressed);
    }

    fn look_at_timber(&self, touched: &[usize], place: Place, tally: &mut Tally) {
        let mut best: Option<Ranked<usize>> = None;
        let mut kinds: [Option<Ranked<usize>>; 2] = [None, None];
        let mut over: Option<(f64, usize)> = None;
        for &stretch in touched {
            let known = &self.ground.stretches[stretch];
            let (bending, shear) = self.on.stresses(stretch);
            let share = bending * known.per_bending;
            keep_larger(&mut best, share, bending, || stretch);
            keep_larger(&mut kinds[usize::from(known.is_bearer)], 0.0, bending, || stretch);
            keep_larger(&mut tally.sheared, shear * known.per_shear, shear, || known.timber);
            let excess = share / self.at_ends.share_limit[stretch];
            if excess > 1.0 + ROUNDING && over.is_none_or(|(worst, _)| excess > worst) {
                over = Some((excess, stretch));
            }
        }
        let [joist, bearer] = kinds;
        self.keep_bent(best.clone(), &mut tally.moves[place.0][place.1].bent);
        self.keep_bent(best, &mut tally.share);
        self.keep_bent(bearer, &mut tally.bearer);
        self.keep_bent(joist, &mut tally.joist);
        if let Some((_, stretch)) = over {
            let bent = self.on.bent(stretch);
            tally.stop_at(self.stop(
                place,
                StopReason::Bending {
                    share: bent.share.unwrap_or_default(),
                    timber: bent.timber,
                    along: bent.along,
                    limit: self.at_ends.share_limit[stretch],
                },
            ));
        }
    }

    fn keep_bent(&self, found: Option<Ranked<usize>>, kept: &mut Option<Ranked<MostBent>>) {
        if let Some(Ranked { share, stress, what }) = found {
            let bent = || MostBent { bent: self.on.bent(what), case: self.case };
            keep_larger(kept, share, stress, bent);
        }
    }

    fn look_at_floor(&self, moved: &[usize], place: Place, tally: &mut Tally) {
        let ground = self.ground;
        for &pair in moved.iter().flat_map(|&number| &ground.pairs_of[number]) {
            let slope = ground.slope(self.pairs, pair, |number| self.on.height(number));
            let known = &self.pairs[pair];
            let allowance = ground.limits.beam_allowance.value / known.distance;
            let limit = known.limit.max(self.at_ends.slope[pair]) + allowance;
            tally.beam_slope = tally.beam_slope.max(slope);
            if slope > limit * (1.0 + ROUNDING) {
                tally.beam_slope_over = tally.beam_slope_over.max(slope - limit);
                let pair = ground.pair_ids(pair);
                tally.stop_at(self.stop(place, StopReason::BeamSlope { pair, slope, limit }));
            }
        }
    }

    fn look_for_air(
        &mut self,
        changed: impl Iterator<Item = usize>,
        place: Place,
        tally: &mut Tally,
    ) {
        for number in changed {
            let is_free = self.on.gap(number) > FREE;
            if is_free && !self.is_free[number] {
                tally.moves[place.0][place.1].lost.insert(number);
                tally.lost.insert(number);
            }
            self.is_free[number] = is_free;
        }
    }
}
