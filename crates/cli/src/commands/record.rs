//! `floorwright record`: what was done, what came of it, and what is left.

use crate::args;
use crate::commands::lift::stack_words;
use crate::commands::{goal, passes, stage};
use crate::exit::{CHECK_FAILED, OK, Stop};
use crate::report::{Report, Text, cautions, envelope, footing};
use crate::session::{Session, open};
use crate::text::table::{Side, Table};
use floorwright_engine::ids::SupportId;
use floorwright_engine::packers::Choice;
use floorwright_engine::plan::{PassesStage, Plan, Stage, StageName, plan};
use floorwright_engine::record::{
    CAUSES, Comparison, DonePass, Followed, Record, RecordSettings, STILL, Since, record,
};
use floorwright_engine::units::Length;
use floorwright_engine::verdict::{Outcome, Verdict};
use floorwright_job::cautions::Loads;
use floorwright_job::said::{self, count};
use floorwright_job::words::{COVERAGE, Words};

/// Runs the command.
pub fn run(args: &args::Record) -> Result<Report, Stop> {
    let mut session = open(&args.job.job)?;
    goal::apply(&args.goal, &mut session)?;
    let plan = plan(&session.job);
    let done = session.input.done.clone();
    let found = record(&session.job, &plan, &done, &RecordSettings::default());
    let words = Words::of(&session.input);
    let mut text = Text::default();
    text.heading(&format!("Record: {}", session.input.name));
    let mut exit = CHECK_FAILED;
    if done.passes.is_empty() {
        text.heading("Nothing was done yet");
        text.say("Write each pass as a [[pass]] with what was lifted at each support.");
        exit = OK;
    } else if let Some(record) = stage(&mut text, &plan, StageName::Levels, &found, words) {
        exit = say(&mut text, &session, record, args, words);
    }
    footing(&mut text, &session);
    let json = move || envelope("record", &session, serde_json::json!({ "record": found }));
    Ok(Report { text, json: Box::new(json), exit })
}

/// Says the record. Returns the exit code.
fn say(
    text: &mut Text,
    session: &Session,
    record: &Record,
    args: &args::Record,
    words: Words,
) -> u8 {
    let stops = say_stop(text, record, words);
    say_state(text, record, words);
    for step in &record.steps {
        say_step(text, step, args.points, words);
    }
    if !record.steps.is_empty() {
        say_how(text, record, words);
    }
    say_passes(text, record, words);
    say_findings(text, record, words);
    say_verdicts(text, record);
    say_supports(text, record, words);
    say_rest(text, session, record, args.moves && !stops, words);
    if args.moves && stops && record.rest.done().is_some() {
        text.say(
            "No moves are given while something has to be settled first (STOP, or the readings to be taken \
             again, at the top).",
        );
    }
    if stops { CHECK_FAILED } else { OK }
}

/// What has to be settled before anybody lifts again. Returns whether there is anything.
fn say_stop(text: &mut Text, record: &Record, words: Words) -> bool {
    let behind = record.did_not_follow();
    if !behind.is_empty() {
        let (one, several) = words.supports();
        text.heading(&format!(
            "STOP: the floor did not follow at {}",
            count(behind.len(), one, several)
        ));
        for sentence in behind.iter().filter_map(|moved| said::fell_behind(moved, words)) {
            text.item("!", sentence);
        }
        text.say("Lift nothing further there until the cause is found. Look at:");
        for cause in CAUSES {
            text.item("-", cause);
        }
    }
    if !record.suspects.is_empty() {
        text.heading("Readings that do not agree: take them again first");
        for suspect in &record.suspects {
            text.item(
                "!",
                format!("{}: off by {}", suspect.name, words.length(suspect.error.abs())),
            );
        }
    }
    !behind.is_empty() || !record.suspects.is_empty()
}

/// Where the floor stands now.
fn say_state(text: &mut Text, record: &Record, words: Words) {
    let furthest = |above: fn(&floorwright_engine::record::PointProgress) -> Option<Length>| {
        let points = record.points.iter();
        points
            .filter_map(|point| Some((point, above(point)?)))
            .max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()))
    };
    let (before, now) = (furthest(|point| point.above_before), furthest(|point| point.above_now));
    let (Some((was, was_off)), Some((is, is_off))) = (before, now) else {
        text.heading("The floor was not read again: what came of the lifts is not known");
        return;
    };
    text.heading(&format!(
        "Furthest off the target now: {} by {} ± {}",
        is.point,
        words.length(is_off.abs()),
        words.plus_minus(is.sd)
    ));
    text.say(format!("Before the work: {} by {}.", was.point, words.length(was_off.abs())));
    let widest = record.points.iter().map(|point| point.sd).max_by(Length::total_cmp);
    text.say(format!(
        "Every level is known to ± {} or better (about 95 %, {COVERAGE:.0} standard deviations).",
        words.plus_minus(widest.unwrap_or_default())
    ));
}

fn say_step(text: &mut Text, step: &Comparison, points: bool, words: Words) {
    let since = match step.since {
        Since::Start => "the survey".to_owned(),
        Since::Pass(pass) => format!("pass {pass}"),
    };
    text.heading(&format!(
        "From {since} to after pass {}, over each {}, in {} (± is about 95 %)",
        step.after_pass,
        words.supports().0,
        words.unit()
    ));
    let columns = [
        (words.support(), Side::Left),
        ("Lifted", Side::Right),
        ("Expected", Side::Right),
        ("Measured", Side::Right),
        ("±", Side::Right),
        ("", Side::Left),
    ];
    let mut table = Table::new(&columns);
    let mut n_still = 0;
    for moved in &step.supports {
        let Some(found) = &moved.difference else {
            let note = if moved.is_jacked() { "floor not read again here" } else { "" };
            if !note.is_empty() {
                let blank = String::new;
                let lifted = words.signed(moved.lifted);
                table.row([
                    moved.support.to_string(),
                    lifted,
                    blank(),
                    blank(),
                    blank(),
                    note.to_owned(),
                ]);
            }
            continue;
        };
        if !moved.is_jacked() && found.followed == Followed::AsPredicted {
            n_still += 1;
            continue;
        }
        table.row([
            moved.support.to_string(),
            words.signed(moved.lifted),
            words.signed(found.predicted),
            words.signed(found.measured),
            words.plus_minus(found.sd),
            in_words(found.followed).to_owned(),
        ]);
    }
    text.table(&table);
    if n_still > 0 {
        text.say(format!("{n_still} more were not lifted, and the floor over them did not move."));
    }
    if points {
        say_points(text, step, words);
    }
}

/// How it was told, once for all steps.
fn say_how(text: &mut Text, record: &Record, words: Words) {
    text.say(said::how_told(record, words));
}

/// What is as it should be is left blank.
fn in_words(followed: Followed) -> &'static str {
    if followed == Followed::AsPredicted { "" } else { said::followed(followed) }
}

fn say_points(text: &mut Text, step: &Comparison, words: Words) {
    let columns = [
        ("Point", Side::Left),
        ("Expected", Side::Right),
        ("Measured", Side::Right),
        ("±", Side::Right),
        ("", Side::Left),
    ];
    let mut table = Table::new(&columns);
    for point in &step.points {
        let Some(found) = &point.difference else { continue };
        table.row([
            point.point.to_string(),
            words.signed(found.predicted),
            words.signed(found.measured),
            words.plus_minus(found.sd),
            in_words(found.followed).to_owned(),
        ]);
    }
    text.table(&table);
}

fn say_passes(text: &mut Text, record: &Record, words: Words) {
    for pass in &record.passes {
        say_pass(text, pass, words);
    }
}

fn say_pass(text: &mut Text, pass: &DonePass, words: Words) {
    let when = pass.date.as_ref().map_or(String::new(), |date| format!(", {date}"));
    let by = pass.by.as_ref().map_or(String::new(), |by| format!(", {by}"));
    let (_, packers) = words.packers();
    text.heading(&format!("Pass {} as it was done{when}{by}", pass.number));
    let lifted: Vec<String> = pass
        .lifted
        .iter()
        .map(|row| {
            let stack = match row.packers.as_deref() {
                None => String::new(),
                Some([]) => format!(" on no {packers}"),
                Some(pieces) => format!(" on {}", stack_words(pieces, words)),
            };
            format!("{} {}{stack}", row.support, words.signed(row.lift))
        })
        .collect();
    if !lifted.is_empty() {
        text.item("-", lifted.join(", "));
    }
    for crack in &pass.cracks {
        text.item("-", format!("crack: {crack}"));
    }
    if let Some(remarks) = &pass.remarks {
        text.item("-", remarks);
    }
    if !pass.photos.is_empty() {
        text.item("-", format!("photos: {}", pass.photos.join(", ")));
    }
}

fn say_findings(text: &mut Text, record: &Record, words: Words) {
    if record.findings.is_empty() {
        return;
    }
    text.heading("Against the plan and its limits");
    for finding in &record.findings {
        text.item("!", said::finding(finding, words));
    }
}

fn say_verdicts(text: &mut Text, record: &Record) {
    let pairs: Vec<(&Verdict, &Verdict)> =
        record.verdicts_before.iter().zip(&record.verdicts_now).collect();
    if pairs.is_empty() {
        return;
    }
    text.heading("Criteria, before and now");
    for (before, now) in pairs {
        text.item(
            "-",
            format!(
                "{}: {} before, {} now",
                now.criterion.text().title,
                verdict_words(&before.outcome),
                verdict_words(&now.outcome)
            ),
        );
    }
}

fn verdict_words(outcome: &Outcome) -> &'static str {
    match outcome {
        Outcome::Meets => "met",
        Outcome::DoesNot => "NOT MET",
        Outcome::CannotTell { .. } => "cannot tell",
        Outcome::Refused { .. } => "not judged",
    }
}

fn say_supports(text: &mut Text, record: &Record, words: Words) {
    let (_, packers) = words.packers();
    text.heading(&format!("Planned, done and left, in {}", words.unit()));
    let columns = [
        (words.support(), Side::Left),
        ("Planned", Side::Right),
        ("Done", Side::Right),
        ("Left", Side::Right),
        (packers, Side::Left),
    ];
    let mut table = Table::new(&columns);
    let number = |length: Option<Length>| length.map_or("?".to_owned(), |it| words.signed(it));
    for support in &record.supports {
        if support.done.abs() < STILL && support.planned.is_some_and(|it| it.abs() < STILL) {
            continue;
        }
        table.row([
            support.support.to_string(),
            number(support.planned),
            words.signed(support.done),
            number(support.left),
            support.packers.as_ref().map_or(String::new(), |pieces| stack_words(pieces, words)),
        ]);
    }
    text.table(&table);
}

fn say_rest(text: &mut Text, session: &Session, record: &Record, moves: bool, words: Words) {
    let rest = match &record.rest {
        Stage::Done(rest) => rest,
        Stage::Stopped(reasons) => {
            text.heading("What is left cannot be planned yet");
            for reason in reasons {
                text.item("-", floorwright_job::said::reason(reason, words));
            }
            return;
        }
        Stage::WaitsFor(_) | Stage::NotAsked => return,
    };
    text.heading(&format!("What is left, by the readings after pass {}", rest.after_pass));
    if stage(text, &rest.plan, StageName::Packers, &rest.plan.packing, words).is_none() {
        return;
    }
    cautions(text, Loads::of(&rest.plan));
    let columns = [
        (words.support(), Side::Left),
        ("Lift", Side::Right),
        ("±", Side::Right),
        ("Then stands on", Side::Left),
        ("", Side::Left),
    ];
    let behind: Vec<&SupportId> =
        record.did_not_follow().into_iter().map(|moved| &moved.support).collect();
    let mut table = Table::new(&columns);
    for left in &rest.lifts {
        let Some(stack) = rest.stacks.iter().find(|stack| stack.support == left.support) else {
            continue;
        };
        table.row([
            left.support.to_string(),
            words.signed(left.lift),
            left.sd.map_or(String::new(), |sd| words.plus_minus(sd)),
            match &stack.choice {
                Choice::Stack(stack) => stack_words(&stack.pieces, words),
                Choice::Unreachable { .. } => {
                    format!("{} (no such stack)", words.length(stack.wanted))
                }
            },
            if behind.contains(&&left.support) { "NOT YET: find the cause" } else { "" }.to_owned(),
        ]);
    }
    text.heading(&format!("Lifts that are left, in {} (± is about 95 %)", words.unit()));
    text.table(&table);
    if let Some(stage) = say_rest_passes(text, session, &rest.plan).filter(|_| moves) {
        text.say(format!(
            "The moves follow. Passes are counted from the next one, which is pass {} of the job; lifts \
             and {} count from how the floor stands now and come on top of what is there. After the \
             last one the stacks are as listed above.",
            record.passes.len() + 1,
            words.packers().1
        ));
        passes::say_checked(text, session, &rest.plan, stage, words);
    }
}

/// What the rest takes; gives the passes if they may be worked by.
fn say_rest_passes<'a>(
    text: &mut Text,
    session: &Session,
    plan: &'a Plan,
) -> Option<&'a PassesStage> {
    let stage = stage(text, plan, StageName::Passes, &plan.passes, Words::of(&session.input))?;
    let allowed = stage.on_frame.as_ref().is_none_or(|on_frame| on_frame.check.passed());
    let passes = &stage.passes.this_way;
    text.say(if allowed {
        format!(
            "It takes {} in {} with {}.",
            count(passes.passes, "pass", "passes"),
            count(passes.moves, "move", "moves"),
            count(session.job.limits.jacks.value, "jack", "jacks"),
        )
    } else {
        "The frame forbids these passes: lift less, or choose a lower height.".to_owned()
    });
    allowed.then_some(stage)
}
