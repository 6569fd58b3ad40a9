//! `floorwright order`: what to buy, hire and do, why, and what it costs.

use crate::args;
use crate::commands::frame::options;
use crate::commands::levels::read_again;
use crate::commands::passes::limits;
use crate::commands::{goal, stage};
use crate::exit::{CHECK_FAILED, OK, Stop};
use crate::report::{Report, Text, cautions, envelope, footing};
use crate::session::{Session, open};
use crate::text::table::{Side, Table};
use floorwright_engine::bill::{Bill, Line, Money, Section, bill, bill_of_the_rest};
use floorwright_engine::plan::{Stage, StageName, plan};
use floorwright_engine::record::record_if_begun;
use floorwright_job::OrderWords;
use floorwright_job::cautions::Loads;
use floorwright_job::said::{count, left_order, reasons, whole_order};
use floorwright_job::words::{Words, percent};

/// Runs the command.
pub fn run(args: &args::Order) -> Result<Report, Stop> {
    let mut session = open(&args.job.job)?;
    goal::apply(&args.goal, &mut session)?;
    limits(args.jacks, args.per_pass.as_deref(), &mut session)?;
    options::apply(&args.timber, &mut session)?;
    options::leave_out(args.no_frame, &mut session);
    let plan = plan(&session.job);
    let found = bill(&session.job, &plan, &session.input.rates);
    let record = record_if_begun(&session.job, &plan, &session.input.done);
    let left = bill_of_the_rest(&session.job, &plan, &record, &session.input.rates);
    let words = Words::of(&session.input);
    let mut text = Text::default();
    text.heading(&format!("Order: {}", session.input.name));
    read_again(&mut text, &session, &plan, words);
    let mut exit = CHECK_FAILED;
    if let Some(bill) = stage(&mut text, &plan, StageName::Packers, &found, words) {
        cautions(&mut text, Loads::of(&plan));
        let whole = Of { session: &session, causes: args.causes, rest: false };
        exit = match &left {
            Some(left) if !args.whole => say_left(&mut text, whole, left, bill),
            _ => whole.say(&mut text, bill),
        };
    }
    footing(&mut text, &session);
    let json = move || {
        let result = serde_json::json!({ "order": found, "left": left, "plan": plan.packing });
        envelope("order", &session, result)
    };
    Ok(Report { text, json: Box::new(json), exit })
}

/// An order to be said.
#[derive(Clone, Copy)]
struct Of<'a> {
    session: &'a Session,
    /// With where each line comes from.
    causes: bool,
    /// It is for what is left.
    rest: bool,
}

impl Of<'_> {
    /// Says it. Returns the exit code.
    fn say(self, text: &mut Text, bill: &Bill) -> u8 {
        let done = &self.session.input.done;
        if !bill.unsettled.is_empty() {
            text.heading("Order nothing yet: this plan is not to be worked by");
            for reason in &bill.unsettled {
                text.item(
                    "!",
                    floorwright_job::said::reason(reason, Words::of(&self.session.input)),
                );
            }
        }
        if let Some(sentence) = if self.rest { left_order(done) } else { whole_order(done) } {
            text.say(sentence);
        }
        say_price(text, bill);
        for section in Section::ALL {
            let lines: Vec<&Line> =
                bill.lines.iter().filter(|line| line.item.section() == section).collect();
            if !lines.is_empty() {
                say_section(text, bill, section, &lines, order_words(self.session), self.causes);
            }
        }
        if bill.lines.is_empty() {
            text.heading("Nothing is needed");
        }
        say_missing(text, bill);
        if !bill.assumed.is_empty() {
            text.heading("Taken for the order, because the job does not say");
            for assumed in &bill.assumed {
                text.item("-", assumed);
            }
        }
        if bill.unsettled.is_empty() { OK } else { CHECK_FAILED }
    }
}

/// Says what is left to order, and what the whole came to. Returns the exit code.
fn say_left(text: &mut Text, whole: Of<'_>, left: &Stage<Bill>, whole_bill: &Bill) -> u8 {
    let exit = match left {
        Stage::Done(left) => Of { rest: true, ..whole }.say(text, left),
        left => {
            text.heading("What is left to order is not known");
            text.item("!", reasons(left.reasons(), Words::of(&whole.session.input)));
            CHECK_FAILED
        }
    };
    if let Some(price) = &whole_bill.price {
        let currency = whole_bill.currency.as_ref().map_or("", |currency| currency.as_str());
        text.say(format!(
            "The whole plan, by the readings before the work, came to {currency} {} (--whole shows it).",
            price.total
        ));
    }
    exit
}

/// How this job speaks of its order.
pub fn order_words(session: &Session) -> OrderWords {
    OrderWords { terms: session.input.terms, units: session.input.units }
}

/// What it comes to, or why there is no total.
fn say_price(text: &mut Text, bill: &Bill) {
    let Some(price) = &bill.price else {
        if bill.unsettled.is_empty() {
            text.heading(&format!(
                "No total: {} missing (listed below)",
                count(bill.missing.len(), "rate is", "rates are")
            ));
        }
        return;
    };
    let currency = bill.currency.as_ref().map_or("", |currency| currency.as_str());
    text.heading(&format!("Total: {currency} {}", price.total));
    let mut table = Table::new(&[("", Side::Left), (currency, Side::Right), ("", Side::Left)]);
    let mut row = |what: String, amount: Money, why: &str| {
        table.row([what, amount.to_string(), why.to_owned()]);
    };
    row("Lines below".to_owned(), price.subtotal, "");
    for (what, added) in [("Margin", &price.margin), ("Tax", &price.tax)] {
        let share = share(added.share.to_ratio());
        row(format!("{what}, {share} of {}", added.of), added.amount, &added.reason);
    }
    row("Total".to_owned(), price.total, "");
    text.table(&table);
    text.say(format!("Rounding: {}.", bill.rounding));
}

/// A ratio in hundredths, with the decimals it needs.
fn share(ratio: f64) -> String {
    let hundredths = format!("{:.4}", ratio * 100.0);
    let short = hundredths.trim_end_matches('0').trim_end_matches('.');
    if short.is_empty() { percent(ratio) } else { format!("{short} %") }
}

fn say_section(
    text: &mut Text,
    bill: &Bill,
    section: Section,
    lines: &[&Line],
    words: OrderWords,
    causes: bool,
) {
    let sum = bill.sections.iter().find(|sum| sum.section == section);
    let amount = sum.and_then(|sum| sum.amount).map_or(String::new(), |sum| format!(": {sum}"));
    text.heading(&format!("{}{amount}", words.section(section)));
    let columns = [
        ("Amount", Side::Right),
        ("Rate", Side::Right),
        ("Quantity", Side::Left),
        ("What", Side::Left),
    ];
    let mut table = Table::new(&columns);
    for line in lines {
        let money = |money: Option<Money>| money.map_or("?".to_owned(), |money| money.to_string());
        table.row([
            money(line.amount),
            money(line.rate.as_ref().map(|rate| rate.money)),
            words.quantity(&line.quantity),
            what(line, words),
        ]);
    }
    text.table(&table);
    for line in lines.iter().filter(|_| causes) {
        text.item("-", format!("{}: {}", words.item(&line.item), words.causes(line)));
        if let Some(rate) = &line.rate {
            let reason = rate.reason.as_ref().map_or(String::new(), |why| format!(", {why}"));
            text.item(
                "-",
                format!(
                    "  {} {}: {}{reason}",
                    rate.money,
                    words.rate_for(&line.quantity),
                    rate.key
                ),
            );
        }
    }
}

/// What a line is for, with what its quantity does not say.
fn what(line: &Line, words: OrderWords) -> String {
    use floorwright_engine::bill::Quantity;
    let item = words.item(&line.item);
    match &line.quantity {
        Quantity::Packs { packs, per_pack, pieces } if packs * per_pack != *pieces => {
            format!("{item} ({pieces} needed)")
        }
        quantity => match quantity.person_time() {
            Some(time) => format!("{item}: {time} in all"),
            None => item,
        },
    }
}

fn say_missing(text: &mut Text, bill: &Bill) {
    if bill.missing.is_empty() {
        return;
    }
    text.heading("Rates that are missing: nothing is guessed");
    for missing in &bill.missing {
        let lines = match missing.lines {
            0 => "the total waits for it".to_owned(),
            lines => format!("{} for it", count(lines, "line waits", "lines wait")),
        };
        text.item("-", format!("{}: {} ({lines})", missing.key, missing.what));
    }
}
