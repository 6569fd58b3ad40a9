//! Which packers make up a thickness, and what to buy for the whole job.
//!
//! The wanted thickness is the lift plus the air that is already under the bearer. A stack is
//! chosen from every combination of the stock's thicknesses by one fixed order: fewest pieces,
//! smallest error, fewest different thicknesses, thickest first; so there is one answer.

mod buy;

pub use buy::{BuyLine, BuyList, buy};

use crate::ids::SupportId;
use crate::settings::{Limits, Stock};
use crate::units::{ExactLength, Length};
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};

/// Wanted thicknesses are rounded to this step before stacks are compared: a twentieth of a
/// millimetre, well under what a packer is sawn to.
pub const STEP: ExactLength = ExactLength::nm(50_000);

/// Most combinations that a stock may have; beyond it the table would not fit a phone.
const MOST_COMBINATIONS: u64 = 200_000;

/// Packers one on another, the thickest first.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Stack {
    /// The pieces.
    pub pieces: Vec<Length>,
    /// Their sum.
    pub thickness: Length,
    /// Thickness less what was wanted.
    pub error: Length,
    /// How many of each of the stock's thicknesses, thickest first.
    #[serde(skip)]
    counts: Vec<u8>,
}

/// What the stock offers for a wanted thickness.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Choice {
    /// A stack within the tolerance.
    Stack(Stack),
    /// No stack is within the tolerance.
    Unreachable {
        /// The thickest stack that is too thin, if any.
        below: Option<Stack>,
        /// The thinnest stack that is too thick, if any.
        above: Option<Stack>,
    },
}

/// What the height of packing calls for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum HeightAdvice {
    /// Nothing.
    Fine,
    /// Above the height at which the builder is warned: full bearing, few leaves, fixed.
    Warn,
    /// Above the height at which packing stops: a taller support, or a new one.
    TallerSupport,
}

/// Packing at a support.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Packing {
    /// The support.
    pub support: SupportId,
    /// Air at the start and lift so far. Below zero the support itself has to be cut down.
    pub wanted: Length,
    /// The stack.
    pub choice: Choice,
    /// What the height calls for.
    pub advice: HeightAdvice,
}

/// Why a stock cannot be used.
#[derive(Clone, Debug, PartialEq, Serialize, thiserror::Error)]
pub enum StockError {
    /// No packers at all.
    #[error("the stock has no packers")]
    Empty,
    /// A thickness that is not a number, not above zero, or above a metre.
    #[error("a packer is {0} thick; a thickness is above zero and at most a metre")]
    Thickness(Length),
    /// The same thickness twice.
    #[error("packers of {0} are listed twice")]
    Twice(Length),
    /// A pack without pieces.
    #[error("a pack of {0} packers holds no pieces")]
    EmptyPack(Length),
    /// A tolerance below zero, not a number, or above a metre.
    #[error("the tolerance on a stack is {0}; it is zero or more")]
    Tolerance(Length),
    /// More combinations than can be listed.
    #[error(
        "{thicknesses} thicknesses in stacks of up to {pieces} pieces make too many combinations"
    )]
    TooMany {
        /// Different thicknesses.
        thicknesses: usize,
        /// Most pieces in a stack.
        pieces: usize,
    },
}

/// Every stack that a stock can make.
#[derive(Clone, Debug)]
pub struct StackTable {
    stock: Stock,
    /// Thickest first.
    thicknesses: Vec<ExactLength>,
    tolerance: ExactLength,
    /// For each number of pieces: the stacks of each sum, as counts, in order of preference.
    by_pieces: Vec<BTreeMap<ExactLength, Vec<Vec<u8>>>>,
    n_combinations: usize,
}

impl StackTable {
    /// Lists every combination of up to the stock's largest number of pieces.
    ///
    /// # Errors
    /// The first fault of the stock.
    pub fn new(stock: &Stock) -> Result<Self, StockError> {
        let max_pieces = stock.max_pieces.value;
        let mut thicknesses = Vec::new();
        for packer in &stock.packers {
            let thickness = packer.thickness;
            if !(thickness > Length::ZERO && thickness <= Length::m(1.0)) {
                return Err(StockError::Thickness(thickness));
            }
            if packer.pack == 0 {
                return Err(StockError::EmptyPack(thickness));
            }
            let exact = ExactLength::from_mm(thickness.to_mm())
                .filter(|exact| *exact > ExactLength::ZERO)
                .ok_or(StockError::Thickness(thickness))?;
            if thicknesses.contains(&exact) {
                return Err(StockError::Twice(thickness));
            }
            thicknesses.push(exact);
        }
        if thicknesses.is_empty() {
            return Err(StockError::Empty);
        }
        let tolerance = stock.tolerance.value;
        if !(tolerance >= Length::ZERO && tolerance <= Length::m(1.0)) {
            return Err(StockError::Tolerance(tolerance));
        }
        if combinations(thicknesses.len(), max_pieces).is_none() {
            let thicknesses = thicknesses.len();
            return Err(StockError::TooMany { thicknesses, pieces: max_pieces });
        }
        thicknesses.sort_by(|a, b| b.cmp(a));
        let mut table = Self {
            stock: stock.clone(),
            thicknesses,
            tolerance: ExactLength::from_mm(tolerance.to_mm())
                .ok_or(StockError::Tolerance(tolerance))?,
            by_pieces: vec![BTreeMap::new(); max_pieces + 1],
            n_combinations: 0,
        };
        table.list(0, &mut vec![0; table.thicknesses.len()], 0, ExactLength::ZERO);
        Ok(table)
    }

    /// Adds every way to use the thicknesses from `kind` on. The thicker are used up first, so
    /// that of equal stacks the one that comes first is the thickest first.
    fn list(&mut self, kind: usize, counts: &mut Vec<u8>, pieces: usize, sum: ExactLength) {
        if kind == self.thicknesses.len() {
            self.n_combinations += 1;
            let stacks = self.by_pieces[pieces].entry(sum).or_default();
            let place = stacks.partition_point(|known| different(known) <= different(counts));
            stacks.insert(place, counts.clone());
            return;
        }
        let room = self.by_pieces.len() - 1 - pieces;
        let thickness = self.thicknesses[kind];
        for count in (0..=room).rev() {
            counts[kind] = count as u8;
            let added = ExactLength::nm(thickness.to_nm() * count as i64);
            self.list(kind + 1, counts, pieces + count, sum + added);
        }
        counts[kind] = 0;
    }

    /// How many combinations there are, the empty one included.
    pub fn n_combinations(&self) -> usize {
        self.n_combinations
    }

    /// The stock that the table was made from.
    pub fn stock(&self) -> &Stock {
        &self.stock
    }

    /// The best stack for a wanted thickness.
    ///
    /// # Units and sign
    /// The wanted thickness is the lift plus the gap that is there already; below zero counts as
    /// zero. It is rounded to [`STEP`]; an error of exactly the tolerance is within it.
    ///
    /// # Examples
    /// ```
    /// use floorwright_engine::packers::{Choice, StackTable};
    /// use floorwright_engine::settings::Stock;
    /// use floorwright_engine::units::Length;
    ///
    /// let table = StackTable::new(&Stock::default())?;
    /// let Choice::Stack(stack) = table.choose(Length::mm(16.0)) else { panic!() };
    /// assert_eq!(stack.pieces, [10.0, 3.0, 3.0].map(Length::mm));
    /// # Ok::<(), floorwright_engine::packers::StockError>(())
    /// ```
    ///
    /// # References
    /// Own rule. Checked against a table of every target from 0 to 121.05 mm, and against a coin
    /// dynamic program, in `tests/packers_table.rs`.
    pub fn choose(&self, wanted: Length) -> Choice {
        let wanted = to_step(wanted);
        for pieces in 0..self.by_pieces.len() {
            let (least, most) = (wanted - self.tolerance, wanted + self.tolerance);
            if let Some(stack) = self.nearest(pieces, wanted, (least, most)) {
                return Choice::Stack(stack);
            }
        }
        let sums = || self.by_pieces.iter().flat_map(|sums| sums.keys().copied());
        let below = sums().filter(|sum| *sum < wanted).max();
        let above = sums().filter(|sum| *sum > wanted).min();
        let fewest = |sum: ExactLength| {
            let stacks = self.by_pieces.iter().find_map(|sums| sums.get(&sum))?;
            stacks.first().map(|counts| self.stack(sum, counts, wanted))
        };
        Choice::Unreachable { below: below.and_then(fewest), above: above.and_then(fewest) }
    }

    /// The best stack that goes into an opening: none that is thicker, while one within the tolerance,
    /// or within twice that, is thinner. Only where there is none is a thicker one taken, as by
    /// [`Self::choose`].
    ///
    /// # Units and sign
    /// As of [`Self::choose`].
    pub fn choose_under(&self, opening: Length) -> Choice {
        let wanted = to_step(opening);
        for tolerance in [self.tolerance, self.tolerance + self.tolerance] {
            for pieces in 0..self.by_pieces.len() {
                if let Some(stack) = self.nearest(pieces, wanted, (wanted - tolerance, wanted)) {
                    return Choice::Stack(stack);
                }
            }
        }
        self.choose(opening)
    }

    /// Openings that [`Self::choose_under`] fills to the full, thinnest first.
    pub fn filled(&self) -> Vec<Length> {
        let sums: BTreeSet<ExactLength> =
            self.by_pieces.iter().flat_map(|sums| sums.keys().copied()).collect();
        let is_filled = |opening: &Length| match self.choose_under(*opening) {
            Choice::Stack(stack) => stack.error == Length::ZERO,
            Choice::Unreachable { .. } => false,
        };
        sums.into_iter().map(ExactLength::to_length).filter(is_filled).collect()
    }

    /// The best stack of exactly this many pieces between two thicknesses, if there is one.
    fn nearest(
        &self,
        pieces: usize,
        wanted: ExactLength,
        (least, most): (ExactLength, ExactLength),
    ) -> Option<Stack> {
        self.between(pieces, least, most)
            .min_by(|a, b| {
                let off = |sum: ExactLength| (sum - wanted).abs();
                off(*a.0)
                    .cmp(&off(*b.0))
                    .then(different(a.1).cmp(&different(b.1)))
                    .then(b.1.cmp(a.1))
            })
            .map(|(sum, counts)| self.stack(*sum, counts, wanted))
    }

    fn within(
        &self,
        pieces: usize,
        wanted: ExactLength,
    ) -> impl Iterator<Item = (&ExactLength, &Vec<u8>)> {
        self.between(pieces, wanted - self.tolerance, wanted + self.tolerance)
    }

    fn between(
        &self,
        pieces: usize,
        least: ExactLength,
        most: ExactLength,
    ) -> impl Iterator<Item = (&ExactLength, &Vec<u8>)> {
        self.by_pieces[pieces]
            .range(least..=most)
            .flat_map(|(sum, stacks)| stacks.iter().map(move |counts| (sum, counts)))
    }

    /// Every stack within the tolerance of the fewest pieces, or of one more; the best first.
    fn admissible(&self, wanted: Length) -> Vec<Stack> {
        let Choice::Stack(best) = self.choose(wanted) else { return vec![] };
        let wanted = to_step(wanted);
        let fewest = best.pieces.len();
        let last = (fewest + 1).min(self.by_pieces.len() - 1);
        let mut stacks = vec![best];
        for pieces in fewest..=last {
            for (sum, counts) in self.within(pieces, wanted) {
                let stack = self.stack(*sum, counts, wanted);
                if !stacks.contains(&stack) {
                    stacks.push(stack);
                }
            }
        }
        stacks
    }

    fn stack(&self, sum: ExactLength, counts: &[u8], wanted: ExactLength) -> Stack {
        let pieces = counts
            .iter()
            .zip(&self.thicknesses)
            .flat_map(|(&count, thickness)| {
                std::iter::repeat_n(thickness.to_length(), usize::from(count))
            })
            .collect();
        Stack {
            pieces,
            thickness: sum.to_length(),
            error: (sum - wanted).to_length(),
            counts: counts.to_vec(),
        }
    }
}

/// Packing for the air at the start and a lift, with what its height calls for.
pub fn pack(
    support: &SupportId,
    gap: Length,
    lift: Length,
    limits: &Limits,
    table: &StackTable,
) -> Packing {
    let wanted = gap + lift;
    Packing { choice: table.choose(wanted), ..pack_under(support, gap, lift, limits, table) }
}

/// Packing that goes into what a lift on the way has opened, the air at the start included, with what
/// its height calls for.
pub fn pack_under(
    support: &SupportId,
    gap: Length,
    lift: Length,
    limits: &Limits,
    table: &StackTable,
) -> Packing {
    let wanted = gap + lift;
    Packing {
        support: support.clone(),
        wanted,
        choice: table.choose_under(wanted),
        advice: height_advice(wanted, limits),
    }
}

/// What a height of packing calls for, by the job's limits.
pub fn height_advice(thickness: Length, limits: &Limits) -> HeightAdvice {
    if thickness > limits.packing_stop.value {
        HeightAdvice::TallerSupport
    } else if thickness > limits.packing_warn.value {
        HeightAdvice::Warn
    } else {
        HeightAdvice::Fine
    }
}

/// How many different thicknesses are used.
fn different(counts: &[u8]) -> usize {
    counts.iter().filter(|count| **count > 0).count()
}

/// To the nearest step, half away from zero; nothing below zero, and at most ten kilometres.
fn to_step(wanted: Length) -> ExactLength {
    let steps = (wanted.to_mm().clamp(0.0, 1e7) * 1e6 / STEP.to_nm() as f64 + 1e-6).round();
    ExactLength::nm(steps as i64 * STEP.to_nm())
}

/// Ways to choose up to `pieces` of `kinds` thicknesses: (kinds + pieces) over kinds.
fn combinations(kinds: usize, pieces: usize) -> Option<u64> {
    let mut ways = 1_u64;
    for kind in 1..=kinds as u64 {
        ways = ways.checked_mul(u64::try_from(pieces).ok()?.checked_add(kind)?)? / kind;
        if ways > MOST_COMBINATIONS || pieces > usize::from(u8::MAX) {
            return None;
        }
    }
    Some(ways)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::settings::{Limit, Packer};

    fn stock(thicknesses: &[f64], max_pieces: usize) -> Stock {
        let packer =
            |&mm: &f64| Packer { thickness: Length::mm(mm), pack: 10, pack_price_cents: None };
        Stock {
            packers: thicknesses.iter().map(packer).collect(),
            max_pieces: Limit::given(max_pieces, "test"),
            tolerance: Limit::given(Length::mm(0.75), "test"),
        }
    }

    #[test]
    fn bad_stocks_say_what_is_wrong() {
        let check = |thicknesses: &[f64], max_pieces, expected| {
            assert_eq!(StackTable::new(&stock(thicknesses, max_pieces)).unwrap_err(), expected);
        };
        check(&[], 6, StockError::Empty);
        check(&[3.0, -1.0], 6, StockError::Thickness(Length::mm(-1.0)));
        check(&[3.0, 3.0], 6, StockError::Twice(Length::mm(3.0)));
        let many: Vec<f64> = (1..=20).map(f64::from).collect();
        check(&many, 20, StockError::TooMany { thicknesses: 20, pieces: 20 });
        assert!(StackTable::new(&stock(&[f64::NAN], 6)).is_err());
        assert!(StackTable::new(&stock(&[5.0], usize::MAX)).is_err());
    }

    /// A sixteenth of an inch is 1.5875 mm and is not rounded to the step.
    #[test]
    fn sixteenths_add_up_exactly() {
        let table = StackTable::new(&stock(&[25.4 / 16.0], 6)).unwrap();
        let Choice::Stack(stack) = table.choose(Length::mm(6.35)) else { panic!() };
        assert_eq!(stack.pieces.len(), 4);
        assert_eq!(stack.error, Length::ZERO);
    }

    #[test]
    fn hostile_thicknesses_are_answered() {
        let table = StackTable::new(&Stock::default()).unwrap();
        for mm in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, 1e300, -5.0] {
            table.choose(Length::mm(mm));
        }
    }

    #[test]
    fn the_height_of_packing_is_judged_by_the_limits() {
        let check = |mm, expected| {
            assert_eq!(height_advice(Length::mm(mm), &Limits::default()), expected, "{mm}");
        };
        check(50.0, HeightAdvice::Fine);
        check(50.5, HeightAdvice::Warn);
        check(100.0, HeightAdvice::Warn);
        check(100.5, HeightAdvice::TallerSupport);
    }
}
