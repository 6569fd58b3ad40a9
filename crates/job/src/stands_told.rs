//! The survey planned before anything is read: where to stand, on a terminal and on a phone.

use crate::JobInput;
use crate::hose_told::in_one_line;
use crate::said::count;
use crate::told::{Side, Table, Told};
use crate::words::{COVERAGE, Words};
use floorwright_engine::hose::{
    Accuracy, Care, LEAST_CLAIMED, NoStands, Reservoir, SHARE_OF_TOLERANCE, Stand, StandRow,
    StandsAsk, StandsPlan, Why, plan_stands,
};
use floorwright_engine::ids::PointId;
use floorwright_engine::plan::Job;
use floorwright_engine::survey::Datum;
use floorwright_engine::units::Length;

/// Plans the survey of a job with its hose.
///
/// # Errors
/// Why it cannot be planned.
pub fn plan_of(input: &JobInput, job: &Job) -> Result<StandsPlan, NoStands> {
    let worth = input.hose.worth_of_job()?;
    let obstacles: Vec<_> = input.obstacles.iter().map(|thing| thing.outline.clone()).collect();
    let mut benchmarks: Vec<PointId> =
        job.survey.benchmarks.iter().map(|mark| mark.point.clone()).collect();
    if let Datum::PointIsZero(zero) = &job.survey.datum {
        benchmarks.push(zero.clone());
    }
    plan_stands(&StandsAsk {
        site: &input.site,
        doors: &input.doors,
        obstacles: &obstacles,
        benchmarks: &benchmarks,
        hose: &input.hose.hose,
        reading_sd: worth.sd,
        tolerance: input.goal.level_tolerance,
    })
}

/// A job whose survey is planned.
#[derive(Clone, Copy)]
struct Of<'a> {
    input: &'a JobInput,
    job: &'a Job,
}

/// All that is said of the stands; with the sheets of blanks unless it is to be short.
pub fn told(input: &JobInput, job: &Job, plan: &StandsPlan, short: bool) -> Told {
    let (words, of) = (Words::of(input), Of { input, job });
    let mut text = Told::default();
    text.heading(format!("Where to stand: {}", input.name));
    text.say(format!("With this hose: {}.", in_one_line(&input.hose, words)));
    for lost in &plan.unreached {
        let out = way_out(lost.needs, plan, of, words);
        text.item("!", format!("{} is out of reach of every stand: {out}", lost.point));
    }
    say_stands(&mut text, plan, words);
    say_accuracy(&mut text, of, plan, words);
    if !short {
        let reservoir = input.hose.hose.reservoir;
        plan.stands.iter().for_each(|stand| sheet(&mut text, stand, reservoir, words));
    }
    say_rules(&mut text, plan);
    taken(&mut text, of, plan);
    text
}

/// What would bring a point into reach.
fn way_out(needs: Option<Length>, plan: &StandsPlan, of: Of<'_>, words: Words) -> String {
    match needs {
        Some(needs) => {
            // From hose along the floor to hose in the hand, as the reach was made.
            let hose = &of.input.hose.hose;
            format!(
                "it takes {} along the floor, this hose has {}. A hose of {} reaches it, or a doorway \
                 nearer by (with legs of {}).",
                words.long(needs),
                words.long(plan.reach),
                words.long_up(hose.length_to_reach(needs)),
                words.exact(hose.leg)
            )
        }
        None if of.input.doors.is_empty() => {
            format!("it is more than {} away. Is its place right?", words.long(plan.reach * 2.0))
        }
        None => "no doorway leads there, or it is more than twice as far as the hose. Mark the \
                 doorway as a [[door]], or check its place."
            .to_owned(),
    }
}

fn say_stands(text: &mut Told, plan: &StandsPlan, words: Words) {
    let n = plan.stands.len();
    let all = match plan.unreached.len() {
        0 => "every point".to_owned(),
        1 => "every point but the one that is out of reach".to_owned(),
        lost => format!("every point but the {lost} that are out of reach"),
    };
    let fewest = match n.saturating_sub(plan.at_least) {
        _ if n == 1 => format!("it reaches {all}"),
        0 => format!("{n} reach {all}, and fewer cannot"),
        _ => format!("{n} reach {all}; {} at least are needed", plan.at_least),
    };
    text.heading(format!("{}: {fewest}", count(n, "stand", "stands")));
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
            words.long(stand.longest),
            stand.base.to_string(),
        ]);
    }
    text.table(table);
    text.say(format!(
        "{} in about {}, waits included; the hose reaches {} along the floor.",
        count(plan.n_readings, "reading", "readings"),
        hours(plan.minutes.to_minutes()),
        words.long(plan.reach)
    ));
}

fn hours(minutes: f64) -> String {
    let whole = minutes.ceil();
    if whole < 100.0 { format!("{whole:.0} minutes") } else { format!("{:.1} hours", whole / 60.0) }
}

fn say_accuracy(text: &mut Told, of: Of<'_>, plan: &StandsPlan, words: Words) {
    let Some(accuracy) = &plan.accuracy else {
        text.heading("How good it will be cannot be said: no reading hangs on a benchmark");
        return;
    };
    let Some(worst) = accuracy.worst() else { return };
    text.heading(format!(
        "What will come of it: levels to ± {} or better (about 95 %)",
        words.plus_minus_words(worst.sd)
    ));
    text.say(format!(
        "Worst at {}. It follows from the plan and from ± {} for one reading, and is there \
         before anything is read.",
        worst.point,
        words.plus_minus_words(accuracy.reading_sd)
    ));
    match of.input.goal.level_tolerance {
        Some(tolerance) => say_tolerance(text, of, accuracy, worst.sd * COVERAGE, tolerance, words),
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
    text: &mut Told,
    of: Of<'_>,
    accuracy: &Accuracy,
    uncertainty: Length,
    tolerance: Length,
    words: Words,
) {
    let share = uncertainty / tolerance;
    if share <= SHARE_OF_TOLERANCE + 1e-9 {
        text.say(format!(
            "The goal allows {}: good enough, the readings take a third of it or less.",
            words.exact(tolerance)
        ));
        return;
    }
    let needed = accuracy.reading_sd * (SHARE_OF_TOLERANCE / share);
    let careful = of.input.hose.budget().map(|budget| budget.careful).unwrap_or_default();
    let careful = careful.max(LEAST_CLAIMED);
    let is_casual = of.input.hose.hose.care == Care::Casual;
    let way = if careful <= needed && is_casual {
        "read by all the rules (careful, to half a millimetre, settled to 0.2 mm) it is good enough"
            .to_owned()
    } else if share < 1.0 {
        "take a longer hose and so fewer stands, read every point twice, or take the field test \
         of the hose"
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
fn sheet(text: &mut Told, stand: &Stand, reservoir: Reservoir, words: Words) {
    let room = stand.room.as_ref().map_or(String::new(), |room| format!(", {room}"));
    text.heading(format!(
        "Sheet of stand {}{room}: reservoir at {}",
        stand.number,
        words.place(stand.at)
    ));
    // Of a twin both ends are read at the same moment.
    let blanks: &[&str] =
        if reservoir == Reservoir::TwinBothEnds { &["Moving", "Standing"] } else { &["Reading"] };
    let hose = format!("Hose {}", words.long_unit());
    let mut columns = vec![
        ("Row", Side::Right),
        ("Point", Side::Left),
        (hose.as_str(), Side::Right),
        ("About min", Side::Right),
        ("Time", Side::Left),
    ];
    columns.extend(blanks.iter().map(|blank| (*blank, Side::Left)));
    columns.push(("", Side::Left));
    let mut table = Table::new(&columns);
    for (idx, row) in stand.rows.iter().enumerate() {
        let known = [
            format!("{}.{}", stand.number, idx + 1),
            row.point.to_string(),
            words.long_number(row.hose),
            format!("{:.0}", row.time.to_minutes()),
            "__:__".to_owned(),
        ];
        let length = if blanks.len() == 1 { 10 } else { 8 };
        let empty = blanks.iter().map(|_| "_".repeat(length));
        table.row(known.into_iter().chain(empty).chain([why(row).to_owned()]));
    }
    text.table(table);
}

fn say_rules(text: &mut Told, plan: &StandsPlan) {
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
         by mouth, and never put it under pressure. What to check first stands under the hose.",
    );
}

fn taken(text: &mut Told, of: Of<'_>, plan: &StandsPlan) {
    let input = of.input;
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
    if of.job.survey.benchmarks.is_empty() && !matches!(of.job.survey.datum, Datum::PointIsZero(_))
    {
        text.item("-", "levels are counted from the base of stand 1: there is no benchmark");
    }
    for assumed in &input.hose.assumed {
        text.item("-", assumed);
    }
}
