//! The commands: each turns its arguments into a report.

pub mod books;
pub mod check;
pub mod demo;
pub mod export;
pub mod floor;
pub mod frame;
pub mod goal;
pub mod hose;
pub mod levels;
pub mod lift;
pub mod new;
pub mod order;
pub mod passes;
pub mod pictures;
pub mod record;
pub mod report;
pub mod serve;
pub mod stands;

use crate::report::Text;
use floorwright_engine::plan::{Plan, Stage, StageName};
use floorwright_job::said;
use floorwright_job::words::Words;

/// The result of a stage, or `None` after saying why there is none.
pub fn stage<'a, T>(
    text: &mut Text,
    plan: &Plan,
    name: StageName,
    stage: &'a Stage<T>,
    words: Words,
) -> Option<&'a T> {
    let (heading, reasons) = match stage {
        Stage::Done(result) => return Some(result),
        Stage::Stopped(reasons) => (format!("There is no answer for {name}"), &reasons[..]),
        Stage::NotAsked => (format!("{name}: not asked for"), &[][..]),
        Stage::WaitsFor(earlier) => (
            format!("There is no answer for {name} yet: it waits for {earlier}"),
            plan.reasons(*earlier),
        ),
    };
    text.heading(&heading);
    for reason in reasons {
        text.item("-", said::reason(reason, words));
    }
    None
}
