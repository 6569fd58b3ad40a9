//! The stage from levels to the shape of the floor.

use super::{Job, Stage, StopReason};
use crate::ids::SetupId;
use crate::surface::{
    BestFitPlane, FloorReading, LevelAt, NeighbourSettings, OddPoint, Spread, SteepestSlope,
    Straightedge, Suggestion, Surface, best_fit_plane, likely_readings, odd_points, spread,
    steepest_slope, straightedge,
};
use crate::survey::Reduction;
use crate::units::{ExactLength, Length, Level};
use serde::Serialize;

/// Slopes between points closer than this say more about the readings than about the floor:
/// the distance of the slope indicator for existing floors (second-hand, wording from memory).
const SLOPE_APART: Length = Length::mm(2000.0);

/// The straightedge that floors are commonly held against (BS 8204 via a Concrete Society note,
/// confirmed; other bodies use 3 m or 10 ft).
const STRAIGHTEDGE: Length = Length::mm(2000.0);

/// Places suggested for more readings, at most.
const MOST_SUGGESTIONS: usize = 5;

/// The shape of the floor.
#[derive(Clone, Debug, Serialize)]
pub struct FloorShape {
    /// The floor between the readings.
    #[serde(skip)]
    pub surface: Surface,
    /// One for each deck that was read, in the surface's order.
    pub decks: Vec<DeckShape>,
    /// Points that stand off their neighbours, worst first.
    pub odd: Vec<OddReading>,
    /// Where more readings would tell most.
    pub suggestions: Vec<Suggestion>,
    /// The mean of all levels read on it, to draw heights above where there is no target.
    pub mean: Level,
    /// The floor's edge is only the outermost readings, because no room is given.
    pub outline_assumed: bool,
}

/// The shape of one continuous floor.
#[derive(Clone, Debug, Serialize)]
pub struct DeckShape {
    /// Its name.
    pub name: String,
    /// How many points were read on it.
    pub n_points: usize,
    /// Highest and lowest point and how far apart they are.
    pub spread: Spread,
    /// The plane that fits best; `None` for fewer than three points or points on one line.
    pub plane: Option<BestFitPlane>,
    /// The steepest slope between points at least 2 m apart; `None` if no two are.
    pub steepest: Option<SteepestSlope>,
    /// What a straightedge of 2 m would show, or why these readings do not tell.
    pub straightedge: StraightedgeFinding,
}

/// What a straightedge would show.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum StraightedgeFinding {
    /// The largest departure from straight.
    Found(Straightedge),
    /// The readings do not allow it.
    Refused {
        /// Why.
        why: String,
    },
}

/// A point that stands off its neighbours, with the reading that may be to blame.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct OddReading {
    /// The point and by how much.
    pub odd: OddPoint,
    /// The setup it was read from, if it was read once only.
    pub setup: Option<SetupId>,
    /// What was written down, if it was read once only.
    pub written: Option<ExactLength>,
    /// What may have been meant: swapped digits or one wrong digit, likeliest first.
    pub likely: Vec<ExactLength>,
}

/// Makes the surface and describes it.
pub(super) fn shape(job: &Job, reduction: &Reduction) -> Stage<FloorShape> {
    if reduction.levels.points().is_empty() {
        let mut why: Vec<StopReason> = reduction.faults.iter().map(StopReason::bare).collect();
        why.push(StopReason::new("no point has a level", "give readings and a benchmark or datum"));
        return Stage::Stopped(why);
    }
    let surface = match Surface::new(&job.site, &reduction.levels) {
        Ok(surface) => surface,
        Err(faults) => {
            return Stage::Stopped(
                faults.into_iter().map(|fault| StopReason::new(&fault, fault.hint())).collect(),
            );
        }
    };
    let names: Vec<String> = surface.decks().map(str::to_owned).collect();
    let mut decks = Vec::new();
    let mut odd = Vec::new();
    for (deck, name) in names.into_iter().enumerate() {
        let readings: Vec<FloorReading> =
            surface.readings().iter().filter(|reading| reading.deck == deck).cloned().collect();
        odd.extend(odd_points(&levels_at(&readings), NeighbourSettings::default()));
        decks.extend(describe(name, &readings, reduction));
    }
    odd.sort_by(|a, b| b.departure.abs().total_cmp(&a.departure.abs()));
    let odd = odd.into_iter().map(|odd| blame(job, odd)).collect();
    let readings = surface.readings();
    let sum: Length = readings.iter().map(|reading| reading.level - Level::DATUM).sum();
    Stage::Done(FloorShape {
        mean: Level::DATUM + sum / readings.len().max(1) as f64,
        decks,
        odd,
        suggestions: surface.suggest_readings(MOST_SUGGESTIONS),
        outline_assumed: surface.outline_assumed(),
        surface,
    })
}

fn levels_at(readings: &[FloorReading]) -> Vec<LevelAt> {
    readings
        .iter()
        .map(|reading| LevelAt {
            point: reading.point.clone(),
            at: reading.at,
            level: reading.level,
        })
        .collect()
}

fn describe(name: String, readings: &[FloorReading], reduction: &Reduction) -> Option<DeckShape> {
    Some(DeckShape {
        name,
        n_points: readings.len(),
        spread: spread(readings, &reduction.levels)?,
        plane: best_fit_plane(readings).ok(),
        steepest: steepest_slope(readings, &reduction.levels, SLOPE_APART).ok(),
        straightedge: match straightedge(readings, &reduction.levels, STRAIGHTEDGE) {
            Ok(found) => StraightedgeFinding::Found(found),
            Err(refusal) => StraightedgeFinding::Refused { why: refusal.to_string() },
        },
    })
}

/// Finds the reading behind an odd point, and what may have been meant.
fn blame(job: &Job, odd: OddPoint) -> OddReading {
    let mut readings = job
        .survey
        .setups
        .iter()
        .flat_map(|setup| setup.readings.iter().map(move |reading| (setup, reading)));
    let mut of_point = readings.by_ref().filter(|(_, reading)| reading.point == odd.point);
    let (first, second) = (of_point.next(), of_point.next());
    let (Some((setup, reading)), None) = (first, second) else {
        return OddReading { odd, setup: None, written: None, likely: Vec::new() };
    };
    // A point that stands too high was read too low, unless the staff hung upside down.
    let sign = if reading.inverted { -1.0 } else { 1.0 };
    let off = odd.departure * sign / setup.scale;
    let expected = ExactLength::from_mm((reading.value.to_length() + off).to_mm());
    let likely =
        expected.map_or_else(Vec::new, |expected| likely_readings(reading.value, expected));
    OddReading { odd, setup: Some(setup.id.clone()), written: Some(reading.value), likely }
}
