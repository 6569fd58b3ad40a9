//! Every pair of points against a limit: which pair decides, and how many there are.

use super::criterion::Measure;
use super::decide::{COVERAGE, Guard, guard};
use super::measure::{Spot, Tally};
use crate::boxes::{Boxes, PairBounds, PairSearch, Reach, Stand};
use crate::survey::Levels;
use crate::units::{LENGTH_EPS, Length};
use std::cmp::Ordering;

/// A limit that grows with the span is not applied to shorter spans than this: our own choice.
pub(super) const SHORTEST_SPAN: Length = Length::mm(1000.0);

/// Compares every pair of points that a measure compares.
///
/// The answer is that of a look at every pair; pairs are passed over only where they cannot be
/// the one that decides.
pub(super) fn compare_pairs(tally: &mut Tally, measure: &Measure, spots: &[Spot]) {
    let levels = tally.levels;
    let stand = |spot: &Spot| Stand {
        at: spot.at,
        level: levels.points()[spot.level_idx].level,
        sd: levels.sd(spot.level_idx),
    };
    let stands: Vec<Stand> = spots.iter().map(stand).collect();
    let boxes = Boxes::new(&stands);
    tally.n_compared += boxes.n_pairs(reach(measure), |apart| pair_limit(measure, apart).is_some());
    let mut search = Search {
        levels,
        measure,
        spots,
        stands: &stands,
        column: None,
        beyond: None,
        undecided: None,
        within: None,
    };
    boxes.search(&mut search);
    let Search { beyond, undecided, within, .. } = search;
    let found = [(Guard::Beyond, beyond), (Guard::Undecided, undecided), (Guard::Within, within)];
    if let Some((decided, Some(pair))) = found.into_iter().find(|(_, pair)| pair.is_some()) {
        let over = (!matches!(measure, Measure::Spread { .. })).then_some(pair.apart);
        tally.compare_as(decided, &weights_of(spots, &pair), pair.limit, over);
    }
}

fn weights_of(spots: &[Spot], pair: &Pair) -> [(usize, f64); 2] {
    [(spots[pair.first].level_idx, 1.0), (spots[pair.second].level_idx, -1.0)]
}

/// A pair of points, and how much of its limit it uses.
#[derive(Clone, Copy)]
struct Pair {
    use_of_limit: f64,
    first: usize,
    second: usize,
    apart: Length,
    limit: Length,
}

impl Pair {
    /// Whether it decides rather than the other: it uses more of its limit or, if as much, comes
    /// first.
    fn is_worse_than(&self, other: &Self) -> bool {
        let by_use = self.use_of_limit.total_cmp(&other.use_of_limit);
        let earlier = (other.first, other.second).cmp(&(self.first, self.second));
        by_use.then(earlier) == Ordering::Greater
    }
}

struct Search<'a> {
    levels: &'a Levels,
    measure: &'a Measure,
    spots: &'a [Spot],
    stands: &'a [Stand],
    /// Covariances of one spot with all levels, the last that was asked for.
    column: Option<(usize, Vec<f64>)>,
    beyond: Option<Pair>,
    undecided: Option<Pair>,
    within: Option<Pair>,
}

impl Search<'_> {
    /// Whether a pair may be the one that decides if it differs by no more than so much, with no
    /// less a limit, and the uncertainties of its two levels add up to no more than so much.
    fn may_decide(&self, difference: Length, uncertainties: Length, limit: Length) -> bool {
        let most = difference / limit;
        let beaten = |by: &Pair| most < by.use_of_limit;
        let surely_within = guard(difference, uncertainties, limit) == Guard::Within;
        match (&self.beyond, &self.undecided, &self.within) {
            (Some(beyond), ..) => !beaten(beyond),
            _ if difference > limit => true,
            (None, Some(undecided), _) => !surely_within && !beaten(undecided),
            (None, None, Some(within)) => !surely_within || !beaten(within),
            (None, None, None) => true,
        }
    }

    /// Where the difference of two points lies against its limit.
    fn decide(&mut self, from: usize, to: usize, value: Length, limit: Length) -> Guard {
        // No covariance makes the uncertainty larger than this, and most comparisons are clear.
        let at_most = self.stands[from].sd + self.stands[to].sd;
        let by_both = guard(value, at_most * COVERAGE, limit);
        if by_both != Guard::Undecided {
            return by_both;
        }
        let levels = self.levels;
        let [one, other] = [from, to].map(|spot| self.spots[spot].level_idx);
        let column = match self.column.take() {
            Some((of, column)) if of == from => column,
            _ => levels.column(one),
        };
        let (least, most) = levels.difference_sd_range(&column, one, other);
        self.column = Some((from, column));
        let [low, high] = [least, most].map(|sd| guard(value, sd * COVERAGE, limit));
        if low == high {
            return low;
        }
        let [first, second] = [from.min(to), from.max(to)].map(|spot| self.spots[spot].level_idx);
        let sd = levels.combination_sd(&[(first, 1.0), (second, -1.0)]);
        guard(value, sd * COVERAGE, limit)
    }
}

impl PairSearch for Search<'_> {
    fn worth(&self, bounds: &PairBounds) -> Option<f64> {
        let limit = least_limit(self.measure, bounds.nearest, bounds.furthest)?;
        let may_decide = self.may_decide(bounds.difference, bounds.sds * COVERAGE, limit);
        may_decide.then(|| bounds.difference / limit)
    }

    fn look_at(&mut self, from: usize, to: usize) {
        let (here, there) = (&self.stands[from], &self.stands[to]);
        let apart = here.at.distance(there.at);
        let Some(limit) = pair_limit(self.measure, apart) else { return };
        let value = (here.level - there.level).abs();
        if !self.may_decide(value, (here.sd + there.sd) * COVERAGE, limit) {
            return;
        }
        let use_of_limit = value / limit;
        let pair = Pair { use_of_limit, first: from.min(to), second: from.max(to), apart, limit };
        let worst = match self.decide(from, to, value, limit) {
            Guard::Beyond => &mut self.beyond,
            Guard::Undecided => &mut self.undecided,
            Guard::Within => &mut self.within,
        };
        if worst.as_ref().is_none_or(|worst| pair.is_worse_than(worst)) {
            *worst = Some(pair);
        }
    }
}

/// The limit on the difference of two points that far apart; none if they are not compared.
fn pair_limit(measure: &Measure, apart: Length) -> Option<Length> {
    match measure {
        Measure::SlopePairs { limit, min_apart } => {
            (apart > min_apart.length + LENGTH_EPS).then(|| apart * *limit)
        }
        Measure::Spread { limit, .. } => Some(*limit),
        Measure::DiffInBase { limit, base } => (apart <= *base + LENGTH_EPS).then_some(*limit),
        Measure::DiffBySpan { per_length, span_max, cap } => {
            if apart + LENGTH_EPS < SHORTEST_SPAN {
                None
            } else if apart <= *span_max + LENGTH_EPS {
                Some(apart * *per_length)
            } else {
                Some(*cap)
            }
        }
        Measure::LevelByNominalLength { steps, beyond } => {
            let step = steps.iter().find(|(up_to, _)| apart <= *up_to + LENGTH_EPS);
            Some(step.map_or(*beyond, |&(_, limit)| limit))
        }
        Measure::StraightedgeGap { .. }
        | Measure::GapByDistance { .. }
        | Measure::FNumbers { .. }
        | Measure::NotFromLevels { .. } => None,
    }
}

/// The distances at which a measure compares two points.
fn reach(measure: &Measure) -> Reach {
    match measure {
        Measure::SlopePairs { min_apart, .. } => Reach { from: min_apart.length, ..Reach::ALL },
        Measure::DiffInBase { base, .. } => Reach { to: *base, ..Reach::ALL },
        Measure::DiffBySpan { .. } => Reach { from: SHORTEST_SPAN, ..Reach::ALL },
        _ => Reach::ALL,
    }
}

/// No limit on two points from so near to so far apart is less than this; none if there is none.
fn least_limit(measure: &Measure, nearest: Length, furthest: Length) -> Option<Length> {
    match measure {
        Measure::SlopePairs { limit, min_apart } => (furthest > min_apart.length + LENGTH_EPS)
            .then(|| nearest.max(min_apart.length) * *limit),
        Measure::DiffBySpan { per_length, span_max, cap } => {
            let rising = nearest.max(SHORTEST_SPAN - LENGTH_EPS) * *per_length;
            if furthest + LENGTH_EPS < SHORTEST_SPAN {
                None
            } else if nearest > *span_max + LENGTH_EPS {
                Some(*cap)
            } else if furthest <= *span_max + LENGTH_EPS {
                Some(rising)
            } else {
                Some(rising.min(*cap))
            }
        }
        Measure::LevelByNominalLength { steps, beyond } => {
            let starts = std::iter::once(Length::ZERO).chain(steps.iter().map(|step| step.0));
            let ends = steps.iter().copied().chain([(Length::mm(f64::INFINITY), *beyond)]);
            let met = starts
                .zip(ends)
                .filter(|&(start, (end, _))| furthest >= start && nearest <= end + LENGTH_EPS);
            met.map(|(_, (_, limit))| limit).min_by(Length::total_cmp)
        }
        _ => pair_limit(measure, nearest),
    }
}
