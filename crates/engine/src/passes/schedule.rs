//! One step of the line: who moves, in what order, how many at a time.

use super::{NeighbourPair, SupportToLift};
use crate::units::{ExactLength, LENGTH_EPS, Length};
use std::cmp::Reverse;
use std::collections::BTreeSet;

/// Most steps in a pass. Pairs that would need more stand too close together for the lift per
/// pass; they are allowed the slope of one step and are reported.
pub(super) const MOST_STEPS: usize = 10;

/// What is left above a line by rounding alone is no move.
const ROUNDING: Length = Length::mm(1e-6);

/// Passes that a lift takes.
pub(super) fn whole_passes(lift: Length, per_pass: Length) -> usize {
    if lift <= LENGTH_EPS { 0 } else { (lift / per_pass - 1e-9).ceil().max(1.0) as usize }
}

/// The largest lift shared out over the fewest passes, on steps that are measured by.
pub(super) fn shared_out(largest: Length, per_pass: Length) -> Length {
    let n_passes = whole_passes(largest, per_pass);
    if n_passes == 0 {
        return per_pass;
    }
    let even = largest / n_passes as f64;
    let measured = [Length::inches(1.0 / 16.0), Length::mm(0.5)];
    let is_multiple = |unit: &Length| {
        let times = per_pass / *unit;
        times >= 0.5 && (times - times.round()).abs() < 1e-9
    };
    let shared = match measured.into_iter().find(is_multiple) {
        Some(unit) => unit * (even / unit - 1e-6).ceil(),
        None => even,
    };
    shared.min(per_pass)
}

/// The fewest steps in a pass for which no pair is tilted beyond its limit by one of them.
pub(super) fn sub_steps(pairs: &[NeighbourPair], in_pass: Length) -> usize {
    let room = pairs
        .iter()
        .filter(|pair| pair.moves_together)
        .map(|pair| pair.distance * pair.limit)
        .fold(in_pass, Length::min);
    ((in_pass / room - 1e-9).ceil().max(1.0) as usize).min(MOST_STEPS)
}

/// One step of the line.
pub(super) struct Step<'a> {
    pub supports: &'a [SupportToLift],
    pub pairs: &'a [NeighbourPair],
    pub step: Length,
    /// 1 for raising, -1 for letting down.
    pub sign: f64,
    /// What may be left to do when the step is done.
    pub line: Length,
    /// Lifts so far.
    pub lifts: &'a [Length],
    /// The lift that each support is brought to if it is not there yet.
    pub wanted: &'a [Length],
}

impl Step<'_> {
    /// The moves of the step: which supports, and the lift that each is brought to.
    ///
    /// The one with most left goes first, unless it ends above a neighbour that has to go before
    /// it (see the module's documentation).
    pub fn moves(&self, n_jacks: usize) -> Vec<Vec<(usize, Length)>> {
        let left = |support: usize| (self.supports[support].lift - self.lifts[support]) * self.sign;
        let least = if self.line > Length::ZERO { ROUNDING } else { Length::ZERO };
        let moves = |support: usize| {
            self.supports[support].lift * self.sign > LENGTH_EPS
                && (self.wanted[support] - self.lifts[support]) * self.sign > least
        };
        let moving: Vec<usize> = (0..self.supports.len()).filter(|&s| moves(s)).collect();
        let (mut waits_for, followers) = self.precedence(&moves);
        let rank = |support: usize| {
            // In whole nanometres, so that rounding does not decide between equals.
            (Reverse(ExactLength::from_mm(left(support).to_mm())), support)
        };
        let mut ready: BTreeSet<_> =
            moving.iter().filter(|&&s| waits_for[s] == 0).map(|&s| rank(s)).collect();
        let mut done = Vec::new();
        let mut together = Vec::new();
        while let Some((_, support)) = ready.pop_first() {
            together.push((support, self.wanted[support]));
            for &follower in &followers[support] {
                waits_for[follower] -= 1;
                if waits_for[follower] == 0 {
                    ready.insert(rank(follower));
                }
            }
            if together.len() == n_jacks {
                done.push(std::mem::take(&mut together));
            }
        }
        if !together.is_empty() {
            done.push(together);
        }
        done
    }

    /// For each support: how many must go before it, and who waits for it.
    fn precedence(&self, moves: &impl Fn(usize) -> bool) -> (Vec<usize>, Vec<Vec<usize>>) {
        let mut waits_for = vec![0; self.supports.len()];
        let mut followers = vec![Vec::new(); self.supports.len()];
        for pair in self.pairs {
            let (a, b) = pair.supports;
            let has_room = pair.end.abs() + self.step / pair.distance <= pair.limit * (1.0 + 1e-12);
            if has_room || !moves(a) || !moves(b) {
                continue;
            }
            // While letting down, the one that ends higher goes first. Level ends go by number.
            let b_is_later = pair.end * self.sign >= 0.0;
            let (first, second) = if b_is_later { (a, b) } else { (b, a) };
            waits_for[second] += 1;
            followers[first].push(second);
        }
        (waits_for, followers)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// By hand: 38.5 mm at 5 mm a pass takes 8 passes of 4.8125 mm, to the next half millimetre 5.0; 35.5 mm
    /// takes 8 of 4.4375, 4.5. One inch at 3/16" takes 6 passes of 2.67 sixteenths, 3/16". 10 mm at 0.7 mm,
    /// which nobody measures by, takes 15 of 0.6667.
    #[test]
    fn a_lift_is_shared_out_evenly_on_what_is_measured_by() {
        let sixteenth = Length::inches(1.0 / 16.0);
        for (largest, per_pass, shared) in [
            (Length::mm(38.5), Length::mm(5.0), Length::mm(5.0)),
            (Length::mm(35.5), Length::mm(5.0), Length::mm(4.5)),
            (Length::mm(20.5), Length::mm(5.0), Length::mm(4.5)),
            (Length::inches(1.0), sixteenth * 3.0, sixteenth * 3.0),
            (Length::mm(10.0), Length::mm(0.7), Length::mm(10.0 / 15.0)),
            (Length::ZERO, Length::mm(5.0), Length::mm(5.0)),
        ] {
            let found = shared_out(largest, per_pass);
            assert!((found - shared).abs() < Length::mm(1e-9), "{largest} at {per_pass}: {found}");
        }
    }

    proptest! {
        /// Never more in a pass than is allowed, never more passes than that takes, and all is lifted.
        #[test]
        fn sharing_out_costs_no_pass(largest in 0.01..200.0_f64, half_millimetres in 1..40_u32) {
            let (largest, per_pass) = (Length::mm(largest), Length::mm(0.5 * f64::from(half_millimetres)));
            let shared = shared_out(largest, per_pass);
            prop_assert!(shared <= per_pass && shared > Length::ZERO);
            let n_passes = whole_passes(largest, per_pass);
            prop_assert_eq!(whole_passes(largest, shared), n_passes);
            prop_assert!(shared * n_passes as f64 >= largest - Length::mm(1e-6));
        }
    }
}
