//! The adjustment: rows from the network, their solution, and what it says of each observation.
//!
//! Unknowns are corrections to the approximate levels of points and lines, so that right-hand
//! sides are as small as the misclosures and no digits are lost to the height above the datum.
//! Each row is divided by its standard deviation; with unit weights in that form
//! `x = argmin |A x - l|^2`, `v = A x - l`, and the cofactors are `Q = (A'A)^-1`.
//!
//! # References
//! Ghilani, *Adjustment Computations*; Niemeier, *Ausgleichungsrechnung*; Krumm, *Geodetic
//! Network Adjustment Examples*, 2020. Checked in `tests/published/levelling.rs`.

use super::equations::{Factor, Rows, Solver, dot, solve};
use super::fault::{DriftRefusal, SurveyFault};
use super::input::{Datum, Survey};
use super::network::Network;
use super::reduction::ObservationSource;
use faer::{Mat, Side};
use std::sync::Arc;

/// Weight of the pull towards no drift with which drifts are first tried, beside the
/// information that the spread of times could carry at most.
const TRIAL_PULL: f64 = 1e-10;
/// Below this share of that information a drift is not told apart from the levels.
const LEAST_INFORMATION: f64 = 1e-8;
/// A redundancy number below this is none.
pub(crate) const NO_REDUNDANCY: f64 = 1e-9;

/// Which unknown stands for what.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Layout {
    /// Unknown of each node; `None` where the level is held.
    pub(crate) of_node: Vec<Option<usize>>,
    /// Unknown of each setup's drift over its span.
    pub(crate) of_drift: Vec<Option<usize>>,
    pub(crate) n_unknowns: usize,
}

/// One observation as a direction in which it may be in error.
///
/// For an observation on its own this is its row. For a benchmark that is correlated with
/// others it is that height's own direction among the decorrelated rows.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Direction {
    pub(crate) source: ObservationSource,
    /// The direction seen from the unknowns: `A'g`.
    pub(crate) terms: Vec<(usize, f64)>,
    /// `g'g`
    pub(crate) length: f64,
    /// `g'v`
    pub(crate) push: f64,
    /// `g' Qvv g`
    pub(crate) room: f64,
    /// Share of an error that shows in the residual.
    pub(crate) redundancy: f64,
    /// `adjusted - observed` in what was written down, mm.
    pub(crate) residual: f64,
    /// One unit of the direction in what was written down, mm, with its sign.
    pub(crate) unit: f64,
    /// A-priori standard deviation of what was written down, mm.
    pub(crate) sd: f64,
}

impl Direction {
    /// Whether an error in this observation would show at all.
    pub(crate) fn is_controlled(&self) -> bool {
        self.room > NO_REDUNDANCY * self.length
    }

    /// Joins no unknown: both ends are held.
    pub(crate) fn checks_benchmarks(&self) -> bool {
        self.terms.is_empty()
    }
}

/// The solved network.
#[derive(Clone, Debug)]
pub(crate) struct Adjusted {
    pub(crate) layout: Layout,
    pub(crate) unknowns: Vec<f64>,
    pub(crate) factor: Arc<Factor>,
    pub(crate) directions: Vec<Direction>,
    /// `P` of the correlated benchmarks, in order of their directions, which come last.
    pub(crate) precision: Option<Mat<f64>>,
    pub(crate) weighted_ss: f64,
    pub(crate) redundancy: usize,
}

impl Adjusted {
    /// `g_i' g_k`: how two directions overlap among the decorrelated observations.
    pub(crate) fn overlap(&self, one: usize, other: usize) -> f64 {
        let n_apart = self.directions.len() - self.precision.as_ref().map_or(0, Mat::nrows);
        match &self.precision {
            Some(precision) if one >= n_apart && other >= n_apart => {
                precision[(one - n_apart, other - n_apart)]
            }
            _ if one == other => 1.0,
            _ => 0.0,
        }
    }

    /// `g_i' Qvv g_k` for one `k` and every `i`.
    pub(crate) fn shared_room(&self, with: usize) -> Vec<f64> {
        let terms = &self.directions[with].terms;
        let column = self.factor.apply_terms(terms, self.layout.n_unknowns);
        let each = self.directions.iter().enumerate();
        each.map(|(idx, direction)| self.overlap(idx, with) - dot(&direction.terms, &column))
            .collect()
    }
}

/// Solves the network; drifts that cannot be told from the levels are refused on the way.
pub(crate) fn adjust(survey: &Survey, network: &mut Network, solver: Solver) -> Option<Adjusted> {
    let whitening = benchmark_whitening(survey, network);
    if network.clocks.iter().any(Option::is_some) {
        refuse_hidden_drifts(network, whitening.as_ref(), solver);
    }
    for (setup, why) in survey.setups.iter().zip(&network.refusals) {
        if let Some(why) = why {
            let (setup, why) = (setup.id.clone(), why.clone());
            network.faults.push(SurveyFault::DriftRefused { setup, why });
        }
    }
    let layout = lay_out(network);
    let rows = rows_of(network, &layout, whitening.as_ref());
    let redundancy = rows.len().checked_sub(layout.n_unknowns)?;
    let (unknowns, factor) = solve(&rows, solver)?;
    let residuals = rows.residuals(&unknowns);
    // Without spare observations what is left is rounding.
    let weighted_ss = if redundancy == 0 { 0.0 } else { residuals.iter().map(|v| v * v).sum() };
    let precision = whitening.map(|whitening| whitening.transpose() * &whitening);
    let mut adjusted = Adjusted {
        layout,
        unknowns,
        factor: Arc::new(factor),
        directions: Vec::with_capacity(rows.len()),
        precision,
        weighted_ss,
        redundancy,
    };
    look_along_each(network, &rows, &residuals, &mut adjusted);
    let finite = adjusted.weighted_ss.is_finite()
        && adjusted.directions.iter().all(|d| d.push.is_finite() && d.room.is_finite());
    finite.then_some(adjusted)
}

/// `W` with `W'W` the inverse of the benchmarks' covariance, so that `W` times them is
/// uncorrelated with unit variance.
fn benchmark_whitening(survey: &Survey, network: &mut Network) -> Option<Mat<f64>> {
    let Datum::CorrelatedBenchmarks(covariance) = &survey.datum else {
        return None;
    };
    let whitening = network.correlated.then(|| whiten(covariance)).flatten();
    if whitening.is_none() {
        network.faults.extend(network.correlated.then_some(SurveyFault::CovarianceNotPositive));
        network.drop_covariance(survey);
    }
    whitening
}

fn whiten(covariance: &[Vec<crate::units::Variance>]) -> Option<Mat<f64>> {
    let n_benchmarks = covariance.len();
    let entry = |row: usize, column: usize| covariance[row][column].to_mm2();
    let usable = (0..n_benchmarks).all(|row| {
        let variance = entry(row, row);
        let in_bounds = (1e-12..=1e12).contains(&variance);
        in_bounds
            && (0..row).all(|column| {
                let gap = (entry(row, column) - entry(column, row)).abs();
                gap <= 1e-9 * (variance * entry(column, column)).sqrt()
            })
    });
    if n_benchmarks == 0 || !usable {
        return None;
    }
    // Factorised as correlations, so that the limit on a pivot is a plain ratio.
    let sd = |idx: usize| entry(idx, idx).sqrt();
    let correlations = Mat::from_fn(n_benchmarks, n_benchmarks, |row, column| {
        entry(row.max(column), row.min(column)) / (sd(row) * sd(column))
    });
    let factor = correlations.llt(Side::Lower).ok()?;
    let lower = factor.L();
    if (0..n_benchmarks).any(|idx| lower[(idx, idx)].is_nan() || lower[(idx, idx)] < 1e-5) {
        return None;
    }
    let mut whitening = Mat::from_fn(n_benchmarks, n_benchmarks, |row, column| {
        if row == column { 1.0 / sd(column) } else { 0.0 }
    });
    for column in 0..n_benchmarks {
        for row in column..n_benchmarks {
            let known: f64 =
                (column..row).map(|mid| lower[(row, mid)] * whitening[(mid, column)]).sum();
            whitening[(row, column)] = (whitening[(row, column)] - known) / lower[(row, row)];
        }
    }
    Some(whitening)
}

fn lay_out(network: &Network) -> Layout {
    let mut n_unknowns = 0;
    let mut take = || {
        n_unknowns += 1;
        n_unknowns - 1
    };
    let of_node = (0..network.n_nodes())
        .map(|node| {
            let used = network.cluster_of[node] != usize::MAX;
            (used && !network.held.contains_key(&node)).then(&mut take)
        })
        .collect();
    let of_drift = network.clocks.iter().map(|clock| clock.map(|_| take())).collect();
    Layout { of_node, of_drift, n_unknowns }
}

fn rows_of(network: &Network, layout: &Layout, whitening: Option<&Mat<f64>>) -> Rows {
    let mut rows = Rows::new(layout.n_unknowns);
    let n_points = network.points.len();
    for measured in &network.measured {
        let mut terms = Vec::with_capacity(3);
        terms.extend(layout.of_node[measured.to].map(|unknown| (unknown, 1.0 / measured.sd)));
        terms.extend(layout.of_node[measured.from].map(|unknown| (unknown, -1.0 / measured.sd)));
        if let Some(setup) = measured.from.checked_sub(n_points) {
            let drift = layout.of_drift[setup];
            terms.extend(drift.map(|unknown| (unknown, -measured.time / measured.sd)));
        }
        let expected = network.approximate[measured.to] - network.approximate[measured.from];
        rows.push(&terms, (measured.rise - expected) / measured.sd);
    }
    let gap = |weighted: usize| {
        let weighted = network.weighted[weighted];
        weighted.level - network.approximate[weighted.point]
    };
    for (idx, weighted) in network.weighted.iter().enumerate() {
        let unknown = |point: usize| layout.of_node[point];
        match whitening {
            None => {
                let terms = unknown(weighted.point).map(|unknown| (unknown, 1.0 / weighted.sd));
                rows.push(terms.as_slice(), gap(idx) / weighted.sd);
            }
            Some(whitening) => {
                let terms: Vec<_> = (0..network.weighted.len())
                    .filter_map(|other| {
                        let unknown = unknown(network.weighted[other].point)?;
                        Some((unknown, whitening[(idx, other)]))
                    })
                    .collect();
                let rhs = (0..network.weighted.len())
                    .map(|other| whitening[(idx, other)] * gap(other))
                    .sum();
                rows.push(&terms, rhs);
            }
        }
    }
    rows
}

/// Solves once with every drift pulled weakly towards none. Where the pull is all that there is,
/// nothing in the survey tells that drift from the levels.
fn refuse_hidden_drifts(network: &mut Network, whitening: Option<&Mat<f64>>, solver: Solver) {
    let layout = lay_out(network);
    let mut rows = rows_of(network, &layout, whitening);
    let mut most = vec![0.0; network.n_setups];
    let n_points = network.points.len();
    for measured in &network.measured {
        if let Some(setup) = measured.from.checked_sub(n_points) {
            most[setup] += (measured.time / measured.sd).powi(2);
        }
    }
    for (drift, most) in layout.of_drift.iter().zip(&most) {
        if let Some(unknown) = drift {
            rows.push(&[(*unknown, (TRIAL_PULL * most).sqrt())], 0.0);
        }
    }
    // Drifts that hide behind one another hold on to each other's pull, which is no information.
    let borrowed = 2.0 * TRIAL_PULL * most.iter().sum::<f64>();
    let solved = solve(&rows, solver);
    for (setup, drift) in layout.of_drift.iter().enumerate() {
        let Some(unknown) = *drift else { continue };
        let told_apart = solved.as_ref().is_some_and(|(_, factor)| {
            let information = 1.0 / factor.entry(unknown, unknown) - TRIAL_PULL * most[setup];
            information > LEAST_INFORMATION * most[setup] + borrowed
        });
        if !told_apart {
            network.clocks[setup] = None;
            network.refusals[setup] = Some(DriftRefusal::NotReadAgain);
        }
    }
}

fn look_along_each(network: &Network, rows: &Rows, residuals: &[f64], adjusted: &mut Adjusted) {
    for (row, measured) in network.measured.iter().enumerate() {
        let unit = measured.sd / measured.per_written;
        let sd = unit.abs();
        let direction = along_row(measured.source, row, rows, residuals, &adjusted.factor);
        adjusted.directions.push(Direction {
            residual: residuals[row] * unit,
            unit,
            sd,
            ..direction
        });
    }
    let first = network.measured.len();
    for (idx, weighted) in network.weighted.iter().enumerate() {
        let source = ObservationSource::Benchmark { benchmark: weighted.benchmark };
        let direction = match &adjusted.precision {
            None => {
                let row = first + idx;
                let direction = along_row(source, row, rows, residuals, &adjusted.factor);
                let (unit, sd) = (weighted.sd, weighted.sd);
                Direction { residual: residuals[row] * unit, unit, sd, ..direction }
            }
            Some(precision) => along_height(network, precision, idx, adjusted),
        };
        adjusted.directions.push(direction);
    }
}

/// Looks along an observation of its own row.
fn along_row(
    source: ObservationSource,
    row: usize,
    rows: &Rows,
    residuals: &[f64],
    factor: &Factor,
) -> Direction {
    let terms = rows.terms(row).to_vec();
    let room = 1.0 - factor.quadratic(&terms);
    let room = if room < NO_REDUNDANCY { 0.0 } else { room };
    Direction {
        source,
        terms,
        length: 1.0,
        push: residuals[row],
        room,
        redundancy: room,
        residual: 0.0,
        unit: 1.0,
        sd: 1.0,
    }
}

/// Looks along one of several correlated heights: `(P v)_i` and `(P Qvv P)_ii`.
fn along_height(
    network: &Network,
    precision: &Mat<f64>,
    idx: usize,
    adjusted: &Adjusted,
) -> Direction {
    let n_heights = network.weighted.len();
    let unknown = |other: usize| adjusted.layout.of_node[network.weighted[other].point];
    let correction = |other: usize| unknown(other).map_or(0.0, |u| adjusted.unknowns[u]);
    let residual = |other: usize| {
        let weighted = network.weighted[other];
        network.approximate[weighted.point] + correction(other) - weighted.level
    };
    let terms: Vec<_> = (0..n_heights)
        .filter_map(|other| Some((unknown(other)?, precision[(idx, other)])))
        .collect();
    let own_share: f64 = unknown(idx).map_or(0.0, |own| {
        terms.iter().map(|&(other, weight)| adjusted.factor.entry(own, other) * weight).sum()
    });
    Direction {
        source: ObservationSource::Benchmark { benchmark: network.weighted[idx].benchmark },
        length: precision[(idx, idx)],
        push: (0..n_heights).map(|other| precision[(idx, other)] * residual(other)).sum(),
        room: (precision[(idx, idx)] - adjusted.factor.quadratic(&terms)).max(0.0),
        redundancy: 1.0 - own_share,
        residual: residual(idx),
        unit: 1.0,
        sd: network.weighted[idx].sd,
        terms,
    }
}
