//! CSV, read back by a library for it.

use crate::jobs::{self, Worked};
use floorwright_engine::plan::Stage;
use floorwright_engine::target::Outcome;
use floorwright_export::Format;
use std::collections::BTreeMap;

/// Rows by their first columns, each as column and text.
pub struct Rows(pub Vec<BTreeMap<String, String>>);

impl Rows {
    pub fn of(worked: &Worked, name: &str) -> Self {
        let bytes = worked.file(Format::Csv, &format!("{name}.csv"));
        let text = String::from_utf8(bytes).unwrap();
        let text = text.strip_prefix('\u{feff}').expect("a byte order mark");
        let mut reader = csv::Reader::from_reader(text.as_bytes());
        Self(reader.deserialize().map(Result::unwrap).collect())
    }

    pub fn row(&self, column: &str, value: &str) -> &BTreeMap<String, String> {
        let mut found = self.0.iter().filter(|row| row[column] == value);
        let row = found.next().unwrap_or_else(|| panic!("no {column} {value}"));
        assert!(found.next().is_none(), "{column} {value} twice");
        row
    }
}

pub fn number(row: &BTreeMap<String, String>, column: &str) -> Option<f64> {
    let text = row.get(column).unwrap_or_else(|| panic!("no column {column} in {row:?}"));
    (!text.is_empty()).then(|| text.parse().unwrap_or_else(|_| panic!("{column}: {text}")))
}

/// Within half of the last decimal that is written.
pub fn same(found: Option<f64>, wanted: Option<f64>, half: f64, what: &str) {
    match (found, wanted) {
        (Some(found), Some(wanted)) => {
            assert!((found - wanted).abs() <= half * 1.001, "{what}: {found}, {wanted}");
        }
        (None, None) => {}
        _ => panic!("{what}: {found:?}, {wanted:?}"),
    }
}

#[test]
fn levels_are_the_engine_s() {
    for (worked, unit, per_mm, half) in
        [(jobs::demo(), "mm", 1.0, 5e-4), (jobs::nasty(), "in", 1.0 / 25.4, 5e-6)]
    {
        let rows = Rows::of(&worked, "levels");
        let levels = &worked.plan.reduction.levels;
        assert_eq!(rows.0.len(), levels.points().len());
        let mut n_held = 0;
        for (idx, level) in levels.points().iter().enumerate() {
            let row = rows.row("point", level.point.as_str());
            let column = |name: &str| number(row, &format!("{name}_{unit}"));
            let what = format!("{} in {unit}", level.point);
            same(column("level"), Some(level.level.to_mm() * per_mm), half, &what);
            let twice = 2.0 * levels.sd(idx).to_mm() * per_mm;
            same(column("plus_minus"), Some(twice), half, &what);
            n_held += usize::from(column("plus_minus") == Some(0.0));
            let at = worked.job.site.point(&level.point).and_then(|point| point.at);
            same(column("x"), at.map(|at| at.x.to_mm() * per_mm), half, &what);
            same(column("y"), at.map(|at| at.y.to_mm() * per_mm), half, &what);
        }
        assert_eq!(n_held, levels.points().iter().filter(|level| level.held).count());
    }
}

#[test]
fn a_reading_and_its_residual_make_what_it_should_have_been() {
    for worked in [jobs::demo(), jobs::nasty(), jobs::half_done()] {
        let rows = Rows::of(&worked, "readings");
        let unit = if rows.0[0].contains_key("reading_mm") { "mm" } else { "in" };
        let n_used =
            worked.job.survey.setups.iter().map(|setup| setup.readings.len()).sum::<usize>();
        let again = &worked.input.done.again;
        let n_again = again.iter().flat_map(|again| &again.setups);
        let n_again: usize = n_again.map(|setup| setup.readings.len()).sum();
        assert_eq!(rows.0.len(), n_used + n_again + worked.input.struck.len());
        let last = again.last().map_or(0, |again| again.after_pass).to_string();
        let mut n_struck = 0;
        for row in &rows.0 {
            let column = |name: &str| number(row, &format!("{name}_{unit}"));
            let after_pass = row["after_pass"].as_str();
            if row["struck"].is_empty() && after_pass != "0" && after_pass != last {
                // A survey between the first and the last stands in no plan of its own.
                assert_eq!(column("adjusted"), None);
            } else if row["struck"].is_empty() {
                let sum = column("reading").unwrap() + column("residual").unwrap();
                same(column("adjusted"), Some(sum), 1e-9, &row["point"]);
            } else {
                n_struck += 1;
                assert_eq!(column("adjusted"), None);
            }
        }
        assert_eq!(n_struck, worked.input.struck.len());
    }
}

#[test]
fn lifts_packers_and_loads_are_the_engine_s() {
    let worked = jobs::demo();
    let rows = Rows::of(&worked, "supports");
    let plan = &worked.plan;
    let Outcome::Reached(reached) = &plan.lifting.done().unwrap().outcome else {
        panic!("no lifts")
    };
    let (packing, frame) = (plan.packing.done().unwrap(), plan.frame.done().unwrap());
    assert_eq!(rows.0.len(), worked.job.site.supports().len());
    for (idx, support) in worked.job.site.supports().iter().enumerate() {
        let row = rows.row("support", support.id.as_str());
        let what = support.id.as_str();
        let lift = reached.outcome.lifts[idx].lift.to_mm();
        same(number(row, "lift_mm"), Some(lift), 5e-4, what);
        same(number(row, "gives_mm"), Some(packing.lifts[idx].to_mm()), 5e-4, what);
        let range = frame.today.supports[idx].range;
        same(number(row, "today_least_kn"), Some(range.least.to_kn()), 5e-4, what);
        same(number(row, "today_most_kn"), Some(range.most.to_kn()), 5e-4, what);
        // The pieces that are named are as thick as is said.
        if !row["packers"].is_empty() {
            let pieces: f64 =
                row["packers"].split('+').map(|piece| piece.parse::<f64>().unwrap()).sum();
            same(number(row, "packing_mm"), Some(pieces), 1e-9, what);
        }
    }
}

/// Adding up what the moves do to a support gives the lift of its packers.
#[test]
fn the_moves_of_a_support_add_up_to_its_lift() {
    let worked = jobs::demo();
    let moves = Rows::of(&worked, "moves");
    let mut sums: BTreeMap<&str, f64> = BTreeMap::new();
    for row in &moves.0 {
        *sums.entry(&row["support"]).or_default() += number(row, "rise_mm").unwrap();
    }
    let supports = Rows::of(&worked, "supports");
    for row in &supports.0 {
        let sum = sums.get(row["support"].as_str()).copied().unwrap_or(0.0);
        same(number(row, "gives_mm"), Some(sum), 1e-6, &row["support"]);
    }
    assert!(sums.len() > 10);
}

#[test]
fn the_order_adds_up_to_the_price() {
    let worked = jobs::demo();
    let Stage::Done(bill) = &worked.bill else { panic!("no order") };
    let order = Rows::of(&worked, "order");
    assert_eq!(order.0.len(), bill.lines.len());
    let cents = |amount: f64| (amount * 100.0).round() as i64;
    let sum: i64 = order.0.iter().map(|row| cents(number(row, "amount").unwrap())).sum();
    let price = bill.price.as_ref().unwrap();
    assert_eq!(sum, price.subtotal.to_cents());
    let rows = Rows::of(&worked, "price");
    let total = rows.0.last().unwrap();
    assert_eq!(cents(number(total, "amount").unwrap()), price.total.to_cents());
}

#[test]
fn what_was_done_is_the_record_s() {
    let worked = jobs::half_done();
    let Stage::Done(record) = &worked.record else { panic!("no record") };
    let rows = Rows::of(&worked, "movements");
    assert_eq!(rows.0.len(), record.steps.iter().map(|step| step.supports.len()).sum::<usize>());
    let mut n_measured = 0;
    for (row, moved) in rows.0.iter().zip(record.steps.iter().flat_map(|step| &step.supports)) {
        assert_eq!(row["support"], moved.support.as_str());
        let found = moved.difference.as_ref();
        let measured = found.map(|found| found.measured.to_mm());
        same(number(row, "measured_mm"), measured, 5e-4, &row["support"]);
        let difference = found.map(|found| (found.measured - found.predicted).to_mm());
        same(number(row, "difference_mm"), difference, 1.1e-3, &row["support"]);
        n_measured += usize::from(found.is_some());
    }
    assert!(n_measured > 10);
    let progress = Rows::of(&worked, "progress");
    let sunk = progress.row("support", "C4");
    assert_eq!(number(sunk, "fell_behind_in_pass"), Some(2.0), "{sunk:?}");
}
