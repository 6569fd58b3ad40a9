//! The stage from lifts to packers: the stack that stays at each support, chosen for all supports
//! together, and the floor that those stacks give.

use super::frame;
use super::supports::bounds;
use super::{FloorShape, FrameStage, Job, LiftingStage, Stage, StopReason};
use crate::frame::FrameState;
use crate::ids::{PointId, SupportId};
use crate::packers::{BuyList, Choice, HeightAdvice, Stack, StackTable, buy, height_advice};
use crate::surface::FloorReading;
use crate::target::{Prediction, SupportBounds, TOUCHED, predict};
use crate::units::{LENGTH_EPS, Length, Level};
use serde::Serialize;

/// The packers that stay.
#[derive(Clone, Debug, Serialize)]
pub struct PackingStage {
    /// One for each support that is packed, in the site's order.
    pub supports: Vec<SupportPacking>,
    /// What to buy for them.
    pub buy: BuyList,
    /// The lift that the stacks give, for each support of the site in its order: packers come in
    /// steps, so it is a little more or less than was worked out.
    pub lifts: Vec<Length>,
    /// How many supports go up.
    pub raised: usize,
    /// How many are let down.
    pub lowered: usize,
    /// The floor on these stacks, held against the target.
    pub outcome: Prediction,
    /// What keeps the house from being packed so: stacks that the stock cannot make, and packing
    /// above its limit. With any of these there are no passes.
    pub cannot: Vec<StopReason>,
    /// Where every floor point that was read ends: those the goal does not ask about as well, for
    /// a lift moves them too.
    pub after: Vec<(PointId, Level)>,
    /// What every support carries when all is packed, by the empty house; `None` without a frame.
    pub carried: Option<FrameState>,
    /// Points that the goal does not ask about and that move all the same, and how far.
    pub moved_besides: Vec<(PointId, Length)>,
}

/// Less than this is no movement to speak of.
const MOVES: Length = Length::mm(0.5);

/// The stack that stays at one support.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SupportPacking {
    /// The support.
    pub support: SupportId,
    /// Lift plus the gap that is there today.
    pub wanted: Length,
    /// The stack; `None` where the stock has none within its tolerance.
    pub stack: Option<Stack>,
    /// The nearest stacks, where there is none within the tolerance.
    pub nearest: Option<Choice>,
    /// What the height of the packing calls for.
    pub advice: HeightAdvice,
}

/// Chooses the stacks.
pub(super) fn stacks(
    job: &Job,
    shape: &FloorShape,
    (lifting, stage): (&LiftingStage, Option<&FrameStage>),
    wanted_lifts: &[Length],
    table: &StackTable,
) -> Stage<PackingStage> {
    let sites = job.site.supports();
    let packed: Vec<usize> = (0..sites.len())
        .filter(|&idx| wanted_lifts[idx] > LENGTH_EPS || sites[idx].gap > LENGTH_EPS)
        .filter(|&idx| wanted_lifts[idx] + sites[idx].gap > LENGTH_EPS)
        .collect();
    let wanted: Vec<Length> =
        packed.iter().map(|&idx| wanted_lifts[idx] + sites[idx].gap).collect();
    let within: Vec<Length> = packed
        .iter()
        .zip(&wanted)
        .map(|(&idx, &wanted)| within_bounds(job, lifting, idx, wanted_lifts[idx], wanted))
        .collect();
    let buy = buy(table, &within);
    let mut lifts = wanted_lifts.to_vec();
    let mut supports = Vec::with_capacity(packed.len());
    for (((&idx, &wanted), &within), stack) in
        packed.iter().zip(&wanted).zip(&within).zip(&buy.stacks)
    {
        if let Some(stack) = stack {
            // A stack thinner than the gap does not touch the bearer, and moves nothing.
            let lift = stack.thickness - sites[idx].gap;
            lifts[idx] =
                if wanted_lifts[idx] < Length::ZERO { lift } else { lift.max(Length::ZERO) };
        }
        supports.push(SupportPacking {
            support: sites[idx].id.clone(),
            wanted,
            stack: stack.clone(),
            nearest: stack.is_none().then(|| table.choose(within)),
            advice: height_advice(wanted, &job.limits),
        });
    }
    let cannot = supports.iter().filter_map(|packed| in_the_way(job, packed)).collect();
    match predict(&lifting.problem, &lifts) {
        Ok(outcome) => Stage::Done(PackingStage {
            cannot,
            carried: stage.and_then(|stage| frame::after(job, stage, &lifts, &supports)),
            raised: lifts.iter().filter(|lift| **lift > TOUCHED).count(),
            lowered: lifts.iter().filter(|lift| **lift < -TOUCHED).count(),
            supports,
            buy,
            moved_besides: moved_besides(lifting, &lifts),
            after: levels_after(shape, lifting, &lifts),
            lifts,
            outcome,
        }),
        Err(faults) => Stage::Stopped(faults.into_iter().map(StopReason::bare).collect()),
    }
}

/// The thickness to ask the stock for, so that no stack within its tolerance takes a support
/// beyond its bounds: one that is not to move gets at most its gap filled.
fn within_bounds(
    job: &Job,
    lifting: &LiftingStage,
    support: usize,
    lift: Length,
    wanted: Length,
) -> Length {
    let tolerance = job.stock.tolerance.value;
    let site = &job.site.supports()[support];
    let SupportBounds { lower, upper, .. } = bounds(job, site, &lifting.supports[support]);
    if lift > LENGTH_EPS {
        wanted.min((site.gap + upper - tolerance).max(Length::ZERO))
    } else if lift < -LENGTH_EPS {
        wanted.max(site.gap + lower + tolerance)
    } else {
        wanted.min((site.gap - tolerance).max(Length::ZERO))
    }
}

/// Why a support cannot be packed as it should, if it cannot.
fn in_the_way(job: &Job, packed: &SupportPacking) -> Option<StopReason> {
    const TALLER: &str =
        "put in a taller support and read the floor again, or choose a lower height";
    let SupportPacking { support, wanted, nearest, advice, .. } = packed;
    if *advice == HeightAdvice::TallerSupport {
        let limit = &job.limits.packing_stop;
        let what = format!(
            "support {support} would stand on {wanted} of packing, the limit is {}: {}",
            limit.value, limit.reason
        );
        return Some(StopReason::new(what, TALLER));
    }
    let Some(Choice::Unreachable { below, above }) = nearest else { return None };
    let near: Vec<String> =
        [below, above].into_iter().flatten().map(|stack| stack.thickness.to_string()).collect();
    let what = format!(
        "support {support} wants {wanted} of packing and the stock makes no such stack, the nearest \
         is {}",
        near.join(" or ")
    );
    Some(StopReason::new(what, "add a thickness or more pieces to the stock, or change the lift"))
}

fn movement(lifting: &LiftingStage, point: &PointId, lifts: &[Length]) -> Length {
    lifting.influence.row(point).map_or(Length::ZERO, |row| row.movement(lifts))
}

/// Where every floor point that was read stands after these lifts, one for each support of the
/// site in its order: what to expect of the readings after a pass.
pub fn levels_after(
    shape: &FloorShape,
    lifting: &LiftingStage,
    lifts: &[Length],
) -> Vec<(PointId, Level)> {
    let after = |reading: &FloorReading| {
        (reading.point.clone(), reading.level + movement(lifting, &reading.point, lifts))
    };
    shape.surface.readings().iter().map(after).collect()
}

fn moved_besides(lifting: &LiftingStage, lifts: &[Length]) -> Vec<(PointId, Length)> {
    lifting
        .left_out
        .iter()
        .map(|point| (point.clone(), movement(lifting, point, lifts)))
        .filter(|(_, movement)| movement.abs() > MOVES)
        .collect()
}
