//! A job at a glance: how far it is, and what to do next.

use crate::layout::{Shell, faults};
use crate::view::JobView;
use floorwright_engine::plan::Stage;
use floorwright_engine::target::Outcome;
use floorwright_job::said;
use maud::{Markup, html};

struct Step {
    path: &'static str,
    name: &'static str,
    state: String,
    done: bool,
}

/// The page.
pub fn page(shell: &Shell<'_>, job: &JobView) -> Markup {
    let steps = steps(job);
    let next = steps.iter().find(|step| !step.done);
    shell.page("The job", &html! {
        h1 { (job.name()) }
        @if let Some(next) = next {
            p .next { a .main href={ "/jobs/" (job.id) "/" (next.path) } { "Next: " (next.name) } }
        } @else {
            p .next { a .main href={ "/jobs/" (job.id) "/paper" } { "All is lifted: the completion record" } }
        }
        ol .steps {
            @for step in &steps {
                li .done[step.done] {
                    a .big href={ "/jobs/" (job.id) "/" (step.path) } {
                        strong { @if step.done { "✓ " } (step.name) }
                        span { (step.state) }
                    }
                }
            }
        }
        (faults(&job.faults))
        @for fault in &job.folded.faults { p .error { strong { "Look at: " } (fault.to_string()) } }
        p .links {
            a .big href={ "/jobs/" (job.id) "/hose" } { strong { "Your hose" } span { "how long to wait, how far to trust it, where to stand" } }
            a .big href={ "/jobs/" (job.id) "/order" } { strong { "Order and price" } }
            a .big href={ "/jobs/" (job.id) "/paper" } { strong { "Paper to hand over" } }
        }
        p { a href={ "/jobs/" (job.id) "/job.toml" } download[true] { "Save the job as a file" } }
        p { a href={ "/jobs/" (job.id) "/job.zip" } download[true] { "Save all of it as one file: job, tables, remarks, photos, history" } }
    })
}

/// How many passes are left once some were done and the floor was read since.
fn left(job: &JobView) -> Option<usize> {
    let Some(Stage::Done(record)) = job.worked.as_ref()?.record() else { return None };
    let plan = &record.rest.done()?.plan;
    Some(plan.passes.done()?.passes.passes.len())
}

fn steps(job: &JobView) -> Vec<Step> {
    let form = &job.folded.form;
    let (_, supports) = job.words().supports();
    let plan = job.worked.as_ref().map(|worked| &worked.plan);
    let n_supports = form.support.len();
    let n_readings = job.folded.readings.len();
    let floor = job.worked.as_ref().and_then(|worked| worked.now().floor.done());
    let words = job.words();
    let spread = floor.and_then(|floor| {
        floor
            .decks
            .iter()
            .map(|deck| deck.spread.range)
            .max_by(|a, b| a.to_mm().total_cmp(&b.to_mm()))
    });
    let lift = plan.and_then(|plan| plan.lifting.done()).map(|stage| &stage.outcome);
    let passes = plan.and_then(|plan| plan.passes.done());
    let left = left(job);
    let levels = plan.map_or(0, |plan| plan.reduction.levels.points().len());
    vec![
        Step {
            path: "site",
            name: "Draw the site",
            state: format!("{n_supports} {supports}, {} rooms", form.room.len()),
            done: n_supports > 0,
        },
        Step {
            path: "readings",
            name: "Take readings",
            state: format!("{n_readings} taken here, {levels} points with a level"),
            done: levels > 2,
        },
        Step {
            path: "floor",
            name: "Look at the floor",
            state: spread.map_or("waits for readings".to_owned(), |range| {
                format!("{} between highest and lowest", words.length(range))
            }),
            done: spread.is_some(),
        },
        Step {
            path: "lift",
            name: "Choose the height",
            state: match lift {
                Some(Outcome::Reached(plan)) => format!(
                    "{} {supports} to move, {} in all",
                    plan.outcome.totals.touched,
                    words.length(plan.outcome.totals.lift)
                ),
                Some(Outcome::CannotBeDone(_)) => "cannot be done as asked".to_owned(),
                Some(Outcome::Refused(_)) => "cannot be worked on as asked".to_owned(),
                None => "waits for the floor".to_owned(),
            },
            done: form.goal.is_some() && matches!(lift, Some(Outcome::Reached(_))),
        },
        Step {
            path: "passes",
            name: "Lift, pass by pass",
            state: match (left, passes) {
                (Some(0), _) => format!("{} done, nothing is left to lift", form.pass.len()),
                (Some(left), _) => format!("{} done, {left} left", form.pass.len()),
                (None, Some(_)) if !form.pass.is_empty() => {
                    format!(
                        "{} done; what is left waits for the floor to be read again",
                        form.pass.len()
                    )
                }
                (None, Some(stage)) => {
                    format!("{} planned", said::count(stage.passes.passes.len(), "pass", "passes"))
                }
                (None, None) => "waits for the lifts".to_owned(),
            },
            done: left == Some(0),
        },
    ]
}
