//! What is said at once about a reading that was just saved.

use crate::layout::in_words;
use crate::view::{JobView, Worked};
use floorwright_engine::ids::PointId;
use floorwright_engine::plan::Plan;
use floorwright_job::said;
use serde::Serialize;

/// The answer to a reading.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ReadingAnswer {
    /// The level that its point has now, in words; nothing while it cannot be worked out.
    pub level: Option<String>,
    /// What is wrong with it, in words; nothing if nothing stands out.
    pub warning: Option<String>,
    /// What may have been meant, the likeliest first.
    pub likely: Vec<String>,
}

/// Says how a reading on a point, from a setup, fits what else was read.
pub fn answer_reading(job: &JobView, setup: &str, point: &str) -> ReadingAnswer {
    let words = job.words();
    let Some(worked) = job.at_hand() else {
        let what = job.faults.iter().find(|fault| fault.is_error());
        let what = what.map(|fault| format!("the level waits: {}", in_words(fault)));
        return ReadingAnswer { level: None, warning: what, likely: Vec::new() };
    };
    let plan = plan_of_setup(job, worked, setup);
    let reduction = &plan.reduction;
    let levels = &reduction.levels;
    let level = levels.index_of(&PointId::new(point)).map(|idx| {
        let (level, sd) = (levels.points()[idx].level, levels.sd(idx));
        match job.counted_from_first() {
            Some(first) if first == point => {
                format!("The others are compared with {point}, until something is called zero.")
            }
            Some(first) => format!(
                "{point} is at {} ± {}, counted from {first}.",
                words.level(level),
                words.plus_minus(sd)
            ),
            None => format!("{point} is at {} ± {}", words.level(level), words.plus_minus(sd)),
        }
    });
    let suspect = reduction
        .suspects
        .iter()
        .find(|suspect| suspect.name.point().is_some_and(|named| named.as_str() == point))
        .map(|suspect| words.sentence(suspect.to_string()));
    let odd = plan
        .floor
        .done()
        .and_then(|floor| floor.odd.iter().find(|odd| odd.odd.point.as_str() == point));
    let neighbours = odd.map(|odd| said::odd_sentence(odd, words));
    let likely = odd.map_or_else(Vec::new, |odd| {
        odd.likely.iter().map(|&reading| words.typed(reading)).collect()
    });
    ReadingAnswer { level, warning: suspect.or(neighbours), likely }
}

/// What a setup's readings went into: the survey that the plan is made from, or that after a pass.
pub(crate) fn plan_of_setup<'a>(job: &JobView, worked: &'a Worked, setup: &str) -> &'a Plan {
    let mut setups = job.folded.form.setup.iter();
    let is_again = setups.any(|known| known.id == setup && known.after_pass.is_some());
    worked.latest.as_ref().filter(|_| is_again).unwrap_or(&worked.plan)
}
