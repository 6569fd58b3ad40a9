//! The run sheet: what to lift now, one move a line, to be read by torch and written on.

use crate::block::{Block, Blocks, Cells, NO_TICK, Table};
use crate::lifting_plan::{bent_beyond, stops};
use crate::paper::{Content, Paper};
use crate::sheets::Drawings;
use crate::typeset::PaperError;
use floorwright_engine::frame::ForceRange;
use floorwright_engine::ids::{PointId, SupportId};
use floorwright_engine::packers::{Choice, Packing};
use floorwright_engine::passes::{JackRange, MoveCheck, Pass};
use floorwright_engine::plan::{PassesStage, Plan, Stage, StageName, levels_after};
use floorwright_engine::record::{
    Followed, RecordSettings, ToWorkBy, datum_is_lifted, guards_after, marks_that_stay, to_work_by,
};
use floorwright_engine::survey::Datum;
use floorwright_engine::target::Outcome;
use floorwright_engine::units::{Length, Level};
use floorwright_job::cautions::{Loads, cautions, stop_rules};
use floorwright_job::frame_said as said;
use floorwright_job::not_yet::{NotYet, WATCH, WatchedMove, first_not_yet, not_yet, watched_moves};
use floorwright_job::said::{count, fell_behind, followed as said_followed, reasons, why};
use floorwright_job::words::{Words, stack_words};
use std::collections::{BTreeMap, BTreeSet};

/// A floor point that moves less than this in a pass need not be read after it.
const WORTH_READING: Length = Length::mm(0.5);

/// In place of packers, where the same place is lifted again in the pass.
const LATER: &str = "later";

/// What the document says.
pub(crate) fn content(paper: &Paper<'_>) -> Result<Content, PaperError> {
    let nothing = |what| PaperError::Nothing { document: "run sheet", what };
    let left = to_work_by(paper.plan, paper.record).map_err(|why| {
        nothing(format!(
            "passes were done, and what is left is not known: {}",
            reasons(&why, paper.words())
        ))
    })?;
    let n_done = left.n_done();
    let whole = paper.plan;
    let paper = &Paper { plan: left.plan, ..*paper };
    let Some(stage) = paper.plan.passes.done() else {
        return Err(nothing(format!(
            "there are no passes: {}",
            why(paper.plan, StageName::Passes, paper.words())
        )));
    };
    let check = stage.on_frame.as_ref().map(|on_frame| &on_frame.check);
    if let Some(stop) = check.and_then(|check| check.stop.as_ref()) {
        return Err(nothing(format!(
            "these passes are not to be worked by: {}",
            paper.words().sentence(format!("{stop}. Way out: {}", stop.hint()))
        )));
    }
    if stage.passes.passes.is_empty() {
        return Err(nothing("there is nothing to move".to_owned()));
    }
    let lifted = datum_is_lifted(paper.job, paper.plan);
    if !lifted.is_empty() {
        return Err(nothing(format!(
            "after a lift nobody could tell what came of it: {}",
            reasons(&lifted, paper.words())
        )));
    }
    let watch = Watch::of(paper);
    let mut blocks = Blocks::default();
    blocks.framed("What is no work yet", watch.no_work(stage, n_done), true);
    what_is_left(&mut blocks, paper, left);
    works_to(&mut blocks, paper, whole, left);
    head(&mut blocks, paper, stage);
    let mut before: BTreeMap<SupportId, String> = BTreeMap::new();
    at_start(&mut blocks, paper, stage, &mut before);
    let mut so_far = SoFar::at_start(paper);
    for (idx, pass) in stage.passes.passes.iter().enumerate() {
        let checks =
            check.and_then(|check| check.passes.get(idx)).map_or(&[][..], |one| &one.moves);
        let number = Number { pass: n_done + pass.number, of: n_done + stage.passes.passes.len() };
        one_pass(&mut blocks, paper, (pass, number, n_done > 0), checks, (&before, &watch));
        if watch.is_work(pass.number) {
            read_after(&mut blocks, paper, (idx, number), &mut so_far);
        }
        before.extend(
            pass.packing
                .iter()
                .map(|packed| (packed.support.clone(), stack(packed, paper.words()))),
        );
    }
    if watch.stops_at.is_none() {
        whole_stacks(&mut blocks, left, paper.words());
    }
    blocks.heading("When all is done");
    blocks.0.push(Block::Ticks {
        items: [
            format!(
                "{} full width, tight, damp-proofed and fixed at every place that was lifted",
                paper.words().packers().1
            )
            .as_str(),
            "tie-down, bracing and pile fixings put back",
            "gas, water, drains and wires checked at every joint by who is licensed to",
            "the whole floor read again, the benchmark first and last",
            "cracks and doors photographed and measured",
        ]
        .iter()
        .map(ToString::to_string)
        .collect(),
    });
    let mut content = Content::new(
        format!(
            "{}{}, in order",
            count(stage.passes.passes.len(), "pass", "passes"),
            if n_done > 0 { " that are left" } else { "" }
        ),
        blocks,
    );
    content.sheets = Drawings::of(paper).after(n_done).each_pass(|pass| watch.no_work_in(pass));
    Ok(content)
}

/// A pass and how many there are, counted from the beginning of the work.
#[derive(Clone, Copy)]
struct Number {
    pass: usize,
    of: usize,
}

/// That passes were done before, and where the floor did not follow them.
fn what_is_left(blocks: &mut Blocks, paper: &Paper<'_>, left: ToWorkBy<'_>) {
    let (Some(rest), Stage::Done(record)) = (left.rest, paper.record) else { return };
    let words = paper.words();
    let behind = record.did_not_follow();
    let named = behind.iter().filter_map(|moved| fell_behind(moved, words));
    blocks.framed(
        "Lift nothing further here until it is found why the floor did not follow",
        named.collect(),
        true,
    );
    blocks.say(format!(
        "{} done. This sheet is for what is left, by the readings after pass {}. \"Up in all\" and the {} \
         count from how the floor stands now: they come on top of what is there.",
        count(record.passes.len(), "pass is", "passes are"),
        rest.after_pass,
        words.packers().1
    ));
}

/// The height that the sheet works to and the readings that it goes by; once work has begun, beside those of
/// the lifting plan.
fn works_to(blocks: &mut Blocks, paper: &Paper<'_>, whole: &Plan, left: ToWorkBy<'_>) {
    let words = paper.words();
    let Some((height, from)) = height_of(paper.plan) else { return };
    let from = words.sentence(from);
    let height_in_words = words.level(height);
    let surveyed = paper.input.date.as_ref().map_or(String::new(), |date| format!(" of {date}"));
    let Some(rest) = left.rest else {
        blocks.say(format!(
            "This sheet brings the floor to {height_in_words} ({from}), by the readings{surveyed}."
        ));
        return;
    };
    let mut said = format!(
        "This sheet brings the floor to {height_in_words} ({from}), by the readings after pass {}.",
        rest.after_pass
    );
    if let Some((before, of)) = height_of(whole) {
        said += &format!(
            " The lifting plan, by the readings{surveyed} before the work, has {} ({of}).",
            words.level(before),
            of = words.sentence(of)
        );
        if words.level(before) != height_in_words {
            said += " It is the same goal: the point that it hangs on was read again.";
        }
    }
    blocks.say(said);
}

/// The height that a plan brings the floor to, and where that comes from.
pub(crate) fn height_of(plan: &Plan) -> Option<(Level, &str)> {
    let lifting = plan.lifting.done()?;
    match &lifting.outcome {
        Outcome::Reached(found) => Some((found.outcome.plane.height, &lifting.target.from)),
        Outcome::CannotBeDone(_) | Outcome::Refused(_) => None,
    }
}

/// What to watch in each pass, and where nobody lifts yet.
struct Watch {
    not_yet: BTreeMap<SupportId, NotYet>,
    /// The pass from which on nothing is work yet.
    stops_at: Option<usize>,
    moves: Vec<WatchedMove>,
}

impl Watch {
    fn of(paper: &Paper<'_>) -> Self {
        let moves = watched_moves(paper.plan, paper.words());
        let not_yet = not_yet(paper.plan, paper.record);
        let stops_at = first_not_yet(paper.plan, &not_yet);
        Self { not_yet, stops_at, moves }
    }

    /// Whether a pass may be worked by.
    fn is_work(&self, pass: usize) -> bool {
        self.stops_at.is_none_or(|stops_at| pass < stops_at)
    }

    /// From where on nothing is work yet, and why; empty if all of it is.
    fn no_work(&self, stage: &PassesStage, n_done: usize) -> Vec<String> {
        let Some(pass) = self.stops_at else { return Vec::new() };
        let from = format!(
            "Nothing from pass {} on is work yet, and none of it has a box to tick: it counts on lifts where \
             nobody lifts yet. Settle these first, write down what was found, and make this sheet again:",
            n_done + pass
        );
        let passes = stage.passes.passes.iter();
        let moved = passes.flat_map(|pass| &pass.moves).flat_map(|one| &one.supports);
        let moved: BTreeSet<&SupportId> = moved.map(|it| &it.support).collect();
        let waits = self.not_yet.iter().filter(|(support, _)| moved.contains(support));
        let waits = waits.map(|(support, why)| format!("{support} {}: {}", why.mark(), why.said()));
        std::iter::once(from).chain(waits).collect()
    }

    /// What stands across the drawing of a pass that is no work yet.
    fn no_work_in(&self, pass: usize) -> String {
        if self.is_work(pass) { "" } else { "NO WORK YET: see the first page" }.to_owned()
    }

    /// What stands behind a support in its rows.
    fn mark(&self, support: &SupportId, pass: &Pass, move_in_pass: usize) -> String {
        let not_yet = self.not_yet.get(support).map(|not_yet| format!(" {}", not_yet.mark()));
        let is_watched =
            |one: &WatchedMove| (one.pass, one.move_in_pass) == (pass.number, move_in_pass);
        let watch = self.moves.iter().any(is_watched).then(|| format!(" {WATCH}"));
        not_yet.into_iter().chain(watch).collect()
    }

    /// What stands above the moves of a pass.
    fn of_pass(&self, pass: &Pass) -> Vec<String> {
        let moved: BTreeSet<&SupportId> =
            pass.moves.iter().flat_map(|one| &one.supports).map(|moved| &moved.support).collect();
        let not_yet = self.not_yet.iter().filter(|(support, _)| moved.contains(support));
        let not_yet =
            not_yet.map(|(support, why)| format!("{support} {}: {}", why.mark(), why.said()));
        let no_work = (!self.is_work(pass.number)).then(|| {
            "NO WORK YET, and no box to tick: it counts on lifts where nobody lifts yet.".to_owned()
        });
        let watch = self.moves.iter().filter(|one| one.pass == pass.number);
        let watch = watch.map(|one| format!("Move {} {WATCH}: {}", one.move_in_pass, one.said));
        no_work.into_iter().chain(not_yet).chain(watch).collect()
    }
}

/// What stands at each support in the end, where something stands there already.
fn whole_stacks(blocks: &mut Blocks, left: ToWorkBy<'_>, words: Words) {
    let Some(rest) = left.rest else { return };
    let (_, packers) = words.packers();
    let columns = [(words.support(), Cells::Words), (packers, Cells::Words), ("", Cells::Tick)];
    let mut table = Table::new(
        format!("After the last pass, as one stack of the fewest {packers} each"),
        &columns,
    );
    table.narrow = true;
    for packed in &rest.stacks {
        let row = [packed.support.to_string(), stack(packed, words), String::new()];
        table.rows.push(row.to_vec());
    }
    blocks.table(table);
}

fn head(blocks: &mut Blocks, paper: &Paper<'_>, stage: &PassesStage) {
    let words = paper.words();
    let rules = stop_rules(stage.on_frame.is_some()).map(str::to_owned).to_vec();
    blocks.framed("STOP at once, get everybody out and ask, if there is", rules, true);
    blocks.framed(
        "Before anybody lifts",
        cautions(Loads::of(paper.plan)).iter().map(ToString::to_string).collect(),
        false,
    );
    bent_beyond(blocks, paper);
    stops(blocks, paper);
    let limits = &paper.job.limits;
    let mut rules = vec![
        format!(
            "{} at a time; at most {} at any one place in a pass.",
            count(limits.jacks.value, "jack", "jacks"),
            words.length(limits.lift_per_pass.value)
        ),
        "Those of one move rise together, a little at a time; crib or block as they rise."
            .to_owned(),
        format!(
            "After each pass the load goes down on {} and the floor is read again.",
            words.packers().1
        ),
    ];
    rules.push(match stage.on_frame.as_ref().and_then(|on_frame| on_frame.check.rating_needed) {
        Some(needed) => format!(
            "Every jack rated at least {} on its {}'s own line, more where it stands beside{}.",
            words.force_up(needed),
            words.supports().0,
            said::if_loads(paper.job)
        ),
        None => "JACK FORCES ARE NOT KNOWN: have them worked out before you lift.".to_owned(),
    });
    blocks.heading("How to work");
    blocks.list(rules);
    let ready = [
        "loads and this plan confirmed by who is entitled to",
        "services isolated, slackened or disconnected; chimney, stays and fixings freed",
        "house held sideways; cribs and pads on firm level ground; way out clear; watcher named",
        "cracks photographed and measured; owner told",
        "first reading of the benchmark agrees",
    ];
    blocks.heading("Before the first lift");
    blocks.0.push(Block::Ticks { items: ready.iter().map(ToString::to_string).collect() });
    blocks.0.push(Block::Signatures {
        who: vec!["Leader".to_owned(), "Watcher".to_owned(), "Date and time".to_owned()],
    });
}

/// How the level comes from what the staff shows, with the mark that it is counted from.
fn level_from_reading(paper: &Paper<'_>) -> String {
    let words = paper.words();
    let survey = &paper.job.survey;
    let scale = survey.setups.iter().map(|setup| setup.scale).find(|scale| *scale != 1.0);
    let times = scale.map_or(String::new(), |scale| {
        format!(" (with the hose: {scale:.4} times that difference)")
    });
    let from = |mark: &str, height: Option<Level>| {
        let height =
            height.map_or(String::new(), |height| format!("{} + ", words.level_number(height)));
        format!(
            "Level = {height}reading on {mark} - reading on the point, both from the same standing{times}."
        )
    };
    let is_read = |point: &PointId| {
        survey
            .setups
            .iter()
            .flat_map(|setup| &setup.readings)
            .any(|reading| reading.point == *point)
    };
    match &survey.datum {
        Datum::PointIsZero(point) => from(point.as_str(), None),
        // A sheet that lifts anything is not made then.
        Datum::Free { .. } => String::new(),
        Datum::Benchmarks | Datum::CorrelatedBenchmarks(_) => {
            let marks = marks_that_stay(paper.job, paper.plan);
            let read = marks.iter().find(|mark| is_read(&mark.point));
            read.or(marks.first())
                .map_or_else(String::new, |mark| from(mark.point.as_str(), Some(mark.level)))
        }
    }
}

fn at_start(
    blocks: &mut Blocks,
    paper: &Paper<'_>,
    stage: &PassesStage,
    before: &mut BTreeMap<SupportId, String>,
) {
    let words = paper.words();
    let gaps: Vec<String> = stage
        .passes
        .packing_at_start
        .iter()
        .map(|packed| format!("{}: {}", packed.support, stack(packed, words)))
        .collect();
    if !gaps.is_empty() {
        blocks.heading("Before the first pass: fill the gaps that are there");
        blocks.0.push(Block::Ticks { items: gaps });
    }
    let start = stage.passes.packing_at_start.iter();
    before.extend(start.map(|packed| (packed.support.clone(), stack(packed, words))));
}

fn one_pass(
    blocks: &mut Blocks,
    paper: &Paper<'_>,
    (pass, number, on_top): (&Pass, Number, bool),
    checks: &[MoveCheck],
    (before, watch): (&BTreeMap<SupportId, String>, &Watch),
) {
    let words = paper.words();
    if pass.number > 1 {
        blocks.0.push(Block::NewPage);
    }
    blocks.heading(format!("Pass {} of {}", number.pass, number.of));
    blocks.framed("In this pass", watch.of_pass(pass), true);
    let forces = !checks.is_empty();
    let packers = format!("{} {}", words.packers().1, if on_top { "on top" } else { "after" });
    let by = format!("by, {}", words.unit());
    let mut columns = vec![
        ("", Cells::Tick),
        ("Move", Cells::Number),
        ("Jack at", Cells::Words),
        (by.as_str(), Cells::Number),
        ("up in all", Cells::Number),
    ];
    if forces {
        columns.extend([("kN least", Cells::Number), ("kN most", Cells::Number)]);
    }
    columns.extend([(packers.as_str(), Cells::Words), ("seen", Cells::Blank)]);
    let mut table = Table::new("", &columns);
    table.large = true;
    let after: BTreeMap<&SupportId, String> =
        pass.packing.iter().map(|packed| (&packed.support, stack(packed, words))).collect();
    let mut last: BTreeMap<&SupportId, usize> = BTreeMap::new();
    for (number, together) in pass.moves.iter().enumerate() {
        last.extend(together.supports.iter().map(|moved| (&moved.support, number)));
    }
    for (number, together) in pass.moves.iter().enumerate() {
        table.ruled_above.push(table.rows.len());
        for (line, moved) in together.supports.iter().enumerate() {
            let jack = checks.get(number).and_then(|check| jack_at(check, &moved.support));
            let mut row = vec![
                if watch.is_work(pass.number) { String::new() } else { NO_TICK.to_owned() },
                if line == 0 { (number + 1).to_string() } else { String::new() },
                format!(
                    "{}{}{}",
                    moved.support,
                    if together.lowering { ", let down" } else { "" },
                    watch.mark(&moved.support, pass, number + 1)
                ),
                words.signed_fine(moved.to - moved.from),
                words.signed_fine(moved.to),
            ];
            if forces {
                let ends = jack.map(|jack| {
                    words.force_ends(ForceRange { least: jack.least, most: jack.most })
                });
                row.extend(ends.unwrap_or_else(|| ["?".to_owned(), "?".to_owned()]));
            }
            let stack = after.get(&moved.support).filter(|_| last[&moved.support] == number);
            let unchanged = stack.is_some() && stack == before.get(&moved.support);
            row.push(match stack {
                Some(_) if unchanged => "as they are".to_owned(),
                Some(stack) => stack.clone(),
                None => LATER.to_owned(),
            });
            row.push(String::new());
            table.rows.push(row);
        }
    }
    table.note = "Those between two heavy lines rise together.".to_owned();
    if table.rows.iter().any(|row| row.iter().any(|cell| cell == LATER)) {
        table.note += " \"later\": the same place is lifted again in this pass; crib it meanwhile.";
    }
    blocks.table(table);
    let free: Vec<String> = checks
        .iter()
        .enumerate()
        .filter(|(_, one)| !one.lost_contact.is_empty())
        .map(|(idx, one)| format!("move {}: {}", idx + 1, said::names(&one.lost_contact)))
        .collect();
    if !free.is_empty() {
        blocks.say(format!("May come to hang free: {}.", free.join("; ")));
    }
}

fn jack_at<'a>(check: &'a MoveCheck, support: &SupportId) -> Option<&'a JackRange> {
    check.jacks.iter().find(|jack| jack.support == *support)
}

/// How the floor stands in the course of the passes.
struct SoFar {
    /// What each point gave when it was last read, or will give, and after how many passes of this sheet.
    last: BTreeMap<PointId, (Level, usize)>,
    /// What each support was lifted before the first pass and after each.
    lifts: Vec<Vec<Length>>,
}

impl SoFar {
    fn at_start(paper: &Paper<'_>) -> Self {
        let readings = paper.plan.floor.done().map(|shape| shape.surface.readings());
        let read = readings.into_iter().flatten();
        Self {
            last: read.map(|reading| (reading.point.clone(), (reading.level, 0))).collect(),
            lifts: vec![vec![Length::ZERO; paper.job.site.supports().len()]],
        }
    }

    /// By how much the movement of each point may miss what is expected, from the reading after so many
    /// passes to one that is taken now.
    fn guards_since(&self, paper: &Paper<'_>, since: usize) -> BTreeMap<PointId, Length> {
        let (then, steps) = (&self.lifts[since], &self.lifts[since..]);
        let now = &steps[steps.len() - 1];
        let times = |support: usize| {
            let moved = steps.windows(2).filter(|pair| pair[0][support] != pair[1][support]);
            u32::try_from(moved.count()).unwrap_or(u32::MAX)
        };
        let lifts: Vec<Length> = now.iter().zip(then).map(|(now, then)| *now - *then).collect();
        let times: Vec<u32> = (0..lifts.len()).map(times).collect();
        let settings = RecordSettings::default();
        guards_after(paper.job, paper.plan, (&lifts, &times), &settings).into_iter().collect()
    }
}

/// Where to write down the readings after a pass, beside the movement that is expected since the last reading
/// and by how much that may miss.
fn read_after(
    blocks: &mut Blocks,
    paper: &Paper<'_>,
    (idx, number): (usize, Number),
    so_far: &mut SoFar,
) {
    let (Some(shape), Some(lifting), Some(stage)) =
        (paper.plan.floor.done(), paper.plan.lifting.done(), paper.plan.passes.done())
    else {
        return;
    };
    let words = paper.words();
    so_far.lifts.push(stage.passes.passes[idx].lifts.clone());
    let mut guards: BTreeMap<usize, BTreeMap<PointId, Length>> = BTreeMap::new();
    let mut table = read_after_table(number, words);
    let (mut is_expected, mut is_little) = (false, false);
    for (point, then) in levels_after(shape, lifting, &stage.rests_after(paper.job, idx)) {
        let Some(&(was, since)) = so_far.last.get(&point) else { continue };
        let moves = then - was;
        if moves.abs() <= WORTH_READING {
            continue;
        }
        let guards = guards.entry(since).or_insert_with(|| so_far.guards_since(paper, since));
        let guard = guards.get(&point).copied();
        let would_not_show = guard.is_some_and(|guard| moves.abs() <= guard);
        is_expected |= since > 0;
        is_little |= would_not_show;
        let was = words.level_number(was);
        table.rows.push(vec![
            point.to_string(),
            if since > 0 { format!("({was})") } else { was },
            words.signed(moves),
            guard.map_or(String::new(), |guard| words.number(guard)),
            String::new(),
            String::new(),
            String::new(),
            if would_not_show { said_followed(Followed::CannotTell) } else { "" }.to_owned(),
        ]);
        so_far.last.insert(point, (then, idx + 1));
    }
    table.note = how_to_read(paper, is_expected, is_little);
    let signed = ["Read by", "Benchmark first", "Benchmark last"];
    table.signed = signed.iter().map(ToString::to_string).collect();
    if table.rows.is_empty() {
        blocks.say(
            "No point moves so far in this pass that it would show: read the benchmark and a few points all \
             the same.",
        );
        blocks.0.push(Block::Signatures { who: table.signed });
    } else {
        blocks.table(table);
    }
}

fn read_after_table(number: Number, words: Words) -> Table {
    let was = format!("was, {}", words.level_unit());
    let moves = format!("moves, {}", words.unit());
    Table::new(
        format!("Read again after pass {}, and what the floor has to have moved", number.pass),
        &[
            ("Point", Cells::Words),
            (was.as_str(), Cells::Number),
            (moves.as_str(), Cells::Number),
            ("±", Cells::Number),
            ("staff", Cells::Blank),
            ("level now", Cells::Blank),
            ("moved", Cells::Blank),
            ("", Cells::Words),
        ],
    )
}

/// How a movement comes from the staff, and which one stops the work.
fn how_to_read(paper: &Paper<'_>, is_expected: bool, is_little: bool) -> String {
    let mut said =
        vec![level_from_reading(paper), "Moved = level now - what the point last gave.".to_owned()];
    if is_expected {
        said.push(
            "In brackets is only what was expected: write over it what was read there last, and count from that."
                .to_owned(),
        );
    }
    said.push(
        "A movement that is off the one expected by more than its ± stops the work.".to_owned(),
    );
    if is_little {
        let (what, too_little) =
            ("a lift that did not come about", said_followed(Followed::CannotTell));
        said.push(format!(
            "\"{too_little}\": the movement is no larger than its ±, so that {what} would not show here. Look \
             at the gap that opened under the bearer, and hold the next reading against this one."
        ));
    }
    said.join(" ")
}

fn stack(packed: &Packing, words: Words) -> String {
    match &packed.choice {
        Choice::Stack(stack) if stack.pieces.is_empty() => "none".to_owned(),
        Choice::Stack(stack) => stack_words(&stack.pieces, words),
        Choice::Unreachable { .. } => format!("{} (no stack)", words.length(packed.wanted)),
    }
}

#[cfg(test)]
mod tests;
