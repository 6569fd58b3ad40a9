//! Spread, tilt and slopes, from the readings alone.

use super::FloorReading;
use crate::boxes::{Boxes, PairBounds, PairSearch, Reach, Stand};
use crate::ids::PointId;
use crate::survey::Levels;
use crate::units::{Length, Level};
use serde::Serialize;
use std::collections::BTreeSet;

/// How far apart the highest and the lowest reading are.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Spread {
    /// The highest reading; the first of several.
    pub highest: FloorReading,
    /// The lowest reading; the first of several.
    pub lowest: FloorReading,
    /// Highest less lowest.
    pub range: Length,
    /// Standard deviation of that difference, from the survey.
    pub sd: Length,
}

/// Finds the highest and the lowest of some readings; `None` if there are none.
///
/// Over readings of several decks the range includes the steps.
pub fn spread(readings: &[FloorReading], levels: &Levels) -> Option<Spread> {
    let mut highest = readings.first()?;
    let mut lowest = highest;
    for reading in readings {
        if reading.level > highest.level {
            highest = reading;
        }
        if reading.level < lowest.level {
            lowest = reading;
        }
    }
    Some(Spread {
        highest: highest.clone(),
        lowest: lowest.clone(),
        range: highest.level - lowest.level,
        sd: levels.difference_sd(lowest.in_levels, highest.in_levels),
    })
}

/// The plane that fits the readings best, and what is left after it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct BestFitPlane {
    /// Steepest slope of the plane (a ratio, never below zero).
    pub slope: f64,
    /// The same in millimetres per metre.
    pub fall_per_m: Length,
    /// The way the plane falls, in degrees clockwise from straight up the page (0 to 360), so that
    /// 90 is to the right of the page; `None` if the slope is less than a millimetre in a kilometre.
    pub falls_towards_degrees: Option<f64>,
    /// Rise to the right of the page (a ratio).
    pub rise_right: f64,
    /// Rise up the page (a ratio).
    pub rise_up: f64,
    /// Level of the plane amid the readings, which is their mean.
    pub mean_level: Level,
    /// What each reading is above the plane.
    pub residuals: Vec<Residual>,
    /// Standard deviation of the residuals, with three taken off their number; `None` for three.
    pub residual_sd: Option<Length>,
}

/// How far one reading is above the plane.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Residual {
    /// The point.
    pub point: PointId,
    /// Its level less the plane's there.
    pub above: Length,
}

/// Why there is no best-fit plane.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum PlaneError {
    /// Two readings lie in many planes.
    #[error("a plane needs at least 3 readings, there are {0}")]
    TooFew(usize),
    /// The readings do not spread across the floor.
    #[error("the readings spread {0} across their line, a plane needs at least 50.0 mm")]
    OnOneLine(Length),
}

/// Readings that spread less than this across their line (root mean square) tell no plane.
const LEAST_SPREAD: f64 = 50.0;

/// Fits a plane to readings by least squares, each with the same weight.
///
/// The plane is the floor's *tilt*. Give it the readings of one deck: a step is no tilt.
///
/// # Units and sign
/// Slopes are ratios, rising to the right and up the page. Residuals are positive above the plane.
///
/// # Errors
/// [`PlaneError`] for fewer than three readings, or readings on one line.
///
/// # References
/// Ordinary least squares about the centroid, where the normal equations are two by two.
pub fn best_fit_plane(readings: &[FloorReading]) -> Result<BestFitPlane, PlaneError> {
    let n_readings = readings.len();
    if n_readings < 3 {
        return Err(PlaneError::TooFew(n_readings));
    }
    let count = n_readings as f64;
    let first = &readings[0];
    let offset = |reading: &FloorReading| {
        let step = (reading.at.x - first.at.x, reading.at.y - first.at.y);
        [step.0.to_mm(), step.1.to_mm(), (reading.level - first.level).to_mm()]
    };
    let mut mean = [0.0; 3];
    for reading in readings {
        let from_first = offset(reading);
        (0..3).for_each(|axis| mean[axis] += from_first[axis] / count);
    }
    let centred: Vec<[f64; 3]> = readings
        .iter()
        .map(|reading| {
            let from_first = offset(reading);
            [from_first[0] - mean[0], from_first[1] - mean[1], from_first[2] - mean[2]]
        })
        .collect();
    let sum = |a: usize, b: usize| -> f64 { centred.iter().map(|row| row[a] * row[b]).sum() };
    let (xx, xy, yy, xz, yz) = (sum(0, 0), sum(0, 1), sum(1, 1), sum(0, 2), sum(1, 2));
    // Spread across the line that the readings follow: the smaller root of their scatter.
    let across = (xx + yy) / 2.0 - ((xx - yy) / 2.0).hypot(xy);
    let spread = (across / count).max(0.0).sqrt();
    if spread < LEAST_SPREAD {
        return Err(PlaneError::OnOneLine(Length::mm(spread)));
    }
    let determinant = xx * yy - xy * xy;
    let rise_right = (yy * xz - xy * yz) / determinant;
    let rise_up = (xx * yz - xy * xz) / determinant;
    let slope = rise_right.hypot(rise_up);
    let left: Vec<f64> =
        centred.iter().map(|row| row[2] - rise_right * row[0] - rise_up * row[1]).collect();
    let squares: f64 = left.iter().map(|value| value * value).sum();
    Ok(BestFitPlane {
        slope,
        fall_per_m: Length::mm(slope * 1000.0),
        falls_towards_degrees: (slope >= 1e-6)
            .then(|| (-rise_right).atan2(-rise_up).to_degrees().rem_euclid(360.0)),
        rise_right,
        rise_up,
        mean_level: first.level + Length::mm(mean[2]),
        residuals: readings
            .iter()
            .zip(left)
            .map(|(reading, above)| Residual {
                point: reading.point.clone(),
                above: Length::mm(above),
            })
            .collect(),
        residual_sd: (n_readings > 3).then(|| Length::mm((squares / (count - 3.0)).sqrt())),
    })
}

/// The steepest slope between two readings of one deck.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SteepestSlope {
    /// The higher point.
    pub from: PointId,
    /// The lower point.
    pub to: PointId,
    /// Distance between them on the plan.
    pub distance: Length,
    /// How far the second is below the first.
    pub fall: Length,
    /// Fall over distance (a ratio).
    pub slope: f64,
    /// Standard deviation of the slope (a ratio), from that of the difference of the two levels.
    pub slope_sd: f64,
    /// How many pairs were compared.
    pub pairs: usize,
}

/// Why there is no steepest slope.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum SlopeError {
    /// A distance that is not above zero.
    #[error("slopes need a distance above zero, this one is {0}")]
    BadDistance(Length),
    /// No two readings that far apart.
    #[error("no two readings of one deck are {0} or more apart")]
    NoPair(Length),
}

/// Finds the steepest slope between any two readings of one deck that are at least so far apart.
///
/// Pairs across a step are left out: a step is not a slope.
///
/// # Errors
/// [`SlopeError`] if the distance is not above zero, or no pair is that far apart.
pub fn steepest_slope(
    readings: &[FloorReading],
    levels: &Levels,
    at_least: Length,
) -> Result<SteepestSlope, SlopeError> {
    if !(at_least.is_finite() && at_least > Length::ZERO) {
        return Err(SlopeError::BadDistance(at_least));
    }
    let decks: BTreeSet<usize> = readings.iter().map(|reading| reading.deck).collect();
    let mut search = SlopeSearch { readings, members: Vec::new(), at_least, steepest: None };
    let mut pairs = 0;
    for deck in decks {
        search.members = (0..readings.len()).filter(|&idx| readings[idx].deck == deck).collect();
        let stand = |&idx: &usize| Stand {
            at: readings[idx].at,
            level: readings[idx].level,
            sd: Length::ZERO,
        };
        let stands: Vec<Stand> = search.members.iter().map(stand).collect();
        let boxes = Boxes::new(&stands);
        let reach = Reach { from: at_least, ..Reach::ALL };
        pairs += boxes.n_pairs(reach, |distance| distance >= at_least);
        boxes.search(&mut search);
    }
    let (slope, first, second) = search.steepest.ok_or(SlopeError::NoPair(at_least))?;
    let (first, second) = (&readings[first], &readings[second]);
    let (from, to) = if first.level >= second.level { (first, second) } else { (second, first) };
    let distance = from.at.distance(to.at);
    Ok(SteepestSlope {
        from: from.point.clone(),
        to: to.point.clone(),
        distance,
        fall: from.level - to.level,
        slope,
        slope_sd: levels.difference_sd(from.in_levels, to.in_levels) / distance,
        pairs,
    })
}

/// The steepest pair so far; of several the first in the order of the readings.
struct SlopeSearch<'a> {
    readings: &'a [FloorReading],
    /// The readings of the deck that is searched.
    members: Vec<usize>,
    at_least: Length,
    steepest: Option<(f64, usize, usize)>,
}

impl PairSearch for SlopeSearch<'_> {
    fn worth(&self, bounds: &PairBounds) -> Option<f64> {
        let most = bounds.difference / bounds.nearest.max(self.at_least);
        let beaten = self.steepest.is_some_and(|(slope, ..)| most < slope);
        (bounds.furthest >= self.at_least && !beaten).then_some(most)
    }

    fn look_at(&mut self, from: usize, to: usize) {
        let (first, second) = (self.members[from.min(to)], self.members[from.max(to)]);
        let distance = self.readings[first].at.distance(self.readings[second].at);
        if distance < self.at_least {
            return;
        }
        let slope = (self.readings[first].level - self.readings[second].level).abs() / distance;
        let is_steeper = |(most, one, other): (f64, usize, usize)| {
            slope > most || (slope == most && (first, second) < (one, other))
        };
        if self.steepest.is_none_or(is_steeper) {
            self.steepest = Some((slope, first, second));
        }
    }
}
