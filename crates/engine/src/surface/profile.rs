//! The surface looked up along a line, on a grid, and where it is least known.

use super::{FloorHeight, REACH, Surface};
use crate::site::Position;
use crate::units::Length;
use serde::Serialize;

/// A profile has no more places than this; the spacing is widened if need be.
const MOST_PLACES: usize = 5_000;
/// A grid has no more cells than this; the spacing is widened if need be.
const MOST_CELLS: f64 = 250_000.0;
/// Readings are not suggested closer than this to one another or to a reading that is there.
const SUGGESTION_SPACING: Length = Length::mm(800.0);

/// One place along a profile.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct ProfilePoint {
    /// Distance from the start.
    pub along: Length,
    /// Where on the plan.
    pub at: Position,
    /// The floor there; `None` where it is unknown: a gap in the profile.
    pub height: Option<FloorHeight>,
}

/// The surface on an upright grid, for pictures.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Grid {
    /// Middle of the lower left cell.
    pub origin: Position,
    /// From cell to cell, which may be wider than was asked for.
    pub spacing: Length,
    /// Cells in a row.
    pub n_cols: usize,
    /// Rows, from the bottom of the page up.
    pub n_rows: usize,
    /// The floor at the middle of each cell, row by row; `None` where it is unknown.
    pub heights: Vec<Option<FloorHeight>>,
}

/// A place that is worth reading next.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Suggestion {
    /// Where on the plan.
    pub at: Position,
    /// The deck it is on, as an index into the surface's decks.
    pub deck: usize,
    /// How sure the floor is there today; `None` if it is unknown.
    pub sd: Option<Length>,
    /// Distance to the nearest reading on that deck; `None` if the deck has none.
    pub nearest_reading: Option<Length>,
}

impl Surface {
    /// The floor along a straight line, both ends included, in equal steps no longer than asked.
    ///
    /// A spacing that is not above zero gives the ends alone; no profile has over 5,000 places.
    pub fn profile(&self, from: Position, to: Position, spacing: Length) -> Vec<ProfilePoint> {
        if !(from.is_finite() && to.is_finite()) {
            return Vec::new();
        }
        let length = from.distance(to);
        let wanted = if spacing > Length::ZERO { (length / spacing).ceil() as usize } else { 1 };
        let n_steps = wanted.clamp(1, MOST_PLACES - 1);
        (0..=n_steps)
            .map(|step| {
                let share = step as f64 / n_steps as f64;
                let at = Position {
                    x: from.x + (to.x - from.x) * share,
                    y: from.y + (to.y - from.y) * share,
                };
                ProfilePoint { along: length * share, at, height: self.at(at) }
            })
            .collect()
    }

    /// The floor on a grid over its whole extent; `None` if it has no extent or the spacing is
    /// not above zero.
    pub fn sample(&self, spacing: Length) -> Option<Grid> {
        let (low, high) = self.extent()?;
        let (width, height) = (high.x - low.x, high.y - low.y);
        if !(spacing.is_finite() && spacing > Length::ZERO) {
            return None;
        }
        let cells = |spacing: Length| {
            (width / spacing).ceil().max(1.0) * (height / spacing).ceil().max(1.0)
        };
        let mut spacing = spacing;
        while cells(spacing) > MOST_CELLS {
            spacing = spacing * (cells(spacing) / MOST_CELLS).sqrt().max(1.01);
        }
        let count = |extent: Length| (extent / spacing).ceil().max(1.0) as usize;
        let (n_cols, n_rows) = (count(width), count(height));
        let origin = Position { x: low.x + spacing * 0.5, y: low.y + spacing * 0.5 };
        let middle = |cell: usize| Position {
            x: origin.x + spacing * (cell % n_cols) as f64,
            y: origin.y + spacing * (cell / n_cols) as f64,
        };
        let heights = (0..n_cols * n_rows).map(|cell| self.at(middle(cell))).collect();
        Some(Grid { origin, spacing, n_cols, n_rows, heights })
    }

    /// Up to so many places that are worth reading next: where the floor is unknown, furthest from
    /// any reading first, and then where it is least sure.
    ///
    /// They are inside the outline and at least 800 mm from one another and from the readings that
    /// are there. Each choice counts the ones before it as read.
    pub fn suggest_readings(&self, at_most: usize) -> Vec<Suggestion> {
        let mut candidates = self.candidates();
        let mut chosen: Vec<Suggestion> = Vec::new();
        while chosen.len() < at_most {
            let urgencies = candidates.iter().map(|(place, room)| self.urgency(place, *room));
            let best = urgencies.enumerate().max_by(|(a_idx, a), (b_idx, b)| {
                a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)).then(b_idx.cmp(a_idx))
            });
            let Some((best, _)) = best else { break };
            let (suggestion, _) = candidates.remove(best);
            for (other, room) in &mut candidates {
                if other.deck == suggestion.deck {
                    *room = room.min(other.at.distance(suggestion.at));
                }
            }
            candidates.retain(|(_, room)| *room >= SUGGESTION_SPACING);
            chosen.push(suggestion);
        }
        chosen
    }

    /// Whether a place is unknown even with what will be read, and then how far from all of that,
    /// or else how unsure it is with all of that.
    fn urgency(&self, place: &Suggestion, room: Length) -> (bool, Length) {
        if place.sd.is_none() && room > REACH {
            return (true, room);
        }
        let from_nearest = self.interpolation.sd_at(room, false);
        (false, place.sd.map_or(from_nearest, |sd| sd.min(from_nearest)))
    }

    /// Places on a grid inside each deck, away from its readings, with the distance to the
    /// nearest of them.
    fn candidates(&self) -> Vec<(Suggestion, Length)> {
        let mut found = Vec::new();
        for (deck_idx, deck) in self.decks.iter().enumerate() {
            let Some((low, high)) = deck.boundary.extent() else { continue };
            let (width, height) = (high.x - low.x, high.y - low.y);
            let spacing = Length::mm((width.to_mm() * height.to_mm() / 2_500.0).sqrt().max(250.0))
                .max(width / 2_500.0)
                .max(height / 2_500.0);
            let count = |extent: Length| (extent / spacing).floor() as usize;
            for row in 0..=count(height) {
                for col in 0..=count(width) {
                    let at = Position {
                        x: low.x + spacing * (col as f64 + 0.5),
                        y: low.y + spacing * (row as f64 + 0.5),
                    };
                    if !deck.boundary.encloses(at) {
                        continue;
                    }
                    let away = deck.readings.iter().map(|&idx| self.readings[idx].at.distance(at));
                    let nearest = away.min_by(Length::total_cmp);
                    if nearest.is_some_and(|away| away < SUGGESTION_SPACING) {
                        continue;
                    }
                    let sd = self.at_on_deck(deck_idx, at).map(|height| height.sd);
                    let suggestion =
                        Suggestion { at, deck: deck_idx, sd, nearest_reading: nearest };
                    found.push((suggestion, nearest.unwrap_or(Length::mm(f64::MAX))));
                }
            }
        }
        found
    }

    fn extent(&self) -> Option<(Position, Position)> {
        let extents = self.decks.iter().filter_map(|deck| deck.boundary.extent());
        extents.reduce(|(low, high), (other_low, other_high)| {
            let low = Position { x: low.x.min(other_low.x), y: low.y.min(other_low.y) };
            let high = Position { x: high.x.max(other_high.x), y: high.y.max(other_high.y) };
            (low, high)
        })
    }
}
