//! The stage from lifts to packers: the last stack of each support, the stacks that hold it up on
//! the way, and what to buy for both.

use super::{Job, Stage, StopReason};
use crate::ids::SupportId;
use crate::packers::{BuyList, Choice, HeightAdvice, Stack, StackTable, buy, height_advice};
use crate::passes::Passes;
use crate::units::{LENGTH_EPS, Length};
use serde::Serialize;
use std::collections::BTreeMap;

/// The packers of the whole job.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PackingStage {
    /// One for each support that is packed, in the site's order.
    pub supports: Vec<SupportPacking>,
    /// What to buy for the last stacks.
    pub buy: BuyList,
    /// What is needed beyond that while the work goes on.
    pub temporary: Vec<TemporaryPackers>,
    /// Pieces in stock that no pack size explains: none. Cost of everything in whole cents, if
    /// every price is known.
    pub cents: Option<u64>,
}

/// The last stack of one support.
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

/// Packers that are only needed on the way.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct TemporaryPackers {
    /// How thick.
    pub thickness: Length,
    /// Most pieces in use after any pass.
    pub most_in_use: u32,
    /// Packs to buy beyond those for the last stacks.
    pub extra_packs: u32,
    /// What those cost in whole cents, if the price is known.
    pub cents: Option<u64>,
}

/// Chooses the last stacks together, then counts what the passes need on the way.
pub(super) fn stacks(job: &Job, passes: &Passes) -> Stage<PackingStage> {
    let table = match StackTable::new(&job.stock) {
        Ok(table) => table,
        Err(fault) => return Stage::Stopped(vec![StopReason::new(fault, "change the stock")]),
    };
    let last = passes.passes.last().map_or(&passes.packing_at_start, |pass| &pass.packing);
    let wanted: Vec<Length> = last.iter().map(|packing| packing.wanted).collect();
    let buy = buy(&table, &wanted);
    let supports = last
        .iter()
        .zip(&buy.stacks)
        .map(|(packing, stack)| SupportPacking {
            support: packing.support.clone(),
            wanted: packing.wanted,
            advice: height_advice(packing.wanted, &job.limits),
            nearest: stack.is_none().then(|| packing.choice.clone()),
            stack: stack.clone(),
        })
        .collect();
    let temporary = on_the_way(job, passes, &buy);
    let extra: Option<u64> = temporary.iter().filter(|t| t.extra_packs > 0).map(|t| t.cents).sum();
    let cents = buy.cents.zip(extra).map(|(last, extra)| last + extra);
    Stage::Done(PackingStage { supports, buy, temporary, cents })
}

/// Thickness as a whole number of hundredths of a millimetre, to count pieces by.
fn key(thickness: Length) -> i64 {
    (thickness.to_mm() * 100.0).round() as i64
}

fn on_the_way(job: &Job, passes: &Passes, buy: &BuyList) -> Vec<TemporaryPackers> {
    let mut most: BTreeMap<i64, u32> = BTreeMap::new();
    for pass in &passes.passes {
        let mut in_use: BTreeMap<i64, u32> = BTreeMap::new();
        for packing in &pass.packing {
            if let Choice::Stack(stack) = &packing.choice {
                for piece in &stack.pieces {
                    *in_use.entry(key(*piece)).or_default() += 1;
                }
            }
        }
        for (thickness, pieces) in in_use {
            let so_far = most.entry(thickness).or_default();
            *so_far = pieces.max(*so_far);
        }
    }
    job.stock
        .packers
        .iter()
        .filter_map(|packer| {
            let most_in_use = most.get(&key(packer.thickness)).copied()?;
            let bought: u32 = buy
                .lines
                .iter()
                .filter(|line| (line.thickness - packer.thickness).abs() < LENGTH_EPS)
                .map(|line| line.packs * packer.pack)
                .sum();
            let extra_packs = most_in_use.saturating_sub(bought).div_ceil(packer.pack.max(1));
            (extra_packs > 0).then(|| TemporaryPackers {
                thickness: packer.thickness,
                most_in_use,
                extra_packs,
                cents: packer.pack_price_cents.map(|price| price * u64::from(extra_packs)),
            })
        })
        .collect()
}
