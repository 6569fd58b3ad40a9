//! Passes whose every move is checked on the frame.

use super::frame_check::{FrameCheck, FramePeaks, JackRange, MostBent, PassCheck};
use super::ground::Ground;
use super::schedule::MOST_STEPS;
use super::stop::{Stop, StopReason};
use super::tally::{Order, Part, Tally};
use super::{FrameCases, Passes, PassesError, SupportToLift, plan_in_steps};
use crate::ids::SupportId;
use crate::packers::StackTable;
use crate::settings::Limits;
use crate::units::{Force, Length};
use serde::Serialize;
use std::collections::BTreeMap;

/// With more supports than this finer steps are not tried: they take long, and are in the
/// builder's hand by a smaller lift in a pass.
const MOST_TRIED: usize = 200;

/// With more supports than this one support at a time is gone through under the first of the
/// assumptions only: it is a comparison, not a plan.
const MOST_COMPARED: usize = 2000;

/// After so many moves the frame is worked out anew, so that rounding does not add up.
const MOVES_BETWEEN: usize = 200;

/// One size of step that was tried.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Tried {
    /// How far the line comes down in one step.
    pub step: Length,
    /// Where that first passes a limit; `None` if it never does.
    pub stop: Option<Stop>,
}

/// What a way of working does to the frame, for comparison.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct FrameWay {
    /// Passes.
    pub passes: usize,
    /// Moves.
    pub moves: usize,
    /// The largest of everything.
    pub peaks: FramePeaks,
    /// The least rating of a jack that does.
    pub rating_needed: Option<Force>,
    /// The first limit that is passed.
    pub stop: Option<StopReason>,
}

/// Passes with what the frame says about them. Only if [`FrameCheck::passed`] are they to be
/// worked by.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PassesOnFrame {
    /// The passes.
    pub passes: Passes,
    /// What the frame says.
    pub check: FrameCheck,
    /// The same for one support at a time, each brought to its full lift before the next.
    pub one_at_a_time: FrameWay,
    /// What was tried, coarsest first.
    pub tried: Vec<Tried>,
}

/// Plans passes and checks every move on the frame.
///
/// If a limit is passed, finer steps within a pass are tried, and the first plan that keeps every
/// limit is taken. If none does, the one that gets furthest is given, and its check says where it
/// stops and why: such a plan is not to be worked by.
///
/// # Errors
/// Every fault of supports and limits, as for [`super::plan`].
///
/// # Panics
/// If `cases` was made for other supports: a bug of the caller.
///
/// # References
/// `tests/passes_frame.rs` replays every move with a contact of its own.
pub fn plan_with_frame(
    supports: &[SupportToLift],
    limits: &Limits,
    stacks: &StackTable,
    cases: &FrameCases<'_>,
) -> Result<PassesOnFrame, Vec<PassesError>> {
    assert_eq!(supports.len(), cases.in_frame.len(), "cases of the same supports");
    let faults = faults(limits);
    if !faults.is_empty() {
        return Err(faults);
    }
    let coarsest = plan_in_steps(supports, limits, stacks, 1)?;
    let steps = (coarsest.in_pass / coarsest.step).round() as usize;
    let order = order_of(&coarsest, cases);
    let ground = Ground::new(cases, &coarsest.neighbours, limits, &order);
    let mut tried = Vec::new();
    let mut best: Option<(Passes, Order, Tally)> = None;
    let mut candidate = Some((coarsest, order));
    let is_large = cases.today.len() > MOST_TRIED;
    let mut finer = finer_steps(steps).into_iter().filter(|_| !is_large);
    while let Some((passes, order)) = candidate.take() {
        let tally = ground.replay(&passes.neighbours, &order, true);
        tried.push(Tried { step: passes.step, stop: tally.stop.clone() });
        let go_on = tally.stop.as_ref().is_some_and(finer_may_help);
        let further = best.as_ref().is_none_or(|(other, _, furthest)| {
            progress(&passes, &tally) > progress(other, furthest)
        });
        if further {
            best = Some((passes, order, tally));
        }
        if let Some(steps) = finer.next().filter(|_| go_on) {
            let passes = plan_in_steps(supports, limits, stacks, steps)?;
            let order = order_of(&passes, cases);
            candidate = Some((passes, order));
        }
    }
    let (passes, order, mut tally) = best.expect("the coarsest steps are always tried");
    if tally.stop.is_some() {
        tally = ground.replay(&passes.neighbours, &order, false);
    }
    let check = summed_up(&ground, &order, &tally);
    let one_at_a_time = compared(&ground, supports, &passes, cases);
    Ok(PassesOnFrame { passes, check, one_at_a_time, tried })
}

/// Checks every move of passes on the frame.
///
/// # Panics
/// If the passes move supports that the cases do not know: a bug of the caller.
pub fn check(passes: &Passes, cases: &FrameCases<'_>, limits: &Limits) -> FrameCheck {
    let order = order_of(passes, cases);
    let ground = Ground::new(cases, &passes.neighbours, limits, &order);
    let tally = ground.replay(&passes.neighbours, &order, false);
    summed_up(&ground, &order, &tally)
}

/// What it would cost to bring each support to its full lift before the next one is begun, the
/// largest lift first.
///
/// The force at a jack never falls while it alone rises, so each support is raised in one go and
/// its force is the largest of all its passes.
///
/// # Panics
/// If `cases` or `passes` were made for other supports: a bug of the caller.
pub fn one_at_a_time_on_frame(
    supports: &[SupportToLift],
    passes: &Passes,
    cases: &FrameCases<'_>,
    limits: &Limits,
) -> FrameWay {
    let order = order_of(passes, cases);
    let ground = Ground::new(cases, &passes.neighbours, limits, &order);
    compared(&ground, supports, passes, cases)
}

/// Limits of the frame that nothing can be held against.
fn faults(limits: &Limits) -> Vec<PassesError> {
    let is_ratio = |ratio: f64| ratio.is_finite() && ratio >= 0.0;
    let rating = limits.jack_rating.as_ref().map_or(1.0, |rating| rating.value.to_n());
    let sound = [
        (rating > 0.0 && rating.is_finite(), "rating of the jacks"),
        (
            is_ratio(limits.jack_derating.value) && limits.jack_derating.value > 0.0,
            "share of its rating that a jack is used to",
        ),
        (is_ratio(limits.bending_share.value), "share of its strength that a timber is bent to"),
        (is_ratio(limits.beam_allowance.value.to_mm()), "rise of a bearer beyond its seats"),
    ];
    sound.iter().filter(|(sound, _)| !sound).map(|&(_, what)| PassesError::BadLimit(what)).collect()
}

/// Steps in a pass to try after the coarsest.
fn finer_steps(steps: usize) -> Vec<usize> {
    let mut finer = vec![2 * steps, 4 * steps, MOST_STEPS];
    finer.retain(|&finer| finer > steps && finer <= MOST_STEPS);
    finer.dedup();
    finer
}

fn finer_may_help(stop: &Stop) -> bool {
    stop.pass > 0 && stop.reason != StopReason::NotSettled
}

/// How far the work gets before the first stop, in passes.
fn progress(passes: &Passes, tally: &Tally) -> f64 {
    let Some(stop) = &tally.stop else { return f64::INFINITY };
    let Some(pass) = stop.pass.checked_sub(1) else { return 0.0 };
    let n_moves = passes.passes.get(pass).map_or(1, |pass| pass.moves.len().max(1));
    pass as f64 + (stop.move_in_pass as f64 - 1.0) / n_moves as f64
}

fn order_of(passes: &Passes, cases: &FrameCases<'_>) -> Order {
    let ids = cases.frame.supports().iter().enumerate();
    let numbers: BTreeMap<&SupportId, usize> = ids.map(|(number, id)| (id, number)).collect();
    let parts = |supports: &[super::SupportMove]| -> Vec<Part> {
        let part = |part: &super::SupportMove| Part {
            number: numbers[&part.support],
            from: part.from,
            to: part.to,
        };
        supports.iter().map(part).collect()
    };
    let moves = |pass: &super::Pass| pass.moves.iter().map(|one| parts(&one.supports)).collect();
    passes.passes.iter().map(moves).collect()
}

fn compared(
    ground: &Ground<'_, '_>,
    supports: &[SupportToLift],
    passes: &Passes,
    cases: &FrameCases<'_>,
) -> FrameWay {
    let mut in_order: Vec<usize> = (0..supports.len()).collect();
    in_order.sort_by(|&a, &b| {
        supports[b].lift.abs().total_cmp(&supports[a].lift.abs()).then(a.cmp(&b))
    });
    let at_end = ground.lifts_at_end(&order_of(passes, cases));
    let moves: Vec<Vec<Part>> = in_order
        .into_iter()
        .map(|support| cases.in_frame[support])
        .filter(|&number| at_end[number] != Length::ZERO)
        .map(|number| vec![Part { number, from: Length::ZERO, to: at_end[number] }])
        .collect();
    let order: Order = moves.chunks(MOVES_BETWEEN).map(<[_]>::to_vec).collect();
    let n_cases = if supports.len() > MOST_COMPARED { 1 } else { cases.cases.len() };
    let tally = ground.replay_cases(&passes.neighbours, &order, false, n_cases);
    let jacks = if tally.rocks { Vec::new() } else { ground.jack_ranges(&tally) };
    FrameWay {
        passes: passes.one_at_a_time.passes,
        moves: passes.one_at_a_time.moves,
        peaks: peaks(ground, &tally, &jacks),
        rating_needed: rating_needed(ground, &jacks),
        stop: tally.stop.map(|stop| stop.reason),
    }
}

fn summed_up(ground: &Ground<'_, '_>, order: &Order, tally: &Tally) -> FrameCheck {
    let passes = order.iter().zip(&tally.moves).enumerate().map(|(number, (parts, found))| {
        let moves = parts.iter().zip(found).map(|(parts, found)| ground.move_check(parts, found));
        pass_check(number + 1, moves.collect())
    });
    // A frame that rocks says nothing of what jacks push.
    let jacks = if tally.rocks { Vec::new() } else { ground.jack_ranges(tally) };
    let needed = rating_needed(ground, &jacks);
    let mut stop = tally.stop.clone();
    if let (Some(StopReason::Jack { rating_needed, .. }), Some(needed)) =
        (stop.as_mut().map(|stop| &mut stop.reason), needed)
    {
        *rating_needed = needed;
    }
    FrameCheck {
        cases: ground.cases(),
        passes: passes.collect(),
        peaks: peaks(ground, tally, &jacks),
        jacks,
        bent_at_end: ground.all_bent_at_end(),
        strength_unknown: ground.strength_unknown(),
        rating_needed: needed,
        stop,
        may_stop: may_stop(tally),
    }
}

/// The first for each share of set sag.
fn may_stop(tally: &Tally) -> Vec<Stop> {
    let mut kept: Vec<Stop> = Vec::new();
    for stop in &tally.may_stop {
        let share = |stop: &Stop| stop.case.map(|case| case.set_share);
        match kept.iter_mut().find(|other| share(other) == share(stop)) {
            Some(other) if (stop.pass, stop.move_in_pass) < (other.pass, other.move_in_pass) => {
                *other = stop.clone();
            }
            Some(_) => {}
            None => kept.push(stop.clone()),
        }
    }
    kept
}

fn largest_jack<'a>(jacks: impl Iterator<Item = &'a JackRange>) -> Option<JackRange> {
    let larger = |a: &'a JackRange, b: &'a JackRange| if b.most > a.most { b } else { a };
    jacks.reduce(larger).cloned()
}

fn rating_needed(ground: &Ground<'_, '_>, jacks: &[JackRange]) -> Option<Force> {
    largest_jack(jacks.iter()).map(|jack| ground.rating_for(jack.most.to_n()))
}

fn peaks(ground: &Ground<'_, '_>, tally: &Tally, jacks: &[JackRange]) -> FramePeaks {
    FramePeaks {
        jack: largest_jack(jacks.iter()),
        bearer: tally.bearer(),
        joist: tally.joist(),
        share: tally.share(),
        sheared: ground.sheared(tally),
        pressed: ground.pressed(tally),
        seat_slope: tally.seat_slope,
        seat_slope_over: tally.seat_slope_over,
        beam_slope: tally.beam_slope,
        beam_slope_over: tally.beam_slope_over,
        lost_contact: tally.lost.len(),
        rocks: tally.rocks,
    }
}

fn pass_check(number: usize, moves: Vec<super::MoveCheck>) -> PassCheck {
    let rank = |found: &&MostBent| {
        let bent = &found.bent;
        (bent.share.unwrap_or_default(), bent.stress.to_n_per_mm2())
    };
    let bent = moves.iter().filter_map(|one| one.most_bent.as_ref());
    let pressed = moves.iter().filter_map(|one| one.most_pressed.as_ref());
    let most_bent = bent.reduce(|a, b| if rank(&b) > rank(&a) { b } else { a }).cloned();
    let most_pressed = pressed.reduce(|a, b| if b.stress > a.stress { b } else { a }).cloned();
    PassCheck {
        number,
        jack: largest_jack(moves.iter().flat_map(|one| &one.jacks)),
        most_bent,
        most_pressed,
        lost_contact: moves.iter().map(|one| one.lost_contact.len()).sum(),
        moves,
    }
}
