//! The lift, the packers and the loads at each support.

use crate::Source;
use crate::table::{Cell, Column, Holds, Lengths, Rule, Sheet, Table};
use floorwright_engine::frame::{FrameState, SupportLoad};
use floorwright_engine::passes::JackRange;
use floorwright_engine::plan::SupportPacking;
use floorwright_engine::target::LiftPlan;
use floorwright_job::said::carrying;
use floorwright_job::words::{COVERAGE, stack_words};
use std::collections::BTreeMap;

/// Supports with their lifts, packers and loads.
pub(super) const SUPPORTS: Sheet = Sheet {
    name: "supports",
    about: "One row for each support, in the job's order; where work has begun, as the floor stands now.",
    columns: &[
        Column::new("support", Holds::Words, "The support"),
        Column::new("x", Holds::Length, "Where it stands on the plan, to the right"),
        Column::new("y", Holds::Length, "Where it stands on the plan, up the page"),
        Column::new("floor", Holds::Length, "Height of the floor over it today"),
        Column::new("target", Holds::Length, "The height that the floor is to have there"),
        Column::new("above_target", Holds::Length, "How far it stands above that, today")
            .by(Rule::Less("floor", "target")),
        Column::new("lift", Holds::Length, "What would bring it there; negative to let it down"),
        Column::new("plus_minus", Holds::Length, "Expanded uncertainty of that, k = 2"),
        Column::new("gap", Holds::Length, "Air between support and bearer today"),
        Column::new("wanted", Holds::Length, "What is to be packed: lift and gap"),
        Column::new("packers", Holds::Words, "The pieces of the stack that stays, thickest first"),
        Column::new("packing", Holds::Length, "Their thickness together"),
        Column::new("packing_over", Holds::Length, "Packed less wanted")
            .by(Rule::Less("packing", "wanted")),
        Column::new("gives", Holds::Length, "The lift that these packers give"),
        Column::new("stays", Holds::Words, "Why it may not be moved"),
        Column::new("read_again_first", Holds::Words, "Points near it whose readings are in doubt"),
        Column::new("read_right_here", Holds::YesNo, "Whether a reading was taken right over it"),
        Column::new("today_least", Holds::Force, "What it carries today, at least"),
        Column::new("today_most", Holds::Force, "What it carries today, at most"),
        Column::new("today", Holds::Words, "Whether it carries today"),
        Column::new("after_least", Holds::Force, "What it carries when all is packed, at least"),
        Column::new("after_most", Holds::Force, "What it carries when all is packed, at most"),
        Column::new("after", Holds::Words, "Whether it carries then"),
        Column::new(
            "jack_least",
            Holds::Force,
            "The most that a jack there pushes in the passes, at least",
        ),
        Column::new(
            "jack_most",
            Holds::Force,
            "The most that a jack there pushes in the passes, at most",
        ),
        Column::new("note", Holds::Words, "What the job notes of it"),
    ],
};

/// Least, most and a word; nothing where the frame rocks.
fn carried(state: Option<&FrameState>, support: usize) -> [Cell; 3] {
    let load = state.filter(|state| !state.rocks).and_then(|state| state.supports.get(support));
    let range = |load: &SupportLoad| (load.range.least, load.range.most);
    let (least, most) = load.map(range).unzip();
    let word = load.map_or("", |load| carrying(load.carrying));
    [Cell::force(least), Cell::force(most), Cell::words(word)]
}

/// The table; where work has begun, the lifts are those that are left, and the gaps of the job are filled.
pub(super) fn table(
    source: &Source<'_>,
    reached: &LiftPlan,
    has_begun: bool,
    lengths: Lengths,
) -> Option<Table> {
    let (plan, words) = (source.plan, source.words());
    let lifting = plan.lifting.done()?;
    let mut table = Table::new(&SUPPORTS, lengths);
    let packing = plan.packing.done();
    let stacks: BTreeMap<_, &SupportPacking> = packing
        .iter()
        .flat_map(|packing| &packing.supports)
        .map(|packed| (&packed.support, packed))
        .collect();
    let today = plan.frame.done().map(|frame| &frame.today);
    let after = packing.and_then(|packing| packing.carried.as_ref());
    let check = plan.passes.done().and_then(|stage| stage.on_frame.as_ref());
    let jacks: BTreeMap<_, &JackRange> =
        check.iter().flat_map(|one| &one.check.jacks).map(|jack| (&jack.support, jack)).collect();
    for (idx, (support, facts)) in
        source.job.site.supports().iter().zip(&lifting.supports).enumerate()
    {
        let packed = stacks.get(&support.id).copied();
        let stack = packed.and_then(|packed| packed.stack.as_ref());
        let gives = packing.filter(|_| packed.is_none_or(|packed| packed.stack.is_some()));
        let in_doubt: Vec<String> = facts.in_doubt.iter().map(ToString::to_string).collect();
        let jack = jacks.get(&support.id);
        let note = source.input.support_details.get(idx).and_then(|detail| detail.note.clone());
        let mut row = vec![
            Cell::words(support.id.to_string()),
            table.length(support.at.x),
            table.length(support.at.y),
            table.level(facts.floor),
            table.level(reached.outcome.plane.at(support.at)),
            table.length(reached.outcome.lifts.get(idx).map(|lift| lift.lift)),
            table.length(facts.sd.map(|sd| sd * COVERAGE)),
            table.length((!has_begun).then_some(support.gap)),
            table.length(packed.map(|packed| packed.wanted)),
            Cell::words(stack.map_or(String::new(), |stack| stack_words(&stack.pieces, words))),
            table.length(stack.map(|stack| stack.thickness)),
            table.length(gives.and_then(|packing| packing.lifts.get(idx)).copied()),
            Cell::words(facts.held.clone().unwrap_or_default()),
            Cell::words(in_doubt.join(", ")),
            Cell::YesNo(!facts.between_readings && facts.floor.is_some()),
        ];
        row.extend(carried(today, idx));
        row.extend(carried(after, idx));
        row.push(Cell::force(jack.map(|jack| jack.least)));
        row.push(Cell::force(jack.map(|jack| jack.most)));
        row.push(Cell::words(note.unwrap_or_default()));
        table.row(row);
    }
    Some(table)
}
