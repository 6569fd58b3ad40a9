//! Which supports carry: bearers rest on seats that push and cannot pull.
//!
//! # Method
//! With heights `w` over the supports, reactions are `R = S w - g`; `R >= 0`, `w >= seat` and one
//! of the two holds with equality at every support. The set that carries is found by block
//! principal pivoting: all supports on the wrong side change over at once. On the way a set may be
//! tried that leaves the frame a way to fall; it is let fall, and comes to lie on what it meets.
//! If the number of wrong supports does not drop in ten tries, supports come and go one at a time,
//! each on the way down to less energy, which always ends.
//!
//! A lift at one support is felt a few spans away and no further, so only the supports whose
//! balance it disturbs are solved for again.
//!
//! # References
//! Block pivoting as a primal-dual active set method: Hintermueller, Ito & Kunisch, SIAM J. Optim.
//! 2002 (abstract). One at a time: the primal active set method for convex quadratic programs (from
//! memory). Held against a quadratic program in `tests/frame_second_method.rs`.

use super::response::{Felt, Response, SIZES};
use super::skyline::{Factor, Skyline};

/// A support that carries less than this, in newtons, carries nothing.
pub(super) const NO_FORCE: f64 = 1e-6;

/// A gap smaller than this, in millimetres, is none.
pub(super) const NO_GAP: f64 = 1e-8;

/// A pivot smaller than this share of its diagonal is no stiffness: the supports that carry leave
/// a way to move. With `n` hanging in a row the true one is some `n^-3`.
const VANISHED: f64 = 1e-10;

/// Nor is one smaller than this many times what rounding has left in the stiffness, which is more
/// where stretches are short.
const ROUNDING: f64 = 30.0;

/// A stiffness of no timber, in N/mm.
const NO_STIFFNESS: f64 = 1e-9;

/// An answer in which more than this share of the load is lost to rounding is none.
const MOST_LOST: f64 = 1e-4;

/// Heights further apart than this, in millimetres, cost digits.
const FAR: f64 = 1e4;

/// A frame with more supports than this is large: what is hardly felt is left out.
pub(super) const LARGE: usize = 200;

/// In a large frame this much may be left on a support that hangs, in newtons, while supports are
/// moved.
const LEFT_IN_LARGE: f64 = 1e-2;

/// A change of reactions may stay unknown until it adds up to this share of what may be left.
const TRIFLE: f64 = 1e-3;

/// Pull, in newtons, at which a support that lets go has let go for good.
const MUCH_FORCE: f64 = 1.0;

/// How far below its seat, in millimetres, a bearer that comes to rest would be without it.
const MUCH_AIR: f64 = 0.01;

/// A gap that is none while supports of a large frame are moved, in millimetres.
const NO_GAP_IN_LARGE: f64 = 1e-5;

/// Hanging supports that are off by less than this share of the largest wait for the next round.
const FIRST: f64 = 1e-1;

/// Tries without fewer wrong supports before they come and go one at a time.
const PATIENCE: usize = 10;

/// With no more hanging supports than this they are all solved for together.
const ALL_TOGETHER: usize = 48;

/// The frame on its seats. Supports are counted in the stiffness's order; millimetres and newtons.
#[derive(Clone, Debug)]
pub(super) struct Balance<'a> {
    pub response: &'a Response,
    pub g: Vec<f64>,
    pub seats: Vec<f64>,
    pub heights: Vec<f64>,
    pub reactions: Vec<f64>,
    /// What the reactions do not know yet of each height, size by size.
    untold: Vec<[f64; SIZES]>,
    /// What may be left on a support that hangs, in newtons.
    may_be_left: f64,
    /// Whether each carries.
    pub held: Vec<bool>,
    /// Those that do not, in order.
    hanging: Vec<usize>,
    /// Where anything changed since all was in balance.
    unsettled: Stretch,
    /// Where reactions changed since this was last emptied.
    pub felt: Stretch,
    /// Whether any support let go or took hold since this was last cleared, by more than
    /// [`MUCH_FORCE`] or [`MUCH_AIR`] beyond what it can.
    pub regrouped: bool,
    /// The frame rocks: its reactions are in balance, its tilt is not determined.
    rocks: bool,
    /// Nothing has let go, or taken hold of a frame that rocks, since `rocks` was found.
    is_looked_at: bool,
    /// Supports whose height changed since the list was last taken, and by how much.
    pub moved: Vec<(usize, f64)>,
}

/// A stretch of supports, in the stiffness's order: the first, and one past the last.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Stretch {
    pub begin: usize,
    pub end: usize,
}

impl Stretch {
    pub const EMPTY: Self = Self { begin: usize::MAX, end: 0 };

    fn take_in(&mut self, begin: usize, end: usize) {
        self.begin = self.begin.min(begin);
        self.end = self.end.max(end);
    }

    /// The supports in it.
    pub fn supports(self) -> std::ops::Range<usize> {
        self.begin.min(self.end)..self.end
    }
}

/// The contact could not be settled: the loads tip the frame over, or its numbers are too far apart
/// to compute with. Anything else is a fault of this program.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Unsettled;

impl<'a> Balance<'a> {
    /// Settles the frame on its seats.
    pub fn new(response: &'a Response, g: Vec<f64>, seats: Vec<f64>) -> Result<Self, Unsettled> {
        if !g.iter().chain(&seats).all(|number| number.is_finite()) {
            return Err(Unsettled);
        }
        let mut balance = Self {
            response,
            heights: seats.clone(),
            reactions: reactions(response, &g, &seats),
            untold: vec![[0.0; SIZES]; g.len()],
            may_be_left: NO_FORCE * 0.1,
            held: vec![true; g.len()],
            hanging: Vec::new(),
            unsettled: Stretch { begin: 0, end: g.len() },
            felt: Stretch { begin: 0, end: g.len() },
            regrouped: false,
            rocks: false,
            is_looked_at: false,
            moved: Vec::new(),
            g,
            seats,
        };
        balance.settle()?;
        balance.adds_up()?;
        if balance.held.len() > LARGE {
            balance.may_be_left = LEFT_IN_LARGE;
        }
        Ok(balance)
    }

    /// No answer that does not carry the whole load: heights too far apart to compute with.
    fn adds_up(&self) -> Result<(), Unsettled> {
        let carried: f64 = (0..self.held.len())
            .map(|s| if self.held[s] { self.reactions[s].max(0.0) } else { 0.0 })
            .sum();
        let whole = -self.g.iter().sum::<f64>();
        if (carried - whole).abs() <= MOST_LOST * (1.0 + whole.abs()) {
            Ok(())
        } else {
            Err(Unsettled)
        }
    }

    /// Brings seats to new heights and settles again.
    pub fn set_seats(&mut self, changes: &[(usize, f64)]) -> Result<(), Unsettled> {
        if !changes.iter().all(|change| change.1.is_finite()) {
            return Err(Unsettled);
        }
        for &(support, seat) in changes {
            self.seats[support] = seat;
            self.unsettled.take_in(support, support + 1);
            if self.held[support] {
                self.shift(support, seat - self.heights[support]);
            }
        }
        self.settle()?;
        self.adds_up()
    }

    /// What a support carries once its bearer is raised by so much, in millimetres, all other seats
    /// staying.
    pub fn force_alone(&self, support: usize, rise: f64) -> Result<f64, Unsettled> {
        let mut raised = self.clone();
        raised.set_seats(&[(support, self.heights[support] + rise)])?;
        Ok(if raised.held[support] { raised.reactions[support].max(0.0) } else { 0.0 })
    }

    /// Whether there are so many supports that what is next to nothing may be left undone.
    pub fn is_large(&self) -> bool {
        self.may_be_left == LEFT_IN_LARGE
    }

    /// Whether the frame rocks, as far as that is known: `None` if what carries has changed since
    /// it was found out.
    pub fn known_to_rock(&self) -> Option<bool> {
        self.is_looked_at.then_some(self.rocks)
    }

    /// The frame is known to keep still.
    pub fn keeps_still(&mut self) {
        (self.rocks, self.is_looked_at) = (false, true);
    }

    /// Finds out whether the frame rocks: whether what carries leaves a way to move.
    pub fn look_for_rocking(&mut self) {
        if !self.is_looked_at {
            (self.rocks, self.is_looked_at) = (self.leaves_a_way(), true);
        }
    }

    /// Supports that hold nothing: one that only touches is among them.
    fn idle(&self) -> Vec<usize> {
        let idle = |&s: &usize| !self.held[s] || self.reactions[s] <= NO_FORCE;
        (0..self.held.len()).filter(idle).collect()
    }

    /// Whether what carries leaves a way to move.
    pub fn leaves_a_way(&self) -> bool {
        !self.factor(&self.idle()).loose.is_empty()
    }

    /// The hanging supports among those that anything changed for.
    fn unsettled_hanging(&self) -> &[usize] {
        let begin = self.hanging.partition_point(|&s| s < self.unsettled.begin);
        let end = self.hanging.partition_point(|&s| s < self.unsettled.end);
        &self.hanging[begin.min(end)..end]
    }

    /// Reactions anew from the heights, so that rounding does not add up over many moves.
    pub fn refresh(&mut self) {
        self.reactions = reactions(self.response, &self.g, &self.heights);
        self.untold.fill([0.0; SIZES]);
        self.felt = Stretch { begin: 0, end: self.held.len() };
        self.unsettled = self.felt;
    }

    fn coupling(&self, a: usize, b: usize) -> f64 {
        let (first, row) = &self.response.rows[a];
        b.checked_sub(*first).and_then(|b| row.get(b)).copied().unwrap_or(0.0)
    }

    fn shift(&mut self, support: usize, by: f64) {
        if by == 0.0 {
            return;
        }
        self.heights[support] += by;
        self.moved.push((support, by));
        self.unsettled.take_in(support, support + 1);
        let felt = &self.response.by_size[support];
        for size in 0..SIZES {
            let untold = &mut self.untold[support][size];
            *untold += by;
            if untold.abs() * felt.peak * Felt::largest(size) <= self.may_be_left * TRIFLE {
                continue;
            }
            let by = std::mem::take(untold);
            let (begin, end) = felt.reach(size);
            self.unsettled.take_in(begin, end);
            self.felt.take_in(begin, end);
            for &(other, k) in felt.of_size(size) {
                self.reactions[other as usize] += k * by;
            }
        }
    }

    /// Supports on the wrong side; only where something changed can there be any.
    fn wrong(&self) -> Vec<usize> {
        let no_gap = if self.is_large() { NO_GAP_IN_LARGE } else { NO_GAP };
        self.unsettled
            .supports()
            .filter(|&s| {
                if self.held[s] {
                    self.reactions[s] < -NO_FORCE.max(self.may_be_left)
                } else {
                    self.heights[s] < self.seats[s] - no_gap
                }
            })
            .collect()
    }

    fn settle(&mut self) -> Result<(), Unsettled> {
        if !self.settle_together() {
            self.settle_one_by_one()?;
        }
        self.unsettled = Stretch::EMPTY;
        Ok(())
    }

    /// Supports on the wrong side change over all at once, until there are none; `false` if that
    /// leads nowhere.
    fn settle_together(&mut self) -> bool {
        let mut went_far = self.is_far_apart();
        let mut is_fresh = false;
        let (mut fewest, mut tries) = (usize::MAX, 0);
        while tries < PATIENCE {
            let balanced = self.balance_hanging();
            went_far |= !balanced || self.is_far_apart();
            let wrong = self.wrong();
            if wrong.is_empty() {
                if !balanced {
                    return false;
                }
                if is_fresh || !went_far {
                    return true;
                }
                // What went far and came back has left rounding behind.
                self.refresh();
                is_fresh = true;
                continue;
            }
            is_fresh = false;
            if wrong.len() < fewest {
                (fewest, tries) = (wrong.len(), 0);
            } else {
                tries += 1;
            }
            for support in wrong {
                if self.held[support] { self.let_go(support) } else { self.rest(support) }
            }
        }
        false
    }

    /// Takes a bearer off its seat.
    fn let_go(&mut self, support: usize) {
        self.regrouped |= self.reactions[support] < -MUCH_FORCE;
        self.held[support] = false;
        self.is_looked_at = false;
        self.hanging.insert(self.hanging.partition_point(|&s| s < support), support);
        self.unsettled.take_in(support, support + 1);
    }

    fn is_far_apart(&self) -> bool {
        self.heights.iter().any(|w| (w - self.heights[0]).abs() > FAR)
    }

    /// Lays a bearer on its seat.
    fn rest(&mut self, support: usize) {
        self.regrouped |= self.heights[support] < self.seats[support] - MUCH_AIR;
        self.shift(support, self.seats[support] - self.heights[support]);
        self.heights[support] = self.seats[support];
        self.held[support] = true;
        self.is_looked_at &= !self.rocks;
        self.hanging.retain(|&s| s != support);
        self.unsettled.take_in(support, support + 1);
    }

    /// From heights that pass through no seat, one support comes or goes at a time, and the
    /// energy falls from set to set, so that none comes again.
    fn settle_one_by_one(&mut self) -> Result<(), Unsettled> {
        for support in self.hanging.clone() {
            if self.heights[support] < self.seats[support] {
                self.shift(support, self.seats[support] - self.heights[support]);
            }
        }
        self.refresh();
        for _ in 0..50 * self.held.len().max(20) {
            if !self.sink()? {
                continue;
            }
            self.refresh();
            let pulls = (0..self.held.len()).filter(|&s| self.held[s]);
            let worst = pulls.min_by(|&a, &b| self.reactions[a].total_cmp(&self.reactions[b]));
            match worst {
                Some(support) if self.reactions[support] < -NO_FORCE => self.let_go(support),
                _ => return Ok(()),
            }
        }
        Err(Unsettled)
    }

    /// Moves the hanging supports towards their balance until the first of them meets its seat;
    /// whether they got there without.
    fn sink(&mut self) -> Result<bool, Unsettled> {
        let hanging = self.hanging.clone();
        let largest = |balance: &Self| {
            hanging.iter().fold(0.0, |m: f64, &s| m.max(balance.reactions[s].abs()))
        };
        let factor = self.factor(&hanging);
        let mut before = f64::INFINITY;
        for _ in 0..20 {
            let left = largest(self);
            if left <= NO_FORCE * 0.1 {
                return Ok(true);
            }
            // Along a way that nothing resists it goes on until it meets something.
            let falls = !factor.loose.is_empty() && left > before * 0.5 && left > 1e-3;
            before = left;
            let mut by: Vec<f64> = hanging.iter().map(|&s| -self.reactions[s]).collect();
            factor.solve(&mut by);
            let reach = |(&s, by): (&usize, &f64)| {
                (*by < 0.0).then(|| ((self.heights[s] - self.seats[s]).max(0.0) / -by, s))
            };
            let met = hanging.iter().zip(&by).filter_map(reach);
            let met = met.min_by(|a, b| a.0.total_cmp(&b.0));
            let met = met.filter(|(reach, _)| falls || *reach < 1.0);
            let share = met.map_or(1.0, |(reach, _)| reach);
            for (&support, by) in hanging.iter().zip(by) {
                self.shift(support, by * share);
            }
            if let Some((_, support)) = met {
                self.rest(support);
                return Ok(false);
            }
        }
        // Rounding keeps it from closer: what is left must be next to nothing. It is not if the
        // frame tips over.
        if largest(self) < 1e-3 { Ok(true) } else { Err(Unsettled) }
    }

    /// Moves the hanging supports until none of them carries. Not if what carries leaves them a
    /// way to move and the load pushes them along it: they are then found far along that way.
    fn balance_hanging(&mut self) -> bool {
        let mut largest_before = f64::INFINITY;
        for round in 0..200 {
            let hanging = self.unsettled_hanging();
            let largest = hanging.iter().fold(0.0, |m: f64, &s| m.max(self.reactions[s].abs()));
            if largest <= self.may_be_left {
                return true;
            }
            // Those that are off by little wait: settling the others moves them too.
            let least = self.may_be_left.max(largest * FIRST);
            let off: Vec<usize> =
                hanging.iter().copied().filter(|&s| self.reactions[s].abs() > least).collect();
            let slow = round > 8 && largest > largest_before * 0.5;
            let no_better = largest > largest_before * 0.5;
            largest_before = largest;
            let together = if self.hanging.len() <= ALL_TOGETHER || (slow && round > 30) {
                self.hanging.clone()
            } else if slow {
                self.with_coupled(&self.with_coupled(&off))
            } else {
                self.with_coupled(&off)
            };
            let whole = together.len() == self.hanging.len();
            let factor = self.factor(&together);
            if no_better && !factor.loose.is_empty() {
                return false;
            }
            let mut by: Vec<f64> = together.iter().map(|&s| -self.reactions[s]).collect();
            factor.solve(&mut by);
            for (&support, by) in together.iter().zip(by) {
                self.shift(support, by);
            }
            if whole && round > 20 {
                // Rounding keeps it from closer: what is left must be next to nothing.
                let left = self.hanging.iter();
                let left = left.fold(0.0, |m: f64, &s| m.max(self.reactions[s].abs()));
                return left < 1e-3;
            }
        }
        false
    }

    /// Hanging supports that are off balance, with the hanging ones that they couple to.
    fn with_coupled(&self, off: &[usize]) -> Vec<usize> {
        let near = off.iter().flat_map(|&s| &self.response.near[s]).copied();
        let mut together: Vec<usize> = near.filter(|&other| !self.held[other]).collect();
        together.sort_unstable();
        together.dedup();
        together
    }

    fn factor(&self, supports: &[usize]) -> Factor {
        let first = supports
            .iter()
            .enumerate()
            .map(|(row, &support)| {
                let feels = self.response.rows[support].0;
                supports[..row].partition_point(|&other| other < feels)
            })
            .collect::<Vec<usize>>();
        let mut matrix = Skyline::new(first.clone());
        for (row, &support) in supports.iter().enumerate() {
            for (column, &other) in supports[..=row].iter().enumerate().skip(first[row]) {
                matrix.add(row, column, self.coupling(support, other));
            }
        }
        matrix.factor(VANISHED, (ROUNDING * self.response.rounding).max(NO_STIFFNESS))
    }
}

fn reactions(response: &Response, g: &[f64], heights: &[f64]) -> Vec<f64> {
    // Heights above a common one: raising everything changes nothing, and smaller numbers
    // lose less.
    let common = heights.iter().sum::<f64>() / heights.len().max(1) as f64;
    response
        .rows
        .iter()
        .zip(g)
        .map(|((first, row), g)| {
            let heights = &heights[*first..];
            row.iter().zip(heights).map(|(k, w)| k * (w - common)).sum::<f64>() - g
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::super::response::by_size;
    use super::*;
    use proptest::prelude::*;

    /// A stiffness that a lift of all supports alike does not feel: `E E'`, the columns of `E`
    /// summing to nothing. With few columns it leaves many ways to move.
    fn stiffness(n: usize, columns: usize, seed: &[f64]) -> Vec<Vec<f64>> {
        let mut e = vec![vec![0.0; columns]; n];
        for column in 0..columns {
            let value = |row: usize| seed[(row * 5 + column * 11) % seed.len()];
            let mean = (0..n).map(value).sum::<f64>() / n as f64;
            (0..n).for_each(|row| e[row][column] = value(row) - mean);
        }
        let dot = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum();
        (0..n).map(|row| (0..n).map(|other| dot(&e[row], &e[other])).collect()).collect()
    }

    fn response(stiffness: Vec<Vec<f64>>) -> Response {
        let rows: Vec<(usize, Vec<f64>)> = stiffness.into_iter().map(|row| (0, row)).collect();
        Response {
            by_size: rows.iter().map(|row| by_size(row, 0.0)).collect(),
            rows,
            near: Vec::new(),
            rounding: 1e-12,
            g: [Vec::new(), Vec::new()],
            places: Vec::new(),
        }
    }

    proptest! {
        /// Made backwards: heights, loads on some supports and air over the others are chosen, and
        /// the seats and loads that belong to them follow. What is carried has one answer. Where a
        /// way to move is all but free, a thousandth of a newton is let go.
        #[test]
        fn an_answer_chosen_beforehand_is_found(
            n in 2_usize..9,
            columns in 1_usize..9,
            seed in prop::collection::vec(-10.0..10.0_f64, 61),
            heights in prop::collection::vec(-50.0..50.0_f64, 9),
            carried in prop::collection::vec((-9..10_i8).prop_map(f64::from), 9),
        ) {
            let mut carried = carried[..n].to_vec();
            carried[n / 2] = 1.0 + carried[n / 2].abs();
            let response = response(stiffness(n, columns, &seed));
            let want: Vec<f64> = carried.iter().map(|load| load.max(0.0)).collect();
            let seats: Vec<f64> =
                heights.iter().zip(&carried).map(|(w, load)| w + load.min(0.0)).collect();
            let under: Vec<f64> = reactions(&response, &want, &heights[..n]);
            let found = Balance::new(&response, under.clone(), seats.clone()).unwrap();
            let mut step_by_step = Balance {
                heights: seats.clone(),
                reactions: reactions(&response, &under, &seats),
                held: vec![true; n],
                ..found.clone()
            };
            step_by_step.settle_one_by_one().unwrap();
            for balance in [found, step_by_step] {
                for support in 0..n {
                    let reaction = balance.reactions[support];
                    prop_assert!((reaction - want[support]).abs() < 0.01, "{reaction} {want:?}");
                    prop_assert!(balance.heights[support] > seats[support] - 1e-6);
                }
            }
        }
    }
}
