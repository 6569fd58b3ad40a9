//! The passes: one card a move.

use crate::layout::{Shell, cautions, faults};
use crate::pictures;
use crate::view::{JobView, Worked};
use floorwright_engine::packers::Choice;
use floorwright_engine::passes::{MoveCheck, Pass};
use floorwright_engine::plan::PassesStage;
use floorwright_job::words::Words;
use maud::{Markup, html};

/// The page.
pub fn page(shell: &Shell<'_>, job: &JobView) -> Markup {
    let stage = job
        .worked
        .as_ref()
        .and_then(|worked| worked.plan.passes.done().map(|stage| (worked, stage)));
    shell.page(
        "Passes",
        &html! {
            h1 { "Passes" }
            (faults(&job.faults))
            @match stage {
                Some((worked, stage)) => (passes(job, worked, stage)),
                None => (waiting(job)),
            }
        },
    )
}

fn waiting(job: &JobView) -> Markup {
    html! {
        p { "There are no passes yet: they wait for the lifts." }
        @if let Some(worked) = &job.worked {
            @for reason in worked.plan.passes.reasons() {
                p { (reason.what) @if let Some(hint) = &reason.hint { " – " (hint) } }
            }
        }
    }
}

fn passes(job: &JobView, worked: &Worked, stage: &PassesStage) -> Markup {
    let words = job.words();
    let stop = stage.on_frame.as_ref().and_then(|frame| frame.check.stop.as_ref());
    html! {
        @if let Some(stop) = stop {
            div .warn { strong { "Do not lift by these passes" } p { (stop.to_string()) } }
        }
        p .big-number { strong { (stage.passes.passes.len()) " passes" } ", no support more than "
            (words.length(worked.job.limits.lift_per_pass.value)) " in one" }
        (cautions())
        @for (idx, pass) in stage.passes.passes.iter().enumerate() {
            (card(job, stage, idx, pass, words))
        }
    }
}

fn card(job: &JobView, stage: &PassesStage, idx: usize, pass: &Pass, words: Words) -> Markup {
    let check = stage.on_frame.as_ref().and_then(|frame| frame.check.passes.get(idx));
    html! {
        details .pass open[idx == 0] {
            summary { "Pass " (pass.number) ": " (pass.moves.len()) " moves" }
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
                                td { (words.number(lift.from)) } td { strong { (words.number(lift.to)) } }
                                td { (force(checked, lift.support.as_str(), words)) }
                            }
                        } }
                    }
                }
            }
            h3 { "Then pack" }
            ul { @for packing in &pass.packing {
                li { strong { (packing.support) } ": "
                    @match &packing.choice {
                        Choice::Stack(stack) if stack.pieces.is_empty() => "nothing",
                        Choice::Stack(stack) => (stack.pieces.iter().map(|&piece| words.thickness(piece)).collect::<Vec<_>>().join(" + ")),
                        Choice::Unreachable { .. } => { "no stack of the stock fits: " (words.length(packing.wanted)) },
                    }
                }
            } }
            p { "Then read the floor again." }
            @if let Some(picture) = pictures::pass(job, idx) { (picture) }
        }
    }
}

fn force(check: Option<&MoveCheck>, support: &str, words: Words) -> String {
    let jack =
        check.and_then(|check| check.jacks.iter().find(|jack| jack.support.as_str() == support));
    jack.map_or("not worked out".to_owned(), |jack| {
        words.force_range(floorwright_engine::frame::ForceRange {
            least: jack.least,
            most: jack.most,
        })
    })
}
