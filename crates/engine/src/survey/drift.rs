//! An even drift held against straight pieces between readings of one point.

use super::input::Setup;
use super::network::{Measured, Network};
use super::reduction::{DriftPieces, ObservationSource, PieceReading};
use crate::units::{Length, Minutes};
use std::collections::BTreeMap;

/// Readings of the base that make at least two pieces.
const LEAST_BASE_READINGS: usize = 3;

/// A setup's line as the adjustment has it.
pub(crate) struct EvenLine {
    /// Level at the mean time, mm.
    pub(crate) level: f64,
    /// Rise over the span of the setup's times, mm.
    pub(crate) rise: f64,
}

/// Compares the even drift of a setup with pieces between the readings of the point that was
/// read most often. `None` where no point was read at three or more times.
///
/// Between two readings of the base the line is taken to run straight from where the one puts
/// it to where the other does. The choice makes a difference to every reading between them.
pub(crate) fn compare_pieces(
    network: &Network,
    setup_idx: usize,
    setup: &Setup,
    line: &EvenLine,
    adjusted_level: impl Fn(usize) -> f64,
) -> Option<DriftPieces> {
    let own = &network.measured[network.readings_of[setup_idx].clone()];
    let own: Vec<(f64, &Measured)> =
        own.iter().filter_map(|measured| Some((minutes(measured, setup)?, measured))).collect();
    let base = most_read(&own)?;
    // Level of the line above the base, as each reading of the base has it.
    let mut knots: Vec<(f64, f64)> = own
        .iter()
        .filter(|(_, measured)| measured.to == base)
        .map(|&(time, measured)| (time, -measured.rise))
        .collect();
    knots.sort_by(|one, other| one.0.total_cmp(&other.0));
    let mut readings = Vec::new();
    let mut reading_sd = 0.0_f64;
    for &(time, measured) in own.iter().filter(|(_, measured)| measured.to != base) {
        let Some(pieced) = interpolate(&knots, time) else { continue };
        let even = line.level + line.rise * measured.time - adjusted_level(base);
        readings.push(PieceReading {
            point: network.points[measured.to].clone(),
            time: Minutes::new(time),
            above_base: Length::mm(measured.rise + pieced),
            difference: Length::mm(pieced - even),
        });
        reading_sd = reading_sd.max(measured.sd);
    }
    let sizes = readings.iter().map(|reading| reading.difference.abs());
    let largest_difference = sizes.max_by(Length::total_cmp)?;
    Some(DriftPieces {
        base: network.points[base].clone(),
        readings,
        largest_difference,
        one_line_is_enough: largest_difference <= Length::mm(reading_sd),
    })
}

fn minutes(measured: &Measured, setup: &Setup) -> Option<f64> {
    match measured.source {
        ObservationSource::Reading { reading, .. } => {
            setup.readings[reading].time.map(Minutes::to_minutes)
        }
        _ => None,
    }
}

/// The point with the most different times; of equals, the first by name.
fn most_read(own: &[(f64, &Measured)]) -> Option<usize> {
    let mut times: BTreeMap<usize, Vec<f64>> = BTreeMap::new();
    for (time, measured) in own {
        times.entry(measured.to).or_default().push(*time);
    }
    let counted = times.into_iter().map(|(point, mut minutes)| {
        minutes.sort_by(f64::total_cmp);
        minutes.dedup();
        (point, minutes.len())
    });
    let (base, n_times) = counted.rev().max_by_key(|&(_, n_times)| n_times)?;
    (n_times >= LEAST_BASE_READINGS).then_some(base)
}

/// Straight between the knots, `None` outside them. Knots at one time are taken as their mean.
fn interpolate(knots: &[(f64, f64)], time: f64) -> Option<f64> {
    let mean_at = |at: f64| {
        let values: Vec<f64> =
            knots.iter().filter(|knot| knot.0 == at).map(|knot| knot.1).collect();
        values.iter().sum::<f64>() / values.len() as f64
    };
    let before = knots.iter().rev().map(|knot| knot.0).find(|&knot| knot <= time)?;
    let after = knots.iter().map(|knot| knot.0).find(|&knot| knot >= time)?;
    if before == after {
        return Some(mean_at(before));
    }
    let along = (time - before) / (after - before);
    Some(mean_at(before) * (1.0 - along) + mean_at(after) * along)
}
