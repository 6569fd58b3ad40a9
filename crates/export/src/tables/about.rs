//! What the tables are of, and what everybody has to know who acts on them.

use crate::table::{Cell, Column, Holds, Lengths, Sheet, Table};
use crate::{LeftOut, Source};
use floorwright_draw::PROGRAM;
use floorwright_engine::plan::Stage;
use floorwright_job::cautions::{Loads, cautions};
use floorwright_job::said::{count, counted_from, fell_behind, fit, whole_order};

/// What the tables are of.
pub(crate) const ABOUT: Sheet = Sheet {
    name: "about",
    about: "What the tables are of, and what to know before anybody acts on them.",
    columns: &[
        Column::new("what", Holds::Words, "What is said"),
        Column::new("says", Holds::Words, "What it is"),
    ],
};

pub(super) fn table(source: &Source<'_>, left_out: &[LeftOut], lengths: Lengths) -> Table {
    let mut table = Table::new(&ABOUT, lengths);
    for (what, says) in facts(source) {
        table.row([Cell::words(what), Cell::words(says)]);
    }
    for LeftOut { what, why } in left_out {
        table.row([Cell::words(format!("No {what}")), Cell::words(why.clone())]);
    }
    table
}

/// What is said of a job: a stop first, then whose it is, then what it rests on.
pub(crate) fn facts(source: &Source<'_>) -> Vec<(&'static str, String)> {
    let (input, plan) = (source.input, source.plan);
    let mut facts: Vec<(&'static str, String)> =
        source.stops().into_iter().map(|stop| ("STOP: do not lift by this plan", stop)).collect();
    let mut say = |what: &'static str, says: Option<String>| {
        facts.extend(says.filter(|says| !says.is_empty()).map(|says| (what, says)));
    };
    say("Job", Some(input.name.clone()));
    say("For", input.client.clone());
    say("Address", input.address.clone());
    say("Survey of", input.date.clone());
    say("Made by", Some(PROGRAM.to_owned()));
    say("Data SHA-256", Some(source.data_sha256.to_owned()));
    say("Datum", Some(counted_from(source.job, source.words())));
    say(
        "Uncertainty",
        Some("Every ± is an expanded uncertainty with k = 2, about 95 %.".to_owned()),
    );
    say("How sure", Some(fit(&plan.reduction)));
    if let Some(lifting) = plan.lifting.done() {
        say("Goal", Some(lifting.target.from.clone()));
    }
    if let Ok((_, n_done @ 1..)) = source.to_work_by() {
        let left = format!(
            "{n_done} done. Supports, moves and stacks are what is left, by the readings after the last: they \
             come on top of what stands there.",
            n_done = count(n_done, "pass is", "passes are"),
        );
        say("Work has begun", Some(left));
    }
    if let Stage::Done(record) = source.record {
        for moved in record.did_not_follow() {
            say("Lift nothing further there", fell_behind(moved, source.words()));
        }
    }
    say("Order", whole_order(&input.done));
    for caution in cautions(Loads::of(plan)) {
        say("Before anybody lifts", Some((*caution).to_owned()));
    }
    for warning in source.warnings {
        say("Look at", Some(warning.to_string()));
    }
    for assumption in &input.assumptions {
        say("Taken for granted", Some(assumption.text.clone()));
    }
    facts
}
