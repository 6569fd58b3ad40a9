//! The stage from lifts to packers: the stack that stays at each support, chosen for all supports
//! together, and the floor that those stacks give.

use super::{FloorShape, Job, LiftingStage, Stage, StopReason};
use crate::ids::{PointId, SupportId};
use crate::packers::{BuyList, Choice, HeightAdvice, Stack, StackTable, buy, height_advice};
use crate::target::{Prediction, predict};
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
    /// The floor on these stacks, held against the target.
    pub outcome: Prediction,
    /// Where every floor point that was read ends: those the goal does not ask about as well, for
    /// a lift moves them too.
    pub after: Vec<(PointId, Level)>,
}

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
    lifting: &LiftingStage,
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
    let buy = buy(table, &wanted);
    let mut lifts = wanted_lifts.to_vec();
    let mut supports = Vec::with_capacity(packed.len());
    for ((&idx, &wanted), stack) in packed.iter().zip(&wanted).zip(&buy.stacks) {
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
            nearest: stack.is_none().then(|| table.choose(wanted)),
            advice: height_advice(wanted, &job.limits),
        });
    }
    match predict(&lifting.problem, &lifts) {
        Ok(outcome) => Stage::Done(PackingStage {
            supports,
            buy,
            after: levels_after(shape, lifting, &lifts),
            lifts,
            outcome,
        }),
        Err(faults) => Stage::Stopped(faults.into_iter().map(StopReason::bare).collect()),
    }
}

fn levels_after(
    shape: &FloorShape,
    lifting: &LiftingStage,
    lifts: &[Length],
) -> Vec<(PointId, Level)> {
    shape
        .surface
        .readings()
        .iter()
        .map(|reading| {
            let row = lifting.influence.row(&reading.point);
            let movement = row.map_or(Length::ZERO, |row| row.movement(lifts));
            (reading.point.clone(), reading.level + movement)
        })
        .collect()
}
