//! What a straightedge would show, from readings that stand in lines.

use super::FloorReading;
use crate::ids::PointId;
use crate::site::Position;
use crate::survey::Levels;
use crate::units::Length;
use serde::Serialize;

/// Two directions this close to opposite (radians) are one line: 50 mm aside in 1 m. A choice.
const SAME_LINE: f64 = 0.05;

/// The largest departure from straight that a straightedge finds on readings in lines.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Straightedge {
    /// Its length.
    pub length: Length,
    /// The reading that departs most.
    pub middle: PointId,
    /// The readings on either side that it is held against.
    pub ends: [PointId; 2],
    /// How far the middle is above (positive, a hump) or below (negative, a hollow) the straight
    /// line between the ends.
    pub deviation: Length,
    /// Standard deviation of that, survey only.
    pub sd: Length,
    /// How many triples of readings were compared.
    pub triples: usize,
}

/// Why a straightedge cannot be laid on these readings.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum StraightedgeRefusal {
    /// A length that is not above zero.
    #[error("a straightedge of {0} is not above zero")]
    BadLength(Length),
    /// No three readings in a line at all.
    #[error("no three readings of one deck are in a line")]
    NoLine,
    /// Lines there are, but too far from point to point.
    #[error(
        "readings in a line are {nearest} apart at the closest, the limit is half the straightedge, {limit}"
    )]
    TooFarApart {
        /// The closest spacing found: the longer gap of the tightest triple.
        nearest: Length,
        /// Half of the straightedge.
        limit: Length,
    },
}

/// Lays a straightedge along every line of readings and finds the largest departure.
///
/// A reading is held against two others of its deck that lie on opposite sides of it, in one line
/// with it to within 50 mm in a metre, each no further away than half the straightedge. A gap
/// between the readings may hide more than they show, so what is found is the least that is there.
///
/// # Units and sign
/// A hump is positive, a hollow negative.
///
/// # Errors
/// [`StraightedgeRefusal`] if the readings do not allow the test; nothing is approximated.
///
/// # References
/// Each point against the line through its neighbours, so that a grid of 1 m tests 2 m:
/// DIN 18202 grid levelling (second-hand).
pub fn straightedge(
    readings: &[FloorReading],
    levels: &Levels,
    length: Length,
) -> Result<Straightedge, StraightedgeRefusal> {
    if !(length.is_finite() && length > Length::ZERO) {
        return Err(StraightedgeRefusal::BadLength(length));
    }
    let reach = length / 2.0;
    let sorted = by_x(readings);
    let mut worst: Option<(f64, [usize; 3], f64)> = None;
    let mut triples = 0;
    for &middle in &sorted {
        for_each_line_through(readings, &sorted, middle, reach, |ends, share| {
            triples += 1;
            let level = |idx: usize| (readings[idx].level - readings[middle].level).to_mm();
            let deviation = -(level(ends[0]) * (1.0 - share) + level(ends[1]) * share);
            if worst.is_none_or(|(most, ..)| deviation.abs() > f64::abs(most)) {
                worst = Some((deviation, [ends[0], middle, ends[1]], share));
            }
        });
    }
    let Some((deviation, [before, middle, after], share)) = worst else {
        return Err(refusal(readings, &sorted, reach));
    };
    let weigh = |idx: usize, weight: f64| (readings[idx].in_levels, weight);
    let weights = [weigh(before, share - 1.0), weigh(middle, 1.0), weigh(after, -share)];
    let name = |idx: usize| readings[idx].point.clone();
    Ok(Straightedge {
        length,
        middle: name(middle),
        ends: [name(before), name(after)],
        deviation: Length::mm(deviation),
        sd: levels.combination_sd(&weights),
        triples,
    })
}

/// Indices of readings by deck, then from left to right.
fn by_x(readings: &[FloorReading]) -> Vec<usize> {
    let mut sorted: Vec<usize> = (0..readings.len()).collect();
    sorted.sort_by(|&a, &b| {
        let (a, b) = (&readings[a], &readings[b]);
        a.deck.cmp(&b.deck).then(a.at.x.total_cmp(&b.at.x))
    });
    sorted
}

/// Calls back for every two readings within reach that have the middle one between them, with the
/// middle's share of the way from the first to the second.
fn for_each_line_through(
    readings: &[FloorReading],
    sorted: &[usize],
    middle: usize,
    reach: Length,
    mut found: impl FnMut([usize; 2], f64),
) {
    let here = &readings[middle];
    let left = sorted.partition_point(|&idx| {
        (readings[idx].deck, (readings[idx].at.x - here.at.x).to_mm()) < (here.deck, -reach.to_mm())
    });
    let mut near: Vec<(f64, f64, usize)> = sorted[left..]
        .iter()
        .copied()
        .take_while(|&idx| {
            readings[idx].deck == here.deck && readings[idx].at.x - here.at.x <= reach
        })
        .filter_map(|idx| {
            let (away, angle) = direction(here.at, readings[idx].at);
            (away >= 1.0 && away <= reach.to_mm() + 1e-6).then_some((angle, away, idx))
        })
        .collect();
    near.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.2.cmp(&b.2)));
    for &(angle, away, idx) in &near {
        // Only the half turn ahead, so that each pair comes up once.
        if angle > SAME_LINE {
            break;
        }
        let opposite = angle + std::f64::consts::PI;
        let from = near.partition_point(|other| other.0 < opposite - SAME_LINE);
        for &(other_angle, other_away, other) in &near[from..] {
            if other_angle > opposite + SAME_LINE {
                break;
            }
            if angle <= 0.0 || other_angle > angle {
                found([idx, other], away / (away + other_away));
            }
        }
    }
}

/// Distance in millimetres and direction from minus to plus half a turn.
fn direction(from: Position, to: Position) -> (f64, f64) {
    let (dx, dy) = ((to.x - from.x).to_mm(), (to.y - from.y).to_mm());
    (dx.hypot(dy), dy.atan2(dx))
}

/// Why no triple fits: the tightest line, looked for with ever longer reach.
fn refusal(readings: &[FloorReading], sorted: &[usize], reach: Length) -> StraightedgeRefusal {
    let mut wider = reach;
    for _ in 0..12 {
        wider = wider * 2.0;
        let mut nearest = f64::INFINITY;
        for &middle in sorted {
            for_each_line_through(readings, sorted, middle, wider, |ends, _| {
                let gap = |end: usize| readings[end].at.distance(readings[middle].at).to_mm();
                nearest = nearest.min(gap(ends[0]).max(gap(ends[1])));
            });
        }
        if nearest.is_finite() {
            return StraightedgeRefusal::TooFarApart { nearest: Length::mm(nearest), limit: reach };
        }
    }
    StraightedgeRefusal::NoLine
}
