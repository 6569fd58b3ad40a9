//! Places sorted into boxes within boxes, so that the pair that decides, or what lies near, is
//! found without a look at every pair.
//!
//! Nothing is approximated: a box is passed over only where no pair in it can change the answer.

use crate::site::Position;
use crate::units::{Length, Level};

/// A box of no more places than this is not divided.
const LEAF: usize = 12;

/// Distances to a box are rounded; this ratio is given away so that they stay bounds.
const HAIR: f64 = 1e-12;

/// A pair this close to the end of a reach is looked at by itself.
const NEAR_THE_END: Length = Length::mm(0.01);

/// A level at a place, and how sure it is.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Stand {
    pub(crate) at: Position,
    pub(crate) level: Level,
    pub(crate) sd: Length,
}

/// What is known of every pair of one place with the places of a box.
#[derive(Clone, Copy, Debug)]
pub(crate) struct PairBounds {
    /// They are no nearer to one another than this.
    pub(crate) nearest: Length,
    /// And no further apart.
    pub(crate) furthest: Length,
    /// Their levels differ by no more than this.
    pub(crate) difference: Length,
    /// The standard deviations of the two levels add up to no more than this.
    pub(crate) sds: Length,
}

/// A search for the pair that decides.
pub(crate) trait PairSearch {
    /// The most that a pair within these bounds can be worth; `None` if none can change what was
    /// found so far.
    fn worth(&self, bounds: &PairBounds) -> Option<f64>;

    /// Looks at a pair of places, by their indices. Every pair comes up once, if at all, in no
    /// order that the answer may depend on.
    fn look_at(&mut self, from: usize, to: usize);
}

/// The distances at which two places are compared, as far as boxes can tell.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Reach {
    pub(crate) from: Length,
    pub(crate) to: Length,
}

impl Reach {
    /// All places, however near or far.
    pub(crate) const ALL: Self =
        Self { from: Length::mm(f64::NEG_INFINITY), to: Length::mm(f64::INFINITY) };

    /// Whether all distances from nearest to furthest are within, or none; `None` if some may be.
    fn holds(self, nearest: Length, furthest: Length) -> Option<bool> {
        if nearest > self.from + NEAR_THE_END && furthest < self.to - NEAR_THE_END {
            Some(true)
        } else if furthest < self.from - NEAR_THE_END || nearest > self.to + NEAR_THE_END {
            Some(false)
        } else {
            None
        }
    }
}

/// Places in boxes, each divided in two until few are left in it.
pub(crate) struct Boxes<'a> {
    stands: &'a [Stand],
    /// Places so that those of a box are together.
    order: Vec<usize>,
    /// The whole first; empty if there are no places.
    boxes: Vec<Extent>,
}

struct Extent {
    /// Where its places are in the order.
    from: usize,
    to: usize,
    low: [f64; 2],
    high: [f64; 2],
    lowest: Level,
    highest: Level,
    most_sd: Length,
    halves: Option<[usize; 2]>,
}

impl<'a> Boxes<'a> {
    /// Sorts places into boxes.
    pub(crate) fn new(stands: &'a [Stand]) -> Self {
        let mut sorted = Self { stands, order: (0..stands.len()).collect(), boxes: Vec::new() };
        if !stands.is_empty() {
            sorted.divide(0, stands.len());
        }
        sorted
    }

    /// Makes the box of a part of the order, and those within it.
    fn divide(&mut self, from: usize, to: usize) -> usize {
        let extent = Extent::round(self.stands, &self.order, from, to);
        let key = extent.widest();
        let made = self.boxes.len();
        self.boxes.push(extent);
        if to - from > LEAF {
            let (stands, middle) = (self.stands, (to - from) / 2);
            self.order[from..to].select_nth_unstable_by(middle, |&a, &b| {
                key(&stands[a]).total_cmp(&key(&stands[b])).then(a.cmp(&b))
            });
            let halves = [self.divide(from, from + middle), self.divide(from + middle, to)];
            self.boxes[made].halves = Some(halves);
        }
        made
    }

    /// How many pairs are within reach; `is_in` decides where boxes cannot.
    pub(crate) fn n_pairs(&self, reach: Reach, is_in: impl Fn(Length) -> bool) -> usize {
        if self.boxes.is_empty() { 0 } else { self.pairs_inside(0, reach, &is_in) }
    }

    fn pairs_inside(&self, one: usize, reach: Reach, is_in: &impl Fn(Length) -> bool) -> usize {
        let extent = &self.boxes[one];
        let n_places = extent.to - extent.from;
        let (_, furthest) = extent.distances(extent.low, extent.high);
        match (reach.holds(Length::ZERO, furthest), extent.halves) {
            (Some(true), _) => n_places * (n_places - 1) / 2,
            (Some(false), _) => 0,
            (None, Some([left, right])) => {
                self.pairs_inside(left, reach, is_in)
                    + self.pairs_inside(right, reach, is_in)
                    + self.pairs_between(left, right, reach, is_in)
            }
            (None, None) => {
                let places = self.places(extent);
                let later = |nth: usize| places[nth + 1..].iter().map(move |&to| (places[nth], to));
                let pairs = (0..places.len()).flat_map(later);
                pairs.filter(|&(from, to)| is_in(self.apart(from, to))).count()
            }
        }
    }

    fn pairs_between(
        &self,
        one: usize,
        other: usize,
        reach: Reach,
        is_in: &impl Fn(Length) -> bool,
    ) -> usize {
        let (first, second) = (&self.boxes[one], &self.boxes[other]);
        let (nearest, furthest) = first.distances(second.low, second.high);
        let (n_first, n_second) = (first.to - first.from, second.to - second.from);
        let between = |one, other| self.pairs_between(one, other, reach, is_in);
        match (reach.holds(nearest, furthest), first.halves, second.halves) {
            (Some(true), ..) => n_first * n_second,
            (Some(false), ..) => 0,
            (None, Some(halves), _) if n_first >= n_second || second.halves.is_none() => {
                halves.into_iter().map(|half| between(half, other)).sum()
            }
            (None, _, Some(halves)) => halves.into_iter().map(|half| between(one, half)).sum(),
            (None, ..) => {
                let to_second =
                    |&from: &usize| self.places(second).iter().map(move |&to| (from, to));
                let pairs = self.places(first).iter().flat_map(to_second);
                pairs.filter(|&(from, to)| is_in(self.apart(from, to))).count()
            }
        }
    }

    /// The places no further away than a radius, and perhaps a few a hair further, by rising index.
    pub(crate) fn near(&self, place: Position, radius: Length) -> Vec<usize> {
        let here = [place.x.to_mm(), place.y.to_mm()];
        let mut found = Vec::new();
        let mut waiting: Vec<usize> = self.boxes.first().map(|_| 0).into_iter().collect();
        while let Some(next) = waiting.pop() {
            let extent = &self.boxes[next];
            let (nearest, _) = extent.distances(here, here);
            match extent.halves {
                _ if nearest > radius + NEAR_THE_END => {}
                Some(halves) => waiting.extend(halves),
                None => {
                    found.extend((self.places(extent).iter().copied()).filter(|&idx| {
                        self.stands[idx].at.distance(place) <= radius + NEAR_THE_END
                    }))
                }
            }
        }
        found.sort_unstable();
        found
    }

    /// Shows a search every pair that can change what it found.
    ///
    /// The highest and lowest places come first: what they find lets most of the rest be passed
    /// over.
    pub(crate) fn search(&self, search: &mut impl PairSearch) {
        let Some(whole) = self.boxes.first() else { return };
        let middle = whole.lowest + (whole.highest - whole.lowest) / 2.0;
        let off_middle = |idx: usize| (self.stands[idx].level - middle).abs();
        let mut turns: Vec<usize> = (0..self.stands.len()).collect();
        turns.sort_by(|&a, &b| off_middle(b).total_cmp(&off_middle(a)).then(a.cmp(&b)));
        let mut done = vec![false; self.stands.len()];
        for from in turns {
            done[from] = true;
            self.search_from(from, 0, &done, search);
        }
    }

    fn search_from(&self, from: usize, one: usize, done: &[bool], search: &mut impl PairSearch) {
        let extent = &self.boxes[one];
        let Some(halves) = extent.halves else {
            for &to in self.places(extent).iter().filter(|&&to| !done[to]) {
                search.look_at(from, to);
            }
            return;
        };
        let here = &self.stands[from];
        let worth = |half: usize, search: &_| {
            PairSearch::worth(search, &self.boxes[half].bounds_with(here))
        };
        let [first, second] = halves.map(|half| worth(half, search));
        let swapped = second.is_some_and(|second| first.is_none_or(|first| first < second));
        let in_turn = if swapped { [halves[1], halves[0]] } else { halves };
        for half in in_turn {
            // What the first half held may rule out the second.
            if worth(half, search).is_some() {
                self.search_from(from, half, done, search);
            }
        }
    }

    fn places(&self, extent: &Extent) -> &[usize] {
        &self.order[extent.from..extent.to]
    }

    fn apart(&self, from: usize, to: usize) -> Length {
        self.stands[from].at.distance(self.stands[to].at)
    }
}

impl Extent {
    fn round(stands: &[Stand], order: &[usize], from: usize, to: usize) -> Self {
        let first = &stands[order[from]];
        let start = [first.at.x.to_mm(), first.at.y.to_mm()];
        let mut extent = Self {
            from,
            to,
            low: start,
            high: start,
            lowest: first.level,
            highest: first.level,
            most_sd: first.sd,
            halves: None,
        };
        for stand in order[from..to].iter().map(|&idx| &stands[idx]) {
            for (axis, value) in [stand.at.x.to_mm(), stand.at.y.to_mm()].into_iter().enumerate() {
                extent.low[axis] = extent.low[axis].min(value);
                extent.high[axis] = extent.high[axis].max(value);
            }
            if stand.level < extent.lowest {
                extent.lowest = stand.level;
            }
            if stand.level > extent.highest {
                extent.highest = stand.level;
            }
            extent.most_sd = extent.most_sd.max(stand.sd);
        }
        extent
    }

    /// What its places differ by most, seen as a floor that leans 1 in 200: across, along or in
    /// height.
    fn widest(&self) -> fn(&Stand) -> f64 {
        let (wide, deep) = (self.high[0] - self.low[0], self.high[1] - self.low[1]);
        let tall = (self.highest - self.lowest).to_mm() * 200.0;
        if tall > wide.max(deep) {
            |stand| stand.level.to_mm()
        } else if wide >= deep {
            |stand| stand.at.x.to_mm()
        } else {
            |stand| stand.at.y.to_mm()
        }
    }

    /// The least and the most that any of its places is away from a place of another box.
    fn distances(&self, low: [f64; 2], high: [f64; 2]) -> (Length, Length) {
        let gap = |axis: usize| (low[axis] - self.high[axis]).max(self.low[axis] - high[axis]);
        let span = |axis: usize| (high[axis] - self.low[axis]).max(self.high[axis] - low[axis]);
        let nearest = gap(0).max(0.0).hypot(gap(1).max(0.0)) * (1.0 - HAIR);
        let furthest = span(0).hypot(span(1)) * (1.0 + HAIR);
        (Length::mm(nearest), Length::mm(furthest))
    }

    fn bounds_with(&self, stand: &Stand) -> PairBounds {
        let here = [stand.at.x.to_mm(), stand.at.y.to_mm()];
        let (nearest, furthest) = self.distances(here, here);
        PairBounds {
            nearest,
            furthest,
            difference: (stand.level - self.lowest).max(self.highest - stand.level),
            sds: stand.sd + self.most_sd,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Places on a coarse grid, so that many coincide or are as far apart as others.
    fn stands() -> impl Strategy<Value = Vec<Stand>> {
        let stand = (0..30_u8, 0..20_u8, -40..40_i8).prop_map(|(x, y, level)| Stand {
            at: Position::mm(f64::from(x) * 700.0, f64::from(y) * 450.0),
            level: Level::mm(f64::from(level)),
            sd: Length::mm(1.0),
        });
        prop::collection::vec(stand, 0..150)
    }

    fn all_pairs(stands: &[Stand]) -> Vec<(usize, usize)> {
        (0..stands.len())
            .flat_map(|from| (from + 1..stands.len()).map(move |to| (from, to)))
            .collect()
    }

    /// Passes over nothing, and checks the bounds of every pair against each box it is in.
    struct Everything(Vec<(usize, usize)>);

    impl PairSearch for Everything {
        fn worth(&self, bounds: &PairBounds) -> Option<f64> {
            Some(bounds.difference.to_mm())
        }

        fn look_at(&mut self, from: usize, to: usize) {
            self.0.push((from.min(to), from.max(to)));
        }
    }

    proptest! {
        #[test]
        fn every_pair_comes_up_once(stands in stands()) {
            let mut seen = Everything(Vec::new());
            Boxes::new(&stands).search(&mut seen);
            seen.0.sort_unstable();
            prop_assert_eq!(seen.0, all_pairs(&stands));
        }

        #[test]
        fn a_box_bounds_every_pair_with_its_places(stands in stands()) {
            let boxes = Boxes::new(&stands);
            for extent in &boxes.boxes {
                for (here, &to) in stands.iter().flat_map(|here| {
                    boxes.places(extent).iter().map(move |to| (here, to))
                }) {
                    let bounds = extent.bounds_with(here);
                    let (apart, other) = (here.at.distance(stands[to].at), &stands[to]);
                    prop_assert!(bounds.nearest <= apart && apart <= bounds.furthest);
                    prop_assert!((here.level - other.level).abs() <= bounds.difference);
                    prop_assert!(here.sd + other.sd <= bounds.sds);
                }
            }
        }

        #[test]
        fn pairs_are_counted_as_one_by_one(stands in stands(), from in 0..9_u8, wide in 0..20_u8) {
            let reach = Reach {
                from: Length::mm(f64::from(from) * 700.0),
                to: Length::mm(f64::from(from + wide) * 700.0),
            };
            let is_in = |apart: Length| apart >= reach.from && apart <= reach.to;
            let apart = |&(from, to): &(usize, usize)| stands[from].at.distance(stands[to].at);
            let one_by_one = all_pairs(&stands).iter().filter(|pair| is_in(apart(pair))).count();
            prop_assert_eq!(Boxes::new(&stands).n_pairs(reach, is_in), one_by_one);
        }

        #[test]
        fn what_is_near_is_found(stands in stands(), radius in 0..12_u8) {
            let radius = Length::mm(f64::from(radius) * 700.0);
            let boxes = Boxes::new(&stands);
            for here in &stands {
                let expected: Vec<usize> = (0..stands.len())
                    .filter(|&idx| stands[idx].at.distance(here.at) <= radius)
                    .collect();
                prop_assert_eq!(boxes.near(here.at, radius), expected);
            }
        }
    }
}
