//! The stage from packed lifts to passes, with the packers that are only needed on the way.

use super::{Job, LiftingStage, PackingStage, Stage, StopReason};
use crate::ids::SupportId;
use crate::packers::{Choice, Stack, StackTable};
use crate::passes::{Passes, SupportToLift, plan};
use crate::units::{LENGTH_EPS, Length};
use serde::Serialize;
use std::collections::BTreeMap;

/// The passes, and what they need beyond the packers that stay.
#[derive(Clone, Debug, Serialize)]
pub struct PassesStage {
    /// The order of moves.
    pub passes: Passes,
    /// Packers that are needed on the way only.
    pub temporary: Vec<TemporaryPackers>,
    /// Cost of all packers, those that stay included, in whole cents; `None` without every price.
    pub cents: Option<u64>,
}

/// Packers that are only needed on the way.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct TemporaryPackers {
    /// How thick.
    pub thickness: Length,
    /// Most pieces in use after any pass.
    pub most_in_use: u32,
    /// Packs to buy beyond those for the stacks that stay.
    pub extra_packs: u32,
    /// What those cost in whole cents, if the price is known.
    pub cents: Option<u64>,
}

/// Lays out the passes for the lifts that the stacks give.
pub(super) fn passes(
    job: &Job,
    lifting: &LiftingStage,
    packing: &PackingStage,
    table: &StackTable,
) -> Stage<PassesStage> {
    let supports: Vec<SupportToLift> = job
        .site
        .supports()
        .iter()
        .zip(&lifting.supports)
        .zip(&packing.lifts)
        .filter_map(|((support, facts), &lift)| {
            Some(SupportToLift {
                id: support.id.clone(),
                at: support.at,
                seat: facts.floor?,
                deck: facts.deck?,
                gap: support.gap,
                lift,
            })
        })
        .collect();
    match plan(&supports, &job.limits, table) {
        Ok(mut passes) => {
            end_on_what_stays(&mut passes, &supports, packing);
            let temporary = on_the_way(job, &passes, packing);
            let extra: Option<u64> = temporary.iter().map(|extra| extra.cents).sum();
            let cents = packing.buy.cents.zip(extra).map(|(stay, extra)| stay + extra);
            Stage::Done(PassesStage { passes, temporary, cents })
        }
        Err(faults) => Stage::Stopped(faults.into_iter().map(StopReason::bare).collect()),
    }
}

/// Once a support has its whole lift, its stack is the one that was chosen to stay.
fn end_on_what_stays(passes: &mut Passes, supports: &[SupportToLift], packing: &PackingStage) {
    let staying: BTreeMap<&SupportId, &Stack> = packing
        .supports
        .iter()
        .filter_map(|packed| Some((&packed.support, packed.stack.as_ref()?)))
        .collect();
    let whole: BTreeMap<&SupportId, Length> =
        supports.iter().map(|support| (&support.id, support.gap + support.lift)).collect();
    let passing = passes.passes.iter_mut().flat_map(|pass| &mut pass.packing);
    for packed in passing.chain(&mut passes.packing_at_start) {
        let is_whole = whole
            .get(&packed.support)
            .is_some_and(|whole| (*whole - packed.wanted).abs() < LENGTH_EPS);
        if let (true, Some(stack)) = (is_whole, staying.get(&packed.support)) {
            packed.choice = Choice::Stack((*stack).clone());
        }
    }
}

/// Thickness as a whole number of hundredths of a millimetre, to count pieces by.
fn key(thickness: Length) -> i64 {
    (thickness.to_mm() * 100.0).round() as i64
}

fn on_the_way(job: &Job, passes: &Passes, packing: &PackingStage) -> Vec<TemporaryPackers> {
    let mut in_use: BTreeMap<&SupportId, &[Length]> = BTreeMap::new();
    let mut most: BTreeMap<i64, u32> = BTreeMap::new();
    let rounds =
        std::iter::once(&passes.packing_at_start).chain(passes.passes.iter().map(|p| &p.packing));
    for round in rounds {
        for packed in round {
            if let Choice::Stack(stack) = &packed.choice {
                in_use.insert(&packed.support, &stack.pieces);
            }
        }
        let mut count: BTreeMap<i64, u32> = BTreeMap::new();
        for piece in in_use.values().flat_map(|pieces| pieces.iter()) {
            *count.entry(key(*piece)).or_default() += 1;
        }
        for (thickness, pieces) in count {
            let so_far = most.entry(thickness).or_default();
            *so_far = pieces.max(*so_far);
        }
    }
    job.stock
        .packers
        .iter()
        .filter_map(|packer| {
            let most_in_use = most.get(&key(packer.thickness)).copied()?;
            let bought: u32 = packing
                .buy
                .lines
                .iter()
                .filter(|line| key(line.thickness) == key(packer.thickness))
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
