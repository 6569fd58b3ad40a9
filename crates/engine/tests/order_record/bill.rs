//! Orders whose every line can be counted and priced by hand.

use crate::house::job;
use crate::record::{again as read_again, pass};
use floorwright_engine::bill::{
    Bill, Cause, Currency, Extra, Fixing, Item, Line, Money, Quantity, Rates, Section, Share,
    Times, WorkKind, WorkTime, bill, bill_of_the_rest,
};
use floorwright_engine::plan::{Job, Stage, StageName, plan};
use floorwright_engine::record::{WorkDone, record_if_begun};
use floorwright_engine::settings::{Limit, Packer, Stock};
use floorwright_engine::units::Length;
use proptest::prelude::*;

fn given<T>(value: T) -> Option<Limit<T>> {
    Some(Limit::given(value, "agreed"))
}

fn minutes(minutes: f64) -> Option<Limit<WorkTime>> {
    given(WorkTime::from_minutes(minutes).unwrap())
}

fn rates() -> Rates {
    Rates {
        currency: Currency::new("AUD"),
        hourly: given(Money::cents(6000)),
        people: given(2),
        day: minutes(480.0),
        jack_day: given(Money::cents(1000)),
        taller_support: given(Money::cents(20_000)),
        times: Times {
            set_up: minutes(60.0),
            setup: minutes(10.0),
            reading: minutes(1.0),
            pass: minutes(30.0),
            one_move: minutes(15.0),
            packing: minutes(5.0),
            fixing: minutes(12.0),
        },
        fixings: vec![Fixing {
            name: "strap".to_owned(),
            per_support: Limit::given(2, "one each side"),
            pack: 10,
            pack_price: Some(Money::cents(1300)),
        }],
        extras: vec![Extra {
            what: "skip".to_owned(),
            quantity: 1,
            price: Some(Money::cents(9999)),
            why: "old packing".to_owned(),
        }],
        margin: given(Share::from_ratio(0.1).unwrap()),
        tax: given(Share::from_ratio(0.15).unwrap()),
        ..Rates::default()
    }
}

/// A1 is 5 mm low and B2 10 mm; packers of 5 mm come in fours and of 10 mm in pairs.
fn small() -> Job {
    let mut job = job([-5.0, 0.0, 0.0, 0.0, -10.0, 0.0, 0.0, 0.0, 0.0]);
    let packer = |mm: f64, pack: u32, cents: u64| Packer {
        thickness: Length::mm(mm),
        pack,
        pack_price_cents: Some(cents),
    };
    job.stock = Stock { packers: vec![packer(5.0, 4, 800), packer(10.0, 2, 1000)], ..job.stock };
    job
}

fn of(job: &Job, rates: &Rates) -> Bill {
    match bill(job, &plan(job), rates) {
        Stage::Done(bill) => bill,
        other => panic!("{other:?}"),
    }
}

fn work(bill: &Bill, kind: WorkKind) -> &Line {
    let is = |line: &&Line| matches!(line.item, Item::Work { work } if work == kind);
    bill.lines.iter().find(is).unwrap_or_else(|| panic!("no {kind:?}"))
}

fn cents(line: &Line) -> i64 {
    line.amount.expect("it has a price").to_cents()
}

/// By hand. Three pieces of 5 mm make both stacks, so one pack of four does. Two passes of 5 mm:
/// B2 alone, then A1 and B2 together; so two moves, three stacks changed, two jacks. One setup of
/// ten readings. With the jacks there: 2 x 30 + 2 x 15 + 3 x 5 + 2 x 10 + 20 x 1 = 145 minutes, one
/// day. Two people at 60.00 an hour are 2.00 a minute.
#[test]
fn a_small_order_as_counted_and_priced_by_hand() {
    let bill = of(&small(), &rates());
    let of_section = |section: Section| {
        let lines = bill.lines.iter().filter(|line| line.item.section() == section);
        lines.map(cents).collect::<Vec<i64>>()
    };
    assert_eq!(of_section(Section::Packers), [800]);
    assert_eq!(of_section(Section::Supports), [0; 0]);
    assert_eq!(of_section(Section::Fixings), [1300]);
    assert_eq!(of_section(Section::Hire), [2000]);
    let work_done = [2000, 2000, 12_000, 12_000, 6000, 3000, 4000, 4000, 4800];
    assert_eq!(of_section(Section::Work), work_done);
    assert_eq!(of_section(Section::Extras), [9999]);
    let price = bill.price.as_ref().unwrap();
    assert_eq!(price.subtotal, Money::cents(63_899));
    assert_eq!(price.margin.amount, Money::cents(6390)); // 6389.9
    assert_eq!(price.tax.of, Money::cents(70_289));
    assert_eq!(price.tax.amount, Money::cents(10_543)); // 10543.35
    assert_eq!(price.total, Money::cents(80_832));
    assert!(bill.missing.is_empty() && bill.unsettled.is_empty(), "{bill:?}");
}

/// By hand. Pass 1 lifted B2 by 5 mm; A1 and B2 are 5 mm low now. Two pieces of 5 mm, one pack; straps for
/// A1 and B2; one pass with one move of two jacks and two stacks changed, read again once. With the jacks
/// there: 30 + 15 + 2 x 5 + 10 + 10 = 75 minutes, one day. Survey, getting ready and the skip are past.
#[test]
fn the_rest_after_a_pass_as_counted_and_priced_by_hand() {
    let job = small();
    let before = plan(&job);
    let left = |done: &WorkDone| {
        bill_of_the_rest(&job, &before, &record_if_begun(&job, &before, done), &rates())
    };
    assert!(left(&WorkDone::default()).is_none());
    let mut done = WorkDone { passes: vec![pass(1, &[("B2", 5.0)])], again: Vec::new() };
    let unread = left(&done);
    assert!(matches!(&unread, Some(Stage::Stopped(why)) if !why.is_empty()), "{unread:?}");
    done.again.push(read_again(1, [-5.0, 0.0, 0.0, 0.0, -5.0, 0.0, 0.0, 0.0, 0.0], 0.0));
    let Some(Stage::Done(bill)) = left(&done) else { panic!("{:?}", left(&done)) };
    let of_section = |section: Section| {
        let lines = bill.lines.iter().filter(|line| line.item.section() == section);
        lines.map(cents).collect::<Vec<i64>>()
    };
    assert_eq!(of_section(Section::Packers), [800]);
    assert_eq!(of_section(Section::Fixings), [1300]);
    assert_eq!(of_section(Section::Hire), [2000]);
    assert_eq!(of_section(Section::Work), [6000, 3000, 2000, 2000, 2000, 4800]);
    assert_eq!(of_section(Section::Extras), [0; 0]);
    // The pass that is left is the second.
    assert_eq!(work(&bill, WorkKind::Moves).causes, [Cause::InPass { pass: 2, times: 1 }]);
    let price = bill.price.as_ref().unwrap();
    assert_eq!(price.subtotal, Money::cents(23_900));
    assert_eq!(price.margin.amount, Money::cents(2390));
    assert_eq!(price.tax.amount, Money::cents(3944)); // 3943.5
    assert_eq!(price.total, Money::cents(30_234));
    // When all is done, what stays is still to be fixed.
    done.passes.push(pass(2, &[("A1", 5.0), ("B2", 5.0)]));
    done.again.push(read_again(2, [0.0; 9], 0.0));
    let Some(Stage::Done(bill)) = left(&done) else { panic!("{:?}", left(&done)) };
    assert_eq!(bill.lines.iter().map(cents).collect::<Vec<_>>(), [1300, 4800]);
}

#[test]
fn every_line_says_where_it_comes_from() {
    let bill = of(&small(), &rates());
    assert!(bill.lines.iter().all(|line| !line.causes.is_empty()));
    let at = |support: &str, pieces: u32| Cause::AtSupport {
        support: floorwright_engine::ids::SupportId::new(support),
        pieces,
    };
    assert_eq!(bill.lines[0].causes, [at("A1", 1), at("B2", 2)]);
    let in_pass = |pass: usize, times: u32| Cause::InPass { pass, times };
    assert_eq!(work(&bill, WorkKind::Moves).causes, [in_pass(1, 1), in_pass(2, 1)]);
    assert_eq!(work(&bill, WorkKind::Packing).causes, [in_pass(1, 1), in_pass(2, 2)]);
    assert!(bill.lines.iter().all(|line| line.rate.is_some()));
}

/// Closed form: jacks stay on hire over the days of rest.
#[test]
fn days_of_rest_are_days_of_hire() {
    let mut rates = rates();
    rates.rest_days = Limit::given(3, "let it settle");
    let bill = of(&small(), &rates);
    let hire = bill.lines.iter().find(|line| line.item.section() == Section::Hire).unwrap();
    assert_eq!(hire.quantity, Quantity::JackDays { jacks: 2, days: Some(4) });
    assert_eq!(cents(hire), 8000);
    // A day of 144 minutes is one minute too short for 145.
    rates.rest_days = Limit::given(0, "none");
    rates.day = minutes(144.0);
    let bill = of(&small(), &rates);
    let hire = bill.lines.iter().find(|line| line.item.section() == Section::Hire).unwrap();
    assert_eq!(hire.quantity, Quantity::JackDays { jacks: 2, days: Some(2) });
}

#[test]
fn without_rates_there_is_an_order_and_the_names_of_what_is_missing() {
    let mut job = small();
    job.stock.packers[0].pack_price_cents = None;
    let bill = of(&job, &Rates::default());
    assert_eq!(bill.price, None);
    assert!(bill.lines.iter().all(|line| line.amount.is_none()), "{:?}", bill.lines);
    let keys: Vec<&str> = bill.missing.iter().map(|missing| missing.key.as_str()).collect();
    let expected = [
        "[rates] currency",
        "[stock] packers, 5.0 mm: price",
        "[[rates.fixing]] strap 25 x 1 mm, galvanised: price",
        "[[rates.fixing]] sheet of damp-proof course: price",
        "[rates] jack_day",
        "[rates] hours_per_day",
        "[rates] hourly",
        "[rates] people",
        "[rates.minutes] setup",
        "[rates.minutes] reading",
        "[rates.minutes] set_up",
        "[rates.minutes] pass",
        "[rates.minutes] move",
        "[rates.minutes] packing",
        "[rates.minutes] fixing",
        "[rates] margin",
        "[rates] tax",
    ];
    assert_eq!(keys, expected);
}

/// Each rate alone keeps the total back, and nothing else.
#[test]
fn one_missing_rate_is_named_and_there_is_no_total() {
    let check = |take: fn(&mut Rates), key: &str, lines: usize| {
        let mut rates = rates();
        take(&mut rates);
        let bill = of(&small(), &rates);
        assert_eq!(bill.price, None, "{key}");
        assert_eq!(bill.missing.len(), 1, "{key}");
        assert_eq!((bill.missing[0].key.as_str(), bill.missing[0].lines), (key, lines));
        let without = bill.lines.iter().filter(|line| line.amount.is_none()).count();
        assert!(without <= lines + 1, "{key}: {without}"); // the hire waits for times as well
    };
    check(|rates| rates.hourly = None, "[rates] hourly", 9);
    check(|rates| rates.people = None, "[rates] people", 9);
    check(|rates| rates.jack_day = None, "[rates] jack_day", 1);
    check(|rates| rates.day = None, "[rates] hours_per_day", 1);
    check(|rates| rates.day = minutes(0.0), "[rates] hours_per_day", 1);
    check(|rates| rates.times.reading = None, "[rates.minutes] reading", 2);
    check(|rates| rates.times.one_move = None, "[rates.minutes] move", 1);
    check(|rates| rates.extras[0].price = None, "[[rates.extra]] skip: price", 1);
    check(|rates| rates.fixings[0].pack_price = None, "[[rates.fixing]] strap: price", 1);
    check(|rates| rates.margin = None, "[rates] margin", 0);
    check(|rates| rates.tax = None, "[rates] tax", 0);
    check(|rates| rates.currency = None, "[rates] currency", 0);
}

#[test]
fn too_much_packing_asks_for_a_taller_support_and_nothing_is_to_be_ordered() {
    let mut job = job([0.0, 0.0, 0.0, 0.0, -120.0, 0.0, 0.0, 0.0, 0.0]);
    job.stock.max_pieces = Limit::given(8, "for this test");
    let bill = of(&job, &rates());
    let taller = bill.lines.iter().find(|line| line.item.section() == Section::Supports).unwrap();
    assert!(
        matches!(&taller.item, Item::TallerSupport { support, .. } if support.as_str() == "B2")
    );
    assert_eq!(cents(taller), 20_000);
    assert_eq!(bill.price, None);
    assert!(bill.unsettled[0].what.contains("B2"), "{:?}", bill.unsettled);
    assert!(bill.lines.iter().all(|line| line.item.section() != Section::Hire));
}

#[test]
fn a_plan_without_packing_has_no_bill() {
    let mut job = small();
    job.stock.packers.clear();
    assert!(matches!(bill(&job, &plan(&job), &rates()), Stage::WaitsFor(StageName::Packers)));
}

#[test]
fn a_level_floor_needs_no_packers_no_jacks_and_no_fixings() {
    let bill = of(&job([0.0; 9]), &rates());
    let sections: Vec<Section> = bill.sections.iter().map(|sum| sum.section).collect();
    assert_eq!(sections, [Section::Work, Section::Extras]);
    // 10 + 10 minutes of two people for the survey, and the skip.
    assert_eq!(bill.price.unwrap().subtotal, Money::cents(2000 + 2000 + 9999));
}

#[test]
fn rates_below_zero_and_sums_beyond_all_sense_are_refused() {
    let mut below = rates();
    below.hourly = given(Money::cents(-1));
    let bill = of(&small(), &below);
    assert_eq!(bill.price, None);
    assert!(bill.unsettled[0].what.contains("below zero"), "{:?}", bill.unsettled);
    let mut beyond = rates();
    beyond.hourly = given(Money::cents(i64::MAX));
    let bill = of(&small(), &beyond);
    assert_eq!(bill.price, None);
    assert!(bill.unsettled[0].what.contains("more than"), "{:?}", bill.unsettled);
}

fn any_rates() -> impl Strategy<Value = Rates> {
    let money = || 0..2_000_000_i64;
    let time = || 0..10_000_u64;
    (
        (money(), money(), money(), money(), money()),
        (1..20_u32, 0..20_u32, 1..30_u32, 1..40_u32),
        (time(), time(), time(), time(), time(), time(), time()),
        (0..1_000_001_u32, 0..1_000_001_u32, 3600..86_400_u64),
    )
        .prop_map(|(money, counts, times, shares)| {
            let seconds = |seconds: u64| given(WorkTime::seconds(seconds));
            let share =
                |millionths: u32| given(Share::from_ratio(f64::from(millionths) / 1e6).unwrap());
            let mut rates = rates();
            rates.hourly = given(Money::cents(money.0));
            rates.jack_day = given(Money::cents(money.1));
            rates.fixings[0].pack_price = Some(Money::cents(money.2));
            rates.extras[0].price = Some(Money::cents(money.3));
            rates.taller_support = given(Money::cents(money.4));
            rates.people = given(counts.0);
            rates.rest_days = Limit::given(counts.1, "any");
            rates.fixings[0].pack = counts.2;
            rates.extras[0].quantity = counts.3;
            rates.times = Times {
                set_up: seconds(times.0),
                setup: seconds(times.1),
                reading: seconds(times.2),
                pass: seconds(times.3),
                one_move: seconds(times.4),
                packing: seconds(times.5),
                fixing: seconds(times.6),
            };
            rates.margin = share(shares.0);
            rates.tax = share(shares.1);
            rates.day = seconds(shares.2);
            rates
        })
}

/// Lines by the printed rule, done again in whole numbers: quantity times rate, half a cent up.
fn again(line: &Line) -> i64 {
    let rate = i128::from(line.rate.as_ref().unwrap().money.to_cents());
    let (numerator, denominator) = match &line.quantity {
        Quantity::Packs { packs, .. } => (i128::from(*packs), 1),
        Quantity::Each { number } => (i128::from(*number), 1),
        Quantity::JackDays { jacks, days } => (i128::from(*jacks) * i128::from(days.unwrap()), 1),
        Quantity::Time { times, each, people } => {
            let seconds = i128::from(each.unwrap().to_seconds());
            (i128::from(*times) * seconds * i128::from(people.unwrap()), 3600)
        }
    };
    let (whole, rest) = (rate * numerator / denominator, rate * numerator % denominator);
    i64::try_from(whole + i128::from(2 * rest >= denominator)).unwrap()
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn what_is_printed_adds_up_exactly(rates in any_rates(), levels in prop::array::uniform9(-60.0..0.0_f64)) {
        let job = job(levels);
        let mut job = Job { stock: small().stock, ..job };
        job.stock.tolerance = Limit::given(Length::mm(2.5), "half of the thinnest");
        job.stock.max_pieces = Limit::given(8, "for this test");
        let bill = of(&job, &rates);
        let price = bill.price.as_ref().unwrap();
        let mut sum = 0;
        for line in &bill.lines {
            prop_assert_eq!(cents(line), again(line));
            sum += cents(line);
        }
        prop_assert_eq!(price.subtotal.to_cents(), sum);
        let sections: Money = bill.sections.iter().map(|sum| sum.amount.unwrap()).sum();
        prop_assert_eq!(sections, price.subtotal);
        let parts = price.subtotal + price.margin.amount + price.tax.amount;
        prop_assert_eq!(price.total, parts);
        // Half a cent is the most that one rounding can be off.
        for added in [&price.margin, &price.tax] {
            let exact = added.of.to_cents() as f64 * added.share.to_ratio();
            prop_assert!((added.amount.to_cents() as f64 - exact).abs() <= 0.5 + 1e-6 * exact);
        }
    }

    #[test]
    fn nothing_is_bought_that_no_support_asks_for(levels in prop::array::uniform9(-60.0..0.0_f64)) {
        let mut job = job(levels);
        job.stock.max_pieces = Limit::given(8, "for this test");
        let plan = plan(&job);
        let packing = plan.packing.done().unwrap();
        let bill = of(&job, &rates());
        let mut pieces_in_stacks: usize = 0;
        for packed in &packing.supports {
            pieces_in_stacks += packed.stack.as_ref().map_or(0, |stack| stack.pieces.len());
        }
        let mut asked = 0;
        for line in &bill.lines {
            let Quantity::Packs { packs, per_pack, pieces } = line.quantity else { continue };
            prop_assert!(pieces > 0 && packs * per_pack >= pieces);
            prop_assert!(packs * per_pack - pieces < per_pack, "a whole pack too many");
            if matches!(line.item, Item::PackerOnTheWay { .. }) { continue; }
            let caused: u32 = line.causes.iter().map(|cause| match cause {
                Cause::AtSupport { pieces, .. } => *pieces,
                _ => 0,
            }).sum();
            prop_assert_eq!(caused, pieces);
            if matches!(line.item, Item::Packer { .. }) { asked += pieces as usize; }
        }
        prop_assert_eq!(asked, pieces_in_stacks);
        for line in &bill.lines {
            if let Quantity::Each { number } = line.quantity { prop_assert!(number > 0); }
            if let Quantity::Time { times, .. } = line.quantity { prop_assert!(times > 0); }
        }
    }

    #[test]
    fn a_higher_rate_never_makes_it_cheaper(low in any_rates(), by in 0..100_000_i64, which in 0..6_usize) {
        let mut high = low.clone();
        let raise = |money: &mut Option<Limit<Money>>| {
            let limit = money.as_mut().unwrap();
            limit.value = limit.value + Money::cents(by);
        };
        match which {
            0 => raise(&mut high.hourly),
            1 => raise(&mut high.jack_day),
            2 => high.extras[0].quantity += by as u32 % 50,
            3 => high.people = given(low.people.as_ref().unwrap().value + by as u32 % 20),
            4 => high.times.one_move = given(WorkTime::seconds(
                low.times.one_move.as_ref().unwrap().value.to_seconds() + by.unsigned_abs(),
            )),
            _ => {
                let ratio = low.margin.as_ref().unwrap().value.to_ratio();
                let more = (ratio * 1e6 + by as f64).round().min(1e6) / 1e6;
                high.margin = given(Share::from_ratio(more).unwrap());
            }
        }
        let total = |rates: &Rates| of(&small(), rates).price.unwrap().total;
        prop_assert!(total(&high) >= total(&low));
    }
}
