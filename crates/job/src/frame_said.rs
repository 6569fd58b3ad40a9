//! How the frame is spoken of, in text, on paper and on a phone alike.

use crate::said::{count, reasons};
use crate::words::{Words, percent};
use floorwright_engine::frame::{Bent, Carrying, FrameSpec, FrameState, Run, WIDEST};
use floorwright_engine::ids::SupportId;
use floorwright_engine::passes::{BentAtEnd, FrameCase, MostBent, PassCheck};
use floorwright_engine::plan::{FrameChoice, FrameStage, Job, OnFrame, Plan, StageName};
use floorwright_engine::site::Site;
use floorwright_engine::units::{Force, Length};
use std::collections::BTreeSet;

/// More names than this are counted, not listed.
const MOST_NAMES: usize = 12;

/// More timbers than this are counted, not listed.
pub const MOST_BENT: usize = 8;

/// Names in a row: `A1, A2 and 3 more`.
pub fn names<'a>(supports: impl IntoIterator<Item = &'a SupportId>) -> String {
    first_of(supports)
}

fn first_of(named: impl IntoIterator<Item = impl ToString>) -> String {
    let all: Vec<String> = named.into_iter().map(|one| one.to_string()).collect();
    let shown = all.iter().take(MOST_NAMES).cloned().collect::<Vec<_>>().join(", ");
    match all.len().checked_sub(MOST_NAMES) {
        None | Some(0) => shown,
        Some(more) => format!("{shown} and {more} more"),
    }
}

/// A timber with the place where it is most bent: `joist J4 at (1800, 3600), by B2`.
pub fn place_of(bent: &Bent, spec: &FrameSpec, site: &Site, words: Words) -> String {
    match run_of(&bent.timber, spec) {
        Some(run) => {
            format!("{} {}", bent.timber, place_along(run, bent.along, site, words))
        }
        None => bent.timber.clone(),
    }
}

fn run_of<'a>(timber: &str, spec: &'a FrameSpec) -> Option<&'a Run> {
    let bearer = spec.bearers.iter().find(|bearer| timber == format!("bearer {}", bearer.id));
    let joist = || spec.joists.iter().find(|joist| timber == format!("joist {}", joist.id));
    bearer.map(|bearer| &bearer.run).or_else(|| joist().map(|joist| &joist.run))
}

fn place_along(run: &Run, along: Length, site: &Site, words: Words) -> String {
    let place = run.place(along);
    let nearest =
        site.supports().iter().min_by(|a, b| a.at.distance(place).total_cmp(&b.at.distance(place)));
    match nearest {
        Some(support) => format!("at {}, by {}", words.place(place), support.id),
        None => format!("at {}", words.place(place)),
    }
}

/// Where a place along a named timber is, for a message that only gives the distance.
pub fn where_is(
    timber: &str,
    along: Length,
    spec: &FrameSpec,
    site: &Site,
    words: Words,
) -> Option<String> {
    Some(place_along(run_of(timber, spec)?, along, site, words))
}

/// How far a timber is bent: the share of its strength, or the stress where that is not known.
pub fn how_bent(bent: &Bent) -> String {
    match bent.share {
        Some(share) => format!("{} of its strength", percent(share)),
        None => format!("{} (its strength is not known)", bent.stress),
    }
}

/// A timber at its most bent under some assumptions: what, where, how far, and when.
pub fn most_bent(found: &MostBent, spec: &FrameSpec, site: &Site, words: Words) -> String {
    let place = place_of(&found.bent, spec, site, words);
    format!("{place}: {}{}", how_bent(&found.bent), if_so(found.case, spec))
}

/// `, if the timber has set`; nothing where one share of set sag is taken.
fn if_so(case: FrameCase, spec: &FrameSpec) -> String {
    if_timber(case, spec).map_or(String::new(), |case| format!(", {case}"))
}

/// The share of today's sag that is taken as kept, if only one is taken (a ratio).
pub fn one_share(spec: &FrameSpec) -> Option<f64> {
    let (springy, set) = spec.set_share;
    (springy == set).then_some(set)
}

/// Under which end of the set share something happens, if there are two.
pub fn if_timber(case: FrameCase, spec: &FrameSpec) -> Option<&'static str> {
    let (springy, set) = spec.set_share;
    if springy == set {
        None
    } else if case.set_share == set {
        Some("if the timber has set")
    } else {
        Some("if the timber springs back")
    }
}

/// A timber that is bent, and what has to be so for it: `if the timber has set`.
pub type BentIfSo<'a> = (&'a Bent, Option<String>);

/// What is bent most on the way, and what ends bent too far, each with what has to be so.
pub fn bent_by_passes<'a>(on_frame: &'a OnFrame, spec: &FrameSpec) -> Vec<BentIfSo<'a>> {
    let check = &on_frame.check;
    let ends = check.bent_at_end.iter().map(|end| &end.most_bent);
    let found = check.peaks.share.iter().chain(ends);
    found.map(|found| (&found.bent, if_case(found.case, spec))).collect()
}

/// What is bent most in a state, each with what has to be so.
pub fn bent_in_state<'a>(state: &'a FrameState, spec: &FrameSpec) -> Vec<BentIfSo<'a>> {
    let one_share = one_share(spec).is_some();
    let words = ["if the timber springs back", "if the timber has set"];
    let both = [&state.bearer, &state.joist].into_iter().flat_map(|kind| kind.iter().zip(words));
    both.filter_map(|(bent, if_so)| Some((bent.as_ref()?, (!one_share).then(|| if_so.to_owned()))))
        .collect()
}

/// `if the timber has set and loads are 25 % more`, as far as there is more than one case.
fn if_case(case: FrameCase, spec: &FrameSpec) -> Option<String> {
    let doubt = case.loads.dead - 1.0;
    let loads = (doubt != 0.0).then(|| {
        let which = if doubt > 0.0 { "more" } else { "less" };
        format!("loads are {} {which}", percent(doubt.abs()))
    });
    match (if_timber(case, spec), loads) {
        (Some(timber), Some(loads)) => Some(format!("{timber} and {loads}")),
        (Some(timber), None) => Some(timber.to_owned()),
        (None, loads) => loads.map(|loads| format!("if {loads}")),
    }
}

/// A share beyond 100 %, which rounding must not bring back to it.
fn beyond_all(share: f64) -> String {
    let (said, all) = (percent(share), percent(1.0));
    if said == all { format!("more than {all}") } else { said }
}

/// What the two ends of the set share mean, in one sentence.
pub fn what_set_means(spec: &FrameSpec) -> String {
    let (ends, both) = ends_of_set(spec);
    let doubt = percent(spec.load_doubt);
    format!(
        "{ends}, and a range covers {both}, loads {doubt} less or more, and what the readings may \
         be off."
    )
}

/// The same of passes that were gone through under these cases, of many supports not all of them.
pub fn what_set_means_on_the_way(spec: &FrameSpec, cases: &[FrameCase]) -> String {
    let only_heavier = !cases.is_empty() && cases.iter().all(|case| case.loads.dead > 1.0);
    if !only_heavier {
        return what_set_means(spec);
    }
    let (ends, both) = ends_of_set(spec);
    let doubt = percent(spec.load_doubt);
    format!(
        "{ends}, and a range covers {both}, and what the readings may be off. The supports are so \
         many that the passes are gone through under loads {doubt} more only, not under lighter \
         ones: the least of each range is not the least there can be."
    )
}

/// What is taken as kept of the sag, and what a range over it covers.
fn ends_of_set(spec: &FrameSpec) -> (String, &'static str) {
    let (springy, set) = spec.set_share;
    let ends = if springy == set {
        format!(
            "Old timber keeps part of its bend for good: {} of today's sag is taken as kept",
            percent(set)
        )
    } else {
        format!(
            "Old timber keeps part of its bend for good, and nobody can see how much: \"springs\" \
             takes {} of today's sag as kept, \"has set\" {}",
            percent(springy),
            percent(set)
        )
    };
    (ends, if springy == set { "that" } else { "both" })
}

/// How many supports carry nothing and how many may: the heading of what is carried.
pub fn how_many_hang(state: &FrameState, when: &str, words: Words) -> String {
    let n_with = |carrying| state.supports.iter().filter(|one| one.carrying == carrying).count();
    let (hang, may, n) = (n_with(Carrying::Hangs), n_with(Carrying::MayHang), state.supports.len());
    let (one, several) = words.supports();
    let which = if n == 1 { one } else { several };
    match (hang, may) {
        (0, 0) => format!("Every one of the {n} {which} carries {when}"),
        (0, may) => format!("{may} of {n} {which} may carry nothing {when}"),
        (hang, 0) => format!("{hang} of {n} {which} {} nothing {when}", carry(hang)),
        (hang, may) => {
            format!("{hang} of {n} {which} {} nothing {when}, and {may} more may", carry(hang))
        }
    }
}

fn carry(number: usize) -> &'static str {
    if number == 1 { "carries" } else { "carry" }
}

/// Timbers that end bent too far, each once at its worst, worst first.
pub fn worst_of_each(bent_at_end: &[BentAtEnd]) -> Vec<&BentAtEnd> {
    let share = |end: &BentAtEnd| end.most_bent.bent.share.unwrap_or_default();
    let mut worst_first: Vec<&BentAtEnd> = bent_at_end.iter().collect();
    worst_first.sort_by(|a, b| share(b).total_cmp(&share(a)));
    let mut seen = BTreeSet::new();
    worst_first.retain(|end| seen.insert(end.most_bent.bent.timber.as_str()));
    worst_first
}

/// Timbers that end bent too far, whatever the order of moves, in words.
pub struct BentBeyond {
    /// How many there are, and beyond what.
    pub title: String,
    /// The worst of them, a sentence each.
    pub timbers: Vec<String>,
    /// What to do about them.
    pub way_out: &'static str,
}

/// The timbers that a plan leaves bent beyond the limit; `None` if there are none.
pub fn bent_beyond(job: &Job, plan: &Plan, words: Words) -> Option<BentBeyond> {
    let on_frame = plan.passes.done().and_then(|stage| stage.on_frame.as_ref())?;
    let spec = plan.frame.done()?.frame.spec();
    let worst_first = worst_of_each(&on_frame.check.bent_at_end);
    if worst_first.is_empty() {
        return None;
    }
    let timber = |end: &&BentAtEnd| {
        let found = &end.most_bent;
        let if_so = if_timber(found.case, spec).map_or(String::new(), |case| format!("{case}: "));
        format!(
            "{if_so}{}, to {} (today, under the same loads, {})",
            place_of(&found.bent, spec, &job.site, words),
            how_bent(&found.bent),
            percent(end.share_today),
        )
    };
    let mut timbers: Vec<String> = worst_first.iter().take(MOST_BENT).map(timber).collect();
    if worst_first.len() > MOST_BENT {
        timbers.push(format!("and {} more, all less", worst_first.len() - MOST_BENT));
    }
    Some(BentBeyond {
        title: format!(
            "{} bent beyond {} of the strength, whatever the order",
            count(worst_first.len(), "timber may end", "timbers may end"),
            percent(job.limits.bending_share.value)
        ),
        timbers,
        way_out: "Go slowly and listen, or lift less there, or ask an engineer.",
    })
}

/// How far timber may be bent on the way, and why.
pub fn bending_limit(job: &Job) -> String {
    format!(
        "timber bent to at most {} of its strength, or a twentieth more than it is at the start or the \
         end, where that is more: {}",
        percent(job.limits.bending_share.value),
        job.limits.bending_share.reason
    )
}

/// What a model of bearers and joists leaves out.
pub const NOT_MODELLED: [&str; 5] = [
    "rot, borer, splits, notches and splices; soft or settling ground",
    "joists that lift off a bearer; the grip of boards and walls, which hold a floor together",
    "walls that are stiff in their own plane and carry across a soft support",
    "sideways stability of the house, of jacks and of stacks; friction",
    "creep while the work goes on; the little that timber gives in shear",
];

/// Supports that hang free of their bearer at one end of the set share and at the other.
pub fn hang_if(state: &FrameState) -> [Vec<&SupportId>; 2] {
    let hanging = |set: bool| {
        state
            .supports
            .iter()
            .filter(|load| (if set { load.set } else { load.springy }) <= Force::ZERO)
            .map(|load| &load.support)
            .collect()
    };
    [hanging(false), hanging(true)]
}

/// What to do about a timber that a lift may break.
pub const LIFT_LESS: &str = "Lift less there, or ask an engineer before anybody jacks.";

/// A sentence for each timber that may break, worst first: bent beyond all of its strength.
pub fn may_break(found: Vec<BentIfSo<'_>>, way_out: &str) -> Vec<String> {
    let share = |(bent, _): &BentIfSo<'_>| bent.share.unwrap_or_default();
    let mut beyond: Vec<_> = found.into_iter().filter(|one| share(one) > 1.0).collect();
    beyond.sort_by(|a, b| share(b).total_cmp(&share(a)));
    let mut seen = BTreeSet::new();
    beyond.retain(|(bent, _)| seen.insert(bent.timber.as_str()));
    let sentence = |(bent, if_so): &BentIfSo<'_>| {
        let if_so = if_so.as_ref().map_or(String::new(), |if_so| format!(" ({if_so})"));
        let share = beyond_all(bent.share.unwrap_or_default());
        format!(
            "{} may be bent to {share} of its strength{if_so}: it may break. {way_out}",
            bent.timber
        )
    };
    let mut sentences: Vec<String> = beyond.iter().take(MOST_BENT).map(sentence).collect();
    if beyond.len() > MOST_BENT {
        sentences.push(format!("and {} more may break, all bent less", beyond.len() - MOST_BENT));
    }
    sentences
}

/// What may break if this plan is worked by, worst first: on the way through its passes, or once all is
/// packed where there are no passes.
pub fn may_break_by(plan: &Plan) -> Vec<String> {
    let Some(frame) = plan.frame.done() else { return Vec::new() };
    let spec = frame.frame.spec();
    let on_frame = plan.passes.done().and_then(|stage| stage.on_frame.as_ref());
    let found = match on_frame {
        Some(on_frame) => bent_by_passes(on_frame, spec),
        None => {
            let packing = plan.packing.done().filter(|packing| packing.cannot.is_empty());
            let after = packing.and_then(|packing| packing.carried.as_ref());
            after
                .filter(|after| !after.rocks)
                .map(|after| bent_in_state(after, spec))
                .unwrap_or_default()
        }
    };
    may_break(found, LIFT_LESS)
}

/// What to choose jacks by and to watch on the way through passes: the largest force and the rating that
/// it takes, the timbers that are bent most, and those that end bent too far.
pub fn on_the_way(job: &Job, plan: &Plan, words: Words) -> Vec<String> {
    let on_frame = plan.passes.done().and_then(|stage| stage.on_frame.as_ref());
    let (Some(on_frame), Some(frame)) = (on_frame, plan.frame.done()) else { return Vec::new() };
    let (check, spec) = (&on_frame.check, frame.frame.spec());
    let mut said = Vec::new();
    if let Some(jack) = &check.peaks.jack {
        said.push(format!(
            "No jack on its {}'s own line pushes more than {}, at {}{}; one that stands beside it pushes \
             more.",
            words.supports().0,
            words.force_up(jack.most),
            jack.support,
            if_loads(job)
        ));
    }
    if let Some(needed) = check.rating_needed {
        said.push(format!(
            "Each jack is to be rated {} or more{}, used to {} of it; more where it stands beside.",
            words.force_up(needed),
            if_loads(job),
            percent(job.limits.jack_derating.value)
        ));
    }
    for (what, found) in [("bearer", &check.peaks.bearer), ("joist", &check.peaks.joist)] {
        if let Some(found) = found {
            let bent = most_bent(found, spec, &job.site, words);
            said.push(format!("Most bent {what} on the way: {bent}."));
        }
    }
    let n_bent = worst_of_each(&check.bent_at_end).len();
    if n_bent > 0 {
        said.push(format!(
            "{} bent beyond {} of the strength when all is done: go slowly and listen, lift less there, or \
             ask an engineer.",
            count(n_bent, "timber may end", "timbers may end"),
            percent(job.limits.bending_share.value)
        ));
    }
    if !check.may_stop.is_empty() {
        said.push(
            "On the way a limit may be passed under some of what is assumed: go slowly, and stop if anything \
             cracks or resists."
                .to_owned(),
        );
    }
    said
}

/// What one pass asks to be watched: the timber that it bends most, and who may come to hang free.
pub fn in_pass(job: &Job, frame: &FrameStage, check: &PassCheck, words: Words) -> Vec<String> {
    let mut said = Vec::new();
    if let Some(found) = &check.most_bent {
        let bent = most_bent(found, frame.frame.spec(), &job.site, words);
        said.push(format!("most bent timber: {bent}"));
    }
    let free: Vec<String> = check
        .moves
        .iter()
        .enumerate()
        .filter(|(_, one)| !one.lost_contact.is_empty())
        .map(|(idx, one)| format!("move {}: {}", idx + 1, names(&one.lost_contact)))
        .collect();
    if !free.is_empty() {
        said.push(format!("may come to hang free: {}", free.join("; ")));
    }
    said
}

/// Which loads nobody gave, if any: all of them, or the walls' or the floor's.
pub fn assumed_loads(job: &Job) -> Option<&'static str> {
    let FrameChoice::Asked { given, .. } = &job.frame else { return None };
    match (given.walls.is_none(), given.floor_load.is_none()) {
        (true, true) if given.point_loads.is_empty() => {
            Some("every load is assumed, none is given")
        }
        (true, true) => Some("the loads of walls and floor are assumed"),
        (true, false) => Some("the walls and what they weigh are assumed"),
        (false, true) => Some("what the floor weighs is assumed"),
        (false, false) => None,
    }
}

/// To stand behind a force: what it hangs on, or nothing where the loads are given.
pub fn if_loads(job: &Job) -> String {
    assumed_loads(job).map_or(String::new(), |assumed| format!(" ({assumed})"))
}

/// What is known to be missing from the frame or to speak against it: supports that were not read,
/// air that was measured and that the frame would close, floor and walls that nothing carries.
pub fn doubts(job: &Job, frame: &FrameStage, words: Words) -> Vec<String> {
    let mut doubts: Vec<String> = not_read(frame).into_iter().collect();
    for (support, gap) in frame.gaps_closed(job) {
        doubts.push(format!(
            "{} of air was measured at {support}, and this frame would close it: its timbers are \
             taken too soft there, its loads too heavy, or a reading is off. What {support} and its \
             neighbours are said to carry is not what stands there",
            words.exact(gap)
        ));
    }
    let left_out: Vec<&String> =
        frame.frame.spec().assumed.iter().filter(|said| said.starts_with("left out")).collect();
    doubts.extend(holes(job, frame, words));
    let bare = frame.bare_floor_m2(job);
    if bare > 0.0 && left_out.is_empty() {
        doubts.push(format!(
            "about {bare:.0} m² of the rooms' floor lies beyond the joists, or between joists too far \
             apart, and weighs nothing here: the loads are too small. Correct the rooms, or give \
             bearers and joists there"
        ));
    }
    doubts.extend(left_out.into_iter().map(|said| format!("{said}; it weighs nothing here")));
    doubts
}

/// Floor that may be there and weighs nothing, for joists lie too far apart or alone.
fn holes(job: &Job, frame: &FrameStage, words: Words) -> Vec<String> {
    const MOST: usize = 4;
    let holes = frame.holes_in_floor(job);
    let mut said: Vec<String> = (holes.iter().take(MOST))
        .map(|hole| {
            let [a, b] = &hole.between;
            format!(
                "joists {a} and {b} lie {} apart: beyond {} that is taken as a hole, and no floor is \
                 counted between them. If there is one, the loads are too small: give the joists \
                 between, or the spacing as it is",
                words.exact(hole.apart),
                words.exact(WIDEST)
            )
        })
        .collect();
    if holes.len() > MOST {
        said.push(format!("and between {} more pairs of joists", holes.len() - MOST));
    }
    let alone = frame.frame.joists_alone();
    if !alone.is_empty() {
        let (carry, lies) = if alone.len() == 1 { ("carries", "it") } else { ("carry", "them") };
        said.push(format!(
            "no other joist lies beside {}, so that {lies} {carry} no floor: the loads are too small. \
             Give the joists on either side",
            first_of(alone)
        ));
    }
    said
}

/// Names the supports whose height is only taken from their neighbours.
fn not_read(frame: &FrameStage) -> Option<String> {
    let ids = frame.frame.supports();
    let not_read: Vec<&SupportId> = frame.not_read.iter().map(|&support| &ids[support]).collect();
    let taken = match not_read.len() {
        0 => return None,
        1 => "its bearer is",
        _ => "their bearers are",
    };
    Some(format!(
        "the floor over {} was not read: {taken} taken to be as high as the nearest that was",
        names(not_read)
    ))
}

/// The region's rules name one source for many things: it is printed with the first of them.
pub fn source_once(job: &Job, assumed: &[String]) -> Vec<String> {
    let FrameChoice::Asked { rules, .. } = &job.frame else { return assumed.to_vec() };
    let source = format!("({})", rules.source.trim().trim_end_matches('.'));
    let mut is_said = false;
    let once = |sentence: &String| {
        if !sentence.contains(&source) {
            return sentence.clone();
        }
        let was_said = std::mem::replace(&mut is_said, true);
        if was_said { sentence.replace(&source, "(as above)") } else { sentence.clone() }
    };
    assumed.iter().map(once).collect()
}

/// What keeps the frame out of the results; `None` if it is in.
pub fn why_none(job: &Job, plan: &Plan, words: Words) -> Option<String> {
    if plan.frame.done().is_some() {
        return None;
    }
    if let FrameChoice::Off { why } = &job.frame {
        return Some(format!("the frame is left out ({why})"));
    }
    Some(format!("there is no frame: {}", reasons(plan.reasons(StageName::Frame), words)))
}
