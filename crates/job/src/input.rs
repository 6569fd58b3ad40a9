//! A job that has been checked: engine values, and what the stages after the engine need.

use crate::business::Business;
use crate::fault::Fault;
use crate::form_v1::{Form, SideForm, Terms};
use crate::hose::HoseInput;
use crate::measure::{Unit, rounded};
use floorwright_engine::bill::Rates;
use floorwright_engine::frame::{FrameRules, GivenFrame};
use floorwright_engine::hose::Door;
use floorwright_engine::ids::{PointId, SetupId, SupportId};
use floorwright_engine::record::WorkDone;
use floorwright_engine::settings::{Goal, Limits, Stock};
use floorwright_engine::site::{Outline, Site};
use floorwright_engine::survey::{LevelBook, SourcePlace, Survey};
use floorwright_engine::units::{ExactLength, Length};
use serde::Serialize;

/// What came of reading a job: the job, if it can be used, and everything that is wrong with it.
#[derive(Clone, Debug)]
pub struct Loaded {
    /// The job; `None` if any fault is an error.
    pub job: Option<JobInput>,
    /// What was read of the document, whether or not it can be used.
    pub form: Form,
    /// Every fault found, in the order of the document.
    pub faults: Vec<Fault>,
}

/// What no hose goes through and no reservoir stands in.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Obstacle {
    /// What it is.
    pub name: String,
    /// The line round it.
    pub outline: Outline,
}

/// A job that can be worked on.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct JobInput {
    /// Name of the job.
    pub name: String,
    /// Who the work is for.
    pub client: Option<String>,
    /// Where the house stands.
    pub address: Option<String>,
    /// Date of the survey, year-month-day.
    pub date: Option<String>,
    /// Anything to be remembered about the job.
    pub note: Option<String>,
    /// Whose paper it is, if the job says so.
    pub business: Option<Business>,
    /// Words of the region.
    pub terms: Terms,
    /// Unit of lengths on the plan and in print.
    pub units: Unit,
    /// Unit of readings.
    pub reading_units: Unit,
    /// Which way the plan lies.
    pub orientation: Orientation,
    /// Rooms, points and supports.
    pub site: Site,
    /// What else is known of the supports, in the order of the site's.
    pub support_details: Vec<SupportDetail>,
    /// Setups, benchmarks and legs.
    pub survey: Survey,
    /// The builder's own hose, and what a reading of it is taken to be worth.
    pub hose: HoseInput,
    /// Doorways.
    pub doors: Vec<Door>,
    /// What no hose goes through.
    pub obstacles: Vec<Obstacle>,
    /// Readings that are struck out, and so not among the survey's; in the order of the document.
    pub struck: Vec<StruckReading>,
    /// Level books.
    pub books: Vec<NamedBook>,
    /// What is known of the frame under the floor, and what is taken for the rest.
    pub frame: FrameInput,
    /// Where the floor is to end.
    pub goal: Goal,
    /// What the height of the goal was put together from, if it hangs on a point.
    pub tie: Option<HeightTie>,
    /// What a pass may do.
    pub limits: Limits,
    /// The packers that can be had.
    pub stock: Stock,
    /// What things cost and how long they take.
    pub rates: Rates,
    /// Which criteria the floor is held against.
    pub criteria: CriteriaSelection,
    /// What was done so far: passes, and the floor as it was read after them.
    pub done: WorkDone,
    /// What was taken for granted because the job is silent; to be printed with every result.
    pub assumptions: Vec<Assumption>,
}

/// Which way the plan lies, as far as the job says so.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Orientation {
    /// The job does not say.
    #[default]
    NotDeclared,
    /// The street is on this side of the plan.
    Street(SideForm),
    /// Where north lies.
    North {
        /// Degrees clockwise from up the page, from 0 up to 360.
        degrees: f64,
    },
}

/// What is known of the frame under the floor, and what is taken for the rest.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct FrameInput {
    /// Why the frame is left out, if it is.
    pub off: Option<String>,
    /// What the job gives.
    pub given: GivenFrame,
    /// What is taken where the job is silent: the region's rules with what `[frame]` says for all
    /// timbers.
    pub rules: FrameRules,
    /// Why no wall stands on the floor, if the job says that none does; the given walls are then
    /// an empty list.
    pub no_walls: Option<String>,
}

/// How the height of the old floor hangs on a surveyed point, with what is still to be laid.
///
/// # Units and sign
/// Finished floors meet where point + `new_build_up` = target + `old_build_up`, so the target of the
/// old floor is the level of the point + `new_build_up` - `old_build_up` + `offset`.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct HeightTie {
    /// The point.
    pub point: PointId,
    /// Added to its level, up positive.
    pub offset: Length,
    /// What is still to be laid on the old floor.
    pub old_build_up: Length,
    /// What is still to be laid on the new floor, at the point.
    pub new_build_up: Length,
}

impl HeightTie {
    /// The target of the old floor above the level of the point.
    pub fn above_point(&self) -> Length {
        self.new_build_up - self.old_build_up + self.offset
    }

    /// The tie as a sentence without its full stop, lengths in the unit of the job.
    pub fn in_words(&self, unit: Unit) -> String {
        let show = |length: Length| {
            ExactLength::from_mm(length.to_mm())
                .map_or_else(|| length.to_string(), |exact| rounded(exact, unit))
        };
        let above = self.above_point();
        let side = if above < Length::ZERO { "below" } else { "above" };
        let height = if above == Length::ZERO {
            format!("the old floor goes to the level of {}", self.point)
        } else {
            format!("the old floor goes to {} {side} {}", show(above.abs()), self.point)
        };
        let parts = [
            (self.new_build_up, "still to be laid on the new floor there"),
            (self.old_build_up, "still to be laid on the old floor"),
            (self.offset, "of offset"),
        ];
        let parts: Vec<String> = parts
            .iter()
            .filter(|(length, _)| *length != Length::ZERO)
            .map(|(length, what)| format!("{} {what}", show(*length)))
            .collect();
        if parts.is_empty() { height } else { format!("{height}: {}", parts.join(", ")) }
    }
}

/// Something taken for granted because the job is silent.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Assumption {
    /// What is taken, and why where that helps.
    pub text: String,
}

/// A reading that is struck out: it is not used, and is kept to be shown.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct StruckReading {
    /// The setup that it was written under.
    pub setup: SetupId,
    /// The point as it was written; it need not be one of the site's.
    pub point: String,
    /// What was read; `None` if that is not a length.
    pub value: Option<ExactLength>,
    /// Why it is struck out.
    pub why: String,
    /// Where it was written down.
    pub place: Option<SourcePlace>,
}

/// What is known of a support besides what the engine needs.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SupportDetail {
    /// The support.
    pub id: SupportId,
    /// What it is: stump, pile, pier, post.
    pub kind: Option<String>,
    /// Its size as it would be ordered.
    pub size: Option<String>,
    /// Its height from ground to top.
    pub height: Option<Length>,
    /// The lift there, if the builder sets it by hand.
    pub lift: Option<Length>,
    /// Anything to be remembered about it.
    pub note: Option<String>,
}

/// A level book with its name.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct NamedBook {
    /// Its name.
    pub id: String,
    /// The book as it was written down.
    pub book: LevelBook,
}

/// Which criteria the floor is held against.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CriteriaSelection {
    /// The region whose criteria apply by default.
    pub region: Terms,
    /// Criteria to add, by id.
    pub on: Vec<String>,
    /// Criteria to leave out, by id.
    pub off: Vec<String>,
    /// Figures agreed for this job.
    pub own: Vec<OwnCriterion>,
}

/// A figure agreed for this job.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct OwnCriterion {
    /// Its name.
    pub id: String,
    /// What it says.
    pub title: String,
    /// What is held against it, with the most it may be.
    pub figure: OwnFigure,
    /// Where it comes from.
    pub reason: Option<String>,
}

/// What an agreed figure is held against, with the most it may be.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum OwnFigure {
    /// Highest less lowest point.
    Range(Length),
    /// Slope between points.
    Slope {
        /// The steepest slope, a ratio.
        limit: f64,
        /// The distance that it is taken over, if it was agreed.
        over: Option<Length>,
    },
    /// Gap under a straightedge.
    Straightedge {
        /// The widest gap.
        limit: Length,
        /// The length of the straightedge.
        over: Length,
    },
}
