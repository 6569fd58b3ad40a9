//! `floorwright stands`: the survey planned before anything is read.

use crate::args;
use crate::commands::{hose, pictures};
use crate::exit::{CHECK_FAILED, OK, Stop};
use crate::files::{self, Existing};
use crate::report::{Report, Text, envelope, footing};
use crate::session::Session;
use crate::text::table::{Side, Table};
use floorwright_draw::{StandMark, StandPoint, StandsPicture, stands_map};
use floorwright_engine::hose::{
    Accuracy, Care, NoStands, Stand, StandRow, StandsAsk, StandsPlan, Why, plan_stands,
};
use floorwright_engine::ids::PointId;
use floorwright_engine::survey::Datum;
use floorwright_engine::units::Length;
use floorwright_job::said::count;
use floorwright_job::words::Words;
use std::collections::BTreeMap;

/// A tolerance is to be so many times the uncertainty of what is held against it (common practice).
const OF_TOLERANCE: f64 = 3.0;

/// Runs the command.
pub fn run(args: &args::Stands) -> Result<Report, Stop> {
    let mut session = hose::open_with(&args.job.job, &args.hose)?;
    hose::forget_missing_readings(&mut session);
    let words = Words::of(&session.input);
    let plan = plan_of(&session)?;
    let mut text = Text::default();
    text.heading(&format!("Where to stand: {}", session.input.name));
    text.say(format!("With this hose: {}.", hose::in_one_line(&session.input.hose)));
    for lost in &plan.unreached {
        text.item(
            "!",
            format!(
                "{} is out of reach of every stand: {}",
                lost.point,
                way_out(lost.needs, &plan, &session, words)
            ),
        );
    }
    say_stands(&mut text, &plan, words);
    say_accuracy(&mut text, &session, &plan, words);
    if !args.short {
        for stand in &plan.stands {
            sheet(&mut text, stand, words);
        }
    }
    say_rules(&mut text, &plan);
    if let Some(path) = &args.picture {
        let picture = picture(&session, &plan, words, args.phone);
        files::write(path, &stands_map(&picture), Existing::Replace)?;
        text.heading(&format!("Picture of the stands: {}", path.display()));
    }
    taken(&mut text, &session, &plan);
    let exit = if plan.unreached.is_empty() { OK } else { CHECK_FAILED };
    let json = move || {
        let hose = &session.input.hose;
        let result =
            serde_json::json!({ "hose": hose.hose, "assumed": hose.assumed, "plan": plan });
        envelope("stands", &session, result)
    };
    Ok(Report { text, json: Box::new(json), exit })
}

fn plan_of(session: &Session) -> Result<StandsPlan, Stop> {
    let input = &session.input;
    let worth = input.hose.worth_of_job().map_err(|outside| refused(&outside.into()))?;
    let survey = &session.job.survey;
    let mut benchmarks: Vec<PointId> =
        survey.benchmarks.iter().map(|mark| mark.point.clone()).collect();
    if let Datum::PointIsZero(zero) = &survey.datum {
        benchmarks.push(zero.clone());
    }
    let ask = StandsAsk {
        site: &input.site,
        doors: &input.doors,
        obstacles: &input.obstacles,
        benchmarks: &benchmarks,
        hose: &input.hose.hose,
        reading_sd: worth.sd,
        tolerance: input.goal.level_tolerance,
    };
    plan_stands(&ask).map_err(|why| refused(&why))
}

fn refused(why: &NoStands) -> Stop {
    Stop::new(CHECK_FAILED, format!("the survey cannot be planned: {why}")).hint(why.hint())
}

/// What would bring a point into reach.
fn way_out(needs: Option<Length>, plan: &StandsPlan, session: &Session, words: Words) -> String {
    match needs {
        Some(needs) => {
            // From hose along the floor to hose in the hand, as the reach was made.
            let hose = &session.input.hose.hose;
            let whole = needs.to_m() / 0.95 + 2.0 * hose.leg.to_m();
            format!(
                "it takes {:.1} m along the floor, this hose has {:.1} m. A hose of {:.0} m reaches \
                 it, or a doorway nearer by (with legs of {}).",
                needs.to_m(),
                plan.reach.to_m(),
                whole.ceil(),
                words.exact(hose.leg)
            )
        }
        None if session.input.doors.is_empty() => {
            format!("it is more than {:.0} m away. Is its place right?", 2.0 * plan.reach.to_m())
        }
        None => "no doorway leads there, or it is more than twice as far as the hose. Mark the \
                 doorway as a [[door]], or check its place."
            .to_owned(),
    }
}

fn say_stands(text: &mut Text, plan: &StandsPlan, words: Words) {
    let n = plan.stands.len();
    let fewest = match n.saturating_sub(plan.at_least) {
        _ if n == 1 => "it reaches every point".to_owned(),
        0 => format!("{n} reach every point, and fewer cannot"),
        _ => format!("{n} reach every point; {} at least are needed", plan.at_least),
    };
    text.heading(&format!("{}: {fewest}", count(n, "stand", "stands")));
    let columns = [
        ("Stand", Side::Right),
        ("Reservoir at", Side::Left),
        ("Readings", Side::Right),
        ("Longest hose", Side::Right),
        ("Base", Side::Left),
    ];
    let mut table = Table::new(&columns);
    for stand in &plan.stands {
        let room = stand.room.as_ref().map_or(String::new(), |room| format!("{room}, "));
        table.row([
            stand.number.to_string(),
            format!("{room}{}", words.place(stand.at)),
            stand.rows.len().to_string(),
            format!("{:.1} m", stand.longest.to_m()),
            stand.base.to_string(),
        ]);
    }
    text.table(&table);
    text.say(format!(
        "{} in about {}, waits included; the hose reaches {:.1} m along the floor.",
        count(plan.n_readings, "reading", "readings"),
        hours(plan.minutes.to_minutes()),
        plan.reach.to_m()
    ));
}

fn hours(minutes: f64) -> String {
    let whole = minutes.ceil();
    if whole < 100.0 { format!("{whole:.0} minutes") } else { format!("{:.1} hours", whole / 60.0) }
}

fn say_accuracy(text: &mut Text, session: &Session, plan: &StandsPlan, words: Words) {
    let Some(accuracy) = &plan.accuracy else {
        text.heading("How good it will be cannot be said: no reading hangs on a benchmark");
        return;
    };
    let Some(worst) = accuracy.worst() else { return };
    text.heading(&format!(
        "What will come of it: levels to ± {} or better (about 95 %)",
        words.plus_minus_words(worst.sd)
    ));
    text.say(format!(
        "Worst at {}. It follows from the plan and from ± {} for one reading, and is there \
         before anything is read.",
        worst.point,
        words.plus_minus_words(accuracy.reading_sd)
    ));
    match session.input.goal.level_tolerance {
        Some(tolerance) => say_tolerance(text, session, accuracy, worst.sd * 2.0, tolerance, words),
        None => text.say("The goal has no level_tolerance to hold it against."),
    }
    let finds = accuracy.finds.map_or("an error nowhere shows".to_owned(), |finds| {
        format!("a slip of {} or more is found wherever a reading is checked", words.length(finds))
    });
    text.say(format!(
        "{} more than needed: {finds}; {} read once only, where a slip shows only against the \
         neighbours.",
        count(accuracy.spare, "reading", "readings"),
        match accuracy.read_once {
            1 => "1 point is".to_owned(),
            several => format!("{several} points are"),
        }
    ));
}

fn say_tolerance(
    text: &mut Text,
    session: &Session,
    accuracy: &Accuracy,
    uncertainty: Length,
    tolerance: Length,
    words: Words,
) {
    let share = uncertainty / tolerance;
    if share * OF_TOLERANCE <= 1.0 + 1e-9 {
        text.say(format!(
            "The goal allows {}: good enough, the readings take a third of it or less.",
            words.exact(tolerance)
        ));
        return;
    }
    let needed = accuracy.reading_sd / (share * OF_TOLERANCE);
    let careful = session.input.hose.budget().map(|budget| budget.careful).unwrap_or_default();
    let careful = careful.max(floorwright_engine::hose::LEAST_CLAIMED);
    let is_casual = session.input.hose.hose.care == Care::Casual;
    let way = if careful <= needed && is_casual {
        "read by all the rules (--care careful) it is good enough".to_owned()
    } else if share < 1.0 {
        "take a longer hose and so fewer stands, read every point twice, or take the field test \
         (floorwright hose)"
            .to_owned()
    } else {
        "no verdict can come of it: read with an optical level, or agree on a wider tolerance"
            .to_owned()
    };
    text.say(format!(
        "! The goal allows {}, and the readings alone take {:.0} % of it; a third is the usual \
         share (common practice). {}{}.",
        words.exact(tolerance),
        share * 100.0,
        way[..1].to_uppercase(),
        &way[1..]
    ));
}

fn why(row: &StandRow) -> &'static str {
    match row.why {
        Why::Open => "base, first",
        Why::Point => "",
        Why::Tie => "from two stands",
        Why::Return => "base again",
        Why::Repeat => "again, unseen",
        Why::Close => "base, last",
    }
}

/// The sheet of one stand, with blanks.
fn sheet(text: &mut Text, stand: &Stand, words: Words) {
    let room = stand.room.as_ref().map_or(String::new(), |room| format!(", {room}"));
    text.heading(&format!(
        "Sheet of stand {}{room}: reservoir at {}",
        stand.number,
        words.place(stand.at)
    ));
    let columns = [
        ("Row", Side::Right),
        ("Point", Side::Left),
        ("Hose m", Side::Right),
        ("About min", Side::Right),
        ("Time", Side::Left),
        ("Reading", Side::Left),
        ("", Side::Left),
    ];
    let mut table = Table::new(&columns);
    for (idx, row) in stand.rows.iter().enumerate() {
        table.row([
            format!("{}.{}", stand.number, idx + 1),
            row.point.to_string(),
            format!("{:.1}", row.hose.to_m()),
            format!("{:.0}", row.time.to_minutes()),
            "__:__".to_owned(),
            "__________".to_owned(),
            why(row).to_owned(),
        ]);
    }
    text.table(&table);
}

fn say_rules(text: &mut Text, plan: &StandsPlan) {
    text.heading("While you read");
    text.item(
        "-",
        format!(
            "Wait {:.0} s at each point, then two readings 10 s apart that agree.",
            plan.wait.to_seconds().ceil()
        ),
    );
    text.item(
        "-",
        format!(
            "Go back to the base after {} points or {:.0} minutes, whichever comes first, even if \
             the sheet has it later.",
            plan.watch.points,
            plan.watch.minutes.to_minutes()
        ),
    );
    text.item("-", "\"Again, unseen\": lift the end, settle anew, and do not look at the first.");
    text.item(
        "-",
        "Write the clock time of every reading; in the job each stand is a [[setup]] with \
         instrument = \"hose\" and drift = true.",
    );
    text.item(
        "-",
        "Reservoir on the ground or on a floor that nobody lifts or walks on. Never start the hose \
         by mouth, and never put it under pressure. What to check first: floorwright hose.",
    );
}

fn taken(text: &mut Text, session: &Session, plan: &StandsPlan) {
    let input = &session.input;
    text.heading("Taken for granted of hose and house");
    if input.doors.is_empty() {
        text.item(
            "-",
            "the hose lies straight from place to place: no doorway is marked ([[door]]), so walls \
             do not count",
        );
    } else {
        text.item("-", "every line round a room is a wall, but for the doorways that are marked");
    }
    if input.site.rooms().is_empty() {
        text.item(
            "-",
            "the floor ends half a metre beyond its outermost points: no [[room]] is given",
        );
    }
    for mark in &plan.unplaced_benchmarks {
        text.item(
            "-",
            format!("{mark} is within reach of stand 1: it has no place on the plan (at = [x, y])"),
        );
    }
    if session.job.survey.benchmarks.is_empty()
        && !matches!(session.job.survey.datum, Datum::PointIsZero(_))
    {
        text.item("-", "levels are counted from the base of stand 1: there is no benchmark");
    }
    for assumed in &input.hose.assumed {
        text.item("-", assumed);
    }
    footing(text, session);
}

fn picture(session: &Session, plan: &StandsPlan, words: Words, phone: bool) -> StandsPicture {
    let mut points: BTreeMap<PointId, StandPoint> = BTreeMap::new();
    for stand in &plan.stands {
        for (idx, row) in stand.rows.iter().enumerate() {
            let point = points.entry(row.point.clone()).or_insert_with(|| StandPoint {
                point: row.point.clone(),
                at: row.at,
                read: Vec::new(),
                repeated: false,
                base: false,
            });
            if !point.read.iter().any(|(known, _)| *known == stand.number) {
                point.read.push((stand.number, idx + 1));
            }
            point.repeated |= row.why == Why::Repeat;
            point.base |= row.point == stand.base;
        }
    }
    let stands = plan.stands.iter().map(|stand| StandMark {
        number: stand.number,
        at: stand.at,
        lines: stand.lines.clone(),
        words: format!(
            "hose of stand {}: up to {:.1} m, {} readings",
            stand.number,
            stand.longest.to_m(),
            stand.rows.len()
        ),
    });
    let mut notes = Vec::new();
    if let Some(worst) = plan.accuracy.as_ref().and_then(|accuracy| accuracy.worst()) {
        notes.push(format!(
            "levels will be good to ± {} or better (about 95 %)",
            words.plus_minus_words(worst.sd)
        ));
    }
    notes.push(format!(
        "wait {:.0} s at each point; back to the base after {} points or {:.0} minutes",
        plan.wait.to_seconds().ceil(),
        plan.watch.points,
        plan.watch.minutes.to_minutes()
    ));
    notes.push(format!("hose: {}", hose::in_one_line(&session.input.hose)));
    if session.input.doors.is_empty() {
        notes.push("no doorways are marked: walls do not count".to_owned());
    }
    let lost: Vec<&str> = plan.unreached.iter().map(|lost| lost.point.as_str()).collect();
    if !lost.is_empty() {
        notes.push(format!("out of reach: {}", lost.join(", ")));
    }
    pictures::stands(session, phone, stands.collect(), points.into_values().collect(), notes)
}
