//! Finds each label a place where it touches no other label, no symbol and no leader.

use crate::canvas::{Rect, Spot};
use std::collections::BTreeMap;

/// The room on a map that is already taken.
pub(crate) struct Labels {
    area: Rect,
    cell: f64,
    taken: Vec<Rect>,
    by_cell: BTreeMap<(i64, i64), Vec<usize>>,
    leaders: Vec<(Spot, Spot)>,
}

/// Where a label went.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Placed {
    pub rect: Rect,
    /// The line from the symbol to the label, if it stands apart.
    pub leader: Option<(Spot, Spot)>,
}

/// Directions to try right beside the symbol: right, left, above, below, then the corners.
const BESIDE: [(f64, f64); 8] = [
    (1.0, 0.0),
    (-1.0, 0.0),
    (0.0, -1.0),
    (0.0, 1.0),
    (1.0, -1.0),
    (-1.0, -1.0),
    (1.0, 1.0),
    (-1.0, 1.0),
];

/// How many rings of places further out are tried on a leader.
const RINGS: usize = 10;

/// Places on each ring.
const ON_RING: usize = 16;

impl Labels {
    /// A map with nothing on it; `cell` is about the size of a label.
    pub fn new(area: Rect, cell: f64) -> Self {
        Self { area, cell, taken: Vec::new(), by_cell: BTreeMap::new(), leaders: Vec::new() }
    }

    /// Keeps labels out of a rectangle.
    pub fn reserve(&mut self, rect: Rect) {
        let idx = self.taken.len();
        for cell in self.cells(&rect) {
            self.by_cell.entry(cell).or_default().push(idx);
        }
        self.taken.push(rect);
    }

    /// A place for a label of this size at a symbol whose own room is reserved.
    pub fn place(&mut self, symbol: &Rect, (width, height): (f64, f64)) -> Option<Placed> {
        let placed = self
            .beside(symbol, width, height)
            .or_else(|| self.on_a_leader(symbol, width, height))?;
        self.reserve(placed.rect);
        self.leaders.extend(placed.leader);
        Some(placed)
    }

    /// The first of these centres at which a label of this size is free.
    pub fn place_at(
        &mut self,
        centres: impl IntoIterator<Item = Spot>,
        (width, height): (f64, f64),
    ) -> Option<Rect> {
        let rect = centres
            .into_iter()
            .map(|centre| Rect::around(centre, width / 2.0, height / 2.0))
            .find(|rect| self.is_free(rect))?;
        self.reserve(rect);
        Some(rect)
    }

    fn beside(&self, symbol: &Rect, width: f64, height: f64) -> Option<Placed> {
        let (x, y) = symbol.centre();
        let reach = (symbol.width / 2.0 + width / 2.0, symbol.height / 2.0 + height / 2.0);
        BESIDE
            .iter()
            .map(|(dx, dy)| (x + dx * reach.0, y + dy * reach.1))
            .map(|centre| Rect::around(centre, width / 2.0, height / 2.0))
            .find(|rect| self.is_free(rect))
            .map(|rect| Placed { rect, leader: None })
    }

    fn on_a_leader(&self, symbol: &Rect, width: f64, height: f64) -> Option<Placed> {
        let from = symbol.centre();
        (2..2 + RINGS).flat_map(|ring| (0..ON_RING).map(move |place| (ring, place))).find_map(
            |(ring, place)| {
                let turn = std::f64::consts::TAU * place as f64 / ON_RING as f64;
                let far = ring as f64 * 0.6;
                let centre =
                    (from.0 + turn.cos() * far * width, from.1 - turn.sin() * far * height);
                let rect = Rect::around(centre, width / 2.0, height / 2.0);
                let to = (from.0.clamp(rect.x, rect.right()), from.1.clamp(rect.y, rect.bottom()));
                let free = self.is_free(&rect) && self.is_clear(symbol, from, to);
                free.then_some(Placed { rect, leader: Some((from, to)) })
            },
        )
    }

    fn is_free(&self, rect: &Rect) -> bool {
        self.area.holds(rect)
            && self.near(rect).all(|taken| !taken.overlaps(rect))
            && self.leaders.iter().all(|&(from, to)| !rect.is_crossed_by(from, to))
    }

    /// Whether a leader runs over nothing but the symbol that it starts from.
    fn is_clear(&self, symbol: &Rect, from: Spot, to: Spot) -> bool {
        let span = Rect::new(
            from.0.min(to.0),
            from.1.min(to.1),
            (from.0 - to.0).abs(),
            (from.1 - to.1).abs(),
        );
        self.near(&span).all(|taken| taken == symbol || !taken.is_crossed_by(from, to))
            && self.leaders.iter().all(|&leader| !cross(leader, (from, to)))
    }

    fn near(&self, rect: &Rect) -> impl Iterator<Item = &Rect> {
        let lists = self.cells(rect).filter_map(|cell| self.by_cell.get(&cell));
        lists.flatten().map(|&idx| &self.taken[idx])
    }

    fn cells(&self, rect: &Rect) -> impl Iterator<Item = (i64, i64)> + use<> {
        let cell = self.cell;
        let index = move |value: f64| (value / cell).floor() as i64;
        let columns = index(rect.x)..=index(rect.right());
        let rows = index(rect.y)..=index(rect.bottom());
        columns.flat_map(move |column| rows.clone().map(move |row| (column, row)))
    }
}

fn cross((a, b): (Spot, Spot), (c, d): (Spot, Spot)) -> bool {
    let side = |p: Spot, q: Spot, r: Spot| (q.0 - p.0) * (r.1 - p.1) - (q.1 - p.1) * (r.0 - p.0);
    side(a, b, c) * side(a, b, d) < 0.0 && side(c, d, a) * side(c, d, b) < 0.0
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const AREA: Rect = Rect { x: 0.0, y: 0.0, width: 100.0, height: 80.0 };

    fn place_all(spots: &[Spot]) -> (Vec<Rect>, Vec<Option<Placed>>) {
        let mut labels = Labels::new(AREA, 12.0);
        let symbols: Vec<_> = spots.iter().map(|&spot| Rect::around(spot, 1.5, 1.5)).collect();
        for symbol in &symbols {
            labels.reserve(*symbol);
        }
        let placed = symbols.iter().map(|symbol| labels.place(symbol, (11.0, 7.0))).collect();
        (symbols, placed)
    }

    #[test]
    fn a_crowded_label_stands_on_a_leader() {
        let spot = |n: usize| (40.0 + (n % 4) as f64 * 6.0, 30.0 + (n / 4) as f64 * 6.0);
        let crowd: Vec<Spot> = (0..16).map(spot).collect();
        let (_, placed) = place_all(&crowd);
        assert!(placed.iter().flatten().any(|placed| placed.leader.is_some()));
    }

    #[test]
    fn a_lone_label_stands_right_of_its_symbol() {
        let (_, placed) = place_all(&[(50.0, 40.0)]);
        assert_eq!(placed[0].unwrap().rect, Rect::new(51.5, 36.5, 11.0, 7.0));
    }

    proptest! {
        #[test]
        fn nothing_overlaps_whatever_the_crowd(
            spots in prop::collection::vec((3.0..97.0, 3.0..77.0), 1..80)
        ) {
            let (symbols, placed) = place_all(&spots);
            let labels: Vec<_> = placed.iter().flatten().collect();
            for (idx, label) in labels.iter().enumerate() {
                prop_assert!(AREA.holds(&label.rect));
                prop_assert!(symbols.iter().all(|symbol| !symbol.overlaps(&label.rect)));
                for other in &labels[idx + 1..] {
                    prop_assert!(!other.rect.overlaps(&label.rect));
                }
                for (from, to) in labels.iter().filter(|other| other.rect != label.rect).filter_map(|other| other.leader) {
                    prop_assert!(!label.rect.is_crossed_by(from, to));
                }
            }
        }
    }
}
