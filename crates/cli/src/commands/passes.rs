//! `floorwright passes`: which jacks move what, pass by pass, and the packers after each.

mod checked;

use crate::args;
use crate::commands::floor::length;
use crate::commands::frame::{options, said};
use crate::commands::levels::read_again;
use crate::commands::lift::{say_bends, stack_words};
use crate::commands::{goal, pictures, stage};
use crate::exit::{CHECK_FAILED, OK, Stop, USAGE};
use crate::files::{self, Existing};
use crate::report::{Report, Text, cautions, envelope, footing};
use crate::session::{Session, open};
use crate::text::table::{Side, Table};
use floorwright_draw::{Medium, Paper, pass_map, way_chart};
use floorwright_engine::frame::ForceRange;
use floorwright_engine::ids::SupportId;
use floorwright_engine::packers::{Choice, Packing, STEP};
use floorwright_engine::passes::{Move, MoveCheck, Pass, Passes, Way};
use floorwright_engine::plan::{FrameStage, OnFrame, PassesStage, Plan, StageName, plan};
use floorwright_engine::settings::Limit;
use floorwright_engine::target::Outcome;
use floorwright_engine::units::Length;
use floorwright_job::cautions::Loads;
use floorwright_job::said::{count, no_level_after, plan_from_before};
use floorwright_job::words::{Words, limit_one_in, one_in};
use std::collections::BTreeMap;
use std::path::Path;

/// Runs the command.
pub fn run(args: &args::Passes) -> Result<Report, Stop> {
    let mut session = open(&args.job.job)?;
    goal::apply(&args.goal, &mut session)?;
    limits(args.jacks, args.per_pass.as_deref(), &mut session)?;
    options::apply(&args.timber, &mut session)?;
    options::leave_out(args.no_frame, &mut session);
    let plan = plan(&session.job);
    let words = Words::of(&session.input);
    let mut text = Text::default();
    text.heading(&format!("Passes: {}", session.input.name));
    if let Some(begun) = plan_from_before(&session.input.done) {
        text.item("!", begun);
    }
    // Nothing is said before a stop, or before what may break.
    checked::say_first(&mut text, &session, &plan, words);
    for sentence in no_level_after(&session.job, &plan, words) {
        text.item("!", sentence);
    }
    read_again(&mut text, &session, &plan, words);
    let mut exit = CHECK_FAILED;
    if let Some(lifting) = plan.lifting.done()
        && let Outcome::CannotBeDone(explanation) = &lifting.outcome
    {
        text.heading("The goal cannot be met, so there are no passes");
        for sentence in &explanation.words {
            text.item("-", words.sentence(sentence));
        }
    } else if let Some(stage) = stage(&mut text, &plan, StageName::Passes, &plan.passes, words) {
        exit = say_stage(&mut text, &session, &plan, stage, words);
        match &args.picture {
            Some(path) if exit == OK => draw(&mut text, &session, &plan, path, args.phone)?,
            Some(path) => text.heading(&format!(
                "No picture was drawn, for these passes are not to be worked by: {} was left as \
                 it was",
                path.display()
            )),
            None => {}
        }
    }
    footing(&mut text, &session);
    let json = move || {
        let frame = said::status(&session, &plan);
        envelope("passes", &session, serde_json::json!({ "passes": plan.passes, "frame": frame }))
    };
    Ok(Report { text, json: Box::new(json), exit })
}

/// Says the passes, or why they are not to be worked by. Returns the exit code.
fn say_stage(
    text: &mut Text,
    session: &Session,
    plan: &Plan,
    stage: &PassesStage,
    words: Words,
) -> u8 {
    if stage.on_frame.as_ref().is_some_and(|on_frame| !on_frame.check.passed()) {
        say_limits(text, session, plan, words);
        return CHECK_FAILED;
    }
    cautions(text, Loads::of(plan));
    say_checked(text, session, plan, stage, words);
    OK
}

/// Says passes that are within the limits, move by move.
pub fn say_checked(
    text: &mut Text,
    session: &Session,
    plan: &Plan,
    stage: &PassesStage,
    words: Words,
) {
    let checked = stage.on_frame.as_ref().zip(plan.frame.done());
    match checked {
        Some((on_frame, frame)) => checked::say_head(text, session, plan, frame, on_frame, words),
        None => {
            text.heading("No jack force is given");
            text.item("-", said::why_none(&session.job, plan, words).unwrap_or_default());
        }
    }
    say_limits(text, session, plan, words);
    say_bends(text, session, &stage.bends);
    say_passes(text, session, &stage.passes, checked, words);
}

fn draw(
    text: &mut Text,
    session: &Session,
    plan: &Plan,
    path: &Path,
    phone: bool,
) -> Result<(), Stop> {
    let medium = if phone { Medium::Screen } else { Medium::Sheet(Paper::A4) };
    let head = pictures::Head::of(session, plan);
    let Some(picture) = head.passes(medium) else { return Ok(()) };
    files::write(path, &pass_map(&picture), Existing::Replace)?;
    text.heading(&format!("Picture of all passes: {}", path.display()));
    for (pass_idx, pass) in picture.passes.iter().enumerate() {
        let Some(alone) = picture.alone(pass_idx) else { continue };
        let path = pictures::beside(path, &pass.number.to_string());
        files::write(&path, &pass_map(&alone), Existing::Replace)?;
        text.say(format!("pass {}: {}", pass.number, path.display()));
    }
    // Without a frame only slopes would be on it, which the sheet of passes has.
    if plan.frame.done().is_some()
        && let Some(picture) = head.along_the_way(medium)
    {
        let path = pictures::beside(path, "way");
        files::write(&path, &way_chart(&picture), Existing::Replace)?;
        text.say(format!("how near each move comes to its limits: {}", path.display()));
    }
    Ok(())
}

/// What the command line says of jacks and passes, in place of what the job says.
pub fn limits(
    jacks: Option<usize>,
    per_pass: Option<&str>,
    session: &mut Session,
) -> Result<(), Stop> {
    const REASON: &str = "from the command line";
    if let Some(jacks) = jacks {
        if jacks == 0 {
            return Err(Stop::new(USAGE, "--jacks: nothing moves without a jack"));
        }
        session.job.limits.jacks = Limit::given(jacks, REASON);
    }
    if let Some(per_pass) = per_pass {
        let per_pass = length(per_pass, session.input.units, "--per-pass")?;
        if per_pass <= Length::ZERO {
            return Err(Stop::new(USAGE, format!("--per-pass: {per_pass} is not above zero")));
        }
        session.job.limits.lift_per_pass = Limit::given(per_pass, REASON);
    }
    Ok(())
}

fn say_limits(text: &mut Text, session: &Session, plan: &Plan, words: Words) {
    let limits = &session.job.limits;
    text.heading("Limits of this plan");
    text.item(
        "-",
        format!(
            "at most {} in a pass at any one place: {}",
            words.length(limits.lift_per_pass.value),
            limits.lift_per_pass.reason
        ),
    );
    text.item(
        "-",
        format!(
            "{} at a time: {}",
            count(limits.jacks.value, "jack", "jacks"),
            limits.jacks.reason
        ),
    );
    text.item(
        "-",
        format!(
            "slope between neighbours no steeper than {}, or than it is at the start or the end: {}",
            limit_one_in(limits.distortion.value),
            limits.distortion.reason
        ),
    );
    if plan.frame.done().is_some() {
        text.item("-", said::bending_limit(&session.job));
    }
}

/// What the frame says of the passes, with the frame.
type Checked<'a> = Option<(&'a OnFrame, &'a FrameStage)>;

fn say_passes(
    text: &mut Text,
    session: &Session,
    passes: &Passes,
    checked: Checked<'_>,
    words: Words,
) {
    let way = |way: &Way| {
        format!(
            "{} in {}, steepest slope {} on the way, most bent from today's shape {}",
            count(way.passes, "pass", "passes"),
            count(way.moves, "move", "moves"),
            one_in(way.peak.slope),
            one_in(way.peak.change_from_start),
        )
    };
    text.heading(&format!("This way: {}", way(&passes.this_way)));
    text.say(if passes.bound_met {
        format!(
            "Within the lift per pass it cannot be done in fewer than {}.",
            count(passes.fewest_passes, "pass", "passes")
        )
    } else {
        format!("At least {} are needed.", count(passes.fewest_passes, "pass", "passes"))
    });
    text.say(format!("One support at a time, for comparison: {}.", way(&passes.one_at_a_time)));
    if let Some((on_frame, frame)) = checked {
        checked::say_one_at_a_time(text, session, frame, on_frame, words);
    }
    let (_, packers) = words.packers();
    let mut before: BTreeMap<String, String> =
        passes.packing_at_start.iter().map(|packing| named_stack(packing, words)).collect();
    if !before.is_empty() {
        let gaps: Vec<String> =
            before.iter().map(|(support, stack)| format!("{support} {stack}")).collect();
        text.heading("Before the first pass");
        text.item("-", format!("fill the gaps that are there: {}", gaps.join(", ")));
    }
    text.say(format!(
        "After each pass the load goes down on {packers}. The last stacks are as listed."
    ));
    let all = || passes.passes.iter().flat_map(|pass| &pass.packing);
    if all().any(comes_down) {
        text.say(format!(
            "On the way a stack may be up to {} thinner than what was opened, so that it goes in: \
             the bearer then comes down by as much, and the next pass takes it up again.",
            words.exact(session.job.stock.tolerance.value * 2.0)
        ));
    }
    let thick =
        passes.passes.iter().map(|pass| pass.packing.iter().filter(|p| is_thicker(p)).count());
    let n_thick: usize = thick.sum();
    if n_thick > 0 {
        text.item(
            "!",
            format!(
                "{} thicker than what is opened, for the stock makes none that is thinner and near \
                 it, and marked so: open that much more there, by more than the lift in a pass if \
                 need be, or add thinner {packers} to the stock",
                count(n_thick, "stack is", "stacks are"),
            ),
        );
    }
    for (pass_idx, pass) in passes.passes.iter().enumerate() {
        let check = checked
            .and_then(|(on_frame, frame)| Some((on_frame.check.passes.get(pass_idx)?, frame)));
        let moves = check.map_or(&[][..], |(check, _)| &check.moves);
        say_pass(text, pass, moves, &mut before, words);
        if let Some((check, frame)) = check {
            checked::say_pass(text, session, frame, check, words);
        }
        let is_last = pass_idx + 1 == passes.passes.len();
        text.item(
            "-",
            if is_last {
                "read the floor again: it is the result"
            } else {
                "read the floor again before the next pass"
            },
        );
    }
}

fn say_pass(
    text: &mut Text,
    pass: &Pass,
    checks: &[MoveCheck],
    before: &mut BTreeMap<String, String>,
    words: Words,
) {
    text.heading(&format!("Pass {} ({})", pass.number, count(pass.moves.len(), "move", "moves")));
    let columns = if checks.is_empty() {
        [("Move", Side::Right), ("Together, from > to since the start", Side::Left)]
    } else {
        [
            ("Move", Side::Right),
            ("Together, from > to since the start (jack force, least to most)", Side::Left),
        ]
    };
    let mut table = Table::new(&columns);
    for (move_idx, together) in pass.moves.iter().enumerate() {
        for (line_idx, line) in
            move_lines(together, checks.get(move_idx), words).into_iter().enumerate()
        {
            let number = if line_idx == 0 { (move_idx + 1).to_string() } else { String::new() };
            table.row([number, line]);
        }
    }
    text.table(&table);
    let after: BTreeMap<String, String> =
        pass.packing.iter().map(|packing| named_stack(packing, words)).collect();
    let changed: Vec<String> = after
        .iter()
        .filter(|(support, stack)| before.get(*support) != Some(*stack))
        .map(|(support, stack)| format!("{support} {stack}"))
        .collect();
    let (_, packers) = words.packers();
    if !changed.is_empty() {
        text.item("-", format!("{packers} after this pass: {}", changed.join(", ")));
    }
    if let Some(worst) = &pass.worst {
        text.item(
            "-",
            format!(
                "most bent from today's shape in this pass: {}",
                one_in(worst.change_from_start)
            ),
        );
    }
    before.extend(after);
}

/// Three supports a line, or two with their jack forces, so that a line fits.
fn move_lines(together: &Move, check: Option<&MoveCheck>, words: Words) -> Vec<String> {
    let verb = if together.lowering { "let down " } else { "" };
    let jack = |support: &SupportId| {
        let jack = check?.jacks.iter().find(|jack| jack.support == *support)?;
        let range = ForceRange { least: jack.least, most: jack.most };
        Some(format!(" ({} kN)", words.force_range(range)))
    };
    let supports: Vec<String> = together
        .supports
        .iter()
        .map(|support| {
            format!(
                "{verb}{} {} > {}{}",
                support.support,
                words.fine(support.from),
                words.fine(support.to),
                jack(&support.support).unwrap_or_default()
            )
        })
        .collect();
    let on_a_line = if check.is_some() { 2 } else { 3 };
    supports.chunks(on_a_line).map(|line| line.join("    ")).collect()
}

/// Whether a stack is thicker than what was opened for it, by more than it is rounded to.
fn is_thicker(packing: &Packing) -> bool {
    let Choice::Stack(stack) = &packing.choice else { return false };
    stack.thickness - packing.wanted > STEP.to_length()
}

/// Whether a bearer comes down a little on its stack, by more than the stack is rounded to.
fn comes_down(packing: &Packing) -> bool {
    let Choice::Stack(stack) = &packing.choice else { return false };
    packing.wanted - stack.thickness > STEP.to_length()
}

fn named_stack(packing: &Packing, words: Words) -> (String, String) {
    let stack = match &packing.choice {
        Choice::Stack(stack) if stack.pieces.is_empty() => "none".to_owned(),
        Choice::Stack(stack) if is_thicker(packing) => {
            let by = words.exact(stack.thickness - packing.wanted);
            format!("{} (open {by} more)", stack_words(&stack.pieces, words))
        }
        Choice::Stack(stack) => stack_words(&stack.pieces, words),
        Choice::Unreachable { .. } => {
            format!("{} (no stack)", words.length(packing.wanted))
        }
    };
    (packing.support.to_string(), stack)
}
