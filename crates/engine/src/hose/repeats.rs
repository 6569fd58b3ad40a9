//! The builder's own repeats against what the budget promises.

use super::budget::{Budget, LEAST_CLAIMED};
use super::instrument::Hose;
use super::scale::Reservoir;
use crate::ids::PointId;
use crate::survey::{Drift, FieldTestError, Setup, root_sum_of_squares, staff_zero_factor};
use crate::units::{Length, Minutes};
use serde::Serialize;
use statrs::distribution::{ChiSquared, ContinuousCDF};
use std::collections::BTreeMap;

/// As many pairs as the budget is worth when the two are blended (a ratio; our own rule).
pub const BUDGET_WORTH: f64 = 10.0;

/// Two readings of one point may differ by so many standard uncertainties; beyond, read again rather
/// than take the mean (95 % of two readings: 1.96 times the root of 2).
pub const REPEATS_WITHIN: f64 = 2.8;

/// What repeats say of one reading.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Repeats {
    /// How many readings are more than needed: one for each pair.
    pub spare: usize,
    /// Standard deviation of one reading by them.
    pub sd: Length,
}

/// From differences of double readings, each end lifted, settled and read again unseen.
///
/// # References
/// `s = sqrt(sum d^2 / 2n)`: the variance of a difference is twice that of a reading.
pub fn repeats_of_pairs(differences: &[Length]) -> Option<Repeats> {
    if differences.is_empty() {
        return None;
    }
    let squares: f64 = differences.iter().map(|d| d.squared().to_mm2()).sum();
    let sd = Length::mm((squares / (2.0 * differences.len() as f64)).sqrt());
    Some(Repeats { spare: differences.len(), sd })
}

/// From the points that were read more than once in one setup. Where the setup is taken to drift,
/// the even drift that fits these points best is taken out first, at the cost of one spare reading.
pub fn repeats_in(setup: &Setup) -> Option<Repeats> {
    let mut points: BTreeMap<&PointId, Vec<(Option<Minutes>, f64)>> = BTreeMap::new();
    for reading in &setup.readings {
        points.entry(&reading.point).or_default().push((reading.time, reading.value.to_mm()));
    }
    let (mut spare, mut squares, mut times, mut both) = (0_usize, 0.0, 0.0, 0.0);
    for readings in points.values() {
        let n = readings.len() as f64;
        let at = |one: &(Option<Minutes>, f64)| one.0.map_or(0.0, Minutes::to_minutes);
        let mean_time = readings.iter().map(at).sum::<f64>() / n;
        let mean = readings.iter().map(|one| one.1).sum::<f64>() / n;
        for one in readings {
            let (t, r) = (at(one) - mean_time, one.1 - mean);
            squares += r * r;
            times += t * t;
            both += t * r;
        }
        spare += readings.len() - 1;
    }
    let timed = setup.readings.iter().all(|reading| reading.time.is_some());
    if setup.drift == Drift::Linear && timed && times > 0.0 && spare > 0 {
        squares -= both * both / times;
        spare -= 1;
    }
    (spare > 0).then(|| Repeats { spare, sd: Length::mm((squares.max(0.0) / spare as f64).sqrt()) })
}

/// How far the true standard deviation may lie above one from so many pairs, at 95 % (a ratio).
pub fn upper_95_factor(spare: usize) -> Option<f64> {
    let n = spare as f64;
    let chi = ChiSquared::new(n).ok()?;
    Some((n / chi.inverse_cdf(0.05)).sqrt())
}

/// The promise of a budget with what repeats say, weighted by how much each is worth.
///
/// # References
/// `(10 u0^2 + n s^2)/(10 + n)`.
pub fn blended(promised: Length, repeats: Repeats) -> Length {
    let n = repeats.spare as f64;
    let squares = BUDGET_WORTH * promised.squared().to_mm2() + n * repeats.sd.squared().to_mm2();
    Length::mm((squares / (BUDGET_WORTH + n)).sqrt())
}

/// What a reading is taken to be worth, and why.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct ReadingWorth {
    /// Standard uncertainty of one reading.
    pub sd: Length,
    /// The budget alone.
    pub by_budget: Length,
    /// The repeats that corrected it, if there were any.
    pub repeats: Option<Repeats>,
}

/// The standard uncertainty of a reading: the budget's, corrected by repeats where there are some.
/// What repeats cannot show is added whole, and nothing below [`LEAST_CLAIMED`] is claimed.
pub fn sd_from_repeats(budget: &Budget, repeats: Option<Repeats>) -> ReadingWorth {
    let random = match repeats {
        Some(repeats) => blended(budget.random(), repeats),
        None => budget.random(),
    };
    let sd = root_sum_of_squares([random, budget.hidden()]).max(LEAST_CLAIMED);
    ReadingWorth { sd, by_budget: budget.claimed, repeats }
}

/// A twin read both ways: the difference of height and the index error of the pair.
pub fn reversal(first: Length, swapped: Length) -> (Length, Length) {
    ((first + swapped) / 2.0, (first - swapped) / 2.0)
}

/// What a benchmark that reads `misclosure` more at its second reading takes off a reading between.
pub fn drift_correction(misclosure: Length, first: Minutes, last: Minutes, at: Minutes) -> Length {
    let share = (at - first).to_minutes() / (last - first).to_minutes();
    -(misclosure * share)
}

/// How much too much a leaning staff reads: `1 - cos` of the lean.
pub fn lean_reads_long(reading: Length, lean: crate::units::Angle) -> Length {
    reading * (1.0 - lean.to_radians().cos())
}

/// The field test of a hose.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct HoseTest {
    /// What one reading scatters by.
    pub repeats: Repeats,
    /// The true value may be as large, at 95 %.
    pub may_be: Length,
    /// The difference of height of the two marks.
    pub difference: Length,
    /// Half of what the two sets differ by: what one end reads more than the other.
    pub index_error: Length,
    /// The largest that the sets' means may differ by chance, at 95 %.
    pub limit: Length,
}

impl HoseTest {
    /// Whether both ends read alike.
    pub fn ends_agree(&self) -> bool {
        (self.index_error * 2.0).abs() <= self.limit
    }
}

/// Works the field test out: two marks, at least ten differences of height, the hose lifted and
/// settled anew for each; then as many with the ends swapped.
///
/// With a pail a difference is made of two readings, one on each mark; in the second set the pail
/// stands beside the other mark and the other mark is read first. A twin whose ends are both read
/// stands with one end on each mark, and a difference is one reading of it; in the second set the ends
/// have changed places.
///
/// # Errors
/// Fewer than ten in a set, or a difference that is no number.
///
/// # References
/// The scheme of ISO 17123-2:2001 (from memory, verify), on one difference of height: `s` of a
/// difference from both sets about their means, `n1 + n2 - 2` spare. A difference of two readings has
/// `s = f sqrt(2) s_reading`, `f` being what differences of readings are multiplied by; one of a twin
/// read at both ends is one reading.
/// The means agree if they differ by less than `t(0.975) s sqrt(1/n1 + 1/n2)`.
pub fn hose_test(
    hose: &Hose,
    first: &[Length],
    swapped: &[Length],
) -> Result<HoseTest, FieldTestError> {
    const NEEDED: usize = 10;
    for (set, differences) in [(1, first), (2, swapped)] {
        if differences.len() < NEEDED {
            let got = differences.len();
            return Err(FieldTestError::TooFew { set, got, needed: NEEDED });
        }
        if !differences.iter().all(|difference| difference.is_finite()) {
            return Err(FieldTestError::NotFinite(set));
        }
    }
    let mean = |set: &[Length]| set.iter().copied().sum::<Length>() / set.len() as f64;
    let squares = |set: &[Length]| -> f64 {
        let mean = mean(set);
        set.iter().map(|&difference| (difference - mean).squared().to_mm2()).sum()
    };
    let spare = first.len() + swapped.len() - 2;
    let sd = Length::mm(((squares(first) + squares(swapped)) / spare as f64).sqrt());
    let of_one = match hose.reservoir {
        Reservoir::TwinBothEnds => 1.0,
        _ => hose.factor() * 2.0_f64.sqrt(),
    };
    let repeats = Repeats { spare, sd: sd / of_one };
    let may_be = repeats.sd * upper_95_factor(spare).unwrap_or(f64::INFINITY);
    let (difference, index_error) = reversal(mean(first), mean(swapped));
    let limit = sd * staff_zero_factor(first.len(), swapped.len())?;
    Ok(HoseTest { repeats, may_be, difference, index_error, limit })
}

impl Repeats {
    /// Several sets of repeats as one, each weighing what it has to spare; `None` of none.
    pub fn joined(sets: &[Self]) -> Option<Self> {
        let spare: usize = sets.iter().map(|set| set.spare).sum();
        let squares: f64 =
            sets.iter().map(|set| set.spare as f64 * set.sd.squared().to_mm2()).sum();
        (spare > 0).then(|| Self { spare, sd: Length::mm((squares / spare as f64).sqrt()) })
    }
}
