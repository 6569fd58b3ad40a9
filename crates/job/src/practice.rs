//! Criteria from practice that come with the program, and the way from their stored form to
//! checked ones.
//!
//! Every entry keeps its body, document, edition, clause, status and source. Unverified entries
//! are read but stay off until somebody gives a source in words.

mod form;
mod structure;

pub use structure::{
    BuildUp, Grade, LiveLoad, Over, build_ups, frame_rules, grade, grades, live_loads,
};

use crate::form_v1::Terms;
use floorwright_engine::site::Finish;
use floorwright_engine::source::SourceStatus;
use floorwright_engine::units::Length;
use floorwright_engine::verdict::{Criterion, CriterionFault};
use form::{CriteriaFile, DamageFile, FinishWord, GapTableForm, RuleForm, StepTableForm};

const CRITERIA: &str = include_str!("../data/practice/criteria.toml");
const DAMAGE: &str = include_str!("../data/practice/damage.toml");

/// Where the job is; decides which criteria are offered first.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Region {
    /// Australia.
    Au,
    /// New Zealand.
    Nz,
    /// United States.
    Us,
    /// United Kingdom.
    Uk,
}

impl From<Terms> for Region {
    fn from(terms: Terms) -> Self {
        match terms {
            Terms::Au => Self::Au,
            Terms::Nz => Self::Nz,
            Terms::Us => Self::Us,
            Terms::Uk => Self::Uk,
        }
    }
}

/// Why stored criteria cannot be used.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum PracticeFault {
    /// Not the stored form at all: a typing slip, an unknown key, an unknown word.
    #[error("{0}")]
    Form(String),
    /// Written by another version.
    #[error("the schema {0} is not known, {SCHEMA} is")]
    Schema(String),
    /// Two with one name.
    #[error("criterion {0} is given twice")]
    Twice(String),
    /// A measure needs a number that is not there; above all, a limit its base length.
    #[error("criterion {id} has no {key}, which its measure {measure} needs")]
    Missing {
        /// The criterion.
        id: String,
        /// Its measure.
        measure: &'static str,
        /// What is missing.
        key: &'static str,
    },
    /// Lists that belong together and have different lengths.
    #[error("criterion {0} has lists of different lengths")]
    Lists(String),
    /// The engine refuses it.
    #[error(transparent)]
    Refused(#[from] CriterionFault),
}

const SCHEMA: &str = "floorwright-criteria/1";

/// Every criterion that comes with the program, in the order on file.
///
/// # Panics
/// If the embedded data is broken: a bug of this program, which its tests would show.
pub fn criteria() -> Vec<Criterion> {
    read_criteria(CRITERIA).expect("the embedded criteria are well formed")
}

/// The criteria that are offered first in a region: on, and to be judged from floor levels.
///
/// New-build rules among them do not bind an existing floor; their verdicts say so.
pub fn defaults_for(region: Region) -> Vec<Criterion> {
    let wanted: &[&str] = match region {
        Region::Au => &["au-vic-new-room", "au-vic-new-2m", "au-vic-new-footprint"],
        Region::Nz => &["nz-mbie-slope", "nz-mbie-spread"],
        Region::Us => &["us-nahb-level", "us-nahb-ridge", "us-nwfa-fixed"],
        Region::Uk => &["uk-nhbc-level", "uk-nhbc-flat"],
    };
    let is_wanted = |criterion: &Criterion| wanted.contains(&criterion.text().id.as_str());
    criteria().into_iter().filter(|criterion| is_wanted(criterion) && criterion.is_on()).collect()
}

/// Reads criteria from their stored form, TOML.
///
/// # Errors
/// Every fault found; a limit without its base length or scope is one.
pub fn read_criteria(text: &str) -> Result<Vec<Criterion>, Vec<PracticeFault>> {
    let file: CriteriaFile =
        toml::from_str(text).map_err(|error| vec![PracticeFault::Form(error.to_string())])?;
    if file.schema != SCHEMA {
        return Err(vec![PracticeFault::Schema(file.schema)]);
    }
    let mut faults = Vec::new();
    let mut criteria: Vec<Criterion> = Vec::new();
    let tables = file.din18202_table3.map(GapTableForm::into_drafts).into_iter().flatten();
    let steps = file.din18202_table2.map(StepTableForm::into_draft);
    let drafts = file.rule.into_iter().flat_map(RuleForm::into_drafts).chain(tables).chain(steps);
    for draft in drafts {
        match draft {
            Err(fault) => faults.push(fault),
            Ok(draft) if criteria.iter().any(|known| known.text().id == draft.text.id) => {
                faults.push(PracticeFault::Twice(draft.text.id));
            }
            Ok(draft) => match draft.check() {
                Ok(criterion) => criteria.push(criterion),
                Err(refused) => faults.extend(refused.into_iter().map(PracticeFault::Refused)),
            },
        }
    }
    if faults.is_empty() { Ok(criteria) } else { Err(faults) }
}

/// Where damage from uneven settlement is said to begin.
///
/// The figures come from masonry and framed buildings that settled over years; using them for a
/// lift is an analogy, to be called one.
#[derive(Clone, Debug, PartialEq)]
pub struct DamageLimit {
    /// Name.
    pub id: String,
    /// Differential over spacing between neighbouring supports, rigid tilt removed (a ratio).
    pub distortion: f64,
    /// What begins there.
    pub meaning: String,
    /// Who says so.
    pub body: String,
    /// How the figure was obtained.
    pub status: SourceStatus,
    /// Where it was read.
    pub source: String,
    /// Whether it is on.
    pub enabled: bool,
}

impl DamageLimit {
    /// The differential between two supports that far apart.
    pub fn differential(&self, spacing: Length) -> Length {
        spacing * self.distortion
    }
}

/// Every limit of angular distortion on file; the unverified ones are off.
///
/// # Panics
/// If the embedded data is broken: a bug of this program, which its tests would show.
pub fn damage_limits() -> Vec<DamageLimit> {
    damage_file()
        .angular_distortion
        .into_iter()
        .map(|form| {
            let status = SourceStatus::from(form.status);
            DamageLimit {
                id: form.id,
                distortion: 1.0 / form.limit_one_in,
                meaning: form.meaning,
                body: form.body,
                status,
                source: form.source,
                enabled: form.enabled && !status.is_unverified(),
            }
        })
        .collect()
}

fn damage_file() -> DamageFile {
    toml::from_str(DAMAGE).expect("the embedded damage limits are well formed")
}

/// The limit of distortion that is taken by default for what a room is finished with.
#[derive(Clone, Debug, PartialEq)]
pub struct FinishLimit {
    /// What the room is finished with.
    pub finish: Finish,
    /// Where the figure comes from.
    pub limit: DamageLimit,
    /// Why it is this one; which figure goes with which finish is our own choice.
    pub why: String,
}

impl FinishLimit {
    /// The figure with its source, in words.
    pub fn reason(&self) -> String {
        format!(
            "{}, {} ({}; from settling masonry and framed buildings, an analogy for jacking; own choice of figure)",
            self.limit.meaning, self.limit.body, self.limit.status
        )
    }
}

/// The limit of distortion for each finish, the strictest first.
///
/// # Panics
/// If the embedded data is broken: a bug of this program, which its tests would show.
pub fn finish_limits() -> Vec<FinishLimit> {
    let limits = damage_limits();
    damage_file()
        .finish
        .into_iter()
        .map(|form| FinishLimit {
            finish: match form.finish {
                FinishWord::Boards => Finish::Boards,
                FinishWord::Plaster => Finish::Plaster,
                FinishWord::Tiles => Finish::Tiles,
            },
            limit: limits
                .iter()
                .find(|limit| limit.id == form.limit)
                .expect("the embedded finishes name a damage limit")
                .clone(),
            why: form.why,
        })
        .collect()
}
