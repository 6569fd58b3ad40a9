//! The fewest supports touched.
//!
//! Each support is either touched, within its bounds, or left exactly alone. Small jobs are
//! searched completely (branch and bound on which supports are left alone, up to a number of
//! nodes). Larger ones are solved by re-weighted least lift, which drives small lifts to zero,
//! and then every touched support is tried for removal, with those around it making up for it.
//! Both state how few supports are proved
//! necessary: from the finished search, from the relaxation in which a support may be touched in
//! part, or from points that are off the target and hang on different supports.

use super::SHORTFALL;
use super::convex::{Failure, Optimum, minimise};
use super::explain::shortfall;
use super::model::{Model, given_bounds};
use super::plan::Fewest;
use super::{Choice, least_lift};
use crate::units::Length;
use std::collections::BTreeSet;

/// Nodes of the complete search before it gives way to what it has.
const NODE_LIMIT: usize = 3000;

/// Jobs with at most this many open supports are searched completely.
const SEARCHED: usize = 14;

/// Larger jobs try a removal by letting only the supports around it make up for it.
const TRIED_AS_A_WHOLE: usize = 100;

/// How many steps from support to support, by points or rows in common, count as around.
const STEPS_AROUND: usize = 4;

/// A term below this share of its row's largest brings no support beside another.
const STRONG: f64 = 0.1;

/// Lifts below this count as none while searching, in millimetres.
const NONE: f64 = 1e-6;

pub(super) fn fewest(model: &Model<'_>, slack: f64) -> Result<Choice, Failure> {
    let search = Search::new(model, slack);
    let all: Vec<bool> = search.open.iter().map(|_| true).collect();
    let (relaxed, start) = search.relax(&all)?;
    let mut at_least = search.always + relaxed.max(search.apart());
    // Least lift is a start of its own, so that the answer is never worse than that.
    let least = search.narrowed(&all).lifts(&search.least(&all)?.values);
    let from_least = search.reduced(least);
    let mut touched = search.reduced(search.pressed(start));
    if count(&from_least) < count(&touched) {
        touched = from_least;
    }
    if search.open.len() <= SEARCHED {
        let mut nodes = 0;
        let mut best = touched.clone();
        let finished = search.branch(&mut vec![None; all.len()], &mut best, &mut nodes);
        touched = best;
        if finished {
            at_least = search.always + count(&touched);
        }
    }
    let found = search.least(&touched)?;
    let lifts = search.narrowed(&touched).lifts(&found.values);
    let full = search.full_values(&touched, &found);
    let n_touched = lifts.iter().filter(|lift| lift.abs() > NONE).count();
    let fewest = Fewest { touched: n_touched, at_least: at_least.min(n_touched) };
    Ok(Choice { fewest: Some(fewest), ..Choice::new(full, found.accuracy, true) })
}

struct Search<'a> {
    model: &'a Model<'a>,
    slack: f64,
    bounds: Vec<(f64, f64)>,
    /// Supports that may be touched or left alone.
    open: Vec<usize>,
    /// Supports that are touched whatever is chosen.
    always: usize,
}

impl<'a> Search<'a> {
    fn new(model: &'a Model<'a>, slack: f64) -> Self {
        let bounds = given_bounds(model.problem);
        let open = (0..bounds.len())
            .filter(|&s| bounds[s].0 <= 0.0 && bounds[s].1 >= 0.0 && bounds[s].0 < bounds[s].1)
            .collect();
        let always = bounds.iter().filter(|(lower, upper)| *lower > NONE || *upper < -NONE).count();
        Self { model, slack, bounds, open, always }
    }

    /// The model in which only the supports of `allowed` may be touched.
    fn narrowed(&self, allowed: &[bool]) -> Model<'a> {
        let mut bounds = self.bounds.clone();
        for (&support, &allowed) in self.open.iter().zip(allowed) {
            if !allowed {
                bounds[support] = (0.0, 0.0);
            }
        }
        Model::with_bounds(self.model.problem, &bounds)
    }

    fn is_possible(&self, allowed: &[bool]) -> bool {
        shortfall(&self.narrowed(allowed)).is_ok_and(|total| total <= SHORTFALL / 10.0)
    }

    /// Lowest number of allowed supports touched if each may be touched in part, rounded up,
    /// and the lifts behind it.
    fn relax(&self, allowed: &[bool]) -> Result<(usize, Vec<f64>), Failure> {
        let model = self.narrowed(allowed);
        let mut program = model.program(self.slack);
        // A support let down as well as up counts by its wider bound: still a lower bound.
        let widest = |support: usize| {
            let (lower, upper) = self.bounds[support];
            upper.max(-lower).max(1e-3)
        };
        let is_open =
            |support: usize| self.bounds[support].0 <= 0.0 && self.bounds[support].1 >= 0.0;
        model.add_lift_cost(&mut program, |s| if is_open(s) { 1.0 / widest(s) } else { 0.0 });
        let found = minimise(&program)?;
        let parts = program.cost_of(&found.values);
        Ok(((parts - 1e-6).ceil().max(0.0) as usize, model.lifts(&found.values)))
    }

    /// Supports that points need which have no support in common: each point by itself, if the
    /// target stands still, and the numbers add up.
    fn apart(&self) -> usize {
        let Some(tolerance) = self.model.problem.level_tolerance.map(Length::to_mm) else {
            return 0;
        };
        if self.model.height_is_free() {
            return 0;
        }
        let mut needs: Vec<(Vec<usize>, usize)> = Vec::new();
        for (terms, constant) in &self.model.departures {
            let sides = [(*constant, -1.0), (-constant, 1.0)];
            for (above, sign) in sides {
                let excess = above - tolerance - 1e-6;
                let alone = self.touched_for(terms, sign, excess);
                if alone > 0 {
                    let supports = terms.iter().map(|term| term.0).collect();
                    needs.push((supports, alone));
                }
            }
        }
        needs.sort_by_key(|(supports, alone)| (supports.len(), std::cmp::Reverse(*alone)));
        let mut taken = vec![false; self.model.base.bounds.len()];
        let mut sum = 0;
        for (supports, alone) in needs {
            if supports.iter().all(|&support| !taken[support]) {
                supports.iter().for_each(|&support| taken[support] = true);
                sum += alone;
            }
        }
        sum
    }

    /// The fewest open supports that can move a point by `excess`; none if it need not move.
    fn touched_for(&self, terms: &[(usize, f64)], sign: f64, mut excess: f64) -> usize {
        let mut reaches = Vec::new();
        for &(variable, ratio) in terms {
            let (lower, upper) = self.model.base.bounds[variable];
            let reach = (sign * ratio * lower).max(sign * ratio * upper);
            if lower > 0.0 || upper < 0.0 {
                excess -= reach;
            } else {
                reaches.push(reach);
            }
        }
        reaches.sort_by(|a, b| b.total_cmp(a));
        let mut touched = 0;
        for reach in reaches {
            if excess <= 0.0 {
                break;
            }
            excess -= reach;
            touched += 1;
        }
        touched
    }

    fn least(&self, allowed: &[bool]) -> Result<Optimum, Failure> {
        let model = self.narrowed(allowed);
        // Supports left alone take away room: give a hair of it back if need be.
        least_lift(&model, model.program(self.slack))
            .or_else(|_| least_lift(&model, model.program(SHORTFALL)))
    }

    /// Values in the variables of the full model.
    fn full_values(&self, allowed: &[bool], found: &Optimum) -> Vec<f64> {
        let narrowed = self.narrowed(allowed);
        let lifts = narrowed.lifts(&found.values);
        let n_lifts = |model: &Model<'_>| {
            (0..lifts.len()).filter(|&s| model.lift_variable(s).is_some()).count()
        };
        let mut values: Vec<f64> = (0..lifts.len())
            .filter(|&s| self.model.lift_variable(s).is_some())
            .map(|s| lifts[s])
            .collect();
        // Height and tilt follow the lifts in both models.
        let rest = n_lifts(&narrowed)..narrowed.base.bounds.len();
        values.extend(&found.values[rest]);
        values
    }

    /// Re-weighted least lift: small lifts are pressed to zero.
    fn pressed(&self, mut lifts: Vec<f64>) -> Vec<f64> {
        // The smaller the number that is added, the harder the pressing.
        for added in [2.0, 1.0, 0.5, 0.25, 0.1, 0.05] {
            let mut program = self.model.program(self.slack);
            self.model.add_lift_cost(&mut program, |s| 1.0 / (lifts[s].abs() + added));
            match minimise(&program) {
                Ok(found) => lifts = self.model.lifts(&found.values),
                Err(_) => break,
            }
        }
        lifts
    }

    /// The supports that given lifts touch, less those that can be removed one by one, the
    /// smallest lift first.
    fn reduced(&self, mut lifts: Vec<f64>) -> Vec<bool> {
        let mut touched: Vec<bool> = self.open.iter().map(|&s| lifts[s].abs() > NONE).collect();
        if !self.is_possible(&touched) {
            touched = vec![true; self.open.len()];
        }
        let mut order: Vec<usize> = (0..self.open.len()).filter(|&i| touched[i]).collect();
        order.sort_by(|&a, &b| {
            lifts[self.open[a]].abs().total_cmp(&lifts[self.open[b]].abs()).then(a.cmp(&b))
        });
        let beside = self.beside();
        for candidate in order {
            touched[candidate] = false;
            let possible = if self.open.len() <= TRIED_AS_A_WHOLE {
                self.is_possible(&touched)
            } else {
                self.made_up_around(self.open[candidate], &touched, &beside, &mut lifts)
            };
            touched[candidate] = !possible;
        }
        touched
    }

    /// Whether touched supports around one that is left alone can make up for it, all others
    /// staying as they are; if so the lifts are changed.
    fn made_up_around(
        &self,
        support: usize,
        touched: &[bool],
        beside: &[Vec<usize>],
        lifts: &mut Vec<f64>,
    ) -> bool {
        let mut around = BTreeSet::from([support]);
        for _ in 0..STEPS_AROUND {
            let next: Vec<usize> = around.iter().flat_map(|&s| beside[s].clone()).collect();
            around.extend(next);
        }
        let mut bounds: Vec<(f64, f64)> = lifts.iter().map(|&lift| (lift, lift)).collect();
        for (&open, &touched) in self.open.iter().zip(touched) {
            if touched && around.contains(&open) {
                bounds[open] = self.bounds[open];
            }
        }
        bounds[support] = (0.0, 0.0);
        let model = Model::with_bounds(self.model.problem, &bounds);
        let mut program = model.program(self.slack.max(SHORTFALL / 10.0));
        // Rows that only the support itself moved are met or not; the rest stand as they were.
        let (moved, still): (Vec<_>, Vec<_>) =
            program.at_most.into_iter().partition(|row| !row.terms.is_empty());
        if still.iter().any(|row| row.limit < -1e-9) {
            return false;
        }
        program.at_most = moved;
        let Ok(found) = least_lift(&model, program) else { return false };
        *lifts = model.lifts(&found.values);
        true
    }

    /// For each support, those that a point or an extra row feels strongly together with it.
    fn beside(&self) -> Vec<Vec<usize>> {
        let problem = self.model.problem;
        let mut beside = vec![BTreeSet::new(); problem.supports.len()];
        let rows = problem.influence.iter().chain(problem.extra.iter().map(|row| &row.per_mm));
        for row in rows {
            let largest = row.iter().map(|term| term.1.abs()).fold(0.0, f64::max);
            let strong = || row.iter().filter(|term| term.1.abs() >= STRONG * largest);
            for &(support, _) in strong() {
                beside[support].extend(strong().map(|term| term.0));
            }
        }
        beside.into_iter().map(|set| set.into_iter().collect()).collect()
    }

    /// Searches below a node; `decided` says which supports are left alone or may be touched.
    /// False if the node limit was reached.
    fn branch(
        &self,
        decided: &mut Vec<Option<bool>>,
        best: &mut Vec<bool>,
        nodes: &mut usize,
    ) -> bool {
        *nodes += 1;
        if *nodes > NODE_LIMIT {
            return false;
        }
        let allowed: Vec<bool> = decided.iter().map(|choice| choice.unwrap_or(true)).collect();
        let Ok((at_least, lifts)) = self.relax(&allowed) else { return true };
        let kept = decided.iter().filter(|choice| **choice == Some(true)).count();
        if at_least.max(kept) >= count(best) {
            return true;
        }
        let used: Vec<bool> = self
            .open
            .iter()
            .zip(&allowed)
            .map(|(&support, &allowed)| allowed && lifts[support].abs() > NONE)
            .collect();
        if count(&used) < count(best) && self.is_possible(&used) {
            best.clone_from(&used);
        }
        // The open support that matters most is the one to decide on.
        let next = (0..decided.len()).filter(|&i| decided[i].is_none()).max_by(|&a, &b| {
            let size = |i: usize| lifts[self.open[i]].abs();
            size(a).total_cmp(&size(b)).then(b.cmp(&a))
        });
        let Some(next) = next else {
            if self.is_possible(&allowed) && count(&allowed) < count(best) {
                best.clone_from(&allowed);
            }
            return true;
        };
        let mut finished = true;
        for choice in [false, true] {
            decided[next] = Some(choice);
            finished &= self.branch(decided, best, nodes);
        }
        decided[next] = None;
        finished
    }
}

fn count(chosen: &[bool]) -> usize {
    chosen.iter().filter(|chosen| **chosen).count()
}
