//! Taking out the drift of a water line or a line of sight with the help of base readings.
//!
//! The base is one point that is read again and again. Drift goes by clock time, never by the
//! number of the reading: rows are rarely evenly spaced.

use crate::ids::PointId;
use crate::units::{DriftRate, ExactLength, Length, Minutes};
use serde::Serialize;

/// A reading with the time it was taken.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct TimedReading {
    /// Where.
    pub point: PointId,
    /// When.
    pub time: Minutes,
    /// The reading.
    pub value: ExactLength,
}

/// Readings with an even drift between the first and the last base reading taken out.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct EvenDrift {
    /// Last base reading less first.
    pub total: Length,
    /// Change of the reading in time.
    pub rate: DriftRate,
    /// The readings as if all were taken with the first base reading, in the order given.
    ///
    /// Nothing checks the rate: two readings decide one number. Re-read the base between, or
    /// repeat stations, to have it checked.
    pub corrected: Vec<Length>,
}

/// A reading less what the base would have read at that time.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PiecewiseDifference {
    /// Which reading, counted from 0 in the list given.
    pub reading: usize,
    /// Its point.
    pub point: PointId,
    /// Reading less base reading; the level difference is minus this on a staff.
    pub to_base: Length,
}

/// Why drift cannot be taken out.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum DriftError {
    /// The base was read less than twice.
    #[error("the base {base} was read {n_readings} times, drift needs at least 2")]
    BaseReadings {
        /// The base.
        base: PointId,
        /// How often it was read.
        n_readings: usize,
    },
    /// A time that is not a number, or goes back.
    #[error("reading {0} has a time that is not a number or is earlier than the one before")]
    TimeGoesBack(usize),
    /// Two base readings in the same minute.
    #[error("two readings of the base {0} have the same time")]
    BaseTwiceAtOnce(PointId),
    /// Outside the base readings drift would be a guess.
    #[error("reading {0} was taken before the first or after the last base reading")]
    OutsideBase(usize),
}

/// Takes out an even drift between the first and the last reading of the base.
///
/// # Units and sign
/// `rate = (last - first) / (time of last - time of first)`; corrected = reading less rate times
/// the time since the first base reading.
///
/// # Errors
/// [`DriftError`]; readings are numbered from 1 in every error.
pub fn even_drift(readings: &[TimedReading], base: &PointId) -> Result<EvenDrift, DriftError> {
    let base_readings = base_readings(readings, base)?;
    let (first, last) = (base_readings[0], base_readings[base_readings.len() - 1]);
    let minutes = (last.time - first.time).to_minutes();
    if minutes <= 0.0 {
        return Err(DriftError::BaseTwiceAtOnce(base.clone()));
    }
    let total = last.value.to_length() - first.value.to_length();
    let rate = DriftRate::mm_per_minute(total.to_mm() / minutes);
    let corrected = readings
        .iter()
        .map(|reading| reading.value.to_length() - rate * (reading.time - first.time))
        .collect();
    Ok(EvenDrift { total, rate, corrected })
}

/// Differences to the base, taken to change evenly from each base reading to the next.
///
/// Base readings themselves are left out of the answer.
///
/// # Errors
/// [`DriftError`]; readings are numbered from 1 in every error.
pub fn piecewise_differences(
    readings: &[TimedReading],
    base: &PointId,
) -> Result<Vec<PiecewiseDifference>, DriftError> {
    let base_readings = base_readings(readings, base)?;
    if base_readings.windows(2).any(|pair| pair[1].time <= pair[0].time) {
        return Err(DriftError::BaseTwiceAtOnce(base.clone()));
    }
    let mut differences = Vec::new();
    for (reading_idx, reading) in readings.iter().enumerate() {
        if reading.point == *base {
            continue;
        }
        let piece = base_readings
            .windows(2)
            .find(|pair| pair[0].time <= reading.time && reading.time <= pair[1].time)
            .ok_or(DriftError::OutsideBase(reading_idx + 1))?;
        let (before, after) = (piece[0], piece[1]);
        let along =
            (reading.time - before.time).to_minutes() / (after.time - before.time).to_minutes();
        let (value_before, value_after) = (before.value.to_length(), after.value.to_length());
        let base_then = value_before + (value_after - value_before) * along;
        differences.push(PiecewiseDifference {
            reading: reading_idx,
            point: reading.point.clone(),
            to_base: reading.value.to_length() - base_then,
        });
    }
    Ok(differences)
}

/// Whether one even drift is not enough: some difference to the base moves by more than the
/// standard deviation of a reading when the base readings between are used too.
///
/// # Errors
/// As [`piecewise_differences`].
pub fn needs_piecewise(
    readings: &[TimedReading],
    base: &PointId,
    reading_sd: Length,
) -> Result<bool, DriftError> {
    let even = even_drift(readings, base)?;
    let at_base = readings
        .iter()
        .find(|reading| reading.point == *base)
        .map(|reading| reading.value.to_length())
        .unwrap_or_default();
    let differences = piecewise_differences(readings, base)?;
    Ok(differences.iter().any(|difference| {
        let by_one_line = even.corrected[difference.reading] - at_base;
        (difference.to_base - by_one_line).abs() > reading_sd
    }))
}

fn base_readings<'a>(
    readings: &'a [TimedReading],
    base: &PointId,
) -> Result<Vec<&'a TimedReading>, DriftError> {
    if let Some(bad) = readings.iter().position(|reading| !reading.time.is_finite()) {
        return Err(DriftError::TimeGoesBack(bad + 1));
    }
    if let Some(before) = readings.windows(2).position(|pair| pair[1].time < pair[0].time) {
        return Err(DriftError::TimeGoesBack(before + 2));
    }
    let base_readings: Vec<_> = readings.iter().filter(|reading| reading.point == *base).collect();
    if base_readings.len() < 2 {
        return Err(DriftError::BaseReadings {
            base: base.clone(),
            n_readings: base_readings.len(),
        });
    }
    let (first, last) = (base_readings[0], base_readings[base_readings.len() - 1]);
    let outside = |reading: &TimedReading| reading.time < first.time || reading.time > last.time;
    match readings.iter().position(outside) {
        Some(reading_idx) => Err(DriftError::OutsideBase(reading_idx + 1)),
        None => Ok(base_readings),
    }
}
