//! From lines to sections and a total, or to the names of the rates that are missing.

use super::lines::time_of;
use super::{
    Bill, Item, Line, MOST_MONEY, Money, Quantity, ROUNDING, Rates, Section, Share, WorkTime,
};
use crate::plan::StopReason;
use crate::settings::Limit;
use serde::Serialize;

/// What a section comes to.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct SectionSum {
    /// The section; those without lines are left out.
    pub section: Section,
    /// The sum of its lines; `None` if any of them has no amount.
    pub amount: Option<Money>,
}

/// Something added to the subtotal.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Added {
    /// The share.
    pub share: Share,
    /// Of this amount.
    pub of: Money,
    /// Which comes to this.
    pub amount: Money,
    /// Why the share is what it is.
    pub reason: String,
}

/// What it all costs.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Price {
    /// The sum of the lines.
    pub subtotal: Money,
    /// Added by the builder.
    pub margin: Added,
    /// Added by the tax office, on subtotal and margin.
    pub tax: Added,
    /// Subtotal, margin and tax.
    pub total: Money,
}

/// A rate that the bill needs and the job does not give.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct MissingRate {
    /// Where it is to be written.
    pub key: String,
    /// What it is, in words.
    pub what: String,
    /// How many lines wait for it; none where only the total does.
    pub lines: usize,
}

/// Adds the lines up.
pub(super) fn add_up(lines: Vec<Line>, rates: &Rates, mut unsettled: Vec<StopReason>) -> Bill {
    if let Some(rate) =
        lines.iter().filter_map(|line| line.rate.as_ref()).find(|rate| rate.money < Money::ZERO)
    {
        unsettled.push(StopReason {
            what: format!("a rate is below zero: {} at {}", rate.money, rate.key),
            hint: Some("a rate is zero or more".to_owned()),
        });
    }
    let missing = missing(&lines, rates);
    let sections = Section::ALL.into_iter().filter_map(|section| section_sum(section, &lines));
    let price = if missing.is_empty() {
        let price = price(&lines, rates);
        if price.is_none() {
            unsettled.push(StopReason {
                what: format!("the bill comes to more than {MOST_MONEY}"),
                hint: Some("look for a rate with a digit too many".to_owned()),
            });
        }
        price
    } else {
        None
    };
    Bill {
        currency: rates.currency.clone(),
        sections: sections.collect(),
        price: price.filter(|_| unsettled.is_empty()),
        missing,
        unsettled,
        assumed: assumed(&lines, rates),
        rounding: ROUNDING,
        lines,
    }
}

fn section_sum(section: Section, lines: &[Line]) -> Option<SectionSum> {
    let mut of_section = lines.iter().filter(|line| line.item.section() == section).peekable();
    of_section.peek()?;
    Some(SectionSum { section, amount: of_section.map(|line| line.amount).sum() })
}

fn price(lines: &[Line], rates: &Rates) -> Option<Price> {
    let subtotal: Money = lines.iter().map(|line| line.amount).sum::<Option<Money>>()?;
    let added = |given: &Limit<Share>, of: Money| {
        let amount = given.value.of(of)?;
        Some(Added { share: given.value, of, amount, reason: given.reason.clone() })
    };
    let margin = added(rates.margin.as_ref()?, subtotal)?;
    let tax = added(rates.tax.as_ref()?, subtotal + margin.amount)?;
    let total = subtotal + margin.amount + tax.amount;
    (total <= MOST_MONEY).then_some(Price { subtotal, margin, tax, total })
}

/// Every rate that some line or the total waits for, in the order of the bill.
fn missing(lines: &[Line], rates: &Rates) -> Vec<MissingRate> {
    let mut missing: Vec<MissingRate> = Vec::new();
    let mut name = |key: String, what: &str, lines: usize| match missing
        .iter_mut()
        .find(|known| known.key == key)
    {
        Some(known) => known.lines += lines,
        None => missing.push(MissingRate { key, what: what.to_owned(), lines }),
    };
    if rates.currency.is_none() {
        name("[rates] currency".to_owned(), "the currency", 0);
    }
    for line in lines {
        for (key, what) in missing_of(line, rates) {
            name(key, what, 1);
        }
    }
    if rates.margin.is_none() {
        name("[rates] margin".to_owned(), "the margin on the subtotal; 0 for none", 0);
    }
    if rates.tax.is_none() {
        name("[rates] tax".to_owned(), "the tax on subtotal and margin; 0 for none", 0);
    }
    missing
}

/// The rates that one line waits for.
fn missing_of(line: &Line, rates: &Rates) -> Vec<(String, &'static str)> {
    let mut keys = Vec::new();
    let mut need = |is_missing: bool, key: String, what: &'static str| {
        if is_missing {
            keys.push((key, what));
        }
    };
    let no_rate = line.rate.is_none();
    match &line.item {
        Item::Packer { thickness } | Item::PackerOnTheWay { thickness } => {
            need(no_rate, format!("[stock] packers, {thickness}: price"), "the price of a pack");
        }
        Item::TallerSupport { .. } => {
            need(no_rate, "[rates] taller_support".to_owned(), "a taller or new support, put in");
        }
        Item::Fixing { name } => {
            need(no_rate, format!("[[rates.fixing]] {name}: price"), "the price of a pack");
        }
        Item::Extra { what } => {
            need(no_rate, format!("[[rates.extra]] {what}: price"), "the price of one");
        }
        Item::Jacks { .. } => {
            need(no_rate, "[rates] jack_day".to_owned(), "hire of one jack for one day");
            let no_day = rates.day.as_ref().is_none_or(|day| day.value == WorkTime::ZERO);
            need(no_day, "[rates] hours_per_day".to_owned(), "how long the crew works in a day");
        }
        Item::Work { work } => {
            need(no_rate, "[rates] hourly".to_owned(), "an hour of one person");
            need(rates.people.is_none(), "[rates] people".to_owned(), "how many the crew is");
            let no_time = time_of(*work, rates).is_none();
            need(no_time, format!("[rates.minutes] {}", time_key(*work)), time_words(*work));
        }
    }
    keys
}

fn time_key(work: super::WorkKind) -> &'static str {
    use super::WorkKind as Kind;
    match work {
        Kind::SurveySetups | Kind::AgainSetups => "setup",
        Kind::SurveyReadings | Kind::AgainReadings => "reading",
        Kind::SetUp => "set_up",
        Kind::Passes => "pass",
        Kind::Moves => "move",
        Kind::Packing => "packing",
        Kind::Fixing => "fixing",
    }
}

fn time_words(work: super::WorkKind) -> &'static str {
    use super::WorkKind as Kind;
    match work {
        Kind::SurveySetups | Kind::AgainSetups => "to stand the instrument or fill the hose",
        Kind::SurveyReadings | Kind::AgainReadings => "to take one reading",
        Kind::SetUp => "to get ready under the house, once",
        Kind::Passes => "each pass besides its moves: cracks, pipes, cribs",
        Kind::Moves => "one move: bring the jacks there and lift",
        Kind::Packing => "to change the stack at one support",
        Kind::Fixing => "to fix the stack that stays at one support",
    }
}

fn assumed(lines: &[Line], rates: &Rates) -> Vec<String> {
    let mut assumed = Vec::new();
    let mut say = |is_assumed: bool, what: String| {
        if is_assumed && !assumed.contains(&what) {
            assumed.push(what);
        }
    };
    for line in lines {
        match (&line.item, &line.quantity) {
            (Item::Fixing { name }, _) => {
                let fixing = rates.fixings.iter().find(|fixing| fixing.name == *name);
                let Some(each) = fixing.map(|fixing| &fixing.per_support) else { continue };
                say(each.assumed, format!("{} {name} a support: {}", each.value, each.reason));
            }
            (Item::Jacks { .. }, Quantity::JackDays { .. }) => {
                let rest = &rates.rest_days;
                say(rest.assumed, format!("days of rest: {}: {}", rest.value, rest.reason));
            }
            _ => {}
        }
    }
    assumed
}
