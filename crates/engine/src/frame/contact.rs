//! Which supports carry: bearers rest on seats that push and cannot pull.
//!
//! # Method
//! With heights `w` over the supports, reactions are `R = S w - g`; `R >= 0`, `w >= seat` and one
//! of the two holds with equality at every support. The set that carries is found by block
//! principal pivoting: all supports on the wrong side change over at once, and if their number
//! does not drop in ten tries, only the first of them, which always ends.
//!
//! Where too much changes over at once the frame would stand on too few supports to be solved for.
//! Then the energy is brought down step by step instead: one support is let go at a time, and every
//! step ends at the first seat that a bearer meets on its way, so that it always stands.
//!
//! A lift at one support is felt a few spans away and no further, so only the supports whose
//! balance it disturbs are solved for again.
//!
//! # References
//! Block pivoting as a primal-dual active set method: Hintermueller, Ito & Kunisch, SIAM J. Optim.
//! 2002 (abstract). Least-index rule: Murty (from memory). Held against a quadratic program in
//! `tests/frame_second_method.rs`.

use super::response::Response;
use super::skyline::{Factor, Skyline};

/// A support that carries less than this, in newtons, carries nothing.
pub(super) const NO_FORCE: f64 = 1e-6;

/// What may be left at a hanging support where rounding keeps it from less, in newtons.
const SETTLED_TO: f64 = 1e-4;

/// A gap smaller than this, in millimetres, is none.
const NO_GAP: f64 = 1e-8;

/// Tries without fewer wrong supports before they change over one at a time.
const PATIENCE: usize = 10;

/// Tries, for each support, before the energy is brought down step by step.
const MOST_TRIES: usize = 4;

/// With no more hanging supports than this they are all solved for together.
const ALL_TOGETHER: usize = 48;

/// The frame on its seats. Supports are counted in the stiffness's order; millimetres and newtons.
#[derive(Clone, Debug)]
pub(super) struct Balance<'a> {
    response: &'a Response,
    pub g: Vec<f64>,
    pub seats: Vec<f64>,
    pub heights: Vec<f64>,
    pub reactions: Vec<f64>,
    /// Whether each carries.
    pub held: Vec<bool>,
    /// Those that do not, in order.
    hanging: Vec<usize>,
    /// Where anything changed since all was in balance.
    unsettled: Stretch,
    /// Where reactions changed since this was last emptied.
    pub felt: Stretch,
    /// Whether any support let go or took hold since this was last cleared.
    pub regrouped: bool,
    /// The frame rocks: its reactions are in balance, its tilt is not determined.
    pub rocks: bool,
    /// The supports without a load that `rocks` was found for.
    looked_at: Vec<usize>,
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

/// The contact could not be settled: a fault of this program, not an answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Unsettled;

impl<'a> Balance<'a> {
    /// Settles the frame on its seats.
    pub fn new(response: &'a Response, g: Vec<f64>, seats: Vec<f64>) -> Result<Self, Unsettled> {
        let mut balance = Self {
            response,
            heights: seats.clone(),
            reactions: reactions(response, &g, &seats),
            held: vec![true; g.len()],
            hanging: Vec::new(),
            unsettled: Stretch { begin: 0, end: g.len() },
            felt: Stretch { begin: 0, end: g.len() },
            regrouped: false,
            rocks: false,
            looked_at: Vec::new(),
            moved: Vec::new(),
            g,
            seats,
        };
        balance.settle()?;
        balance.look_for_rocking();
        Ok(balance)
    }

    /// Brings seats to new heights and settles again.
    pub fn set_seats(&mut self, changes: &[(usize, f64)]) -> Result<(), Unsettled> {
        for &(support, seat) in changes {
            self.seats[support] = seat;
            self.unsettled.take_in(support, support + 1);
            if self.held[support] {
                self.shift(support, seat - self.heights[support]);
            }
        }
        self.settle()?;
        if self.hanging.len() <= ALL_TOGETHER {
            self.look_for_rocking();
        }
        Ok(())
    }

    /// Finds out whether the frame rocks: whether what carries leaves a way to move. In a large
    /// frame this is not done after every move.
    pub fn look_for_rocking(&mut self) {
        // One that only touches holds nothing.
        let idle: Vec<usize> = (0..self.held.len())
            .filter(|&s| !self.held[s] || self.reactions[s] <= NO_FORCE)
            .collect();
        if idle != self.looked_at {
            self.rocks = !self.factor(&idle).loose.is_empty();
            self.looked_at = idle;
        }
    }

    /// The hanging supports among those that anything changed for.
    fn unsettled_hanging(&self) -> &[usize] {
        let begin = self.hanging.partition_point(|&s| s < self.unsettled.begin);
        let end = self.hanging.partition_point(|&s| s < self.unsettled.end);
        &self.hanging[begin.min(end)..end]
    }

    fn change_over(&mut self, support: usize) {
        self.regrouped = true;
        self.held[support] = !self.held[support];
        match self.hanging.binary_search(&support) {
            Ok(at) => drop(self.hanging.remove(at)),
            Err(at) => self.hanging.insert(at, support),
        }
        if self.held[support] {
            self.shift(support, self.seats[support] - self.heights[support]);
        }
    }

    /// Reactions anew from the heights, so that rounding does not add up over many moves.
    pub fn refresh(&mut self) {
        self.reactions = reactions(self.response, &self.g, &self.heights);
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
        let (first, row) = &self.response.rows[support];
        self.unsettled.take_in(*first, first + row.len());
        self.felt.take_in(*first, first + row.len());
        for (reaction, k) in self.reactions[*first..].iter_mut().zip(row) {
            *reaction += k * by;
        }
    }

    /// Supports on the wrong side; only where something changed can there be any.
    fn wrong(&self) -> Vec<usize> {
        self.unsettled
            .supports()
            .filter(|&s| {
                if self.held[s] {
                    self.reactions[s] < -NO_FORCE
                } else {
                    self.heights[s] < self.seats[s] - NO_GAP
                }
            })
            .collect()
    }

    fn settle(&mut self) -> Result<(), Unsettled> {
        self.pivot().or_else(|Unsettled| self.step_by_step())?;
        self.unsettled = Stretch::EMPTY;
        Ok(())
    }

    fn pivot(&mut self) -> Result<(), Unsettled> {
        self.balance_hanging()?;
        let mut fewest = usize::MAX;
        let mut tries = 0;
        for _ in 0..MOST_TRIES * self.held.len().max(20) {
            let wrong = self.wrong();
            if wrong.is_empty() {
                return Ok(());
            }
            if wrong.len() < fewest {
                fewest = wrong.len();
                tries = 0;
            } else {
                tries += 1;
            }
            let change = if tries < PATIENCE { &wrong[..] } else { &wrong[..1] };
            for &support in change {
                self.change_over(support);
            }
            self.balance_hanging()?;
        }
        Err(Unsettled)
    }

    /// Moves the hanging supports until none of them carries.
    fn balance_hanging(&mut self) -> Result<(), Unsettled> {
        let mut largest_before = f64::INFINITY;
        for round in 0..200 {
            let disturbed = |s: &&usize| self.reactions[**s].abs() > NO_FORCE * 0.1;
            let off: Vec<usize> =
                self.unsettled_hanging().iter().filter(disturbed).copied().collect();
            if off.is_empty() {
                return Ok(());
            }
            let largest = off.iter().fold(0.0, |m: f64, &s| m.max(self.reactions[s].abs()));
            let slow = round > 8 && largest > largest_before * 0.5;
            largest_before = largest;
            let together = if self.hanging.len() <= ALL_TOGETHER || slow {
                self.hanging.clone()
            } else {
                self.with_coupled(&off)
            };
            let whole = together.len() == self.hanging.len();
            let factor = self.factor(&together);
            if !factor.loose.is_empty() {
                return Err(Unsettled);
            }
            let mut by: Vec<f64> = together.iter().map(|&s| -self.reactions[s]).collect();
            factor.solve(&mut by);
            for (&support, by) in together.iter().zip(by) {
                self.shift(support, by);
            }
            if whole && round > 20 {
                // Rounding keeps it from closer: what is left must be next to nothing.
                return if self.left() <= SETTLED_TO { Ok(()) } else { Err(Unsettled) };
            }
        }
        Err(Unsettled)
    }

    /// The largest force that is left where there ought to be none.
    fn left(&self) -> f64 {
        self.hanging.iter().fold(0.0, |left: f64, &s| left.max(self.reactions[s].abs()))
    }

    /// Lets one support go at a time, from all of them carrying.
    fn step_by_step(&mut self) -> Result<(), Unsettled> {
        let n = self.held.len();
        for support in std::mem::take(&mut self.hanging) {
            self.held[support] = true;
        }
        for support in 0..n {
            self.shift(support, self.seats[support] - self.heights[support]);
        }
        self.regrouped = true;
        self.refresh();
        for _ in 0..20 * n.max(20) {
            self.step_to_balance()?;
            let pulls = |s: &usize| self.held[*s] && self.reactions[*s] < -NO_FORCE;
            let most = |a: &usize, b: &usize| self.reactions[*a].total_cmp(&self.reactions[*b]);
            match (0..n).filter(pulls).min_by(most) {
                Some(support) => self.change_over(support),
                None => return Ok(()),
            }
        }
        Err(Unsettled)
    }

    /// Moves what hangs to its balance, taking hold of every seat that is met on the way.
    fn step_to_balance(&mut self) -> Result<(), Unsettled> {
        for _ in 0..2 * self.held.len() + 20 {
            let hanging = self.hanging.clone();
            let factor = self.factor(&hanging);
            let mut by: Vec<f64> = hanging.iter().map(|&s| -self.reactions[s]).collect();
            factor.solve(&mut by);
            let (mut part, mut met) = (1.0, None);
            for (&support, &by) in hanging.iter().zip(&by).filter(|(_, by)| **by < 0.0) {
                let room = (self.seats[support] - self.heights[support]) / by;
                if room < part {
                    (part, met) = (room.max(0.0), Some(support));
                }
            }
            for (&support, by) in hanging.iter().zip(&by) {
                self.shift(support, by * part);
            }
            self.refresh();
            match met {
                Some(support) => self.change_over(support),
                None if self.left() <= SETTLED_TO => return Ok(()),
                None => {}
            }
        }
        Err(Unsettled)
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
        matrix.factor()
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
