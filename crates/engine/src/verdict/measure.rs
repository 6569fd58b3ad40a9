//! What a measure compares, and the comparisons that decide.

use super::criterion::Measure;
use super::decide::{COVERAGE, Finding, Guard, guard};
use super::f_numbers::{FNumber, combine_f_numbers, flatness, levelness};
use super::pairs::{SHORTEST_SPAN, compare_pairs};
use crate::boxes::{Boxes, Stand};
use crate::ids::PointId;
use crate::site::{Position, nearest_on_segment};
use crate::survey::Levels;
use crate::units::{LENGTH_EPS, Length, Level};
use std::collections::BTreeMap;

/// Three points count as on one line if the middle one is this close to it: our own choice.
const OFF_LINE: Length = Length::mm(20.0);
/// The spacing of F-number readings: one foot.
const FOOT: Length = Length::mm(304.8);
/// How far a spacing may miss the foot: our own choice.
const FOOT_WITHIN: Length = Length::mm(5.0);
/// Step for the change of an F-number with one level.
const NUDGE: Length = Length::mm(1e-3);

/// A floor point of the part that is judged.
#[derive(Clone, Copy)]
pub(super) struct Spot {
    /// Where it stands in the levels.
    pub(super) level_idx: usize,
    /// Where it is on the plan.
    pub(super) at: Position,
}

/// The comparisons made, with the worst of each kind.
pub(super) struct Tally<'a> {
    pub(super) levels: &'a Levels,
    /// How many comparisons were made.
    pub(super) n_compared: usize,
    /// The worst that surely exceeds its limit.
    pub(super) beyond: Option<Finding>,
    /// The worst that nobody can tell.
    pub(super) undecided: Option<Finding>,
    /// The worst that is surely within.
    pub(super) within: Option<Finding>,
}

impl<'a> Tally<'a> {
    pub(super) fn new(levels: &'a Levels) -> Self {
        Self { levels, n_compared: 0, beyond: None, undecided: None, within: None }
    }

    /// Compares a weighted sum of levels with a limit.
    fn compare(&mut self, weights: &[(usize, f64)], limit: Length, over: Option<Length>) {
        self.n_compared += 1;
        let value = self.value(weights);
        let is_beaten = |worst: &Option<Finding>| {
            worst.as_ref().is_some_and(|worst| worst.use_of_limit() >= value / limit)
        };
        // A worst one beyond its limit decides whatever the others are; one that nobody can tell
        // decides over all that are not beyond, and no less than the limit is.
        if is_beaten(&self.beyond) || (value <= limit && is_beaten(&self.undecided)) {
            return;
        }
        // No covariance makes the uncertainty larger than this, and most comparisons are clear
        // by it; only the others and the worst ones need the covariance.
        let at_most: Length =
            weights.iter().map(|&(idx, weight)| self.levels.sd(idx) * weight.abs()).sum();
        let decided = match guard(value, at_most * COVERAGE, limit) {
            Guard::Undecided => guard(value, self.uncertainty(weights), limit),
            clear => clear,
        };
        let worst = match decided {
            Guard::Beyond => &self.beyond,
            Guard::Undecided => &self.undecided,
            Guard::Within => &self.within,
        };
        if !is_beaten(worst) {
            self.compare_as(decided, weights, limit, over);
        }
    }

    /// Keeps a comparison whose outcome is known, if it is the worst of its kind.
    pub(super) fn compare_as(
        &mut self,
        decided: Guard,
        weights: &[(usize, f64)],
        limit: Length,
        over: Option<Length>,
    ) {
        let names =
            weights.iter().map(|&(idx, _)| self.levels.points()[idx].point.clone()).collect();
        let (value, uncertainty) = (self.value(weights), self.uncertainty(weights));
        self.keep(decided, Finding::Height { points: names, value, uncertainty, limit, over });
    }

    fn value(&self, weights: &[(usize, f64)]) -> Length {
        let points = self.levels.points();
        let value: f64 =
            weights.iter().map(|&(idx, weight)| weight * points[idx].level.to_mm()).sum();
        Length::mm(value.abs())
    }

    fn uncertainty(&self, weights: &[(usize, f64)]) -> Length {
        self.levels.combination_sd(weights) * COVERAGE
    }

    fn keep(&mut self, decided: Guard, finding: Finding) {
        let worst = match decided {
            Guard::Beyond => &mut self.beyond,
            Guard::Undecided => &mut self.undecided,
            Guard::Within => &mut self.within,
        };
        if worst.as_ref().is_none_or(|worst| worst.use_of_limit() < finding.use_of_limit()) {
            *worst = Some(finding);
        }
    }
}

/// Whether a measure needs to know where its points are.
pub(super) fn needs_places(measure: &Measure) -> bool {
    !matches!(measure, Measure::Spread { .. } | Measure::NotFromLevels { .. })
}

/// Makes the comparisons of a measure over one part of the floor.
///
/// # Errors
/// Why the points do not allow the measure, in words.
pub(super) fn compare_spots(
    tally: &mut Tally,
    measure: &Measure,
    spots: &[Spot],
) -> Result<(), String> {
    match measure {
        Measure::StraightedgeGap { limit, base } => {
            compare_straightedge(tally, spots, *limit, *base)
        }
        Measure::GapByDistance { table } => compare_middles(tally, spots, table),
        Measure::FNumbers { flatness, levelness, local_fraction } => {
            compare_f_numbers(tally, spots, (*flatness, *levelness), *local_fraction)?;
        }
        Measure::SlopePairs { .. }
        | Measure::Spread { .. }
        | Measure::DiffInBase { .. }
        | Measure::DiffBySpan { .. }
        | Measure::LevelByNominalLength { .. }
        | Measure::NotFromLevels { .. } => compare_pairs(tally, measure, spots),
    }
    if tally.n_compared == 0 { Err(why_nothing(measure)) } else { Ok(()) }
}

/// Every point against the line of two others, no neighbours further apart than half the
/// straightedge, all three within its length, and together more than half of it.
fn compare_straightedge(tally: &mut Tally, spots: &[Spot], limit: Length, base: Length) {
    let half = base / 2.0 + LENGTH_EPS;
    let stands = places(spots);
    let boxes = Boxes::new(&stands);
    for (middle_idx, middle) in spots.iter().enumerate() {
        let is_near =
            |idx: &usize| *idx != middle_idx && spots[*idx].at.distance(middle.at) <= half;
        let near = boxes.near(middle.at, half).into_iter().filter(is_near);
        let near: Vec<&Spot> = near.map(|idx| &spots[idx]).collect();
        for (first_idx, &first) in near.iter().enumerate() {
            for &last in &near[first_idx + 1..] {
                let apart = first.at.distance(last.at);
                if apart > base / 2.0 && apart <= base + LENGTH_EPS {
                    compare_three(tally, first, middle, last, limit);
                }
            }
        }
    }
}

/// Every point midway between two others, limit by their distance.
fn compare_middles(tally: &mut Tally, spots: &[Spot], table: &[(Length, Length)]) {
    let near = NearIndex::of(spots);
    let stands = places(spots);
    let boxes = Boxes::new(&stands);
    let longest = table.last().map_or(Length::ZERO, |entry| entry.0) + LENGTH_EPS;
    for (first_idx, first) in spots.iter().enumerate() {
        let others = boxes.near(first.at, longest);
        for last in others.into_iter().filter(|&idx| idx > first_idx).map(|idx| &spots[idx]) {
            let apart = first.at.distance(last.at);
            let Some(limit) = limit_at(table, apart) else { continue };
            let midway =
                Position { x: (first.at.x + last.at.x) / 2.0, y: (first.at.y + last.at.y) / 2.0 };
            if let Some(middle) = near.at(midway)
                && spots[middle].level_idx != first.level_idx
                && spots[middle].level_idx != last.level_idx
            {
                compare_three(tally, first, &spots[middle], last, limit);
            }
        }
    }
}

/// Compares how far a point is off the line of two others, if it lies between them.
fn compare_three(tally: &mut Tally, first: &Spot, middle: &Spot, last: &Spot, limit: Length) {
    let foot = nearest_on_segment((first.at, last.at), middle.at);
    let apart = first.at.distance(last.at);
    let along = first.at.distance(foot) / apart;
    if foot.distance(middle.at) > OFF_LINE || along <= 0.0 || along >= 1.0 {
        return;
    }
    let weights =
        [(middle.level_idx, 1.0), (first.level_idx, along - 1.0), (last.level_idx, -along)];
    tally.compare(&weights, limit, Some(apart));
}

/// The limit at a distance, straight between the entries of a table; none outside it.
fn limit_at(table: &[(Length, Length)], distance: Length) -> Option<Length> {
    table.windows(2).find_map(|pair| {
        let [(from, low), (to, high)] = [pair[0], pair[1]];
        let inside = distance >= from - LENGTH_EPS && distance <= to + LENGTH_EPS;
        inside.then(|| low + (high - low) * ((distance - from) / (to - from)).clamp(0.0, 1.0))
    })
}

/// Compares flatness, and levelness where it applies, over all runs and run by run.
fn compare_f_numbers(
    tally: &mut Tally,
    spots: &[Spot],
    (least_flatness, least_levelness): (f64, Option<f64>),
    local_fraction: f64,
) -> Result<(), String> {
    let all_runs = runs(spots);
    let longest = all_runs.iter().map(Vec::len).max().unwrap_or(0);
    let long_enough: Vec<Vec<usize>> = all_runs
        .into_iter()
        .filter(|run| run.len() >= super::f_numbers::MIN_F_READINGS)
        .map(|run| run.into_iter().map(|spot| spots[spot].level_idx).collect())
        .collect();
    if long_enough.is_empty() {
        return Err(format!(
            "F-numbers need straight lines of {} or more readings 1 ft apart, the longest here has {longest}",
            super::f_numbers::MIN_F_READINGS
        ));
    }
    let wanted = [(false, Some(least_flatness)), (true, least_levelness)];
    for (level, least) in wanted {
        let Some(least) = least else { continue };
        compare_f_number(tally, &long_enough, level, least);
        for run in long_enough.iter().filter(|_| long_enough.len() > 1) {
            compare_f_number(tally, std::slice::from_ref(run), level, least * local_fraction);
        }
    }
    Ok(())
}

fn compare_f_number(tally: &mut Tally, runs: &[Vec<usize>], level: bool, least: f64) {
    let levels = tally.levels;
    let heights: Vec<Vec<Length>> = runs
        .iter()
        .map(|run| run.iter().map(|&idx| levels.points()[idx].level - Level::DATUM).collect())
        .collect();
    // The reciprocal goes up with roughness, nearly in proportion, and is 0 for a perfect line, so
    // the uncertainty is carried through it and not through the number. Noise makes a floor look
    // rougher than it is; that is not taken out and can only make a good floor fail.
    let roughness = joined(&heights, level).reciprocal();
    let mut weights = Vec::new();
    for (run_idx, run) in runs.iter().enumerate() {
        for (reading, &level_idx) in run.iter().enumerate() {
            let nudged = |by: Length| {
                let mut heights = heights.clone();
                heights[run_idx][reading] += by;
                joined(&heights, level).reciprocal()
            };
            // On a perfect line any departure is rougher: only the one-sided slope means anything.
            let below = if roughness > 0.0 { nudged(-NUDGE) } else { -nudged(NUDGE) };
            weights.push((level_idx, (nudged(NUDGE) - below) / (NUDGE.to_mm() * 2.0)));
        }
    }
    let uncertainty = levels.combination_sd(&weights).to_mm() * COVERAGE;
    let decided = if roughness + uncertainty <= 1.0 / least {
        Guard::Within
    } else if roughness - uncertainty > 1.0 / least {
        Guard::Beyond
    } else {
        Guard::Undecided
    };
    let ends: Vec<PointId> = [runs[0].first(), runs[0].last()]
        .into_iter()
        .flatten()
        .map(|&idx| levels.points()[idx].point.clone())
        .collect();
    let finding = Finding::FNumber {
        level,
        n_lines: runs.len(),
        ends,
        value: FNumber::from_reciprocal(roughness),
        low: FNumber::from_reciprocal(roughness + uncertainty),
        high: FNumber::from_reciprocal(roughness - uncertainty),
        limit: least,
    };
    tally.n_compared += 1;
    tally.keep(decided, finding);
}

/// The number of several lines together; each line is long enough.
fn joined(lines: &[Vec<Length>], level: bool) -> FNumber {
    let span = if level { 10 } else { 2 };
    let numbers = lines.iter().filter_map(|line| {
        let number = if level { levelness(line) } else { flatness(line) };
        number.ok().map(|number| (number, line.len() - span))
    });
    numbers
        .reduce(|first, second| (combine_f_numbers(first, second), first.1 + second.1))
        .map_or(FNumber::Unbounded, |(number, _)| number)
}

/// Straight lines of spots one foot apart, each once.
fn runs(spots: &[Spot]) -> Vec<Vec<usize>> {
    let near = NearIndex::of(spots);
    let step_on = |from: usize, to: usize| {
        let (from, to) = (spots[from].at, spots[to].at);
        near.at(Position { x: to.x + (to.x - from.x), y: to.y + (to.y - from.y) })
    };
    let a_foot =
        |a: usize, b: usize| (spots[a].at.distance(spots[b].at) - FOOT).abs() <= FOOT_WITHIN;
    let stands = places(spots);
    let boxes = Boxes::new(&stands);
    let mut runs = Vec::new();
    for (first, spot) in spots.iter().enumerate() {
        let about = boxes.near(spot.at, FOOT + FOOT_WITHIN);
        for second in about.into_iter().filter(|&other| other != first && a_foot(first, other)) {
            if step_on(second, first).is_some_and(|before| a_foot(before, first)) {
                continue;
            }
            let mut run = vec![first, second];
            while let Some(next) = step_on(run[run.len() - 2], run[run.len() - 1])
                && a_foot(run[run.len() - 1], next)
                && !run.contains(&next)
            {
                run.push(next);
            }
            if first < run[run.len() - 1] {
                runs.push(run);
            }
        }
    }
    runs
}

/// The places of spots, to find what is near; their levels do not matter.
fn places(spots: &[Spot]) -> Vec<Stand> {
    let stand = |spot: &Spot| Stand { at: spot.at, level: Level::DATUM, sd: Length::ZERO };
    spots.iter().map(stand).collect()
}

/// Finds the spot at a place.
struct NearIndex<'a> {
    spots: &'a [Spot],
    cells: BTreeMap<(i64, i64), Vec<usize>>,
}

impl<'a> NearIndex<'a> {
    fn of(spots: &'a [Spot]) -> Self {
        let mut cells: BTreeMap<_, Vec<usize>> = BTreeMap::new();
        for (idx, spot) in spots.iter().enumerate() {
            cells.entry(Self::cell(spot.at)).or_default().push(idx);
        }
        Self { spots, cells }
    }

    fn cell(at: Position) -> (i64, i64) {
        ((at.x / OFF_LINE).floor() as i64, (at.y / OFF_LINE).floor() as i64)
    }

    /// The spot nearest to a place, if one is close enough to count as there.
    fn at(&self, place: Position) -> Option<usize> {
        let (col, row) = Self::cell(place);
        (-1..=1)
            .flat_map(|right| (-1..=1).map(move |up| (right, up)))
            .filter_map(|(right, up)| {
                self.cells.get(&(col.saturating_add(right), row.saturating_add(up)))
            })
            .flatten()
            .map(|&idx| (idx, self.spots[idx].at.distance(place)))
            .filter(|&(_, off)| off <= OFF_LINE)
            .min_by(|first, second| first.1.total_cmp(&second.1))
            .map(|(idx, _)| idx)
    }
}

/// Why no comparison could be made.
fn why_nothing(measure: &Measure) -> String {
    match measure {
        Measure::SlopePairs { min_apart, .. } => {
            format!("no two floor points are more than {} apart", min_apart.length)
        }
        Measure::DiffInBase { base, .. } => format!("no two floor points are within {base}"),
        Measure::DiffBySpan { .. } => {
            format!("no two floor points are {SHORTEST_SPAN} or more apart")
        }
        Measure::StraightedgeGap { base, .. } => format!(
            "a straightedge of {base} needs three floor points on a line no more than {} from one to the next",
            *base / 2.0
        ),
        Measure::GapByDistance { .. } => {
            "no floor point lies midway between two others at a distance of the table".to_owned()
        }
        Measure::Spread { .. }
        | Measure::LevelByNominalLength { .. }
        | Measure::FNumbers { .. }
        | Measure::NotFromLevels { .. } => "fewer than two floor points were read".to_owned(),
    }
}
