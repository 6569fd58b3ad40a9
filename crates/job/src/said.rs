//! What was found, in sentences that stand alike on a terminal, on paper and on a phone.

use crate::words::{Words, one_in, percent};
use floorwright_engine::frame::Carrying;
use floorwright_engine::ids::PointId;
use floorwright_engine::plan::{
    DeckShape, Job, OddReading, Plan, StageName, StopReason, StraightedgeFinding,
};
use floorwright_engine::record::{
    Finding, Followed, Record, SupportMovement, WorkDone, datum_is_lifted,
};
use floorwright_engine::survey::{Benchmark, Datum, DriftFound, GlobalTest, Reduction, SetupLine};
use floorwright_engine::target::Outcome as Lifts;
use floorwright_engine::units::Length;
use floorwright_engine::verdict::Outcome;

/// What slopes and hollows are looked for over, where nothing else is asked.
const STRAIGHTEDGE: Length = Length::mm(2000.0);

/// The reason of a figure that the job gives without one: for the builder, not for a client.
pub const NO_REASON: &str = "given by the job without a reason";

/// `1 fault`, `3 faults`.
pub fn count(number: usize, one: &str, several: &str) -> String {
    format!("{number} {}", if number == 1 { one } else { several })
}

/// What levels are counted from.
pub fn counted_from(job: &Job, words: Words) -> String {
    match &job.survey.datum {
        Datum::PointIsZero(point) => format!("Counted from {point}, which is called zero."),
        Datum::Free { .. } => {
            "Counted from the mean of the floor: only differences mean something.".to_owned()
        }
        Datum::Benchmarks | Datum::CorrelatedBenchmarks(_) => {
            let mark = |mark: &Benchmark| {
                let level = words.level(mark.level);
                if mark.sd == Length::ZERO {
                    format!("{} held exactly at {level}", mark.point)
                } else {
                    format!("{} at {level} ± {}", mark.point, words.plus_minus(mark.sd))
                }
            };
            let marks: Vec<String> = job.survey.benchmarks.iter().map(mark).collect();
            format!("Counted from {}. Heights are above it, up positive.", marks.join(", "))
        }
    }
}

/// What to read again, the most useful first.
pub fn read_again(plan: &Plan, words: Words) -> Vec<String> {
    let reduction = &plan.reduction;
    let faults =
        reduction.faults.iter().map(|fault| words.sentence(format!("{fault}: {}", fault.hint())));
    let doubts = |again: bool| {
        let doubts = reduction.doubts.iter().filter(move |doubt| doubt.is_read_again() == again);
        doubts.map(move |doubt| words.sentence(doubt.to_string()))
    };
    let suspects = reduction.suspects.iter().map(|suspect| words.sentence(suspect.to_string()));
    let named: Vec<&PointId> =
        reduction.suspects.iter().filter_map(|suspect| suspect.name.point()).collect();
    let odd = plan.floor.done().map_or(&[][..], |floor| &floor.odd);
    let odd = odd.iter().filter(|odd| !named.contains(&&odd.odd.point));
    let odd = odd.map(|odd| odd_sentence(odd, words));
    faults.chain(doubts(true)).chain(suspects).chain(odd).chain(doubts(false)).collect()
}

/// That no reading is spare, and what to do about it.
pub fn nothing_checks(reduction: &Reduction) -> &'static str {
    let found = |setup: &SetupLine| matches!(setup.drift, DriftFound::Found(_));
    if reduction.setups.iter().any(found) {
        "There is no spare reading: the base read again went into the drift, and nothing checks the \
         rest. Read some points twice, and the base once more on the way."
    } else {
        "There is no spare reading, so nothing checks the readings: read the benchmark again at the \
         end, and some points twice."
    }
}

/// Why a reading is to be looked at again: it stands off its neighbours.
pub fn odd_sentence(odd: &OddReading, words: Words) -> String {
    let side = if odd.odd.departure > Length::ZERO { "above" } else { "below" };
    let mut sentence = format!(
        "look at {} again: it stands {} {side} what its neighbours suggest",
        odd.odd.point,
        words.length(odd.odd.departure.abs()),
    );
    if let (Some(setup), Some(written)) = (&odd.setup, odd.written) {
        sentence.push_str(&format!(" (read once, {} from setup {setup})", words.typed(written)));
    }
    if !odd.likely.is_empty() {
        let likely: Vec<String> = odd.likely.iter().map(|&value| words.typed(value)).collect();
        sentence.push_str(&format!("; perhaps {} was meant", likely.join(" or ")));
    }
    sentence.push_str(if odd.written.is_some() {
        ". A hump or a hollow may be real; a second reading tells."
    } else {
        ". Its readings agree with each other, so the hump or hollow is likely real."
    });
    sentence
}

/// How well the readings fit one another, in one sentence.
pub fn fit(reduction: &Reduction) -> String {
    match (reduction.global_test, reduction.s0) {
        (GlobalTest::Passed { .. }, Some(s0)) if s0 < 0.05 => {
            "The readings agree with one another as good as exactly, far better than their stated standard \
             deviations promise: were they read, or copied?"
                .to_owned()
        }
        (GlobalTest::Passed { .. }, Some(s0)) => format!(
            "The readings scatter {s0:.2} times as much as their stated standard deviations \
             promise: that fits."
        ),
        (GlobalTest::Failed { .. }, Some(s0)) => format!(
            "The readings scatter {s0:.2} times as much as their stated standard deviations \
             promise: that is too much. Either a reading is wrong, or the instrument is less sure \
             than stated. Every ± is widened by as much."
        ),
        _ => nothing_checks(reduction).to_owned(),
    }
}

/// The shape of one floor, a sentence each.
pub fn deck(deck: &DeckShape, words: Words) -> Vec<String> {
    let mut said = Vec::new();
    if let Some(plane) = &deck.plane {
        said.push(format!(
            "As a whole it falls {}{}{}.",
            words.fall(plane.fall_per_m, plane.slope),
            plane
                .falls_towards_degrees
                .map_or(String::new(), |degrees| format!(" towards {}", side_of_page(degrees))),
            plane.residual_sd.map_or(String::new(), |sd| format!(
                "; with that taken away it is still uneven by {} (one standard deviation)",
                words.length(sd)
            )),
        ));
    }
    if let Some(steepest) = &deck.steepest {
        said.push(format!(
            "Steepest between points {} or more apart: {}, from {} down to {}, {} over {}.",
            words.plan_length(STRAIGHTEDGE),
            one_in(steepest.slope),
            steepest.from,
            steepest.to,
            words.length(steepest.fall),
            words.plan_length(steepest.distance),
        ));
    }
    said.push(match &deck.straightedge {
        StraightedgeFinding::Found(found) => format!(
            "Under a straightedge of {}: {} is {} {} the line from {} to {} (± {}), or more \
             between the readings.",
            words.length(found.length),
            found.middle,
            words.length(found.deviation.abs()),
            if found.deviation < Length::ZERO { "below" } else { "above" },
            found.ends[0],
            found.ends[1],
            words.plus_minus(found.sd)
        ),
        StraightedgeFinding::Refused { why } => {
            let straightedge = words.plan_length(STRAIGHTEDGE);
            format!(
                "What a straightedge of {straightedge} would show these readings do not tell: {}.",
                words.sentence(why)
            )
        }
    });
    said
}

/// A direction on the plan in words; degrees clockwise from straight up the page.
fn side_of_page(degrees: f64) -> &'static str {
    const SIDES: [&str; 8] = [
        "the top of the plan",
        "the top right of the plan",
        "the right of the plan",
        "the bottom right of the plan",
        "the bottom of the plan",
        "the bottom left of the plan",
        "the left of the plan",
        "the top left of the plan",
    ];
    SIDES[((degrees / 45.0).round() as usize) % 8]
}

/// What came of a lift, in a cell of a table.
pub fn followed(followed: Followed) -> &'static str {
    match followed {
        Followed::AsPredicted => "as predicted",
        Followed::Less => "DID NOT FOLLOW",
        Followed::More => "went further",
        Followed::Moved => "moved, and was not lifted",
        Followed::CannotTell => "too little to tell",
    }
}

/// What a support did whose floor did not follow; `None` if its floor was not read both times.
pub fn fell_behind(moved: &SupportMovement, words: Words) -> Option<String> {
    let found = moved.difference.as_ref()?;
    Some(format!(
        "{}: lifted {}, the floor over it went {}, it should have gone {} (± {} for the difference)",
        moved.support,
        words.signed(moved.lifted),
        words.signed(found.measured),
        words.signed(found.predicted),
        words.plus_minus(found.sd)
    ))
}

/// How movements were held against one another, and how often that calls out a support that did follow.
pub fn how_told(record: &Record, words: Words) -> String {
    let settings = &record.settings;
    let compared = record.steps.iter().chain(&record.whole);
    let any = compared.map(|compared| compared.false_call).max_by(f64::total_cmp);
    let any = any.filter(|any| *any > settings.false_alarm.value).map_or(String::new(), |any| {
        format!(
            " With so many jacked at once, one or more that did follow are called out in up to {} of \
             such comparisons: read the floor there again before you look further.",
            percent(any)
        )
    });
    format!(
        "Called out if the two differ by more than chance would make them in {} of supports that did \
         follow; a lift is taken to be measured to {} ({}).{any}",
        percent(settings.false_alarm.value),
        words.length(settings.lift_sd.value),
        settings.lift_sd.reason
    )
}

/// That an order holds what was used already, if passes were done.
pub fn whole_order(done: &WorkDone) -> Option<String> {
    let n_done = done.passes.len();
    (n_done > 0).then(|| {
        format!(
            "This is the order for the whole plan, from the readings before the work. {} noted as done: what \
             was bought and worked for {} is in it.",
            count(n_done, "pass is", "passes are"),
            if n_done == 1 { "it" } else { "them" }
        )
    })
}

/// That nobody can tell after a lift what came of it, for what levels are counted from goes up with the house;
/// empty if a mark stays.
pub fn no_level_after(job: &Job, plan: &Plan, words: Words) -> Vec<String> {
    let of = |why: &StopReason| {
        format!("After a lift nobody could tell what came of it: {}.", reason(why, words))
    };
    datum_is_lifted(job, plan).iter().map(of).collect()
}

/// What speaks against the plan or its limits.
pub fn finding(finding: &Finding, words: Words) -> String {
    match finding {
        Finding::HeldWasMoved { support, done, why } => {
            format!("{support} was moved by {}, and was to stay: {why}", words.signed(*done))
        }
        Finding::BeyondPlan { support, planned, done } => format!(
            "{support} was moved by {}, the plan says {}",
            words.signed(*done),
            words.signed(*planned)
        ),
        Finding::BeyondLimit { support, done, limit, reason } => format!(
            "{support} was lifted {} in all, the limit is {}: {reason}",
            words.length(*done),
            words.length(*limit)
        ),
        Finding::FasterThanAllowed { pass, support, lift, limit } => format!(
            "{support} was moved by {} in pass {pass}, the limit is {}",
            words.signed(*lift),
            words.length(*limit)
        ),
        Finding::StackDisagrees { pass, support, stack, expected } => format!(
            "{support} stands on {} after pass {pass}, and by gap and lifts it should be {}",
            words.length(*stack),
            words.length(*expected)
        ),
        Finding::NotReadAgain { pass } => format!("the floor was not read after pass {pass}"),
        Finding::NothingNoted { pass } => format!("nothing is noted of pass {pass}"),
    }
}

/// That an order is for what is left, if passes were done.
pub fn left_order(done: &WorkDone) -> Option<String> {
    let last = done.passes.last()?.number;
    Some(format!(
        "This is the order for what is left after pass {last}, from the readings taken since. It is no new quote: \
         what was agreed for the whole stands in the order for the whole plan."
    ))
}

/// That a plan is the one from before the work, if passes were done.
pub fn plan_from_before(done: &WorkDone) -> Option<String> {
    let n_done = done.passes.len();
    (n_done > 0).then(|| {
        format!(
            "This is the plan from the readings before the work, and {} noted as done: nobody lifts by it \
             now. What is left stands in the record and on the run sheet.",
            count(n_done, "pass is", "passes are")
        )
    })
}

/// The answer to a criterion, in two words.
pub fn answer(outcome: &Outcome) -> &'static str {
    match outcome {
        Outcome::Meets => "meets",
        Outcome::DoesNot => "does not",
        Outcome::CannotTell { .. } => "cannot tell",
        Outcome::Refused { .. } => "not judged",
    }
}

/// Whether a support carries, in a word.
pub fn carrying(carrying: Carrying) -> &'static str {
    match carrying {
        Carrying::Carries => "carries",
        Carrying::MayHang => "may hang",
        Carrying::Hangs => "hangs",
    }
}

/// What stands in the way, with the way out behind it.
pub fn reason(reason: &StopReason, words: Words) -> String {
    words.sentence(match &reason.hint {
        Some(hint) => format!("{} ({hint})", reason.what),
        None => reason.what.clone(),
    })
}

/// Reasons one after the other, each with its way out.
pub fn reasons(reasons: &[StopReason], words: Words) -> String {
    reasons.iter().map(|one| reason(one, words)).collect::<Vec<_>>().join("; ")
}

/// Why a stage has no result, with the ways out.
pub fn why(plan: &Plan, stage: StageName, words: Words) -> String {
    let stages = [stage, StageName::Packers, StageName::Lift, StageName::Frame, StageName::Floor];
    let found = stages.into_iter().map(|stage| plan.reasons(stage)).find(|found| !found.is_empty());
    let clash = plan.lifting.done().and_then(|lifting| match &lifting.outcome {
        Lifts::CannotBeDone(explanation) => explanation.words.first(),
        Lifts::Reached(_) | Lifts::Refused(_) => None,
    });
    match (found, clash) {
        (Some(found), _) => reasons(found, words),
        (None, Some(clash)) => words.sentence(format!("the goal cannot be met: {clash}")),
        (None, None) => "nothing was asked for".to_owned(),
    }
}

/// What keeps the lifts and passes of a plan from being worked by, each with the way out; empty if
/// nothing does.
pub fn stops(plan: &Plan, words: Words) -> Vec<String> {
    let packing = plan.packing.done();
    let mut stops: Vec<String> = packing
        .iter()
        .flat_map(|packing| &packing.cannot)
        .map(|reason| match &reason.hint {
            Some(hint) => words.sentence(format!("{}. Way out: {hint}.", reason.what)),
            None => words.sentence(&reason.what),
        })
        .collect();
    let on_frame = plan.passes.done().and_then(|stage| stage.on_frame.as_ref());
    if let Some(found) = on_frame.and_then(|on_frame| on_frame.check.stop.as_ref()) {
        stops.push(words.sentence(format!("{found}. Way out: {}.", found.hint())));
    }
    if stops.is_empty() && plan.passes.done().is_none() && packing.is_some() {
        stops.push(format!("There is no order of moves: {}.", why(plan, StageName::Passes, words)));
    }
    stops
}
