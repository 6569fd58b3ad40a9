//! The passes: one card a move, what was really done, and what came of it.

use crate::layout::{Shell, cautions, faults, typed};
use crate::pictures;
use crate::respond::{Response, value_of};
use crate::screens::lift::{first_of_all, on_the_way};
use crate::screens::notes;
use crate::view::{Depth, JobView, Worked};
use floorwright_engine::frame::ForceRange;
use floorwright_engine::ids::SupportId;
use floorwright_engine::packers::Choice;
use floorwright_engine::passes::{MoveCheck, Pass};
use floorwright_engine::plan::{PassesStage, Plan, Stage};
use floorwright_engine::record::{CAUSES, Finding, Record, to_work_by};
use floorwright_engine::units::Length;
use floorwright_job::events::{About, EventId, PassAt};
use floorwright_job::form_v1::PassForm;
use floorwright_job::words::Words;
use floorwright_job::{frame_said, said};
use maud::{Markup, html};
use std::collections::{BTreeMap, BTreeSet};

/// The page.
pub fn page(shell: &Shell<'_>, job: &JobView) -> Markup {
    let worked = job.worked.as_ref();
    shell.page(
        "Passes",
        &html! {
            h1 { "Passes" }
            (faults(&job.faults))
            @match worked.map(|worked| (worked, worked.record())) {
                None => { p { "The passes wait for the job to be put right." } (notes_of_passes(job)) },
                Some((worked, None)) => (planned(job, worked, &worked.plan, 1)),
                Some((worked, Some(record))) => (under_way(job, worked, &record)),
            }
        },
    )
}

/// Passes that are still to be done, numbered on from those that were.
fn planned(job: &JobView, worked: &Worked, plan: &Plan, first: usize) -> Markup {
    let words = job.words();
    let Some(stage) = plan.passes.done() else {
        return html! {
            p { "There are no passes yet: they wait for the lifts." }
            @for reason in plan.passes.reasons() {
                p { (said::reason(reason, words)) }
            }
        };
    };
    let n_passes = stage.passes.passes.len();
    html! {
        (first_of_all(plan, words))
        p .big-number {
            strong { (n_passes) @if n_passes == 1 { " pass" } @else { " passes" } }
            @if first > 1 { " left" } ", no support more than "
            (words.length(worked.job.limits.lift_per_pass.value)) " in one"
        }
        (on_the_way(worked, plan))
        p .hint { (words.kilonewton()) }
        (cautions(plan))
        @for (idx, pass) in stage.passes.passes.iter().enumerate() {
            (card(job, worked, (plan, stage), (idx, pass), first))
        }
    }
}

/// What was done, what came of it, and what is left.
fn under_way(job: &JobView, worked: &Worked, record: &Stage<Record>) -> Markup {
    let words = job.words();
    let last = worked.input.done.passes.last().map_or(0, |pass| pass.number);
    let Stage::Done(record) = record else {
        return html! {
            p { "What was done cannot be held against what came of it yet." }
            @for reason in record.reasons() {
                p .error { (said::reason(reason, words)) }
            }
            (read_again_button(job, last))
            (notes_of_passes(job))
        };
    };
    let behind = record.did_not_follow();
    html! {
        p .big-number { strong { (last) @if last == 1 { " pass" } @else { " passes" } } " done" }
        @if !behind.is_empty() {
            div .warn {
                strong { "Stop: the floor did not follow" }
                ul { @for moved in &behind {
                    li { strong { (moved.support) } ": lifted " (words.signed(moved.lifted))
                        @if let Some(found) = &moved.difference {
                            ", the floor went " (words.signed(found.measured)) ", it should have gone " (words.signed(found.predicted))
                        }
                    }
                } }
                p { "Lift nothing further there until the cause is found:" }
                ul { @for cause in CAUSES { li { (cause) } } }
            }
        }
        @match &record.rest {
            Stage::Done(rest) if rest.lifts.is_empty() => p .ok { "Nothing is left to lift." },
            Stage::Done(rest) => {
                p { "Planned anew from the readings after pass " (rest.after_pass) ". Packers come on top of what stands there." }
                (planned(job, worked, &rest.plan, last as usize + 1))
            },
            waiting => {
                @for reason in waiting.reasons() { p { (said::reason(reason, words)) } }
                (read_again_button(job, last))
            },
        }
        @let findings: Vec<_> = record.findings.iter().filter(|finding| !matches!(finding, Finding::NotReadAgain { .. })).collect();
        @if !findings.is_empty() {
            div .warn {
                strong { "Against the plan and its limits" }
                ul { @for finding in findings { li { (said::finding(finding, words)) } } }
            }
        }
        (done(job, record, words))
        (notes_of_passes(job))
    }
}

fn read_again_button(job: &JobView, pass: u32) -> Markup {
    let setups = &job.folded.form.setup;
    let waits = setups.last().is_some_and(|setup| setup.after_pass == Some(pass));
    let name = (setups.len() + 1..)
        .map(|number| format!("S{number}"))
        .find(|name| setups.iter().all(|setup| setup.id != *name))
        .unwrap_or_default();
    html! {
        @if waits {
            p { a .main href={ "/jobs/" (job.id) "/readings" } { "Read the floor again" } }
        } @else {
            form data-put="setup" data-next={ "/jobs/" (job.id) "/readings" }
                data-form=(serde_json::json!({ "id": name, "after_pass": pass }).to_string()) {
                button .main type="submit" { "Read the floor again after pass " (pass) }
            }
        }
    }
}

fn done(job: &JobView, record: &Record, words: Words) -> Markup {
    html! {
        @for pass in record.passes.iter().rev() {
            details {
                summary { "Done: pass " (pass.number) @if let Some(date) = &pass.date { ", " (date) } }
                ul { @for lifted in &pass.lifted {
                    li { (lifted.support) ": " (words.signed(lifted.lift))
                        @if let Some(pieces) = &lifted.packers { ", packed " (stack(pieces, words)) }
                    }
                } }
                @if let Some(remarks) = &pass.remarks { p { (remarks) } }
                @for crack in &pass.cracks { p { "Crack: " (crack) } }
                @let about = About::Pass(pass.number);
                (notes::shown(job, |of| *of == about))
                (notes::form(Some(&about)))
            }
        }
    }
}

fn card(
    job: &JobView,
    worked: &Worked,
    (plan, stage): (&Plan, &PassesStage),
    (idx, pass): (usize, &Pass),
    first: usize,
) -> Markup {
    let words = worked.words();
    let number = first + idx;
    let check = stage.on_frame.as_ref().and_then(|frame| frame.check.passes.get(idx));
    html! {
        details .pass open[idx == 0] {
            summary { "Pass " (number) ": " (pass.moves.len()) @if pass.moves.len() == 1 { " move" } @else { " moves" } }
            @if let Some((frame, check)) = plan.frame.done().zip(check) {
                ul { @for sentence in frame_said::in_pass(&worked.job, frame, check, words) { li { (sentence) } } }
            }
            @for (at, one) in pass.moves.iter().enumerate() {
                @let checked = check.and_then(|check| check.moves.get(at));
                article {
                    h3 { "Move " (at + 1) @if one.lowering { " (let down)" } }
                    table {
                        thead { tr {
                            th scope="col" { (words.support()) } th scope="col" { "from" } th scope="col" { "to" } th scope="col" { "jack, kN" }
                        } }
                        tbody { @for lift in &one.supports {
                            tr {
                                th scope="row" { (lift.support) }
                                td { (words.fine(lift.from)) } td { strong { (words.fine(lift.to)) } }
                                td { (force(checked, &lift.support, words)) }
                            }
                        } }
                    }
                }
            }
            h3 { "Then pack" }
            ul { @for packing in &pass.packing {
                li { strong { (packing.support) } ": " (choice(&packing.choice, packing.wanted, words)) }
            } }
            p { "Then read the floor again." }
            @if idx == 0 {
                (note_pass(pass, number, worked))
                @let about = About::Pass(number as u32);
                (notes::shown(job, |of| *of == about))
                (notes::form(Some(&about)))
            }
            @if first == 1 { @if let Some(picture) = pictures::pass(job, idx) { (picture) } }
        }
    }
}

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
fn note_pass(pass: &Pass, number: usize, worked: &Worked) -> Markup {
    let words = worked.words();
    let rows = lifts_of(pass).into_iter().map(|(support, lift)| {
        let packers = stands_after(worked, pass, support).map(|pieces| stack_typed(&pieces, words));
        (support.to_string(), words.fine(lift), packers)
    });
    let noted = Noted { number, rows: rows.collect(), ..Noted::default() };
    html! {
        details .note {
            summary { "Note what was really done" }
            (pass_form(&noted, words))
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

fn pass_form(noted: &Noted, words: Words) -> Markup {
    let keys = if matches!(words.unit(), "mm") { "decimal" } else { "text" };
    let replaces: Vec<String> = noted.replaces.iter().map(ToString::to_string).collect();
    html! {
        form data-make="pass" data-number=(noted.number) data-replaces=(replaces.join(" ")) data-unit=(words.unit()) {
            @for (support, lift, packers) in &noted.rows {
                fieldset data-support=(support) {
                    legend { (support) }
                    label { "Bearer went up, " (words.unit()) input name="lift" inputmode=(keys) value=(lift); }
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
fn notes_of_passes(job: &JobView) -> Markup {
    let words = job.words();
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
                    (pass_form(&as_noted(pass, &of_number), words))
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

fn choice(choice: &Choice, wanted: Length, words: Words) -> String {
    match choice {
        Choice::Stack(pieces) if pieces.pieces.is_empty() => "nothing".to_owned(),
        Choice::Stack(pieces) => stack(&pieces.pieces, words),
        Choice::Unreachable { .. } => {
            format!("no stack of the stock fits: {}", words.length(wanted))
        }
    }
}

fn stack(pieces: &[Length], words: Words) -> String {
    let pieces: Vec<String> = pieces.iter().map(|&piece| words.thickness(piece)).collect();
    pieces.join(" + ")
}

fn stack_typed(pieces: &[Length], words: Words) -> String {
    if pieces.is_empty() { "0".to_owned() } else { stack(pieces, words) }
}

fn force(check: Option<&MoveCheck>, support: &SupportId, words: Words) -> String {
    let jack = check.and_then(|check| check.jacks.iter().find(|jack| jack.support == *support));
    jack.map_or("not worked out".to_owned(), |jack| {
        words.force_range(ForceRange { least: jack.least, most: jack.most })
    })
}
