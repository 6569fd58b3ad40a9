//! From a goal to a lift at each support.
//!
//! The floor after lifting is the floor now plus influence times lifts; see [`Problem`] for what
//! is asked and [`solve`] for the answer. When the requirements cannot be met together the
//! answer is an [`Explanation`]: which ones clash, by how much, and what stands behind them.
//!
//! # Method
//! Least squares is a convex quadratic program; the smallest largest error and the least total
//! lift are linear programs, the former followed by the least lift that keeps it. The fewest
//! supports is a search over which supports are touched at all (see [`Fewest`] for what is
//! proved). Where several sets of lifts do equally well, the one with the least total lift is
//! taken, so that an undetermined support is left alone.

mod convex;
mod explain;
mod fewest;
mod model;
mod plan;
mod problem;
#[cfg(test)]
mod whole_or_part;

pub use explain::{Clash, Explanation, HeldBy, SmallestTolerance};
pub(crate) use plan::TOUCHED;
pub use plan::{
    Broken, Carried, Fewest, LiftPlan, Outcome, PointOutcome, Prediction, Requirement, Side,
    SupportLift, TargetPlane, Totals,
};
pub use problem::{
    ExtraKind, ExtraRow, FloorPoint, Height, Problem, ProblemError, Straightedge, SupportBounds,
    neighbours, straightedges,
};

use crate::settings::Preference;
use crate::units::Length;
use convex::{Failure, Optimum, Program, Row, dot, minimise};
use model::Model;

/// How much of the best worst departure may be given up for less lift, in millimetres: as little
/// as the arithmetic can tell, and never more than a thousandth of a millimetre.
const WORST_SLACKS: [f64; 3] = [1e-5, 1e-4, 1e-3];

/// Room that rows get while the departures are held at their least squares, in millimetres.
const KEPT_SLACK: f64 = 1e-6;

/// A total shortfall below this is arithmetic, in millimetres.
const SHORTFALL: f64 = 1e-5;

/// Chooses the lifts.
///
/// # Units and sign
/// Lifts are up positive; a departure is the predicted level less the target.
///
/// # Errors
/// None as such: [`Outcome::CannotBeDone`] explains requirements that clash,
/// [`Outcome::Refused`] lists what is wrong with the problem. Never panics.
///
/// # Examples
/// ```
/// use floorwright_engine::ids::{PointId, SupportId};
/// use floorwright_engine::site::Position;
/// use floorwright_engine::target::{FloorPoint, Height, Outcome, Problem, SupportBounds, solve};
/// use floorwright_engine::units::{Length, Level};
///
/// // One point over each of two supports, 12 mm and 30 mm low.
/// let at = [Position::mm(0.0, 0.0), Position::mm(1800.0, 0.0)];
/// let point = |i: usize, level| FloorPoint {
///     id: PointId::new(format!("P{i}")),
///     at: at[i],
///     level: Level::mm(level),
///     deck: String::new(),
/// };
/// let support = |i: usize| SupportBounds {
///     id: SupportId::new(format!("S{i}")),
///     at: at[i],
///     lower: Length::ZERO,
///     upper: Length::mm(150.0),
///     why: None,
/// };
/// let problem = Problem::new(
///     vec![point(0, -12.0), point(1, -30.0)],
///     vec![support(0), support(1)],
///     vec![vec![(0, 1.0)], vec![(1, 1.0)]],
///     Height::At(Level::DATUM),
/// );
/// let Outcome::Reached(plan) = solve(&problem) else { panic!() };
/// assert!((plan.outcome.lifts[1].lift - Length::mm(30.0)).abs() < Length::mm(1e-6));
/// ```
pub fn solve(problem: &Problem) -> Outcome {
    let faults = problem.faults();
    if !faults.is_empty() {
        return Outcome::Refused(faults);
    }
    let model = Model::new(problem);
    if let Ok(choice) = choose(&model, 0.0) {
        return Outcome::Reached(choice.into_plan(&model));
    }
    match explain::shortfall(&model) {
        Ok(total) if total > SHORTFALL => match explain::explain(problem, &model) {
            Ok(explanation) => Outcome::CannotBeDone(explanation),
            Err(_) => Outcome::Refused(vec![ProblemError::NotSettled]),
        },
        // Only just possible: the solver gets a hair of room that no packer can show.
        Ok(_) => match choose(&model, SHORTFALL) {
            Ok(choice) => Outcome::Reached(choice.into_plan(&model)),
            Err(_) => Outcome::Refused(vec![ProblemError::NotSettled]),
        },
        Err(_) => Outcome::Refused(vec![ProblemError::NotSettled]),
    }
}

/// The floor that lifts set by hand lead to, and which requirements they break.
///
/// Where the height is free the target is the one that suits the resulting floor best, in the
/// sense of least squares.
///
/// # Errors
/// Every fault of the problem, or a number of lifts other than the number of supports as
/// [`ProblemError::BadReference`].
pub fn predict(problem: &Problem, lifts: &[Length]) -> Result<Prediction, Vec<ProblemError>> {
    if lifts.len() != problem.supports.len() {
        return Err(vec![ProblemError::BadReference("the list of lifts".to_owned())]);
    }
    let pairs: Vec<_> = problem
        .supports
        .iter()
        .map(|support| support.id.clone())
        .zip(lifts.iter().copied())
        .collect();
    let set = problem.with_lifts(&pairs)?;
    let faults = set.faults();
    if !faults.is_empty() {
        return Err(faults);
    }
    let model = Model::new(&set);
    let mut program = model.base.clone();
    program.squares = model.departures.clone();
    let found = minimise(&program).map_err(|_| vec![ProblemError::NotSettled])?;
    let mm: Vec<f64> = lifts.iter().map(|lift| lift.to_mm()).collect();
    let mut prediction = plan::assess(problem, &mm, model.plane(&found.values));
    prediction.broken = broken(&model, &found.values);
    Ok(prediction)
}

/// Chosen values and what is known about them.
struct Choice {
    values: Vec<f64>,
    accuracy: f64,
    one_of_many: bool,
    fewest: Option<Fewest>,
}

impl Choice {
    fn into_plan(self, model: &Model<'_>) -> LiftPlan {
        let lifts = model.lifts(&self.values);
        let mut outcome = plan::assess(model.problem, &lifts, model.plane(&self.values));
        outcome.broken = broken(model, &self.values);
        LiftPlan {
            outcome,
            one_of_many: self.one_of_many,
            accuracy: Length::mm(self.accuracy),
            fewest: self.fewest,
        }
    }
}

fn broken(model: &Model<'_>, values: &[f64]) -> Vec<Broken> {
    model
        .needs
        .iter()
        .filter_map(|need| {
            let by = dot(&need.row.terms, values) - need.row.limit;
            (by > 1e-4).then(|| need.broken(by))
        })
        .collect()
}

fn choose(model: &Model<'_>, slack: f64) -> Result<Choice, Failure> {
    match model.problem.prefer {
        Preference::LeastSquares => least_squares(model, slack),
        Preference::SmallestLargest => smallest_largest(model, slack),
        Preference::LeastLift => {
            let found = least_lift(model, model.program(slack))?;
            Ok(Choice::new(found.values, found.accuracy, true))
        }
        Preference::FewestSupports => fewest::fewest(model, slack),
    }
}

impl Choice {
    fn new(values: Vec<f64>, accuracy: f64, one_of_many: bool) -> Self {
        Self { values, accuracy, one_of_many, fewest: None }
    }
}

fn least_squares(model: &Model<'_>, slack: f64) -> Result<Choice, Failure> {
    let mut program = model.program(slack);
    program.squares = model.departures.clone();
    let found = minimise(&program)?;
    let no_lifts = (0..model.problem.supports.len()).all(|s| model.lift_variable(s).is_none());
    if no_lifts || !(model.height_is_free() || convex::has_flat_direction(&program)) {
        return Ok(Choice::new(found.values, found.accuracy, false));
    }
    // The departures are unique, the lifts are not: keep the former, take the least of the latter.
    let mut kept = model.program(slack.max(KEPT_SLACK));
    kept.equal = model
        .departures
        .iter()
        .filter(|(terms, _)| !terms.is_empty())
        .map(|(terms, _)| Row { terms: terms.clone(), limit: dot(terms, &found.values) })
        .collect();
    match least_lift(model, kept) {
        Ok(least) => Ok(Choice::new(least.values, least.accuracy.max(found.accuracy), true)),
        Err(_) => Ok(Choice::new(found.values, found.accuracy, true)),
    }
}

fn smallest_largest(model: &Model<'_>, slack: f64) -> Result<Choice, Failure> {
    let (worst, found) = smallest_worst(model, model.program(slack))?;
    for given_up in WORST_SLACKS {
        let mut program = model.program(slack);
        program.at_most.extend(within(model, worst + given_up));
        if let Ok(least) = least_lift(model, program) {
            return Ok(Choice::new(least.values, least.accuracy, true));
        }
    }
    Ok(Choice::new(found.values, found.accuracy, true))
}

/// The smallest worst departure under the rows of `program`, in millimetres.
fn smallest_worst(model: &Model<'_>, mut program: Program) -> Result<(f64, Optimum), Failure> {
    let worst = program.variable(1.0, (0.0, f64::INFINITY));
    for mut row in within(model, 0.0) {
        row.terms.push((worst, -1.0));
        program.at_most.push(row);
    }
    let found = minimise(&program)?;
    Ok((found.values[worst], found))
}

/// Rows that keep every departure within `limit`, both sides.
fn within<'a>(model: &'a Model<'_>, limit: f64) -> impl Iterator<Item = Row> + 'a {
    model.departures.iter().flat_map(move |(terms, constant)| {
        [1.0, -1.0].map(|sign| Row {
            terms: terms.iter().map(|&(variable, c)| (variable, sign * c)).collect(),
            limit: limit - sign * constant,
        })
    })
}

/// The least total raising and lowering under the rows of `program`.
fn least_lift(model: &Model<'_>, mut program: Program) -> Result<Optimum, Failure> {
    model.add_lift_cost(&mut program, |_| 1.0);
    minimise(&program)
}
