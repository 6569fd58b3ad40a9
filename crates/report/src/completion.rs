//! The completion record: what was done, what came of it, and what was not done.

use crate::block::{Block, Blocks, Cells, Table};
use crate::floor_report::verdict_answer;
use crate::paper::{Content, Paper};
use crate::run_sheet::height_of;
use crate::typeset::PaperError;
use floorwright_engine::ids::{PointId, SupportId};
use floorwright_engine::plan::{Stage, StageName};
use floorwright_engine::record::{
    CAUSES, Comparison, Finding, Followed, PointProgress, Record, STILL, Since, SupportMovement,
    difference,
};
use floorwright_engine::site::PointKind;
use floorwright_engine::units::Length;
use floorwright_job::said::{self, count, why};
use floorwright_job::words::{Words, stack_words};
use std::collections::{BTreeMap, BTreeSet};

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
    blocks.framed("NOT COMPLETE", not_complete(record, words), true);
    state(&mut blocks, paper, record);
    behind(&mut blocks, record, words);
    verdicts(&mut blocks, record);
    not_done(&mut blocks, paper, record);
    blocks.0.push(Block::Signatures {
        who: vec![
            "Builder".to_owned(),
            "Owner".to_owned(),
            "Checked by (name, licence)".to_owned(),
            "Date".to_owned(),
        ],
    });
    if let Some(whole) = &record.whole {
        step(&mut blocks, whole, words);
    }
    points(&mut blocks, record, words);
    passes(&mut blocks, record, words);
    marks(&mut blocks, paper, record);
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

/// What keeps the work from being complete; empty if nothing does.
fn not_complete(record: &Record, words: Words) -> Vec<String> {
    let mut why = Vec::new();
    let last = record.passes.last().map_or(0, |pass| pass.number);
    match &record.whole {
        None => why.push("The floor was not read again: what came of the lifts is not known.".to_owned()),
        Some(whole) if whole.after_pass != last => why.push(format!(
            "The floor was not read after pass {last}: every number here is from the readings after pass {}.",
            whole.after_pass
        )),
        Some(_) => {}
    }
    if let Some(way) = record.rest.done().and_then(|rest| rest.way) {
        why.push(format!("{} left to do.", count(way.passes, "pass is", "passes are")));
    }
    let behind = record.did_not_follow();
    if !behind.is_empty() {
        let names = behind.iter().map(|moved| moved.support.to_string()).collect::<Vec<_>>();
        why.push(format!("The floor did not follow at {}.", names.join(", ")));
    }
    let left = record.supports.iter().filter_map(|support| support.left);
    let left = left.filter(|left| left.abs() >= STILL).count();
    if left > 0 && record.rest.done().is_none() {
        let (one, several) = words.supports();
        why.push(format!("Lifts of the plan are left at {}.", count(left, one, several)));
    }
    why
}

fn state(blocks: &mut Blocks, paper: &Paper<'_>, record: &Record) {
    let words = paper.words();
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
            under: [format!("Before the work: {} by {}.", was.point, words.length(was_off.abs()))]
                .into_iter()
                .chain(targets(paper, record))
                .chain([format!("{n_passes} done; {}.", read_again(record))])
                .collect(),
        }),
        _ => blocks.0.push(Block::Answer {
            text: "The floor was not read again: what came of the lifts is not known.".to_owned(),
            under: vec![format!("{n_passes} done.")],
        }),
    }
}

/// How often and where the floor was read again.
fn read_again(record: &Record) -> String {
    let points = count(record.points.len(), "point was", "points were");
    let after = record.whole.as_ref().map_or(0, |whole| whole.after_pass);
    format!("{points} read again after pass {after}")
}

/// The target before and now, each with the readings that it comes from.
fn targets(paper: &Paper<'_>, record: &Record) -> Vec<String> {
    let words = paper.words();
    let surveyed = paper.input.date.as_ref().map_or(String::new(), |date| format!(" of {date}"));
    let Some((before, from)) = height_of(paper.plan) else { return Vec::new() };
    let before_in_words = words.level(before);
    let mut said = vec![format!(
        "Target of the lifting plan: {before_in_words} ({from}), by the readings{surveyed}."
    )];
    let rest = record.rest.done();
    if let Some((rest, (now, of))) = rest.and_then(|rest| Some((rest, height_of(&rest.plan)?))) {
        said.push(if words.level(now) == before_in_words {
            format!("The run sheet works to the same height, by the readings after pass {}.", rest.after_pass)
        } else {
            format!(
                "Target now and of the run sheet: {} ({of}), by the readings after pass {}: the same goal, \
                 with the point that it hangs on read again. \"Now\" is held against this one, \"before\" against \
                 that of the plan.",
                words.level(now),
                rest.after_pass
            )
        });
    }
    said
}

/// Whether the marks that nobody lifts held: by the latest readings against those from before the work.
fn marks(blocks: &mut Blocks, paper: &Paper<'_>, record: &Record) {
    let words = paper.words();
    let site = &paper.job.site;
    let is_mark = |point: &PointId| {
        let kind = site.point(point).map(|point| point.kind);
        kind == Some(PointKind::Benchmark)
    };
    let marks: BTreeSet<&PointId> =
        site.points().iter().map(|point| &point.id).filter(|id| is_mark(id)).collect();
    let Some((rest, after_pass)) = record.rest.done().map(|rest| (&rest.plan, rest.after_pass))
    else {
        return;
    };
    let (before, now) = (&paper.plan.reduction.levels, &rest.reduction.levels);
    let held = marks.iter().filter(|mark| before.get(mark).is_some_and(|was| was.held));
    let held: Vec<String> = held.map(ToString::to_string).collect();
    let said: Vec<String> = marks
        .iter()
        .filter_map(|mark| {
            let (was_at, is_at) = (before.index_of(mark)?, now.index_of(mark)?);
            let (was, is) = (&before.points()[was_at], &now.points()[is_at]);
            if was.held || is.held {
                return None;
            }
            // It was to stay: the rule is that of a support that was not lifted.
            let found = difference(
                (Length::ZERO, before.sd(was_at)),
                (is.level - was.level, now.sd(is_at)),
                &record.settings,
            );
            let what = if found.followed == Followed::Moved {
                "IT OR THE MARK THAT LEVELS ARE COUNTED FROM HAS MOVED"
            } else {
                "it held, as far as the readings tell"
            };
            Some(format!(
                "{mark}: {} before the work, {} after pass {}: {} (may miss by {}); {what}.",
                words.level(was.level),
                words.level(is.level),
                after_pass,
                words.signed(found.measured),
                words.number(found.guard)
            ))
        })
        .collect();
    if said.is_empty() {
        return;
    }
    blocks.heading("Marks that nobody lifts");
    if !held.is_empty() {
        blocks.say(format!(
            "Here each survey stands by itself, and its levels are counted from {} alone.",
            held.join(", ")
        ));
    }
    blocks.list(said);
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
    let against = grouped(&record.findings, words);
    blocks.framed("Against the plan and its limits", against, false);
}

/// What speaks against the plan; where one kind of it fills a page, its places in one sentence.
fn grouped(findings: &[Finding], words: Words) -> Vec<String> {
    const MOST: usize = 6;
    let kind = |finding: &Finding| std::mem::discriminant(finding);
    let mut said = Vec::new();
    let mut rest = findings.to_vec();
    while let Some(first) = rest.first().cloned() {
        let (same, others): (Vec<_>, Vec<_>) =
            rest.into_iter().partition(|finding| kind(finding) == kind(&first));
        rest = others;
        let all = same.iter().map(|finding| said::finding(finding, words));
        said.extend(all.take(MOST));
        let more: Vec<String> =
            same.iter().skip(MOST).map(|finding| place(finding, words)).collect();
        if !more.is_empty() {
            said.push(format!("and likewise {} more: {}", more.len(), more.join(", ")));
        }
    }
    said
}

/// The place of a finding, with its number.
fn place(finding: &Finding, words: Words) -> String {
    match finding {
        Finding::HeldWasMoved { support, done, .. } | Finding::BeyondPlan { support, done, .. } => {
            format!("{support} {}", words.signed(*done))
        }
        Finding::BeyondLimit { support, done, .. } => format!("{support} {}", words.signed(*done)),
        Finding::FasterThanAllowed { pass, support, lift, .. } => {
            format!("{support} {} in pass {pass}", words.signed(*lift))
        }
        Finding::StackDisagrees { pass, support, stack, expected } => format!(
            "{support} after pass {pass} {} for {}",
            words.number(*stack),
            words.number(*expected)
        ),
        Finding::NotReadAgain { pass } | Finding::NothingNoted { pass } => format!("pass {pass}"),
    }
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

fn not_done(blocks: &mut Blocks, paper: &Paper<'_>, record: &Record) {
    let words = paper.words();
    blocks.heading("What was not done");
    let rest = record.rest.done();
    let by_readings: BTreeMap<&SupportId, Length> =
        rest.iter().flat_map(|rest| &rest.lifts).map(|left| (&left.support, left.lift)).collect();
    let is_left = |left: Option<Length>| left.is_some_and(|left| left.abs() >= STILL);
    let columns = [
        (words.support(), Cells::Words),
        ("Planned", Cells::Number),
        ("Lifted", Cells::Number),
        ("Left", Cells::Number),
        ("By readings", Cells::Number),
    ];
    let n_columns = if rest.is_some() { 5 } else { 4 };
    let mut table = Table::new(format!("In {}", words.unit()), &columns[..n_columns]);
    let number = |length: Option<Length>| length.map_or("?".to_owned(), |it| words.signed(it));
    for support in &record.supports {
        let by_readings = by_readings.get(&support.support).copied();
        if !is_left(support.left) && !is_left(by_readings) {
            continue;
        }
        let mut row = vec![
            support.support.to_string(),
            number(support.planned),
            words.signed(support.done),
            number(support.left),
        ];
        if rest.is_some() {
            row.push(number(by_readings));
        }
        table.rows.push(row);
    }
    table.narrow = true;
    if table.rows.is_empty() {
        blocks.say("Every lift of the plan was done, as it was noted.");
    } else if rest.is_some() {
        table.note = "Left: planned less lifted, as it was noted. By readings: what the floor \
                      still lacks as it was read last, and what the run sheet lifts."
            .to_owned();
    }
    blocks.table(table);
    if let Some(rest) = rest {
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
        ("may miss by", Cells::Number),
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
                words.number(found.guard),
                came_of(moved, found.followed).to_owned(),
            ]),
            None => row.extend(["", "", "", "floor not read again here"].map(str::to_owned)),
        }
        table.rows.push(row);
    }
    table.note = format!(
        "Measured: all surveys reduced together, each mark that nobody lifts being one and the same point in all of \
         them. May miss by: as far as measured and predicted may be apart by chance. Beyond it a {} is called out; \
         within it the readings tell of no difference.",
        words.supports().0
    );
    blocks.table(table);
}

/// What came of a lift; of a support that nobody lifted, whether it stayed.
fn came_of(moved: &SupportMovement, found: Followed) -> &'static str {
    match found {
        Followed::AsPredicted if !moved.is_jacked() => "stayed, as far as the readings tell",
        found => said::followed(found),
    }
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
    table.note = "Each survey by itself, against the target as the same survey has it: what is left to do goes by \
                  these. The one column less the other is not what the floor moved by; that stands under \
                  \"Predicted against measured\", where all surveys share their marks."
        .to_owned();
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
