//! The height to bring the floor to, and what it costs in lift.

use crate::layout::{Shell, cautions, faults};
use crate::pictures;
use crate::respond::{Response, value_of};
use crate::screens::readings::read_again;
use crate::view::{Depth, JobView, Worked};
use floorwright_engine::plan::{LiftingStage, PackingStage, Plan, StageName};
use floorwright_engine::target::{LiftPlan, Outcome};
use floorwright_job::form_v1::{HeightForm, PreferForm, Quantity};
use floorwright_job::words::Words;
use floorwright_job::{frame_said, said};
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
            ". "
            @match packing.and_then(|packing| packing.outcome.worst()) {
                Some(worst) => { "Furthest off on these packers: " (worst.id) " by " (words.length(worst.departure.abs())) "." }
                None => { "Worst point after: " (words.length(totals.worst_departure)) " from it." }
            }
        }
        (first_of_all(&worked.plan, words))
        (cautions(&worked.plan))
        @if let Some(picture) = pictures::lifts(job) { (picture) }
        @if let Some(packing) = packing { (table(worked, stage, packing)) }
        @if let Some(picture) = pictures::carried(job) {
            details { summary { "Which " (several) " carry what" } (picture) }
        }
    }
}

/// What stands before any number: why not to lift by this plan, what may break, what to read again.
pub(super) fn first_of_all(plan: &Plan, words: Words) -> Markup {
    let breaks = frame_said::may_break_by(plan);
    let stops = said::stops(plan, words);
    html! {
        @if !stops.is_empty() {
            div .warn { strong { "Do not lift by this plan" } ul { @for stop in &stops { li { (stop) } } } }
        }
        @if !breaks.is_empty() {
            div .warn { strong { "May break" } ul { @for sentence in &breaks { li { (sentence) } } } }
        }
        (read_again(plan, words))
    }
}

/// What to choose jacks by, and what to watch on the way.
pub(super) fn on_the_way(worked: &Worked, plan: &Plan) -> Markup {
    let said = frame_said::on_the_way(&worked.job, plan, worked.words());
    html! { @if !said.is_empty() { ul { @for sentence in &said { li { (sentence) } } } } }
}

/// Lifts as the packers give them.
fn table(worked: &Worked, stage: &LiftingStage, packing: &PackingStage) -> Markup {
    let words = worked.words();
    let (_, packers) = words.packers();
    let by_hand: Vec<_> = stage.by_hand.iter().map(|(support, _)| support).collect();
    html! {
        @for reason in &packing.cannot { p .error { strong { "It cannot be packed so: " } (said::reason(reason, words)) } }
        table {
            thead { tr {
                th scope="col" { (words.support()) } th scope="col" { "Lift, " (words.unit()) } th scope="col" { (packers) }
            } }
            tbody {
                @for (support, &lift) in worked.job.site.supports().iter().zip(&packing.lifts) {
                    @let packed = packing.supports.iter().find(|packed| packed.support == support.id);
                    tr {
                        th scope="row" { (support.id) }
                        td { (words.signed(lift)) @if by_hand.contains(&&support.id) { " by hand" } }
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
        @for sentence in frame_said::may_break_by(&worked.plan) { p .warn { (sentence) } }
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
