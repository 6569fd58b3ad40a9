//! What a job's tables say.

mod about;
mod buying;
mod lifting;
mod passes;
mod record;
mod survey;

use crate::table::{Lengths, Sheet, Table};
use crate::{LeftOut, Source};
pub(crate) use about::facts;
use floorwright_engine::plan::{Stage, StageName};
use floorwright_engine::target::Outcome;
use floorwright_job::said::{reasons, stops, why};

/// Every table that there may be, in the order of the work.
pub const SHEETS: [&Sheet; 15] = [
    &about::ABOUT,
    &survey::READINGS,
    &survey::LEGS,
    &survey::LEVELS,
    &survey::READ_AGAIN,
    &survey::CRITERIA,
    &lifting::SUPPORTS,
    &passes::MOVES,
    &passes::STACKS,
    &buying::PACKERS,
    &buying::ORDER,
    &buying::PRICE,
    &record::LIFTED,
    &record::MOVEMENTS,
    &record::PROGRESS,
];

/// The tables of a job.
#[derive(Clone, Debug, PartialEq)]
pub struct Gathered {
    /// Those that have rows, in the order of [`SHEETS`].
    pub tables: Vec<Table>,
    /// What there is no table of, and why.
    pub left_out: Vec<LeftOut>,
}

/// Gathers the tables of a job.
pub fn tables(source: &Source<'_>, lengths: Lengths) -> Gathered {
    let mut left_out = Vec::new();
    let mut leave_out = |what: &'static str, why: String| left_out.push(LeftOut { what, why });
    let (plan, words) = (source.plan, source.words());
    let mut tables = survey::tables(source, lengths);
    match source.to_work_by() {
        Ok((left, n_done)) => of_lifts(&left, n_done, lengths, &mut tables, &mut leave_out),
        Err(why) => leave_out("lifts and moves", why),
    }
    match source.bill {
        Stage::Done(bill) if bill.unsettled.is_empty() => {
            tables.extend(buying::tables(source, bill, lengths));
        }
        Stage::Done(bill) => leave_out("order", reasons(&bill.unsettled, words)),
        other if other.reasons().is_empty() => {
            leave_out("order", why(plan, StageName::Packers, words))
        }
        other => leave_out("order", reasons(other.reasons(), words)),
    }
    match source.record {
        Stage::Done(record) => tables.extend(record::tables(source, record, lengths)),
        Stage::Stopped(found) => leave_out("record of the passes", reasons(found, words)),
        Stage::WaitsFor(stage) => {
            leave_out("record of the passes", format!("it waits for {stage}"));
        }
        Stage::NotAsked => {}
    }
    tables.insert(0, about::table(source, &left_out, lengths));
    tables.retain(|table| !table.rows.is_empty());
    Gathered { tables, left_out }
}

/// Lifts and moves, as far as they may be worked by.
fn of_lifts(
    left: &Source<'_>,
    n_done: usize,
    lengths: Lengths,
    tables: &mut Vec<Table>,
    leave_out: &mut impl FnMut(&'static str, String),
) {
    let (plan, words) = (left.plan, left.words());
    match plan.lifting.done().map(|lifting| &lifting.outcome) {
        Some(Outcome::Reached(reached)) => {
            tables.extend(lifting::table(left, reached, n_done > 0, lengths));
        }
        _ => leave_out("lifts", why(plan, StageName::Lift, words)),
    }
    let stops = stops(plan, words);
    if !stops.is_empty() {
        leave_out("moves", format!("not to be worked by: {}", stops.join("; ")));
    } else if plan.passes.done().is_some() {
        tables.extend(passes::tables(left, n_done, lengths));
    } else {
        leave_out("moves", why(plan, StageName::Passes, words));
    }
}
