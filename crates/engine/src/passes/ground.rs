//! What all replays of one job stand on: the frame, the pairs and what start and end cost anyway.

use super::frame_check::{BentAtEnd, JackRange, MostBent, MostPressed, MostSheared, MoveCheck};
use super::stop::{Stop, StopReason};
use super::tally::{InMove, Order, Part, Place, Tally};
use super::{FrameCase, FrameCases, NeighbourPair};
use crate::frame::{NotSettled, OnSeats, Timbers};
use crate::ids::SupportId;
use crate::settings::Limits;
use crate::units::{Force, Length, Stress};
use std::collections::BTreeMap;

/// A limit counts as passed when it is passed by more than this share of it: less is rounding.
pub(super) const ROUNDING: f64 = 1e-6;

/// On the way a timber may be bent by this many times what it is bent at the start or at the end
/// (a ratio): own rule. Moves come in steps, and no order of them is quite even.
const ON_THE_WAY: f64 = 1.05;

/// What is known of a stretch of timber before anything moves.
pub(super) struct Stretch {
    pub timber: usize,
    pub is_bearer: bool,
    /// One over the strength in bending and in shear, in mm2/N; nothing if it is unknown.
    pub per_bending: f64,
    pub per_shear: f64,
}

/// What every replay stands on.
pub(super) struct Ground<'a, 'f> {
    pub cases: &'a FrameCases<'f>,
    /// The pairs by the frame's numbers, and the pairs of each support.
    pub ends: Vec<(usize, usize)>,
    pub pairs_of: Vec<Vec<usize>>,
    pub stretches: Vec<Stretch>,
    pub limits: &'a Limits,
    pub jack_limit: Option<f64>,
    pub at_ends: Result<Vec<AtEnds>, NotSettled>,
}

/// What the start and the end cost under one case: no excess on the way, because no order of moves
/// avoids it.
pub(super) struct AtEnds {
    /// The largest share of its strength that each stretch may be bent to.
    pub share_limit: Vec<f64>,
    /// How steep the bearers stand between each pair.
    pub slope: Vec<f64>,
    /// Timbers that end beyond the limit.
    pub bent: Vec<BentAtEnd>,
    /// The frame rocks at the end.
    pub rocks: bool,
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
        let timbers: Vec<Timbers<'f>> = both.iter().map(|on| on.timbers()).collect();
        let share_limit = self.stretches.iter().enumerate().map(|(stretch, known)| {
            if known.per_bending == 0.0 {
                return f64::INFINITY;
            }
            let shares =
                timbers.iter().map(|all| all.stresses(stretch).0 * known.per_bending * ON_THE_WAY);
            shares.fold(self.limits.bending_share.value, f64::max)
        });
        let slope = (0..pairs.len()).map(|pair| {
            let slopes = both.iter().map(|on| self.slope(pairs, pair, |number| on.height(number)));
            slopes.fold(0.0, f64::max)
        });
        Ok(AtEnds {
            share_limit: share_limit.collect(),
            slope: slope.collect(),
            bent: if end.rocks() {
                Vec::new()
            } else {
                self.bent_at_end(*case, &start.timbers(), &end.timbers())
            },
            rocks: end.rocks(),
        })
    }

    fn bent_at_end(
        &self,
        case: FrameCase,
        start: &Timbers<'f>,
        end: &Timbers<'f>,
    ) -> Vec<BentAtEnd> {
        let n_timbers = self.cases.frame.n_timbers();
        let worst = |timbers: &Timbers<'f>| {
            let mut worst: Vec<(f64, usize)> = vec![(0.0, 0); n_timbers];
            for (stretch, known) in self.stretches.iter().enumerate() {
                let share = timbers.stresses(stretch).0 * known.per_bending;
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

    pub fn id(&self, number: usize) -> SupportId {
        self.cases.frame.supports()[number].clone()
    }

    pub fn pair_ids(&self, pair: usize) -> (SupportId, SupportId) {
        let (a, b) = self.ends[pair];
        (self.id(a), self.id(b))
    }

    pub fn slope(
        &self,
        pairs: &[NeighbourPair],
        pair: usize,
        height: impl Fn(usize) -> Length,
    ) -> f64 {
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
    pub fn seats(&self, pairs: &[NeighbourPair], order: &Order, tally: &mut Tally) -> (f64, f64) {
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

pub(super) fn stop(
    (pass, move_in_pass): Place,
    reason: StopReason,
    case: Option<FrameCase>,
) -> Stop {
    Stop { pass: pass + 1, move_in_pass: move_in_pass + 1, reason, case }
}

fn stretches(cases: &FrameCases<'_>) -> Vec<Stretch> {
    let frame = cases.frame;
    let one_over = |stress: Option<Stress>| stress.map_or(0.0, |s| 1.0 / s.to_n_per_mm2());
    (0..frame.n_stretches())
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
