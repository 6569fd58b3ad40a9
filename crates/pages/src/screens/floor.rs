//! The floor as it was read, and as the lifts will leave it.

use crate::layout::{Shell, faults};
use crate::pictures;
use crate::respond::{Response, value_of};
use crate::screens::readings::read_again;
use crate::view::{JobView, Worked};
use floorwright_engine::site::Position;
use floorwright_job::said;
use floorwright_job::words::Words;
use maud::{Markup, html};

/// The page.
pub fn page(shell: &Shell<'_>, job: &JobView) -> Markup {
    let worked = job.worked.as_ref();
    shell.page(
        "Floor",
        &html! {
            h1 { "Floor" }
            (faults(&job.faults))
            @match worked {
                None => p { "There is no floor yet." },
                Some(worked) => (shape(job, worked)),
            }
        },
    )
}

fn shape(job: &JobView, worked: &Worked) -> Markup {
    let words = job.words();
    let plan = worked.now();
    let again = worked.input.done.again.last().map(|again| again.after_pass);
    let Some(floor) = plan.floor.done() else {
        return html! {
            p { "There are not enough readings for a floor yet." }
            @for reason in plan.floor.reasons() { p { (said::reason(reason, words)) } }
        };
    };
    html! {
        @if let Some(pass) = again { p { "As it was read after pass " (pass) "." } }
        @for deck in &floor.decks {
            p .big-number {
                strong { (words.length(deck.spread.range)) }
                " between " (deck.spread.highest.point) " (highest) and " (deck.spread.lowest.point) " (lowest)"
                @if floor.decks.len() > 1 { ", deck " (deck.name) }
                ", ± " (words.plus_minus(deck.spread.sd))
            }
            @for sentence in said::deck(deck, words) { p { (sentence) } }
        }
        (read_again(plan, words))
        @if let Some(picture) = pictures::floor(worked, plan) {
            div .tap data-tap="floor" { (picture) }
            p #tapped role="status" .hint { "Tap the floor for its height there. Tap a second place for a section between the two." }
            div #section {}
        }
        @if !plan.verdicts.is_empty() {
            h2 { "Held against criteria" }
            ul { @for verdict in &plan.verdicts { li { (words.sentence(verdict.to_string())) } } }
        }
        @if again.is_some() {
            @if let Some(picture) = pictures::floor(worked, &worked.plan) {
                details { summary { "As it was before the work" } (picture) }
            }
        }
        @if let Some(picture) = pictures::floor_after(worked) {
            details { summary { "After all lifts, as the plan from before the work has it" } (picture) }
        }
        details {
            summary { "All levels" }
            table {
                thead { tr { th scope="col" { "Point" } th scope="col" { "Level, " (words.level_unit()) } th scope="col" { "±" } } }
                tbody {
                    @for (idx, point) in plan.reduction.levels.points().iter().enumerate() {
                        tr { th scope="row" { (point.point) } td { (words.level_number(point.level)) } td { (words.plus_minus(plan.reduction.levels.sd(idx))) } }
                    }
                }
            }
        }
    }
}

/// The height of the floor at a place that was tapped.
pub fn at(job: &JobView, query: &str) -> Response {
    let words = job.words();
    let said = place(query, "x", "y")
        .map_or_else(|| "That place could not be read.".to_owned(), |at| height(job, at, words));
    Response::html(200, html! { (said) })
}

fn height(job: &JobView, at: Position, words: Words) -> String {
    let floor = job.worked.as_ref().and_then(|worked| worked.now().floor.done());
    match floor.and_then(|floor| floor.surface.at(at)) {
        None => "The floor is not known there.".to_owned(),
        Some(height) => format!(
            "Level {} ± {}, nearest reading {} away{}",
            words.level(height.level),
            words.plus_minus(height.sd),
            words.length(height.nearest_reading),
            if height.measured { "" } else { " (beyond the readings)" }
        ),
    }
}

/// A section between two places that were tapped.
pub fn section(job: &JobView, query: &str) -> Response {
    let picture = place(query, "x", "y")
        .zip(place(query, "to_x", "to_y"))
        .and_then(|(from, to)| pictures::section(job, from, to));
    Response::html(
        200,
        html! {
            @match picture {
                Some(picture) => (picture),
                None => p { "There is no floor between these places." },
            }
        },
    )
}

fn place(query: &str, x: &str, y: &str) -> Option<Position> {
    let number = |name| value_of(query, name)?.parse::<f64>().ok().filter(|mm| mm.abs() < 1e9);
    Some(Position::mm(number(x)?, number(y)?))
}
