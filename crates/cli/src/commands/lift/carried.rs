//! What the frame says of a lift: what each support carries afterwards, and the shape that no
//! packer takes out.

use crate::commands::frame::said;
use crate::report::Text;
use crate::session::Session;
use crate::text::table::{Side, Table};
use floorwright_engine::frame::{Carrying, FrameState};
use floorwright_engine::influence::InfluenceMethod;
use floorwright_engine::plan::{FrameStage, LiftingStage, PackingStage, Plan, StopReason};
use floorwright_engine::units::Length;
use floorwright_job::said::{carrying, count};
use floorwright_job::words::{Words, percent};

/// More points than this are counted, not listed.
const MOST: usize = 8;

/// What each support carries today and when all is packed.
pub fn say(text: &mut Text, session: &Session, plan: &Plan, packing: &PackingStage, words: Words) {
    let (Some(frame), Some(after)) = (plan.frame.done(), &packing.carried) else { return };
    if !packing.cannot.is_empty() {
        return;
    }
    let (one, _) = words.supports();
    if frame.today.rocks || after.rocks {
        text.heading(&format!("What each {one} carries is not known"));
        said::say_rocks(text, &session.job.site, words);
        return;
    }
    text.heading(&said::how_many_hang(after, "afterwards, the house empty", words));
    say_who_hangs(text, frame, after);
    table(text, frame, after, words);
    if let Some(assumed) = said::assumed_loads(&session.job) {
        text.item("!", format!("{assumed}: each of these forces is only as good as that"));
    }
    text.say(format!("{} {}", words.kilonewton(), said::what_set_means(frame.frame.spec())));
}

/// Supports that hang free when all is packed, by what the timber does.
fn say_who_hangs(text: &mut Text, frame: &FrameStage, after: &FrameState) {
    let [springy, set] = said::hang_if(after);
    let (from, to) = frame.frame.spec().set_share;
    if from == to {
        if !set.is_empty() {
            text.item("!", format!("hang free: {}", said::names(set)));
        }
        return;
    }
    for (if_so, who) in [("springs", springy), ("has set", set)] {
        if !who.is_empty() {
            text.item("!", format!("hang free if the timber {if_so}: {}", said::names(who)));
        }
    }
}

fn table(text: &mut Text, frame: &FrameStage, after: &FrameState, words: Words) {
    let columns = [
        (words.support(), Side::Left),
        ("kN today", Side::Right),
        ("afterwards", Side::Right),
        ("", Side::Left),
    ];
    let mut table = Table::new(&columns);
    for (today, after) in frame.today.supports.iter().zip(&after.supports) {
        table.row([
            after.support.to_string(),
            words.force_range(today.range),
            words.force_range(after.range),
            match after.carrying {
                Carrying::Carries => String::new(),
                other => carrying(other).to_owned(),
            },
        ]);
    }
    text.table(&table);
}

/// Sag and humps between the supports, apart from how far the floor is off level.
pub fn say_between(text: &mut Text, lifting: &LiftingStage, words: Words) {
    let between = &lifting.between_supports;
    let Some(worst) = between.first() else { return };
    let shape = |above: Length| if above < Length::ZERO { "sags" } else { "stands up" };
    let (_, packers) = words.packers();
    text.heading(&format!(
        "Between the {}, which no {packers} take out: {} {} by {}",
        words.supports().1,
        worst.point,
        shape(worst.above),
        words.length(worst.above.abs()),
    ));
    for point in between.iter().take(MOST).skip(1) {
        text.item(
            "-",
            format!(
                "{} {} by {}",
                point.point,
                shape(point.above),
                words.length(point.above.abs())
            ),
        );
    }
    if between.len() > MOST {
        text.item("-", format!("and {} more, all less", between.len() - MOST));
    }
    text.say(
        "That is the bend of the timbers themselves, or of the boards on them, besides what the \
         floor is off level: it takes work on the joists, or a support between.",
    );
}

/// How a lift is taken to move the floor.
pub fn say_influence(
    text: &mut Text,
    session: &Session,
    plan: &Plan,
    lifting: &LiftingStage,
    words: Words,
) {
    let (_, several) = words.supports();
    match (lifting.influence.method(), plan.frame.done()) {
        (InfluenceMethod::Frame, Some(frame)) => {
            let n_assumed = frame.frame.spec().assumed.len();
            text.say(format!(
                "How a lift moves the floor comes from its bearers and joists, which bend over the \
                 {several}: bearers {}, {} in all (floorwright frame lists them).",
                if frame.proposed { "proposed" } else { "as given" },
                count(n_assumed, "thing assumed", "things assumed"),
            ));
        }
        _ => text.say(format!(
            "How a lift moves the floor is taken in straight lines between the {several}, and no \
             load is worked out: {}.",
            said::why_none(&session.job, plan, words).unwrap_or_default()
        )),
    }
}

/// What stops the passes besides the frame and the packers.
fn stopped(plan: &Plan) -> &[StopReason] {
    let can_be_packed = plan.packing.done().is_some_and(|packing| packing.cannot.is_empty());
    if can_be_packed { plan.passes.reasons() } else { &[] }
}

/// Whether the plan is not to be worked by: a stop, or a frame that rocks.
pub fn is_forbidden(plan: &Plan) -> bool {
    let on_frame = plan.passes.done().and_then(|stage| stage.on_frame.as_ref());
    let after = plan.packing.done().and_then(|packing| packing.carried.as_ref());
    let mut states = plan.frame.done().map(|frame| &frame.today).into_iter().chain(after);
    !stopped(plan).is_empty()
        || on_frame.is_some_and(|on_frame| !on_frame.check.passed())
        || states.any(|state| state.rocks)
}

/// Says if there is no order of moves to work by, what may break, and if timbers end bent too far.
pub fn say_passes(text: &mut Text, session: &Session, plan: &Plan, words: Words) {
    for reason in stopped(plan) {
        text.item("!", floorwright_job::said::reason(reason, words));
    }
    let on_frame = plan.passes.done().and_then(|stage| stage.on_frame.as_ref());
    if let Some(stop) = on_frame.and_then(|on_frame| on_frame.check.stop.as_ref()) {
        text.item(
            "!",
            format!(
                "STOP: no order of moves was found that keeps every limit. {stop}. Way out: {}",
                stop.hint()
            ),
        );
    }
    said::may_break_by(plan).iter().for_each(|sentence| text.item("!", sentence));
    let n_bent =
        on_frame.map_or(0, |on_frame| said::worst_of_each(&on_frame.check.bent_at_end).len());
    if n_bent > 0 {
        text.item(
            "!",
            format!(
                "{} bent beyond {} of the strength when all is done: floorwright passes lists them",
                count(n_bent, "timber may end", "timbers may end"),
                percent(session.job.limits.bending_share.value),
            ),
        );
    }
}
