//! The plan of stands of a job, as a picture.

use crate::number::Print;
use crate::picture::{Medium, Orientation, RoomOutline, TitleBlock};
use crate::stands::{StandMark, StandPoint, StandsPicture};
use floorwright_engine::hose::{StandsPlan, Why};
use floorwright_engine::ids::PointId;
use floorwright_engine::plan::Job;
use floorwright_job::JobInput;
use floorwright_job::hose_told::in_one_line;
use floorwright_job::words::Words;
use std::collections::BTreeMap;

impl StandsPicture {
    /// The plan of stands of a job.
    pub fn of(input: &JobInput, job: &Job, plan: &StandsPlan, medium: Medium) -> Self {
        let words = Words::of(input);
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
                "hose of stand {}: up to {}, {} readings",
                stand.number,
                words.long(stand.longest),
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
        notes.push(format!("hose: {}", in_one_line(&input.hose, words)));
        if input.doors.is_empty() {
            notes.push("no doorways are marked: walls do not count".to_owned());
        }
        let lost: Vec<&str> = plan.unreached.iter().map(|lost| lost.point.as_str()).collect();
        if !lost.is_empty() {
            notes.push(format!("out of reach: {}", lost.join(", ")));
        }
        Self {
            medium,
            title_block: TitleBlock {
                title: "Where to stand with the hose".to_owned(),
                document_type: "survey plan".to_owned(),
                ..TitleBlock::of(input)
            },
            orientation: Orientation::of(input),
            print: Print::of(input),
            rooms: RoomOutline::all_of(job),
            doors: input.doors.clone(),
            obstacles: input
                .obstacles
                .iter()
                .map(|thing| RoomOutline {
                    name: thing.name.clone(),
                    outline: thing.outline.clone(),
                })
                .collect(),
            stands: stands.collect(),
            points: points.into_values().collect(),
            notes,
        }
    }
}
