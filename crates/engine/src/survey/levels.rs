//! The levels of all points together with how they hang together.

use crate::ids::PointId;
use crate::units::{Length, Level, Variance};
use serde::Serialize;
use std::collections::BTreeMap;

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
#[derive(Clone, Debug, PartialEq)]
pub struct Levels {
    points: Vec<PointLevel>,
    index: BTreeMap<PointId, usize>,
    covariance: Vec<f64>,
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
        let index =
            points.iter().enumerate().map(|(idx, level)| (level.point.clone(), idx)).collect();
        let covariance = covariance.iter().flatten().map(|variance| variance.to_mm2()).collect();
        Self { points, index, covariance }
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
        let covariance: Vec<Vec<Variance>> =
            (0..points.len())
                .map(|row| {
                    (0..points.len())
                        .map(|col| {
                            if row == col { points[row].sd_prior.squared() } else { Variance::ZERO }
                        })
                        .collect()
                })
                .collect();
        Self::new(points, &covariance)
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
    /// the order chosen.
    pub fn covariances(&self, chosen: &[usize]) -> Vec<Vec<Variance>> {
        let n_points = self.points.len();
        chosen
            .iter()
            .map(|&row| {
                chosen
                    .iter()
                    .map(|&col| Variance::mm2(self.covariance[row * n_points + col]))
                    .collect()
            })
            .collect()
    }

    /// Prior standard deviation of a weighted sum of levels, weights as (index, ratio).
    ///
    /// With weights that sum to zero this is the uncertainty of a difference, in which whatever
    /// the points share drops out.
    pub fn combination_sd(&self, weights: &[(usize, f64)]) -> Length {
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
        Variance::mm2(variance).sd()
    }

    /// Prior standard deviation of the height of one point above another.
    pub fn difference_sd(&self, from: usize, to: usize) -> Length {
        if from == to { Length::ZERO } else { self.combination_sd(&[(from, -1.0), (to, 1.0)]) }
    }
}
