//! The quote and the order: what it costs, on one page for the client, and what to buy, hire and
//! do, for the builder.

use crate::block::{Block, Blocks, Cells, Table};
use crate::paper::{Content, Paper};
use crate::typeset::PaperError;
use floorwright_engine::bill::{Bill, Line, Money, Price, Section, bill_of_the_rest};
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
    let words = OrderWords { terms: paper.input.terms, units: paper.input.units };
    let mut blocks = Blocks::default();
    let unsettled = bill.unsettled.iter().map(|one| reason(one, paper.words()));
    blocks.framed("Order nothing yet: this plan is not to be worked by", unsettled.collect(), true);
    match &bill.price {
        Some(price) => quote(&mut blocks, paper, bill, price, words),
        None => no_price(&mut blocks, bill),
    }
    let business = paper.business.or(paper.input.business.as_ref());
    if let Some(terms) = business.map(|business| &business.terms).filter(|terms| !terms.is_empty())
    {
        blocks.heading("Terms");
        terms.iter().for_each(|paragraph| blocks.say(paragraph));
    }
    blocks.0.push(Block::NewPage);
    blocks.heading("Order list, for the builder");
    whole_order(&paper.input.done).into_iter().for_each(|sentence| blocks.say(sentence));
    lines(&mut blocks, bill, words);
    left(&mut blocks, paper, words);
    let subtitle = if bill.price.is_some() {
        "What the work costs, and what to buy, hire and do"
    } else {
        "What to buy, hire and do; no price yet"
    };
    Ok(Content::new(subtitle, blocks))
}

/// The page for the client.
fn quote(blocks: &mut Blocks, paper: &Paper<'_>, bill: &Bill, price: &Price, words: OrderWords) {
    let currency = bill.currency.as_ref().map_or("", |currency| currency.as_str());
    let before_tax = price.subtotal + price.margin.amount;
    blocks.0.push(Block::Answer {
        text: format!("Price: {currency} {}", price.total),
        under: vec![format!(
            "{currency} {before_tax} and tax of {} on it, {currency} {} ({}).",
            share(price.tax.share.to_ratio()),
            price.tax.amount,
            price.tax.reason,
        )],
    });
    blocks.heading("For");
    blocks.list(scope(paper));
    blocks.heading("It includes");
    let included = Section::ALL.into_iter().filter_map(|section| {
        let of_section: Vec<String> = bill
            .lines
            .iter()
            .filter(|line| line.item.section() == section)
            .map(|line| words.item(&line.item))
            .collect();
        (!of_section.is_empty())
            .then(|| format!("{}: {}.", words.section(section), of_section.join("; ")))
    });
    blocks.list(included.collect::<Vec<_>>());
    blocks.heading("It does not include");
    blocks.list([
        "what is found only when the floor is opened or lifted: rot, soft ground, broken pipes",
        "cracked linings, sticking doors and tiles that come with the lift",
        "engineer, consent, gas, power, drains and asbestos, unless they are named above",
    ]);
    blocks.0.push(Block::Signatures {
        who: vec!["Accepted by the owner".to_owned(), "Builder".to_owned(), "Date".to_owned()],
    });
}

fn scope(paper: &Paper<'_>) -> Vec<String> {
    let words = paper.words();
    let (one, several) = words.supports();
    let mut scope = Vec::new();
    if let Some(packing) = paper.plan.packing.done() {
        scope.push(format!(
            "raising {} of {}",
            packing.raised,
            count(paper.job.site.supports().len(), one, several)
        ));
    }
    if let Some(lifting) = paper.plan.lifting.done() {
        scope.push(format!("bringing the floor to its height ({})", lifting.target.from));
    }
    if let Some(stage) = paper.plan.passes.done() {
        let n_passes = stage.passes.passes.len();
        scope.push(format!(
            "{}, reading the floor again after each",
            count(n_passes, "pass", "passes")
        ));
    }
    scope
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

/// Causes that name very many places are cut at a comma: the plan has them all.
fn shortened(causes: String) -> String {
    const MOST: usize = 160;
    let Some((end, _)) = causes.char_indices().nth(MOST) else { return causes };
    let cut = causes[..end].rfind(", ").unwrap_or(end);
    format!("{} and more", &causes[..cut])
}

/// A ratio in hundredths, with the decimals it needs.
fn share(ratio: f64) -> String {
    let hundredths = format!("{:.4}", ratio * 100.0);
    format!("{} %", hundredths.trim_end_matches('0').trim_end_matches('.'))
}
