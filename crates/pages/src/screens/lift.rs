//! The height to bring the floor to, and what it costs in lift.

use crate::layout::{Shell, cautions, faults};
use crate::pictures;
use crate::respond::{Response, value_of};
use crate::view::{Depth, JobView, Worked};
use floorwright_engine::plan::{LiftingStage, PackingStage, StageName};
use floorwright_engine::target::{LiftPlan, Outcome};
use floorwright_job::form_v1::{HeightForm, PreferForm, Quantity};
use floorwright_job::said;
use floorwright_job::words::Words;
use maud::{Markup, html};

/// The page.
pub fn page(shell: &Shell<'_>, job: &JobView) -> Markup {
    shell.page(
        "Lift",
        &html! {
            h1 { "Lift" }
            (faults(&job.faults))
            @if let Some(worked) = &job.worked { (outcome(job, worked)) }
            @else { p { "The lifts wait for the job to be put right." } }
            (goal(job))
        },
    )
}

fn outcome(job: &JobView, worked: &Worked) -> Markup {
    let words = job.words();
    let Some(stage) = worked.plan.lifting.done() else {
        return html! {
            p { "The lifts wait for the floor." }
            @for reason in worked.plan.lifting.reasons() {
                p { (said::reason(reason, words)) }
            }
        };
    };
    match &stage.outcome {
        Outcome::Reached(plan) => reached(job, worked, stage, plan, words),
        Outcome::CannotBeDone(why) => html! {
            div .warn {
                strong { "It cannot be done as asked" }
                ul { @for sentence in &why.words { li { (words.sentence(sentence)) } } }
            }
        },
        Outcome::Refused(faults) => html! {
            div .warn {
                strong { "The goal cannot be worked on" }
                ul { @for fault in faults { li { (fault.to_string()) } } }
            }
        },
    }
}

fn reached(
    job: &JobView,
    worked: &Worked,
    stage: &LiftingStage,
    plan: &LiftPlan,
    words: Words,
) -> Markup {
    let (_, several) = words.supports();
    let totals = &plan.outcome.totals;
    let packing = worked.plan.packing.done();
    html! {
        p .big-number {
            strong { (totals.touched) " " (several) } " to move, " (words.length(totals.lift)) " in all"
        }
        p { "Target: " (stage.target.from)
            @if let Some(level) = stage.target.level { ", " (words.level(level)) }
            ". Worst point after: " (words.length(totals.worst_departure)) " from it."
        }
        (cautions(&worked.plan))
        @if let Some(picture) = pictures::lifts(job) { (picture) }
        @if let Some(packing) = packing { (table(stage, packing, plan, words)) }
        @if let Some(picture) = pictures::carried(job) {
            details { summary { "Which " (several) " carry what" } (picture) }
        }
    }
}

fn table(stage: &LiftingStage, packing: &PackingStage, plan: &LiftPlan, words: Words) -> Markup {
    let (_, packers) = words.packers();
    let by_hand: Vec<_> = stage.by_hand.iter().map(|(support, _)| support).collect();
    html! {
        @for reason in &packing.cannot { p .error { strong { "It cannot be packed so: " } (said::reason(reason, words)) } }
        table {
            thead { tr {
                th scope="col" { (words.support()) } th scope="col" { "Lift, " (words.unit()) } th scope="col" { (packers) }
            } }
            tbody {
                @for lift in &plan.outcome.lifts {
                    @let packed = packing.supports.iter().find(|packed| packed.support == lift.id);
                    tr {
                        th scope="row" { (lift.id) }
                        td { (words.signed(lift.lift)) @if by_hand.contains(&&lift.id) { " by hand" } }
                        td { @if let Some(stack) = packed.and_then(|packed| packed.stack.as_ref()) {
                            (stack.pieces.iter().map(|&piece| words.thickness(piece)).collect::<Vec<_>>().join(" + "))
                        } }
                    }
                }
            }
        }
    }
}

/// What a goal would come to that is not saved: `goal` in the query is its form as JSON.
pub fn preview(job: &JobView, query: &str) -> Response {
    let goal = value_of(query, "goal").and_then(|text| serde_json::from_str(&text).ok());
    let Some(goal) = goal else {
        return Response::html(400, html! { p .warn { "This goal could not be read." } });
    };
    let mut folded = job.folded.clone();
    folded.form.goal = Some(goal);
    let tried = JobView::of_folded(job.id, folded, Depth::Passes);
    Response::html(
        200,
        html! {
            p .hint { "Not saved yet. With this goal:" }
            (faults(&tried.faults))
            @if let Some(worked) = &tried.worked { (brief(worked)) }
        },
    )
}

/// What lifts come to, in a few lines.
fn brief(worked: &Worked) -> Markup {
    let words = worked.words();
    let (one, several) = words.supports();
    let Some(stage) = worked.plan.lifting.done() else {
        return html! { p { (said::why(&worked.plan, StageName::Lift, words)) } };
    };
    let Outcome::Reached(plan) = &stage.outcome else {
        return html! { p .warn { (said::why(&worked.plan, StageName::Lift, words)) } };
    };
    let totals = &plan.outcome.totals;
    let most = plan.outcome.lifts.iter().max_by(|a, b| a.lift.total_cmp(&b.lift));
    html! {
        p .big-number {
            strong { (said::count(totals.touched, one, several)) } " to move, " (words.length(totals.lift)) " in all"
        }
        p { "To " (words.level(plan.outcome.plane.height)) " (" (stage.target.from) "). "
            @if let Some(most) = most { "Most at " (most.id) ": " (words.signed(most.lift)) ". " }
            "Worst point after: " (words.length(totals.worst_departure)) " from it."
        }
        @if let Some(passes) = worked.plan.passes.done() {
            p { (said::count(passes.passes.passes.len(), "pass", "passes")) "." }
        }
        @for stop in said::stops(&worked.plan, words) { p .warn { (stop) } }
    }
}

fn goal(job: &JobView) -> Markup {
    let goal = job.folded.form.goal.clone().unwrap_or_default();
    let (kind, value, point) = match &goal.height {
        None => ("highest", None, None),
        Some(HeightForm::Height(Quantity::Text(word))) if word == "highest" => {
            ("highest", None, None)
        }
        Some(HeightForm::Height(Quantity::Text(word))) if word == "free" => ("free", None, None),
        Some(HeightForm::Height(level)) => ("level", Some(crate::layout::typed(level)), None),
        Some(HeightForm::Point(point)) => {
            ("point", point.offset.as_ref().map(crate::layout::typed), Some(point.point.clone()))
        }
    };
    let prefer = goal.prefer;
    html! {
        section aria-labelledby="goal" {
            h2 #goal { "The goal" }
            form data-make="goal" data-form=(serde_json::to_string(&goal).unwrap_or_default()) {
                label { "Bring the floor to"
                    select name="kind" {
                        @for (word, said) in [
                            ("highest", "its highest point"), ("free", "whatever height suits it best"),
                            ("point", "a point that was read"), ("level", "a level"),
                        ] { option value=(word) selected[word == kind] { (said) } }
                    }
                }
                label { "Point" input name="point" value=[point]; }
                label { "Level, or height above the point" input name="value" inputmode="decimal" value=[value]; }
                label { "Prefer"
                    select name="prefer" {
                        @for (word, said, is) in [
                            ("least-squares", "the most even floor", matches!(prefer, None | Some(PreferForm::LeastSquares))),
                            ("smallest-largest", "the best worst point", prefer == Some(PreferForm::SmallestLargest)),
                            ("least-lift", "the least lift", prefer == Some(PreferForm::LeastLift)),
                            ("fewest-supports", "the fewest supports", prefer == Some(PreferForm::FewestSupports)),
                        ] { option value=(word) selected[is] { (said) } }
                    }
                }
                label { "Every point within"
                    input name="level_tolerance" inputmode="decimal" value=[goal.level_tolerance.as_ref().map(crate::layout::typed)]; }
                button .main type="submit" { "Work it out" }
            }
            div #preview aria-live="polite" {}
        }
    }
}
