//! A survey as a network: what was measured between which points and setups, which parts hang
//! together, and which of them reach a known height.

use super::fault::{
    DriftRefusal, LARGEST_LEVEL, LARGEST_SD, SCALE_BOUNDS, SMALLEST_SD, SurveyFault,
};
use super::input::{Datum, Drift, Setup, Survey};
use super::reduction::ObservationSource;
use crate::ids::PointId;
use crate::units::{Length, Level};
use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;

/// One usable reading or leg.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Measured {
    pub(crate) source: ObservationSource,
    /// Node that the value counts from: a setup's line (or, inverted, the point), a leg's start.
    pub(crate) from: usize,
    /// Node at the other end.
    pub(crate) to: usize,
    /// Height of `to` above `from`, in millimetres of level.
    pub(crate) rise: f64,
    /// Its standard deviation, in millimetres of level.
    pub(crate) sd: f64,
    /// Millimetres of level to one of what was written down; negative where a bigger number
    /// means a lower `to`.
    pub(crate) per_written: f64,
    /// Time since the mean time of the setup, in spans of the setup; 0 without drift.
    pub(crate) time: f64,
}

/// A known height that is not held exactly.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Weighted {
    pub(crate) benchmark: usize,
    pub(crate) point: usize,
    pub(crate) level: f64,
    pub(crate) sd: f64,
}

/// Times of a setup that may drift.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Clock {
    /// Minutes.
    pub(crate) mean: f64,
    /// Minutes.
    pub(crate) span: f64,
}

/// What a part's heights come from.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum PartDatum {
    /// Held or weighted heights in it.
    Known,
    /// The mean of the chosen points (node, approximate level).
    Mean(Vec<(usize, f64)>),
    /// Nothing: levels count from its first point and are not heights.
    Missing,
}

/// Points and setups that hang together.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Cluster {
    /// Nodes, ascending: points by name, then setups.
    pub(crate) nodes: Vec<usize>,
    pub(crate) datum: PartDatum,
}

/// The checked network. Nodes are the points in order of name, then the setups as given.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Network {
    pub(crate) points: Vec<PointId>,
    pub(crate) index: BTreeMap<PointId, usize>,
    pub(crate) n_setups: usize,
    pub(crate) measured: Vec<Measured>,
    /// Where each setup's readings stand among what was measured.
    pub(crate) readings_of: Vec<Range<usize>>,
    pub(crate) weighted: Vec<Weighted>,
    /// Whether the weighted heights are to be taken with the survey's full covariance.
    pub(crate) correlated: bool,
    /// Level of each node that is held.
    pub(crate) held: BTreeMap<usize, f64>,
    pub(crate) clocks: Vec<Option<Clock>>,
    pub(crate) refusals: Vec<Option<DriftRefusal>>,
    pub(crate) clusters: Vec<Cluster>,
    pub(crate) cluster_of: Vec<usize>,
    /// Level of each node as the first way to it gives it.
    pub(crate) approximate: Vec<f64>,
    pub(crate) faults: Vec<SurveyFault>,
}

impl Network {
    pub(crate) fn of(survey: &Survey) -> Self {
        let mut network = Self { n_setups: survey.setups.len(), ..Self::default() };
        network.name_points(survey);
        network.take_setups(survey);
        network.take_legs(survey);
        network.take_datum(survey);
        network.find_clusters(survey);
        network
    }

    pub(crate) fn n_nodes(&self) -> usize {
        self.points.len() + self.n_setups
    }

    /// Whether a node is a known height that its part hangs on.
    pub(crate) fn carries_datum(&self, node: usize) -> bool {
        self.weighted.iter().any(|weighted| weighted.point == node)
            || self.held.contains_key(&node)
                && self.clusters[self.cluster_of[node]].datum == PartDatum::Known
    }

    pub(crate) fn setup_node(&self, setup: usize) -> usize {
        self.points.len() + setup
    }

    fn name_points(&mut self, survey: &Survey) {
        let read = survey.setups.iter().flat_map(|setup| &setup.readings).map(|r| &r.point);
        let legs = survey.legs.iter().flat_map(|leg| [&leg.from, &leg.to]);
        let known = survey.benchmarks.iter().map(|benchmark| &benchmark.point);
        let names: BTreeSet<&PointId> = read.chain(legs).chain(known).collect();
        self.points = names.into_iter().cloned().collect();
        self.index = self.points.iter().cloned().zip(0..).collect();
    }

    fn take_setups(&mut self, survey: &Survey) {
        let mut names = BTreeSet::new();
        for (setup_idx, setup) in survey.setups.iter().enumerate() {
            if !names.insert(&setup.id) {
                self.faults.push(SurveyFault::SetupTwice(setup.id.clone()));
            }
            let first = self.measured.len();
            let (smallest, largest) = SCALE_BOUNDS;
            if (smallest..=largest).contains(&setup.scale) {
                self.take_readings(setup_idx, setup);
            } else {
                let (setup, scale) = (setup.id.clone(), setup.scale.to_string());
                self.faults.push(SurveyFault::BadScale { setup, scale });
            }
            if self.measured.len() == first {
                self.faults.push(SurveyFault::SetupEmpty(setup.id.clone()));
            }
            let clock = (setup.drift == Drift::Linear && self.measured.len() > first)
                .then(|| self.start_clock(setup, first));
            let (clock, refusal) = match clock {
                None => (None, None),
                Some(Ok(clock)) => (Some(clock), None),
                Some(Err(why)) => (None, Some(why)),
            };
            self.readings_of.push(first..self.measured.len());
            self.clocks.push(clock);
            self.refusals.push(refusal);
        }
    }

    fn take_readings(&mut self, setup_idx: usize, setup: &Setup) {
        let line = self.setup_node(setup_idx);
        for (reading_idx, reading) in setup.readings.iter().enumerate() {
            let sd = setup.sd_of(reading);
            let what = || format!("the reading of {} from setup {}", reading.point, setup.id);
            if !self.usable_sd(sd, what) {
                continue;
            }
            let per_written = if reading.inverted { setup.scale } else { -setup.scale };
            self.measured.push(Measured {
                source: ObservationSource::Reading { setup: setup_idx, reading: reading_idx },
                from: line,
                to: self.index[&reading.point],
                rise: reading.value.to_mm() * per_written,
                sd: sd.to_mm() * setup.scale,
                per_written,
                time: 0.0,
            });
        }
    }

    /// Centres the times of a setup's readings, so that line and rate hardly hang together.
    fn start_clock(&mut self, setup: &Setup, first: usize) -> Result<Clock, DriftRefusal> {
        let minutes = |measured: &Measured| match measured.source {
            ObservationSource::Reading { reading, .. } => {
                let time = setup.readings[reading].time.filter(|time| time.is_finite())?;
                Some(time.to_minutes()).filter(|minutes| minutes.abs() <= 1e9)
            }
            _ => None,
        };
        let readings = &mut self.measured[first..];
        let times: Vec<f64> = readings.iter().filter_map(minutes).collect();
        let n_readings = readings.len();
        if times.len() < n_readings {
            let n_without = n_readings - times.len();
            return Err(DriftRefusal::TimesMissing { n_without, n_readings });
        }
        let mean = times.iter().sum::<f64>() / n_readings as f64;
        let earliest = times.iter().copied().fold(f64::INFINITY, f64::min);
        let latest = times.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let span = latest - earliest;
        if span < 1e-6 {
            return Err(DriftRefusal::OneTime { n_readings });
        }
        if n_readings < 3 {
            return Err(DriftRefusal::TooFewReadings { n_readings });
        }
        for (measured, time) in readings.iter_mut().zip(&times) {
            measured.time = (time - mean) / span;
        }
        Ok(Clock { mean, span })
    }

    fn take_legs(&mut self, survey: &Survey) {
        for (leg_idx, leg) in survey.legs.iter().enumerate() {
            if leg.from == leg.to {
                let (number, point) = (leg_idx + 1, leg.from.clone());
                self.faults.push(SurveyFault::LegToItself { number, point });
                continue;
            }
            let sd = leg.weight.sd();
            if !self.usable_sd(sd, || format!("the leg from {} to {}", leg.from, leg.to)) {
                continue;
            }
            self.measured.push(Measured {
                source: ObservationSource::Leg { leg: leg_idx },
                from: self.index[&leg.from],
                to: self.index[&leg.to],
                rise: leg.rise.to_mm(),
                sd: sd.to_mm(),
                per_written: 1.0,
                time: 0.0,
            });
        }
    }

    fn usable_sd(&mut self, sd: Length, what: impl Fn() -> String) -> bool {
        let usable = sd >= SMALLEST_SD && sd <= LARGEST_SD;
        if !usable {
            self.faults.push(SurveyFault::BadSd { what: what(), sd_mm: sd.to_mm().to_string() });
        }
        usable
    }

    fn usable_level(&mut self, level: Level, what: impl Fn() -> String) -> bool {
        let usable = level.to_mm().abs() <= LARGEST_LEVEL.to_mm();
        if !usable {
            let level_mm = level.to_mm().to_string();
            self.faults.push(SurveyFault::BadLevel { what: what(), level_mm });
        }
        usable
    }

    fn take_datum(&mut self, survey: &Survey) {
        match &survey.datum {
            Datum::Benchmarks => self.take_benchmarks(survey, false),
            Datum::CorrelatedBenchmarks(covariance) => {
                let n_benchmarks = survey.benchmarks.len();
                let square = covariance.len() == n_benchmarks
                    && covariance.iter().all(|row| row.len() == n_benchmarks);
                if !square {
                    self.faults.push(SurveyFault::CovarianceShape(n_benchmarks));
                }
                self.correlated = square;
                self.take_benchmarks(survey, square);
                if square && !self.correlated {
                    self.faults.push(SurveyFault::CovarianceIncomplete);
                }
            }
            Datum::PointIsZero(point) => {
                self.leave_out_benchmarks(survey);
                match self.index.get(point) {
                    Some(&node) => {
                        self.held.insert(node, 0.0);
                    }
                    None => self.faults.push(SurveyFault::DatumPointUnread(point.clone())),
                }
            }
            Datum::Free { .. } => self.leave_out_benchmarks(survey),
        }
    }

    fn leave_out_benchmarks(&mut self, survey: &Survey) {
        let unused = survey.benchmarks.iter().map(|benchmark| benchmark.point.clone());
        self.faults.extend(unused.map(SurveyFault::BenchmarkUnused));
    }

    fn take_benchmarks(&mut self, survey: &Survey, by_covariance: bool) {
        let mut used: BTreeMap<usize, Level> = BTreeMap::new();
        for (benchmark_idx, benchmark) in survey.benchmarks.iter().enumerate() {
            let node = self.index[&benchmark.point];
            let what = || format!("benchmark {}", benchmark.point);
            if let Some(&used) = used.get(&node) {
                let (point, left_out) = (benchmark.point.clone(), benchmark.level);
                self.faults.push(SurveyFault::BenchmarkTwice { point, used, left_out });
                self.correlated = false;
                continue;
            }
            if !self.usable_level(benchmark.level, what) {
                self.correlated = false;
                continue;
            }
            let level = benchmark.level.to_mm();
            if !by_covariance && benchmark.sd == Length::ZERO {
                self.held.insert(node, level);
            } else if by_covariance || self.usable_sd(benchmark.sd, what) {
                let sd = match &survey.datum {
                    Datum::CorrelatedBenchmarks(covariance) if by_covariance => {
                        covariance[benchmark_idx][benchmark_idx].sd()
                    }
                    _ => benchmark.sd,
                };
                let (benchmark, point, sd) = (benchmark_idx, node, sd.to_mm());
                self.weighted.push(Weighted { benchmark, point, level, sd });
            } else {
                continue;
            }
            used.insert(node, benchmark.level);
        }
    }

    /// The covariance of the benchmarks turned out to be none: their own standard deviations
    /// take its place.
    pub(crate) fn drop_covariance(&mut self, survey: &Survey) {
        self.correlated = false;
        self.weighted.clear();
        self.held.clear();
        let faults = std::mem::take(&mut self.faults);
        self.take_benchmarks(survey, false);
        let fresh = std::mem::replace(&mut self.faults, faults);
        for fault in fresh {
            if !self.faults.contains(&fault) {
                self.faults.push(fault);
            }
        }
        self.faults.retain(|fault| {
            !matches!(fault, SurveyFault::NoHeight { .. } | SurveyFault::BenchmarkAlone(_))
        });
        self.find_clusters(survey);
    }

    /// Walks the network from every known height, then from whatever is left, and notes which
    /// nodes hang together and their levels along the way.
    fn find_clusters(&mut self, survey: &Survey) {
        let n_nodes = self.n_nodes();
        let ways = self.ways();
        self.cluster_of = vec![usize::MAX; n_nodes];
        self.approximate = vec![0.0; n_nodes];
        self.clusters.clear();
        let known: Vec<(usize, f64)> = self
            .held
            .iter()
            .map(|(&node, &level)| (node, level))
            .chain(self.weighted.iter().map(|weighted| (weighted.point, weighted.level)))
            .collect();
        let mean = self.mean_points(survey);
        let starts = known.iter().chain(&mean).copied();
        for (start, level) in starts.chain((0..self.points.len()).map(|point| (point, 0.0))) {
            if self.cluster_of[start] == usize::MAX {
                self.walk(start, level, &ways);
            }
        }
        for &(node, _) in &known {
            self.clusters[self.cluster_of[node]].datum = PartDatum::Known;
        }
        for &(node, level) in &mean {
            match &mut self.clusters[self.cluster_of[node]].datum {
                PartDatum::Mean(chosen) => chosen.push((node, level)),
                datum => *datum = PartDatum::Mean(vec![(node, level)]),
            }
        }
        self.hold_references();
        self.name_the_unconnected();
    }

    /// Measurements by node, as (measurement, other end).
    fn ways(&self) -> Vec<Vec<usize>> {
        let mut ways = vec![Vec::new(); self.n_nodes()];
        for (idx, measured) in self.measured.iter().enumerate() {
            ways[measured.from].push(idx);
            ways[measured.to].push(idx);
        }
        ways
    }

    fn walk(&mut self, start: usize, level: f64, ways: &[Vec<usize>]) {
        let cluster = self.clusters.len();
        let mut nodes = vec![start];
        self.cluster_of[start] = cluster;
        self.approximate[start] = level;
        let mut next = 0;
        while next < nodes.len() {
            let node = nodes[next];
            next += 1;
            for &way in &ways[node] {
                let measured = self.measured[way];
                let (other, rise) = if measured.from == node {
                    (measured.to, measured.rise)
                } else {
                    (measured.from, -measured.rise)
                };
                if self.cluster_of[other] == usize::MAX {
                    self.cluster_of[other] = cluster;
                    let level = self.approximate[node] + rise;
                    self.approximate[other] = self.held.get(&other).copied().unwrap_or(level);
                    nodes.push(other);
                }
            }
        }
        nodes.sort_unstable();
        self.clusters.push(Cluster { nodes, datum: PartDatum::Missing });
    }

    fn mean_points(&mut self, survey: &Survey) -> Vec<(usize, f64)> {
        let Datum::Free { approximate } = &survey.datum else {
            return Vec::new();
        };
        let mut seen = BTreeSet::new();
        let mut chosen = Vec::new();
        for (point, level) in approximate {
            if !seen.insert(point) {
                self.faults.push(SurveyFault::DatumPointTwice(point.clone()));
                continue;
            }
            match self.index.get(point).copied() {
                None => self.faults.push(SurveyFault::DatumPointUnread(point.clone())),
                Some(node) => {
                    if self.usable_level(*level, || format!("datum point {point}")) {
                        chosen.push((node, level.to_mm()));
                    }
                }
            }
        }
        chosen
    }

    /// A part without a held or weighted height counts from its first point while it is solved.
    fn hold_references(&mut self) {
        for cluster in &self.clusters {
            let reference = match &cluster.datum {
                PartDatum::Known => continue,
                PartDatum::Mean(chosen) => chosen[0].0,
                PartDatum::Missing => cluster.nodes[0],
            };
            self.held.insert(reference, self.approximate[reference]);
        }
    }

    fn name_the_unconnected(&mut self) {
        let n_points = self.points.len();
        for cluster in &self.clusters {
            let points = cluster.nodes.iter().filter(|&&node| node < n_points);
            let points: Vec<PointId> = points.map(|&node| self.points[node].clone()).collect();
            match (&cluster.datum, &points[..]) {
                (PartDatum::Missing, [only]) if cluster.nodes.len() == 1 => {
                    let told = self.faults.iter().any(|fault| {
                        matches!(fault, SurveyFault::BenchmarkUnused(point) if point == only)
                    });
                    if !told {
                        self.faults.push(SurveyFault::NoHeight { points });
                    }
                }
                (PartDatum::Missing, _) => self.faults.push(SurveyFault::NoHeight { points }),
                (PartDatum::Known, [only]) if cluster.nodes.len() == 1 => {
                    self.faults.push(SurveyFault::BenchmarkAlone(only.clone()));
                }
                _ => {}
            }
        }
    }
}
