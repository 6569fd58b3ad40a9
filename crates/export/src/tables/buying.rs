//! What to buy, hire and do, and what it costs.

use crate::Source;
use crate::table::{Cell, Column, Holds, Lengths, Rule, Sheet, SumOf, Table};
use floorwright_engine::bill::{Bill, Money, Quantity};
use floorwright_job::OrderWords;

/// Packers by thickness.
pub(super) const PACKERS: Sheet = Sheet {
    name: "packers",
    about: "One row for each thickness of packer, those that stay first.",
    columns: &[
        Column::new("use", Holds::Words, "Stays, or on the way only"),
        Column::new("thickness", Holds::Length, "How thick one is"),
        Column::new("pieces", Holds::Count, "Pieces that are used"),
        Column::new("packs", Holds::Count, "Packs to buy"),
    ],
};

/// The order.
pub(super) const ORDER: Sheet = Sheet {
    name: "order",
    about: "One row for each thing to buy, hire or do.",
    columns: &[
        Column::new("section", Holds::Words, "What part of the order it is"),
        Column::new("what", Holds::Words, "What it is"),
        Column::new("how_much", Holds::Words, "How much of it, in words"),
        Column::new("quantity", Holds::Number, "The same as a number, in what the rate is for"),
        Column::new("rate_for", Holds::Words, "What the rate is for"),
        Column::new("rate", Holds::Money, "The rate"),
        Column::new("amount", Holds::Money, "Quantity at that rate, to the cent")
            .by(Rule::Times("quantity", "rate")),
        Column::new("why", Holds::Words, "Where it comes from"),
    ],
};

/// The price.
pub(super) const PRICE: Sheet = Sheet {
    name: "price",
    about: "How the price adds up.",
    columns: &[
        Column::new("what", Holds::Words, "What is added"),
        Column::new("of", Holds::Money, "What the share is taken of"),
        Column::new("share", Holds::Number, "The share, as a ratio"),
        Column::new("amount", Holds::Money, "The amount"),
        Column::new("why", Holds::Words, "Why that share"),
    ],
};

pub(super) fn tables(source: &Source<'_>, bill: &Bill, lengths: Lengths) -> Vec<Table> {
    vec![packers(source, lengths), order(source, bill, lengths), price(bill, lengths)]
}

fn packers(source: &Source<'_>, lengths: Lengths) -> Table {
    let mut table = Table::new(&PACKERS, lengths);
    let count = |number: u32| Cell::Number(f64::from(number));
    for line in source.plan.packing.done().iter().flat_map(|packing| &packing.buy.lines) {
        let thickness = table.length(line.thickness);
        table.row([Cell::words("stays"), thickness, count(line.pieces), count(line.packs)]);
    }
    for extra in source.plan.passes.done().iter().flat_map(|stage| &stage.temporary) {
        let thickness = table.length(extra.thickness);
        let row = [
            Cell::words("on the way"),
            thickness,
            count(extra.most_in_use),
            count(extra.extra_packs),
        ];
        table.row(row);
    }
    table
}

fn money(money: Money) -> f64 {
    // Amounts stay far below what a number holds to the cent.
    money.to_cents() as f64 / 100.0
}

/// How much of it, in what the rate is for.
fn quantity(quantity: &Quantity) -> Option<f64> {
    match quantity {
        Quantity::Packs { packs, .. } => Some(f64::from(*packs)),
        Quantity::Each { number } => Some(f64::from(*number)),
        Quantity::JackDays { jacks, days } => Some(f64::from(*jacks) * f64::from((*days)?)),
        Quantity::Time { .. } => Some(quantity.person_time()?.to_hours()),
    }
}

fn order(source: &Source<'_>, bill: &Bill, lengths: Lengths) -> Table {
    let words = OrderWords { terms: source.input.terms, units: source.input.units };
    let mut table = Table::new(&ORDER, lengths);
    for line in &bill.lines {
        let number = |number: Option<f64>| number.map_or(Cell::Nothing, Cell::Number);
        table.row([
            Cell::words(words.section(line.item.section())),
            Cell::words(words.item(&line.item)),
            Cell::words(words.quantity(&line.quantity)),
            number(quantity(&line.quantity)),
            Cell::words(words.rate_for(&line.quantity)),
            number(line.rate.as_ref().map(|rate| money(rate.money))),
            Cell::words(words.causes(line)),
        ]);
        as_billed(&mut table, line.amount);
    }
    table
}

fn price(bill: &Bill, lengths: Lengths) -> Table {
    let mut table = Table::new(&PRICE, lengths);
    let Some(price) = &bill.price else { return table };
    let lines = SumOf::Table { sheet: &ORDER, column: "amount" };
    let nothing = || [Cell::Nothing, Cell::Nothing];
    let sum = |amount: Money, of: SumOf| Cell::Sum(money(amount), of);
    let above = |rows| SumOf::RowsAbove { column: "amount", rows };
    let [of, share] = nothing();
    table.row([Cell::words("lines of the order"), of, share, sum(price.subtotal, lines)]);
    for (what, added, rows) in [("margin", &price.margin, 1), ("tax", &price.tax, 2)] {
        table.row([
            Cell::words(what),
            sum(added.of, above(rows)),
            Cell::Number(added.share.to_ratio()),
            Cell::Worked(money(added.amount), Rule::Times("of", "share")),
            Cell::words(added.reason.clone()),
        ]);
        as_billed(&mut table, Some(added.amount));
    }
    let currency = bill.currency.as_ref().map_or("", |currency| currency.as_str());
    let [of, share] = nothing();
    table.row([Cell::words(format!("total, {currency}")), of, share, sum(price.total, above(3))]);
    table
}

/// Where the product of what is printed is not the amount to the cent, the amount stands as a number.
fn as_billed(table: &mut Table, amount: Option<Money>) {
    let Some(column) = table.sheet.position("amount") else { return };
    let billed = amount.map(money);
    let product = table.rows.last().and_then(|row| match row.get(column)? {
        Cell::Worked(_, rule) => table.by_rule(*rule, row),
        _ => None,
    });
    if product == billed {
        return;
    }
    if let Some(cell) = table.rows.last_mut().and_then(|row| row.get_mut(column)) {
        *cell = billed.map_or(Cell::Nothing, Cell::Number);
    }
}
