//! What was really done in a pass: noted, looked at before it is kept, put right, and settled between phones.

use super::stack;
use crate::layout::{bare_unit, typed};
use crate::respond::{Response, value_of};
use crate::view::{Depth, JobView, Worked};
use floorwright_engine::ids::SupportId;
use floorwright_engine::packers::Choice;
use floorwright_engine::passes::Pass;
use floorwright_engine::plan::Stage;
use floorwright_engine::record::{Finding, to_work_by};
use floorwright_engine::units::Length;
use floorwright_job::events::{EventId, PassAt};
use floorwright_job::form_v1::PassForm;
use floorwright_job::measure::Unit;
use floorwright_job::said;
use floorwright_job::words::Words;
use maud::{Markup, html};
use std::collections::{BTreeMap, BTreeSet};

/// What is written into the form of a pass.
#[derive(Default)]
struct Noted {
    number: usize,
    /// Support, how far it went up, and the stack that stands there.
    rows: Vec<(String, String, Option<String>)>,
    by: Option<String>,
    remarks: Option<String>,
    cracks: Option<String>,
    /// The events that this note takes the place of.
    replaces: Vec<EventId>,
}

/// What was really done in the pass that comes next: filled in as planned, to be put right.
pub(super) fn note_pass(pass: &Pass, number: usize, worked: &Worked) -> Markup {
    let words = worked.words();
    let rows = lifts_of(pass).into_iter().map(|(support, lift)| {
        let packers = stands_after(worked, pass, support).map(|pieces| stack_typed(&pieces, words));
        (support.to_string(), words.fine(lift), packers)
    });
    let noted = Noted { number, rows: rows.collect(), ..Noted::default() };
    html! {
        details .note {
            summary { "Note what was really done" }
            (pass_form(&noted, worked.input.units))
        }
    }
}

/// How far each support is to go in a pass.
fn lifts_of(pass: &Pass) -> BTreeMap<&SupportId, Length> {
    let mut lifts: BTreeMap<&SupportId, Length> = BTreeMap::new();
    for lift in pass.moves.iter().flat_map(|one| &one.supports) {
        *lifts.entry(&lift.support).or_default() += lift.to - lift.from;
    }
    lifts
}

/// The pieces that stand at a support after a pass as planned: those that were noted there, and those that
/// come on top. Nothing where what stands there was not noted.
fn stands_after(worked: &Worked, pass: &Pass, support: &SupportId) -> Option<Vec<Length>> {
    let packing = pass.packing.iter().find(|packing| packing.support == *support)?;
    let Choice::Stack(stack) = &packing.choice else { return None };
    let done = worked.input.done.passes.iter().rev();
    let mut before = done.flat_map(|pass| &pass.lifted).filter(|lifted| lifted.support == *support);
    let mut pieces = match before.next() {
        None => Vec::new(),
        Some(lifted) => lifted.packers.clone()?,
    };
    pieces.extend(&stack.pieces);
    Some(pieces)
}

/// Lifts and packers are in millimetres in a job in metres too.
fn pass_form(noted: &Noted, unit: Unit) -> Markup {
    let (keys, said) = match unit {
        Unit::Millimetres | Unit::Metres => ("decimal", "mm"),
        Unit::FeetInches => ("text", "ft-in"),
    };
    let replaces: Vec<String> = noted.replaces.iter().map(ToString::to_string).collect();
    html! {
        form data-make="pass" data-number=(noted.number) data-replaces=(replaces.join(" ")) data-unit=(said)
            data-bare=(bare_unit(unit)) {
            @for (support, lift, packers) in &noted.rows {
                fieldset data-support=(support) {
                    legend { (support) }
                    label { "Bearer went up, " (said) input name="lift" inputmode=(keys) value=(lift); }
                    label { "Whole stack that stands there (as 10 + 5)" input name="packers" inputmode="text" value=[packers.as_ref()]; }
                }
            }
            label { "By" input name="by" autocomplete="name" value=[noted.by.as_ref()]; }
            label { "What was noticed" input name="remarks" value=[noted.remarks.as_ref()]; }
            label { "Cracks, seen or measured" input name="cracks" value=[noted.cracks.as_ref()]; }
            div .look aria-live="polite" {}
            button .main type="submit" { "Pass " (noted.number) " is done" }
        }
    }
}

/// What was noted of passes, also where the job cannot be used because of it: to be put right, and to be
/// settled where two phones noted the same pass.
pub(super) fn notes_of_passes(job: &JobView) -> Markup {
    let unit = job.folded.form.job.as_ref().and_then(|job| job.units).unwrap_or_default();
    let passes = &job.folded.passes;
    let numbers: BTreeSet<Option<u32>> = passes.iter().map(|noted| noted.pass.number).collect();
    html! {
        @for number in numbers.into_iter().rev() {
            @let of_number: Vec<&PassAt> = passes.iter().filter(|noted| noted.pass.number == number).collect();
            @let last = of_number.last().map(|noted| &noted.pass);
            @if of_number.len() > 1 {
                div .warn #{ "twice-" (number.unwrap_or_default()) } {
                    strong { "Pass " (number.unwrap_or_default()) " was noted " (of_number.len()) " times. The last one counts: take the others back, or put it right." }
                    ul { @for noted in &of_number {
                        li { (in_short(&noted.pass)) " "
                            button type="button" data-undo=(noted.event) { "Take this one back" }
                        }
                    } }
                }
            }
            @if let Some(pass) = last {
                details #{ "put-right-" (number.unwrap_or_default()) } {
                    summary { "Put right what was noted of pass " (number.unwrap_or_default()) }
                    (pass_form(&as_noted(pass, &of_number), unit))
                }
            }
        }
    }
}

fn in_short(pass: &PassForm) -> String {
    let lifted = pass.lifted.iter().map(|lifted| {
        let lift = lifted.lift.as_ref().map_or("?".to_owned(), typed);
        format!("{} {lift}", lifted.support)
    });
    let by = pass.by.as_ref().map_or(String::new(), |by| format!(" (by {by})"));
    format!("{}{by}", lifted.collect::<Vec<_>>().join(", "))
}

fn as_noted(pass: &PassForm, events: &[&PassAt]) -> Noted {
    let rows = pass.lifted.iter().map(|lifted| {
        let packers = lifted.packers.as_ref().map(|pieces| {
            let pieces: Vec<String> = pieces.iter().map(typed).collect();
            if pieces.is_empty() { "0".to_owned() } else { pieces.join(" + ") }
        });
        (lifted.support.clone(), lifted.lift.as_ref().map(typed).unwrap_or_default(), packers)
    });
    Noted {
        number: pass.number.unwrap_or_default() as usize,
        rows: rows.collect(),
        by: pass.by.clone(),
        remarks: pass.remarks.clone(),
        cracks: pass.cracks.first().cloned(),
        replaces: events.iter().map(|noted| noted.event).collect(),
    }
}

/// A lift that is noted further off the planned one than this is asked about: a choice, half of the usual
/// step of packers.
const AS_PLANNED: Length = Length::mm(2.5);

/// A note of a pass before it is saved: refused where the job could not be used with it, and asked about where
/// it is far from what was planned. `pass` in the query is its form as JSON.
pub fn look_at_note(job: &JobView, query: &str) -> Response {
    let pass =
        value_of(query, "pass").and_then(|text| serde_json::from_str::<PassForm>(&text).ok());
    let Some(pass) = pass else {
        return Response::html(422, html! { p .error { "This note could not be read." } });
    };
    let number = pass.number;
    let mut folded = job.folded.clone();
    folded.form.pass.retain(|known| known.number != number);
    let others = folded.clone();
    folded.form.pass.push(pass);
    folded.form.pass.sort_by_key(|pass| pass.number);
    let tried = JobView::of_folded(job.id, folded, Depth::Passes);
    let wrong: Vec<_> = tried
        .faults
        .iter()
        .filter(|fault| fault.is_error() && !job.faults.contains(fault))
        .collect();
    if !wrong.is_empty() {
        return Response::html(
            422,
            html! {
                p .error { "Not saved:" }
                ul { @for fault in &wrong {
                    li { (fault.place) ": " (fault.what) @if let Some(value) = &fault.value { ": " (value) }
                        @if let Some(limit) = &fault.limit { ", must be " (limit) }
                        @if let Some(hint) = &fault.hint { " (" (hint) ")" }
                    }
                } }
            },
        );
    }
    let doubts = doubts(&JobView::of_folded(job.id, others, Depth::Passes), &tried, number);
    Response::html(
        200,
        html! {
            @if !doubts.is_empty() {
                div .warn {
                    strong { "Is this what was done?" }
                    ul { @for doubt in &doubts { li { (doubt) } } }
                    p { "Put it right, or save it all the same." }
                }
            }
        },
    )
}

/// What is odd about a note: lifts that are not those of the plan, and what speaks against its limits.
fn doubts(without: &JobView, tried: &JobView, number: Option<u32>) -> Vec<String> {
    let words = tried.words();
    let Some(worked) = &tried.worked else { return Vec::new() };
    let mut doubts = Vec::new();
    let planned = without.worked.as_ref().and_then(next_lifts);
    let noted = worked.input.done.passes.iter().find(|pass| Some(pass.number) == number);
    if let (Some(planned), Some(noted)) = (planned, noted) {
        for lifted in &noted.lifted {
            let lift = planned.get(&lifted.support).copied().unwrap_or_default();
            if (lifted.lift - lift).abs() > AS_PLANNED {
                doubts.push(format!(
                    "{} went up by {}, and {} was planned for this pass",
                    lifted.support,
                    words.length(lifted.lift),
                    words.length(lift)
                ));
            }
        }
    }
    let findings = |view: &JobView| -> Vec<String> {
        let record = view.worked.as_ref().and_then(Worked::record);
        let Some(Stage::Done(record)) = record else { return Vec::new() };
        let told = record
            .findings
            .iter()
            .filter(|finding| !matches!(finding, Finding::NotReadAgain { .. }));
        told.map(|finding| said::finding(finding, words)).collect()
    };
    let known = findings(without);
    doubts.extend(findings(tried).into_iter().filter(|finding| !known.contains(finding)));
    doubts
}

/// The lifts of the pass that comes next.
fn next_lifts(worked: &Worked) -> Option<BTreeMap<SupportId, Length>> {
    let record = worked.record().unwrap_or(Stage::NotAsked);
    let plan = to_work_by(&worked.plan, &record).ok()?.plan;
    let first = plan.passes.done()?.passes.passes.first()?;
    Some(lifts_of(first).into_iter().map(|(support, lift)| (support.clone(), lift)).collect())
}

fn stack_typed(pieces: &[Length], words: Words) -> String {
    if pieces.is_empty() { "0".to_owned() } else { stack(pieces, words) }
}
