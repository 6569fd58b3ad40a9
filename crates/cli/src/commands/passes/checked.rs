//! What the frame says of the passes: where to stop, what jacks have to push, what bends.

use crate::commands::frame::{jacks, said};
use crate::report::{Text, cautions};
use crate::session::Session;
use floorwright_engine::frame::ForceRange;
use floorwright_engine::passes::{FramePeaks, JackRange, MostBent, PassCheck, Stop, StopReason};
use floorwright_engine::plan::{FrameStage, OnFrame, Plan};
use floorwright_job::cautions::Loads;
use floorwright_job::said::count;
use floorwright_job::words::{Words, percent};

/// With more supports than this the force beside one is not worked out unasked: it takes a frame of its
/// own.
const MOST_BESIDE: usize = 400;

/// Says first of all if this order of moves is not to be worked by, and what may break.
pub fn say_first(text: &mut Text, session: &Session, plan: &Plan, words: Words) {
    let on_frame = plan.passes.done().and_then(|stage| stage.on_frame.as_ref());
    let (Some(on_frame), Some(frame)) = (on_frame, plan.frame.done()) else { return };
    match &on_frame.check.stop {
        Some(stop) => say_stop(text, session, plan, (on_frame, frame), stop, words),
        None => say_may_break(text, on_frame, frame),
    }
}

fn say_may_break(text: &mut Text, on_frame: &OnFrame, frame: &FrameStage) {
    let found = said::bent_by_passes(on_frame, frame.frame.spec());
    said::say_may_break(text, found, said::LIFT_LESS);
}

fn say_stop(
    text: &mut Text,
    session: &Session,
    plan: &Plan,
    (on_frame, frame): (&OnFrame, &FrameStage),
    stop: &Stop,
    words: Words,
) {
    text.heading("STOP: do not lift by this plan");
    let place = place_of_stop(session, frame, stop, words);
    text.item("!", format!("{stop}{}", place.map_or(String::new(), |place| format!("; {place}"))));
    text.item("-", format!("way out: {}", stop.hint()));
    say_may_break(text, on_frame, frame);
    if on_frame.tried.len() > 1 {
        let steps: Vec<String> =
            on_frame.tried.iter().map(|tried| words.exact(tried.step)).collect();
        text.say(format!(
            "No step within a pass keeps every limit; tried: {}. This is the one that gets \
             furthest.",
            steps.join(", ")
        ));
    }
    text.say("No run sheet is given, for it would not be safe to work by.");
    cautions(text, Loads::of(plan));
    // The rating is the way out of one kind of stop; of any other, jacks are not to be chosen yet.
    if matches!(stop.reason, StopReason::Jack { .. }) {
        text.heading("Jacks that this order of moves would take");
        say_rating(text, session, (frame, on_frame), None, words);
    }
    text.heading("What the forces rest on");
    said::say_doubts(text, session, frame, words);
    say_grounds(text, frame, on_frame);
}

fn place_of_stop(
    session: &Session,
    frame: &FrameStage,
    stop: &Stop,
    words: Words,
) -> Option<String> {
    match &stop.reason {
        StopReason::Bending { timber, along, .. } => {
            said::where_is(timber, *along, frame.frame.spec(), &session.job.site, words)
        }
        _ => None,
    }
}

/// The numbers to choose jacks by, and what is bent most.
pub fn say_head(
    text: &mut Text,
    session: &Session,
    plan: &Plan,
    frame: &FrameStage,
    on_frame: &OnFrame,
    words: Words,
) {
    let peaks = &on_frame.check.peaks;
    let (one, _) = words.supports();
    let if_so = said::if_loads(&session.job);
    text.heading(&match &on_frame.check.peaks.jack {
        Some(jack) => format!(
            "Jacks on the {one}s' own lines: none pushes more than {}, at {}{if_so}",
            words.force_up(jack.most),
            jack.support
        ),
        None => "Jacks: nothing is lifted".to_owned(),
    });
    let beside = peaks.jack.as_ref().and_then(|jack| {
        let n_supports = session.job.site.supports().len();
        (n_supports <= MOST_BESIDE).then(|| jacks::beside(session, plan, frame, &jack.support))?
    });
    match &beside {
        Some(beside) => text.item(
            "!",
            format!(
                "a jack that stands beside its {one} pushes more: {} beside {} up to {} if it alone \
                 rises all the way ({} on it). floorwright frame JOB --support NAME gives it for any \
                 other; choose the jack by where it stands",
                words.exact(beside.away),
                beside.support,
                words.force_up(beside.most),
                words.force_up(beside.on_it),
            ),
        ),
        None if peaks.jack.is_some() => text.item(
            "!",
            format!(
                "a jack that stands beside its {one} may push more: floorwright frame JOB --support \
                 NAME says how much; choose the jack by where it stands"
            ),
        ),
        None => {}
    }
    say_rating(text, session, (frame, on_frame), beside.as_ref(), words);
    said::say_doubts(text, session, frame, words);
    for (what, found) in [("bearer", &peaks.bearer), ("joist", &peaks.joist)] {
        if let Some(found) = found {
            text.item(
                "-",
                format!("most bent {what} on the way: {}", bent(found, session, frame, words)),
            );
        }
    }
    if peaks.lost_contact > 0 {
        text.item(
            "-",
            format!(
                "{} free for a while under some assumption: each pass names them",
                count(
                    peaks.lost_contact,
                    &format!("{} hangs", words.supports().0),
                    &format!("{} hang", words.supports().1)
                )
            ),
        );
    }
    let unknown = &on_frame.check.strength_unknown;
    if !unknown.is_empty() {
        text.item(
            "!",
            format!(
                "the strength of {} is not known, so bending has no limit there: {}",
                count(unknown.len(), "timber", "timbers"),
                first_of(unknown)
            ),
        );
    }
    say_bent_at_end(text, session, plan, words);
    say_may_stop(text, frame, &on_frame.check.may_stop);
    say_grounds(text, frame, on_frame);
}

fn first_of(names: &[String]) -> String {
    let shown = names.iter().take(said::MOST_BENT).cloned().collect::<Vec<_>>().join(", ");
    match names.len().checked_sub(said::MOST_BENT) {
        None | Some(0) => shown,
        Some(more) => format!("{shown} and {more} more"),
    }
}

/// The rating that is needed, or the one that is given and what is used of it.
fn say_rating(
    text: &mut Text,
    session: &Session,
    (_, on_frame): (&FrameStage, &OnFrame),
    beside: Option<&jacks::Beside>,
    words: Words,
) {
    let limits = &session.job.limits;
    let (share, reason) = (percent(limits.jack_derating.value), &limits.jack_derating.reason);
    if let Some(rating) = &limits.jack_rating {
        text.item(
            "-",
            format!(
                "your jacks: rated {} ({}), used to {share} of that, {}: {reason}",
                words.force(rating.value),
                rating.reason,
                words.force(rating.value * limits.jack_derating.value),
            ),
        );
    }
    if let Some(needed) = on_frame.check.rating_needed {
        let if_so = said::if_loads(&session.job);
        let line = format!("on the {}s' own lines", words.supports().0);
        text.item(
            "-",
            match &limits.jack_rating {
                Some(_) => {
                    format!("rating needed at that share, {line}: {}{if_so}", words.force_up(needed))
                }
                None => format!(
                    "rating needed, {line}: {} each{if_so}, used to {share} of it ({reason}); the job \
                     does not say what yours are rated for",
                    words.force_up(needed)
                ),
            },
        );
        let for_beside = beside.map(|beside| beside.most / limits.jack_derating.value);
        if let (Some(rating), Some(beside)) = (for_beside.filter(|rating| *rating > needed), beside)
        {
            text.item(
                "-",
                format!(
                    "{} beside {}: {}",
                    words.exact(beside.away),
                    beside.support,
                    words.force_up(rating)
                ),
            );
        }
    }
}

fn bent(found: &MostBent, session: &Session, frame: &FrameStage, words: Words) -> String {
    said::most_bent(found, frame.frame.spec(), &session.job.site, words)
}

/// Timbers that end bent too far, whatever the order of moves.
fn say_bent_at_end(text: &mut Text, session: &Session, plan: &Plan, words: Words) {
    let Some(bent) = said::bent_beyond(&session.job, plan, words) else {
        return;
    };
    text.heading(&bent.title);
    bent.timbers.iter().for_each(|timber| text.item("!", timber));
    text.say(bent.way_out);
}

/// Limits of bending that are passed on the way under some of the assumptions only.
fn say_may_stop(text: &mut Text, frame: &FrameStage, may_stop: &[Stop]) {
    if may_stop.is_empty() {
        return;
    }
    let spec = frame.frame.spec();
    text.heading("On the way a limit may be passed, as far as anybody can tell");
    for stop in may_stop {
        let if_so = stop.case.and_then(|case| said::if_timber(case, spec));
        let if_so = if_so.map_or(String::new(), |case| format!("{case}: "));
        let place = format!("first in pass {}, move {}", stop.pass, stop.move_in_pass);
        text.item("!", format!("{if_so}{place}: {}", stop.reason));
    }
    text.say(
        "Nobody can see which assumption holds, so this does not stop the plan. Watch there, go \
         slowly, and stop if anything cracks or resists; or lift less in a pass.",
    );
}

fn say_grounds(text: &mut Text, frame: &FrameStage, on_frame: &OnFrame) {
    let spec = frame.frame.spec();
    let bearers = if frame.proposed { "proposed" } else { "as given" };
    let assumed = count(spec.assumed.len(), "thing is", "things are");
    text.say(format!(
        "Forces are for the empty house; bearers {bearers}, and {assumed} assumed about the frame \
         (floorwright frame lists them). {}",
        said::what_set_means_on_the_way(spec, &on_frame.check.cases)
    ));
}

/// What one support at a time would do, beside what these passes do.
pub fn say_one_at_a_time(
    text: &mut Text,
    session: &Session,
    frame: &FrameStage,
    on_frame: &OnFrame,
    words: Words,
) {
    let say = |peaks: &FramePeaks| {
        let jack = peaks.jack.as_ref().map(|jack| {
            format!("a jack pushes up to {} at {}", words.force_up(jack.most), jack.support)
        });
        let bent = peaks.share.as_ref().or(peaks.joist.as_ref());
        let bent = bent.map(bent_in_short);
        let parts: Vec<String> = jack.into_iter().chain(bent).collect();
        if peaks.rocks { "the frame rocks".to_owned() } else { parts.join(", ") }
    };
    text.say(format!(
        "On the frame: this way {}; one at a time {}.",
        say(&on_frame.check.peaks),
        say(&on_frame.one_at_a_time.peaks),
    ));
    if let Some(stop) = &on_frame.one_at_a_time.stop {
        let place = match stop {
            StopReason::Bending { timber, along, .. } => {
                said::where_is(timber, *along, frame.frame.spec(), &session.job.site, words)
            }
            _ => None,
        };
        let place = place.map_or(String::new(), |place| format!(" ({place})"));
        text.say(format!("One at a time would stop: {stop}{place}."));
    }
}

fn bent_in_short(found: &MostBent) -> String {
    format!("{} is bent to {}", found.bent.timber, said::how_bent(&found.bent))
}

/// The largest of everything in one pass.
pub fn say_pass(
    text: &mut Text,
    session: &Session,
    frame: &FrameStage,
    check: &PassCheck,
    words: Words,
) {
    if let Some(JackRange { support, least, most }) = &check.jack {
        let range = ForceRange { least: *least, most: *most };
        text.item("-", format!("largest jack force: {} kN at {support}", words.force_range(range)));
    }
    for sentence in said::in_pass(&session.job, frame, check, words) {
        text.item("-", sentence);
    }
}
