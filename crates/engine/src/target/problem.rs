//! What the target stage is asked: points, supports, how lifts move points, and requirements.

use crate::ids::{PointId, SupportId};
use crate::settings::Preference;
use crate::site::Position;
use crate::units::{Force, LENGTH_EPS, Length, Level};
use serde::Serialize;

/// Points whose line across differs by less than this stand on one line: half a board's width.
const LINE_WIDTH: Length = Length::mm(50.0);

/// Terms of an extra row below this share of the row's scale are nothing: a support far away.
pub(super) const FAR_AWAY: f64 = 1e-10;

/// A change of a reaction by less than this, in newtons per millimetre, is rounding: a frame on
/// four supports twists freely, and no lift changes what they carry.
pub(super) const NO_STIFFNESS: f64 = 1e-7;

/// Lengths, levels and lifts beyond this are typing errors, not houses: a kilometre.
const LARGEST: f64 = 1e6;

/// A surveyed point of the floor.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct FloorPoint {
    /// Its name.
    pub id: PointId,
    /// Where it is on the plan.
    pub at: Position,
    /// How high it is now.
    pub level: Level,
    /// The continuous floor it belongs to; a step lies between different decks, so points of
    /// different decks are never neighbours.
    pub deck: String,
}

/// How far the bearer may be raised at a support.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SupportBounds {
    /// Its name.
    pub id: SupportId,
    /// Where it stands on the plan.
    pub at: Position,
    /// Least lift: zero for most, negative where it may be let down.
    pub lower: Length,
    /// Most lift; equal to `lower` where the support is held.
    pub upper: Length,
    /// Why the bounds are what they are ("chimney", "lowest packing"), for explanations.
    pub why: Option<String>,
}

impl SupportBounds {
    /// Whether there is nothing to choose.
    pub fn is_held(&self) -> bool {
        self.upper - self.lower < LENGTH_EPS
    }
}

/// The height that the floor is to be brought to.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Height {
    /// This level.
    At(Level),
    /// Whatever does best by the preference.
    Free,
}

/// Three neighbouring points on one line, under a straightedge from the first to the last.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Straightedge {
    /// Indices of the points, in order along the line.
    pub points: [usize; 3],
}

/// What an extra row is about, and with it the unit of its coefficients and limits.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum ExtraKind {
    /// A support carries enough. The row is in newtons: the change of the support's reaction from
    /// what it is today.
    Carries {
        /// Index of the support.
        support: usize,
        /// The least that it is to carry.
        least: Force,
    },
    /// Anything else, in a unit of its own.
    Other,
}

/// A linear requirement on the lifts that the floor's shape does not show, such as that a
/// support carries. Coefficients and limits are in the row's own unit; see [`ExtraKind`].
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ExtraRow {
    /// What it asks, in words: "support B3 carries".
    pub name: String,
    /// What it is about.
    pub kind: ExtraKind,
    /// Support index and change of the row's value per millimetre of lift there.
    pub per_mm: Vec<(usize, f64)>,
    /// Smallest allowed sum, if any.
    pub at_least: Option<f64>,
    /// Largest allowed sum, if any.
    pub at_most: Option<f64>,
}

impl ExtraRow {
    /// The row by which a support carries at least `least`: `today` is its reaction with the floor
    /// as it is, `per_mm` the change in newtons per millimetre of lift at each support while all
    /// of them carry. Supports so far away that the reaction does not feel them are left out.
    ///
    /// # Units and sign
    /// Reactions up positive; one that has come out negative is a support that would have to pull.
    pub fn carries(
        support: usize,
        id: &SupportId,
        mut per_mm: Vec<(usize, f64)>,
        today: Force,
        least: Force,
    ) -> Self {
        let own = per_mm.iter().find(|term| term.0 == support).map_or(0.0, |term| term.1.abs());
        per_mm.retain(|term| term.1.abs() > NO_STIFFNESS.max(FAR_AWAY * own));
        per_mm.shrink_to_fit();
        Self {
            name: format!("support {id} carries"),
            kind: ExtraKind::Carries { support, least },
            per_mm,
            at_least: Some((least - today).to_n()),
            at_most: None,
        }
    }
}

/// A lifting problem. [`super::solve`] checks it before use.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Problem {
    /// The surveyed floor.
    pub points: Vec<FloorPoint>,
    /// The supports.
    pub supports: Vec<SupportBounds>,
    /// For each point: support index and how far the point rises per unit of lift there (a ratio).
    pub influence: Vec<Vec<(usize, f64)>>,
    /// Target height. Where the target leans, the height at the pivot.
    pub height: Height,
    /// Where a leaning target keeps its height; the middle of the points if not given.
    pub pivot: Option<Position>,
    /// The target may rise along x and along y by at most this (a ratio), if it may lean at all.
    pub tilt: Option<f64>,
    /// Every point within this of the target, if required.
    pub level_tolerance: Option<Length>,
    /// Steepest slope between neighbouring points (a ratio), if required.
    pub slope_tolerance: Option<f64>,
    /// Largest gap under a straightedge, if required.
    pub straightedge_tolerance: Option<Length>,
    /// Pairs of points that the slope is judged between; see [`neighbours`].
    pub neighbours: Vec<(usize, usize)>,
    /// Triples of points for the straightedge; see [`straightedges`].
    pub straightedges: Vec<Straightedge>,
    /// What to prefer among the lifts that meet every requirement.
    pub prefer: Preference,
    /// Requirements beyond the floor's shape.
    pub extra: Vec<ExtraRow>,
}

/// Why a problem cannot be taken on.
#[derive(Clone, Debug, PartialEq, Serialize, thiserror::Error)]
pub enum ProblemError {
    /// A number that is infinite, NaN or absurdly large.
    #[error("{0} has a number that is missing or beyond a kilometre")]
    OutOfRange(String),
    /// Bounds the wrong way round.
    #[error("support {support} may be raised at least {lower} and at most {upper}")]
    BoundsCrossed {
        /// The support.
        support: SupportId,
        /// Its least lift.
        lower: Length,
        /// Its most lift.
        upper: Length,
    },
    /// A tolerance below zero.
    #[error("the {0} tolerance is below zero")]
    NegativeTolerance(&'static str),
    /// As many influence rows as points are needed.
    #[error("there are {rows} influence rows for {points} points")]
    InfluenceRows {
        /// Rows given.
        rows: usize,
        /// Points given.
        points: usize,
    },
    /// A reference to a point or support that is not there, or the same one twice in a row.
    #[error("{0} refers to a point or support that is not there, or to one twice")]
    BadReference(String),
    /// A lift set by hand at a support that is not there.
    #[error("there is no support {0}")]
    UnknownSupport(SupportId),
    /// Points lie too far apart, or rows are too uneven, for the arithmetic.
    #[error("the arithmetic did not settle on an answer")]
    NotSettled,
}

impl Problem {
    /// A problem without requirements: least squares to a height.
    pub fn new(
        points: Vec<FloorPoint>,
        supports: Vec<SupportBounds>,
        influence: Vec<Vec<(usize, f64)>>,
        height: Height,
    ) -> Self {
        Self {
            neighbours: neighbours(&points),
            straightedges: straightedges(&points),
            points,
            supports,
            influence,
            height,
            pivot: None,
            tilt: None,
            level_tolerance: None,
            slope_tolerance: None,
            straightedge_tolerance: None,
            prefer: Preference::LeastSquares,
            extra: Vec::new(),
        }
    }

    /// Holds some supports at lifts set by hand, so that solving again chooses only the others.
    ///
    /// # Errors
    /// [`ProblemError::UnknownSupport`] and [`ProblemError::OutOfRange`], every one found.
    pub fn with_lifts(&self, lifts: &[(SupportId, Length)]) -> Result<Self, Vec<ProblemError>> {
        let mut changed = self.clone();
        let mut faults = Vec::new();
        for (id, lift) in lifts {
            match changed.supports.iter_mut().find(|support| support.id == *id) {
                None => faults.push(ProblemError::UnknownSupport(id.clone())),
                Some(_) if !in_range(lift.to_mm()) => {
                    faults.push(ProblemError::OutOfRange(format!("the lift at support {id}")));
                }
                Some(support) => {
                    support.lower = *lift;
                    support.upper = *lift;
                    support.why = Some("set by hand".to_owned());
                }
            }
        }
        if faults.is_empty() { Ok(changed) } else { Err(faults) }
    }

    /// Every fault of the problem.
    pub fn faults(&self) -> Vec<ProblemError> {
        let mut faults = Vec::new();
        let mut check = |ok: bool, fault: ProblemError| {
            if !ok {
                faults.push(fault);
            }
        };
        for point in &self.points {
            let numbers = [point.at.x.to_mm(), point.at.y.to_mm(), point.level.to_mm()];
            check(
                numbers.into_iter().all(in_range),
                ProblemError::OutOfRange(format!("point {}", point.id)),
            );
        }
        for support in &self.supports {
            let SupportBounds { id, at, lower, upper, .. } = support;
            let numbers = [at.x, at.y, *lower, *upper].map(Length::to_mm);
            let usable = numbers.into_iter().all(in_range);
            check(usable, ProblemError::OutOfRange(format!("support {id}")));
            check(
                !usable || lower <= upper,
                ProblemError::BoundsCrossed { support: id.clone(), lower: *lower, upper: *upper },
            );
        }
        check(
            self.influence.len() == self.points.len(),
            ProblemError::InfluenceRows { rows: self.influence.len(), points: self.points.len() },
        );
        for (row_idx, row) in self.influence.iter().enumerate() {
            let name = format!("influence row {}", row_idx + 1);
            check(
                row.iter().all(|term| term.1.abs() <= 1e3),
                ProblemError::OutOfRange(name.clone()),
            );
            check(refers(row, self.supports.len()), ProblemError::BadReference(name));
        }
        self.check_requirements(&mut check);
        faults
    }

    fn check_requirements(&self, check: &mut impl FnMut(bool, ProblemError)) {
        if let Height::At(level) = self.height {
            check(
                in_range(level.to_mm()),
                ProblemError::OutOfRange("the target height".to_owned()),
            );
        }
        let tolerances = [
            ("level", self.level_tolerance.map(Length::to_mm)),
            ("slope", self.slope_tolerance),
            ("straightedge", self.straightedge_tolerance.map(Length::to_mm)),
            ("tilt", self.tilt),
        ];
        for (name, tolerance) in tolerances {
            let Some(tolerance) = tolerance else { continue };
            check(in_range(tolerance), ProblemError::OutOfRange(format!("the {name} tolerance")));
            check(tolerance.is_nan() || tolerance >= 0.0, ProblemError::NegativeTolerance(name));
        }
        let n_points = self.points.len();
        for &(from, to) in &self.neighbours {
            check(
                from < n_points && to < n_points && from != to,
                ProblemError::BadReference("a pair of neighbours".to_owned()),
            );
        }
        for Straightedge { points: [a, b, c] } in &self.straightedges {
            check(
                [a, b, c].into_iter().all(|point| *point < n_points) && a != b && b != c && a != c,
                ProblemError::BadReference("a straightedge".to_owned()),
            );
        }
        for row in &self.extra {
            let limits = [row.at_least, row.at_most];
            let mut numbers =
                row.per_mm.iter().map(|term| term.1).chain(limits.into_iter().flatten());
            check(
                numbers.all(|number| number.abs() <= 1e12),
                ProblemError::OutOfRange(row.name.clone()),
            );
            let about = match row.kind {
                ExtraKind::Carries { support, least } => {
                    support < self.supports.len() && least.is_finite()
                }
                ExtraKind::Other => true,
            };
            check(
                about && refers(&row.per_mm, self.supports.len()),
                ProblemError::BadReference(row.name.clone()),
            );
        }
    }
}

fn in_range(number: f64) -> bool {
    number.abs() <= LARGEST
}

fn refers(terms: &[(usize, f64)], n_supports: usize) -> bool {
    if terms.windows(2).all(|pair| pair[0].0 < pair[1].0) {
        return terms.last().is_none_or(|last| last.0 < n_supports);
    }
    let mut seen = vec![false; n_supports];
    terms.iter().all(|&(support, _)| {
        seen.get_mut(support).is_some_and(|seen| !std::mem::replace(seen, true))
    })
}

/// Neighbouring points: consecutive on one line along x or along y, at most 2 m apart, on one deck.
///
/// A line is 50 mm wide, because nobody sets a staff down to the millimetre. Points less than
/// a millimetre apart are repeats and are not judged against one another.
pub fn neighbours(points: &[FloorPoint]) -> Vec<(usize, usize)> {
    let mut pairs = Vec::new();
    for line in lines(points) {
        for pair in line.windows(2) {
            let distance = points[pair[0]].at.distance(points[pair[1]].at);
            if distance > Length::mm(1.0) && distance <= Length::m(2.0) + LENGTH_EPS {
                pairs.push((pair[0], pair[1]));
            }
        }
    }
    pairs
}

/// Places for a straightedge: three consecutive points of one line that span at most 2 m.
pub fn straightedges(points: &[FloorPoint]) -> Vec<Straightedge> {
    let mut triples = Vec::new();
    for line in lines(points) {
        for triple in line.windows(3) {
            let place = |i: usize| points[triple[i]].at;
            let apart = place(0).distance(place(1)).min(place(1).distance(place(2)));
            if apart > Length::mm(1.0) && place(0).distance(place(2)) <= Length::m(2.0) + LENGTH_EPS
            {
                triples.push(Straightedge { points: [triple[0], triple[1], triple[2]] });
            }
        }
    }
    triples
}

/// The lines along x, then those along y, each in order along the line.
fn lines(points: &[FloorPoint]) -> Vec<Vec<usize>> {
    let along_x = |point: &FloorPoint| (point.at.y, point.at.x);
    let along_y = |point: &FloorPoint| (point.at.x, point.at.y);
    let mut lines = lines_by(points, along_x);
    lines.extend(lines_by(points, along_y));
    lines
}

fn lines_by(
    points: &[FloorPoint],
    across_and_along: impl Fn(&FloorPoint) -> (Length, Length),
) -> Vec<Vec<usize>> {
    let key = |point: usize| across_and_along(&points[point]);
    let mut order: Vec<usize> = (0..points.len()).collect();
    order.sort_by(|&a, &b| {
        points[a].deck.cmp(&points[b].deck).then(key(a).0.total_cmp(&key(b).0)).then(a.cmp(&b))
    });
    let mut lines: Vec<Vec<usize>> = Vec::new();
    for point in order {
        match lines.last_mut() {
            Some(line)
                if points[line[0]].deck == points[point].deck
                    && key(point).0 - key(line[0]).0 < LINE_WIDTH =>
            {
                line.push(point);
            }
            _ => lines.push(vec![point]),
        }
    }
    for line in &mut lines {
        line.sort_by(|&a, &b| key(a).1.total_cmp(&key(b).1).then(a.cmp(&b)));
    }
    lines
}
