//! What the target stage answers: lifts, the floor they give, and how it departs from the target.

use super::explain::Explanation;
use super::problem::{Problem, ProblemError, SupportBounds};
use crate::ids::{PointId, SupportId};
use crate::site::Position;
use crate::units::{Force, Length, Level, round_to};
use serde::Serialize;

/// A lift smaller than this is none, and one this close to a bound is on it: a hundredth of a
/// millimetre.
pub(crate) const TOUCHED: Length = Length::mm(0.01);

/// Which side of its tolerance something is on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Side {
    /// It lies too low; for a straightedge, a hollow.
    TooLow,
    /// It lies too high; for a straightedge, a hump.
    TooHigh,
}

/// One thing that is asked of the floor.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Requirement {
    /// A point within the level tolerance.
    Level {
        /// The point.
        point: PointId,
        /// The side that is guarded.
        side: Side,
    },
    /// The fall from one point to its neighbour within the slope tolerance.
    Slope {
        /// The point that must not stand too high above the other.
        high: PointId,
        /// The other point.
        low: PointId,
    },
    /// The middle of three points within the straightedge tolerance.
    Straightedge {
        /// The points, in order along the straightedge.
        points: [PointId; 3],
        /// The side that is guarded.
        side: Side,
    },
    /// A support carries what it is to carry at least.
    Carries {
        /// The support.
        support: SupportId,
    },
    /// Another one of the problem's extra rows.
    Extra {
        /// Its name.
        name: String,
    },
}

/// The target: a height, and how it leans.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct TargetPlane {
    /// Height at `centre`.
    pub height: Level,
    /// Where it has that height: the pivot, or the middle of the points.
    pub centre: Position,
    /// Rise along x (a ratio); zero for a level target.
    pub rise_x: f64,
    /// Rise along y (a ratio); zero for a level target.
    pub rise_y: f64,
}

impl TargetPlane {
    /// The target's height at a place.
    pub fn at(&self, place: Position) -> Level {
        self.height
            + (place.x - self.centre.x) * self.rise_x
            + (place.y - self.centre.y) * self.rise_y
    }
}

/// The lift at one support.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SupportLift {
    /// The support.
    pub id: SupportId,
    /// How far the bearer goes up; negative where it is let down.
    pub lift: Length,
    /// The lift is as small as it may be.
    pub at_lower: bool,
    /// The lift is as large as it may be.
    pub at_upper: bool,
}

/// One point before and after.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PointOutcome {
    /// The point.
    pub id: PointId,
    /// Its level now.
    pub before: Level,
    /// Its level after the lifts.
    pub after: Level,
    /// Where it should be.
    pub target: Level,
    /// After less target, up positive.
    pub departure: Length,
}

/// A requirement that the lifts do not meet.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Broken {
    /// What is asked.
    pub requirement: Requirement,
    /// By how much it is missed. For a support that is to carry, the lift there that would make up
    /// for it while the others stay; for another extra row, the lift at its strongest support.
    pub by: Length,
    /// For a support that is to carry: the forces themselves.
    pub carried: Option<Carried>,
}

/// What a support is to carry and what it would.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Carried {
    /// The least that it is to carry.
    pub least: Force,
    /// What it would carry if it could pull; below zero its bearer leaves it.
    pub would: Force,
}

impl Carried {
    /// In words, such as "at least 0.2 kN and would carry -0.4 kN".
    pub(super) fn words(self) -> String {
        format!("{} and would carry {}", at_least(self.least), force(self.would))
    }
}

/// "at least 0.2 kN", or nothing where anything will do.
pub(super) fn at_least(least: Force) -> String {
    if least > Force::ZERO { format!("at least {}", force(least)) } else { "something".to_owned() }
}

/// A small force is not shown as none.
fn force(force: Force) -> String {
    if force.abs() < Force::n(95.0) {
        format!("{:.0} N", round_to(force.to_n(), 1.0))
    } else {
        force.to_string()
    }
}

/// The sums a builder compares plans by.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct Totals {
    /// Sum of all raising and lowering.
    pub lift: Length,
    /// Supports that are raised or let down.
    pub touched: usize,
    /// Largest departure from the target, without sign.
    pub worst_departure: Length,
    /// Root mean square of the departures.
    pub rms_departure: Length,
}

/// The floor that given lifts lead to.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Prediction {
    /// Lift at each support, in the problem's order.
    pub lifts: Vec<SupportLift>,
    /// Each point, in the problem's order.
    pub points: Vec<PointOutcome>,
    /// The target they are judged against.
    pub plane: TargetPlane,
    /// The sums.
    pub totals: Totals,
    /// Requirements that are not met, each with by how much.
    pub broken: Vec<Broken>,
}

impl Prediction {
    /// The point that ends furthest from the target; the first of several.
    pub fn worst(&self) -> Option<&PointOutcome> {
        self.points.iter().reduce(|worst, point| {
            if point.departure.abs() > worst.departure.abs() { point } else { worst }
        })
    }
}

/// How few supports need touching.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct Fewest {
    /// Supports that the plan touches.
    pub touched: usize,
    /// No plan that meets the requirements touches fewer than this.
    pub at_least: usize,
}

/// Lifts that meet every requirement and do best by the preference.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LiftPlan {
    /// The lifts and the floor they give.
    pub outcome: Prediction,
    /// Other lifts may do equally well by the preference: always said of the linear ones, and of
    /// least squares when the floor does not determine every lift.
    pub one_of_many: bool,
    /// How closely the arithmetic meets the conditions of an optimum: by how much a row is missed,
    /// or the cost not yet at its lowest, relative to its size, whichever is worse.
    pub accuracy: Length,
    /// For the fewest-supports preference: what is proved about the number.
    pub fewest: Option<Fewest>,
}

/// What became of a problem.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Outcome {
    /// The requirements can be met.
    Reached(LiftPlan),
    /// They cannot, and why.
    CannotBeDone(Explanation),
    /// The problem itself is at fault.
    Refused(Vec<ProblemError>),
}

/// The floor that given lifts lead to, judged against a given target.
pub(super) fn assess(problem: &Problem, lifts: &[f64], plane: TargetPlane) -> Prediction {
    let points: Vec<PointOutcome> = problem
        .points
        .iter()
        .zip(&problem.influence)
        .map(|(point, row)| {
            let rise: f64 = row.iter().map(|&(support, ratio)| ratio * lifts[support]).sum();
            let after = point.level + Length::mm(rise);
            let target = plane.at(point.at);
            PointOutcome {
                id: point.id.clone(),
                before: point.level,
                after,
                target,
                departure: after - target,
            }
        })
        .collect();
    let lifts: Vec<SupportLift> = problem
        .supports
        .iter()
        .zip(lifts)
        .map(|(support, &lift)| support_lift(support, Length::mm(lift)))
        .collect();
    let totals = totals(&points, &lifts);
    Prediction { lifts, points, plane, totals, broken: Vec::new() }
}

fn support_lift(support: &SupportBounds, lift: Length) -> SupportLift {
    let on = |bound: Length| (lift - bound).abs() <= TOUCHED;
    SupportLift {
        id: support.id.clone(),
        lift,
        at_lower: on(support.lower),
        at_upper: on(support.upper),
    }
}

fn totals(points: &[PointOutcome], lifts: &[SupportLift]) -> Totals {
    let departures = points.iter().map(|point| point.departure);
    let sum_squares: f64 = departures.clone().map(|d| d.squared().to_mm2()).sum();
    Totals {
        lift: lifts.iter().map(|support| support.lift.abs()).sum(),
        touched: lifts.iter().filter(|support| support.lift.abs() > TOUCHED).count(),
        worst_departure: departures.map(Length::abs).fold(Length::ZERO, Length::max),
        rms_departure: Length::mm((sum_squares / points.len().max(1) as f64).sqrt()),
    }
}
