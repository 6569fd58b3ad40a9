//! Packer stacks and the buy list against tables computed outside this program.

use floorwright_engine::packers::{Choice, Stack, StackTable, buy};
use floorwright_engine::settings::{Limit, Packer, Stock};
use floorwright_engine::units::Length;
use proptest::prelude::*;
use serde::Deserialize;
use std::collections::BTreeSet;

#[derive(Deserialize)]
struct Table {
    stock_mm: Vec<f64>,
    tolerance_mm: f64,
    max_pieces: usize,
    multisets_including_empty: usize,
    targets_by_fewest_pieces_0_to_121: Vec<usize>,
    unreachable_ranges_mm: Vec<[f64; 2]>,
    case: Vec<Case>,
}

#[derive(Deserialize)]
struct Case {
    target_mm: f64,
    pieces_mm: Option<Vec<f64>>,
    sum_mm: Option<f64>,
    error_mm: Option<f64>,
}

fn printed() -> (Table, StackTable) {
    let table: Table = toml::from_str(include_str!("data/frame/packers.toml")).unwrap();
    let piece = |&mm: &f64| Packer { thickness: Length::mm(mm), pack: 1, pack_price_cents: None };
    let stock = Stock {
        packers: table.stock_mm.iter().map(piece).collect(),
        max_pieces: Limit::given(table.max_pieces, "printed"),
        tolerance: Limit::given(Length::mm(table.tolerance_mm), "printed"),
    };
    let stacks = StackTable::new(&stock).unwrap();
    (table, stacks)
}

fn stack_for(table: &StackTable, mm: f64) -> Option<Stack> {
    match table.choose(Length::mm(mm)) {
        Choice::Stack(stack) => Some(stack),
        Choice::Unreachable { .. } => None,
    }
}

#[test]
fn every_printed_case() {
    let (printed, table) = printed();
    assert_eq!(table.n_combinations(), printed.multisets_including_empty);
    assert!(printed.case.len() > 30);
    for case in printed.case {
        let found = stack_for(&table, case.target_mm);
        let Some(pieces) = case.pieces_mm else {
            assert_eq!(found, None, "{}", case.target_mm);
            continue;
        };
        let found = found.unwrap();
        let mm: Vec<f64> = found.pieces.iter().map(|piece| piece.to_mm()).collect();
        assert_eq!(mm, pieces, "{}", case.target_mm);
        assert!((found.thickness.to_mm() - case.sum_mm.unwrap()).abs() < 1e-9);
        assert!((found.error.to_mm() - case.error_mm.unwrap()).abs() < 1e-9);
    }
}

/// Second method: fewest coins to each sum, by dynamic programming in steps of 0.05 mm.
#[test]
fn a_coin_dynamic_program_agrees_on_every_target() {
    let (printed, table) = printed();
    let coins: Vec<usize> =
        printed.stock_mm.iter().map(|mm| (mm / 0.05).round() as usize).collect();
    let tolerance = (printed.tolerance_mm / 0.05).round() as usize;
    let last = 2421;
    let mut fewest = vec![usize::MAX; last + tolerance + 1];
    fewest[0] = 0;
    for sum in 1..fewest.len() {
        let before = coins.iter().filter(|coin| **coin <= sum).map(|coin| fewest[sum - coin]);
        fewest[sum] = before.min().unwrap_or(usize::MAX).saturating_add(1);
    }
    let mut by_pieces = vec![0; printed.max_pieces + 1];
    let mut holes: Vec<usize> = Vec::new();
    for target in 0..=last {
        let near = &fewest[target.saturating_sub(tolerance)..=target + tolerance];
        let coin = *near.iter().min().unwrap();
        let found = stack_for(&table, target as f64 * 0.05).map(|stack| stack.pieces.len());
        assert_eq!(found, (coin <= printed.max_pieces).then_some(coin), "target {target}");
        match found {
            Some(pieces) => by_pieces[pieces] += 1,
            None => holes.push(target),
        }
    }
    assert_eq!(by_pieces, printed.targets_by_fewest_pieces_0_to_121);
    // Above 120.75 nothing is reachable: those targets follow the printed ranges.
    let to_step = |mm: f64| (mm / 0.05).round() as usize;
    let expected: Vec<usize> = printed
        .unreachable_ranges_mm
        .iter()
        .flat_map(|[from, to]| to_step(*from)..=to_step(*to))
        .chain(to_step(120.8)..=last)
        .collect();
    assert_eq!(holes, expected);
}

/// Second method: the thickness of every stack there is, listed piece by piece. What goes into an opening
/// is the fewest pieces, then the thickest, of those that are no thicker and at most once, else twice, the
/// tolerance thinner; where there is none it is what is nearest either way.
#[test]
fn what_goes_into_an_opening_is_no_thicker_wherever_a_list_of_all_stacks_has_one() {
    let (printed, table) = printed();
    let steps = |mm: f64| (mm / 0.05).round() as i64;
    let mut sums: Vec<BTreeSet<i64>> = vec![BTreeSet::from([0])];
    for pieces in 0..printed.max_pieces {
        let longer = sums[pieces]
            .iter()
            .flat_map(|sum| printed.stock_mm.iter().map(move |mm| sum + steps(*mm)));
        sums.push(longer.collect());
    }
    let tolerance = steps(printed.tolerance_mm);
    let (mut n_under, mut n_near) = (0, 0);
    for opening in (0..=2400).step_by(7) {
        let fits = |most_thinner: i64| {
            sums.iter().enumerate().find_map(|(pieces, sums)| {
                sums.range(opening - most_thinner..=opening).next_back().map(|sum| (pieces, *sum))
            })
        };
        let found = match table.choose_under(Length::mm(opening as f64 * 0.05)) {
            Choice::Stack(stack) => Some(stack),
            Choice::Unreachable { .. } => None,
        };
        match fits(tolerance).or_else(|| fits(2 * tolerance)) {
            Some((pieces, sum)) => {
                let found = found.unwrap();
                let thickness: f64 = found.pieces.iter().map(|piece| piece.to_mm()).sum();
                assert_eq!(
                    (found.pieces.len(), steps(thickness)),
                    (pieces, sum),
                    "opening {opening}"
                );
                n_under += 1;
            }
            None => {
                assert_eq!(found, stack_for(&table, opening as f64 * 0.05), "opening {opening}");
                n_near += 1;
            }
        }
    }
    assert!(n_under > 200 && n_near > 0, "{n_under} {n_near}");
}

#[test]
fn an_unreachable_thickness_names_what_is_nearest() {
    let (_, table) = printed();
    let Choice::Unreachable { below, above } = table.choose(Length::mm(99.2)) else { panic!() };
    assert_eq!(below.unwrap().thickness, Length::mm(95.0));
    assert_eq!(above.unwrap().thickness, Length::mm(100.0));
    let Choice::Unreachable { below, above } = table.choose(Length::mm(130.0)) else { panic!() };
    assert_eq!(below.unwrap().thickness, Length::mm(120.0));
    assert_eq!(above, None);
}

fn tiny() -> (serde_json::Value, StackTable, Vec<Length>) {
    let expected: serde_json::Value =
        serde_json::from_str(include_str!("data/frame/tiny-expected.json")).unwrap();
    let packers = &expected["packers"];
    let piece = |mm: &serde_json::Value| {
        let mm = mm.as_f64().unwrap();
        let pack = &expected["buy"]["pack"][format!("{mm:.1}")];
        Packer {
            thickness: Length::mm(mm),
            pack: pack[0].as_u64().unwrap() as u32,
            pack_price_cents: Some((pack[1].as_f64().unwrap() * 100.0).round() as u64),
        }
    };
    let stock = Stock {
        packers: packers["stock_mm"].as_array().unwrap().iter().map(piece).collect(),
        max_pieces: Limit::given(packers["max_pieces"].as_u64().unwrap() as usize, "printed"),
        tolerance: Limit::given(Length::mm(packers["tol_mm"].as_f64().unwrap()), "printed"),
    };
    let needs = packers["need_mm"].as_array().unwrap();
    let needs = needs.iter().map(|mm| Length::mm(mm.as_f64().unwrap())).collect();
    let table = StackTable::new(&stock).unwrap();
    (expected, table, needs)
}

#[test]
fn stacks_of_the_invented_floor() {
    let (expected, table, needs) = tiny();
    let packers = &expected["packers"];
    let mut pieces = 0;
    for (support, need) in needs.iter().enumerate() {
        let stack = stack_for(&table, need.to_mm()).unwrap();
        let mm: Vec<f64> = stack.pieces.iter().map(|piece| piece.to_mm()).collect();
        let wanted = packers["stacks_mm"][support].as_array().unwrap();
        assert_eq!(mm, wanted.iter().map(|mm| mm.as_f64().unwrap()).collect::<Vec<_>>());
        let error = packers["error_mm"][support].as_f64().unwrap();
        assert!((stack.error.to_mm() - error).abs() < 1e-9);
        pieces += stack.pieces.len() as u64;
    }
    assert_eq!(pieces, packers["pieces"].as_u64().unwrap());
}

/// The file's 59 comes from a mixed-integer program with the fewest pieces at each support.
/// Here a stack may have one piece more, so the optimum is at most that.
#[test]
fn packs_for_all_supports_together_cost_less() {
    let (expected, table, needs) = tiny();
    let list = buy(&table, &needs);
    let cents = |name: &str| (expected["buy"][name].as_f64().unwrap() * 100.0).round() as u64;
    assert_eq!(list.cents_stack_by_stack, Some(cents("stack_by_stack_cost")));
    assert!(list.proved);
    assert!(list.cents.unwrap() <= cents("joint_cost_same_piece_count"));
    assert_eq!(u64::from(list.pieces), expected["buy"]["pieces"].as_u64().unwrap());
}

fn priced(packs: &[(u32, u64)]) -> StackTable {
    let thicknesses = [2.0, 3.0, 5.0, 9.0];
    let packers = thicknesses.iter().zip(packs).map(|(&mm, &(pack, cents))| Packer {
        thickness: Length::mm(mm),
        pack,
        pack_price_cents: Some(cents),
    });
    StackTable::new(&Stock {
        packers: packers.collect(),
        max_pieces: Limit::given(5, "test"),
        tolerance: Limit::given(Length::mm(1.0), "test"),
    })
    .unwrap()
}

/// Second method: every choice of stacks of the fewest pieces or one more, listed plainly.
fn cheapest_by_listing(packs: &[(u32, u64)], needs: &[Length]) -> Option<(u64, u32)> {
    let thicknesses = [2.0, 3.0, 5.0, 9.0];
    let mut sums: Vec<[u32; 4]> = vec![[0; 4]];
    for need in needs {
        let mut stacks: Vec<[u32; 4]> = Vec::new();
        for code in 0..6_u32.pow(4) {
            let counts = [code % 6, code / 6 % 6, code / 36 % 6, code / 216];
            let sum: f64 = counts.iter().zip(thicknesses).map(|(&n, mm)| f64::from(n) * mm).sum();
            let wanted = (need.to_mm() / 0.05).round() * 0.05;
            if counts.iter().sum::<u32>() <= 5 && (sum - wanted).abs() <= 1.0 + 1e-6 {
                stacks.push(counts);
            }
        }
        let fewest = stacks.iter().map(|counts| counts.iter().sum::<u32>()).min()?;
        stacks.retain(|counts| counts.iter().sum::<u32>() <= fewest + 1);
        let with = |sum: &[u32; 4], stack: &[u32; 4]| std::array::from_fn(|i| sum[i] + stack[i]);
        sums =
            sums.iter().flat_map(|sum| stacks.iter().map(move |stack| with(sum, stack))).collect();
    }
    let weight = |counts: &[u32; 4]| {
        let cents = |(&n, &(pack, cents)): (&u32, &(u32, u64))| u64::from(n.div_ceil(pack)) * cents;
        (counts.iter().zip(packs).map(cents).sum::<u64>(), counts.iter().sum::<u32>())
    };
    sums.iter().map(weight).min()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    #[test]
    fn a_small_buy_list_is_the_cheapest_of_all(
        packs in prop::collection::vec((1u32..6, 1u64..3000), 4),
        needs in prop::collection::vec(0.0..40.0_f64, 0..4),
    ) {
        let needs: Vec<Length> = needs.into_iter().map(Length::mm).collect();
        let list = buy(&priced(&packs), &needs);
        if list.stacks.iter().all(Option::is_some) {
            prop_assert!(list.proved);
            let found = (list.cents.unwrap(), list.pieces);
            prop_assert_eq!(Some(found), cheapest_by_listing(&packs, &needs));
        }
    }

    /// Never dearer than stack by stack, every stack within the tolerance, and the sums right.
    #[test]
    fn a_buy_list_holds_together(
        packs in prop::collection::vec((1u32..12, 1u64..3000), 4),
        needs in prop::collection::vec(0.0..50.0_f64, 0..60),
    ) {
        let table = priced(&packs);
        let needs: Vec<Length> = needs.into_iter().map(Length::mm).collect();
        let list = buy(&table, &needs);
        prop_assert!(list.cents <= list.cents_stack_by_stack);
        let mut pieces = 0;
        for (need, stack) in needs.iter().zip(&list.stacks) {
            let Some(stack) = stack else {
                prop_assert!(stack_for(&table, need.to_mm()).is_none());
                continue;
            };
            pieces += stack.pieces.len() as u32;
            let sum: Length = stack.pieces.iter().copied().sum();
            prop_assert!((sum - *need).abs() <= Length::mm(1.0 + 0.025 + 1e-9));
        }
        prop_assert_eq!(pieces, list.pieces);
        prop_assert_eq!(pieces, list.lines.iter().map(|line| line.pieces).sum::<u32>());
        prop_assert_eq!(list.cents, list.lines.iter().map(|line| line.cents).sum::<Option<u64>>());
    }
}
