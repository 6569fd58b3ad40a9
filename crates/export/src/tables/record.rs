//! What was done, and what came of it.

use crate::Source;
use crate::table::{Cell, Column, Holds, Lengths, Rule, Sheet, Table};
use floorwright_engine::record::{Comparison, Record, Since};
use floorwright_job::said::followed;
use floorwright_job::words::{COVERAGE, stack_words};

/// Passes as they were done.
pub(super) const LIFTED: Sheet = Sheet {
    name: "lifted",
    about: "One row for each support in each pass, as it was noted.",
    columns: &[
        Column::new("pass", Holds::Count, "The pass, from 1"),
        Column::new("date", Holds::Words, "The day"),
        Column::new("by", Holds::Words, "Who did it"),
        Column::new("support", Holds::Words, "The support"),
        Column::new("lift", Holds::Length, "How far its bearer went up, as measured there"),
        Column::new("packers", Holds::Words, "The stack that stands there afterwards"),
    ],
};

/// Predicted against measured movement.
pub(super) const MOVEMENTS: Sheet = Sheet {
    name: "movements",
    about: "One row for each support and survey after a pass: what it should have done and did.",
    columns: &[
        Column::new("since", Holds::Words, "The earlier survey"),
        Column::new("after_pass", Holds::Count, "The pass that the later survey was read after"),
        Column::new("support", Holds::Words, "The support"),
        Column::new("lifted", Holds::Length, "What was lifted there in between"),
        Column::new("predicted", Holds::Length, "How far the floor over it should have gone up"),
        Column::new("measured", Holds::Length, "How far it went up by the readings"),
        Column::new("difference", Holds::Length, "Measured less predicted")
            .by(Rule::Less("measured", "predicted")),
        Column::new("plus_minus", Holds::Length, "Expanded uncertainty of that, k = 2"),
        Column::new("guard", Holds::Length, "Beyond this it is called out"),
        Column::new("came_of_it", Holds::Words, "Whether it followed"),
    ],
};

/// What is done and left.
pub(super) const PROGRESS: Sheet = Sheet {
    name: "progress",
    about: "One row for each support: planned, done, left.",
    columns: &[
        Column::new("support", Holds::Words, "The support"),
        Column::new("planned", Holds::Length, "What the plan lifts in all"),
        Column::new("done", Holds::Length, "What was lifted so far"),
        Column::new("left", Holds::Length, "Planned less done").by(Rule::Less("planned", "done")),
        Column::new("packers", Holds::Words, "The stack that stands there, as last noted"),
        Column::new(
            "fell_behind_in_pass",
            Holds::Count,
            "After which pass its floor had not followed",
        ),
    ],
};

pub(super) fn tables(source: &Source<'_>, record: &Record, lengths: Lengths) -> Vec<Table> {
    let words = source.words();
    let pass = |pass: u32| Cell::Number(f64::from(pass));
    let mut lifted = Table::new(&LIFTED, lengths);
    for done in &record.passes {
        for one in &done.lifted {
            let pieces = one.packers.as_ref().map(|pieces| stack_words(pieces, words));
            let row = [
                pass(done.number),
                Cell::words(done.date.clone().unwrap_or_default()),
                Cell::words(done.by.clone().unwrap_or_default()),
                Cell::words(one.support.to_string()),
                lifted.length(one.lift),
                Cell::words(pieces.unwrap_or_default()),
            ];
            lifted.row(row);
        }
    }
    let mut movements = Table::new(&MOVEMENTS, lengths);
    for step in &record.steps {
        step_rows(&mut movements, step);
    }
    let mut progress = Table::new(&PROGRESS, lengths);
    for support in &record.supports {
        let pieces = support.packers.as_ref().map(|pieces| stack_words(pieces, words));
        let row = [
            Cell::words(support.support.to_string()),
            progress.length(support.planned),
            progress.length(support.done),
            Cell::words(pieces.unwrap_or_default()),
            support.fell_behind.map_or(Cell::Nothing, pass),
        ];
        progress.row(row);
    }
    vec![lifted, movements, progress]
}

fn step_rows(table: &mut Table, step: &Comparison) {
    let since = match step.since {
        Since::Start => "before the work".to_owned(),
        Since::Pass(pass) => format!("after pass {pass}"),
    };
    for moved in &step.supports {
        let found = moved.difference.as_ref();
        let row = [
            Cell::words(since.clone()),
            Cell::Number(f64::from(step.after_pass)),
            Cell::words(moved.support.to_string()),
            table.length(moved.lifted),
            table.length(found.map(|found| found.predicted)),
            table.length(found.map(|found| found.measured)),
            table.length(found.map(|found| found.sd * COVERAGE)),
            table.length(found.map(|found| found.guard)),
            Cell::words(
                found.map_or("floor not read both times", |found| followed(found.followed)),
            ),
        ];
        table.row(row);
    }
}
