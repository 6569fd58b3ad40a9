//! Where to stand the reservoir, in which order to walk, what to read twice, and what comes of it.

mod places;
mod planner;
mod rows;

use super::budget::budget_of;
use super::checks::{DriftWatch, drift_watch};
use super::design::Accuracy;
use super::instrument::Hose;
use super::validity::OutsideValidity;
use super::walls::{Door, Walls};
use super::ways::Ways;
use crate::ids::{PointId, RoomId};
use crate::site::{Outline, Position, Site};
use crate::units::{Length, Minutes, Seconds};
use places::{candidates_of, targets_of, with_one_room};
use planner::Planner;
use serde::Serialize;

/// So many points in common tie two stands in height (our own rule: two, so that a slip in one
/// shows; a third is read where there is one).
pub const TIES: usize = 2;
/// One point in so many is read twice in its stand (common practice: one in ten).
pub const REPEAT_ONE_IN: usize = 10;
/// More points than this are not planned for.
pub const MOST_POINTS: usize = 5000;

/// What a survey is planned from.
#[derive(Clone, Debug)]
pub struct StandsAsk<'a> {
    /// Rooms, points and supports. Without a room the box round points and supports is one.
    pub site: &'a Site,
    /// Doorways; without any the walls between rooms do not count.
    pub doors: &'a [Door],
    /// What no hose goes through and no reservoir stands in.
    pub obstacles: &'a [Outline],
    /// Marks that the levels are counted from.
    pub benchmarks: &'a [PointId],
    /// The hose.
    pub hose: &'a Hose,
    /// What one reading is worth.
    pub reading_sd: Length,
    /// Within what the floor is to end.
    pub tolerance: Option<Length>,
}

/// Why there is no plan.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum NoStands {
    /// Nothing to read.
    #[error("there is no point with a place on the plan")]
    NoPoints,
    /// No room to stand in.
    #[error("there is no room with an outline, and so nowhere to stand the reservoir")]
    NoRooms,
    /// Too many points.
    #[error("{found} points are more than the {MOST_POINTS} that are planned for at once")]
    TooMany {
        /// How many there are.
        found: usize,
    },
    /// No point can be reached from anywhere.
    #[error("no point is reached by this hose from anywhere: it reaches {reach} along the floor")]
    NothingReached {
        /// How far it reaches.
        reach: Length,
    },
    /// The stands cannot be joined in height.
    #[error("the stands cannot be joined: no two points are reached from both sides")]
    NotJoined,
    /// The wait is not known for this hose.
    #[error(transparent)]
    Outside(#[from] OutsideValidity),
}

impl NoStands {
    /// The way out.
    pub fn hint(&self) -> &'static str {
        match self {
            Self::NoPoints => "give supports or points a place: at = [x, y]",
            Self::NoRooms => "give at least one [[room]] an outline",
            Self::TooMany { .. } => "plan the house part by part",
            Self::NothingReached { .. } => "take a longer hose, or mark the doorways as [[door]]",
            Self::NotJoined => {
                "take a longer hose, mark more doorways, or add points near the doorways"
            }
            Self::Outside(_) => "the plan needs the wait: change the hose, or its temperature",
        }
    }
}

/// Why a row of the sheet is read.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Why {
    /// The first reading of the stand, which it is closed on.
    Open,
    /// For its own sake.
    Point,
    /// Read from another stand as well, which ties the two.
    Tie,
    /// The base again, on the way: shows the drift.
    Return,
    /// A point a second time, unseen: shows what a reading is worth.
    Repeat,
    /// The base again at the end.
    Close,
}

/// One reading to take.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct StandRow {
    /// Where the staff goes.
    pub point: PointId,
    /// Its place on the plan.
    pub at: Position,
    /// Why.
    pub why: Why,
    /// Hose from the reservoir to there, along the floor.
    pub hose: Length,
    /// Way from the reading before.
    pub walk: Length,
    /// When about, from the first reading of the stand.
    pub time: Minutes,
}

/// One standing of the reservoir.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Stand {
    /// Its number, from 1.
    pub number: usize,
    /// Where the reservoir stands.
    pub at: Position,
    /// The room it stands in.
    pub room: Option<RoomId>,
    /// What is read first, again and last.
    pub base: PointId,
    /// The base is a benchmark.
    pub base_is_benchmark: bool,
    /// The longest hose it takes, along the floor.
    pub longest: Length,
    /// The readings in their order.
    pub rows: Vec<StandRow>,
    /// The hose to each corner of the walk: a line for each row, for the picture.
    pub lines: Vec<Vec<Position>>,
}

/// A point that no stand reaches.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Unreached {
    /// The point.
    pub point: PointId,
    /// The hose along the floor that would do, from the best place; `None` where no doorway leads
    /// there.
    pub needs: Option<Length>,
}

/// A survey planned.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct StandsPlan {
    /// Where to stand, in the order to go.
    pub stands: Vec<Stand>,
    /// Fewer stands than this cannot do, from the places looked at.
    pub at_least: usize,
    /// Points that no stand reaches.
    pub unreached: Vec<Unreached>,
    /// Benchmarks without a place on the plan: taken to be within reach of the first stand.
    pub unplaced_benchmarks: Vec<PointId>,
    /// How far the hose reaches along the floor.
    pub reach: Length,
    /// How long to wait at each point.
    pub wait: Seconds,
    /// When to go back to the base.
    pub watch: DriftWatch,
    /// How many readings it takes.
    pub n_readings: usize,
    /// How long that takes, carrying the reservoir not counted.
    pub minutes: Minutes,
    /// What will come of it; `None` if the design cannot be solved.
    pub accuracy: Option<Accuracy>,
}

/// Plans a survey: the fewest stands that reach every point and hang together, a short walk in each,
/// and what the levels will be worth.
///
/// # Units and sign
/// Places as on the plan; hose along the floor, both legs taken off.
///
/// # Errors
/// [`NoStands`]. Points out of reach are no error: they are in the plan, with the hose that would
/// reach them.
///
/// # References
/// Ways round walls by a visibility graph and Dijkstra's algorithm; the fewest stands by branch and
/// bound against a bound from points of which no two are reached from one place; the walk by
/// 2-opt. The accuracy is what [`crate::survey::reduce`] gives for these readings: it follows from
/// which points are read when, not from what is read.
pub fn plan_stands(ask: &StandsAsk<'_>) -> Result<StandsPlan, NoStands> {
    let column = ask.hose.column()?;
    let start = ask.hose.reservoir.start_of(ask.hose.largest_move);
    let wait = column.wait(start, ask.hose.settle_to);
    let budget = budget_of(ask.hose)?;
    let watch = drift_watch(ask.hose, &budget);
    let reach = ask.hose.reach();
    let outlines: Vec<&Outline> = ask.site.rooms().iter().map(|room| &room.outline).collect();
    if outlines.is_empty() {
        let site = with_one_room(ask.site)?;
        return plan_stands(&StandsAsk { site: &site, ..ask.clone() });
    }
    let walls = Walls::new(&outlines, ask.doors, ask.obstacles);
    // Ways somewhat too long are still of use: they say what hose would do.
    let ways = Ways::new(walls, reach * 2.0);
    let targets = targets_of(ask, &ways);
    if targets.iter().all(|target| target.is_benchmark) {
        return Err(NoStands::NoPoints);
    }
    if targets.len() > MOST_POINTS {
        return Err(NoStands::TooMany { found: targets.len() });
    }
    let candidates = candidates_of(ask, &ways, &targets);
    let planner = Planner { ask, ways: &ways, targets: &targets, candidates: &candidates, reach };
    planner.plan(wait, watch)
}
