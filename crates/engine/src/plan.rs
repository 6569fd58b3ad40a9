//! The whole chain, stage by stage: readings, levels, surface, target, packers, passes.
//!
//! [`plan`] keeps what every stage found. A stage that cannot run says why, and the stages after
//! it say which one they wait for; nothing is guessed to carry on.

mod floor;
mod height;
mod supports;
mod frame;
mod lifting;
mod packing;
mod order;

pub use floor::{DeckShape, FloorShape, OddReading, StraightedgeFinding};
pub use frame::{FrameChoice, FrameStage};
pub use height::TargetFacts;
pub use lifting::{LiftingStage, ShapeBetween};
pub use order::{Bend, OnFrame, PassesStage, TemporaryPackers};
pub use packing::{PackingStage, SupportPacking, levels_after};
pub use supports::SupportFacts;

use crate::ids::{PointId, SupportId};
use crate::packers::StackTable;
use crate::settings::{Goal, Limits, Stock};
use crate::site::Site;
use crate::survey::{Reduction, Survey, reduce};
use crate::units::Length;
use crate::verdict::{Criterion, Verdict, judge};
use serde::Serialize;
use std::collections::BTreeSet;
use std::fmt;
use supports::Seen;

/// Everything the chain is run on.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Job {
    /// Rooms, points and supports.
    pub site: Site,
    /// Setups, readings and benchmarks.
    pub survey: Survey,
    /// Where the floor is to end.
    pub goal: Goal,
    /// What a pass may do.
    pub limits: Limits,
    /// The packers that can be had.
    pub stock: Stock,
    /// What the floor is held against.
    pub criteria: Vec<Criterion>,
    /// Lifts that the builder sets by hand; the rest is worked out around them.
    pub by_hand: Vec<(SupportId, Length)>,
    /// The frame under the floor.
    pub frame: FrameChoice,
}

/// What every stage found.
#[derive(Clone, Debug, Serialize)]
pub struct Plan {
    /// Levels with their uncertainty.
    pub reduction: Reduction,
    /// The shape of the floor.
    pub floor: Stage<FloorShape>,
    /// The floor held against each criterion, in the job's order.
    pub verdicts: Vec<Verdict>,
    /// The frame under the floor and what it carries today. Where there is none, the floor is
    /// taken to move as planes between the supports, and no load is worked out.
    pub frame: Stage<FrameStage>,
    /// The lift at each support.
    pub lifting: Stage<LiftingStage>,
    /// The packers that stay at each support, what to buy, and the floor on them.
    pub packing: Stage<PackingStage>,
    /// The order of moves, for the lifts that the packers give.
    pub passes: Stage<PassesStage>,
}

impl Plan {
    /// What stands in the way of a stage itself; empty if it ran, or waits for another.
    pub fn reasons(&self, stage: StageName) -> &[StopReason] {
        match stage {
            StageName::Levels => &[],
            StageName::Floor => self.floor.reasons(),
            StageName::Frame => self.frame.reasons(),
            StageName::Lift => self.lifting.reasons(),
            StageName::Packers => self.packing.reasons(),
            StageName::Passes => self.passes.reasons(),
        }
    }

    /// Points to read again before they are built on: named by a test of the readings, or odd among
    /// their neighbours.
    pub fn points_in_doubt(&self) -> BTreeSet<PointId> {
        height::points_in_doubt(&self.reduction, self.floor.done())
    }
}

/// A stage of the chain.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum StageName {
    /// Readings to levels.
    Levels,
    /// Levels to the shape of the floor.
    Floor,
    /// Supports and shape to what each carries.
    Frame,
    /// Shape and goal to lifts.
    Lift,
    /// Lifts to packers.
    Packers,
    /// Lifts to passes.
    Passes,
}

impl fmt::Display for StageName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Levels => "levels",
            Self::Floor => "the shape of the floor",
            Self::Frame => "the frame under it",
            Self::Lift => "the lifts",
            Self::Packers => "the packers",
            Self::Passes => "the passes",
        })
    }
}

/// What a stage came to.
#[derive(Clone, Debug, Serialize)]
#[serde(tag = "status", content = "result", rename_all = "kebab-case")]
pub enum Stage<T> {
    /// It ran.
    Done(T),
    /// It cannot run on this job: everything that stands in its way.
    Stopped(Vec<StopReason>),
    /// It waits for another stage.
    WaitsFor(StageName),
    /// It was not asked for.
    NotAsked,
}

/// Something that stands in a stage's way.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct StopReason {
    /// What is wrong.
    pub what: String,
    /// The way out, if there is one to name.
    pub hint: Option<String>,
}

impl StopReason {
    fn new(what: impl fmt::Display, hint: &str) -> Self {
        Self { what: what.to_string(), hint: Some(hint.to_owned()) }
    }

    fn bare(what: impl fmt::Display) -> Self {
        Self { what: what.to_string(), hint: None }
    }
}

impl<T> Stage<T> {
    /// The result, if the stage ran.
    pub fn done(&self) -> Option<&T> {
        match self {
            Self::Done(result) => Some(result),
            Self::Stopped(_) | Self::WaitsFor(_) | Self::NotAsked => None,
        }
    }

    /// What stands in its way, if it was stopped.
    pub fn reasons(&self) -> &[StopReason] {
        match self {
            Self::Stopped(reasons) => reasons,
            Self::Done(_) | Self::WaitsFor(_) | Self::NotAsked => &[],
        }
    }

    /// Runs the next stage on this one's result, or has it wait.
    fn then<U>(&self, name: StageName, next: impl FnOnce(&T) -> Stage<U>) -> Stage<U> {
        match self {
            Self::Done(result) => next(result),
            Self::Stopped(_) => Stage::WaitsFor(name),
            Self::WaitsFor(earlier) => Stage::WaitsFor(*earlier),
            Self::NotAsked => Stage::NotAsked,
        }
    }
}

/// Runs the chain as far as the shape of the floor, for who asks for no verdicts and no lifts.
pub fn survey(job: &Job) -> Plan {
    let reduction = reduce(&job.survey);
    let floor = floor::shape(job, &reduction);
    Plan {
        reduction,
        floor,
        verdicts: Vec::new(),
        frame: Stage::NotAsked,
        lifting: Stage::NotAsked,
        packing: Stage::NotAsked,
        passes: Stage::NotAsked,
    }
}

/// Runs the whole chain.
///
/// # Examples
/// ```
/// use floorwright_engine::plan::{FrameChoice, Job, plan};
/// use floorwright_engine::settings::{Goal, Limits, Stock};
/// use floorwright_engine::site::Site;
/// use floorwright_engine::survey::Survey;
///
/// let empty = Job {
///     site: Site::default(),
///     survey: Survey::default(),
///     goal: Goal::default(),
///     limits: Limits::default(),
///     stock: Stock::default(),
///     criteria: vec![],
///     by_hand: vec![],
///     frame: FrameChoice::Off { why: "nothing stands here".to_owned() },
/// };
/// assert!(plan(&empty).lifting.done().is_none()); // says why instead of inventing lifts
/// ```
pub fn plan(job: &Job) -> Plan {
    let Plan { reduction, floor, .. } = survey(job);
    let verdicts = job
        .criteria
        .iter()
        .map(|criterion| judge(criterion, &job.site, &reduction.levels))
        .collect();
    let seen = floor.done().map(|shape| Seen::of(job, shape));
    let frame = match &seen {
        Some(seen) => frame::build(job, &reduction, &seen.over),
        None => floor.then(StageName::Floor, |_| Stage::WaitsFor(StageName::Floor)),
    };
    let lifting = match (floor.done(), &seen) {
        (Some(shape), Some(seen)) => lifting::lifts(job, &reduction, shape, seen, frame.done()),
        _ => floor.then(StageName::Floor, |_| Stage::WaitsFor(StageName::Floor)),
    };
    let table = StackTable::new(&job.stock);
    let lifts = lifting.done().and_then(LiftingStage::lifts);
    let packing = match (floor.done(), lifting.done(), lifts, &table) {
        (Some(shape), Some(stage), Some(lifts), Ok(table)) => {
            packing::stacks(job, shape, (stage, frame.done()), &lifts, table)
        }
        (.., Some(_), Err(fault)) => {
            Stage::Stopped(vec![StopReason::new(fault, "change the stock")])
        }
        _ => lifting.then(StageName::Lift, |_| Stage::WaitsFor(StageName::Lift)),
    };
    let frame_fails = !frame.reasons().is_empty() && job.frame.is_given();
    let passes = match (lifting.done(), &table) {
        // The builder's own frame does not stand: no order of work without its loads.
        _ if frame_fails => Stage::WaitsFor(StageName::Frame),
        (Some(stage), Ok(table)) => packing.then(StageName::Packers, |packing| {
            order::passes(job, (stage, frame.done()), packing, table)
        }),
        _ => packing.then(StageName::Packers, |_| Stage::WaitsFor(StageName::Packers)),
    };
    Plan { reduction, floor, verdicts, frame, lifting, packing, passes }
}
