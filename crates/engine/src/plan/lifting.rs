//! The stage from the shape of the floor and the goal to a lift at each support.

use super::height::{Target, TargetFacts, find_target, points_in_doubt};
use super::supports::{Asked, HAS_A_SAY, Seen, SupportFacts, bounds, check_by_hand, describe};
use super::{FloorShape, FrameStage, Job, Stage, StopReason};
use crate::frame::Loads;
use crate::ids::{PointId, SupportId};
use crate::influence::{Influence, InfluenceMethod};
use crate::settings::Preference;
use crate::surface::FloorReading;
use crate::survey::Reduction;
use crate::target::{
    ExtraKind, ExtraRow, FloorPoint, Height, Outcome, Prediction, Problem, predict, solve,
    straightedges,
};
use crate::units::Length;
use serde::Serialize;

/// The lifts, what they rest on and how sure they are.
#[derive(Clone, Debug, Serialize)]
pub struct LiftingStage {
    /// The target and how it was found.
    pub target: TargetFacts,
    /// How a lift moves the floor.
    pub influence: Influence,
    /// One for each support of the site, in its order.
    pub supports: Vec<SupportFacts>,
    /// Floor points that the goal does not ask about.
    pub left_out: Vec<PointId>,
    /// Floor points of the goal that no support moves; they count, and stay where they are.
    pub unmoved: Vec<PointId>,
    /// Floor points that stand above or below where their bearers and joists would carry them if
    /// those were straight, worst first: shape between the supports, which no packer takes out.
    /// Empty without a frame.
    pub between_supports: Vec<ShapeBetween>,
    /// The lifts, or why there are none.
    pub outcome: Outcome,
    /// What was set by hand.
    pub by_hand: Vec<(SupportId, Length)>,
    /// The floor as it is, held against the same target.
    pub now: Option<Prediction>,
    /// The problem that was solved, to ask it for the floor on other lifts.
    #[serde(skip)]
    pub problem: Problem,
}

impl LiftingStage {
    /// The lift at each support in the site's order, if the goal can be met.
    pub fn lifts(&self) -> Option<Vec<Length>> {
        match &self.outcome {
            Outcome::Reached(plan) => {
                Some(plan.outcome.lifts.iter().map(|support| support.lift).collect())
            }
            Outcome::CannotBeDone(_) | Outcome::Refused(_) => None,
        }
    }

    /// How far the floor over a support (by its index) is above the target today; `None` where it
    /// was not read or there is no target.
    pub fn above_target(&self, support: usize) -> Option<Length> {
        let floor = self.supports[support].floor?;
        let target = match &self.outcome {
            Outcome::Reached(plan) => plan.outcome.plane.at(self.problem.supports[support].at),
            Outcome::CannotBeDone(_) | Outcome::Refused(_) => self.target.level?,
        };
        Some(floor - target)
    }
}

fn has_to_carry(job: &Job, stage: &FrameStage) -> bool {
    job.goal.every_support_carries.unwrap_or(!stage.proposed)
}

/// What every support that may be moved has to carry after the lift, if the timber springs back
/// as far as it may: bearers that have set are another matter, and are reported.
fn carrying_rows(job: &Job, stage: &FrameStage, supports: &[SupportFacts]) -> Vec<ExtraRow> {
    let least = job.limits.carry_least.value;
    let springs = 1.0 - stage.frame.spec().set_share.0;
    let row = |support: usize, facts: &SupportFacts| {
        let (per_mm, straight) = stage.frame.reaction_row(support, Loads::DEAD);
        let today: f64 = per_mm
            .iter()
            .map(|&(other, per_mm)| per_mm * springs * stage.heights[other].to_mm())
            .sum();
        ExtraRow {
            name: format!("support {} carries", facts.support),
            kind: ExtraKind::Carries { support, least },
            at_least: Some(least.to_n() - straight.to_n() - today),
            at_most: None,
            per_mm,
        }
    };
    let may_move = supports.iter().enumerate().filter(|(_, facts)| facts.held.is_none());
    may_move.map(|(support, facts)| row(support, facts)).collect()
}

/// A floor point off the line of its timbers.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ShapeBetween {
    /// The point.
    pub point: PointId,
    /// How far it stands above where lifting alone would bring it; negative for sag.
    pub above: Length,
}

/// Less than this is not told from the readings and the boards.
const SHAPE: Length = Length::mm(2.0);

/// Sets up the problem and solves it.
pub(super) fn lifts(
    job: &Job,
    reduction: &Reduction,
    shape: &FloorShape,
    seen: &Seen,
    frame: Option<&FrameStage>,
) -> Stage<LiftingStage> {
    let asked_for = &seen.asked;
    if let Some(reason) = cannot_start(job).or_else(|| steps_in_goal(shape, asked_for)) {
        return Stage::Stopped(vec![reason]);
    }
    let influence = match frame {
        Some(stage) => Ok(Influence::by_frame(&job.site, &stage.frame)),
        None => Influence::by_interpolation(&job.site),
    };
    let influence = match influence {
        Ok(influence) => influence,
        Err(faults) => {
            let hint = "measure positions from a corner of the house";
            let why = faults.into_iter().map(|fault| StopReason::new(fault, hint)).collect();
            return Stage::Stopped(why);
        }
    };
    let readings = || shape.surface.readings().iter().zip(&asked_for.readings);
    let asked: Vec<&FloorReading> =
        readings().filter(|(_, is_asked)| **is_asked).map(|(reading, _)| reading).collect();
    let others: Vec<&FloorReading> =
        readings().filter(|(_, is_asked)| !**is_asked).map(|(reading, _)| reading).collect();
    let doubted = points_in_doubt(reduction, Some(shape));
    let target = if asked.iter().any(|reading| influence.row(&reading.point).is_some()) {
        find_target(job, reduction, &asked, &doubted)
    } else {
        Err(StopReason::new(
            "no floor point of the goal was read where a support can move it",
            "read points in the rooms of the goal, and give the supports their places",
        ))
    };
    let target = match target {
        Ok(target) => target,
        Err(reason) => return Stage::Stopped(vec![reason]),
    };
    let sites = job.site.supports();
    let supports: Vec<SupportFacts> = sites
        .iter()
        .zip(&seen.over)
        .map(|(support, over)| {
            let over = (support, over.as_ref());
            describe(job, reduction, over, &target, asked_for, &doubted)
        })
        .collect();
    let mut problem = pose(job, shape, &influence, &asked, &supports, &target);
    if let Some(stage) = frame.filter(|stage| has_to_carry(job, stage)) {
        problem.extra = carrying_rows(job, stage, &supports);
    }
    problem.supports =
        sites.iter().zip(&supports).map(|(support, facts)| bounds(job, support, facts)).collect();
    let refused = check_by_hand(job, &problem.supports);
    if !refused.is_empty() {
        return Stage::Stopped(refused);
    }
    let problem = match problem.with_lifts(&job.by_hand) {
        Ok(problem) => problem,
        Err(faults) => return Stage::Stopped(faults.into_iter().map(StopReason::bare).collect()),
    };
    let none = vec![Length::ZERO; problem.supports.len()];
    let outcome = solve(&problem);
    let names = |readings: Vec<&FloorReading>| -> Vec<PointId> {
        readings.into_iter().map(|reading| reading.point.clone()).collect()
    };
    let unmoved = asked.iter().filter(|reading| influence.row(&reading.point).is_none());
    Stage::Done(LiftingStage {
        now: predict(&without_bounds(&problem, &outcome), &none).ok(),
        target: target.facts,
        between_supports: between_supports(&influence, &asked, &supports),
        unmoved: names(unmoved.copied().collect()),
        left_out: names(others),
        influence,
        supports,
        outcome,
        by_hand: job.by_hand.clone(),
        problem,
    })
}

fn cannot_start(job: &Job) -> Option<StopReason> {
    if job.site.supports().is_empty() {
        return Some(StopReason::new(
            "the job has no supports",
            "list the supports with their places, or give each point a place",
        ));
    }
    let needs_tolerance =
        matches!(job.goal.prefer, Preference::LeastLift | Preference::FewestSupports);
    let has_tolerance = job.goal.level_tolerance.is_some() || job.goal.slope_tolerance.is_some();
    (needs_tolerance && !has_tolerance).then(|| {
        StopReason::new(
            "least lift and fewest supports lift nothing unless a tolerance is asked for",
            "write level_tolerance under [goal], or give --tolerance 5",
        )
    })
}

/// One height for floors with a step between them would take the step away.
fn steps_in_goal(shape: &FloorShape, asked: &Asked) -> Option<StopReason> {
    if asked.decks.len() < 2 {
        return None;
    }
    let names: Vec<&str> = shape
        .surface
        .decks()
        .enumerate()
        .filter(|(deck, _)| asked.decks.contains(deck))
        .map(|(_, name)| name)
        .collect();
    let what = format!(
        "the goal asks for one height on floors with a step between them: {}",
        names.join(" and ")
    );
    Some(StopReason::new(what, "name the rooms to be levelled: rooms = [...] under [goal]"))
}

/// The problem, but for its supports.
fn pose(
    job: &Job,
    shape: &FloorShape,
    influence: &Influence,
    asked: &[&FloorReading],
    supports: &[SupportFacts],
    target: &Target,
) -> Problem {
    let decks: Vec<&str> = shape.surface.decks().collect();
    let mut points: Vec<FloorPoint> = Vec::new();
    let mut rows: Vec<Vec<(usize, f64)>> = Vec::new();
    for reading in asked {
        points.push(FloorPoint {
            id: reading.point.clone(),
            at: reading.at,
            level: reading.level,
            deck: decks[reading.deck].to_owned(),
        });
        rows.push(influence.row(&reading.point).map_or_else(Vec::new, |row| row.terms.clone()));
    }
    // A support that no reading stands over would be free to stay behind its neighbours: the
    // floor between the readings speaks for it.
    for (support_idx, (support, facts)) in job.site.supports().iter().zip(supports).enumerate() {
        let unspoken = facts.between_readings && facts.held.is_none();
        if let (true, Some(level), Some(deck)) = (unspoken, facts.floor, facts.deck) {
            points.push(FloorPoint {
                id: PointId::new(format!("over {}", support.id)),
                at: support.at,
                level,
                deck: decks[deck].to_owned(),
            });
            let row = influence.row_over(support_idx, support.at);
            rows.push(row.map_or_else(|| vec![(support_idx, 1.0)], |row| row.terms));
        }
    }
    let height = target.facts.level.map_or(Height::Free, Height::At);
    let mut problem = Problem::new(points, Vec::new(), rows, height);
    problem.tilt = job.goal.tilt_allowed;
    problem.pivot = target.pivot;
    problem.level_tolerance = job.goal.level_tolerance;
    problem.slope_tolerance = job.goal.slope_tolerance;
    problem.straightedges = straightedges(&problem.points);
    problem.prefer = job.goal.prefer;
    problem
}

/// What would be left at each point if every support came to one height: the reading less what
/// the floor over the supports carries there.
fn between_supports(
    influence: &Influence,
    asked: &[&FloorReading],
    supports: &[SupportFacts],
) -> Vec<ShapeBetween> {
    if influence.method() != InfluenceMethod::Frame {
        return Vec::new();
    }
    let of = |reading: &&FloorReading| {
        let row = influence.row(&reading.point)?;
        let mut carried = Length::ZERO;
        for &(support, ratio) in &row.terms {
            let facts = &supports[support];
            if facts.deck != Some(reading.deck) && ratio.abs() > HAS_A_SAY {
                return None;
            }
            carried += facts.floor.map_or(Length::ZERO, |floor| (floor - reading.level) * ratio);
        }
        (carried.abs() > SHAPE)
            .then(|| ShapeBetween { point: reading.point.clone(), above: -carried })
    };
    let mut found: Vec<ShapeBetween> = asked.iter().filter_map(of).collect();
    found.sort_by(|a, b| b.above.abs().total_cmp(&a.above.abs()));
    found
}

/// The same problem held to the plane that was found, so that the floor as it is can be compared
/// with the floor as it will be.
fn without_bounds(problem: &Problem, outcome: &Outcome) -> Problem {
    let mut same = problem.clone();
    for support in &mut same.supports {
        support.lower = support.lower.min(Length::ZERO);
        support.upper = support.upper.max(Length::ZERO);
    }
    if let Outcome::Reached(plan) = outcome
        && same.tilt.is_none()
    {
        same.height = Height::At(plan.outcome.plane.height);
    }
    same
}
