//! Lines of equal height.

use super::{Deck, REACH, Surface, spread};
use crate::site::Position;
use crate::units::{Length, Level};
use serde::Serialize;
use std::collections::BTreeMap;

/// The intervals that are chosen from, in millimetres.
pub const INTERVALS: [Length; 6] = [
    Length::mm(1.0),
    Length::mm(2.0),
    Length::mm(5.0),
    Length::mm(10.0),
    Length::mm(20.0),
    Length::mm(50.0),
];

/// The same in inches: 1/16, 1/8, 1/4, 1/2, 1 and 2.
const INCH_INTERVALS: [Length; 6] = [
    Length::mm(25.4 / 16.0),
    Length::mm(25.4 / 8.0),
    Length::mm(25.4 / 4.0),
    Length::mm(25.4 / 2.0),
    Length::mm(25.4),
    Length::mm(2.0 * 25.4),
];

/// A chosen interval gives no more lines than this: a picture with more is hard to read (a choice).
const MOST_CHOSEN: f64 = 12.0;
/// No contour runs over a triangle with a longer side than this, in terms of [`REACH`]: on smaller
/// ones no place is further than that from a corner (a side over the root of three).
const LONGEST_SIDE: f64 = 1.732;
/// More heights than this are refused.
const MOST_HEIGHTS: f64 = 2000.0;
/// Every so many intervals the line is an index contour.
const INDEX_EVERY: i64 = 5;

/// Lines of equal height over the measured part of the floor.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Contours {
    /// The step of height from one line to the next.
    pub interval: Length,
    /// Whether the interval was chosen from the range rather than given.
    pub chosen: bool,
    /// The lines, by deck and then by rising height.
    pub lines: Vec<Contour>,
}

/// One line of equal height.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Contour {
    /// The deck, as an index into the surface's decks.
    pub deck: usize,
    /// Its height: a whole multiple of the interval.
    pub level: Level,
    /// Each fifth is drawn thicker and labelled.
    pub is_index: bool,
    /// Whether it comes back to its start; the first place is then not repeated at the end.
    pub closed: bool,
    /// The places it runs through, straight between.
    pub places: Vec<Position>,
}

/// Why there are no contours.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum ContourError {
    /// An interval that is not above zero.
    #[error("a contour interval of {0} is not above zero")]
    BadInterval(Length),
    /// Far too many lines.
    #[error(
        "an interval of {interval} over a range of {range} gives too many contours, the limit is 2000 heights"
    )]
    TooMany {
        /// The interval.
        interval: Length,
        /// The range of the readings.
        range: Length,
    },
}

/// The interval for a floor of this range: the smallest of [`INTERVALS`] that gives no more than
/// 12 lines, or the largest of them.
///
/// # Examples
/// ```
/// use floorwright_engine::surface::contour_interval;
/// use floorwright_engine::units::Length;
/// assert_eq!(contour_interval(Length::mm(41.0)), Length::mm(5.0));
/// ```
pub fn contour_interval(range: Length) -> Length {
    choose(range, &INTERVALS)
}

/// The same for a floor in feet and inches: from a sixteenth of an inch to two inches.
pub fn contour_interval_in_inches(range: Length) -> Length {
    choose(range, &INCH_INTERVALS)
}

fn choose(range: Length, intervals: &[Length]) -> Length {
    let fits = |step: &&Length| range / **step <= MOST_CHOSEN;
    intervals.iter().find(fits).or(intervals.last()).copied().unwrap_or(INTERVALS[0])
}

impl Surface {
    /// Lines of equal height at whole multiples of the interval above and below the datum.
    ///
    /// They run over triangles between readings only: beyond the readings there is no contour, nor
    /// between readings so far apart that the floor half way is unknown.
    /// On each triangle the surface is plane, so the lines are exact. Without an interval the
    /// smallest of [`INTERVALS`] is taken that gives no more than 12 lines.
    ///
    /// # Errors
    /// [`ContourError`] for an interval that is not above zero, or that gives over 2000 heights.
    pub fn contours(&self, interval: Option<Length>) -> Result<Contours, ContourError> {
        let range = spread(&self.readings, &self.levels).map_or(Length::ZERO, |found| found.range);
        let chosen = interval.is_none();
        let interval = interval.unwrap_or_else(|| contour_interval(range));
        if !(interval.is_finite() && interval > Length::ZERO) {
            return Err(ContourError::BadInterval(interval));
        }
        // Written so that a quotient that is not a number is refused as well.
        let n_heights = range / interval;
        let farthest =
            self.readings.iter().map(|reading| reading.level.to_mm().abs()).fold(0.0, f64::max);
        if !(n_heights <= MOST_HEIGHTS && farthest / interval.to_mm() < 1e15) {
            return Err(ContourError::TooMany { interval, range });
        }
        let lines = (0..self.decks.len()).flat_map(|deck| self.deck_contours(deck, interval));
        Ok(Contours { interval, chosen, lines: lines.collect() })
    }

    fn deck_contours(&self, deck_idx: usize, interval: Length) -> Vec<Contour> {
        let deck = &self.decks[deck_idx];
        let heights: Vec<f64> =
            (0..deck.mesh.n_corners()).map(|corner| self.corner_level(deck, corner)).collect();
        let step = interval.to_mm();
        let mut segments: BTreeMap<i64, Vec<(Side, Side)>> = BTreeMap::new();
        for corners in deck.mesh.measured_triangles() {
            if longest_side(deck, corners) > REACH * LONGEST_SIDE {
                continue;
            }
            let values = corners.map(|corner| heights[corner]);
            let least = values.into_iter().fold(f64::MAX, f64::min);
            let most = values.into_iter().fold(f64::MIN, f64::max);
            for multiple in (least / step).floor() as i64..=(most / step).ceil() as i64 {
                if let Some(segment) = cut(corners, values, multiple as f64 * step) {
                    segments.entry(multiple).or_default().push(segment);
                }
            }
        }
        segments
            .into_iter()
            .flat_map(|(multiple, pieces)| {
                let height = multiple as f64 * step;
                chains(&pieces).into_iter().filter_map(move |(sides, closed)| {
                    let places = sides.iter().map(|&side| {
                        place_on(deck, side, height, &|corner| self.corner_level(deck, corner))
                    });
                    line(places.collect(), closed).map(|(places, closed)| Contour {
                        deck: deck_idx,
                        level: Level::mm(height),
                        is_index: multiple % INDEX_EVERY == 0,
                        closed,
                        places,
                    })
                })
            })
            .collect()
    }
}

/// A side of a triangle, its lower corner index first.
type Side = (usize, usize);

fn longest_side(deck: &Deck, [a, b, c]: [usize; 3]) -> Length {
    let side = |from, to| deck.mesh.corner_position(from).distance(deck.mesh.corner_position(to));
    side(a, b).max(side(b, c)).max(side(c, a))
}

/// The two sides of a triangle that a height cuts. A corner exactly at the height counts as
/// above, so that a line never splits and never ends inside.
fn cut(corners: [usize; 3], values: [f64; 3], height: f64) -> Option<(Side, Side)> {
    let above = values.map(|value| value >= height);
    let side = |from: usize, to: usize| {
        let (a, b) = (corners[from], corners[to]);
        (above[from] != above[to]).then_some((a.min(b), a.max(b)))
    };
    let mut cuts = [side(0, 1), side(1, 2), side(2, 0)].into_iter().flatten();
    Some((cuts.next()?, cuts.next()?))
}

/// Joins segments that share a side; says of each chain whether it closes.
fn chains(segments: &[(Side, Side)]) -> Vec<(Vec<Side>, bool)> {
    let mut at_side: BTreeMap<Side, Vec<usize>> = BTreeMap::new();
    for (idx, &(first, second)) in segments.iter().enumerate() {
        at_side.entry(first).or_default().push(idx);
        at_side.entry(second).or_default().push(idx);
    }
    let mut used = vec![false; segments.len()];
    let mut found = Vec::new();
    let open_ends = at_side.iter().filter(|(_, pieces)| pieces.len() == 1).map(|(&side, _)| side);
    for start in open_ends.chain(at_side.keys().copied()) {
        let mut chain = vec![start];
        let mut end = start;
        while let Some(&next) = at_side[&end].iter().find(|&&idx| !used[idx]) {
            used[next] = true;
            let (first, second) = segments[next];
            end = if first == end { second } else { first };
            chain.push(end);
        }
        let closed = chain.len() > 2 && end == start;
        if closed {
            chain.pop();
        }
        if chain.len() > 1 {
            found.push((chain, closed));
        }
    }
    found
}

fn place_on(
    deck: &Deck,
    (from, to): Side,
    height: f64,
    level_of: &impl Fn(usize) -> f64,
) -> Position {
    let (start, end) = (deck.mesh.corner_position(from), deck.mesh.corner_position(to));
    let (low, high) = (level_of(from), level_of(to));
    let share = ((height - low) / (high - low)).clamp(0.0, 1.0);
    Position { x: start.x + (end.x - start.x) * share, y: start.y + (end.y - start.y) * share }
}

/// Drops places that fall together; `None` if nothing of any length is left.
fn line(mut places: Vec<Position>, mut closed: bool) -> Option<(Vec<Position>, bool)> {
    places.dedup();
    if closed && places.len() > 1 && places[0] == places[places.len() - 1] {
        places.pop();
    }
    if places.len() < 3 {
        closed = false;
    }
    (places.len() > 1).then_some((places, closed))
}
