//! The lifting plan: what it takes to bring the floor to its height, for client and engineer.

use crate::block::{Block, Blocks, Cells, Table};
use crate::paper::{Content, Paper, Sheet};
use crate::sheets::Drawings;
use crate::typeset::PaperError;
use floorwright_engine::frame::{Carrying, ForceRange};
use floorwright_engine::packers::HeightAdvice;
use floorwright_engine::plan::{
    FrameChoice, FrameStage, LiftingStage, OnFrame, PackingStage, PassesStage, Stage, StageName,
    SupportPacking,
};
use floorwright_engine::target::{Explanation, LiftPlan, Outcome, Prediction};
use floorwright_engine::units::Length;
use floorwright_job::cautions::{Loads, TO_CONFIRM, cautions};
use floorwright_job::frame_said as said;
use floorwright_job::said::{
    carrying, count, no_level_after, plan_from_before, read_again, stops as said_stops, why,
};
use floorwright_job::words::{Words, one_in, price, stack_words};
use std::collections::BTreeMap;

/// A lift of less than this is none.
const TOUCHED: Length = Length::mm(0.05);
/// More bends than this are counted, not listed.
const MOST: usize = 8;

/// What the document says.
pub(crate) fn content(paper: &Paper<'_>) -> Result<Content, PaperError> {
    let plan = paper.plan;
    let Some(lifting) = plan.lifting.done() else {
        return Err(PaperError::Nothing {
            document: "lifting plan",
            what: why(plan, StageName::Lift, paper.words()),
        });
    };
    let mut blocks = Blocks::default();
    let lift_plan = match &lifting.outcome {
        Outcome::Reached(lift_plan) => lift_plan,
        Outcome::CannotBeDone(explanation) => {
            cannot(&mut blocks, paper, lifting, explanation);
            return Ok(Content::new("The height asked for cannot be reached", blocks));
        }
        Outcome::Refused(faults) => {
            let what = faults.iter().map(ToString::to_string).collect::<Vec<_>>().join("; ");
            return Err(PaperError::Nothing { document: "lifting plan", what });
        }
    };
    blocks.framed(
        "Work has begun",
        plan_from_before(&paper.input.done).into_iter().collect(),
        true,
    );
    stops(&mut blocks, paper);
    blocks.framed("There is no run sheet", no_level_after(paper.job, plan, paper.words()), true);
    bent_beyond(&mut blocks, paper);
    answer(&mut blocks, paper, lifting, lift_plan);
    blocks.framed(
        "Before anybody lifts",
        cautions(Loads::of(plan)).iter().map(ToString::to_string).collect(),
        false,
    );
    goal(&mut blocks, paper, lifting, lift_plan);
    lifts(&mut blocks, paper, lifting, lift_plan);
    loads(&mut blocks, paper);
    passes(&mut blocks, paper);
    materials(&mut blocks, paper);
    blocks.heading("For an engineer or a licensed person to confirm");
    blocks.say("Before anybody lifts by this plan, somebody entitled to has to confirm:");
    blocks.0.push(Block::Ticks { items: TO_CONFIRM.iter().map(ToString::to_string).collect() });
    blocks.0.push(Block::Signatures {
        who: vec![
            "Owner".to_owned(),
            "Builder".to_owned(),
            "Confirmed by (name, licence)".to_owned(),
        ],
    });
    assumptions(&mut blocks, paper);
    let drawings = Drawings::of(paper);
    let mut content = Content::new("What it takes to bring the floor to its height", blocks);
    let sheets = [
        drawings.lifts(),
        drawings.floor_now(),
        drawings.floor_after(),
        drawings.who_carries(),
        drawings.all_passes(),
        drawings.way(),
    ];
    let stop = if said_stops(plan, paper.words()).is_empty() {
        String::new()
    } else {
        "STOP: do not lift by this plan".to_owned()
    };
    let mut sheets: Vec<Sheet> = sheets.into_iter().flatten().collect();
    sheets.iter_mut().for_each(|sheet| sheet.stop.clone_from(&stop));
    content.sheets = sheets;
    Ok(content)
}

fn cannot(
    blocks: &mut Blocks,
    paper: &Paper<'_>,
    lifting: &LiftingStage,
    explanation: &Explanation,
) {
    let words = paper.words();
    let height =
        lifting.target.level.map_or("a free height".to_owned(), |level| words.level(level));
    blocks.0.push(Block::Answer {
        text: words.sentence(format!("It cannot be done: {height} ({}).", lifting.target.from)),
        under: explanation.words.iter().map(|sentence| words.sentence(sentence)).collect(),
    });
    if let (Some(smallest), Some(asked)) =
        (explanation.smallest_tolerance, paper.job.goal.level_tolerance)
    {
        let works = words.rounded_up(smallest.with_the_rest.unwrap_or(smallest.level_alone));
        blocks.heading("Ways out");
        blocks.list([
            format!("A tolerance of {} in place of {}.", words.length(works), words.length(asked)),
            "Another height, or the height that does best.".to_owned(),
            "Room at the supports named above.".to_owned(),
        ]);
    }
}

/// What forbids the plan, or may break: before any number.
pub(crate) fn stops(blocks: &mut Blocks, paper: &Paper<'_>) {
    let plan = paper.plan;
    let on_frame = plan.passes.done().and_then(|stage| stage.on_frame.as_ref());
    if let (Some(on_frame), Some(frame)) = (on_frame, plan.frame.done()) {
        let found = said::bent_by_passes(on_frame, frame.frame.spec());
        blocks.framed("May break", said::may_break(found, said::LIFT_LESS), true);
    }
    blocks.framed("STOP: do not lift by this plan", said_stops(plan, paper.words()), true);
    let again = read_again(plan, paper.words());
    blocks.framed("Read again first", again, false);
}

/// Timbers that end bent too far, whatever the order of moves.
pub(crate) fn bent_beyond(blocks: &mut Blocks, paper: &Paper<'_>) {
    let Some(bent) = said::bent_beyond(paper.job, paper.plan, paper.words()) else { return };
    let way_out = bent.way_out.to_owned();
    blocks.framed(&bent.title, bent.timbers.into_iter().chain([way_out]).collect(), false);
}

fn answer(blocks: &mut Blocks, paper: &Paper<'_>, lifting: &LiftingStage, lift_plan: &LiftPlan) {
    let words = paper.words();
    let (one, several) = words.supports();
    let n = paper.job.site.supports().len();
    let packing = paper.plan.packing.done();
    let raised = packing.map_or(0, |packing| packing.raised);
    let lowered = packing.map_or(0, |packing| packing.lowered);
    let down = if lowered > 0 { format!(", let down {lowered}") } else { String::new() };
    let worst = |prediction: Option<&Prediction>| {
        let worst = prediction.and_then(Prediction::worst)?;
        Some(format!("{} by {}", worst.id, words.length(worst.departure.abs())))
    };
    let mut under = Vec::new();
    if let Some(today) = worst(lifting.now.as_ref()) {
        under.push(format!("Furthest off the target today: {today}."));
    }
    let packed = packing.filter(|packing| packing.cannot.is_empty());
    if let Some(then) = worst(packed.map(|packing| &packing.outcome)) {
        under.push(format!("Furthest off when all is packed, as predicted: {then}."));
    }
    let most = lift_plan.outcome.lifts.iter().map(|lift| lift.lift).max_by(Length::total_cmp);
    if let Some(most) = most {
        under.push(format!("The largest lift is {}.", words.length(most)));
    }
    if let Some(stage) = paper.plan.passes.done() {
        let way = &stage.passes.this_way;
        under.push(format!(
            "{} and {} in all, with {} at a time.",
            count(way.passes, "pass", "passes"),
            count(way.moves, "move", "moves"),
            count(paper.job.limits.jacks.value, "jack", "jacks"),
        ));
        under.extend(stage.on_frame.as_ref().and_then(|on_frame| {
            let needed = on_frame.check.rating_needed?;
            let jack = on_frame.check.peaks.jack.as_ref()?;
            Some(format!(
                "No jack on its {one}'s own line pushes more than {}, at {}; each rated at least {}, \
                 more where it stands beside{}.",
                words.force_up(jack.most),
                jack.support,
                words.force_up(needed),
                said::if_loads(paper.job)
            ))
        }));
    }
    let which = if n == 1 { one } else { several };
    blocks.0.push(Block::Answer {
        text: format!(
            "Raise {raised}{down} of {n} {which} to {}.",
            words.level(lift_plan.outcome.plane.height)
        ),
        under,
    });
}

fn goal(blocks: &mut Blocks, paper: &Paper<'_>, lifting: &LiftingStage, lift_plan: &LiftPlan) {
    let words = paper.words();
    let goal = &paper.job.goal;
    blocks.heading("The goal and why");
    let mut said = vec![format!(
        "Height: {} ({}).",
        words.level(lift_plan.outcome.plane.height),
        words.sentence(&lifting.target.from)
    )];
    let plane = lift_plan.outcome.plane;
    if plane.rise_x.hypot(plane.rise_y) > 1e-6 {
        said.push(format!(
            "The target leans: {:+.1} mm per m to the right of the plan and {:+.1} mm per m up it.",
            plane.rise_x * 1000.0,
            plane.rise_y * 1000.0
        ));
    }
    said.extend(
        paper
            .input
            .tie
            .as_ref()
            .map(|tie| format!("To meet the new work, {}.", tie.in_words(paper.input.units))),
    );
    if let Some(tolerance) = goal.level_tolerance {
        said.push(format!("Every point within {} of it.", words.length(tolerance)));
    }
    if !lifting.target.in_doubt.is_empty() {
        said.push(format!(
            "The target itself rests on {}, whose readings are in doubt: settle that first.",
            lifting.target.in_doubt.iter().map(ToString::to_string).collect::<Vec<_>>().join(", ")
        ));
    }
    blocks.list(said);
    between(blocks, lifting, words);
    bends(blocks, paper);
}

/// Sag and humps that no packer takes out.
fn between(blocks: &mut Blocks, lifting: &LiftingStage, words: Words) {
    let named: Vec<String> = lifting
        .between_supports
        .iter()
        .take(MOST)
        .map(|point| {
            let how = if point.above < Length::ZERO { "sags" } else { "stands up" };
            format!("{} {how} by {}", point.point, words.length(point.above.abs()))
        })
        .collect();
    if !named.is_empty() {
        let (_, packers) = words.packers();
        blocks.say(format!(
            "Shape between the {}, which no {packers} take out: {}. That is the bend of timbers or \
             boards themselves, and takes work on the joists or a support between.",
            words.supports().1,
            named.join("; ")
        ));
    }
}

fn bends(blocks: &mut Blocks, paper: &Paper<'_>) {
    let Some(stage) = paper.plan.passes.done().filter(|stage| !stage.bends.is_empty()) else {
        return;
    };
    let limit = &paper.job.limits.distortion;
    blocks.say(format!(
        "The house ends bent from today's shape by more than {} in {} (limit: {}). Linings fixed or \
         patched in today's shape may crack there: lift less, or agree with the owner \
         that they may.",
        one_in(limit.value),
        count(stage.bends.len(), "place", "places"),
        limit.reason
    ));
    let mut named: Vec<String> = stage
        .bends
        .iter()
        .take(MOST)
        .map(|bend| {
            let (today, end) = (one_in(bend.start), one_in(bend.end));
            format!("{} to {}: {today} today, {end} at the end", bend.pair.0, bend.pair.1)
        })
        .collect();
    if stage.bends.len() > MOST {
        named.push(format!("and {} more, all less bent", stage.bends.len() - MOST));
    }
    blocks.list(named);
}

fn lifts(blocks: &mut Blocks, paper: &Paper<'_>, lifting: &LiftingStage, lift_plan: &LiftPlan) {
    let words = paper.words();
    let (_, packers) = words.packers();
    let supports = paper.job.site.supports();
    let packing = paper.plan.packing.done();
    let stacks: BTreeMap<_, &SupportPacking> = packing
        .iter()
        .flat_map(|packing| &packing.supports)
        .map(|packed| (&packed.support, packed))
        .collect();
    let has_gaps = supports.iter().any(|support| support.gap > Length::ZERO);
    blocks.heading(format!("Lifts and {packers}"));
    let mut columns = vec![
        (words.support(), Cells::Words),
        ("Floor now", Cells::Number),
        ("Lift", Cells::Number),
        ("±", Cells::Number),
    ];
    if has_gaps {
        columns.push(("Gap", Cells::Number));
    }
    columns.extend([(packers, Cells::Words), ("Gives", Cells::Number), ("", Cells::Text)]);
    let mut table = Table::new(format!("In {}, ± about 95 %", words.unit()), &columns);
    for (idx, (facts, lift)) in lifting.supports.iter().zip(&lift_plan.outcome.lifts).enumerate() {
        let stack = stacks.get(&facts.support).copied();
        let held = facts.held.is_some();
        let mut row = vec![
            facts.support.to_string(),
            lifting.above_target(idx).map_or("?".to_owned(), |above| words.signed(above)),
            if held { "–".to_owned() } else { words.signed(lift.lift) },
            facts.sd.map_or(String::new(), |sd| words.plus_minus(sd)),
        ];
        if has_gaps {
            let gap = supports[idx].gap;
            row.push(if gap > Length::ZERO { words.number(gap) } else { String::new() });
        }
        row.push(stack.map_or(String::new(), |packed| pieces(packed, words)));
        row.push(match packing {
            Some(packing) if !held && stack.is_none_or(|packed| packed.stack.is_some()) => {
                words.signed(packing.lifts[idx])
            }
            _ => String::new(),
        });
        row.push(notes(paper, idx, lifting, lift.lift, stack).join("; "));
        table.rows.push(row);
    }
    table.note = format!(
        "Floor now: above (+) or below (-) the target. Lift: what would bring it there. Gives: what \
         these {packers} do, gap taken off; {packers} come in steps."
    );
    blocks.table(table);
}

fn notes(
    paper: &Paper<'_>,
    idx: usize,
    lifting: &LiftingStage,
    lift: Length,
    stack: Option<&SupportPacking>,
) -> Vec<String> {
    let facts = &lifting.supports[idx];
    let mut notes: Vec<String> = facts.held.iter().map(|held| format!("stays: {held}")).collect();
    if lifting.by_hand.iter().any(|(support, _)| *support == facts.support) {
        notes.push("set by hand".to_owned());
    }
    if lift < -TOUCHED {
        notes.push("let down: take out packing".to_owned());
    }
    if !facts.in_doubt.is_empty() {
        let points: Vec<String> = facts.in_doubt.iter().map(ToString::to_string).collect();
        notes.push(format!("READ {} AGAIN FIRST", points.join(", ")));
    }
    if facts.floor.is_none() {
        notes.push("floor not read: it is left as it is".to_owned());
    } else if facts.between_readings && facts.held.is_none() {
        notes.push("floor not read right here".to_owned());
    }
    notes.extend(stack.and_then(|packed| match packed.advice {
        HeightAdvice::Fine => None,
        HeightAdvice::Warn => Some("high packing: few leaves, full bearing, fixed".to_owned()),
        HeightAdvice::TallerSupport => Some("too high to pack: a taller support".to_owned()),
    }));
    let detail = paper.input.support_details.get(idx);
    notes.extend(detail.and_then(|detail| detail.note.clone()));
    notes
}

fn pieces(packed: &SupportPacking, words: Words) -> String {
    match &packed.stack {
        Some(stack) if stack.pieces.is_empty() => "none".to_owned(),
        Some(stack) => stack_words(&stack.pieces, words),
        None => "no stack".to_owned(),
    }
}

fn loads(blocks: &mut Blocks, paper: &Paper<'_>) {
    let (job, plan, words) = (paper.job, paper.plan, paper.words());
    let (one, several) = words.supports();
    blocks.heading(format!("What each {one} carries"));
    let Some(frame) = plan.frame.done() else {
        blocks.say(format!(
            "No load is worked out: {}. How a lift moves the floor is taken in straight lines \
             between the {several}. Have the loads worked out before you choose jacks, pads and \
             ground.",
            said::why_none(job, plan, words).unwrap_or_default()
        ));
        return;
    };
    let after = plan.packing.done().and_then(|packing| packing.carried.as_ref());
    if frame.today.rocks || after.is_some_and(|after| after.rocks) {
        blocks.say(
            "The frame rocks on too few supports: what each carries is not determined, and \
                    no load is given. Check that every support and bearer is in the job.",
        );
        return;
    }
    blocks.list(said::doubts(job, frame, words));
    let on_frame = plan.passes.done().and_then(|stage| stage.on_frame.as_ref());
    load_table(blocks, frame, after, on_frame, words);
    blocks.say(format!("{} {}", words.kilonewton(), said::what_set_means(frame.frame.spec())));
}

fn load_table(
    blocks: &mut Blocks,
    frame: &FrameStage,
    after: Option<&floorwright_engine::frame::FrameState>,
    on_frame: Option<&OnFrame>,
    words: Words,
) {
    let columns = [
        (words.support(), Cells::Words),
        ("today from", Cells::Number),
        ("to", Cells::Number),
        ("afterwards from", Cells::Number),
        ("to", Cells::Number),
        ("jack from", Cells::Number),
        ("to", Cells::Number),
        ("", Cells::Text),
    ];
    let jacks: BTreeMap<_, _> = on_frame
        .iter()
        .flat_map(|on_frame| &on_frame.check.jacks)
        .map(|jack| (&jack.support, ForceRange { least: jack.least, most: jack.most }))
        .collect();
    let mut table =
        Table::new("In kN, over everything that nobody can see, the house empty", &columns);
    for (idx, today) in frame.today.supports.iter().enumerate() {
        let then = after.map(|after| &after.supports[idx]);
        let ends = |range: Option<ForceRange>| {
            range.map_or([String::new(), String::new()], |range| words.force_ends(range))
        };
        let [today_least, today_most] = words.force_ends(today.range);
        let [then_least, then_most] = ends(then.map(|then| then.range));
        let [jack_least, jack_most] = ends(jacks.get(&today.support).copied());
        let note = match then.map_or(today.carrying, |then| then.carrying) {
            Carrying::Carries => String::new(),
            other => carrying(other).to_owned(),
        };
        table.rows.push(vec![
            today.support.to_string(),
            today_least,
            today_most,
            then_least,
            then_most,
            jack_least,
            jack_most,
            note,
        ]);
    }
    blocks.table(table);
}

fn passes(blocks: &mut Blocks, paper: &Paper<'_>) {
    let Some(stage) = paper.plan.passes.done() else { return };
    let words = paper.words();
    let limits = &paper.job.limits;
    blocks.heading("Passes");
    let mut said = vec![
        format!(
            "At most {} in a pass at any one place: {}.",
            words.length(limits.lift_per_pass.value),
            limits.lift_per_pass.reason
        ),
        format!(
            "Slope between neighbours no steeper than {}, or than at the start or the end: {}.",
            one_in(limits.distortion.value),
            limits.distortion.reason
        ),
    ];
    if matches!(paper.job.frame, FrameChoice::Asked { .. }) {
        said.push(format!("On the way, {}.", said::bending_limit(paper.job)));
    }
    if let Some(on_frame) = &stage.on_frame {
        said.extend(on_frame.check.may_stop.iter().map(|stop| {
            words.sentence(format!(
                "As far as anybody can tell, a limit may be passed: {stop}. Watch there."
            ))
        }));
    }
    blocks.list(said);
    let has_run_sheet = said_stops(paper.plan, words).is_empty()
        && no_level_after(paper.job, paper.plan, words).is_empty();
    pass_table(blocks, stage, has_run_sheet, words);
}

fn pass_table(blocks: &mut Blocks, stage: &PassesStage, has_run_sheet: bool, words: Words) {
    let columns = [
        ("Pass", Cells::Number),
        ("Moves", Cells::Number),
        ("Largest jack force, kN", Cells::Text),
        ("Most bent from today", Cells::Words),
        ("May hang free", Cells::Text),
    ];
    let mut table = Table::new("", &columns);
    for (idx, pass) in stage.passes.passes.iter().enumerate() {
        let check = stage.on_frame.as_ref().and_then(|on_frame| on_frame.check.passes.get(idx));
        let jack = check.and_then(|check| check.jack.as_ref()).map(|jack| {
            let range = ForceRange { least: jack.least, most: jack.most };
            format!("{} at {}", words.force_range(range), jack.support)
        });
        let mut free: Vec<String> = check
            .iter()
            .flat_map(|check| &check.moves)
            .flat_map(|one| &one.lost_contact)
            .map(ToString::to_string)
            .collect();
        free.sort();
        free.dedup();
        table.rows.push(vec![
            pass.number.to_string(),
            pass.moves.len().to_string(),
            jack.unwrap_or_else(|| "not known".to_owned()),
            pass.worst.as_ref().map_or("–".to_owned(), |worst| one_in(worst.change_from_start)),
            free.join(", "),
        ]);
    }
    if has_run_sheet {
        table.note = "The run sheet has every move.".to_owned();
    }
    blocks.table(table);
}

fn materials(blocks: &mut Blocks, paper: &Paper<'_>) {
    let Some(packing) = paper.plan.packing.done() else { return };
    let words = paper.words();
    let (one, several) = words.packers();
    if packing.buy.lines.is_empty() {
        return;
    }
    blocks.heading(format!(
        "Materials: {} that stay",
        count(packing.buy.pieces as usize, one, several)
    ));
    blocks.table(buy_table(paper, packing, words));
    let on_the_way = paper.plan.passes.done().map_or(&[][..], |stage| &stage.temporary);
    blocks.list(on_the_way.iter().map(|extra| {
        format!(
            "{} more of {} thick, for up to {} in use while the passes go on",
            count(extra.extra_packs as usize, "pack", "packs"),
            words.thickness(extra.thickness),
            extra.most_in_use
        )
    }));
    blocks.say("Damp-proofing, fixings, jacks, cribbing and pads come besides.");
}

fn buy_table(paper: &Paper<'_>, packing: &PackingStage, words: Words) -> Table {
    let priced = packing.buy.lines.iter().any(|line| line.cents.is_some());
    let thick = format!("Thickness, {}", words.unit());
    let currency = match paper.bill {
        Stage::Done(bill) => bill.currency.as_ref(),
        _ => None,
    };
    let price_in =
        currency.map_or("Price".to_owned(), |currency| format!("Price, {}", currency.as_str()));
    let mut columns = vec![
        (thick.as_str(), Cells::Number),
        ("Pieces used", Cells::Number),
        ("Packs to buy", Cells::Number),
    ];
    if priced {
        columns.push((price_in.as_str(), Cells::Number));
    }
    let mut table = Table::new("", &columns);
    for line in &packing.buy.lines {
        let mut row =
            vec![words.thickness(line.thickness), line.pieces.to_string(), line.packs.to_string()];
        if priced {
            row.push(line.cents.map_or(String::new(), price));
        }
        table.rows.push(row);
    }
    let tolerance = &paper.job.stock.tolerance;
    table.note = format!(
        "A stack may miss what is wanted by {}: {}.",
        words.exact(tolerance.value),
        tolerance.reason
    );
    table
}

fn assumptions(blocks: &mut Blocks, paper: &Paper<'_>) {
    blocks.heading("What this rests on");
    let assumed = paper.input.assumptions.iter().map(|assumption| assumption.text.clone());
    let mut assumed: Vec<String> = assumed.collect();
    if let Some(frame) = paper.plan.frame.done() {
        assumed.extend(said::source_once(paper.job, &frame.frame.spec().assumed));
    }
    let words = paper.words();
    // The section of a timber stays as it is sold.
    let told = |text: &String| {
        if text.contains(" x ") { text.clone() } else { words.sentence(text) }
    };
    let assumed: Vec<String> = assumed.iter().map(told).collect();
    if assumed.is_empty() {
        blocks.say("Nothing had to be taken for granted.");
    } else {
        blocks.say("Taken for granted, because the job does not say:");
        blocks.list(assumed);
    }
    blocks.say("Not in the calculation:");
    blocks.list(said::NOT_MODELLED);
}
