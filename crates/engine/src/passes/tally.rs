//! What replays of moves find, case after case.

use super::frame_check::MostBent;
use super::stop::Stop;
use crate::units::{Length, Stress};
use std::collections::BTreeSet;

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

/// Something found, with the share of strength and the stress that it is ranked by.
#[derive(Clone, Debug)]
pub(super) struct Ranked<T> {
    pub share: f64,
    pub stress: f64,
    pub what: T,
}

pub(super) fn keep_larger<T>(
    kept: &mut Option<Ranked<T>>,
    share: f64,
    stress: f64,
    what: impl FnOnce() -> T,
) {
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
    pub jacks: Vec<(f64, f64)>,
    pub lost: BTreeSet<usize>,
    pub bent: Option<Ranked<MostBent>>,
    pub pressed: Option<(usize, Stress)>,
    pub rocks: bool,
}

/// What was found over all moves and all cases so far.
#[derive(Clone, Debug)]
pub(super) struct Tally {
    pub moves: Vec<Vec<InMove>>,
    /// Least and most of the largest force of each jack, by the frame's numbers.
    pub jacks: Vec<Option<(f64, f64)>>,
    pub bearer: Option<Ranked<MostBent>>,
    pub joist: Option<Ranked<MostBent>>,
    pub share: Option<Ranked<MostBent>>,
    pub sheared: Option<Ranked<usize>>,
    pub pressed: Option<(usize, Stress)>,
    pub lost: BTreeSet<usize>,
    pub seat_slope: f64,
    pub seat_slope_over: f64,
    pub beam_slope: f64,
    pub beam_slope_over: f64,
    pub rocks: bool,
    pub stop: Option<Stop>,
    /// For each set of assumptions under which the shape of the timber passes a limit, where it
    /// first does.
    pub may_stop: Vec<Stop>,
}

/// Where a replay stands: pass and move, counted from 0.
pub(super) type Place = (usize, usize);

impl Tally {
    pub fn new(order: &Order, n_supports: usize) -> Self {
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
            may_stop: Vec::new(),
        }
    }

    /// Keeps the first stop; of those in one move the worst.
    ///
    /// How far timber is bent hangs on how much of the sag has set, which nobody can see: it
    /// stops the work only if it passes the limit under every assumption, see
    /// [`Self::settle_shape`].
    pub fn stop_at(&mut self, stop: Stop) {
        if !stop.reason.is_of_shape() {
            self.keep_stop(stop);
        } else if !self.may_stop.iter().any(|kept| kept.case == stop.case) {
            self.may_stop.push(stop);
        }
    }

    /// Stops at the shape of the timber if none of the `n_cases` assumptions leaves a way on.
    pub fn settle_shape(&mut self, n_cases: usize) {
        let surely = self.may_stop.len() == n_cases;
        let last = self.may_stop.iter().max_by_key(|stop| (stop.pass, stop.move_in_pass));
        if let Some(last) = last.filter(|_| surely).cloned() {
            self.keep_stop(last);
        }
    }

    fn keep_stop(&mut self, stop: Stop) {
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
