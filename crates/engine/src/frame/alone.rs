//! The force at a jack that raises its bearer alone, without moving anything else.
//!
//! # Method
//! What lets go or takes hold when one bearer is raised stands near it. So only the supports that
//! feel the lift are looked at, in the state that the frame is in: those that hang among them are
//! solved for, and which of them carry is found as for the whole frame, all supports on the wrong
//! side changing over at once. What is further away is left where it is; it would act on the jack
//! by the square of what it feels.

use super::contact::{Balance, NO_FORCE, NO_GAP};

/// Supports that feel less than this share of what the jack feels stay as they are.
const FELT: f64 = 3e-5;

/// A pivot smaller than this share of its diagonal: what hangs has a way to move.
const VANISHED: f64 = 1e-10;

/// Tries, and how many of them without fewer wrong supports.
const TRIES: usize = 60;
const PATIENCE: usize = 10;

/// A support near the jack.
struct Near {
    place: usize,
    /// Its reaction with the jack raised and all else where it is.
    before: f64,
    reaction: f64,
    /// How far its bearer has moved.
    by: f64,
    is_free: bool,
}

impl Balance<'_> {
    /// The reaction at a support whose bearer is raised so far from where it lies or hangs, all
    /// other seats staying; `None` if it is not to be found this way.
    pub fn reaction_alone(&self, support: usize, rise: f64) -> Option<f64> {
        let (first, row) = &self.response.rows[support];
        let stiffness = row[support - first];
        let today = if self.held[support] { self.reactions[support] } else { 0.0 };
        let mut near = self.near(support, rise);
        let (mut fewest, mut tries) = (usize::MAX, 0);
        for _ in 0..TRIES {
            let own = self.settle_near(&mut near, support)?;
            let wrong: Vec<usize> = (0..near.len())
                .filter(|&at| {
                    let Near { place, reaction, by, is_free, .. } = near[at];
                    if is_free {
                        self.heights[place] + by < self.seats[place] - NO_GAP
                    } else {
                        reaction < -NO_FORCE
                    }
                })
                .collect();
            if wrong.is_empty() {
                return Some(today + stiffness * rise + own);
            }
            if wrong.len() < fewest {
                (fewest, tries) = (wrong.len(), 0);
            } else {
                tries += 1;
            }
            let changing = if tries < PATIENCE { wrong.len() } else { 1 };
            for &at in &wrong[..changing] {
                let one = &mut near[at];
                one.is_free = !one.is_free;
                one.by =
                    if one.is_free { 0.0 } else { self.seats[one.place] - self.heights[one.place] };
            }
        }
        None
    }

    /// The supports that feel the jack, it not counted.
    fn near(&self, support: usize, rise: f64) -> Vec<Near> {
        let (first, row) = &self.response.rows[support];
        let least = row[support - first].abs() * FELT;
        let felt =
            row.iter().enumerate().filter(|(at, k)| k.abs() > least && first + at != support);
        felt.map(|(at, k)| {
            let place = first + at;
            let held = self.held[place];
            let today = if held { self.reactions[place] } else { 0.0 };
            let before = today + k * rise;
            Near { place, before, reaction: before, by: 0.0, is_free: !held }
        })
        .collect()
    }

    /// Moves what hangs near the jack until it carries nothing; the reaction at the jack but for
    /// what its own rise adds.
    fn settle_near(&self, near: &mut [Near], support: usize) -> Option<f64> {
        for one in near.iter_mut() {
            one.reaction = one.before;
        }
        let (first, row) = &self.response.rows[support];
        let mut own = 0.0;
        for at in 0..near.len() {
            let Near { place, by, is_free, .. } = near[at];
            if !is_free && by != 0.0 {
                own += row[place - first] * by;
                self.tell(near, place, by);
            }
        }
        let free: Vec<usize> = (0..near.len()).filter(|&at| near[at].is_free).collect();
        let n = free.len();
        let mut matrix = vec![0.0; n * n];
        for (a, &at) in free.iter().enumerate() {
            let (first, row) = &self.response.rows[near[at].place];
            for (b, &other) in free[..=a].iter().enumerate() {
                let k = near[other].place.checked_sub(*first).and_then(|place| row.get(place));
                matrix[a * n + b] = k.copied().unwrap_or(0.0);
            }
        }
        let mut by: Vec<f64> = free.iter().map(|&at| -near[at].reaction).collect();
        solve(&mut matrix, &mut by)?;
        for (&at, by) in free.iter().zip(by) {
            near[at].by = by;
            own += row[near[at].place - first] * by;
            self.tell(near, near[at].place, by);
        }
        Some(own)
    }

    /// Tells those near the jack of the movement of one of them.
    fn tell(&self, near: &mut [Near], moved: usize, by: f64) {
        let (first, row) = &self.response.rows[moved];
        for one in near {
            if let Some(k) = one.place.checked_sub(*first).and_then(|place| row.get(place)) {
                one.reaction += k * by;
            }
        }
    }
}

/// Solves a small symmetric system in place, given below its diagonal row by row.
fn solve(matrix: &mut [f64], right: &mut [f64]) -> Option<()> {
    let n = right.len();
    for row in 0..n {
        let (done, current) = matrix.split_at_mut(row * n);
        let was = current[row];
        for column in 0..row {
            let other = &done[column * n..][..=column];
            let sum: f64 = current[..column].iter().zip(other).map(|(a, b)| a * b).sum();
            current[column] = (current[column] - sum) / other[column];
        }
        let remains = was - current[..row].iter().map(|a| a * a).sum::<f64>();
        if remains.is_nan() || remains <= VANISHED * was.abs() {
            return None;
        }
        current[row] = remains.sqrt();
        let sum: f64 = current[..row].iter().zip(&*right).map(|(a, b)| a * b).sum();
        right[row] = (right[row] - sum) / current[row];
    }
    for row in (0..n).rev() {
        let current = &matrix[row * n..][..=row];
        right[row] /= current[row];
        let value = right[row];
        right[..row].iter_mut().zip(current).for_each(|(entry, l)| *entry -= l * value);
    }
    Some(())
}
