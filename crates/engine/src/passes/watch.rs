//! Keeps the slopes between neighbours while supports move.

use super::{NeighbourPair, SupportToLift};
use crate::ids::SupportId;
use crate::units::Length;
use serde::Serialize;

/// The largest distortion on the way. All are ratios.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct Peak {
    /// Steepest slope between neighbours, without sign.
    pub slope: f64,
    /// Largest excess of a slope over its pair's limit; zero if none.
    pub over_limit: f64,
    /// Largest change of a slope from what it was at the start, when linings last fitted.
    pub change_from_start: f64,
}

/// Where a pass comes nearest to a limit.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct WorstPlace {
    /// The pair.
    pub pair: (SupportId, SupportId),
    /// The slope there, from the first to the second (a ratio).
    pub slope: f64,
    /// The limit there (a ratio).
    pub limit: f64,
    /// Largest change of any pair's slope from the start during the pass (a ratio).
    pub change_from_start: f64,
}

pub(super) struct Watch<'a> {
    pairs: &'a [NeighbourPair],
    pairs_of: Vec<Vec<usize>>,
    lifts: Vec<Length>,
    peak: Peak,
    /// In this pass: pair with the largest share of its limit, its slope, and largest change.
    in_pass: Option<(usize, f64)>,
    change_in_pass: f64,
}

impl<'a> Watch<'a> {
    pub fn new(supports: &'a [SupportToLift], pairs: &'a [NeighbourPair]) -> Self {
        let mut pairs_of = vec![Vec::new(); supports.len()];
        for (pair_idx, pair) in pairs.iter().enumerate() {
            pairs_of[pair.supports.0].push(pair_idx);
            pairs_of[pair.supports.1].push(pair_idx);
        }
        let lifts = vec![Length::ZERO; supports.len()];
        let mut watch = Self {
            pairs,
            pairs_of,
            lifts,
            peak: Peak::default(),
            in_pass: None,
            change_in_pass: 0.0,
        };
        watch.look_at_all();
        watch
    }

    pub fn peak(&self) -> Peak {
        self.peak
    }

    pub fn start_pass(&mut self) {
        self.in_pass = None;
        self.change_in_pass = 0.0;
        self.look_at_all();
    }

    /// Records a move: all its supports arrive before any slope is looked at, because on the way
    /// every slope runs evenly from what it was to what it becomes.
    pub fn set(&mut self, together: &[(usize, Length)]) {
        for &(support, lift) in together {
            self.lifts[support] = lift;
        }
        for &(support, _) in together {
            for pair_at in 0..self.pairs_of[support].len() {
                self.look_at(self.pairs_of[support][pair_at]);
            }
        }
    }

    pub fn end_pass(&mut self, supports: &[SupportToLift]) -> Option<WorstPlace> {
        let (pair, slope) = self.in_pass?;
        let (a, b) = self.pairs[pair].supports;
        Some(WorstPlace {
            pair: (supports[a].id.clone(), supports[b].id.clone()),
            slope,
            limit: self.pairs[pair].limit,
            change_from_start: self.change_in_pass,
        })
    }

    fn look_at_all(&mut self) {
        for pair in 0..self.pairs.len() {
            self.look_at(pair);
        }
    }

    fn look_at(&mut self, pair_idx: usize) {
        let pair = &self.pairs[pair_idx];
        let (from, to) = pair.supports;
        let slope = pair.start + (self.lifts[to] - self.lifts[from]) / pair.distance;
        let change = (slope - pair.start).abs();
        self.peak.slope = self.peak.slope.max(slope.abs());
        let over = slope.abs() - pair.limit;
        if over > 1e-12 {
            self.peak.over_limit = self.peak.over_limit.max(over);
        }
        self.peak.change_from_start = self.peak.change_from_start.max(change);
        self.change_in_pass = self.change_in_pass.max(change);
        let share = |(pair, slope): (usize, f64)| slope.abs() / self.pairs[pair].limit;
        if self.in_pass.is_none_or(|worst| share((pair_idx, slope)) > share(worst)) {
            self.in_pass = Some((pair_idx, slope));
        }
    }
}
