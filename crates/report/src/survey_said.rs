//! How readings and the shape of the floor are spoken of on paper.

use crate::block::{Cells, Table};
use crate::paper::Paper;
use floorwright_engine::ids::PointId;
use floorwright_engine::plan::Plan;
use floorwright_engine::survey::DriftFound;
use floorwright_job::said::{count, fit};
use floorwright_job::words::{COVERAGE, Words};
use std::collections::BTreeMap;

/// How the levels were found: instruments, readings, drift, loops, what nothing checks.
pub(crate) fn method(paper: &Paper<'_>) -> Vec<String> {
    let (job, reduction, words) = (paper.job, &paper.plan.reduction, paper.words());
    let survey = &job.survey;
    let n_readings: usize = survey.setups.iter().map(|setup| setup.readings.len()).sum();
    let mut said = vec![
        format!(
            "{} from {}, reduced together by least squares; {} more than needed.",
            count(n_readings, "reading", "readings"),
            count(survey.setups.len(), "setup", "setups"),
            reduction.redundancy,
        ),
        fit(reduction),
        format!(
            "Every ± is an expanded uncertainty with k = {COVERAGE:.0}, about 95 %: of a level, \
             above the datum; of a difference, with what the two levels have in common taken out."
        ),
    ];
    for setup in &reduction.setups {
        let Some(line) = &setup.line else { continue };
        let drift = match &setup.drift {
            DriftFound::NotSought => String::new(),
            DriftFound::Refused { why } => format!("; drift not found: {why}"),
            DriftFound::Found(drift) => format!(
                "; {} {:.1} ± {:.1} mm an hour, {}",
                if drift.rate.to_mm_per_minute() < 0.0 { "falling" } else { "rising" },
                drift.rate.to_mm_per_hour().abs(),
                drift.sd_prior.to_mm_per_hour() * COVERAGE * reduction.widening,
                if drift.proven { "taken out" } else { "not proven, but taken out all the same" },
            ),
        };
        said.push(format!(
            "Setup {}: line at {} ± {}{drift}.",
            setup.setup,
            words.level(line.level),
            words.plus_minus(line.sd_prior * reduction.widening)
        ));
    }
    said.extend(reduction.uncontrolled.iter().map(|one| words.sentence(one.to_string())));
    said
}

/// Every level with its uncertainty.
pub(crate) fn level_table(plan: &Plan, words: Words) -> Table {
    let reduction = &plan.reduction;
    let mut n_readings: BTreeMap<&PointId, usize> = BTreeMap::new();
    for point in reduction.observations.iter().filter_map(|one| one.name.point()) {
        *n_readings.entry(point).or_default() += 1;
    }
    let doubted = plan.points_in_doubt();
    let mut table = Table::new(
        format!("Levels in {}, ± in {}", words.level_unit(), words.unit()),
        &[
            ("Point", Cells::Words),
            ("Level", Cells::Number),
            ("±", Cells::Number),
            ("Read", Cells::Number),
            ("", Cells::Text),
        ],
    );
    for (idx, level) in reduction.levels.points().iter().enumerate() {
        let note = match (doubted.contains(&level.point), level.held) {
            (true, _) => "in doubt",
            (false, true) => "held",
            (false, false) => "",
        };
        table.rows.push(vec![
            level.point.to_string(),
            words.level_number(level.level),
            words.plus_minus(reduction.levels.sd(idx)),
            n_readings.get(&level.point).copied().unwrap_or(0).to_string(),
            note.to_owned(),
        ]);
    }
    table.narrow = true;
    table
}
