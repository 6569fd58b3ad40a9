//! The survey planned before anything is read: where to stand, on a terminal and on a phone.

use crate::JobInput;
use crate::hose_told::{in_one_line, two_readings, where_it_stands};
use crate::said::count;
use crate::told::{Side, Table, Told};
use crate::words::{COVERAGE, Words};
use floorwright_engine::hose::{
    Accuracy, Care, Hose, LEAST_CLAIMED, NoStands, ReadableRange, Reservoir, SHARE_OF_TOLERANCE,
    Stand, StandRow, StandsAsk, StandsPlan, Why, plan_stands, range_of,
};
use floorwright_engine::ids::PointId;
use floorwright_engine::plan::Job;
use floorwright_engine::site::{Position, Room};
use floorwright_engine::survey::Datum;
use floorwright_engine::units::Length;

/// Plans the survey of a job with its hose.
///
/// # Errors
/// Why it cannot be planned.
pub fn plan_of(input: &JobInput, job: &Job) -> Result<StandsPlan, NoStands> {
    // A reading_sd that the job states is what its survey will be weighed by.
    let reading_sd = match input.hose.stated() {
        Some(stated) => stated,
        None => input.hose.worth_of_job()?.sd,
    };
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
        reading_sd,
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
    say_unreached(&mut text, plan, of, words);
    say_stands(&mut text, of, plan, words);
    say_accuracy(&mut text, of, plan, words);
    if !short {
        plan.stands.iter().for_each(|stand| sheet(&mut text, stand, of, plan, words));
    }
    say_rules(&mut text, of, plan, words);
    taken(&mut text, of, plan, words);
    text
}

/// What no stand reaches and what would bring it into reach; points with one reason together.
fn say_unreached(text: &mut Told, plan: &StandsPlan, of: Of<'_>, words: Words) {
    let mut groups: Vec<(Unreachable<'_>, Vec<&PointId>, Length)> = Vec::new();
    for lost in &plan.unreached {
        let why = match (obstacle_at(of, &lost.point), lost.needs) {
            (Some(name), _) => Unreachable::Within(name),
            (None, Some(_)) => Unreachable::TooFar,
            (None, None) => Unreachable::NoWay,
        };
        let needs = lost.needs.unwrap_or_default();
        match groups.iter_mut().find(|group| group.0 == why) {
            Some((_, points, most)) => {
                points.push(&lost.point);
                *most = most.max(needs);
            }
            None => groups.push((why, vec![&lost.point], needs)),
        }
    }
    for (why, points, needs) in groups {
        let names = some_of(&points);
        let (is, it, takes) = match points.len() {
            1 => ("is", "it", "it takes"),
            _ => ("are", "them", "they take up to"),
        };
        let out = match why {
            Unreachable::TooFar => {
                // From hose along the floor to hose in the hand, as the reach was made.
                let hose = &of.input.hose.hose;
                format!(
                    "{takes} {} along the floor, this hose has {}. A hose of {} reaches {it}, or a \
                     doorway nearer by (with legs of {}).",
                    words.long(needs),
                    words.long(plan.reach),
                    words.long_up(hose.length_to_reach(needs)),
                    words.exact(hose.leg)
                )
            }
            Unreachable::Within(name) => format!(
                "inside of {name}, where no hose goes: move the point, or the outline of {name}."
            ),
            Unreachable::NoWay if of.input.doors.is_empty() => format!(
                "further away than {}. Is the place right? If so, a longer hose.",
                words.long(plan.reach * 2.0)
            ),
            Unreachable::NoWay => format!(
                "no way of up to {} leads there, twice as far as this hose reaches. Take a longer hose, \
                 or look for a doorway that is not marked ([[door]]) and for a slip in the place.",
                words.long(plan.reach * 2.0)
            ),
        };
        text.item("!", format!("{names} {is} out of reach of every stand: {out}"));
    }
}

/// Why a point is not reached.
#[derive(PartialEq)]
enum Unreachable<'a> {
    /// The way is known and too long.
    TooFar,
    /// It lies inside an obstacle, by its name.
    Within(&'a str),
    /// No way is known.
    NoWay,
}

/// A dozen names in a sentence, and how many more.
fn some_of(points: &[&PointId]) -> String {
    const SHOWN: usize = 12;
    let shown: Vec<&str> = points.iter().take(SHOWN).map(|point| point.as_str()).collect();
    match (points.len().saturating_sub(SHOWN), shown.split_last()) {
        (0, Some((last, rest))) if !rest.is_empty() => format!("{} and {last}", rest.join(", ")),
        (0, _) => shown.concat(),
        (more, _) => format!("{} and {more} more", shown.join(", ")),
    }
}

/// Where a point or the floor over a support is.
fn place_of(of: Of<'_>, point: &PointId) -> Option<Position> {
    let site = &of.input.site;
    let known = site.points().iter().find(|known| known.id == *point);
    let support = site.supports().iter().find(|support| support.id.as_str() == point.as_str());
    known.and_then(|known| known.at).or(support.map(|support| support.at))
}

/// The obstacle that a point lies in.
fn obstacle_at<'a>(of: Of<'a>, point: &PointId) -> Option<&'a str> {
    let at = place_of(of, point)?;
    let within = of.input.obstacles.iter().find(|thing| thing.outline.contains(at, Length::ZERO));
    within.map(|thing| thing.name.as_str())
}

fn say_stands(text: &mut Told, of: Of<'_>, plan: &StandsPlan, words: Words) {
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
        (
            if of.input.hose.hose.reservoir.is_twin() { "Standing end at" } else { "Reservoir at" },
            Side::Left,
        ),
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
        "Worst at {}. It follows from the plan and from ± {} for one reading{}, and is there \
         before anything is read.",
        worst.point,
        words.plus_minus_words(accuracy.reading_sd),
        if of.input.hose.stated().is_some() { " (the reading_sd of the job)" } else { "" }
    ));
    if let Some(zero) = &accuracy.in_place_of_benchmark {
        text.item(
            "!",
            format!(
                "No stand reaches a benchmark: that is how well heights above {zero} will be known, and \
                 how {zero} stands to the benchmark nobody knows."
            ),
        );
    }
    let n_known = accuracy.points.len();
    let most_are_lost = plan.unreached.len() > n_known;
    if most_are_lost {
        text.item(
            "!",
            format!(
                "That is said of {} only; {} out of reach, and of the floor as a whole it says nothing.",
                count(n_known, "point", "points"),
                match plan.unreached.len() {
                    1 => "1 is".to_owned(),
                    several => format!("{several} are"),
                }
            ),
        );
    }
    match of.input.goal.level_tolerance {
        Some(_) if most_are_lost || accuracy.in_place_of_benchmark.is_some() => {}
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
    let may_read_better =
        of.input.hose.hose.care == Care::Casual && of.input.hose.stated().is_none();
    let way = if careful <= needed && may_read_better {
        format!(
            "read by all the rules (careful, to {}, settled to {}) it is good enough",
            words.exact(Length::mm(0.5)),
            words.exact(Length::mm(0.2))
        )
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
fn sheet(text: &mut Told, stand: &Stand, of: Of<'_>, plan: &StandsPlan, words: Words) {
    let hose = &of.input.hose.hose;
    let reservoir = hose.reservoir;
    let room = stand.room.as_ref().map_or(String::new(), |room| format!(", {room}"));
    text.heading(format!(
        "Sheet of stand {}{room}: {} at {}",
        stand.number,
        if reservoir.is_twin() { "standing end" } else { "reservoir" },
        words.place(stand.at)
    ));
    if let Ok(range) = range_of(hose) {
        text.say(water_line(hose, &range, words));
    }
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
        // Nobody knows how far it is to a mark that has no place.
        let is_placed = !plan.unplaced_benchmarks.contains(&row.point);
        let known = [
            format!("{}.{}", stand.number, idx + 1),
            row.point.to_string(),
            if is_placed { words.long_number(row.hose) } else { "?".to_owned() },
            format!("{:.0}", row.time.to_minutes()),
            "__:__".to_owned(),
        ];
        let length = if blanks.len() == 1 { 10 } else { 8 };
        let empty = blanks.iter().map(|_| "_".repeat(length));
        table.row(known.into_iter().chain(empty).chain([why(row).to_owned()]));
    }
    text.table(table);
}

/// How high the water of a stand is to be, and what it then reads.
fn water_line(hose: &Hose, range: &ReadableRange, words: Words) -> String {
    let leg = words.exact(hose.leg);
    let whole = |length: Length| words.exact(Length::mm(length.abs().to_mm().round()));
    if range.lowest >= range.highest {
        return format!(
            "! With its water {leg} above the floor this hose reads no floor: see the hose."
        );
    }
    let side = |floor: Length| if floor < Length::ZERO { "lower" } else { "higher" };
    format!(
        "Water line about {leg} above the floor that is read, wherever the other end stands: it then reads \
         floors from {} {} to {} {}.",
        whole(range.lowest),
        side(range.lowest),
        whole(range.highest),
        side(range.highest)
    )
}

/// Marks out of the house: no room holds them, or nobody said where they are.
fn marks_outside(of: Of<'_>, plan: &StandsPlan) -> Vec<PointId> {
    let rooms = of.input.site.rooms();
    let marks = of.job.survey.benchmarks.iter().map(|mark| &mark.point);
    let is_outside = |mark: &&PointId| match place_of(of, mark) {
        Some(at) => {
            let near = |room: &Room| {
                room.outline.contains(at, Length::ZERO)
                    || room.outline.distance_to_line(at) <= Length::mm(500.0)
            };
            !rooms.is_empty() && !rooms.iter().any(near)
        }
        None => plan.unplaced_benchmarks.contains(mark),
    };
    marks.filter(is_outside).cloned().collect()
}

fn say_rules(text: &mut Told, of: Of<'_>, plan: &StandsPlan, words: Words) {
    text.heading("While you read");
    let hose = &of.input.hose.hose;
    let two = hose.column().map_or("two readings that agree".to_owned(), |it| two_readings(&it));
    text.item(
        "-",
        format!("Wait {:.0} s at each point, then {two}.", plan.wait.to_seconds().ceil()),
    );
    let outside = marks_outside(of, plan);
    if !outside.is_empty() {
        let names: Vec<&PointId> = outside.iter().collect();
        text.item(
            "!",
            format!(
                "A mark out of the house or without a place ({}): a wind of 5 m/s (11 mph) on one end alone is worth {}, so \
                 read it in a calm or shield both ends; let no leg hang in the sun or down a cold wall; \
                 and see that it is no lower and no higher than the hose reads, or the hose runs empty.",
                some_of(&names),
                words.exact(Length::mm(1.5)),
            ),
        );
    }
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
    text.item("-", where_it_stands(hose));
    text.item(
        "-",
        "Never start the hose by mouth, and never put it under pressure. What to check first stands \
         under the hose.",
    );
}

fn taken(text: &mut Told, of: Of<'_>, plan: &StandsPlan, words: Words) {
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
            format!(
                "the floor ends {} beyond its outermost points: no [[room]] is given",
                words.exact(if words.long_unit() == "ft" {
                    Length::inches(20.0)
                } else {
                    Length::mm(500.0)
                })
            ),
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
