//! How the frame is spoken of, wherever it comes up.

pub use floorwright_job::frame_said::*;

use crate::report::Text;
use crate::session::Session;
use floorwright_engine::frame::{FrameSpec, Timber};
use floorwright_engine::plan::{FrameChoice, FrameStage, Plan, StageName};
use floorwright_engine::site::Site;
use floorwright_job::said::count;
use floorwright_job::words::Words;

/// Names each timber that may break, worst first.
pub fn say_may_break(text: &mut Text, found: Vec<BentIfSo<'_>>, way_out: &str) {
    for sentence in may_break(found, way_out) {
        text.item("!", sentence);
    }
}

/// Says what is known to be missing from the frame or to speak against it.
pub fn say_doubts(text: &mut Text, session: &Session, frame: &FrameStage, words: Words) {
    for doubt in doubts(&session.job, frame, words) {
        text.item("!", doubt);
    }
}

/// Says where what is known of the frame comes from.
pub fn where_from(text: &mut Text, session: &Session, proposed: bool, spec: &FrameSpec) {
    let timbers = format!(
        "{} and {}",
        count(spec.bearers.len(), "bearer", "bearers"),
        count(spec.joists.len(), "joist", "joists")
    );
    text.say(if proposed {
        format!("{timbers}. The bearers are proposed from where the supports stand: none is given.")
    } else {
        format!("{timbers}. The bearers are given in the job.")
    });
    if spec.assumed.is_empty() {
        text.say("Nothing about the frame had to be assumed.");
        return;
    }
    text.say(
        "Every force rests on what is assumed here. Look under the floor, and give what differs:",
    );
    for assumed in source_once(&session.job, &spec.assumed) {
        text.item("-", assumed);
    }
}

/// Names each timber and each given load once, with where its figures come from.
pub fn say_figures(text: &mut Text, session: &Session, spec: &FrameSpec) {
    let bearers = spec.bearers.iter().map(|bearer| &bearer.timber);
    let mut timbers: Vec<&Timber> = Vec::new();
    for timber in bearers.chain(spec.joists.iter().map(|joist| &joist.timber)) {
        if !timbers.contains(&timber) {
            timbers.push(timber);
        }
    }
    for timber in timbers {
        let bending = match timber.strength {
            Some(strength) => format!("strength in bending {}", strength.bending),
            None => "its strength is not known".to_owned(),
        };
        text.item(
            "-",
            format!(
                "{}: E {}, {bending} ({}; {})",
                timber.name, timber.stiffness, timber.source, timber.status
            ),
        );
    }
    let FrameChoice::Asked { given, .. } = &session.job.frame else { return };
    for wall in given.walls.iter().flatten() {
        text.item("-", format!("{}: {} ({})", wall.name, wall.load, wall.source));
    }
    for load in &given.point_loads {
        text.item("-", format!("{}: {} ({})", load.name, load.load, load.source));
    }
    if let Some(floor) = &given.floor_load {
        text.item(
            "-",
            format!("floor: {}, in use {} more ({})", floor.dead, floor.live, floor.source),
        );
    }
}

/// Says of a frame that rocks that it does, and gives no number.
pub fn say_rocks(text: &mut Text, site: &Site, words: Words) {
    let (_, several) = words.supports();
    text.item(
        "!",
        format!(
            "the frame rocks: it is in balance on too few of its {} {several}, so what each \
             carries is not determined, and no load is given. Check that every {} and every bearer \
             is in the job, and the readings there.",
            site.supports().len(),
            words.supports().0,
        ),
    );
}

/// Whether there is a frame, for a program: the frame itself is what `frame --json` gives.
pub fn status(session: &Session, plan: &Plan) -> serde_json::Value {
    let off = match &session.job.frame {
        FrameChoice::Off { why } => Some(why),
        FrameChoice::Asked { .. } => None,
    };
    serde_json::json!({
        "done": plan.frame.done().is_some(),
        "off": off,
        "reasons": plan.reasons(StageName::Frame),
        "proposed": plan.frame.done().map(|frame| frame.proposed),
        "assumed": plan.frame.done().map(|frame| &frame.frame.spec().assumed),
    })
}
