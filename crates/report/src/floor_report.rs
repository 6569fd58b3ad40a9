//! The floor report: how far out, where, against which criteria, how sure, and what to do next.

use crate::block::{Block, Blocks, Cells, Picture, Table};
use crate::paper::{Content, Paper};
use crate::sheets::Drawings;
use crate::survey_said::{level_table, method};
use crate::typeset::PaperError;
use floorwright_engine::ids::PointId;
use floorwright_engine::plan::{DeckShape, FloorShape};
use floorwright_engine::target::{Outcome as Lifts, Prediction};
use floorwright_engine::verdict::{Finding, Outcome};
use floorwright_job::cautions::{Loads, cautions};
use floorwright_job::said::{self, count, counted_from, deck, fit, read_again};
use floorwright_job::words::{COVERAGE, Words};
use std::collections::BTreeSet;

/// With more points than this their labels have no room beside the text: they are on the sheet.
const MOST_BESIDE: usize = 70;

/// What the document says.
pub(crate) fn content(paper: &Paper<'_>) -> Result<Content, PaperError> {
    let Some(shape) = paper.plan.floor.done() else { return levels_alone(paper) };
    let drawings = Drawings::of(paper);
    let mut pictures = Vec::new();
    let mut first = Blocks::default();
    begun(&mut first, paper);
    answers(&mut first, paper, shape);
    let mut blocks = Blocks::default();
    let is_small = shape.surface.readings().len() <= MOST_BESIDE;
    match drawings.small_floor().filter(|_| is_small) {
        Some((svg, alt)) => {
            let picture = Picture { file: "floor-small.svg".to_owned(), alt, ..Picture::default() };
            pictures.push((picture.file.clone(), svg));
            blocks.0.push(Block::Beside { blocks: first.0, picture });
        }
        None => blocks.0.extend(first.0),
    }
    verdicts(&mut blocks, paper);
    again(&mut blocks, paper);
    blocks.heading("Datum and method");
    blocks.say(counted_from(paper.job, paper.words()));
    blocks.list(method(paper));
    shapes(&mut blocks, shape, paper.words());
    blocks.heading("Levels");
    blocks.table(level_table(paper.plan, paper.words()));
    limits(&mut blocks, paper, Some(shape));
    blocks.heading("Before anybody lifts");
    blocks.list(cautions(Loads::of(paper.plan)));
    let mut content =
        Content::new("How far out of level the floor is, and how sure that is", blocks);
    content.pictures = pictures;
    content.sheets.extend(drawings.floor_now());
    content.sheets.extend(drawings.section());
    Ok(content)
}

/// Where the levels are known and the shape of the floor is not: the levels, and why.
fn levels_alone(paper: &Paper<'_>) -> Result<Content, PaperError> {
    let words = paper.words();
    let what = said::reasons(paper.plan.floor.reasons(), words);
    if paper.plan.reduction.levels.points().is_empty() {
        return Err(PaperError::Nothing { document: "floor report", what });
    }
    let mut blocks = Blocks::default();
    begun(&mut blocks, paper);
    blocks.0.push(Block::Answer {
        text: "How far the floor is out of level cannot be told yet.".to_owned(),
        under: vec![format!("{what}."), "The levels that were read follow.".to_owned()],
    });
    again(&mut blocks, paper);
    blocks.heading("Datum and method");
    blocks.say(counted_from(paper.job, words));
    blocks.list(method(paper));
    blocks.heading("Levels");
    blocks.table(level_table(paper.plan, words));
    limits(&mut blocks, paper, None);
    blocks.heading("Before anybody lifts");
    blocks.list(cautions(Loads::of(paper.plan)));
    Ok(Content::new("Levels as read; the shape of the floor is not known", blocks))
}

/// That this is the floor from before the work, once passes were done.
fn begun(blocks: &mut Blocks, paper: &Paper<'_>) {
    let n_done = paper.input.done.passes.len();
    let said = (n_done > 0).then(|| {
        format!(
            "This is the floor as it was read before the work, and {} noted as done since. How it stands now \
             is in the completion record.",
            count(n_done, "pass is", "passes are")
        )
    });
    blocks.framed("Work has begun", said.into_iter().collect(), true);
}

/// Page one.
fn answers(blocks: &mut Blocks, paper: &Paper<'_>, shape: &FloorShape) {
    let words = paper.words();
    let largest = shape.decks.iter().max_by_key(|deck| deck.n_points);
    if let Some(one) = largest.filter(|deck| deck.n_points < 2) {
        blocks.0.push(Block::Answer {
            text: "One point was read: how far the floor is out of level cannot be told."
                .to_owned(),
            under: vec![format!(
                "{} is at {}. Read two or more points, better one over each support.",
                one.spread.highest.point,
                words.level(one.spread.highest.level)
            )],
        });
    } else if let Some(largest) = largest {
        blocks.0.push(Block::Answer {
            text: format!(
                "The floor is {} ± {} out of level.",
                words.length(largest.spread.range),
                words.plus_minus(largest.spread.sd)
            ),
            under: std::iter::once(where_it_is(largest, words))
                .chain(in_doubt(
                    paper,
                    [&largest.spread.highest.point, &largest.spread.lowest.point],
                ))
                .collect(),
        });
    }
    let others =
        shape.decks.iter().filter(|deck| largest.is_none_or(|largest| largest.name != deck.name));
    blocks.list(others.map(|deck| {
        let range = words.length(deck.spread.range);
        let sure = words.plus_minus(deck.spread.sd);
        format!(
            "{}: {range} ± {sure} out of level by itself. {}",
            deck.name,
            where_it_is(deck, words)
        )
    }));
    blocks.heading("Held against");
    let verdicts = &paper.plan.verdicts;
    let answered = |is: fn(&Outcome) -> bool| verdicts.iter().filter(|v| is(&v.outcome)).count();
    let (meets, does_not, cannot_tell) = (
        answered(|outcome| matches!(outcome, Outcome::Meets)),
        answered(|outcome| matches!(outcome, Outcome::DoesNot)),
        answered(|outcome| matches!(outcome, Outcome::CannotTell { .. })),
    );
    if verdicts.is_empty() {
        blocks.say("No criterion was named for this floor.");
    } else {
        blocks.say(format!(
            "Of {}: {does_not} not met, {meets} met, {cannot_tell} that these readings cannot \
             tell. They are listed with their sources below.",
            count(does_not + meets + cannot_tell, "criterion", "criteria"),
        ));
    }
    blocks.list([("Not met", false), ("Cannot be told", true)].into_iter().filter_map(
        |(what, untold)| {
            let is = |outcome: &Outcome| match outcome {
                Outcome::DoesNot => !untold,
                Outcome::CannotTell { .. } => untold,
                Outcome::Meets | Outcome::Refused { .. } => false,
            };
            let named = verdicts.iter().filter(|verdict| is(&verdict.outcome));
            let named: Vec<&str> = named.map(|v| v.criterion.text().title.as_str()).collect();
            (!named.is_empty()).then(|| format!("{what}: {}.", named.join("; ")))
        },
    ));
    blocks.heading("How sure");
    blocks.say(fit(&paper.plan.reduction));
    let doubted = paper.plan.points_in_doubt();
    if !doubted.is_empty() {
        blocks.say(format!(
            "That is said of all readings together: {} in doubt all the same, and the ± of what rests there does \
             not cover that.",
            are(&doubted),
        ));
    }
    blocks.heading("What to do next");
    blocks.steps(next(paper));
}

/// `A1 and B2 are`, `A1 is`.
fn are(points: &BTreeSet<PointId>) -> String {
    let names: Vec<String> = points.iter().map(ToString::to_string).collect();
    format!("{} {}", names.join(", "), if names.len() == 1 { "is" } else { "are" })
}

/// That a number rests on readings to be taken again, if it does.
fn in_doubt<'a>(
    paper: &Paper<'_>,
    points: impl IntoIterator<Item = &'a PointId>,
) -> Option<String> {
    let doubted = paper.plan.points_in_doubt();
    let found: BTreeSet<PointId> =
        points.into_iter().filter(|point| doubted.contains(*point)).cloned().collect();
    (!found.is_empty()).then(|| {
        format!("{} in doubt: read again first. This number may be another one then.", are(&found))
    })
}

fn where_it_is(deck: &DeckShape, words: Words) -> String {
    let spread = &deck.spread;
    format!(
        "Highest at {} ({}), lowest at {} ({}); {} read.",
        spread.highest.point,
        words.level(spread.highest.level),
        spread.lowest.point,
        words.level(spread.lowest.level),
        count(deck.n_points, "point", "points"),
    )
}

fn next(paper: &Paper<'_>) -> Vec<String> {
    let words = paper.words();
    let mut steps: Vec<String> = read_again(paper.plan, words)
        .len()
        .checked_sub(1)
        .map(|more| {
            format!(
                "Read again what is named under \"What to read again\" ({}), before anything is \
                 built on it.",
                count(more + 1, "entry", "entries")
            )
        })
        .into_iter()
        .collect();
    if let Some(lifting) = paper.plan.lifting.done() {
        let off = lifting.now.as_ref().and_then(Prediction::worst);
        let from = &lifting.target.from;
        match &lifting.outcome {
            Lifts::Reached(_) => {
                let off = off.map_or(String::new(), |off| {
                    format!(
                        "; today {} is furthest off, by {}",
                        off.id,
                        words.length(off.departure.abs())
                    )
                });
                steps.push(
                    words.sentence(format!("Agree the height to bring it to ({from}){off}.")),
                );
                steps.push(
                    "Look at the lifting plan for what that takes; have what it names confirmed \
                     before anybody lifts."
                        .to_owned(),
                );
            }
            Lifts::CannotBeDone(_) | Lifts::Refused(_) => steps.push(words.sentence(format!(
                "The height asked for ({from}) cannot be reached as things stand: the lifting \
                 plan says why, and the ways out."
            ))),
        }
    }
    steps.push("Find out why it sank: drains, leaks, soil, missing or rotten supports.".to_owned());
    steps
}

fn verdicts(blocks: &mut Blocks, paper: &Paper<'_>) {
    let (verdicts, words) = (&paper.plan.verdicts, paper.words());
    let doubted = paper.plan.points_in_doubt();
    if verdicts.is_empty() {
        return;
    }
    blocks.heading("Criteria and answers");
    let columns = [
        ("Answer", Cells::Words),
        ("What is asked", Cells::Text),
        ("What decides", Cells::Text),
        ("Who says so", Cells::Text),
    ];
    let mut table = Table::new("", &columns);
    let mut refused = Vec::new();
    for verdict in verdicts {
        let text = verdict.criterion.text();
        if let Outcome::Refused { why } = &verdict.outcome {
            refused.push(words.sentence(format!("{}: {why}", text.title)));
            continue;
        }
        let answer = verdict_answer(&verdict.outcome);
        let found = match (&verdict.outcome, verdict.finding(), verdict.governing) {
            (_, Some(finding), Some(part)) => {
                format!(
                    "{}: {}{}",
                    verdict.parts[part].name,
                    decides(finding, words),
                    rests_on_doubt(finding, &doubted)
                )
            }
            (Outcome::CannotTell { why }, ..) => words.sentence(why),
            _ => String::new(),
        };
        table.rows.push(vec![
            answer,
            format!("{} ({}; {})", text.title, verdict.criterion.scope(), verdict.criterion.kind()),
            found,
            text.to_string(),
        ]);
    }
    table.note = "The rule of the answers: met where the value with its uncertainty is within the \
                  limit; not met where the value less its uncertainty is beyond it; otherwise these \
                  readings cannot tell (guard band of the expanded uncertainty, after ILAC-G8:09/2019, \
                  second-hand). A new-build rule does not bind an existing floor: agree in writing what \
                  this floor has to meet."
        .to_owned();
    blocks.table(table);
    if !refused.is_empty() {
        blocks.say("Not judged:");
        blocks.list(refused);
    }
}

/// An answer with a sign of its own, so that it is told without colour.
pub(crate) fn verdict_answer(outcome: &Outcome) -> String {
    let sign = match outcome {
        Outcome::Meets => "√",
        Outcome::DoesNot => "×",
        Outcome::CannotTell { .. } => "?",
        Outcome::Refused { .. } => "–",
    };
    format!("{sign} {}", said::answer(outcome))
}

/// That what decides rests on readings to be taken again, if it does.
fn rests_on_doubt(finding: &Finding, doubted: &BTreeSet<PointId>) -> String {
    let Finding::Height { points, .. } = finding else { return String::new() };
    let found: BTreeSet<PointId> =
        points.iter().filter(|point| doubted.contains(*point)).cloned().collect();
    if found.is_empty() { String::new() } else { format!(" ({} IN DOUBT)", are(&found)) }
}

/// The comparison that decides, in the unit of the job.
fn decides(finding: &Finding, words: Words) -> String {
    let Finding::Height { points, value, uncertainty, limit, over } = finding else {
        return words.sentence(finding.to_string());
    };
    // An uncertainty that the engine has expanded is half as many standard deviations twice.
    let found = format!("{} ± {}", words.length(*value), words.plus_minus(*uncertainty / COVERAGE));
    let what = match points.as_slice() {
        [middle, first, last] => format!("{middle} is {found} off the line from {first} to {last}"),
        [first, second] => format!("{first} and {second} differ by {found}"),
        _ => found,
    };
    let over = over.map_or(String::new(), |over| format!(" over {}", words.plan_length(over)));
    format!("{what}{over}; limit {}", words.exact(*limit))
}

fn again(blocks: &mut Blocks, paper: &Paper<'_>) {
    blocks.heading("What to read again");
    let again = read_again(paper.plan, paper.words());
    if again.is_empty() {
        blocks.say("No reading stands out.");
    } else {
        blocks.steps(again);
        blocks.say("Nothing was left out: what is printed here still rests on these readings.");
    }
    if !paper.input.struck.is_empty() {
        blocks.say("Struck out, and not used:");
        blocks.list(paper.input.struck.iter().map(|reading| {
            let value = reading
                .value
                .map_or(String::new(), |value| format!(" {}", paper.words().typed(value)));
            format!("{} from setup {}{value}: {}", reading.point, reading.setup, reading.why)
        }));
    }
}

fn shapes(blocks: &mut Blocks, shape: &FloorShape, words: Words) {
    blocks.heading("The shape of the floor");
    for one in &shape.decks {
        if shape.decks.len() > 1 {
            blocks.say(format!("{}:", one.name));
        }
        blocks.list(deck(one, words));
    }
    if shape.outline_assumed {
        blocks.say(
            "No room is given, so the floor is taken to end at the outermost readings, and nothing \
             is said of what lies beyond.",
        );
    }
}

/// What this work is not, and what was taken for granted.
fn limits(blocks: &mut Blocks, paper: &Paper<'_>, shape: Option<&FloorShape>) {
    blocks.heading("Limits of this work");
    let mut said = vec![
        "Levels only: this is no opinion on the structure, its cause of movement or its safety."
            .to_owned(),
        "Between the readings the floor is interpolated; a hump or hollow between them is not seen."
            .to_owned(),
    ];
    let suggestions = shape.iter().flat_map(|shape| &shape.suggestions);
    let unknown: Vec<String> = suggestions.map(|place| paper.words().place(place.at)).collect();
    if !unknown.is_empty() {
        said.push(format!("Least is known of the floor at {}.", unknown.join(", ")));
    }
    said.extend(paper.warnings.iter().map(ToString::to_string));
    blocks.list(said);
    if !paper.input.assumptions.is_empty() {
        blocks.say("Taken for granted, because the job does not say:");
        blocks.list(paper.input.assumptions.iter().map(|assumption| assumption.text.clone()));
    }
}
