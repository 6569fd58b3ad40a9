//! The decision: value, uncertainty and limit, part by part and over the whole house.

use super::criterion::{Criterion, Measure};
use super::f_numbers::FNumber;
use super::measure::{Spot, Tally, compare_spots, needs_places};
use super::pairs::compare_pairs;
use super::parts::{LeftOut, Part, PartName, parts_of};
use crate::ids::PointId;
use crate::site::{Position, Site};
use crate::survey::Levels;
use crate::units::{LENGTH_EPS, Length, round_to};
use serde::Serialize;
use std::fmt;

/// How many standard deviations an uncertainty stands for (a ratio): about 95 %.
pub const COVERAGE: f64 = 2.0;

/// Where a value with its uncertainty lies against a limit.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Guard {
    /// Value plus uncertainty does not exceed the limit.
    Within,
    /// The uncertainty straddles the limit.
    Undecided,
    /// Value less uncertainty exceeds the limit.
    Beyond,
}

/// Places a value against a limit; exactly on the limit is within.
///
/// # Units and sign
/// `uncertainty` is the expanded one, k = 2.
///
/// # References
/// ILAC-G8:09/2019 4.2.3 with a guard band of the uncertainty (second-hand).
pub fn guard(value: Length, uncertainty: Length, limit: Length) -> Guard {
    if value + uncertainty <= limit + LENGTH_EPS {
        Guard::Within
    } else if value - uncertainty > limit + LENGTH_EPS {
        Guard::Beyond
    } else {
        Guard::Undecided
    }
}

/// The comparison that decides.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Finding {
    /// Two points, or one point (named first) against the line of two others.
    Height {
        /// The points.
        points: Vec<PointId>,
        /// The difference, without its sign.
        value: Length,
        /// Its expanded uncertainty, k = 2.
        uncertainty: Length,
        /// The limit on it.
        limit: Length,
        /// How far apart the outer points are, where that matters.
        over: Option<Length>,
    },
    /// A flatness or levelness number.
    FNumber {
        /// Levelness; otherwise flatness.
        level: bool,
        /// Over how many lines.
        n_lines: usize,
        /// First and last point of the first line.
        ends: Vec<PointId>,
        /// The number; higher is better.
        value: FNumber,
        /// What it is at least, k = 2.
        low: FNumber,
        /// What it is at most, k = 2.
        high: FNumber,
        /// The least that is asked for (a ratio).
        limit: f64,
    },
}

impl Finding {
    /// How much of the limit is used up (a ratio); above 1 exceeds it.
    pub fn use_of_limit(&self) -> f64 {
        match self {
            Self::Height { value, limit, .. } => *value / *limit,
            Self::FNumber { value, limit, .. } => limit * value.reciprocal(),
        }
    }
}

/// The answer to a criterion.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Outcome {
    /// Surely within.
    Meets,
    /// Surely beyond.
    DoesNot,
    /// These readings do not say.
    CannotTell {
        /// Why.
        why: String,
    },
    /// The criterion cannot be applied to this floor.
    Refused {
        /// Why.
        why: String,
    },
}

/// The answer for one part of the floor.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PartVerdict {
    /// Which part.
    pub name: PartName,
    /// The answer.
    pub outcome: Outcome,
    /// The comparison that decides.
    pub finding: Option<Finding>,
    /// How many comparisons were made.
    pub n_compared: usize,
}

/// The answer to a criterion for the whole house, with everything it rests on.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Verdict {
    /// The criterion, with its source.
    pub criterion: Criterion,
    /// The answer: does not if any part does not, meets if every part meets.
    pub outcome: Outcome,
    /// Which of the parts decides, if one does.
    pub governing: Option<usize>,
    /// The parts of the floor.
    pub parts: Vec<PartVerdict>,
    /// Floor points that took no part.
    pub left_out: Vec<LeftOut>,
    /// How many standard deviations the uncertainties stand for (a ratio).
    pub coverage: f64,
}

impl Verdict {
    /// The comparison that decides.
    pub fn finding(&self) -> Option<&Finding> {
        self.governing.and_then(|part| self.parts[part].finding.as_ref())
    }
}

/// Holds the floor against a criterion.
///
/// The uncertainty is that of the difference concerned, with the covariance of its levels. Each
/// comparison keeps its own guard band. Plan positions are taken as exact.
///
/// A criterion that is off, that no floor level can tell, or whose points are not there is
/// [`Outcome::Refused`] with the reason; never approximated.
pub fn judge(criterion: &Criterion, site: &Site, levels: &Levels) -> Verdict {
    let verdict = |outcome, governing, parts, left_out| Verdict {
        criterion: criterion.clone(),
        outcome,
        governing,
        parts,
        left_out,
        coverage: COVERAGE,
    };
    let refused = |why: String| verdict(Outcome::Refused { why }, None, vec![], vec![]);
    if !criterion.is_on() {
        let why = if criterion.text().status.is_unverified() {
            "it is off: unverified until somebody gives a source"
        } else {
            "it is off"
        };
        return refused(why.to_owned());
    }
    if let Measure::NotFromLevels { needs, .. } = criterion.measure() {
        return refused(format!("cannot be judged from floor levels: it needs {needs}"));
    }
    let mut sorted = parts_of(criterion.scope(), site, levels);
    if sorted.parts.is_empty() {
        return refused("it is judged room by room and the plan has no rooms".to_owned());
    }
    let parts: Vec<PartVerdict> = sorted
        .parts
        .iter()
        .map(|part| judge_part(criterion, part, site, levels, &mut sorted.left_out))
        .collect();
    let (outcome, governing) = whole_outcome(criterion, &parts);
    verdict(outcome, governing, parts, sorted.left_out)
}

fn judge_part(
    criterion: &Criterion,
    part: &Part,
    site: &Site,
    levels: &Levels,
    left_out: &mut Vec<LeftOut>,
) -> PartVerdict {
    let mut tally = Tally::new(levels);
    let measure = criterion.measure();
    let compared = if needs_places(measure) {
        let mut spots = Vec::with_capacity(part.points.len());
        for &level_idx in &part.points {
            let point = &levels.points()[level_idx].point;
            match site.point(point).and_then(|point| point.at) {
                Some(at) => spots.push(Spot { level_idx, at }),
                None => left_out.push(LeftOut {
                    point: point.clone(),
                    why: "it has no place on the plan".to_owned(),
                }),
            }
        }
        compare_spots(&mut tally, measure, &spots)
    } else if part.points.len() >= 2 {
        // A spread asks for no places; all in one will do.
        let spot = |&level_idx: &usize| Spot { level_idx, at: Position::mm(0.0, 0.0) };
        let spots: Vec<Spot> = part.points.iter().map(spot).collect();
        compare_pairs(&mut tally, measure, &spots);
        Ok(())
    } else {
        Err("fewer than two floor points were read".to_owned())
    };
    let n_compared = tally.n_compared;
    let (outcome, finding) = match (compared, tally) {
        (Err(why), _) => (Outcome::Refused { why }, None),
        (Ok(()), Tally { beyond: Some(finding), .. }) => (Outcome::DoesNot, Some(finding)),
        (Ok(()), Tally { undecided: Some(finding), .. }) => {
            let why = format!("{finding} lies too close to call");
            (Outcome::CannotTell { why }, Some(finding))
        }
        (Ok(()), Tally { within, .. }) => (Outcome::Meets, within),
    };
    PartVerdict { name: part.name.clone(), outcome, finding, n_compared }
}

/// Joins the answers of the parts, and says which part decides.
fn whole_outcome(criterion: &Criterion, parts: &[PartVerdict]) -> (Outcome, Option<usize>) {
    let worst_of = |wanted: fn(&Outcome) -> bool| {
        let use_of = |part: usize| parts[part].finding.as_ref().map_or(0.0, Finding::use_of_limit);
        (0..parts.len())
            .filter(|&part| wanted(&parts[part].outcome))
            .reduce(|worst, part| if use_of(part) > use_of(worst) { part } else { worst })
    };
    if let Some(part) = worst_of(|outcome| matches!(outcome, Outcome::DoesNot)) {
        return (Outcome::DoesNot, Some(part));
    }
    if let Some(part) = worst_of(|outcome| matches!(outcome, Outcome::CannotTell { .. })) {
        return (parts[part].outcome.clone(), Some(part));
    }
    let refused = parts.iter().find_map(|part| match &part.outcome {
        Outcome::Refused { why } => Some((&part.name, why)),
        _ => None,
    });
    let meets = worst_of(|outcome| matches!(outcome, Outcome::Meets));
    match (refused, meets, criterion.not_measured()) {
        (Some((_, why)), None, _) => (Outcome::Refused { why: why.clone() }, None),
        (Some((name, why)), meets, _) => {
            (Outcome::CannotTell { why: format!("{name} could not be judged: {why}") }, meets)
        }
        (None, meets, Some(not_measured)) => {
            let why = format!("the rule also asks about {not_measured}, which levels do not show");
            (Outcome::CannotTell { why }, meets)
        }
        (None, meets, None) => (Outcome::Meets, meets),
    }
}

impl fmt::Display for Outcome {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Meets => f.write_str("meets"),
            Self::DoesNot => f.write_str("does not meet"),
            Self::CannotTell { why } => write!(f, "cannot tell: {why}"),
            Self::Refused { why } => write!(f, "not judged: {why}"),
        }
    }
}

/// An uncertainty with two figures at most (NIST TN 1297).
struct TwoFigures(Length);

impl fmt::Display for TwoFigures {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.0 < Length::mm(9.95) {
            write!(f, "{}", self.0)
        } else {
            write!(f, "{:.0} mm", round_to(self.0.to_mm(), 1.0))
        }
    }
}

impl fmt::Display for Finding {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Height { points, value, uncertainty, limit, over } => {
                let value = format!("{value} ± {}", TwoFigures(*uncertainty));
                match points.as_slice() {
                    [middle, first, last] => {
                        write!(f, "{middle} is {value} off the line from {first} to {last}")?;
                    }
                    [first, second] => write!(f, "{first} and {second} differ by {value}")?,
                    _ => f.write_str(&value)?,
                }
                if let Some(over) = over {
                    write!(f, " in {:.2} m", round_to(over.to_m(), 0.01))?;
                }
                write!(f, ", limit {limit}")
            }
            Self::FNumber { level, n_lines, ends, value, low, high, limit } => {
                let name = if *level { "FL" } else { "FF" };
                let lines = match (n_lines, ends.as_slice()) {
                    (1, [first, last]) => format!("the line from {first} to {last}"),
                    _ => format!("{n_lines} lines"),
                };
                write!(
                    f,
                    "{name} {value} ({low} to {high}) over {lines}, at least {limit:.1} wanted ({})",
                    super::f_numbers::F_NUMBER_SOURCE
                )
            }
        }
    }
}

impl fmt::Display for Verdict {
    /// One paragraph in a builder's words: the answer, what decides it, and who says so.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let text = self.criterion.text();
        write!(f, "{}: {}.", text.title, self.outcome)?;
        if let (Some(part), Some(finding)) = (self.governing, self.finding()) {
            write!(f, " In {}, {finding}.", self.parts[part].name)?;
        }
        if let (
            Measure::SlopePairs { limit: steepest, .. },
            Some(Finding::Height { value, over: Some(over), .. }),
        ) = (self.criterion.measure(), self.finding())
            && *value > LENGTH_EPS
        {
            let (slope, steepest) = (*over / *value, 1.0 / steepest);
            write!(f, " That is 1 in {slope:.0}; the limit is 1 in {steepest:.0}.")?;
        }
        if let Measure::SlopePairs { min_apart, .. } = self.criterion.measure()
            && !min_apart.stated
        {
            let apart = min_apart.length;
            write!(
                f,
                " Points more than {apart} apart are compared: our choice, the source is silent."
            )?;
        }
        if let Measure::Spread { up_to: Some(up_to), .. } = self.criterion.measure() {
            write!(f, " The band that begins at this limit ends at {up_to}.")?;
        }
        write!(f, " Judged {}; {}. {}", self.criterion.scope(), self.criterion.kind(), text)
    }
}
