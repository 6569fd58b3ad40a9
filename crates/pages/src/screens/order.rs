//! What to buy, hire and do, and what it costs.

use crate::layout::{Shell, faults};
use crate::view::{JobView, Worked};
use floorwright_engine::bill::{Bill, Money, Section, bill, bill_of_the_rest};
use floorwright_engine::plan::Stage;
use floorwright_job::words::Words;
use floorwright_job::{OrderWords, said};
use maud::{Markup, html};

/// The page.
pub fn page(shell: &Shell<'_>, job: &JobView) -> Markup {
    shell.page(
        "Order",
        &html! {
            h1 { "Order" }
            (faults(&job.faults))
            @match &job.worked {
                None => p { "The order waits for the job to be put right." },
                Some(worked) => (order(worked)),
            }
        },
    )
}

fn order(worked: &Worked) -> Markup {
    let words = OrderWords { terms: worked.input.terms, units: worked.input.units };
    let in_words = Words::of(&worked.input);
    let said = |bill: &Stage<Bill>| match bill {
        Stage::Done(bill) => lines(bill, words, in_words),
        Stage::Stopped(reasons) => {
            html! { @for reason in reasons { p { (said::reason(reason, in_words)) } } }
        }
        Stage::WaitsFor(_) | Stage::NotAsked => html! { p { "The order waits for the lifts." } },
    };
    let (job, rates, done) = (&worked.job, &worked.input.rates, &worked.input.done);
    let whole = said(&bill(job, &worked.plan, rates));
    let left =
        worked.record().and_then(|record| bill_of_the_rest(job, &worked.plan, &record, rates));
    match left {
        None => whole,
        Some(left) => html! {
            @if matches!(left, Stage::Done(_)) { @if let Some(sentence) = said::left_order(done) { p { (sentence) } } }
            @else { h2 { "What is left to order is not known" } }
            (said(&left))
            details {
                summary { "The order for the whole plan" }
                @if let Some(sentence) = said::whole_order(done) { p { (sentence) } }
                (whole)
            }
        },
    }
}

fn lines(bill: &Bill, words: OrderWords, in_words: Words) -> Markup {
    let currency = bill.currency.as_ref().map_or("", |currency| currency.as_str());
    let money = |money: Option<Money>| money.map_or("?".to_owned(), |money| money.to_string());
    html! {
        @for reason in &bill.unsettled { p .error { strong { "Order nothing yet: " } (said::reason(reason, in_words)) } }
        @if let Some(price) = &bill.price {
            p .big-number { strong { (currency) " " (price.total) } " in all, tax included as the job says" }
        } @else if !bill.missing.is_empty() {
            p .warn { "There is no total: " (bill.missing.len()) " rates are missing. They stand under [rates] and [stock] of the job." }
        }
        @for section in Section::ALL {
            @let of_section: Vec<_> = bill.lines.iter().filter(|line| line.item.section() == section).collect();
            @if !of_section.is_empty() {
                h2 { (words.section(section)) }
                table {
                    thead { tr { th scope="col" { "What" } th scope="col" { "How much" } th scope="col" { "Amount" } } }
                    tbody { @for line in of_section {
                        tr { th scope="row" { (words.item(&line.item)) } td { (words.quantity(&line.quantity)) } td { (money(line.amount)) } }
                    } }
                }
            }
        }
        @if !bill.assumed.is_empty() {
            details { summary { "Taken for granted" } ul { @for assumed in &bill.assumed { li { (assumed) } } } }
        }
    }
}
