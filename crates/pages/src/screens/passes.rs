//! The passes: one card a move, what was really done, and what came of it.

mod noted;

pub use noted::look_at_note;
use noted::{note_pass, notes_of_passes};

use crate::layout::{Shell, cautions, faults};
use crate::pictures;
use crate::screens::lift::{first_of_all, on_the_way};
use crate::screens::notes;
use crate::view::{JobView, Worked};
use floorwright_engine::frame::ForceRange;
use floorwright_engine::ids::SupportId;
use floorwright_engine::packers::Choice;
use floorwright_engine::passes::{MoveCheck, Pass};
use floorwright_engine::plan::{PassesStage, Plan, Stage};
use floorwright_engine::record::{CAUSES, Finding, Record};
use floorwright_engine::units::Length;
use floorwright_job::events::About;
use floorwright_job::not_yet::{NotYet, WATCH, WatchedMove, not_yet, watched_moves};
use floorwright_job::words::Words;
use floorwright_job::{frame_said, said};
use maud::{Markup, html};
use std::collections::BTreeMap;

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
                Some((worked, None)) => (planned(job, worked, (&worked.plan, &Stage::NotAsked), 1)),
                Some((worked, Some(record))) => (under_way(job, worked, &record)),
            }
        },
    )
}

/// Passes that are still to be done, numbered on from those that were.
fn planned(
    job: &JobView,
    worked: &Worked,
    (plan, record): (&Plan, &Stage<Record>),
    first: usize,
) -> Markup {
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
    let flags = Flags { not_yet: not_yet(plan, record), watched: watched_moves(plan, words) };
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
            (card(job, worked, (plan, stage, &flags), (idx, pass), first))
        }
    }
}

/// What was done, what came of it, and what is left.
fn under_way(job: &JobView, worked: &Worked, record: &Stage<Record>) -> Markup {
    let words = job.words();
    let last = worked.input.done.passes.last().map_or(0, |pass| pass.number);
    let stage = record;
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
                (planned(job, worked, (&rest.plan, stage), last as usize + 1))
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

/// Where nobody lifts yet, and which moves are to be watched.
struct Flags {
    not_yet: BTreeMap<SupportId, NotYet>,
    watched: Vec<WatchedMove>,
}

fn card(
    job: &JobView,
    worked: &Worked,
    (plan, stage, flags): (&Plan, &PassesStage, &Flags),
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
                    @for watched in flags.watched.iter().filter(|one| (one.pass, one.move_in_pass) == (idx + 1, at + 1)) {
                        p .warn { strong { (WATCH) } " " (watched.said) }
                    }
                    @for (support, why) in one.supports.iter().filter_map(|lift| flags.not_yet.get_key_value(&lift.support)) {
                        p .warn { strong { (support) " " (why.mark()) } " " (why.said()) }
                    }
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

fn force(check: Option<&MoveCheck>, support: &SupportId, words: Words) -> String {
    let jack = check.and_then(|check| check.jacks.iter().find(|jack| jack.support == *support));
    jack.map_or("not worked out".to_owned(), |jack| {
        words.force_range(ForceRange { least: jack.least, most: jack.most })
    })
}
