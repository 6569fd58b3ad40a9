//! The levels of all points together with how they hang together.

use super::equations::Factor;
use crate::ids::PointId;
use crate::units::{Length, Level, Variance};
use serde::{Serialize, Serializer};
use std::collections::BTreeMap;
use std::sync::Arc;

/// Two ways to the same variance differ by less than this ratio of the variances that go in.
const ROUNDING: f64 = 1e-6;

/// The level of one point.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PointLevel {
    /// The point.
    pub point: PointId,
    /// Its height above the datum.
    pub level: Level,
    /// Standard deviation from the stated standard deviations of the readings.
    pub sd_prior: Length,
    /// The same scaled by what the residuals of this survey say; `None` without spare readings.
    pub sd_post: Option<Length>,
    /// Held exactly, as a benchmark without uncertainty is.
    pub held: bool,
}

/// The levels of all points that could be reduced, with the covariance of any pair.
///
/// A small survey keeps the whole covariance; a large one keeps the factor of its equations and
/// works out the covariances that are asked for, so that memory grows with the survey and not
/// works out the covariances that are asked for, so that memory grows with the survey and not
/// with its square. Serialized, it is the list of its points, each with its [`Levels::sd`].
#[derive(Clone, Debug, PartialEq)]
pub struct Levels {
    points: Vec<PointLevel>,
    index: BTreeMap<PointId, usize>,
    covariance: Covariance,
    /// What prior standard deviations are multiplied by before anybody acts on them.
    widening: f64,
}

#[derive(Clone, Debug, PartialEq)]
enum Covariance {
    /// Row by row, in square millimetres.
    Whole(Vec<f64>),
    OnRequest(Arc<Cofactors>),
    /// Each level on its own: its variance, in square millimetres.
    Independent(Vec<f64>),
}

/// Covariances of levels that are worked out when they are asked for.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Cofactors {
    pub(crate) factor: Arc<Factor>,
    pub(crate) n_unknowns: usize,
    /// Unknown of each level; `None` where it is held.
    pub(crate) unknowns: Vec<Option<usize>>,
    /// What a mean datum takes off, for each level: its part, its covariance with the mean of
    /// the chosen points, and the variance of that mean. `None` where the datum is another.
    pub(crate) means: Vec<Option<MeanDatum>>,
}

/// How a level hangs on the mean of the points that carry the datum.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct MeanDatum {
    pub(crate) part: usize,
    pub(crate) with_mean: f64,
    pub(crate) of_mean: f64,
}

impl Cofactors {
    /// Covariances of one level with the chosen ones.
    pub(crate) fn with(&self, level: usize, chosen: &[usize]) -> Vec<f64> {
        let column = self.unknowns[level]
            .map(|unknown| self.factor.apply_terms(&[(unknown, 1.0)], self.n_unknowns));
        let entry = |other: usize| match (&column, self.unknowns[other]) {
            (Some(column), Some(unknown)) => column[unknown],
            _ => 0.0,
        };
        chosen.iter().map(|&other| self.referred(level, other, entry(other))).collect()
    }

    fn variance(&self, level: usize) -> f64 {
        let solved =
            self.unknowns[level].map_or(0.0, |unknown| self.factor.entry(unknown, unknown));
        self.referred(level, level, solved)
    }

    /// Variance of a weighted sum of levels, in one solution however many they are: each part
    /// of the survey that a mean is taken off adds what [`Cofactors::referred`] adds pair by pair.
    fn of_combination(&self, weights: &[(usize, f64)]) -> f64 {
        let solved: Vec<(usize, f64)> = weights
            .iter()
            .filter_map(|&(level, weight)| Some((self.unknowns[level]?, weight)))
            .collect();
        let mut variance = self.factor.combination(&solved);
        let mut sums: BTreeMap<usize, (f64, f64, f64)> = BTreeMap::new();
        for &(level, weight) in weights {
            if let Some(mean) = self.means[level] {
                let (total, with_mean, of_mean) = sums.entry(mean.part).or_default();
                *total += weight;
                *with_mean += weight * mean.with_mean;
                *of_mean = mean.of_mean;
            }
        }
        for (total, with_mean, of_mean) in sums.into_values() {
            variance += total * (total * of_mean - 2.0 * with_mean);
        }
        variance
    }

    /// A covariance as solved, referred to the datum.
    pub(crate) fn referred(&self, one: usize, other: usize, covariance: f64) -> f64 {
        match (self.means[one], self.means[other]) {
            (Some(one), Some(other)) if one.part == other.part => {
                covariance - one.with_mean - other.with_mean + one.of_mean
            }
            _ => covariance,
        }
    }
}

impl Serialize for Levels {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        #[derive(Serialize)]
        struct WithSd<'a> {
            #[serde(flatten)]
            level: &'a PointLevel,
            sd: Length,
        }
        let levels = self.points.iter().enumerate();
        serializer.collect_seq(levels.map(|(idx, level)| WithSd { level, sd: self.sd(idx) }))
    }
}

impl Levels {
    /// Joins levels with their covariance, row by row in the order of the points.
    ///
    /// # Panics
    /// If the covariance is not square in the number of points: a bug of the caller.
    pub fn new(points: Vec<PointLevel>, covariance: &[Vec<Variance>]) -> Self {
        let n_points = points.len();
        assert!(
            covariance.len() == n_points && covariance.iter().all(|row| row.len() == n_points),
            "a covariance needs one row and one column for each point"
        );
        let covariance = covariance.iter().flatten().map(|variance| variance.to_mm2()).collect();
        Self::with(points, Covariance::Whole(covariance))
    }

    /// Joins levels with the means to work out their covariance: whole where the factor is.
    pub(crate) fn with_cofactors(points: Vec<PointLevel>, cofactors: Cofactors) -> Self {
        let covariance = match cofactors.factor.as_ref() {
            Factor::Dense(factor) => {
                let entry = |one: usize, other: usize| {
                    let solved = match (cofactors.unknowns[one], cofactors.unknowns[other]) {
                        (Some(one), Some(other)) => factor.entry(one, other),
                        _ => 0.0,
                    };
                    cofactors.referred(one, other, solved)
                };
                let rows = 0..points.len();
                let whole =
                    rows.clone().flat_map(|row| rows.clone().map(move |column| (row, column)));
                Covariance::Whole(whole.map(|(row, column)| entry(row, column)).collect())
            }
            Factor::Sparse(_) => Covariance::OnRequest(Arc::new(cofactors)),
        };
        Self::with(points, covariance)
    }

    fn with(points: Vec<PointLevel>, covariance: Covariance) -> Self {
        let index =
            points.iter().enumerate().map(|(idx, level)| (level.point.clone(), idx)).collect();
        Self { points, index, covariance, widening: 1.0 }
    }

    /// The same levels, whose uncertainties are this many times what was stated.
    pub fn widened(mut self, by: f64) -> Self {
        self.widening = by;
        self
    }

    /// Levels that do not hang together, as if each had been read on its own.
    pub fn independent(levels: impl IntoIterator<Item = (PointId, Level, Length)>) -> Self {
        let points: Vec<_> = levels
            .into_iter()
            .map(|(point, level, sd)| PointLevel {
                point,
                level,
                sd_prior: sd,
                sd_post: None,
                held: sd == Length::ZERO,
            })
            .collect();
        let variances = points.iter().map(|level| level.sd_prior.squared().to_mm2()).collect();
        Self::with(points, Covariance::Independent(variances))
    }

    /// The points that have a level.
    pub fn points(&self) -> &[PointLevel] {
        &self.points
    }

    /// Where a point stands in [`Levels::points`].
    pub fn index_of(&self, point: &PointId) -> Option<usize> {
        self.index.get(point).copied()
    }

    /// The level of a point.
    pub fn get(&self, point: &PointId) -> Option<&PointLevel> {
        self.index_of(point).map(|idx| &self.points[idx])
    }

    /// Prior covariances among the chosen points (indices into [`Levels::points`]), square, in
    /// the order chosen. On a large survey each point chosen costs one solution of its equations.
    pub fn covariances(&self, chosen: &[usize]) -> Vec<Vec<Variance>> {
        let n_points = self.points.len();
        let row_of = |row: usize| match &self.covariance {
            Covariance::Whole(whole) => {
                chosen.iter().map(|&column| whole[row * n_points + column]).collect()
            }
            Covariance::OnRequest(cofactors) => cofactors.with(row, chosen),
            Covariance::Independent(variances) => chosen
                .iter()
                .map(|&column| if column == row { variances[row] } else { 0.0 })
                .collect(),
        };
        let rows = chosen.iter().map(|&row| row_of(row));
        rows.map(|row| row.into_iter().map(Variance::mm2).collect()).collect()
    }

    /// Prior covariances of one level with every level, in square millimetres.
    pub(crate) fn column(&self, of: usize) -> Vec<f64> {
        let n_points = self.points.len();
        match &self.covariance {
            Covariance::Whole(whole) => whole[of * n_points..(of + 1) * n_points].to_vec(),
            Covariance::OnRequest(cofactors) => {
                cofactors.with(of, &(0..n_points).collect::<Vec<_>>())
            }
            Covariance::Independent(variances) => {
                let mut column = vec![0.0; n_points];
                column[of] = variances[of];
                column
            }
        }
    }

    /// What [`Levels::difference_sd`] is no less and no more than, from the column of `from`.
    ///
    /// The column gives it at once where a solution would be needed, but with other rounding.
    pub(crate) fn difference_sd_range(
        &self,
        column: &[f64],
        from: usize,
        to: usize,
    ) -> (Length, Length) {
        let own = match &self.covariance {
            Covariance::Whole(whole) => whole[to * self.points.len() + to],
            Covariance::OnRequest(cofactors) => cofactors.variance(to),
            Covariance::Independent(variances) => variances[to],
        };
        let apart = column[from] + own;
        let variance = apart - 2.0 * column[to];
        let sd = |variance: f64| Variance::mm2(variance).sd() * self.widening;
        (sd(variance - apart * ROUNDING), sd(variance + apart * ROUNDING))
    }

    /// Standard deviation of a level to act on: the prior one, widened where the survey calls
    /// for it.
    pub fn sd(&self, level: usize) -> Length {
        self.points[level].sd_prior * self.widening
    }

    /// Standard deviation, widened as [`Levels::sd`], of a weighted sum of levels, weights as
    /// (index, ratio).
    ///
    /// With weights that sum to zero this is the uncertainty of a difference, in which whatever
    /// the points share drops out.
    pub fn combination_sd(&self, weights: &[(usize, f64)]) -> Length {
        if let Covariance::OnRequest(cofactors) = &self.covariance {
            return Variance::mm2(cofactors.of_combination(weights)).sd() * self.widening;
        }
        let chosen: Vec<usize> = weights.iter().map(|&(idx, _)| idx).collect();
        let covariance = self.covariances(&chosen);
        let variance: f64 = weights
            .iter()
            .zip(&covariance)
            .map(|(&(_, row_weight), row)| {
                let across: f64 =
                    weights.iter().zip(row).map(|(&(_, weight), cov)| weight * cov.to_mm2()).sum();
                row_weight * across
            })
            .sum();
        Variance::mm2(variance).sd() * self.widening
    }

    /// Standard deviation, widened as [`Levels::sd`], of the height of one point above another.
    pub fn difference_sd(&self, from: usize, to: usize) -> Length {
        if from == to { Length::ZERO } else { self.combination_sd(&[(from, -1.0), (to, 1.0)]) }
    }
}
