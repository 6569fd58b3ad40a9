//! The moves of every pass, and the stacks after each.

use crate::Source;
use crate::table::{Cell, Column, Holds, Lengths, Rule, Sheet, Table};
use floorwright_engine::packers::{Choice, Packing};
use floorwright_job::not_yet::{WATCH, not_yet, watched_moves};
use floorwright_job::words::stack_words;

/// Moves, a support each.
pub(super) const MOVES: Sheet = Sheet {
    name: "moves",
    about: "One row for each support in each move; the rows of one move go together.",
    columns: &[
        Column::new("pass", Holds::Count, "The pass, counted from the beginning of the work"),
        Column::new("move", Holds::Count, "The move in it, from 1"),
        Column::new("support", Holds::Words, "The support"),
        Column::new("way", Holds::Words, "Up or down"),
        Column::new("from", Holds::Length, "Lift before the move, since the start of this plan"),
        Column::new("to", Holds::Length, "Lift after it, since the start of this plan"),
        Column::new("rise", Holds::Length, "What the move adds").by(Rule::Less("to", "from")),
        Column::new("jack_least", Holds::Force, "The most that the jack pushes in it, at least"),
        Column::new("jack_most", Holds::Force, "The most that the jack pushes in it, at most"),
        Column::new(
            "look_out",
            Holds::Words,
            "Why not to lift here yet, or what to watch in this move",
        ),
    ],
};

/// Stacks after each pass.
pub(super) const STACKS: Sheet = Sheet {
    name: "stacks",
    about: "One row for each stack that is put in or changed: pass 0 is before the first; where work has begun, on top of what stands there.",
    columns: &[
        Column::new("pass", Holds::Count, "The pass that it is put in after"),
        Column::new("support", Holds::Words, "The support"),
        Column::new("wanted", Holds::Length, "Air at the start of this plan and lift since"),
        Column::new("packers", Holds::Words, "The pieces, thickest first"),
        Column::new("packing", Holds::Length, "Their thickness together"),
        Column::new("packing_over", Holds::Length, "Packed less wanted")
            .by(Rule::Less("packing", "wanted")),
    ],
};

pub(super) fn tables(source: &Source<'_>, n_done: usize, lengths: Lengths) -> Vec<Table> {
    let Some(stage) = source.plan.passes.done() else { return Vec::new() };
    let mut moves = Table::new(&MOVES, lengths);
    let mut stacks = Table::new(&STACKS, lengths);
    let checks = stage.on_frame.as_ref().map_or(&[][..], |on_frame| &on_frame.check.passes);
    let not_yet = not_yet(source.plan, source.record);
    let watched = watched_moves(source.plan, source.words());
    for packing in &stage.passes.packing_at_start {
        stack(source, &mut stacks, n_done, packing);
    }
    for (pass_idx, pass) in stage.passes.passes.iter().enumerate() {
        for (move_idx, together) in pass.moves.iter().enumerate() {
            let check = checks.get(pass_idx).and_then(|check| check.moves.get(move_idx));
            let watch: Vec<String> = watched
                .iter()
                .filter(|one| (one.pass, one.move_in_pass) == (pass.number, move_idx + 1))
                .map(|one| format!("{WATCH} {}", one.said))
                .collect();
            for moved in &together.supports {
                let not_yet = not_yet.get(&moved.support);
                let not_yet = not_yet.map(|why| format!("{} {}", why.mark(), why.said()));
                let look_out: Vec<String> =
                    not_yet.into_iter().chain(watch.iter().cloned()).collect();
                let jacks =
                    check.filter(|check| !check.rocks).map_or(&[][..], |check| &check.jacks);
                let jack = jacks.iter().find(|jack| jack.support == moved.support);
                let row = [
                    Cell::count(n_done + pass.number),
                    Cell::count(move_idx + 1),
                    Cell::words(moved.support.to_string()),
                    Cell::words(if together.lowering { "down" } else { "up" }),
                    moves.length(moved.from),
                    moves.length(moved.to),
                    Cell::force(jack.map(|jack| jack.least)),
                    Cell::force(jack.map(|jack| jack.most)),
                    Cell::words(look_out.join("; ")),
                ];
                moves.row(row);
            }
        }
        for packing in &pass.packing {
            stack(source, &mut stacks, n_done + pass.number, packing);
        }
    }
    vec![moves, stacks]
}

fn stack(source: &Source<'_>, table: &mut Table, pass: usize, packing: &Packing) {
    let stack = match &packing.choice {
        Choice::Stack(stack) => Some(stack),
        Choice::Unreachable { .. } => None,
    };
    let pieces = stack.map_or("no stack within the tolerance".to_owned(), |stack| {
        stack_words(&stack.pieces, source.words())
    });
    let row = [
        Cell::count(pass),
        Cell::words(packing.support.to_string()),
        table.length(packing.wanted),
        Cell::words(pieces),
        table.length(stack.map(|stack| stack.thickness)),
    ];
    table.row(row);
}
