//! What to buy: stacks chosen for all supports together, so that opened packs are used up.

use super::{Choice, Stack, StackTable};
use crate::units::Length;
use serde::Serialize;

/// Steps of the complete search before it gives way to the best list found so far.
const STEP_LIMIT: usize = 100_000;

/// Packs of one thickness.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct BuyLine {
    /// How thick.
    pub thickness: Length,
    /// Pieces that are used.
    pub pieces: u32,
    /// Packs that are bought.
    pub packs: u32,
    /// What they cost in whole cents, if the price is known.
    pub cents: Option<u64>,
}

/// Stacks and packs for the whole job.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct BuyList {
    /// One for each wanted thickness, in order; `None` where no stack is within the tolerance.
    pub stacks: Vec<Option<Stack>>,
    /// What to buy, the thickest first; thicknesses that are not used are left out.
    pub lines: Vec<BuyLine>,
    /// Pieces in all.
    pub pieces: u32,
    /// The whole cost in cents, if every price is known.
    pub cents: Option<u64>,
    /// The cost if each stack were chosen for itself.
    pub cents_stack_by_stack: Option<u64>,
    /// Packs if each stack were chosen for itself.
    pub packs_stack_by_stack: u32,
    /// The search was finished: no choice among those stacks costs less.
    pub proved: bool,
}

/// Chooses a stack for every wanted thickness, so that the packs cost least.
///
/// Each stack has the fewest pieces that do, or one more. Cost counts first, then the number of
/// pieces; where a price is missing, the number of packs stands for the cost. The list is never
/// dearer than stack by stack.
///
/// # References
/// Checked against a mixed-integer optimum computed outside this program, and against plain
/// enumeration, in `tests/packers_table.rs`.
pub fn buy(table: &StackTable, wanted: &[Length]) -> BuyList {
    let prices = Prices::of(table);
    let options: Vec<Vec<Stack>> = wanted
        .iter()
        .map(|&wanted| match table.choose(wanted) {
            Choice::Stack(_) => table.admissible(wanted),
            Choice::Unreachable { .. } => vec![],
        })
        .collect();
    let mut search = Search::new(&prices, &options);
    let naive = search.best.clone();
    search.improve();
    search.complete();
    let stacks: Vec<Option<Stack>> = options
        .iter()
        .zip(&search.best)
        .map(|(stacks, &choice)| stacks.get(choice).cloned())
        .collect();
    let counts = search.counts(&search.best);
    let naive_counts = search.counts(&naive);
    let lines: Vec<BuyLine> = table
        .thicknesses
        .iter()
        .zip(counts.iter().zip(&prices.packs))
        .filter(|(_, (count, _))| **count > 0)
        .map(|(thickness, (&count, &(size, cents)))| {
            let packs = count.div_ceil(size);
            let cents = cents.map(|cents| cents.saturating_mul(u64::from(packs)));
            BuyLine { thickness: thickness.to_length(), pieces: count, packs, cents }
        })
        .collect();
    BuyList {
        pieces: counts.iter().sum(),
        cents: prices.cents(&counts),
        cents_stack_by_stack: prices.cents(&naive_counts),
        packs_stack_by_stack: prices.packs(&naive_counts),
        proved: search.finished,
        stacks,
        lines,
    }
}

/// Pieces in a pack and its price, thickest first.
struct Prices {
    packs: Vec<(u32, Option<u64>)>,
}

impl Prices {
    fn of(table: &StackTable) -> Self {
        let mut packers: Vec<_> = table.stock.packers.iter().collect();
        packers.sort_by(|a, b| b.thickness.total_cmp(&a.thickness));
        Self { packs: packers.iter().map(|p| (p.pack, p.pack_price_cents)).collect() }
    }

    fn cents(&self, counts: &[u32]) -> Option<u64> {
        self.packs.iter().zip(counts).try_fold(0_u64, |sum, (&(size, cents), &count)| {
            let packs = u64::from(count.div_ceil(size));
            // A thickness that is not bought needs no price.
            let cents = if packs == 0 { 0 } else { cents?.saturating_mul(packs) };
            Some(sum.saturating_add(cents))
        })
    }

    fn packs(&self, counts: &[u32]) -> u32 {
        self.packs.iter().zip(counts).map(|(&(size, _), &count)| count.div_ceil(size)).sum()
    }

    /// The share of whole packs that some pieces use up: no more than what they cost in the end.
    fn share(&self, counts: &[u8]) -> f64 {
        let priced = self.packs.iter().all(|pack| pack.1.is_some());
        let packs = self.packs.iter().zip(counts);
        packs
            .map(|(&(size, cents), &count)| {
                let pack = if priced { cents.unwrap_or(0) as f64 } else { 1.0 };
                pack * f64::from(count) / f64::from(size)
            })
            .sum()
    }

    /// What is made as small as can be: cost, then pieces.
    fn weight(&self, counts: &[u32]) -> (u64, u32) {
        let priced = self.packs.iter().all(|pack| pack.1.is_some());
        let cost = if priced { self.cents(counts) } else { None };
        (cost.unwrap_or_else(|| u64::from(self.packs(counts))), counts.iter().sum())
    }
}

struct Search<'a> {
    prices: &'a Prices,
    options: &'a [Vec<Stack>],
    best: Vec<usize>,
    best_weight: (u64, u32),
    finished: bool,
}

impl<'a> Search<'a> {
    /// Starts from the best stack for each support by itself.
    fn new(prices: &'a Prices, options: &'a [Vec<Stack>]) -> Self {
        let mut search = Self {
            prices,
            options,
            best: vec![0; options.len()],
            best_weight: (0, 0),
            finished: true,
        };
        search.best_weight = prices.weight(&search.counts(&search.best));
        search
    }

    fn counts(&self, choice: &[usize]) -> Vec<u32> {
        let mut counts = vec![0; self.prices.packs.len()];
        for (stacks, &choice) in self.options.iter().zip(choice) {
            if let Some(stack) = stacks.get(choice) {
                add(&mut counts, stack);
            }
        }
        counts
    }

    /// Changes one stack at a time for as long as that helps.
    fn improve(&mut self) {
        let mut counts = self.counts(&self.best);
        // Each round makes the weight smaller, so this ends; the limit keeps it short.
        for _ in 0..50 {
            let before = self.best_weight;
            for (support, stacks) in self.options.iter().enumerate() {
                for choice in 0..stacks.len() {
                    let now = self.best[support];
                    if choice == now {
                        continue;
                    }
                    let mut changed = counts.clone();
                    take(&mut changed, &stacks[now]);
                    add(&mut changed, &stacks[choice]);
                    let weight = self.prices.weight(&changed);
                    if weight < self.best_weight {
                        self.best_weight = weight;
                        self.best[support] = choice;
                        counts = changed;
                    }
                }
            }
            if self.best_weight == before {
                break;
            }
        }
    }

    /// Tries every choice, leaving out what cannot cost less than the best list.
    fn complete(&mut self) {
        let mut still = vec![(0.0, 0); self.options.len() + 1];
        for (support, stacks) in self.options.iter().enumerate().rev() {
            let pieces = stacks.iter().map(|stack| stack.pieces.len() as u32).min().unwrap_or(0);
            let shares = stacks.iter().map(|stack| self.prices.share(&stack.counts));
            let share = shares.min_by(f64::total_cmp).unwrap_or(0.0);
            still[support] = (still[support + 1].0 + share, still[support + 1].1 + pieces);
        }
        let mut choice = vec![0; self.options.len()];
        let counts = vec![0; self.prices.packs.len()];
        let mut steps = 0;
        self.finished = self.descend(0, &mut choice, (&counts, 0.0), &still, &mut steps);
    }

    /// Goes on from a support; `so_far` is the counts and the share of packs used up, `still` what
    /// the supports from each one on use up at least.
    fn descend(
        &mut self,
        support: usize,
        choice: &mut Vec<usize>,
        so_far: (&[u32], f64),
        still: &[(f64, u32)],
        steps: &mut usize,
    ) -> bool {
        *steps += 1;
        if *steps > STEP_LIMIT {
            return false;
        }
        let (counts, share) = so_far;
        let (cost, pieces) = self.prices.weight(counts);
        // Whole cents or packs: a bound of 58.3 means 59. The hair keeps rounding from proving.
        let at_least = (share + still[support].0 - 1e-6).ceil().max(0.0) as u64;
        if (cost.max(at_least), pieces + still[support].1) >= self.best_weight {
            return true;
        }
        let options = self.options;
        let Some(stacks) = options.get(support) else {
            self.best.clone_from(choice);
            self.best_weight = (cost, pieces);
            return true;
        };
        if stacks.is_empty() {
            return self.descend(support + 1, choice, so_far, still, steps);
        }
        let mut finished = true;
        for (stack_idx, stack) in stacks.iter().enumerate() {
            let mut with = counts.to_vec();
            add(&mut with, stack);
            choice[support] = stack_idx;
            let share = share + self.prices.share(&stack.counts);
            finished &= self.descend(support + 1, choice, (&with, share), still, steps);
            if !finished {
                break;
            }
        }
        choice[support] = 0;
        finished
    }
}

fn add(counts: &mut [u32], stack: &Stack) {
    for (sum, &count) in counts.iter_mut().zip(&stack.counts) {
        *sum += u32::from(count);
    }
}

fn take(counts: &mut [u32], stack: &Stack) {
    for (sum, &count) in counts.iter_mut().zip(&stack.counts) {
        *sum -= u32::from(count);
    }
}
