//! Where nobody lifts yet, and which moves are to be watched: flags that stand wherever a move is told.

use crate::frame_said::if_timber;
use crate::words::Words;
use floorwright_engine::ids::{PointId, SupportId};
use floorwright_engine::passes::Move;
use floorwright_engine::plan::{Plan, Stage, SupportFacts};
use floorwright_engine::record::Record;
use std::collections::{BTreeMap, BTreeSet};

/// The flag of a move in which a limit may be passed.
pub const WATCH: &str = "WATCH!";

/// Why a support is not to be lifted as things stand.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum NotYet {
    /// The floor there did not follow a lift.
    DidNotFollow,
    /// Its lift rests on readings that are in doubt.
    ReadAgain(Vec<PointId>),
}

impl NotYet {
    /// Its flag, beside the support.
    pub fn mark(&self) -> &'static str {
        match self {
            Self::DidNotFollow => "STOP!",
            Self::ReadAgain(_) => "READ!",
        }
    }

    /// What it means.
    pub fn said(&self) -> String {
        match self {
            Self::DidNotFollow => {
                "lift nothing further here until it is found why the floor did not follow"
                    .to_owned()
            }
            Self::ReadAgain(points) => {
                let points: Vec<String> = points.iter().map(ToString::to_string).collect();
                format!("read {} again before you lift here", points.join(", "))
            }
        }
    }
}

/// Every support that the plan that is worked by moves on a reading in doubt, or where the floor did not
/// follow so far.
pub fn not_yet(plan: &Plan, record: &Stage<Record>) -> BTreeMap<SupportId, NotYet> {
    let supports = plan.lifting.done().into_iter().flat_map(|lifting| &lifting.supports);
    let settled = read_again_and_agree(plan);
    let of = |facts: &SupportFacts| {
        let open = facts.in_doubt.iter().filter(|point| !settled.contains(point));
        let open: Vec<PointId> = open.cloned().collect();
        (!open.is_empty()).then(|| (facts.support.clone(), NotYet::ReadAgain(open)))
    };
    let mut found: BTreeMap<SupportId, NotYet> = supports.filter_map(of).collect();
    if let Stage::Done(record) = record {
        let behind = record.did_not_follow();
        found.extend(behind.iter().map(|moved| (moved.support.clone(), NotYet::DidNotFollow)));
    }
    found
}

/// Points that stand off their neighbours and whose readings agree with each other: reading them once more tells
/// nothing new.
fn read_again_and_agree(plan: &Plan) -> BTreeSet<&PointId> {
    let suspects = plan.reduction.suspects.iter().filter_map(|suspect| suspect.name.point());
    let suspects: BTreeSet<&PointId> = suspects.collect();
    let odd = plan.floor.done().map_or(&[][..], |floor| &floor.odd);
    let agree = odd.iter().filter(|odd| odd.written.is_none()).map(|odd| &odd.odd.point);
    agree.filter(|point| !suspects.contains(point)).collect()
}

/// The first pass of a plan, from 1, that lifts where nobody lifts yet. It and all that come after it are no
/// work yet, for they count on that lift.
pub fn first_not_yet(plan: &Plan, not_yet: &BTreeMap<SupportId, NotYet>) -> Option<usize> {
    let waits = |one: &Move| one.supports.iter().any(|it| not_yet.contains_key(&it.support));
    let passes = plan.passes.done().map_or(&[][..], |stage| &stage.passes.passes);
    passes.iter().find(|pass| pass.moves.iter().any(waits)).map(|pass| pass.number)
}

/// The same as drawings have it: for each such support its flag and what that means.
pub fn flags(plan: &Plan, record: &Stage<Record>) -> BTreeMap<SupportId, (String, String)> {
    let found = not_yet(plan, record).into_iter();
    found.map(|(support, why)| (support, (why.mark().to_owned(), why.said()))).collect()
}

/// A move from which on a limit may be passed under some of what is assumed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct WatchedMove {
    /// The pass of the plan, from 1.
    pub pass: usize,
    /// The move in it, from 1.
    pub move_in_pass: usize,
    /// What to know.
    pub said: String,
}

/// The moves of a plan from which on a limit may be passed, once for each thing that is assumed.
pub fn watched_moves(plan: &Plan, words: Words) -> Vec<WatchedMove> {
    let on_frame = plan.passes.done().and_then(|stage| stage.on_frame.as_ref());
    let (Some(on_frame), Some(frame)) = (on_frame, plan.frame.done()) else { return Vec::new() };
    let spec = frame.frame.spec();
    let mut found: Vec<WatchedMove> = Vec::new();
    for stop in &on_frame.check.may_stop {
        let if_so = stop.case.and_then(|case| if_timber(case, spec));
        let if_so = if_so.map_or(String::new(), |case| format!("{case}, "));
        let said = words.sentence(format!(
            "from here on a limit may be passed: {if_so}{}. Go slowly, watch and listen there",
            stop.reason
        ));
        found.push(WatchedMove {
            pass: stop.pass.max(1),
            move_in_pass: stop.move_in_pass.max(1),
            said,
        });
    }
    found
}
