//! Replays moves on the frame, under one set of assumptions after the other.
//!
//! # Method
//! In a move the seats rise evenly from where they are to where they go. As long as the same
//! supports carry, heights, reactions and moments run evenly too, and what is largest is largest
//! at one of the two ends; the seats for which the same supports carry are a convex set, so
//! the same supports at both ends means the same supports all the way. The force at a jack that
//! rises alone never falls, whatever lets go. What is left is a move in which supports let go or
//! take hold while jacks rise near one another: there the state half way is looked at too. In between
//! a force or a stress may then still be a little larger: both run in straight pieces that bend
//! where a support lets go or takes hold.

use super::frame_check::MostBent;
use super::ground::{AtEnds, Ground, ROUNDING, stop};
use super::stop::{LooseBearer, Stop, StopReason};
use super::tally::{Order, Part, Place, Ranked, Tally, keep_larger};
use super::{FrameCase, NeighbourPair};
use crate::frame::{NotSettled, OnSeats, Timbers};
use crate::ids::SupportId;
use crate::units::{Force, Length, Stress};
use std::collections::BTreeMap;

/// A bearer this far above its support has come free.
const FREE: Length = Length::mm(0.1);

impl Ground<'_, '_> {
    /// Replays an order of moves under every case. With `to_first_stop` nothing after the first
    /// stop is looked at.
    pub fn replay(&self, pairs: &[NeighbourPair], order: &Order, to_first_stop: bool) -> Tally {
        self.replay_cases(pairs, order, to_first_stop, self.cases.cases.len())
    }

    /// The same under the first of the cases only.
    pub fn replay_cases(
        &self,
        pairs: &[NeighbourPair],
        order: &Order,
        to_first_stop: bool,
        n_cases: usize,
    ) -> Tally {
        let mut tally = Tally::new(order, self.cases.today.len());
        (tally.seat_slope, tally.seat_slope_over) = self.seats(pairs, order, &mut tally);
        match &self.at_ends {
            Ok(at_ends) => {
                for ((case, on), at_ends) in self.cases.cases.iter().zip(at_ends).take(n_cases) {
                    let mut one =
                        OneCase::new(self, *case, on.clone().on_the_way(), at_ends, pairs);
                    one.run(order, to_first_stop, &mut tally);
                }
                tally.settle_shape(n_cases);
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
}

/// One case on its way.
struct OneCase<'a, 'f> {
    ground: &'a Ground<'a, 'f>,
    case: FrameCase,
    on: OnSeats<'f>,
    timbers: Timbers<'f>,
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
        let timbers = on.timbers().on_the_way();
        let largest = vec![None; n_supports];
        Self { ground, case, on, timbers, at_ends, pairs, is_free, largest }
    }

    fn run(&mut self, order: &Order, to_first_stop: bool, tally: &mut Tally) {
        if self.on.rocks() {
            tally.rocks = true;
            let (pass, move_in_pass, reason) = (0, 0, self.rocking());
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
            self.timbers.refresh(&self.on);
            if self.on.rocks() {
                tally.rocks = true;
                let place = (pass, moves.len().saturating_sub(1));
                tally.stop_at(self.stop(place, self.rocking()));
            }
        }
        self.close(tally);
    }

    /// The largest forces of this case widen the ranges.
    fn close(&self, tally: &mut Tally) {
        for (number, (range, largest)) in tally.jacks.iter_mut().zip(&self.largest).enumerate() {
            if let Some(force) = *largest {
                let off = self.off(number);
                let (least, most) = range.unwrap_or((f64::INFINITY, 0.0));
                *range = Some((least.min((force - off).max(0.0)), most.max(force + off)));
            }
        }
    }

    /// How far the force at a support may be off because its height may, in newtons.
    fn off(&self, number: usize) -> f64 {
        self.ground.cases.off[number].to_n() * (1.0 - self.case.set_share)
    }

    fn stop(&self, place: Place, reason: StopReason) -> Stop {
        stop(place, reason, Some(self.case))
    }

    /// That the frame rocks now, with the bearers that are held by too little.
    fn rocking(&self) -> StopReason {
        let frame = self.ground.cases.frame;
        let carries: BTreeMap<&SupportId, bool> =
            frame.supports().iter().enumerate().map(|(n, id)| (id, self.on.carries(n))).collect();
        let loose = frame.spec().bearers.iter().filter_map(|bearer| {
            let on = bearer.supports.iter().filter(|id| carries.get(id).is_some_and(|is| *is));
            let on: Vec<SupportId> = on.cloned().collect();
            (on.len() < 2).then(|| LooseBearer { bearer: bearer.id.clone(), on })
        });
        StopReason::Rocks { loose: loose.collect(), at_end: self.at_ends.rocks }
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
        if self.on.take_regrouped() && self.jacks_feel_one_another(parts) {
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

    /// The force at a jack that rises alone never falls: only one that rises with others near it
    /// may push more half way than at the end.
    fn jacks_feel_one_another(&self, parts: &[Part]) -> bool {
        parts.iter().enumerate().any(|(at, one)| {
            parts[at + 1..].iter().any(|other| self.on.feel_one_another(one.number, other.number))
        })
    }

    fn pushed(&mut self, parts: &[Part], forces: &[f64], place: Place, tally: &mut Tally) {
        for (jack, (part, &force)) in parts.iter().zip(forces).enumerate() {
            let off = self.off(part.number);
            let range = &mut tally.moves[place.0][place.1].jacks[jack];
            *range = (range.0.min((force - off).max(0.0)), range.1.max(force + off));
            let largest = &mut self.largest[part.number];
            *largest = Some(largest.map_or(force, |other| other.max(force)));
            let force = force + off;
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
        let moved = self.on.take_moved();
        self.timbers.follow(&moved);
        let mut touched = self.timbers.take_touched();
        if place == (0, 0) {
            touched = (0..self.ground.stretches.len()).collect();
        }
        let moved: Vec<usize> = moved.iter().map(|movement| movement.support).collect();
        let pressed = self.on.take_most_pressed();
        if self.on.rocks() {
            tally.moves[place.0][place.1].rocks = true;
            tally.rocks = true;
            tally.stop_at(self.stop(place, self.rocking()));
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
            let (bending, shear) = self.timbers.stresses(stretch);
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
        self.keep_bent(best.as_ref(), &mut tally.moves[place.0][place.1].bent);
        self.keep_bent(best.as_ref(), &mut tally.share);
        self.keep_bent(bearer.as_ref(), &mut tally.bearer);
        self.keep_bent(joist.as_ref(), &mut tally.joist);
        if let Some((_, stretch)) = over {
            let bent = self.timbers.bent(stretch);
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

    fn keep_bent(&self, found: Option<&Ranked<usize>>, kept: &mut Option<Ranked<MostBent>>) {
        if let Some(&Ranked { share, stress, what }) = found {
            let bent = || MostBent { bent: self.timbers.bent(what), case: self.case };
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
