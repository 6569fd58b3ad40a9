//! From a checked job to what the engine's chain runs on: level books become setups, and the
//! choice of criteria becomes the criteria themselves.

use crate::fault::{Fault, nearest_name};
use crate::input::{CriteriaSelection, FrameInput, JobInput, OwnCriterion, OwnFigure};
use crate::practice::{criteria, defaults_for};
use floorwright_engine::ids::SetupId;
use floorwright_engine::plan::{FrameChoice, Job};
use floorwright_engine::survey::{Benchmark, ReadingSd, Setup, Survey, book_setups};
use floorwright_engine::units::{Length, Level};
use floorwright_engine::verdict::{Criterion, Measure, MinApart, Scope};

/// Standard deviation of a sight in a level book: common practice for a staff read to the
/// millimetre at short range.
const SIGHT_SD: Length = Length::mm(1.0);

/// Makes the engine's job.
///
/// # Errors
/// Every fault that only shows now: a level book that cannot be reduced, a criterion that is not
/// there or that may not be used.
pub fn ready(input: &JobInput, file: &str) -> Result<Job, Vec<Fault>> {
    let mut faults = Vec::new();
    let survey = with_books(input, file, &mut faults);
    let criteria = chosen(&input.criteria, file, &mut faults);
    if !faults.is_empty() {
        return Err(faults);
    }
    Ok(Job {
        site: input.site.clone(),
        survey,
        goal: input.goal.clone(),
        limits: input.limits.clone(),
        stock: input.stock.clone(),
        criteria,
        by_hand: input
            .support_details
            .iter()
            .filter_map(|detail| Some((detail.id.clone(), detail.lift?)))
            .collect(),
        frame: frame(&input.frame),
    })
}

fn frame(input: &FrameInput) -> FrameChoice {
    match &input.off {
        Some(why) => FrameChoice::Off { why: why.clone() },
        None => FrameChoice::Asked {
            given: Box::new(input.given.clone()),
            rules: Box::new(input.rules.clone()),
        },
    }
}

/// The survey with the setups of the level books. A book's start is a benchmark unless the job
/// has one there already; its known close is kept for the misclosure and does not pull on levels.
fn with_books(input: &JobInput, file: &str, faults: &mut Vec<Fault>) -> Survey {
    let mut survey = input.survey.clone();
    for named in &input.books {
        let place = format!("book {}", named.id);
        match book_setups(&named.book, ReadingSd::Each(SIGHT_SD)) {
            Ok(setups) => {
                survey.setups.extend(setups.into_iter().enumerate().map(|(standing, setup)| {
                    let name = format!("{}-{}", named.id, standing + 1);
                    Setup { id: SetupId::new(name), ..setup }
                }));
            }
            Err(found) => faults
                .extend(found.iter().map(|fault| Fault::error(file, &place, fault.to_string()))),
        }
        let Some(first) = named.book.rows.first() else { continue };
        if !survey.benchmarks.iter().any(|known| known.point == first.point) {
            survey.benchmarks.push(Benchmark {
                point: first.point.clone(),
                level: Level::mm(named.book.start.to_mm()),
                sd: Length::ZERO,
            });
        }
    }
    survey
}

fn chosen(selection: &CriteriaSelection, file: &str, faults: &mut Vec<Fault>) -> Vec<Criterion> {
    let all = criteria();
    let known: Vec<&str> = all.iter().map(|criterion| criterion.text().id.as_str()).collect();
    let unknown = |id: &String| {
        let mut fault = Fault::error(file, "[criteria]", "there is no such criterion")
            .value(format!("\"{id}\""));
        fault = match nearest_name(id, known.iter().copied()) {
            Some(near) => fault.hint(format!("did you mean \"{near}\"?")),
            None => fault.hint("floorwright floor JOB --all-criteria lists those that there are"),
        };
        fault
    };
    let mut chosen = defaults_for(selection.region.into());
    for id in &selection.off {
        if !known.contains(&id.as_str()) {
            faults.push(unknown(id));
        }
        chosen.retain(|criterion| criterion.text().id != *id);
    }
    for id in &selection.on {
        match all.iter().find(|criterion| criterion.text().id == *id) {
            None => faults.push(unknown(id)),
            Some(criterion) if criterion.text().status.is_unverified() => faults.push(
                Fault::error(file, "[criteria]", "the criterion is unverified: it is from memory")
                    .value(format!("\"{id}\""))
                    .hint("write it as a [[criterion]] of this job, with its source as the reason"),
            ),
            Some(criterion) => {
                let mut criterion = criterion.clone();
                // It is verified, so it needs no source in words to be on.
                if criterion.turn_on("").is_ok()
                    && !chosen.iter().any(|other| other.text().id == *id)
                {
                    chosen.push(criterion);
                }
            }
        }
    }
    for own in &selection.own {
        match agreed(own) {
            Ok(criterion) => chosen.push(criterion),
            Err(found) => faults.extend(found.into_iter().map(|fault| {
                Fault::error(file, format!("criterion {}", own.id), fault)
                    .hint("give it a reason: the contract, the client, a date")
            })),
        }
    }
    chosen
}

/// A figure agreed for the job.
fn agreed(own: &OwnCriterion) -> Result<Criterion, Vec<String>> {
    let (measure, scope) = match own.figure {
        OwnFigure::Range(limit) => (Measure::Spread { limit, up_to: None }, Scope::Floor),
        OwnFigure::Slope { limit, over } => {
            let min_apart = over.map_or_else(MinApart::own_choice, MinApart::stated);
            (Measure::SlopePairs { limit, min_apart }, Scope::Floor)
        }
        OwnFigure::Straightedge { limit, over } => {
            (Measure::StraightedgeGap { limit, base: over }, Scope::Room)
        }
    };
    let reason = own.reason.as_deref().unwrap_or_default();
    Criterion::agreed(&own.id, &own.title, measure, scope, reason)
        .map_err(|faults| faults.iter().map(ToString::to_string).collect())
}
