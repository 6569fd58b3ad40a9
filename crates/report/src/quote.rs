//! The quote: what the work costs, on paper that the client signs and keeps. No rate and no margin stands
//! on it.

use crate::block::{Block, Blocks};
use crate::order::{doubt, share};
use crate::paper::{Content, Paper};
use crate::typeset::PaperError;
use floorwright_engine::bill::{Bill, Price, Section};
use floorwright_engine::plan::{Stage, StageName};
use floorwright_job::OrderWords;
use floorwright_job::said::{NO_REASON, count, reason, reasons, whole_order, why};

/// What the document says.
pub(crate) fn content(paper: &Paper<'_>) -> Result<Content, PaperError> {
    let nothing = |what| PaperError::Nothing { document: "quote", what };
    let Stage::Done(bill) = paper.bill else {
        return Err(nothing(match paper.bill.reasons() {
            [] => why(paper.plan, StageName::Packers, paper.words()),
            found => reasons(found, paper.words()),
        }));
    };
    if !bill.unsettled.is_empty() {
        let why = bill.unsettled.iter().map(|one| reason(one, paper.words()));
        let why = why.collect::<Vec<_>>().join("; ");
        return Err(nothing(format!("this plan is not to be worked by: {why}")));
    }
    let Some(price) = &bill.price else {
        return Err(nothing(format!(
            "no price yet, {} missing: the order list names them",
            count(bill.missing.len(), "rate is", "rates are")
        )));
    };
    let mut blocks = Blocks::default();
    if !paper.input.done.passes.is_empty() {
        let begun = whole_order(&paper.input.done).into_iter();
        blocks.framed("Work has begun", begun.collect(), false);
    }
    blocks.framed("This price may change", doubt(paper), true);
    quote(&mut blocks, paper, bill, price);
    let business = paper.business.or(paper.input.business.as_ref());
    if let Some(terms) = business.map(|business| &business.terms).filter(|terms| !terms.is_empty())
    {
        blocks.heading("Terms");
        terms.iter().for_each(|paragraph| blocks.say(paragraph));
    }
    blocks.0.push(Block::Signatures {
        who: vec!["Accepted by the owner".to_owned(), "Builder".to_owned(), "Date".to_owned()],
    });
    Ok(Content::new("What the work costs", blocks))
}

fn quote(blocks: &mut Blocks, paper: &Paper<'_>, bill: &Bill, price: &Price) {
    let currency = bill.currency.as_ref().map_or("", |currency| currency.as_str());
    let before_tax = price.subtotal + price.margin.amount;
    let ratio = price.tax.share.to_ratio();
    let reason = Some(&price.tax.reason).filter(|reason| *reason != NO_REASON);
    let reason = reason.map_or(String::new(), |reason| format!(" ({reason})"));
    let tax = if ratio == 0.0 {
        format!("No tax is added{reason}.")
    } else {
        format!(
            "{currency} {before_tax}, and tax of {} on it, {currency} {}{reason}.",
            share(ratio),
            price.tax.amount,
        )
    };
    blocks.0.push(Block::Answer {
        text: format!("Price: {currency} {}", price.total),
        under: vec![tax],
    });
    blocks.heading("For");
    blocks.list(scope(paper));
    blocks.heading("It includes");
    blocks.list(included(paper, bill));
    blocks.heading("It does not include");
    blocks.list([
        "what is found only when the floor is opened or lifted: rot, soft ground, broken pipes",
        "cracked linings, sticking doors and tiles that come with the lift",
        "engineer, consent, gas, power, drains and asbestos, unless they are named above",
    ]);
}

/// What the price holds, in words for who pays it: what is bought by name, the work in one sentence.
fn included(paper: &Paper<'_>, bill: &Bill) -> Vec<String> {
    let words = OrderWords { terms: paper.input.terms, units: paper.input.units };
    let sections = Section::ALL.into_iter().filter_map(|section| {
        let mut of_section: Vec<String> = Vec::new();
        for line in bill.lines.iter().filter(|line| line.item.section() == section) {
            let item = words.item(&line.item);
            if !of_section.contains(&item) {
                of_section.push(item);
            }
        }
        match section {
            _ if of_section.is_empty() => None,
            Section::Work => Some(
                "The work: getting ready, reading the floor, lifting it in small steps, packing and fixing, \
                 and reading it again after each pass."
                    .to_owned(),
            ),
            _ => Some(format!("{}: {}.", words.section(section), of_section.join("; "))),
        }
    });
    sections.collect()
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
    if let Some(date) = &paper.input.date {
        scope.push(format!("as the floor was read on {date}"));
    }
    scope
}
