//! Stretches of a line, and what can be done with lists of them.

use crate::units::{LENGTH_EPS, Length};

/// A part of a line, from its lower to its upper end.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Stretch {
    pub from: Length,
    pub to: Length,
}

impl Stretch {
    pub fn length(self) -> Length {
        self.to - self.from
    }

    /// Whether a coordinate lies in it, or within `margin` of an end.
    pub fn holds(self, along: Length, margin: Length) -> bool {
        along >= self.from - margin && along <= self.to + margin
    }

    /// What two stretches have in common, if it has a length.
    pub fn common(self, other: Self) -> Option<Self> {
        let (from, to) = (self.from.max(other.from), self.to.min(other.to));
        (to - from > LENGTH_EPS).then_some(Self { from, to })
    }
}

/// In order, those that overlap or lie within `gap` of one another made into one.
pub(super) fn merged(mut stretches: Vec<Stretch>, gap: Length) -> Vec<Stretch> {
    stretches.sort_by(|a, b| a.from.total_cmp(&b.from).then(a.to.total_cmp(&b.to)));
    let mut merged: Vec<Stretch> = Vec::with_capacity(stretches.len());
    for stretch in stretches {
        match merged.last_mut() {
            Some(last) if stretch.from <= last.to + gap => last.to = last.to.max(stretch.to),
            _ => merged.push(stretch),
        }
    }
    merged
}

/// What lies in both of two ordered lists.
pub(super) fn common(a: &[Stretch], b: &[Stretch]) -> Vec<Stretch> {
    a.iter().flat_map(|&a| b.iter().filter_map(move |&b| a.common(b))).collect()
}

/// What is left of a stretch outside the others, which are in order and do not overlap.
pub(super) fn without(whole: Stretch, others: &[Stretch]) -> Vec<Stretch> {
    let mut left = Vec::new();
    let mut from = whole.from;
    for other in others.iter().filter(|other| whole.common(**other).is_some()) {
        left.push(Stretch { from, to: other.from });
        from = from.max(other.to);
    }
    left.push(Stretch { from, to: whole.to });
    left.retain(|stretch| stretch.length() > LENGTH_EPS);
    left
}

#[cfg(test)]
mod tests {
    use super::*;

    fn list(ends: &[(f64, f64)]) -> Vec<Stretch> {
        let stretch = |&(from, to)| Stretch { from: Length::mm(from), to: Length::mm(to) };
        ends.iter().map(stretch).collect()
    }

    #[test]
    fn a_thin_gap_is_bridged_and_a_wide_one_is_not() {
        let walls = list(&[(3700.0, 7200.0), (0.0, 3600.0), (8000.0, 9000.0)]);
        assert_eq!(merged(walls, Length::mm(300.0)), list(&[(0.0, 7200.0), (8000.0, 9000.0)]));
    }

    #[test]
    fn what_is_taken_away_leaves_both_ends() {
        let whole = list(&[(0.0, 100.0)])[0];
        let check = |others: &[(f64, f64)], expected: &[(f64, f64)]| {
            assert_eq!(without(whole, &list(others)), list(expected), "{others:?}");
        };
        check(&[(40.0, 60.0)], &[(0.0, 40.0), (60.0, 100.0)]);
        check(&[(-10.0, 60.0), (90.0, 200.0)], &[(60.0, 90.0)]);
        check(&[(-10.0, 0.0)], &[(0.0, 100.0)]);
        check(&[(0.0, 100.0)], &[]);
    }
}
