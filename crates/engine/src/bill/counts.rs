//! What a plan needs, counted, with where each count comes from.

use crate::ids::{SetupId, SupportId};
use crate::packers::{Choice, HeightAdvice, Packing};
use crate::plan::{Job, PackingStage, PassesStage, SupportPacking};
use crate::units::{Force, Length};
use std::collections::{BTreeMap, BTreeSet};

/// A thickness as a whole number of hundredths of a millimetre, to count by.
pub(super) fn key(thickness: Length) -> i64 {
    (thickness.to_mm() * 100.0).round() as i64
}

/// For each thickness, the pass after which most pieces are in use, and how many.
pub(super) type MostInUse = BTreeMap<i64, (usize, u32)>;

/// The move in which most jacks push together.
pub(super) struct Together {
    pub(super) pass: usize,
    pub(super) step: usize,
    pub(super) supports: Vec<SupportId>,
}

/// What a plan needs.
pub(super) struct Counts<'a> {
    pub(super) packing: &'a PackingStage,
    pub(super) passes: Option<&'a PassesStage>,
    /// Supports whose stack has pieces in it.
    pub(super) packed: Vec<SupportId>,
    /// Supports that would stand on too much packing.
    pub(super) taller: Vec<&'a SupportPacking>,
    /// For each thickness, the pieces of the stacks that stay.
    pub(super) staying: BTreeMap<i64, Vec<(SupportId, u32)>>,
    /// For each thickness, when most pieces are in use, and how many.
    pub(super) most_in_use: MostInUse,
    /// Stacks changed: pass and number.
    pub(super) changes: Vec<(usize, u32)>,
    /// Moves: pass and number.
    pub(super) moves: Vec<(usize, u32)>,
    pub(super) together: Option<Together>,
    /// Setups of the survey and how many readings each has.
    pub(super) setups: Vec<(SetupId, u32)>,
    /// What the hardest pushed jack pushes, and the rating that each needs.
    pub(super) jack: (Option<Force>, Option<Force>),
}

impl<'a> Counts<'a> {
    pub(super) fn of(
        job: &Job,
        packing: &'a PackingStage,
        passes: Option<&'a PassesStage>,
    ) -> Self {
        let (most_in_use, changes) = passes.map(in_use).unwrap_or_default();
        let check = passes.and_then(|passes| Some(&passes.on_frame.as_ref()?.check));
        let of_setup = |setup: &crate::survey::Setup| {
            (setup.id.clone(), u32::try_from(setup.readings.len()).unwrap_or(u32::MAX))
        };
        Self {
            packed: packed(packing),
            taller: packing
                .supports
                .iter()
                .filter(|packed| packed.advice == HeightAdvice::TallerSupport)
                .collect(),
            staying: staying(packing),
            most_in_use,
            changes,
            moves: passes.map(moves).unwrap_or_default(),
            together: passes.and_then(together),
            setups: job.survey.setups.iter().map(of_setup).collect(),
            jack: (
                check.and_then(|check| Some(check.peaks.jack.as_ref()?.most)),
                check.and_then(|check| check.rating_needed),
            ),
            packing,
            passes,
        }
    }

    /// Counts the supports that another packing packs among the packed ones, in the site's order.
    pub(super) fn pack_too(&mut self, job: &Job, other: &PackingStage) {
        let mine: BTreeSet<SupportId> = self.packed.drain(..).chain(packed(other)).collect();
        let ids = job.site.supports().iter().map(|support| &support.id);
        self.packed = ids.filter(|id| mine.contains(*id)).cloned().collect();
    }

    /// How many passes there are.
    pub(super) fn n_passes(&self) -> u32 {
        self.passes.map_or(0, |stage| stage.passes.passes.len() as u32)
    }
}

fn packed(packing: &PackingStage) -> Vec<SupportId> {
    let has_pieces = |packed: &&SupportPacking| {
        packed.stack.as_ref().is_some_and(|stack| !stack.pieces.is_empty())
    };
    packing.supports.iter().filter(has_pieces).map(|packed| packed.support.clone()).collect()
}

fn staying(packing: &PackingStage) -> BTreeMap<i64, Vec<(SupportId, u32)>> {
    let mut staying: BTreeMap<i64, Vec<(SupportId, u32)>> = BTreeMap::new();
    for packed in &packing.supports {
        let mut counts: BTreeMap<i64, u32> = BTreeMap::new();
        for piece in packed.stack.iter().flat_map(|stack| &stack.pieces) {
            *counts.entry(key(*piece)).or_default() += 1;
        }
        for (thickness, pieces) in counts {
            staying.entry(thickness).or_default().push((packed.support.clone(), pieces));
        }
    }
    staying
}

/// For each thickness the pass with most pieces in use, and how many stacks each pass changes.
fn in_use(stage: &PassesStage) -> (MostInUse, Vec<(usize, u32)>) {
    let passes = &stage.passes;
    let rounds = std::iter::once((0, &passes.packing_at_start))
        .chain(passes.passes.iter().map(|pass| (pass.number, &pass.packing)));
    let mut under: BTreeMap<&SupportId, &[Length]> = BTreeMap::new();
    let mut most = MostInUse::new();
    let mut changes = Vec::new();
    for (number, round) in rounds {
        let mut changed = 0;
        for Packing { support, choice, .. } in round {
            let Choice::Stack(stack) = choice else { continue };
            let before = under.insert(support, &stack.pieces);
            changed += u32::from(before.unwrap_or_default() != stack.pieces);
        }
        if changed > 0 {
            changes.push((number, changed));
        }
        let mut counts: BTreeMap<i64, u32> = BTreeMap::new();
        for piece in under.values().flat_map(|pieces| pieces.iter()) {
            *counts.entry(key(*piece)).or_default() += 1;
        }
        for (thickness, pieces) in counts {
            let so_far = most.entry(thickness).or_default();
            if pieces > so_far.1 {
                *so_far = (number, pieces);
            }
        }
    }
    (most, changes)
}

fn moves(stage: &PassesStage) -> Vec<(usize, u32)> {
    let of_pass = |pass: &crate::passes::Pass| (pass.number, pass.moves.len() as u32);
    stage.passes.passes.iter().map(of_pass).filter(|(_, moves)| *moves > 0).collect()
}

/// The first of the moves with most supports in it.
fn together(stage: &PassesStage) -> Option<Together> {
    let mut found: Option<Together> = None;
    for pass in &stage.passes.passes {
        for (step, one) in pass.moves.iter().enumerate() {
            if found.as_ref().is_none_or(|most| one.supports.len() > most.supports.len()) {
                let supports = one.supports.iter().map(|part| part.support.clone()).collect();
                found = Some(Together { pass: pass.number, step: step + 1, supports });
            }
        }
    }
    found
}
