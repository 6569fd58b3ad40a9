//! `floorwright levels`: what the readings say, how sure that is, and what to read again.

use crate::args;
use crate::commands::books;
use crate::exit::{CHECK_FAILED, NOT_FOUND, OK, Stop};
use crate::report::{Report, Text, envelope, footing};
use crate::session::{Session, open};
use crate::text::table::{Side, Table};

use floorwright_engine::ids::{PointId, SetupId};
use floorwright_engine::plan::{Plan, survey};
use floorwright_engine::survey::{
    Control, DRIES_AT_MOST, DriftFound, GlobalTest, Levels, MisclosureRule, Observation,
    ObservationSource, Reduction, SetupDoubt, SourcePlace,
};
use floorwright_engine::units::Length;
use floorwright_job::said;
use floorwright_job::said::count;
use floorwright_job::words::{COVERAGE, Words};
use serde::Serialize;
use std::collections::BTreeMap;

/// Height of one point above another.
#[derive(Serialize)]
struct Pair {
    from: PointId,
    to: PointId,
    rise: Length,
    sd: Length,
}

/// Runs the command.
pub fn run(args: &args::Levels) -> Result<Report, Stop> {
    let session = open(&args.job.job)?;
    let plan = survey(&session.job);
    let words = Words::of(&session.input);
    let pairs = args
        .pair
        .iter()
        .map(|pair| find_pair(pair, &plan.reduction.levels))
        .collect::<Result<Vec<Pair>, Stop>>()?;
    let allowance = books::allowance(args.allowance.as_deref())?;
    let books = books::reduce(&session, &allowance, args.accept_misclosure)?;

    let mut text = Text::default();
    text.heading(&format!("Levels: {}", session.input.name));
    text.say(said::counted_from(&session.job, words));
    for complaint in books.iter().filter_map(|book| book.complaint(words)) {
        text.item("!", complaint);
    }
    let all_well = !books.iter().any(books::Answer::is_bad);
    if all_well || !nothing_stands_out(&plan) {
        read_again(&mut text, &session, &plan, words);
    }
    if args.book {
        books::say(&mut text, &books, words);
    }
    fit(&mut text, &session, &plan.reduction, &allowance, words);
    level_table(&mut text, &plan, words);
    say_pairs(&mut text, &pairs, words);
    if args.readings {
        reading_table(&mut text, &plan.reduction, words);
    }
    footing(&mut text, &session);

    let in_doubt = !plan.reduction.suspects.is_empty()
        || plan.reduction.doubts.iter().any(SetupDoubt::is_read_again)
        || matches!(plan.reduction.global_test, GlobalTest::Failed { .. })
        || books.iter().any(books::Answer::is_bad);
    let json = move || {
        let odd = plan.floor.done().map(|floor| &floor.odd);
        envelope(
            "levels",
            &session,
            serde_json::json!({
                "reduction": plan.reduction, "off_their_neighbours": odd, "pairs": pairs, "books": books,
            }),
        )
    };
    Ok(Report {
        text,
        json: Box::new(json),
        exit: if args.strict && in_doubt { CHECK_FAILED } else { OK },
    })
}

fn find_pair(text: &str, levels: &Levels) -> Result<Pair, Stop> {
    let Some((from, to)) = text.split_once(',') else {
        return Err(Stop::new(crate::exit::USAGE, format!("\"{text}\" is not a pair of points"))
            .hint("write --pair A1,EXT"));
    };
    let find = |name: &str| {
        let point = PointId::new(name.trim());
        levels.index_of(&point).map(|idx| (point, idx)).ok_or_else(|| {
            Stop::new(NOT_FOUND, format!("point {} has no level", name.trim()))
                .hint("see the table of levels for the names that there are")
        })
    };
    let ((from, from_idx), (to, to_idx)) = (find(from)?, find(to)?);
    let level = |idx: usize| levels.points()[idx].level;
    Ok(Pair {
        from,
        to,
        rise: level(to_idx) - level(from_idx),
        sd: levels.difference_sd(from_idx, to_idx),
    })
}

/// Whether neither its own setup, nor the tests, nor the neighbours find fault with a reading.
fn nothing_stands_out(plan: &Plan) -> bool {
    let odd = plan.floor.done().map_or(&[][..], |floor| &floor.odd);
    let again = plan.reduction.doubts.iter().any(SetupDoubt::is_read_again);
    plan.reduction.suspects.is_empty() && odd.is_empty() && !again
}

/// What to read again, the most useful first.
pub fn read_again(text: &mut Text, session: &Session, plan: &Plan, words: Words) {
    let reduction = &plan.reduction;
    let odd = plan.floor.done().map_or(&[][..], |floor| &floor.odd);
    for fault in &reduction.faults {
        text.item("!", format!("{fault}: {}", fault.hint()));
    }
    let doubts = |again: bool| {
        let doubts = reduction.doubts.iter().filter(move |doubt| doubt.is_read_again() == again);
        doubts.map(move |doubt| words.sentence(doubt.to_string()))
    };
    if nothing_stands_out(plan) {
        text.say(if reduction.observations.is_empty() {
            "There are no readings yet."
        } else if reduction.redundancy == 0 {
            said::nothing_checks(reduction)
        } else {
            "No reading stands out."
        });
        doubts(false).for_each(|doubt| text.item("-", doubt));
        return;
    }
    text.heading("Read again first");
    let mut number = 0;
    for doubt in doubts(true) {
        number += 1;
        text.item(&format!("{number}."), doubt);
    }
    for suspect in &reduction.suspects {
        number += 1;
        let others = suspect.or_else.iter().map(|other| other.observation);
        let places: Vec<String> = std::iter::once(suspect.observation)
            .chain(others)
            .filter_map(|observation| place_of(session, &reduction.observations[observation]))
            .map(|place| format!("{}, line {}", place.file, place.line))
            .collect();
        let place =
            if places.is_empty() { String::new() } else { format!(" ({})", places.join("; ")) };
        text.item(&format!("{number}."), words.sentence(format!("{suspect}{place}")));
    }
    let named: Vec<&PointId> =
        reduction.suspects.iter().filter_map(|suspect| suspect.name.point()).collect();
    for odd in odd.iter().filter(|odd| !named.contains(&&odd.odd.point)) {
        number += 1;
        text.item(&format!("{number}."), said::odd_sentence(odd, words));
    }
    doubts(false).for_each(|doubt| text.item("-", doubt));
    text.say(
        "Nothing was left out: what follows still rests on these readings. To strike one out, say \
         why in its column struck.",
    );
    if reduction.widening > 1.0 {
        text.say(format!(
            "Until that is settled every ± is {:.1} times as wide as it would be.",
            reduction.widening
        ));
    }
}

fn place_of<'a>(session: &'a Session, observation: &Observation) -> Option<&'a SourcePlace> {
    let survey = &session.job.survey;
    match observation.source {
        ObservationSource::Reading { setup, reading } => {
            survey.setups.get(setup)?.readings.get(reading)?.place.as_ref()
        }
        ObservationSource::Leg { leg } => survey.legs.get(leg)?.place.as_ref(),
        ObservationSource::Benchmark { .. } => None,
    }
}

fn fit(
    text: &mut Text,
    session: &Session,
    reduction: &Reduction,
    allowance: &MisclosureRule,
    words: Words,
) {
    text.heading("How well the readings fit");
    let survey = &session.job.survey;
    let n_readings: usize = survey.setups.iter().map(|setup| setup.readings.len()).sum();
    let legs = match survey.legs.len() {
        0 => String::new(),
        n_legs => format!(" and {}", count(n_legs, "leg", "legs")),
    };
    text.say(format!(
        "{} from {}{legs}; {} more than needed.",
        count(n_readings, "reading", "readings"),
        count(survey.setups.len(), "setup", "setups"),
        reduction.redundancy,
    ));
    text.say(match (reduction.global_test, reduction.s0) {
        (GlobalTest::Passed { .. }, Some(s0)) => format!(
            "They scatter {s0:.2} times as much as their stated standard deviations promise: \
             that fits."
        ),
        (GlobalTest::Failed { .. }, Some(s0)) => format!(
            "They scatter {s0:.2} times as much as their stated standard deviations promise: \
             that is too much. Either a reading is wrong, or the instrument is less sure than \
             stated. Every ± is widened by as much."
        ),
        _ => said::nothing_checks(reduction).to_owned(),
    });
    for setup in &reduction.setups {
        let Some(line) = &setup.line else { continue };
        let drift = match &setup.drift {
            DriftFound::NotSought => String::new(),
            DriftFound::Refused { why } => format!("; drift not found: {why}"),
            DriftFound::Found(drift) => {
                let side = if drift.rate.to_mm_per_minute() < 0.0 { "falling" } else { "rising" };
                let leaks = drift.rate.to_mm_per_hour().abs()
                    - drift.sd_prior.to_mm_per_hour() * COVERAGE * reduction.widening
                    > DRIES_AT_MOST.to_mm();
                let sure = if drift.proven && leaks {
                    "taken out of the readings, but more than drying up explains: look for a leak, a \
                     spill, air or water that warms"
                } else if drift.proven {
                    "taken out of the readings"
                } else {
                    "not proven, but taken out all the same"
                };
                let pieces = match &drift.pieces {
                    Some(pieces) if !pieces.one_line_is_enough && reduction.suspects.is_empty() => {
                        format!(
                            "; it was not even: up to {} off a straight line, so read the base more \
                         often",
                            words.length(pieces.largest_difference)
                        )
                    }
                    _ => String::new(),
                };
                format!(
                    "; {side} {} ± {} an hour, {sure}{pieces}",
                    words.number(Length::mm(drift.rate.to_mm_per_hour().abs())),
                    words.plus_minus_words(Length::mm(
                        drift.sd_prior.to_mm_per_hour() * reduction.widening
                    )),
                )
            }
        };
        text.item(
            "-",
            format!(
                "setup {}: line at {} ± {}{drift}",
                setup.setup,
                words.level(line.level),
                words.plus_minus(line.sd_prior * reduction.widening)
            ),
        );
    }
    say_hoses(text, session, words);
    for uncontrolled in &reduction.uncontrolled {
        text.item("-", words.sentence(uncontrolled.to_string()));
    }
    for closed in &reduction.loops {
        let names: Vec<String> = closed.points.iter().map(ToString::to_string).collect();
        text.item(
            "-",
            format!(
                "loop {}: misclosure {} ± {}{}",
                names.join(" "),
                words.length(closed.misclosure),
                words.plus_minus(closed.sd),
                books::against_rule(closed, allowance, words),
            ),
        );
    }
}

/// What was done to the readings of hoses, and what each was taken to be worth.
fn say_hoses(text: &mut Text, session: &Session, words: Words) {
    let known = |id: &SetupId| session.input.hose.worth.iter().find(|setup| setup.setup == *id);
    for setup in &session.job.survey.setups {
        let mut parts = Vec::new();
        if setup.scale != 1.0 {
            parts.push(format!(
                "differences of readings times {:.4}, for the reservoir's own rise and fall",
                setup.scale
            ));
        }
        match known(&setup.id).map(|setup| setup.worth) {
            Some(Some(worth)) => parts.push(match worth.repeats {
                Some(repeats) => format!(
                    "one reading taken to ± {}: the budget of [hose] (± {}) corrected \
                     by repeats of this job ({} to spare, scatter {:.2} mm)",
                    words.plus_minus_words(worth.sd),
                    words.plus_minus_words(worth.by_budget),
                    repeats.spare,
                    repeats.sd.to_mm()
                ),
                None => format!(
                    "one reading taken to ± {}: the budget of [hose], for nothing was read \
                     twice",
                    words.plus_minus_words(worth.sd)
                ),
            }),
            Some(None) => parts.push("what a reading is worth is stated by the job".to_owned()),
            None => {}
        }
        if !parts.is_empty() {
            text.item("-", format!("setup {}: {}", setup.id, parts.join("; ")));
        }
    }
}

fn level_table(text: &mut Text, plan: &Plan, words: Words) {
    let reduction = &plan.reduction;
    if reduction.levels.points().is_empty() {
        text.heading("No point has a level.");
        return;
    }
    let mut n_readings: BTreeMap<&PointId, usize> = BTreeMap::new();
    for observation in &reduction.observations {
        if let Some(point) = observation.name.point() {
            *n_readings.entry(point).or_default() += 1;
        }
    }
    let mut doubts: BTreeMap<&PointId, &str> = BTreeMap::new();
    for odd in plan.floor.done().iter().flat_map(|floor| &floor.odd) {
        doubts.insert(&odd.odd.point, "off its neighbours");
    }
    for suspect in &reduction.suspects {
        doubts.extend(suspect.name.point().map(|point| (point, "reading in doubt")));
    }
    for doubt in reduction.doubts.iter().filter(|doubt| doubt.is_read_again()) {
        if let SetupDoubt::NotClosed { since, .. } = doubt {
            doubts.extend(since.iter().map(|point| (point, "read again")));
        }
        doubts.extend(doubt.point().map(|point| (point, "reading in doubt")));
    }
    let (unit, small) = (words.level_unit(), words.unit());
    let heading = if unit == small {
        format!("Levels in {unit} (± is about 95 %)")
    } else {
        format!("Levels in {unit}, ± in {small} (about 95 %)")
    };
    text.heading(&heading);
    let columns = [
        ("Point", Side::Left),
        ("Level", Side::Right),
        ("±", Side::Right),
        ("Times read", Side::Right),
        ("", Side::Left),
    ];
    let mut table = Table::new(&columns);
    for (level_idx, level) in reduction.levels.points().iter().enumerate() {
        let note = match doubts.get(&level.point) {
            Some(doubt) => doubt,
            None if level.held => "held",
            None => "",
        };
        table.row([
            level.point.to_string(),
            words.level_number(level.level),
            words.plus_minus(reduction.levels.sd(level_idx)),
            n_readings.get(&level.point).copied().unwrap_or(0).to_string(),
            note.to_owned(),
        ]);
    }
    text.table(&table);
}

fn say_pairs(text: &mut Text, pairs: &[Pair], words: Words) {
    if pairs.is_empty() {
        return;
    }
    text.heading("Height of one point above another");
    for pair in pairs {
        text.say(format!(
            "{} above {}: {} ± {}",
            pair.to,
            pair.from,
            words.length(pair.rise),
            words.plus_minus(pair.sd)
        ));
    }
}

fn reading_table(text: &mut Text, reduction: &Reduction, words: Words) {
    text.heading(&format!(
        "Every reading, in {} (residual: adjusted less observed; r: share of an error that shows)",
        words.unit()
    ));
    let columns = [
        ("Reading", Side::Left),
        ("Sd", Side::Right),
        ("Residual", Side::Right),
        ("r", Side::Right),
        ("w", Side::Right),
        ("tau", Side::Right),
        ("Finds", Side::Right),
        ("Off by", Side::Right),
    ];
    let mut table = Table::new(&columns);
    for observation in &reduction.observations {
        table.row(reading_row(observation, words));
    }
    text.table(&table);
    text.say(
        "Finds: the smallest error in it that the test would find (power 80 %). Off by: how far \
         off it is, if it alone is wrong (observed less true).",
    );
}

fn reading_row(observation: &Observation, words: Words) -> [String; 8] {
    let name = observation.name.to_string().replace(" from setup ", ", ");
    let mut row = [
        name,
        words.number(observation.sd),
        words.signed(observation.residual),
        format!("{:.2}", observation.redundancy_number),
        String::new(),
        String::new(),
        String::new(),
        String::new(),
    ];
    match &observation.control {
        Control::NotControlled => row[4] = "not checked".to_owned(),
        Control::Controlled(check) | Control::BenchmarkCheck(check) => {
            row[4] = format!("{:+.2}", check.w);
            row[5] = check.tau.map_or("-".to_owned(), |tau| format!("{tau:+.2}"));
            row[6] = words.number(check.smallest_detectable);
            row[7] = words.signed(check.error);
        }
    }
    row
}
