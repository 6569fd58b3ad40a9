//! The workbook, read back by a library for spreadsheets; its formulas are worked out again here.

use crate::csv_files::Rows;
use crate::jobs::{self, Worked};
use calamine::{Data, Range, Reader, Xlsx};
use floorwright_export::Format;
use std::io::Cursor;

struct Book {
    sheets: Vec<(String, Range<Data>, Range<String>)>,
}

impl Book {
    fn of(worked: &Worked) -> Self {
        let bytes = worked.file(Format::Xlsx, "tables.xlsx");
        let mut book = Xlsx::new(Cursor::new(bytes)).unwrap();
        let names = book.sheet_names();
        let sheets = names
            .into_iter()
            .map(|name| {
                let values = book.worksheet_range(&name).unwrap();
                let formulas = book.worksheet_formula(&name).unwrap();
                (name, values, formulas)
            })
            .collect();
        Self { sheets }
    }

    fn values(&self, sheet: &str) -> &Range<Data> {
        &self.sheets.iter().find(|(name, ..)| name == sheet).unwrap_or_else(|| panic!("{sheet}")).1
    }

    /// The number in a cell such as `C7`; an empty cell is nothing, as in a sum.
    fn number(&self, sheet: &str, cell: &str) -> f64 {
        match self.values(sheet).get_value(place(cell)) {
            Some(Data::Float(number)) => *number,
            Some(Data::Int(number)) => *number as f64,
            None | Some(Data::Empty) => 0.0,
            other => panic!("{sheet} {cell}: {other:?}"),
        }
    }

    /// The value of a formula of one of the kinds `A1-B1`, `ROUND(A1*B1,2)`, `SUM('s'!A1:A9)`.
    fn work_out(&self, sheet: &str, formula: &str) -> f64 {
        if let Some(inside) = formula.strip_prefix("SUM(").and_then(|rest| rest.strip_suffix(')')) {
            let (sheet, range) = match inside.split_once('!') {
                Some((other, range)) => (other.trim_matches('\''), range),
                None => (sheet, inside),
            };
            let (first, last) = range.split_once(':').unwrap();
            let ((from, column), (to, _)) = (place(first), place(last));
            let letter = char::from(b'A' + column as u8);
            return (from..=to)
                .map(|row| self.number(sheet, &format!("{letter}{}", row + 1)))
                .sum();
        }
        if let Some(inside) =
            formula.strip_prefix("ROUND(").and_then(|rest| rest.strip_suffix(",2)"))
        {
            let (first, second) = inside.split_once('*').unwrap();
            let product = self.number(sheet, first) * self.number(sheet, second);
            return (product * 100.0).round() / 100.0;
        }
        let (of, less) = formula.split_once('-').unwrap_or_else(|| panic!("{formula}"));
        self.number(sheet, of) - self.number(sheet, less)
    }
}

/// Row and column from 0.
fn place(cell: &str) -> (u32, u32) {
    let digits = cell.find(|letter: char| letter.is_ascii_digit()).unwrap();
    let (letters, number) = cell.split_at(digits);
    let column = letters.bytes().fold(0, |sum, letter| sum * 26 + u32::from(letter - b'A') + 1);
    (number.parse::<u32>().unwrap() - 1, column - 1)
}

/// A reader that does not calculate sees the values that one that does will see.
#[test]
fn every_formula_gives_the_value_that_stands_beside_it() {
    let mut n_formulas = 0;
    for worked in [jobs::demo(), jobs::half_done(), jobs::nasty_within_an_inch()] {
        let book = Book::of(&worked);
        for (sheet, values, formulas) in &book.sheets {
            let (row_0, column_0) = formulas.start().unwrap_or_default();
            for (row, column, formula) in formulas.used_cells() {
                let at = (row_0 + row as u32, column_0 + column as u32);
                let Some(Data::Float(stands)) = values.get_value(at) else {
                    panic!("{sheet} {at:?}: {formula} without a value")
                };
                let found = book.work_out(sheet, formula);
                assert!(
                    (found - stands).abs() < 1e-6,
                    "{sheet} {at:?} {formula}: {found}, {stands}"
                );
                n_formulas += 1;
            }
        }
    }
    assert!(n_formulas > 500, "{n_formulas}");
}

/// The same tables as CSV, cell by cell; text stays text and numbers are numbers.
#[test]
fn sheets_hold_what_the_tables_hold() {
    let worked = jobs::half_done();
    let book = Book::of(&worked);
    for sheet in ["levels", "supports", "readings", "movements", "progress"] {
        let rows = Rows::of(&worked, sheet);
        let values = book.values(sheet);
        let heads: Vec<String> =
            values.rows().next().unwrap().iter().map(ToString::to_string).collect();
        assert_eq!(values.rows().len(), rows.0.len() + 1, "{sheet}");
        for (cells, row) in values.rows().skip(1).zip(&rows.0) {
            for (head, cell) in heads.iter().zip(cells) {
                let text = &row[head];
                match cell {
                    Data::Empty => assert_eq!(text, "", "{sheet} {head}"),
                    Data::String(words) => assert_eq!(text, words, "{sheet} {head}"),
                    Data::Bool(yes) => assert_eq!(text, if *yes { "yes" } else { "no" }),
                    Data::Float(number) => {
                        let written: f64 = text.parse().unwrap();
                        assert!(
                            (written - number).abs() < 1e-9,
                            "{sheet} {head}: {text}, {number}"
                        );
                    }
                    other => panic!("{sheet} {head}: {other:?}"),
                }
            }
        }
    }
}

#[test]
fn the_last_sheet_says_what_every_column_is() {
    let book = Book::of(&jobs::demo());
    let said = book.values("columns");
    for (name, values, _) in book.sheets.iter().filter(|(name, ..)| name != "columns") {
        for head in values.rows().next().unwrap() {
            let found = said
                .rows()
                .find(|row| row[0].to_string() == *name && row[1].to_string() == head.to_string());
            assert!(found.is_some_and(|row| row[3].to_string().len() > 3), "{name} {head}");
        }
    }
}
