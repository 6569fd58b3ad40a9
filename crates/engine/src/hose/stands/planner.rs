//! The fewest stands, what is read from each, and in which order they come.

use super::places::{Candidate, Target};
use super::rows::RowWriter;
use super::{NoStands, Stand, StandRow, StandsAsk, StandsPlan, TIES, Unreached, Why};
use crate::hose::checks::DriftWatch;
use crate::hose::cover::{Bits, Cover, empty, has, in_both, put};
use crate::hose::design::accuracy_of;
use crate::hose::tour::spread_out;
use crate::hose::ways::Ways;
use crate::ids::PointId;
use crate::site::Position;
use crate::units::{Length, Minutes, Seconds};
use std::collections::BTreeSet;

pub(super) struct Planner<'a> {
    pub(super) ask: &'a StandsAsk<'a>,
    pub(super) ways: &'a Ways,
    pub(super) targets: &'a [Target],
    pub(super) candidates: &'a [Candidate],
    pub(super) reach: Length,
}

impl Planner<'_> {
    pub(super) fn plan(&self, wait: Seconds, watch: DriftWatch) -> Result<StandsPlan, NoStands> {
        let n_points = self.targets.len();
        let reached: Vec<Bits> = self.candidates.iter().map(|one| self.reached_by(one)).collect();
        let mut marks = empty(n_points);
        for (idx, _) in self.targets.iter().enumerate().filter(|(_, target)| target.is_benchmark) {
            put(&mut marks, idx);
        }
        let cover = Cover { reached: &reached, n_points, benchmarks: &marks, ties: TIES };
        if reached.iter().all(|set| set.iter().all(|&word| word == 0)) {
            return Err(NoStands::NothingReached { reach: self.reach });
        }
        let chosen = cover.fewest().ok_or(NoStands::NotJoined)?;
        let (at_least, part) = (chosen.at_least, chosen.part);
        let chosen = self.shorter(&cover, chosen.candidates);
        let ordered = self.in_order(&cover, chosen);
        let assigned = self.assign(&cover, &ordered);
        let mut stands: Vec<Stand> = Vec::new();
        for (idx, (&candidate, points)) in ordered.iter().zip(&assigned).enumerate() {
            stands.push(self.stand(idx, candidate, points, wait, &watch));
        }
        let unplaced: Vec<PointId> = self.unplaced_benchmarks();
        let accuracy =
            accuracy_of(&stands, self.ask.benchmarks, self.ask.reading_sd, self.ask.hose.factor());
        Ok(StandsPlan {
            at_least,
            unreached: self.unreached(&reached, &ordered, &part),
            unplaced_benchmarks: unplaced,
            reach: self.reach,
            wait,
            watch,
            n_readings: stands.iter().map(|stand| stand.rows.len()).sum(),
            minutes: Minutes::new(
                stands
                    .iter()
                    .filter_map(|stand| stand.rows.last())
                    .map(|row| row.time.to_minutes())
                    .sum(),
            ),
            accuracy,
            stands,
        })
    }

    fn reached_by(&self, candidate: &Candidate) -> Bits {
        let mut set = empty(self.targets.len());
        for (idx, &hose) in candidate.hose.iter().enumerate() {
            if hose <= self.reach.to_mm() {
                put(&mut set, idx);
            }
        }
        set
    }

    fn unplaced_benchmarks(&self) -> Vec<PointId> {
        let placed = |id: &&PointId| self.targets.iter().any(|target| target.point == **id);
        self.ask.benchmarks.iter().filter(|id| !placed(id)).cloned().collect()
    }

    /// What no stand reaches. A stand that would reach it, and that nothing joins in height to
    /// the others, is none.
    fn unreached(&self, reached: &[Bits], stands: &[usize], part: &[usize]) -> Vec<Unreached> {
        let lost = (0..self.targets.len())
            .filter(|&idx| !stands.iter().any(|&stand| has(&reached[stand], idx)));
        lost.map(|idx| {
            let hose = part.iter().map(|&candidate| self.candidates[candidate].hose[idx]);
            let needs = hose.fold(f64::INFINITY, f64::min);
            Unreached {
                point: self.targets[idx].point.clone(),
                needs: needs.is_finite().then(|| Length::mm(needs)),
            }
        })
        .collect()
    }

    /// As many stands out of the way and with less hose: each is moved beside a wall if there is a place,
    /// and then to where its points are nearest, as long as every point stays reached and the stands
    /// hang together.
    fn shorter(&self, cover: &Cover<'_>, mut chosen: Vec<usize>) -> Vec<usize> {
        for _ in 0..2 {
            for idx in 0..chosen.len() {
                let mut needed = cover.reached[chosen[idx]].clone();
                for (other, &candidate) in chosen.iter().enumerate() {
                    if other != idx {
                        for (need, got) in needed.iter_mut().zip(&cover.reached[candidate]) {
                            *need &= !got;
                        }
                    }
                }
                let n_needed = in_both(&needed, &needed);
                let mut ranked: Vec<(f64, usize)> = (0..self.candidates.len())
                    .filter(|&c| in_both(&needed, &cover.reached[c]) == n_needed)
                    .map(|c| (self.hose_in_all(&chosen, idx, c), c))
                    .collect();
                let in_the_way = |candidate: usize| !self.candidates[candidate].aside;
                ranked.sort_by(|a, b| {
                    in_the_way(a.1).cmp(&in_the_way(b.1)).then(a.0.total_cmp(&b.0))
                });
                for (_, candidate) in ranked.into_iter().take(40) {
                    let before = std::mem::replace(&mut chosen[idx], candidate);
                    if cover.are_tied(&chosen) {
                        break;
                    }
                    chosen[idx] = before;
                }
            }
        }
        chosen
    }

    /// The hose to all points, each from its nearest stand, with one stand moved.
    fn hose_in_all(&self, chosen: &[usize], moved: usize, to: usize) -> f64 {
        (0..self.targets.len())
            .map(|point| {
                let others = chosen.iter().enumerate().map(|(idx, &candidate)| {
                    let candidate = if idx == moved { to } else { candidate };
                    self.candidates[candidate].hose[point]
                });
                let nearest = others.fold(f64::INFINITY, f64::min);
                if nearest.is_finite() { nearest } else { 0.0 }
            })
            .sum()
    }

    /// First the stand nearest to a benchmark, then always one that is tied to those before.
    fn in_order(&self, cover: &Cover<'_>, mut chosen: Vec<usize>) -> Vec<usize> {
        let to_mark = |candidate: usize| {
            let marks = (0..self.targets.len()).filter(|&idx| self.targets[idx].is_benchmark);
            let hose = marks.map(|idx| self.candidates[candidate].hose[idx]);
            hose.fold(f64::INFINITY, f64::min)
        };
        let apart = |a: usize, b: usize| {
            let (a, b) = (self.candidates[a].at, self.candidates[b].at);
            (a.0 - b.0).hypot(a.1 - b.1)
        };
        chosen.sort_by(|&a, &b| to_mark(a).total_cmp(&to_mark(b)).then(a.cmp(&b)));
        let mut ordered: Vec<usize> = Vec::new();
        while !chosen.is_empty() {
            let next = match ordered.last() {
                None => 0,
                Some(&last) => {
                    let tied = |c: usize| ordered.iter().any(|&known| cover.ties_two(known, c));
                    let ranked = (0..chosen.len()).min_by(|&a, &b| {
                        let key = |idx: usize| (!tied(chosen[idx]), apart(last, chosen[idx]));
                        let (a, b) = (key(a), key(b));
                        a.0.cmp(&b.0).then(a.1.total_cmp(&b.1))
                    });
                    ranked.unwrap_or(0)
                }
            };
            ordered.push(chosen.remove(next));
        }
        ordered
    }

    /// Which points are read from which stand: each from its nearest, benchmarks from every stand
    /// that reaches them, and ties from two.
    fn assign(&self, cover: &Cover<'_>, ordered: &[usize]) -> Vec<Vec<(usize, Why)>> {
        let mut assigned: Vec<Vec<(usize, Why)>> = vec![Vec::new(); ordered.len()];
        let hose = |stand: usize, point: usize| self.candidates[ordered[stand]].hose[point];
        for (point, target) in self.targets.iter().enumerate() {
            let reaching =
                (0..ordered.len()).filter(|&stand| hose(stand, point) <= self.reach.to_mm());
            if target.is_benchmark {
                for stand in reaching {
                    assigned[stand].push((point, Why::Point));
                }
            } else if let Some(stand) =
                reaching.min_by(|&a, &b| hose(a, point).total_cmp(&hose(b, point)))
            {
                assigned[stand].push((point, Why::Point));
            }
        }
        for stand in 1..ordered.len() {
            let earlier = (0..stand).max_by_key(|&other| {
                let (one, other_set) =
                    (&cover.reached[ordered[stand]], &cover.reached[ordered[other]]);
                (cover.ties_two(ordered[stand], ordered[other]), in_both(one, other_set))
            });
            if let Some(other) = earlier {
                self.tie(cover, ordered, (other, stand), &mut assigned);
            }
        }
        assigned
    }

    /// Marks points that both of two stands reach to be read from both.
    fn tie(
        &self,
        cover: &Cover<'_>,
        ordered: &[usize],
        (one, other): (usize, usize),
        assigned: &mut [Vec<(usize, Why)>],
    ) {
        let sets = [one, other].map(|stand| &cover.reached[ordered[stand]]);
        let shared: Vec<usize> = (0..self.targets.len())
            .filter(|&idx| sets.iter().all(|set| has(set, idx)) && !self.targets[idx].is_benchmark)
            .collect();
        let places: Vec<(f64, f64)> = shared
            .iter()
            .map(|&idx| (self.targets[idx].at.x.to_mm(), self.targets[idx].at.y.to_mm()))
            .collect();
        for chosen in spread_out(&places, TIES + 1) {
            let point = shared[chosen];
            for stand in [one, other] {
                match assigned[stand].iter_mut().find(|(known, _)| *known == point) {
                    Some((_, why)) => *why = Why::Tie,
                    None => assigned[stand].push((point, Why::Tie)),
                }
            }
        }
    }

    fn stand(
        &self,
        idx: usize,
        candidate: usize,
        points: &[(usize, Why)],
        wait: Seconds,
        watch: &DriftWatch,
    ) -> Stand {
        let candidate = &self.candidates[candidate];
        let hose = |point: usize| candidate.hose[point];
        let unplaced = self.unplaced_benchmarks();
        let mark = points.iter().filter(|(point, _)| self.targets[*point].is_benchmark);
        let mark = mark.min_by(|a, b| hose(a.0).total_cmp(&hose(b.0)));
        let tie = points.iter().filter(|(_, why)| *why == Why::Tie);
        let nearest = |a: &&(usize, Why), b: &&(usize, Why)| hose(a.0).total_cmp(&hose(b.0));
        let base = mark
            .or_else(|| tie.min_by(nearest))
            .or_else(|| points.iter().min_by(nearest))
            .map_or(0, |(point, _)| *point);
        let writer = RowWriter::new(self, candidate, base, wait, watch);
        let mut rows = writer.rows(points);
        let base_is_benchmark = self.targets[base].is_benchmark;
        let mut name = self.targets[base].point.clone();
        // A benchmark that has no place is read from the first stand, first and last.
        if let (0, false, Some(mark)) = (idx, base_is_benchmark, unplaced.first()) {
            name = mark.clone();
            let at = self.targets[base].at;
            for row in &mut rows {
                if matches!(row.why, Why::Open | Why::Return | Why::Close) {
                    row.point = mark.clone();
                }
            }
            let first = rows.first().cloned();
            if let Some(first) = first {
                let row = StandRow {
                    point: self.targets[base].point.clone(),
                    at,
                    why: Why::Point,
                    ..first
                };
                rows.insert(1, row);
            }
        }
        let lines = self.lines(candidate, &rows);
        Stand {
            number: idx + 1,
            at: Position::mm(candidate.at.0, candidate.at.1),
            room: candidate.room.clone(),
            base_is_benchmark: base_is_benchmark || self.ask.benchmarks.contains(&name),
            base: name,
            longest: rows.iter().map(|row| row.hose).fold(Length::ZERO, Length::max),
            rows,
            lines,
        }
    }

    fn lines(&self, candidate: &Candidate, rows: &[StandRow]) -> Vec<Vec<Position>> {
        let mut drawn = BTreeSet::new();
        rows.iter()
            .filter(|row| drawn.insert(row.point.clone()))
            .filter_map(|row| self.targets.iter().find(|target| target.point == row.point))
            .map(|target| {
                let line = self.ways.line(&candidate.place, &target.place);
                line.into_iter().map(|(x, y)| Position::mm(x, y)).collect()
            })
            .collect()
    }
}
