//! Finds each label a place where it touches no other label, no symbol and no leader.

use crate::canvas::{Rect, Spot};
use std::collections::BTreeMap;

/// The room on a map that is already taken.
#[derive(Clone)]
pub(crate) struct Labels {
    area: Rect,
    cell: f64,
    taken: Vec<Rect>,
    taken_by_cell: ByCell,
    leaders: Vec<(Spot, Spot)>,
    leaders_by_cell: ByCell,
}

/// Indices of whatever touches a cell of a square grid.
type ByCell = BTreeMap<(i64, i64), Vec<usize>>;

/// Where a label went.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Placed {
    pub rect: Rect,
    /// The line from the symbol to the label, if it stands apart.
    pub leader: Option<(Spot, Spot)>,
}

/// A label to be placed: the room of its symbol, then its own width and height.
pub(crate) type Wanted = (Rect, (f64, f64));

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

/// Too little to see, on paper or on a screen.
const HAIR: f64 = 1e-6;

/// How many rings of places further out are tried on a leader.
const RINGS: usize = 6;

/// Places on each ring.
const ON_RING: usize = 16;

impl Labels {
    /// A map with nothing on it; `cell` is about the size of a label.
    pub fn new(area: Rect, cell: f64) -> Self {
        Self {
            area,
            cell,
            taken: Vec::new(),
            taken_by_cell: ByCell::new(),
            leaders: Vec::new(),
            leaders_by_cell: ByCell::new(),
        }
    }

    /// Where labels may stand.
    pub fn area(&self) -> &Rect {
        &self.area
    }

    /// Keeps labels out of a rectangle.
    pub fn reserve(&mut self, rect: Rect) {
        for cell in self.cells(&rect) {
            self.taken_by_cell.entry(cell).or_default().push(self.taken.len());
        }
        self.taken.push(rect);
    }

    /// Finds places for labels at symbols whose own room is reserved.
    ///
    /// Labels that all stand on the same side of their symbols read best, so each side is tried as
    /// the first choice of all, and the one that leaves out and moves fewest labels is taken.
    pub fn place_all(&mut self, wanted: &[Wanted]) -> Vec<Option<Placed>> {
        let tries = (0..BESIDE.len()).map(|first_choice| {
            let mut labels = self.clone();
            let (cost, placed) = labels.try_all(wanted, first_choice);
            (cost, labels, placed)
        });
        match tries.min_by_key(|(cost, _, _)| *cost) {
            Some((_, labels, placed)) => {
                *self = labels;
                placed
            }
            None => Vec::new(),
        }
    }

    fn try_all(&mut self, wanted: &[Wanted], first_choice: usize) -> (usize, Vec<Option<Placed>>) {
        let mut cost = 0;
        let mut placed: Vec<Option<Placed>> = Vec::new();
        for (symbol, size) in wanted {
            let found = self.beside(symbol, *size, first_choice);
            cost += found.map_or(0, |(tries, _)| tries.min(1));
            placed.push(found.map(|(_, label)| label));
            self.keep(found.map(|(_, label)| label));
        }
        for ((symbol, size), label) in wanted.iter().zip(&mut placed) {
            if label.is_none() {
                *label = self.on_a_leader(symbol, *size);
                self.keep(*label);
                cost += if label.is_some() { 20 } else { 1000 };
            }
        }
        (cost, placed)
    }

    fn keep(&mut self, placed: Option<Placed>) {
        let Some(placed) = placed else { return };
        self.reserve(placed.rect);
        if let Some((from, to)) = placed.leader {
            for cell in self.cells(&span(from, to)) {
                self.leaders_by_cell.entry(cell).or_default().push(self.leaders.len());
            }
            self.leaders.push((from, to));
        }
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

    /// A place right beside the symbol, with the number of choices passed over.
    fn beside(
        &self,
        symbol: &Rect,
        (width, height): (f64, f64),
        first_choice: usize,
    ) -> Option<(usize, Placed)> {
        let (x, y) = symbol.centre();
        let reach = (symbol.width / 2.0 + width / 2.0, symbol.height / 2.0 + height / 2.0);
        let others = (0..BESIDE.len()).filter(|&choice| choice != first_choice);
        std::iter::once(first_choice)
            .chain(others)
            .map(|choice| BESIDE[choice])
            .map(|(dx, dy)| (x + dx * reach.0, y + dy * reach.1))
            .map(|centre| Rect::around(centre, width / 2.0, height / 2.0))
            .enumerate()
            .find(|(_, rect)| self.is_free(rect))
            .map(|(tries, rect)| (tries, Placed { rect, leader: None }))
    }

    fn on_a_leader(&self, symbol: &Rect, (width, height): (f64, f64)) -> Option<Placed> {
        let from = symbol.centre();
        let places = (2..2 + RINGS).flat_map(|ring| (0..ON_RING).map(move |turn| (ring, turn)));
        places
            .map(|(ring, turn)| {
                let angle = std::f64::consts::TAU * turn as f64 / ON_RING as f64;
                let far = ring as f64 * 0.6;
                let centre =
                    (from.0 + angle.cos() * far * width, from.1 - angle.sin() * far * height);
                Rect::around(centre, width / 2.0, height / 2.0)
            })
            .find_map(|rect| {
                let to = (from.0.clamp(rect.x, rect.right()), from.1.clamp(rect.y, rect.bottom()));
                let free = self.is_free(&rect) && self.is_clear(symbol, from, to);
                free.then_some(Placed { rect, leader: Some((from, to)) })
            })
    }

    /// Rectangles that touch are free; a hair is taken off so that rounding cannot say otherwise.
    fn is_free(&self, rect: &Rect) -> bool {
        let rect = &rect.shrunk(HAIR);
        self.area.holds(rect)
            && self.taken_near(rect).all(|taken| !taken.overlaps(rect))
            && self.leaders_near(rect).all(|&(from, to)| !rect.is_crossed_by(from, to))
    }

    /// Whether a leader runs over nothing but the symbol that it starts from.
    fn is_clear(&self, symbol: &Rect, from: Spot, to: Spot) -> bool {
        let span = span(from, to);
        self.taken_near(&span).all(|taken| taken == symbol || !taken.is_crossed_by(from, to))
            && self.leaders_near(&span).all(|&leader| !cross(leader, (from, to)))
    }

    fn taken_near(&self, rect: &Rect) -> impl Iterator<Item = &Rect> {
        let lists = self.cells(rect).filter_map(|cell| self.taken_by_cell.get(&cell));
        lists.flatten().map(|&idx| &self.taken[idx])
    }

    fn leaders_near(&self, rect: &Rect) -> impl Iterator<Item = &(Spot, Spot)> {
        let lists = self.cells(rect).filter_map(|cell| self.leaders_by_cell.get(&cell));
        lists.flatten().map(|&idx| &self.leaders[idx])
    }

    fn cells(&self, rect: &Rect) -> impl Iterator<Item = (i64, i64)> + use<> {
        let cell = self.cell;
        let index = move |value: f64| (value / cell).floor() as i64;
        let columns = index(rect.x)..=index(rect.right());
        let rows = index(rect.y)..=index(rect.bottom());
        columns.flat_map(move |column| rows.clone().map(move |row| (column, row)))
    }
}

/// The rectangle that a line spans.
fn span(from: Spot, to: Spot) -> Rect {
    let (width, height) = ((from.0 - to.0).abs(), (from.1 - to.1).abs());
    Rect::new(from.0.min(to.0), from.1.min(to.1), width, height)
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
        let wanted: Vec<_> = symbols.iter().map(|&symbol| (symbol, (11.0, 7.0))).collect();
        let placed = labels.place_all(&wanted);
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
                prop_assert!(AREA.holds(&label.rect.shrunk(HAIR)));
                prop_assert!(symbols.iter().all(|symbol| !symbol.overlaps(&label.rect.shrunk(HAIR))));
                for other in &labels[idx + 1..] {
                    prop_assert!(!other.rect.overlaps(&label.rect.shrunk(HAIR)));
                }
                for (from, to) in labels.iter().filter(|other| other.rect != label.rect).filter_map(|other| other.leader) {
                    prop_assert!(!label.rect.shrunk(HAIR).is_crossed_by(from, to));
                }
            }
        }
    }
}
