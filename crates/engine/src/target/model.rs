//! The lifting problem as variables, departures and rows.

use super::convex::{Program, Row, Terms};
use super::plan::{Broken, Carried, Requirement, Side, TargetPlane};
use super::problem::{ExtraKind, ExtraRow, FAR_AWAY, Height, NO_STIFFNESS, Problem};
use crate::ids::PointId;
use crate::site::Position;
use crate::units::{Force, Length, Level};

/// One requirement as a row, in millimetres, that is at most its limit.
#[derive(Clone, Debug)]
pub(super) struct Need {
    pub requirement: Requirement,
    pub row: Row,
    /// For a support that is to carry: how much at least, and newtons per millimetre of the row.
    carries: Option<(Force, f64)>,
}

impl Need {
    fn shape(requirement: Requirement, row: Row) -> Self {
        Self { requirement, row, carries: None }
    }

    /// That it is missed by so many millimetres.
    pub fn broken(&self, by: f64) -> Broken {
        let carried = self
            .carries
            .map(|(least, n_per_mm)| Carried { least, would: least - Force::n(by * n_per_mm) });
        Broken { requirement: self.requirement.clone(), by: Length::mm(by), carried }
    }

    /// Whether it is one of the extra rows rather than of the floor's shape.
    pub fn is_extra(&self) -> bool {
        matches!(self.requirement, Requirement::Extra { .. } | Requirement::Carries { .. })
    }
}

/// A problem with a variable for every lift that is open, then height and tilt where free.
pub(super) struct Model<'a> {
    pub problem: &'a Problem,
    /// Variables with their bounds; no rows and no cost.
    pub base: Program,
    /// Departure of each point from the target: terms plus constant.
    pub departures: Vec<(Terms, f64)>,
    pub needs: Vec<Need>,
    lift_variables: Vec<Option<usize>>,
    held_lifts: Vec<f64>,
    height: Option<usize>,
    tilt: Option<(usize, usize)>,
    centre: Position,
    reference: f64,
}

/// The bounds that the problem itself gives.
pub(super) fn given_bounds(problem: &Problem) -> Vec<(f64, f64)> {
    problem
        .supports
        .iter()
        .map(|support| {
            let lower = support.lower.to_mm();
            (lower, if support.is_held() { lower } else { support.upper.to_mm() })
        })
        .collect()
}

impl<'a> Model<'a> {
    /// A model with other bounds on the lifts than the problem's own.
    pub fn with_bounds(problem: &'a Problem, bounds: &[(f64, f64)]) -> Self {
        let mut base = Program::default();
        let mut lift_variables = Vec::new();
        let mut held_lifts = Vec::new();
        for &(lower, upper) in bounds {
            let open = upper > lower;
            lift_variables.push(open.then(|| base.variable(0.0, (lower, upper))));
            held_lifts.push(if open { 0.0 } else { lower });
        }
        let has_points = !problem.points.is_empty();
        let free = matches!(problem.height, Height::Free) && has_points;
        let height = free.then(|| base.variable(0.0, (f64::NEG_INFINITY, f64::INFINITY)));
        // Tilt is held in millimetres per metre, so that it is of the size of a lift.
        let lean = problem.tilt.filter(|&lean| lean > 0.0 && has_points).map(|lean| lean * 1e3);
        let tilt =
            lean.map(|lean| (base.variable(0.0, (-lean, lean)), base.variable(0.0, (-lean, lean))));
        let (middle, mean_level) = middle(problem);
        let centre = problem.pivot.unwrap_or(middle);
        let reference = match problem.height {
            Height::At(level) => level.to_mm(),
            Height::Free => mean_level,
        };
        let mut model = Self {
            problem,
            base,
            departures: Vec::new(),
            needs: Vec::new(),
            lift_variables,
            held_lifts,
            height,
            tilt,
            centre,
            reference,
        };
        model.departures = (0..problem.points.len()).map(|point| model.departure(point)).collect();
        model.needs = model.requirements();
        model
    }

    pub fn new(problem: &'a Problem) -> Self {
        Self::with_bounds(problem, &given_bounds(problem))
    }

    /// The lift at every support, held ones included.
    pub fn lifts(&self, values: &[f64]) -> Vec<f64> {
        self.lift_variables
            .iter()
            .zip(&self.held_lifts)
            .map(|(variable, &held)| variable.map_or(held, |variable| values[variable]))
            .collect()
    }

    /// The target that goes with the values.
    pub fn plane(&self, values: &[f64]) -> TargetPlane {
        let shift = self.height.map_or(0.0, |height| values[height]);
        let (rise_x, rise_y) =
            self.tilt.map_or((0.0, 0.0), |(x, y)| (values[x] * 1e-3, values[y] * 1e-3));
        TargetPlane {
            height: Level::mm(self.reference + shift),
            centre: self.centre,
            rise_x,
            rise_y,
        }
    }

    /// The variable of a support's lift, if it is open.
    pub fn lift_variable(&self, support: usize) -> Option<usize> {
        self.lift_variables[support]
    }

    /// Whether lifts and target can move together.
    pub fn height_is_free(&self) -> bool {
        self.height.is_some() || self.tilt.is_some()
    }

    /// The base program with every requirement as a hard row, its limit widened by `slack`.
    pub fn program(&self, slack: f64) -> Program {
        let mut program = self.base.clone();
        program.at_most.extend(self.needs.iter().map(|need| Row {
            terms: need.row.terms.clone(),
            limit: need.row.limit + slack * largest(&need.row.terms),
        }));
        program
    }

    /// Adds a cost per millimetre of lift or of lowering at each support.
    pub fn add_lift_cost(&self, program: &mut Program, weight: impl Fn(usize) -> f64) {
        for (support, variable) in self.lift_variables.iter().enumerate() {
            let Some(variable) = *variable else { continue };
            let (lower, upper) = self.base.bounds[variable];
            if lower >= 0.0 {
                program.cost[variable] += weight(support);
            } else if upper <= 0.0 {
                program.cost[variable] -= weight(support);
            } else {
                let size = program.variable(weight(support), (0.0, f64::INFINITY));
                for sign in [1.0, -1.0] {
                    let terms = vec![(variable, sign), (size, -1.0)];
                    program.at_most.push(Row { terms, limit: 0.0 });
                }
            }
        }
    }

    fn departure(&self, point: usize) -> (Terms, f64) {
        let place = &self.problem.points[point];
        let mut constant = place.level.to_mm() - self.reference;
        let mut terms = Vec::new();
        for &(support, influence) in &self.problem.influence[point] {
            match self.lift_variables[support] {
                Some(variable) if influence != 0.0 => terms.push((variable, influence)),
                Some(_) => {}
                None => constant += influence * self.held_lifts[support],
            }
        }
        terms.extend(self.height.map(|height| (height, -1.0)));
        if let Some((tilt_x, tilt_y)) = self.tilt {
            terms.push((tilt_x, -(place.at.x - self.centre.x).to_m()));
            terms.push((tilt_y, -(place.at.y - self.centre.y).to_m()));
        }
        (terms, constant)
    }

    fn requirements(&self) -> Vec<Need> {
        let mut needs = self.level_needs();
        needs.extend(self.slope_needs());
        needs.extend(self.straightedge_needs());
        needs.extend(self.extra_needs());
        needs
    }

    fn id(&self, point: usize) -> PointId {
        self.problem.points[point].id.clone()
    }

    fn level_needs(&self) -> Vec<Need> {
        let Some(tolerance) = self.problem.level_tolerance.map(Length::to_mm) else {
            return vec![];
        };
        let sides = [(Side::TooLow, -1.0), (Side::TooHigh, 1.0)];
        (0..self.departures.len())
            .flat_map(|point| sides.map(|(side, sign)| (point, side, sign)))
            .map(|(point, side, sign)| {
                Need::shape(
                    Requirement::Level { point: self.id(point), side },
                    at_most(&[(sign, &self.departures[point])], tolerance),
                )
            })
            .collect()
    }

    fn slope_needs(&self) -> Vec<Need> {
        let Some(tolerance) = self.problem.slope_tolerance else { return vec![] };
        let both_ways = |&(from, to): &(usize, usize)| [(from, to), (to, from)];
        self.problem
            .neighbours
            .iter()
            .flat_map(both_ways)
            .map(|(high, low)| {
                let (a, b) = (&self.problem.points[high], &self.problem.points[low]);
                let limit = tolerance * a.at.distance(b.at).to_mm();
                let parts = [(1.0, &self.departures[high]), (-1.0, &self.departures[low])];
                let requirement = Requirement::Slope { high: self.id(high), low: self.id(low) };
                Need::shape(requirement, at_most(&parts, limit))
            })
            .collect()
    }

    fn straightedge_needs(&self) -> Vec<Need> {
        let Some(tolerance) = self.problem.straightedge_tolerance.map(Length::to_mm) else {
            return vec![];
        };
        let mut needs = Vec::new();
        for edge in &self.problem.straightedges {
            let [first, middle, last] = edge.points;
            let place = |point: usize| self.problem.points[point].at;
            let span = place(first).distance(place(last)).to_mm();
            let share = place(middle).distance(place(last)).to_mm() / span.max(1e-9);
            for (side, sign) in [(Side::TooLow, -1.0), (Side::TooHigh, 1.0)] {
                let parts = [
                    (sign, &self.departures[middle]),
                    (-sign * share, &self.departures[first]),
                    (-sign * (1.0 - share), &self.departures[last]),
                ];
                let points = [first, middle, last].map(|point| self.id(point));
                let requirement = Requirement::Straightedge { points, side };
                needs.push(Need::shape(requirement, at_most(&parts, tolerance)));
            }
        }
        needs
    }

    fn extra_needs(&self) -> Vec<Need> {
        let mut needs = Vec::new();
        for extra in &self.problem.extra {
            let (scale, carries) = scale(extra);
            let rounding = if carries.is_some() { NO_STIFFNESS } else { 0.0 };
            let least = rounding.max(FAR_AWAY * scale);
            let mut terms = Vec::new();
            let mut constant = 0.0;
            for &(support, per_mm) in &extra.per_mm {
                match self.lift_variables[support] {
                    Some(_) if per_mm.abs() <= least => {}
                    Some(variable) => terms.push((variable, per_mm)),
                    None => constant += per_mm * self.held_lifts[support],
                }
            }
            let part = (terms, constant);
            let row = |limit: f64, sign: f64| at_most(&[(sign, &part)], sign * limit);
            if let Some(limit) = extra.at_least {
                needs.push(Need {
                    requirement: self.extra_requirement(extra),
                    row: row(limit, -1.0 / scale),
                    carries,
                });
            }
            if let Some(limit) = extra.at_most {
                let requirement = Requirement::Extra { name: extra.name.clone() };
                needs.push(Need::shape(requirement, row(limit, 1.0 / scale)));
            }
        }
        needs
    }

    fn extra_requirement(&self, extra: &ExtraRow) -> Requirement {
        match extra.kind {
            ExtraKind::Carries { support, .. } => {
                Requirement::Carries { support: self.problem.supports[support].id.clone() }
            }
            ExtraKind::Other => Requirement::Extra { name: extra.name.clone() },
        }
    }
}

/// The row's own unit per millimetre, by which it is brought to millimetres: for a reaction the
/// stiffness that its own support feels, otherwise the largest coefficient. For a support that is
/// to carry, what its forces are made of.
fn scale(extra: &ExtraRow) -> (f64, Option<(Force, f64)>) {
    let largest = extra.per_mm.iter().map(|term| term.1.abs()).fold(0.0, f64::max);
    let largest = if largest > 0.0 { largest } else { 1.0 };
    match extra.kind {
        ExtraKind::Carries { support, least } => {
            let own = extra.per_mm.iter().find(|term| term.0 == support).map(|term| term.1);
            let own = own.filter(|own| *own > NO_STIFFNESS).unwrap_or(largest.max(1.0));
            (own, Some((least, own)))
        }
        ExtraKind::Other => (largest, None),
    }
}

fn largest(terms: &Terms) -> f64 {
    terms.iter().map(|term| term.1.abs()).fold(0.0, f64::max).max(1.0)
}

/// The row that keeps a combination of affine parts at most `limit`.
fn at_most(parts: &[(f64, &(Terms, f64))], limit: f64) -> Row {
    let mut terms: Terms = parts
        .iter()
        .flat_map(|(factor, (terms, _))| terms.iter().map(move |&(v, c)| (v, factor * c)))
        .collect();
    terms.sort_by_key(|term| term.0);
    terms.dedup_by(|next, kept| {
        let same = next.0 == kept.0;
        if same {
            kept.1 += next.1;
        }
        same
    });
    // The height drops out of a difference: what rounding leaves of it is not a term.
    terms.retain(|term| term.1.abs() > 1e-12);
    let constant: f64 = parts.iter().map(|(factor, (_, constant))| factor * constant).sum();
    Row { terms, limit: limit - constant }
}

fn middle(problem: &Problem) -> (Position, f64) {
    let n_points = problem.points.len().max(1) as f64;
    let x: Length = problem.points.iter().map(|point| point.at.x).sum();
    let y: Length = problem.points.iter().map(|point| point.at.y).sum();
    let level: f64 = problem.points.iter().map(|point| point.level.to_mm()).sum();
    (Position { x: x / n_points, y: y / n_points }, level / n_points)
}
