//! What was read, the levels that come of it, and what the floor is held against.

use crate::Source;
use crate::table::{Cell, Column, Holds, Lengths, Rule, Sheet, Table};
use floorwright_engine::ids::PointId;
use floorwright_engine::site::{Point, PointKind};
use floorwright_engine::survey::{Observation, ObservationSource, Reading, Setup};
use floorwright_engine::target::PointOutcome;
use floorwright_engine::units::{Length, Level};
use floorwright_engine::verdict::{Finding, Outcome};
use floorwright_job::said::{answer, read_again};
use floorwright_job::words::COVERAGE;
use std::collections::BTreeMap;

const RESIDUAL: Rule = Rule::Less("adjusted", "reading");

/// Every reading against the others.
pub(super) const READINGS: Sheet = Sheet {
    name: "readings",
    about: "One row for each reading, in the order of the setups; struck ones at the end.",
    columns: &[
        Column::new("point", Holds::Words, "Where the staff stood"),
        Column::new("setup", Holds::Words, "What it was read from"),
        Column::new("time", Holds::Minutes, "When it was read, counted as the job counts"),
        Column::new("reading", Holds::Length, "What was read on the staff"),
        Column::new("upside_down", Holds::YesNo, "The staff hung foot up, against a soffit"),
        Column::new("sd", Holds::Length, "Standard deviation that the reading is weighed with"),
        Column::new(
            "adjusted",
            Holds::Length,
            "What all readings together say it should have been",
        ),
        Column::new("residual", Holds::Length, "Adjusted less read").by(RESIDUAL),
        Column::new(
            "w",
            Holds::Number,
            "Residual in its own standard deviations: beyond 3.3 it is suspect",
        ),
        Column::new(
            "smallest_found",
            Holds::Length,
            "The smallest misreading that would be found here",
        ),
        Column::new("checked", Holds::YesNo, "Whether any other reading checks it"),
        Column::new("struck", Holds::Words, "Why it is struck out and not used"),
        Column::new("written", Holds::Words, "File and line that it was written in"),
        Column::new(
            "after_pass",
            Holds::Count,
            "The pass that it was read after; 0 before the work",
        ),
    ],
};

/// Every leg against the others.
pub(super) const LEGS: Sheet = Sheet {
    name: "legs",
    about: "One row for each difference of height that was measured elsewhere.",
    columns: &[
        Column::new("from", Holds::Words, "Where it starts"),
        Column::new("to", Holds::Words, "Where it ends"),
        Column::new("reading", Holds::Length, "Height of the end above the start, as measured"),
        Column::new("sd", Holds::Length, "Standard deviation that it is weighed with"),
        Column::new("adjusted", Holds::Length, "What everything together says it should have been"),
        Column::new("residual", Holds::Length, "Adjusted less measured").by(RESIDUAL),
        Column::new("w", Holds::Number, "Residual in its own standard deviations"),
        Column::new("smallest_found", Holds::Length, "The smallest error that would be found here"),
        Column::new("checked", Holds::YesNo, "Whether anything else checks it"),
    ],
};

/// Levels before and after.
pub(super) const LEVELS: Sheet = Sheet {
    name: "levels",
    about: "One row for each point with a level: today, once work has begun by the readings after the last pass.",
    columns: &[
        Column::new("point", Holds::Words, "The point"),
        Column::new("kind", Holds::Words, "What it stands on"),
        Column::new("x", Holds::Length, "Where it is on the plan, to the right"),
        Column::new("y", Holds::Length, "Where it is on the plan, up the page"),
        Column::new("level", Holds::Length, "Its height above the datum"),
        Column::new(
            "plus_minus",
            Holds::Length,
            "Expanded uncertainty of that, k = 2; 0 if it is held",
        ),
        Column::new("readings", Holds::Count, "How often it was read"),
        Column::new("in_doubt", Holds::YesNo, "To be read again before anything is built on it"),
        Column::new("target", Holds::Length, "The height that the floor is to have there"),
        Column::new("above_target", Holds::Length, "How far it stands above that, today")
            .by(Rule::Less("level", "target")),
        Column::new("after", Holds::Length, "Its height when all is packed, as predicted"),
        Column::new("rise", Holds::Length, "How far it goes up").by(Rule::Less("after", "level")),
        Column::new("after_above_target", Holds::Length, "How far it then stands above the target")
            .by(Rule::Less("after", "target")),
    ],
};

/// What to read again.
pub(super) const READ_AGAIN: Sheet = Sheet {
    name: "read-again",
    about: "What to read again, the most useful first.",
    columns: &[
        Column::new("number", Holds::Count, "In this order"),
        Column::new("what", Holds::Words, "What, and why"),
    ],
};

/// The floor against criteria.
pub(super) const CRITERIA: Sheet = Sheet {
    name: "criteria",
    about: "One row for each criterion and part of the floor that it was held against.",
    columns: &[
        Column::new("criterion", Holds::Words, "What is asked"),
        Column::new("kind", Holds::Words, "What sort of rule it is"),
        Column::new("part", Holds::Words, "Which part of the floor"),
        Column::new("answer", Holds::Words, "Whether that part meets it"),
        Column::new("value", Holds::Length, "What decides: a difference of height, without sign"),
        Column::new("plus_minus", Holds::Length, "Expanded uncertainty of that, k = 2"),
        Column::new("limit", Holds::Length, "The most that it may be"),
        Column::new("left", Holds::Length, "What is left of the limit")
            .by(Rule::Less("limit", "value")),
        Column::new("found", Holds::Words, "The same in words, or why there is no answer"),
        Column::new("source", Holds::Words, "Who says so"),
    ],
};

pub(super) fn tables(source: &Source<'_>, lengths: Lengths) -> Vec<Table> {
    vec![
        readings(source, lengths),
        legs(source, lengths),
        levels(source, lengths),
        again(source, lengths),
        criteria(source, lengths),
    ]
}

/// Standard deviation, what it should have been, and the figures of its check.
fn against_others(table: &Table, observed: Length, observation: &Observation) -> [Cell; 5] {
    let check = observation.control.check();
    [
        table.length(observation.sd),
        table.length(observed + observation.residual),
        check.map_or(Cell::Nothing, |check| Cell::Number(crate::table::rounded(check.w, 3))),
        table.length(check.map(|check| check.smallest_detectable)),
        Cell::YesNo(check.is_some()),
    ]
}

fn readings(source: &Source<'_>, lengths: Lengths) -> Table {
    let mut table = Table::new(&READINGS, lengths);
    let setups = &source.job.survey.setups;
    for observation in &source.plan.reduction.observations {
        let ObservationSource::Reading { setup, reading } = observation.source else { continue };
        let setup = &setups[setup];
        one_reading(&mut table, 0, (setup, &setup.readings[reading]), Some(observation));
    }
    // Those after a pass; what the last of them should have been, the plan for what is left tells.
    let latest = source.to_work_by().ok().filter(|(_, n_done)| *n_done > 0);
    for again in &source.input.done.again {
        let latest = latest.filter(|(_, n_done)| *n_done == again.after_pass as usize);
        let observations = latest.map_or(&[][..], |(left, _)| &left.plan.reduction.observations);
        for (setup_idx, setup) in again.setups.iter().enumerate() {
            for (idx, reading) in setup.readings.iter().enumerate() {
                let of_it = ObservationSource::Reading { setup: setup_idx, reading: idx };
                let observation = observations.iter().find(|one| one.source == of_it);
                one_reading(&mut table, again.after_pass, (setup, reading), observation);
            }
        }
    }
    for struck in &source.input.struck {
        let place = struck.place.as_ref();
        let mut row = vec![
            Cell::words(struck.point.clone()),
            Cell::words(struck.setup.to_string()),
            Cell::Nothing,
            table.length(struck.value.map(|value| value.to_length())),
        ];
        row.resize(READINGS.columns.len() - 4, Cell::Nothing);
        row.push(Cell::words(struck.why.clone()));
        row.push(place.map_or(Cell::Nothing, |at| Cell::words(format!("{}:{}", at.file, at.line))));
        table.row(row);
    }
    table
}

fn one_reading(
    table: &mut Table,
    after_pass: u32,
    (setup, reading): (&Setup, &Reading),
    observation: Option<&Observation>,
) {
    let observed = reading.value.to_length();
    let [sd, adjusted, w, smallest, checked] = match observation {
        Some(observation) => against_others(table, observed, observation),
        None => [Cell::Nothing, Cell::Nothing, Cell::Nothing, Cell::Nothing, Cell::Nothing],
    };
    let minutes = reading.time.map(|time| crate::table::rounded(time.to_minutes(), 3));
    let place = reading.place.as_ref();
    let row = [
        Cell::words(reading.point.to_string()),
        Cell::words(setup.id.to_string()),
        minutes.map_or(Cell::Nothing, Cell::Number),
        table.length(observed),
        Cell::YesNo(reading.inverted),
        sd,
        adjusted,
        w,
        smallest,
        checked,
        Cell::Nothing,
        place.map_or(Cell::Nothing, |at| Cell::words(format!("{}:{}", at.file, at.line))),
        Cell::count(after_pass as usize),
    ];
    table.row(row);
}

fn legs(source: &Source<'_>, lengths: Lengths) -> Table {
    let mut table = Table::new(&LEGS, lengths);
    for observation in &source.plan.reduction.observations {
        let ObservationSource::Leg { leg } = observation.source else { continue };
        let leg = &source.job.survey.legs[leg];
        let observed = leg.rise.to_length();
        let names = [Cell::words(leg.from.to_string()), Cell::words(leg.to.to_string())];
        let against = against_others(&table, observed, observation);
        let row = names.into_iter().chain([table.length(observed)]).chain(against);
        table.row(row.collect::<Vec<_>>());
    }
    table
}

/// Once work has begun, by the readings after the last pass, as supports and moves are.
fn levels(source: &Source<'_>, lengths: Lengths) -> Table {
    let left = source.to_work_by();
    let plan = left.as_ref().map_or(source.plan, |(left, _)| left.plan);
    let mut table = Table::new(&LEVELS, lengths);
    let mut n_readings: BTreeMap<&PointId, usize> = BTreeMap::new();
    for point in plan.reduction.observations.iter().filter_map(|one| one.name.point()) {
        *n_readings.entry(point).or_default() += 1;
    }
    let doubted = plan.points_in_doubt();
    let asked = plan.lifting.done().and_then(|lifting| lifting.now.as_ref());
    let targets: BTreeMap<&PointId, &PointOutcome> =
        asked.iter().flat_map(|now| &now.points).map(|point| (&point.id, point)).collect();
    let packed = plan.packing.done().filter(|packing| packing.cannot.is_empty());
    let after: BTreeMap<&PointId, Level> =
        packed.iter().flat_map(|packing| &packing.after).map(|(id, level)| (id, *level)).collect();
    for (idx, level) in plan.reduction.levels.points().iter().enumerate() {
        let point = source.job.site.point(&level.point);
        let at = point.and_then(|point| point.at);
        let row = [
            Cell::words(level.point.to_string()),
            Cell::words(point.map_or("", kind)),
            table.length(at.map(|at| at.x)),
            table.length(at.map(|at| at.y)),
            table.level(level.level),
            table.length(plan.reduction.levels.sd(idx) * COVERAGE),
            Cell::count(n_readings.get(&level.point).copied().unwrap_or(0)),
            Cell::YesNo(doubted.contains(&level.point)),
            table.level(targets.get(&level.point).map(|point| point.target)),
            table.level(after.get(&level.point).copied()),
        ];
        table.row(row);
    }
    table
}

fn kind(point: &Point) -> &'static str {
    match point.kind {
        PointKind::Floor => "floor",
        PointKind::Benchmark => "benchmark",
        PointKind::Threshold => "threshold",
        PointKind::Soffit => "soffit",
        PointKind::Ground => "ground",
        PointKind::ChangePoint => "change point",
    }
}

fn again(source: &Source<'_>, lengths: Lengths) -> Table {
    let mut table = Table::new(&READ_AGAIN, lengths);
    for (idx, what) in read_again(source.plan, source.words()).into_iter().enumerate() {
        table.row([Cell::count(idx + 1), Cell::words(what)]);
    }
    table
}

fn criteria(source: &Source<'_>, lengths: Lengths) -> Table {
    let mut table = Table::new(&CRITERIA, lengths);
    let words = source.words();
    for verdict in &source.plan.verdicts {
        let text = verdict.criterion.text();
        let mut row = |part: String, outcome: &Outcome, finding: Option<&Finding>| {
            let (value, plus_minus, limit) = match finding {
                Some(Finding::Height { value, uncertainty, limit, .. }) => {
                    (Some(*value), Some(*uncertainty), Some(*limit))
                }
                Some(Finding::FNumber { .. }) | None => (None, None, None),
            };
            let found = match (outcome, finding) {
                (_, Some(finding)) => words.sentence(finding.to_string()),
                (Outcome::CannotTell { why } | Outcome::Refused { why }, None) => {
                    words.sentence(why)
                }
                (Outcome::Meets | Outcome::DoesNot, None) => String::new(),
            };
            let cells = [
                Cell::words(text.title.clone()),
                Cell::words(verdict.criterion.kind().to_string()),
                Cell::words(part),
                Cell::words(answer(outcome)),
                table.length(value),
                table.length(plus_minus),
                table.length(limit),
                Cell::words(found),
                Cell::words(text.to_string()),
            ];
            table.row(cells);
        };
        if verdict.parts.is_empty() {
            row(String::new(), &verdict.outcome, None);
        }
        for part in &verdict.parts {
            row(part.name.to_string(), &part.outcome, part.finding.as_ref());
        }
    }
    table
}
