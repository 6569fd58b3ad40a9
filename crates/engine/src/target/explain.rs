//! Why requirements cannot be met together, in words a builder reads.

use super::convex::{Failure, Optimum, Row, minimise};
use super::model::{Model, Need};
use super::plan::{Broken, Carried, Requirement, Side, at_least};
use super::problem::{ExtraKind, Problem, SupportBounds};
use super::{SHORTFALL, smallest_worst};
use crate::ids::SupportId;
use crate::units::{Length, round_to};
use serde::Serialize;

/// A support this close to a point on the plan stands under it.
const UNDER: Length = Length::mm(300.0);

/// Supports that would not carry enough are named up to this number.
const NAMED: usize = 5;

/// Multipliers below this are arithmetic.
const PULLS: f64 = 1e-6;

/// A support whose bound stands in the way of a requirement.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct HeldBy {
    /// The support.
    pub support: SupportId,
    /// The bound that is reached: most lift, or least lift if `lowest`.
    pub bound: Length,
    /// Whether it is the least lift that stands in the way.
    pub lowest: bool,
    /// The support has no room either way.
    pub fixed: bool,
    /// Why, as the job gives it.
    pub why: Option<String>,
}

/// Requirements that cannot be met together, although all but any one of them can.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Clash {
    /// The requirements.
    pub requirements: Vec<Requirement>,
    /// The caps and held supports behind them.
    pub held_by: Vec<HeldBy>,
}

/// The smallest level tolerance that can be met.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct SmallestTolerance {
    /// With the supports' bounds and the extra rows kept, slope and straightedge left aside.
    pub level_alone: Length,
    /// The same with slope and straightedge kept; `None` if they cannot be met at all.
    pub with_the_rest: Option<Length>,
}

/// Why it cannot be done.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Explanation {
    /// The cheapest way to give in: which requirements, by how much each.
    pub shortfalls: Vec<Broken>,
    /// Their sum.
    pub total: Length,
    /// A smallest set of requirements that clash. There may be others.
    pub clash: Clash,
    /// The smallest workable level tolerance, if the extra rows can be met at all.
    pub smallest_tolerance: Option<SmallestTolerance>,
    /// Requirements of the floor's shape that no lift at any support can meet.
    pub not_curable: Vec<Broken>,
    /// All of it in sentences, the most useful first.
    pub words: Vec<String>,
}

/// Which needs may give and which stand firm.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Part {
    Gives,
    Firm,
    Out,
}

struct Elastic {
    found: Optimum,
    /// Slack of each need; zero for those that do not give.
    slacks: Vec<f64>,
    multipliers: Vec<f64>,
    total: f64,
}

/// The least total by which the requirements are missed, in millimetres: zero if they can be met.
pub(super) fn shortfall(model: &Model<'_>) -> Result<f64, Failure> {
    elastic(model, |_| Part::Gives).map(|elastic| elastic.total)
}

fn elastic(model: &Model<'_>, part: impl Fn(usize) -> Part) -> Result<Elastic, Failure> {
    let mut program = model.base.clone();
    let mut row_of = vec![None; model.needs.len()];
    let mut slack_of = vec![None; model.needs.len()];
    for (need_idx, need) in model.needs.iter().enumerate() {
        let part = part(need_idx);
        if part == Part::Out {
            continue;
        }
        let mut terms = need.row.terms.clone();
        if part == Part::Gives {
            let slack = program.variable(1.0, (0.0, f64::INFINITY));
            terms.push((slack, -1.0));
            slack_of[need_idx] = Some(slack);
        }
        row_of[need_idx] = Some(program.at_most.len());
        program.at_most.push(Row { terms, limit: need.row.limit });
    }
    let found = minimise(&program)?;
    let slacks: Vec<f64> =
        slack_of.iter().map(|slack| slack.map_or(0.0, |slack| found.values[slack])).collect();
    let multipliers =
        row_of.iter().map(|row| row.map_or(0.0, |row| found.row_multipliers[row])).collect();
    let total = slacks.iter().sum();
    Ok(Elastic { found, slacks, multipliers, total })
}

/// Explains why the model's requirements cannot be met together.
///
/// # References
/// Elastic programming and the deletion filter: Chinneck & Dravnieks, *Locating minimal
/// infeasible constraint sets in linear programs*, ORSA J. Computing 3 (1991) (from memory).
pub(super) fn explain(problem: &Problem, model: &Model<'_>) -> Result<Explanation, Failure> {
    let is_extra = |need: usize| model.needs[need].is_extra();
    // Extra rows stand firm if they can; when they clash among themselves they give as well.
    let cheapest = elastic(model, |need| if is_extra(need) { Part::Firm } else { Part::Gives })
        .or_else(|_| elastic(model, |_| Part::Gives))?;
    let needs = minimal_clash(model, &cheapest)?;
    let at_the_clash = elastic(model, |need| part_of(&needs, need))?;
    let clash = Clash {
        requirements: needs.iter().map(|&need| model.needs[need].requirement.clone()).collect(),
        held_by: held_by(problem, model, &at_the_clash),
    };
    let mut explanation = Explanation {
        shortfalls: shortfalls(model, &cheapest.slacks),
        total: Length::mm(cheapest.total),
        clash,
        smallest_tolerance: smallest_tolerance(model),
        not_curable: not_curable(problem)?,
        words: Vec::new(),
    };
    explanation.words = words(problem, &explanation);
    Ok(explanation)
}

fn part_of(needs: &[usize], need: usize) -> Part {
    if needs.contains(&need) { Part::Gives } else { Part::Out }
}

fn shortfalls(model: &Model<'_>, slacks: &[f64]) -> Vec<Broken> {
    model
        .needs
        .iter()
        .zip(slacks)
        .filter(|(_, slack)| **slack > SHORTFALL)
        .map(|(need, &slack)| need.broken(slack))
        .collect()
}

/// The deletion filter, in halves first so that long lists shrink quickly.
fn minimal_clash(model: &Model<'_>, cheapest: &Elastic) -> Result<Vec<usize>, Failure> {
    let clashes = |needs: &[usize]| {
        elastic(model, |need| part_of(needs, need)).map(|found| found.total > SHORTFALL)
    };
    let mut kept: Vec<usize> =
        (0..model.needs.len()).filter(|&need| cheapest.multipliers[need] > PULLS).collect();
    if kept.is_empty() || !clashes(&kept)? {
        kept = (0..model.needs.len()).collect();
    }
    // Dropped first: what reads worst, and within a kind what is missed least.
    kept.sort_by(|&a, &b| {
        let kind = |need: usize| drop_order(&model.needs[need].requirement);
        kind(a)
            .cmp(&kind(b))
            .then(cheapest.slacks[a].total_cmp(&cheapest.slacks[b]))
            .then(b.cmp(&a))
    });
    let mut chunk = kept.len().div_ceil(2).max(1);
    loop {
        let mut first = 0;
        while first < kept.len() && kept.len() > 1 {
            let end = (first + chunk).min(kept.len());
            let rest: Vec<usize> = kept[..first].iter().chain(&kept[end..]).copied().collect();
            if !rest.is_empty() && clashes(&rest)? {
                kept = rest;
            } else {
                first = end;
            }
        }
        if chunk == 1 {
            break;
        }
        chunk = chunk.div_ceil(2);
    }
    kept.sort_unstable();
    Ok(kept)
}

fn drop_order(requirement: &Requirement) -> u8 {
    match requirement {
        Requirement::Extra { .. } | Requirement::Carries { .. } => 0,
        Requirement::Straightedge { .. } => 1,
        Requirement::Slope { .. } => 2,
        Requirement::Level { .. } => 3,
    }
}

/// The supports that the clash pulls at and that have no room left that way.
fn held_by(problem: &Problem, model: &Model<'_>, clash: &Elastic) -> Vec<HeldBy> {
    // With every support open, variable and support have the same index.
    let open = open_model(problem);
    let mut pulls = vec![0.0; problem.supports.len()];
    for (need, &multiplier) in open.needs.iter().zip(&clash.multipliers) {
        for &(variable, coefficient) in &need.row.terms {
            if variable < pulls.len() {
                pulls[variable] -= multiplier * coefficient;
            }
        }
    }
    for (support, pull) in pulls.iter_mut().enumerate() {
        if let Some(variable) = model.lift_variable(support) {
            let (lower, upper) = clash.found.bound_multipliers[variable];
            *pull = upper - lower;
        }
    }
    let active = |support: &SupportBounds, pull: f64| HeldBy {
        support: support.id.clone(),
        bound: if pull > 0.0 { support.upper } else { support.lower },
        lowest: pull < 0.0,
        fixed: support.is_held(),
        why: support.why.clone(),
    };
    problem
        .supports
        .iter()
        .zip(&pulls)
        .filter(|(_, pull)| pull.abs() > PULLS)
        .map(|(support, &pull)| active(support, pull))
        .collect()
}

/// The problem with every bound on every lift removed.
fn open_model(problem: &Problem) -> Model<'_> {
    let unbounded = vec![(f64::NEG_INFINITY, f64::INFINITY); problem.supports.len()];
    Model::with_bounds(problem, &unbounded)
}

fn smallest_tolerance(model: &Model<'_>) -> Option<SmallestTolerance> {
    if model.departures.is_empty() {
        return None;
    }
    let keep = |wanted: fn(&Need) -> bool| {
        let mut program = model.base.clone();
        let rows = model.needs.iter().filter(|need| wanted(need));
        program.at_most.extend(rows.map(|need| need.row.clone()));
        smallest_worst(model, program).ok().map(|(worst, _)| Length::mm(worst))
    };
    let level_alone = keep(Need::is_extra)?;
    let with_the_rest = keep(|need| !matches!(need.requirement, Requirement::Level { .. }));
    Some(SmallestTolerance { level_alone, with_the_rest })
}

/// Shape requirements that stay unmet with every bound on every lift removed.
fn not_curable(problem: &Problem) -> Result<Vec<Broken>, Failure> {
    let model = open_model(problem);
    let is_extra = |need: usize| model.needs[need].is_extra();
    let found = elastic(&model, |need| if is_extra(need) { Part::Out } else { Part::Gives })?;
    Ok(shortfalls(&model, &found.slacks))
}

fn words(problem: &Problem, explanation: &Explanation) -> Vec<String> {
    let mut words = vec![clash_words(problem, &explanation.clash)];
    for broken in &explanation.not_curable {
        words.push(format!(
            "{} misses by {} whatever the lifts: this is shape between the supports, not curable at the supports",
            subject(&broken.requirement),
            broken.by
        ));
    }
    let carries = |need: &Requirement| matches!(need, Requirement::Carries { .. });
    if explanation.clash.requirements.iter().any(carries) {
        words.push(
            "ask less of what every support carries (carry_least under [limits]), or have it only \
             reported (every_support_carries = false under [goal])"
                .to_owned(),
        );
    }
    if let Some(smallest) = explanation.smallest_tolerance {
        words.push(smallest_words(smallest));
    }
    words.extend(carrying_words(&explanation.shortfalls));
    words.push(format!(
        "to make it possible, requirements must give by {} in all, at {} {}",
        explanation.total,
        explanation.shortfalls.len(),
        if explanation.shortfalls.len() == 1 { "place" } else { "places" }
    ));
    words
}

/// The supports that would not carry enough, worst first, where that is what has to give.
fn carrying_words(shortfalls: &[Broken]) -> Vec<String> {
    let mut short: Vec<(&Broken, Carried)> =
        shortfalls.iter().filter_map(|broken| Some((broken, broken.carried?))).collect();
    if short.is_empty() {
        return Vec::new();
    }
    short.sort_by(|a, b| b.0.by.total_cmp(&a.0.by));
    let mut words: Vec<String> = short
        .iter()
        .take(NAMED)
        .map(|(broken, carried)| match &broken.requirement {
            Requirement::Carries { support } => {
                format!("support {support} must carry {}", carried.words())
            }
            other => subject(other),
        })
        .collect();
    if short.len() > NAMED {
        words.push(format!("{} more supports would not carry enough", short.len() - NAMED));
    }
    words.push(
        "what a support lacks is counted as the lift there that would make up for it".to_owned(),
    );
    words
}

fn smallest_words(smallest: SmallestTolerance) -> String {
    // A tolerance rounded down could not be met.
    let up = |tolerance: Length| Length::mm(round_to(tolerance.to_mm() + 0.049, 0.1));
    let alone = format!("the smallest workable level tolerance is {}", up(smallest.level_alone));
    match smallest.with_the_rest {
        Some(all) if all - smallest.level_alone > Length::mm(0.05) => {
            format!("{alone}, or {} with slope and straightedge kept", up(all))
        }
        Some(_) => alone,
        None => format!("{alone}, with slope and straightedge left aside"),
    }
}

fn clash_words(problem: &Problem, clash: &Clash) -> String {
    let asks: Vec<String> = clash.requirements.iter().map(|need| ask(problem, need)).collect();
    let under = match clash.requirements.as_slice() {
        [Requirement::Level { point, .. }] => {
            problem.points.iter().find(|known| known.id == *point).map(|point| point.at)
        }
        _ => None,
    };
    let stands_under = |held: &HeldBy| {
        let support = problem.supports.iter().find(|support| support.id == held.support);
        under.zip(support).is_some_and(|(at, support)| support.at.distance(at) <= UNDER)
    };
    // Supports that are held alike are named together, and the reason once.
    let mut alike: Vec<(String, Vec<String>)> = Vec::new();
    for held in &clash.held_by {
        let place = if stands_under(held) { " under it" } else { "" };
        let name = format!("{}{place}", held.support);
        match alike.iter_mut().find(|(how, _)| *how == held_how(held)) {
            Some((_, names)) => names.push(name),
            None => alike.push((held_how(held), vec![name])),
        }
    }
    let holds: Vec<String> = alike
        .iter()
        .map(|(how, names)| match (names.as_slice(), how.strip_prefix("is ")) {
            ([only], _) => format!("support {only} {how}"),
            (several, Some(how)) => format!("supports {} are {how}", several.join(", ")),
            (several, None) => format!("supports {} {how}", several.join(", ")),
        })
        .collect();
    let asks = match asks.as_slice() {
        [only] => only.clone(),
        _ => format!("these cannot all be met: {}", asks.join("; ")),
    };
    if holds.is_empty() { asks } else { format!("{asks}, but {}", holds.join(" and ")) }
}

/// How a support is held, with the reason; nobody needs one for not letting down.
fn held_how(held: &HeldBy) -> String {
    let needs_reason = held.fixed || !held.lowest || held.bound != Length::ZERO;
    let why = held.why.as_ref().filter(|_| needs_reason);
    let verb = hold(held);
    why.map_or_else(|| verb.clone(), |why| format!("{verb}: {why}"))
}

fn hold(held: &HeldBy) -> String {
    if held.fixed && held.bound.abs() < Length::mm(0.05) {
        "is fixed".to_owned()
    } else if held.fixed {
        format!("is held at a lift of {}", held.bound)
    } else if !held.lowest {
        format!("may be raised at most {}", held.bound)
    } else if held.bound < Length::ZERO {
        format!("may be let down at most {}", -held.bound)
    } else if held.bound > Length::ZERO {
        format!("must be raised at least {}", held.bound)
    } else {
        "may not be let down".to_owned()
    }
}

/// A requirement as what has to happen.
fn ask(problem: &Problem, requirement: &Requirement) -> String {
    let (point, side) = match requirement {
        Requirement::Level { point, side } => (point, side),
        Requirement::Carries { support } => return must_carry(problem, support),
        _ => return format!("{} within its limit", subject(requirement)),
    };
    let tolerance = problem.level_tolerance.unwrap_or_default();
    let known = problem.points.iter().find(|known| known.id == *point);
    let (direction, away) = if *side == Side::TooLow { ("up", "down") } else { ("down", "up") };
    match (known, problem.height) {
        (Some(known), super::Height::At(target)) if problem.tilt.is_none() => {
            let rise = target - known.level;
            let off = (if *side == Side::TooLow { rise } else { -rise }) - tolerance;
            if off > Length::ZERO {
                format!(
                    "{point} has to come {direction} at least {off} to be within {tolerance} of the target"
                )
            } else {
                format!(
                    "{point} may come {away} by at most {} to stay within {tolerance} of the target",
                    -off
                )
            }
        }
        _ => format!("{point} has to come {direction} to be within {tolerance} of the target"),
    }
}

fn must_carry(problem: &Problem, id: &SupportId) -> String {
    let least = problem.extra.iter().find_map(|row| match row.kind {
        ExtraKind::Carries { support, least } if problem.supports[support].id == *id => Some(least),
        _ => None,
    });
    format!("support {id} must carry {}", at_least(least.unwrap_or_default()))
}

fn subject(requirement: &Requirement) -> String {
    match requirement {
        Requirement::Level { point, .. } => format!("the level at {point}"),
        Requirement::Slope { high, low } => format!("the slope from {high} to {low}"),
        Requirement::Straightedge { points: [a, b, c], side } => {
            let shape = if *side == Side::TooLow { "hollow" } else { "hump" };
            format!("the {shape} under a straightedge over {a}, {b} and {c}")
        }
        Requirement::Carries { support } => format!("what support {support} carries"),
        Requirement::Extra { name } => name.clone(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ids::PointId;
    use crate::site::Position;
    use crate::target::{FloorPoint, Height};
    use crate::units::Level;
    use proptest::prelude::*;

    /// A row of supports with a point over each and one between each two.
    fn row_of_supports(levels: &[f64], caps: &[f64]) -> Problem {
        let points = levels.iter().take(2 * caps.len() - 1).enumerate();
        let points = points.map(|(i, &level)| FloorPoint {
            id: PointId::new(format!("P{i}")),
            at: Position::mm(i as f64 * 900.0, 0.0),
            level: Level::mm(level),
            deck: String::new(),
        });
        let supports = caps.iter().enumerate().map(|(i, &cap)| SupportBounds {
            id: SupportId::new(format!("S{i}")),
            at: Position::mm(i as f64 * 1800.0, 0.0),
            lower: Length::ZERO,
            upper: Length::mm(cap),
            why: None,
        });
        let points: Vec<_> = points.collect();
        let over = |i: usize| {
            if i.is_multiple_of(2) {
                vec![(i / 2, 1.0)]
            } else {
                vec![(i / 2, 0.5), (i / 2 + 1, 0.5)]
            }
        };
        let influence = (0..points.len()).map(over).collect();
        Problem::new(points, supports.collect(), influence, Height::At(Level::DATUM))
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(64))]

        /// A minimal set cannot be met, and can without any one of its requirements.
        #[test]
        fn a_clash_is_minimal(
            levels in prop::collection::vec(-30.0..6.0_f64, 11),
            caps in prop::collection::vec(0.0..20.0_f64, 1..=6),
            free in any::<bool>(),
        ) {
            let mut problem = row_of_supports(&levels, &caps);
            problem.level_tolerance = Some(Length::mm(3.0));
            problem.slope_tolerance = Some(1.0 / 400.0);
            problem.straightedge_tolerance = Some(Length::mm(2.0));
            if free {
                problem.height = Height::Free;
            }
            let model = Model::new(&problem);
            let cheapest = elastic(&model, |_| Part::Gives).unwrap();
            prop_assume!(cheapest.total > SHORTFALL);
            let clash = minimal_clash(&model, &cheapest).unwrap();
            let total = |needs: &[usize]| elastic(&model, |need| part_of(needs, need)).unwrap().total;
            prop_assert!(total(&clash) > SHORTFALL);
            for without in 0..clash.len() {
                let mut rest = clash.clone();
                rest.remove(without);
                prop_assert!(total(&rest) <= SHORTFALL);
            }
        }
    }
}
