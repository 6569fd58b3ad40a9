//! The order of lifting: passes, the moves within a pass, and how far the house bends on the way.
//!
//! Every support stands snug at the start. A *move* raises at most as many supports as there are
//! jacks, all at the same time; a *pass* raises no support by more than the lift per pass. The
//! floor's shape is watched at the seats: between two neighbouring supports the slope may never
//! exceed the distortion limit, or the slope at the start, or the slope at the end, whichever is
//! greatest. Where an old floor already stands steeper than the limit, nothing else is possible.
//!
//! # Method
//! *Largest remaining first.* A line runs from the largest lift down to zero in steps `d` that
//! divide what is lifted in a pass. That is the largest lift shared out evenly over the fewest passes
//! that the lift per pass allows, rounded up to half millimetres, or to sixteenths of an inch where the
//! lift per pass is in those: nothing small is left for the end, to be jacked all over the house. What
//! the rounding leaves makes the first pass shorter. In every step all supports with more left than
//! the line come down to it, so the lift still to do is at any time the smaller of the whole lift and
//! the line.
//!
//! *Why the limit holds.* Take neighbours H and L at distance D, H ending at least as high as L, and
//! let `e` be what each has left. The slope is the end slope less `(e_H - e_L) / D`. Between steps
//! `e_H - e_L` lies between zero and its value at the start, so the slope lies between start and
//! end. Within a step both go to the line at different times, and whichever is still to go is at
//! most `d` above the line, so `e_H - e_L` is between `-d` and `d`. If the end slope and `d / D`
//! together are within the limit the order does not matter. Otherwise L goes before H, or together
//! with it; then `e_H - e_L` is never below zero within a step unless it was so at the start, and
//! the slope is at least `-d / D` and at most the end slope. So the limit holds whenever `d / D`
//! is within the limit itself, also for a pair whose end slope equals its limit.
//! A lowered support against a raised one only ever turns the slope one way.
//!
//! *Heights between passes.* The line falls where it falls, packers come in steps. So in the last step
//! of a pass a support stops at the height nearest to the line that the stock can pack, a little above or
//! below, no more than the lift per pass above where it was and near enough for the passes that are left.
//! What this does to slopes is no part of the proof: every move is looked at, and where a pair would pass
//! its limit the plan is made on the line itself, and the bearers come down a little on what goes in.
//!
//! *Why the passes are fewest.* There are as many as the largest lift takes at the full lift per pass,
//! and fewer cannot do.
//!
//! # With the frame and without
//! [`plan`] alone speaks of seats. [`plan_with_frame`] replays every move on the frame under both
//! ends of what nobody can see, and takes finer steps where they keep a limit: forces at jacks,
//! slopes, rocking and how far timber is bent.

mod neighbours;
mod schedule;
mod rests;
mod watch;
mod frame_cases;
mod frame_check;
mod stop;
mod tally;
mod ground;
mod replay;
mod with_frame;

pub use frame_cases::{FrameCase, FrameCases, FrameCasesFault};
pub use frame_check::{
    BentAtEnd, FrameCheck, FramePeaks, JackRange, MostBent, MostPressed, MostSheared, MoveCheck,
    PassCheck,
};
pub use neighbours::NeighbourPair;
pub use stop::{LooseBearer, Stop, StopReason};
pub use watch::{Peak, WorstPlace};
pub use with_frame::{
    FrameWay, PassesOnFrame, Tried, check, one_at_a_time_on_frame, plan_with_frame,
};

use crate::ids::SupportId;
use crate::packers::{Packing, StackTable, pack_under};
use crate::settings::Limits;
use crate::site::Position;
use crate::units::{LENGTH_EPS, Length, Level};
use rests::EndOfPass;
use schedule::{MOST_STEPS, Step, shared_out, sub_steps, whole_passes};
use serde::Serialize;
use watch::Watch;

/// More passes than this is a typing error.
const MOST_PASSES: f64 = 10_000.0;

/// A lift closer to its whole than this has arrived; what is left is rounding.
const ARRIVED: Length = Length::mm(1e-5);

/// A support and what is to happen there.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SupportToLift {
    /// Its name.
    pub id: SupportId,
    /// Where it stands on the plan.
    pub at: Position,
    /// Height of the bearer there at the start.
    pub seat: Level,
    /// Air under the bearer at the start, packed before the first pass.
    pub gap: Length,
    /// How far the bearer is to go up; negative to let it down.
    pub lift: Length,
}

/// One support's part in a move.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SupportMove {
    /// The support.
    pub support: SupportId,
    /// Lift before the move, from the start of the job.
    pub from: Length,
    /// Lift after it.
    pub to: Length,
}

/// Supports moved at the same time, one jack each.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Move {
    /// What moves.
    pub supports: Vec<SupportMove>,
    /// Whether they are let down.
    pub lowering: bool,
}

/// One round of lifting.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Pass {
    /// Counted from 1.
    pub number: usize,
    /// In order.
    pub moves: Vec<Move>,
    /// Lift at every support when the pass is done, in the order given.
    pub lifts: Vec<Length>,
    /// Packing under the supports that moved in this pass, when it is done.
    pub packing: Vec<Packing>,
    /// The largest share of its limit that any pair of neighbours reaches.
    pub worst: Option<WorstPlace>,
}

/// How a way of working compares.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct Way {
    /// Passes.
    pub passes: usize,
    /// Moves.
    pub moves: usize,
    /// Distortion on the way.
    pub peak: Peak,
}

/// A pair so close together that one step of the line tilts it beyond its limit.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct TooClose {
    /// The pair.
    pub pair: (SupportId, SupportId),
    /// The slope that one step makes (a ratio); allowed for this pair.
    pub slope: f64,
    /// The slope that the pair may have by the limit (a ratio).
    pub limit: f64,
    /// How far the line may come down in a pass for the pair to keep its limit.
    pub most_in_pass: Length,
}

/// The whole order of work.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Passes {
    /// In order.
    pub passes: Vec<Pass>,
    /// Packing of the air at the start, before the first pass.
    pub packing_at_start: Vec<Packing>,
    /// No order of work takes fewer passes than this.
    pub fewest_passes: usize,
    /// No order of work in passes takes fewer moves than this.
    pub fewest_moves: usize,
    /// The passes are as few as can be.
    pub bound_met: bool,
    /// How far the line comes down in one pass: at most the lift per pass.
    pub in_pass: Length,
    /// How far the line comes down in one step.
    pub step: Length,
    /// The pairs that are watched, each with its limit.
    pub neighbours: Vec<NeighbourPair>,
    /// Pairs that stand too close together for the step.
    pub too_close: Vec<TooClose>,
    /// This order of work.
    pub this_way: Way,
    /// For comparison: each support brought to its full lift before the next one is begun.
    pub one_at_a_time: Way,
}

/// Why passes cannot be planned.
#[derive(Clone, Debug, PartialEq, Serialize, thiserror::Error)]
pub enum PassesError {
    /// A number that is infinite, NaN or absurdly large.
    #[error("support {0} has a number that is missing or beyond a kilometre")]
    OutOfRange(SupportId),
    /// Two supports in one place.
    #[error("supports {0} and {1} stand in the same place")]
    SamePlace(SupportId, SupportId),
    /// A limit that no work can be done under.
    #[error("the {0} is zero, negative or not a number")]
    BadLimit(&'static str),
    /// The lift per pass is far too small for the lifts.
    #[error("support {support} needs more than 10000 passes of {per_pass}")]
    TooManyPasses {
        /// The support.
        support: SupportId,
        /// Lift per pass.
        per_pass: Length,
    },
    /// The moves do not add up to a lift: a fault of this program, and no plan to work by.
    #[error(
        "the moves bring support {support} to {reached} of its {lift}: do not work by this plan"
    )]
    NotReached {
        /// The support.
        support: SupportId,
        /// Its whole lift.
        lift: Length,
        /// What the moves come to.
        reached: Length,
    },
}

/// Plans passes and moves for given lifts, by the heights of the seats alone: no move is checked
/// on a frame.
///
/// # Units and sign
/// Lifts up positive. Slopes are ratios, rise from the first support of a pair to the second over
/// their distance.
///
/// # Errors
/// Every fault of supports and limits. Never panics.
///
/// # Examples
/// ```
/// use floorwright_engine::ids::SupportId;
/// use floorwright_engine::packers::StackTable;
/// use floorwright_engine::passes::{SupportToLift, plan};
/// use floorwright_engine::settings::{Limits, Stock};
/// use floorwright_engine::site::Position;
/// use floorwright_engine::units::{Length, Level};
///
/// let support = |i: u32, seat: f64| SupportToLift {
///     id: SupportId::new(format!("A{i}")),
///     at: Position::mm(f64::from(i) * 1800.0, 0.0),
///     seat: Level::mm(seat),
///     gap: Length::ZERO,
///     lift: Length::mm(-seat),
/// };
/// let supports = [support(1, -4.0), support(2, -18.0), support(3, 0.0)];
/// let stacks = StackTable::new(&Stock::default()).unwrap();
/// let passes = plan(&supports, &Limits::default(), &stacks).unwrap();
/// assert_eq!(passes.passes.len(), 4); // 18 mm at 5 mm a pass
/// assert_eq!(passes.this_way.peak.over_limit, 0.0);
/// ```
///
/// # References
/// The proof is in the module's documentation; an independent replay of every move checks it on
/// random floors in `tests/passes_replay.rs`.
pub fn plan(
    supports: &[SupportToLift],
    limits: &Limits,
    stacks: &StackTable,
) -> Result<Passes, Vec<PassesError>> {
    plan_in_steps(supports, limits, stacks, 1)
}

/// Plans with at least so many steps of the line in a pass.
///
/// Between passes supports rest at heights that the stock can pack, a little above the line or
/// below, as long as no pair of neighbours passes its limit for it; otherwise on the line itself,
/// from where the bearers come down a little on what goes in.
fn plan_in_steps(
    supports: &[SupportToLift],
    limits: &Limits,
    stacks: &StackTable,
    least_steps: usize,
) -> Result<Passes, Vec<PassesError>> {
    let faults = faults(supports, limits);
    if !faults.is_empty() {
        return Err(faults);
    }
    let supports = &without_traces(supports);
    let packed = planned(supports, limits, stacks, least_steps, true)?;
    if packed.this_way.peak.over_limit == 0.0 {
        return Ok(packed);
    }
    let on_line = planned(supports, limits, stacks, least_steps, false)?;
    let is_better = packed.this_way.peak.over_limit <= on_line.this_way.peak.over_limit;
    Ok(if is_better { packed } else { on_line })
}

fn planned(
    supports: &[SupportToLift],
    limits: &Limits,
    stacks: &StackTable,
    least_steps: usize,
    rests_packed: bool,
) -> Result<Passes, Vec<PassesError>> {
    let per_pass = limits.lift_per_pass.value;
    let mut pairs = neighbours::find(supports, limits);
    let largest = supports.iter().map(|support| support.lift.abs()).fold(Length::ZERO, Length::max);
    let in_pass = shared_out(largest, per_pass);
    let steps = sub_steps(&pairs, in_pass).max(least_steps);
    let step = in_pass / steps as f64;
    let too_close = widen_too_close(supports, &mut pairs, step);
    let most = [1.0, -1.0].map(|sign| {
        supports.iter().map(|support| support.lift * sign).fold(Length::ZERO, Length::max)
    });
    let passes_for = most.map(|lift| whole_passes(lift, in_pass));
    let n_passes = whole_passes(largest, per_pass);

    let filled = if rests_packed { stacks.filled() } else { Vec::new() };
    let mut watch = Watch::new(supports, &pairs);
    let mut lifts = vec![Length::ZERO; supports.len()];
    let mut passes = Vec::new();
    for number in 1..=n_passes {
        let mut moves = Vec::new();
        watch.start_pass();
        for (sign, n_for) in [1.0, -1.0].into_iter().zip(passes_for) {
            let line_after = |step_in_pass: usize| {
                let steps_left =
                    (n_for * steps).saturating_sub((number - 1) * steps + step_in_pass);
                step * steps_left as f64
            };
            let end = EndOfPass {
                line: line_after(steps),
                passes_left: n_for.saturating_sub(number),
                per_pass,
                filled: &filled,
            };
            let rests: Option<Vec<Length>> = (rests_packed && sign > 0.0).then(|| {
                supports.iter().zip(&lifts).map(|(support, &now)| end.rests(support, now)).collect()
            });
            for step_in_pass in 1..=steps {
                let line = line_after(step_in_pass);
                let on_line = |support: usize| supports[support].lift - line * sign;
                let wanted: Vec<Length> = (0..supports.len())
                    .map(|support| match &rests {
                        Some(rests) if step_in_pass == steps => rests[support],
                        Some(rests) => on_line(support).min(rests[support]),
                        None => on_line(support),
                    })
                    .collect();
                let order = Step {
                    supports,
                    pairs: &pairs,
                    step,
                    sign,
                    line,
                    lifts: &lifts,
                    wanted: &wanted,
                };
                for together in order.moves(limits.jacks.value) {
                    watch.set(&together);
                    let one = named(supports, &mut lifts, &together, sign < 0.0);
                    goes_on_or_begins(&mut moves, one);
                }
            }
        }
        let packing = pass_packing(supports, &moves, &lifts, limits, stacks);
        let worst = watch.end_pass(supports);
        passes.push(Pass { number, moves, lifts: lifts.clone(), packing, worst });
    }
    let unreached: Vec<PassesError> = supports
        .iter()
        .zip(&lifts)
        .filter(|(support, lift)| (support.lift - **lift).abs() > ARRIVED)
        .map(|(support, lift)| PassesError::NotReached {
            support: support.id.clone(),
            lift: support.lift,
            reached: *lift,
        })
        .collect();
    if !unreached.is_empty() {
        return Err(unreached);
    }
    let n_moves = passes.iter().map(|pass| pass.moves.len()).sum();
    let visits: usize =
        supports.iter().map(|support| whole_passes(support.lift.abs(), per_pass)).sum();
    Ok(Passes {
        packing_at_start: packing_at_start(supports, limits, stacks),
        fewest_passes: n_passes,
        fewest_moves: visits.div_ceil(limits.jacks.value),
        bound_met: passes.len() == n_passes,
        in_pass,
        step,
        too_close,
        this_way: Way { passes: passes.len(), moves: n_moves, peak: watch.peak() },
        one_at_a_time: one_at_a_time(supports, &pairs, per_pass),
        neighbours: pairs,
        passes,
    })
}

/// Adds a move; one that raises the same supports further is part of the one before it.
fn goes_on_or_begins(moves: &mut Vec<Move>, next: Move) {
    let goes_on = |last: &Move| {
        let same = |(a, b): (&SupportMove, &SupportMove)| a.support == b.support && a.to == b.from;
        last.lowering == next.lowering
            && last.supports.len() == next.supports.len()
            && last.supports.iter().zip(&next.supports).all(same)
    };
    match moves.last_mut().filter(|last| goes_on(last)) {
        Some(last) => {
            for (part, further) in last.supports.iter_mut().zip(next.supports) {
                part.to = further.to;
            }
        }
        None => moves.push(next),
    }
}

/// The supports, with lifts too small to be anything taken as none.
fn without_traces(supports: &[SupportToLift]) -> Vec<SupportToLift> {
    let mut supports = supports.to_vec();
    for support in &mut supports {
        if support.lift.abs() <= LENGTH_EPS {
            support.lift = Length::ZERO;
        }
    }
    supports
}

/// Allows a pair that one step tilts beyond its limit that slope, and says so.
fn widen_too_close(
    supports: &[SupportToLift],
    pairs: &mut [NeighbourPair],
    step: Length,
) -> Vec<TooClose> {
    let mut too_close = Vec::new();
    for pair in pairs {
        let slope = step / pair.distance;
        if slope > pair.limit * (1.0 + 1e-9) && pair.moves_together {
            let limit = std::mem::replace(&mut pair.limit, slope);
            let (a, b) = pair.supports;
            let most_in_pass = pair.distance * limit * MOST_STEPS as f64;
            let pair = (supports[a].id.clone(), supports[b].id.clone());
            too_close.push(TooClose { pair, slope, limit, most_in_pass });
        }
    }
    too_close
}

fn named(
    supports: &[SupportToLift],
    lifts: &mut [Length],
    together: &[(usize, Length)],
    lowering: bool,
) -> Move {
    let moved = together
        .iter()
        .map(|&(support, to)| {
            let from = std::mem::replace(&mut lifts[support], to);
            SupportMove { support: supports[support].id.clone(), from, to }
        })
        .collect();
    Move { supports: moved, lowering }
}

fn pass_packing(
    supports: &[SupportToLift],
    moves: &[Move],
    lifts: &[Length],
    limits: &Limits,
    stacks: &StackTable,
) -> Vec<Packing> {
    let moved: std::collections::BTreeSet<&SupportId> =
        moves.iter().flat_map(|one| one.supports.iter().map(|part| &part.support)).collect();
    supports
        .iter()
        .zip(lifts)
        .filter(|(support, _)| moved.contains(&support.id))
        .map(|(support, &lift)| pack_under(&support.id, support.gap, lift, limits, stacks))
        .collect()
}

fn packing_at_start(
    supports: &[SupportToLift],
    limits: &Limits,
    stacks: &StackTable,
) -> Vec<Packing> {
    supports
        .iter()
        .filter(|support| support.gap > LENGTH_EPS)
        .map(|support| pack_under(&support.id, support.gap, Length::ZERO, limits, stacks))
        .collect()
}

fn one_at_a_time(supports: &[SupportToLift], pairs: &[NeighbourPair], per_pass: Length) -> Way {
    let mut order: Vec<usize> = (0..supports.len()).collect();
    order.sort_by(|&a, &b| {
        supports[b].lift.abs().total_cmp(&supports[a].lift.abs()).then(a.cmp(&b))
    });
    let mut watch = Watch::new(supports, pairs);
    let mut passes = 0;
    for support in order {
        // The slope runs evenly while one support moves: its ends are its extremes.
        watch.set(&[(support, supports[support].lift)]);
        passes += whole_passes(supports[support].lift.abs(), per_pass);
    }
    Way { passes, moves: passes, peak: watch.peak() }
}

fn faults(supports: &[SupportToLift], limits: &Limits) -> Vec<PassesError> {
    let mut faults = Vec::new();
    let per_pass = limits.lift_per_pass.value;
    let is_length = |length: Length| length.is_finite() && length > LENGTH_EPS;
    if !is_length(per_pass) {
        faults.push(PassesError::BadLimit("lift per pass"));
    }
    if limits.jacks.value == 0 {
        faults.push(PassesError::BadLimit("number of jacks"));
    }
    if !(limits.distortion.value > 0.0 && limits.distortion.value.is_finite()) {
        faults.push(PassesError::BadLimit("distortion limit"));
    }
    if !is_length(limits.neighbour_distance.value) {
        faults.push(PassesError::BadLimit("distance between neighbours"));
    }
    for support in supports {
        let numbers = [
            support.at.x.to_mm(),
            support.at.y.to_mm(),
            support.seat.to_mm(),
            support.gap.to_mm(),
            support.lift.to_mm(),
        ];
        if !numbers.iter().all(|number| number.abs() <= 1e6) {
            faults.push(PassesError::OutOfRange(support.id.clone()));
        } else if is_length(per_pass) && support.lift.abs() / per_pass > MOST_PASSES {
            let support = support.id.clone();
            faults.push(PassesError::TooManyPasses { support, per_pass });
        }
    }
    if faults.is_empty() {
        faults.extend(neighbours::same_place(supports));
    }
    faults
}
