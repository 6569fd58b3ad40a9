//! What the crew is told to expect after a pass, and what it is not given as work.

use super::content;
use crate::block::{Block, NO_TICK, Table};
use crate::paper::{Content, Paper};
use crate::typeset::{Files, PaperError};
use floorwright_engine::bill::bill;
use floorwright_engine::plan::plan;
use floorwright_engine::record::record_if_begun;
use floorwright_job::{CsvMeaning, Loaded, SourceFile, from_csv, load, ready};

const DEMO: &str = include_str!("../../../cli/demo/house.toml");
const HALL: &str = include_str!("../../../cli/demo/hall-read-again.csv");
const WING: &str = include_str!("../../../cli/demo/wing.csv");
const HALF_DONE: &str = include_str!("../../../../examples/half-done/job.toml");
const BEFORE: &str = include_str!("../../../../examples/half-done/before.csv");
const AFTER_1: &str = include_str!("../../../../examples/half-done/after-1.csv");
const AFTER_2: &str = include_str!("../../../../examples/half-done/after-2.csv");

fn file(name: &str) -> Result<String, String> {
    let text = match name {
        "hall.csv" => HALL,
        // As it is read again where the program asks for it.
        "wing.csv" => return Ok(WING.replace("I2,1054", "I2,1044")),
        "before.csv" => BEFORE,
        "after-1.csv" => AFTER_1,
        "after-2.csv" => AFTER_2,
        other => return Err(format!("no file {other}")),
    };
    Ok(text.to_owned())
}

fn sheet(loaded: Loaded) -> Result<Content, PaperError> {
    let input = loaded.job.expect("it has no fault");
    let job = ready(&input, "job.toml").expect("it has no fault");
    let plan = plan(&job);
    let bill = bill(&job, &plan, &input.rates);
    let record = record_if_begun(&job, &plan, &input.done);
    content(&Paper {
        input: &input,
        job: &job,
        plan: &plan,
        warnings: &[],
        bill: &bill,
        record: &record,
        business: None,
        logo: None,
        date: None,
        revision: "",
        template: &Files::new(),
    })
}

fn job(toml: &str) -> Loaded {
    load(&SourceFile::new("job.toml", toml.to_owned()), &mut |name| file(name))
}

fn tables<'a>(content: &'a Content, title: &str) -> Vec<&'a Table> {
    let table = |block: &'a Block| match block {
        Block::Table(table) if table.title.starts_with(title) => Some(table),
        _ => None,
    };
    content.blocks.iter().filter_map(table).collect()
}

/// What a point moves in a pass, the ± of that, and whether a dead lift would not show.
fn expected(row: &[String]) -> (f64, f64, bool) {
    let number = |cell: &str| cell.parse::<f64>().expect("a number");
    (number(&row[2]), number(&row[3]), row[7] == "too little to tell")
}

#[test]
fn the_plus_minus_is_that_of_one_movement_however_late_the_pass() {
    let content = sheet(job(DEMO)).unwrap();
    let passes = tables(&content, "Read again after pass ");
    assert!(passes.len() >= 8, "{} passes", passes.len());
    let of = |pass: usize| {
        let row = passes[pass - 1].rows.iter().find(|row| row[0] == "A6").expect("A6 is read");
        expected(row)
    };
    let (first, late) = (of(1), of(5));
    assert!(late.1 <= first.1 + 0.2, "{late:?} after {first:?}");
}

#[test]
fn a_dead_lift_of_the_demos_sizes_is_called_out_and_one_that_would_not_be_is_said() {
    let content = sheet(job(DEMO)).unwrap();
    let rows = tables(&content, "Read again after pass ").into_iter().flat_map(|it| &it.rows);
    let (mut n_called_out, mut n_said) = (0, 0);
    for row in rows {
        let (moves, plus_minus, is_said) = expected(row);
        // Both are rounded to a tenth on paper.
        if moves >= 4.0 {
            assert!(moves > plus_minus && !is_said, "{row:?}");
            n_called_out += 1;
        } else if moves.abs() < plus_minus - 0.1 {
            assert!(is_said, "{row:?}");
            n_said += 1;
        }
    }
    assert!(n_called_out > 20 && n_said > 20, "{n_called_out} and {n_said}");
}

#[test]
fn nothing_that_counts_on_a_support_where_nobody_lifts_is_given_as_work() {
    let content = sheet(job(HALF_DONE)).unwrap();
    // Its first move jacks C4, whose floor did not follow.
    let moves: Vec<&Table> =
        tables(&content, "").into_iter().filter(|it| it.columns[1].head == "Move").collect();
    assert!(!moves.is_empty());
    for row in moves.iter().flat_map(|it| &it.rows) {
        assert_eq!(row[0], NO_TICK, "{row:?}");
    }
    assert!(tables(&content, "Read again after pass ").is_empty());
    assert!(content.sheets.iter().all(|sheet| sheet.stop.starts_with("NO WORK YET")));
    let Block::Framed { title, items, stop } = &content.blocks[0] else {
        panic!("{:?}", content.blocks[0])
    };
    assert_eq!((title.as_str(), *stop), ("What is no work yet", true));
    assert!(items[0].starts_with("Nothing from pass 3 on is work yet"), "{items:?}");
    assert!(items[1].starts_with("C4 STOP!"), "{items:?}");
}

#[test]
fn there_is_no_sheet_where_what_levels_are_counted_from_is_lifted() {
    let csv = "point,x,y,reading\nA1,0,0,1412\nA2,1800,0,1420\nB1,0,1800,1409\nB2,1800,1800,1431\n";
    let check = |reading: &str, is_refused: bool| {
        let source = SourceFile::new("floor.csv", csv.replace("1412", reading));
        let sheet = sheet(from_csv(&source, CsvMeaning::default()));
        match sheet {
            Err(PaperError::Nothing { what, .. }) if is_refused => {
                assert!(what.contains("counted from A1, which moves with the house"), "{what}");
                assert!(what.contains("make it a [[benchmark]]"), "{what}");
            }
            other => assert_eq!(other.is_err(), is_refused, "{other:?}"),
        }
    };
    check("1412", true);
    // The highest point stays where it is.
    check("1405", false);
}
