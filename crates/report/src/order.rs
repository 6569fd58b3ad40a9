//! The order list: what to buy, hire and do, with the rates, for the builder alone.

use crate::block::{Block, Blocks, Cells, Table};
use crate::paper::{Content, Paper};
use crate::typeset::PaperError;
use floorwright_engine::bill::{Bill, Line, Money, Section, bill_of_the_rest};
use floorwright_engine::plan::{Stage, StageName};
use floorwright_job::OrderWords;
use floorwright_job::said::{count, left_order, reason, reasons, whole_order, why};

/// What the document says.
pub(crate) fn content(paper: &Paper<'_>) -> Result<Content, PaperError> {
    let Stage::Done(bill) = paper.bill else {
        let what = match paper.bill.reasons() {
            [] => why(paper.plan, StageName::Packers, paper.words()),
            found => reasons(found, paper.words()),
        };
        return Err(PaperError::Nothing { document: "order", what });
    };
    if !bill.unsettled.is_empty() {
        let what = format!(
            "this plan is not to be worked by: {}",
            reasons(&bill.unsettled, paper.words())
        );
        return Err(PaperError::Nothing { document: "order", what });
    }
    let words = OrderWords { terms: paper.input.terms, units: paper.input.units };
    let mut blocks = Blocks::default();
    let again = doubt(paper);
    blocks.framed("Order nothing yet: the plan rests on readings in doubt", again, false);
    match &bill.price {
        Some(price) => {
            let currency = bill.currency.as_ref().map_or("", |currency| currency.as_str());
            blocks.0.push(Block::Answer {
                text: format!("Total: {currency} {}", price.total),
                under: vec![
                    "This list shows rates and margin: what the client signs is the quote."
                        .to_owned(),
                ],
            });
        }
        None => no_price(&mut blocks, bill),
    }
    whole_order(&paper.input.done).into_iter().for_each(|sentence| blocks.say(sentence));
    lines(&mut blocks, bill, words);
    besides(&mut blocks, bill);
    left(&mut blocks, paper, words);
    let subtitle = if bill.price.is_some() {
        "What to buy, hire and do, for the builder"
    } else {
        "What to buy, hire and do; no price yet"
    };
    Ok(Content::new(subtitle, blocks))
}

/// What is needed and stands in no line.
fn besides(blocks: &mut Blocks, bill: &Bill) {
    blocks.heading("Not in this list");
    let mut items = vec![
        "cribbing and pads, timber to hold the house sideways, lights and tools: as the place asks for"
            .to_owned(),
    ];
    if !bill.lines.iter().any(|line| line.item.section() == Section::Fixings) {
        items.push("damp-proofing and fixings: the job names none under [rates]".to_owned());
    }
    blocks.list(items);
    blocks.say(
        "The work counts every point of the survey as read again after each pass. The run sheet asks for the points \
         that the pass moves, and no less; the others show what moved and was not to.",
    );
}

/// That the plan rests on readings to be taken again, and which points.
pub(crate) fn doubt(paper: &Paper<'_>) -> Vec<String> {
    let points: Vec<String> =
        paper.plan.points_in_doubt().iter().map(ToString::to_string).collect();
    if points.is_empty() {
        return Vec::new();
    }
    let of = paper.input.date.as_ref().map_or(String::new(), |date| format!(" of {date}"));
    vec![format!(
        "It rests on the readings{of}; those at {} have to be taken again first. What comes of them may change \
         lifts, packers and price.",
        points.join(", ")
    )]
}

/// Why there is no price, and what is missing.
fn no_price(blocks: &mut Blocks, bill: &Bill) {
    if bill.missing.is_empty() {
        return;
    }
    blocks.0.push(Block::Answer {
        text: format!(
            "No price yet: {} missing.",
            count(bill.missing.len(), "rate is", "rates are")
        ),
        under: vec!["What to order follows all the same; nothing is guessed.".to_owned()],
    });
    let columns = [
        ("Where to write it", Cells::Words),
        ("What it is", Cells::Text),
        ("Lines that wait", Cells::Number),
    ];
    let mut table = Table::new("Missing", &columns);
    for missing in &bill.missing {
        let waits = if missing.lines == 0 { "total".to_owned() } else { missing.lines.to_string() };
        table.rows.push(vec![missing.key.clone(), missing.what.clone(), waits]);
    }
    blocks.table(table);
}

/// The pages for the builder.
fn lines(blocks: &mut Blocks, bill: &Bill, words: OrderWords) {
    if bill.lines.is_empty() {
        blocks.say("Nothing is needed.");
    }
    let money = |money: Option<Money>| money.map_or("?".to_owned(), |money| money.to_string());
    for section in Section::ALL {
        let of_section: Vec<&Line> =
            bill.lines.iter().filter(|line| line.item.section() == section).collect();
        let columns = [
            ("", Cells::Tick),
            ("What", Cells::Text),
            ("How much", Cells::Words),
            ("Rate", Cells::Number),
            ("Amount", Cells::Number),
            ("Why", Cells::Text),
        ];
        let mut table = Table::new(words.section(section), &columns);
        for line in of_section {
            table.rows.push(vec![
                String::new(),
                words.item(&line.item),
                words.quantity(&line.quantity),
                money(line.rate.as_ref().map(|rate| rate.money)),
                money(line.amount),
                shortened(words.causes(line)),
            ]);
        }
        let sum = bill.sections.iter().find(|sum| sum.section == section);
        if let Some(amount) = sum.and_then(|sum| sum.amount) {
            table.note = format!("{} together: {amount}.", words.section(section));
        }
        blocks.table(table);
    }
    if let Some(price) = &bill.price {
        blocks.heading("How it adds up");
        let added = |what: &str, added: &floorwright_engine::bill::Added| {
            let share = share(added.share.to_ratio());
            (
                format!("{what}, {share} of {} ({})", added.of, added.reason),
                added.amount.to_string(),
            )
        };
        let mut table = Table::new("", &[("What", Cells::Text), ("Amount", Cells::Number)]);
        let rows = [
            ("Lines above".to_owned(), price.subtotal.to_string()),
            added("Margin", &price.margin),
            added("Tax", &price.tax),
            ("Total".to_owned(), price.total.to_string()),
        ];
        table.rows = rows.into_iter().map(|(what, amount)| vec![what, amount]).collect();
        table.ruled_above = vec![3];
        table.note = format!("Rounding: {}.", bill.rounding);
        blocks.table(table);
    }
    if !bill.assumed.is_empty() {
        blocks.say("Taken for the order, because the job does not say:");
        blocks.list(bill.assumed.clone());
    }
}

/// Once passes were done: what is left to buy, hire and do.
fn left(blocks: &mut Blocks, paper: &Paper<'_>, words: OrderWords) {
    let rates = &paper.input.rates;
    let Some(left) = bill_of_the_rest(paper.job, paper.plan, paper.record, rates) else { return };
    blocks.0.push(Block::NewPage);
    blocks.heading("What is left to order");
    match &left {
        Stage::Done(bill) => {
            let unsettled = bill.unsettled.iter().map(|one| reason(one, paper.words()));
            blocks.framed("Order nothing yet for what is left", unsettled.collect(), true);
            left_order(&paper.input.done).into_iter().for_each(|sentence| blocks.say(sentence));
            lines(blocks, bill, words);
        }
        left => blocks.say(format!("Not known: {}.", reasons(left.reasons(), paper.words()))),
    }
}

/// Causes that name very many places are cut at a comma, and it is said where all of them stand.
fn shortened(causes: String) -> String {
    const MOST: usize = 160;
    let Some((end, _)) = causes.char_indices().nth(MOST) else { return causes };
    let cut = causes[..end].rfind(", ").unwrap_or(end);
    format!("{} and more: floorwright order --causes has all", &causes[..cut])
}

/// A ratio in hundredths, with the decimals it needs.
pub(crate) fn share(ratio: f64) -> String {
    let hundredths = format!("{:.4}", ratio * 100.0);
    format!("{} %", hundredths.trim_end_matches('0').trim_end_matches('.'))
}
