//! The completion record: what was done, what came of it, and what was not done.

use crate::block::{Block, Blocks, Cells, Table};
use crate::floor_report::verdict_answer;
use crate::paper::{Content, Paper};
use crate::typeset::PaperError;
use floorwright_engine::plan::{Stage, StageName};
use floorwright_engine::record::{CAUSES, Comparison, PointProgress, Record, STILL, Since};
use floorwright_engine::units::Length;
use floorwright_job::said::{self, count, why};
use floorwright_job::words::{Words, stack_words};

/// A table of more rows than this starts on a page of its own.
const SHORT: usize = 20;

/// What the document says.
pub(crate) fn content(paper: &Paper<'_>) -> Result<Content, PaperError> {
    let nothing = |what| PaperError::Nothing { document: "completion record", what };
    let record = match paper.record {
        Stage::Done(record) if record.passes.is_empty() => {
            return Err(nothing("nothing was done yet: the job has no [[pass]]".to_owned()));
        }
        Stage::Done(record) => record,
        Stage::NotAsked => {
            return Err(nothing("nothing was done yet: the job has no [[pass]]".to_owned()));
        }
        other => {
            return Err(nothing(match other.reasons() {
                [] => why(paper.plan, StageName::Floor, paper.words()),
                found => said::reasons(found, paper.words()),
            }));
        }
    };
    let words = paper.words();
    let mut blocks = Blocks::default();
    state(&mut blocks, record, words);
    behind(&mut blocks, record, words);
    verdicts(&mut blocks, record);
    not_done(&mut blocks, record, words);
    blocks.0.push(Block::Signatures {
        who: vec![
            "Builder".to_owned(),
            "Owner".to_owned(),
            "Checked by (name, licence)".to_owned(),
        ],
    });
    if let Some(whole) = &record.whole {
        step(&mut blocks, whole, words);
    }
    points(&mut blocks, record, words);
    passes(&mut blocks, record, words);
    limits(&mut blocks, record, words);
    Ok(Content::new("What was lifted, what came of it, and what is left", blocks))
}

fn furthest(
    record: &Record,
    above: fn(&PointProgress) -> Option<Length>,
) -> Option<(&PointProgress, Length)> {
    let points = record.points.iter().filter_map(|point| Some((point, above(point)?)));
    points.max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()))
}

fn state(blocks: &mut Blocks, record: &Record, words: Words) {
    let (before, now) =
        (furthest(record, |point| point.above_before), furthest(record, |point| point.above_now));
    let n_passes = count(record.passes.len(), "pass was", "passes were");
    match (before, now) {
        (Some((was, was_off)), Some((is, is_off))) => blocks.0.push(Block::Answer {
            text: format!(
                "Furthest off the target now: {} by {} ± {}.",
                is.point,
                words.length(is_off.abs()),
                words.plus_minus(is.sd)
            ),
            under: vec![
                format!("Before the work: {} by {}.", was.point, words.length(was_off.abs())),
                format!(
                    "{n_passes} done; {} read again.",
                    count(record.points.len(), "point was", "points were")
                ),
            ],
        }),
        _ => blocks.0.push(Block::Answer {
            text: "The floor was not read again: what came of the lifts is not known.".to_owned(),
            under: vec![format!("{n_passes} done.")],
        }),
    }
}

/// Where the floor did not follow, and readings that do not agree.
fn behind(blocks: &mut Blocks, record: &Record, words: Words) {
    let behind = record.did_not_follow();
    let named = behind.iter().filter_map(|moved| said::fell_behind(moved, words));
    let named: Vec<String> = named.collect();
    if !named.is_empty() {
        blocks.framed("The floor did not follow", named, true);
        blocks.say("Lift nothing further there until the cause is found. Look at:");
        blocks.list(CAUSES);
    }
    let suspects = record
        .suspects
        .iter()
        .map(|suspect| format!("{}: off by {}", suspect.name, words.length(suspect.error.abs())));
    blocks.framed("Readings that do not agree: take them again", suspects.collect(), false);
    let against = record.findings.iter().map(|finding| said::finding(finding, words));
    blocks.framed("Against the plan and its limits", against.collect(), false);
}

fn verdicts(blocks: &mut Blocks, record: &Record) {
    let columns = [
        ("What is asked", Cells::Text),
        ("Before", Cells::Words),
        ("Now", Cells::Words),
        ("Who says so", Cells::Text),
    ];
    let mut table = Table::new("", &columns);
    for (idx, before) in record.verdicts_before.iter().enumerate() {
        let now = record.verdicts_now.get(idx);
        table.rows.push(vec![
            before.criterion.text().title.clone(),
            verdict_answer(&before.outcome),
            now.map_or_else(|| "not read again".to_owned(), |now| verdict_answer(&now.outcome)),
            before.criterion.text().to_string(),
        ]);
    }
    if !table.rows.is_empty() {
        blocks.heading("Criteria before and now");
    }
    blocks.table(table);
}

fn not_done(blocks: &mut Blocks, record: &Record, words: Words) {
    blocks.heading("What was not done");
    let left = record.supports.iter().filter_map(|support| {
        let left = support.left.filter(|left| left.abs() >= STILL)?;
        Some(format!(
            "{}: {} of {} left",
            support.support,
            words.signed(left),
            support.planned.map_or("?".to_owned(), |planned| words.signed(planned)),
        ))
    });
    let left: Vec<String> = left.collect();
    if left.is_empty() {
        blocks.say("Every lift of the plan was done, as it was noted.");
    } else {
        blocks.say(format!("Lifts of the plan that are left, in {}:", words.unit()));
        blocks.list(left);
    }
    if let Some(rest) = record.rest.done() {
        blocks.say(match &rest.way {
            Some(way) => format!(
                "By the readings after pass {}, what is left takes {} more.",
                rest.after_pass,
                count(way.passes, "pass", "passes")
            ),
            None => {
                format!("By the readings after pass {}, no passes are left to do.", rest.after_pass)
            }
        });
    }
}

/// Expected against measured, over each support.
fn step(blocks: &mut Blocks, whole: &Comparison, words: Words) {
    let since = match whole.since {
        Since::Start => "the survey".to_owned(),
        Since::Pass(pass) => format!("pass {pass}"),
    };
    if whole.supports.len() > SHORT {
        blocks.0.push(Block::NewPage);
    }
    blocks.heading("Predicted against measured");
    let columns = [
        (words.support(), Cells::Words),
        ("Lifted", Cells::Number),
        ("Predicted", Cells::Number),
        ("Measured", Cells::Number),
        ("±", Cells::Number),
        ("", Cells::Text),
    ];
    let title = format!(
        "Movement of the floor over each {} from {since} to after pass {}, in {}",
        words.supports().0,
        whole.after_pass,
        words.unit()
    );
    let mut table = Table::new(title, &columns);
    for moved in &whole.supports {
        let mut row = vec![moved.support.to_string(), words.signed(moved.lifted)];
        match &moved.difference {
            Some(found) => row.extend([
                words.signed(found.predicted),
                words.signed(found.measured),
                words.plus_minus(found.sd),
                said::followed(found.followed).to_owned(),
            ]),
            None => row.extend(["", "", "", "floor not read again here"].map(str::to_owned)),
        }
        table.rows.push(row);
    }
    table.note = "±: of measured less predicted, about 95 %.".to_owned();
    blocks.table(table);
}

fn points(blocks: &mut Blocks, record: &Record, words: Words) {
    let columns = [
        ("Point", Cells::Words),
        ("Before", Cells::Number),
        ("Now", Cells::Number),
        ("±", Cells::Number),
    ];
    let title = format!("Above (+) or below (-) the target, in {}", words.unit());
    let mut table = Table::new(title, &columns);
    for point in &record.points {
        let above =
            |above: Option<Length>| above.map_or("–".to_owned(), |above| words.signed(above));
        table.rows.push(vec![
            point.point.to_string(),
            above(point.above_before),
            above(point.above_now),
            words.plus_minus(point.sd),
        ]);
    }
    table.narrow = true;
    if !table.rows.is_empty() {
        blocks.heading("Every point before and now");
    }
    blocks.table(table);
}

fn passes(blocks: &mut Blocks, record: &Record, words: Words) {
    blocks.heading("Passes as they were done");
    for pass in &record.passes {
        let columns = [
            (words.support(), Cells::Words),
            ("Lifted", Cells::Number),
            (words.packers().1, Cells::Text),
        ];
        let mut parts = vec![format!("Pass {}", pass.number)];
        parts.extend(pass.date.clone());
        parts.extend(pass.by.clone());
        let mut table = Table::new(parts.join(", "), &columns);
        table.narrow = true;
        for row in &pass.lifted {
            table.rows.push(vec![
                row.support.to_string(),
                words.signed(row.lift),
                match row.packers.as_deref() {
                    None => "not noted".to_owned(),
                    Some([]) => "none".to_owned(),
                    Some(pieces) => stack_words(pieces, words),
                },
            ]);
        }
        blocks.table(table);
        let cracks = pass.cracks.iter().map(|crack| format!("crack: {crack}"));
        let photos = pass.photos.iter().map(|photo| format!("photograph: {photo}"));
        blocks.list(pass.remarks.iter().cloned().chain(cracks).chain(photos).collect::<Vec<_>>());
    }
}

fn limits(blocks: &mut Blocks, record: &Record, words: Words) {
    blocks.heading("How this was told, and its limits");
    blocks.list([
        said::how_told(record, words),
        "Levels only: this is no opinion on structure, cause or safety, and no promise that the \
         floor stays where it is."
            .to_owned(),
    ]);
}
