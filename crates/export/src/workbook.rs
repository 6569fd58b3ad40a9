//! Tables as a workbook: a sheet for each, numbers as numbers, formulas for what follows from them.

use crate::table::{Cell, Column, Holds, Lengths, Rule, SumOf, Table};
use crate::{ExportError, File, Source};
use floorwright_draw::PROGRAM;
use rust_xlsxwriter::utility::row_col_to_cell;
use rust_xlsxwriter::{
    DocProperties, ExcelDateTime, Format, FormatAlign, Formula, Workbook, Worksheet, XlsxError,
};

/// Height of a line of words, in points, as spreadsheets have it for their usual letters.
const LINE: f64 = 15.0;

/// No row is higher than so many lines: more than a spreadsheet takes, 409 points.
const MOST_LINES: usize = 27;

/// Rows of a sheet, its head included (ISO/IEC 29500 as spreadsheets hold it).
pub(crate) const MOST_ROWS: usize = 1_048_576;
/// A cell holds no more letters than this.
const MOST_LETTERS: usize = 32_767;
/// Columns are as wide as their longest cell, in letters, between these.
const WIDTHS: (usize, usize) = (8, 60);

pub(crate) fn file(source: &Source<'_>, tables: &[Table]) -> Result<File, ExportError> {
    if let Some(table) = tables.iter().find(|table| table.rows.len() >= MOST_ROWS) {
        return Err(ExportError::TooManyRows { table: table.sheet.name, rows: table.rows.len() });
    }
    let mut workbook = Workbook::new();
    let properties = DocProperties::new()
        .set_title(&source.input.name)
        .set_author(PROGRAM)
        .set_comment(format!("Data SHA-256 {}", source.data_sha256))
        .set_creation_datetime(&made_on(source)?);
    workbook.set_properties(&properties);
    for table in tables {
        write(workbook.add_worksheet(), table, tables)?;
    }
    columns(workbook.add_worksheet(), tables)?;
    let bytes = workbook.save_to_buffer()?;
    let about =
        "All tables, a sheet each, with formulas for what follows from other cells.".to_owned();
    Ok(File { name: "tables.xlsx".to_owned(), about, bytes })
}

/// The day of the survey: the same job gives the same bytes on any day.
fn made_on(source: &Source<'_>) -> Result<ExcelDateTime, XlsxError> {
    let day = source.input.date.as_deref().unwrap_or_default();
    ExcelDateTime::parse_from_str(day).or_else(|_| ExcelDateTime::from_ymd(2000, 1, 1))
}

fn write(sheet: &mut Worksheet, table: &Table, tables: &[Table]) -> Result<(), ExportError> {
    sheet.set_name(table.sheet.name)?;
    let (columns, lengths) = (table.sheet.columns, table.lengths);
    let keys: Vec<String> = columns.iter().map(|column| column.key(lengths)).collect();
    head(sheet, keys.iter().map(String::as_str))?;
    let looks: Vec<Format> = columns.iter().map(|column| look(column, lengths)).collect();
    let mut widths: Vec<usize> = keys.iter().map(|key| key.chars().count()).collect();
    for (row, cells) in (1..).zip(&table.rows) {
        for ((column, cell), (look, width)) in (0..).zip(cells).zip(looks.iter().zip(&mut widths)) {
            match cell {
                Cell::Nothing => {}
                Cell::Words(words) => {
                    let words: String = words.chars().take(MOST_LETTERS).collect();
                    *width = (*width).max(words.chars().count());
                    sheet.write_string_with_format(row, column, words, look)?;
                }
                Cell::YesNo(yes) => {
                    sheet.write_boolean_with_format(row, column, *yes, look)?;
                }
                Cell::Number(number) => {
                    sheet.write_number_with_format(row, column, *number, look)?;
                }
                Cell::Worked(value, rule) => {
                    let text = by_rule(table, *rule, row).unwrap_or_default();
                    formula(sheet, (row, column), text, *value, look)?;
                }
                Cell::Sum(value, of) => {
                    formula(sheet, (row, column), sum(table, tables, *of), *value, look)?;
                }
            }
        }
    }
    widths.iter_mut().for_each(|width| *width = (*width).clamp(WIDTHS.0, WIDTHS.1));
    for (row, cells) in (1..).zip(&table.rows) {
        let lines = cells.iter().zip(&widths).map(|(cell, width)| lines_of(cell, *width));
        let lines = lines.max().unwrap_or(1);
        // Not every program makes room by itself for words that wrap.
        if lines > 1 {
            sheet.set_row_height(row, LINE * lines as f64)?;
        }
    }
    for (column, width) in (0..).zip(widths) {
        // A little more than the letters, for the arrow of the filter.
        sheet.set_column_width(column, (width + 3) as f64)?;
    }
    for_paper(sheet)?;
    if let (Ok(last_row), Ok(n_columns)) =
        (u32::try_from(table.rows.len()), u16::try_from(columns.len()))
    {
        sheet.autofilter(0, 0, last_row, n_columns.saturating_sub(1))?;
    }
    Ok(())
}

/// Lines that a cell takes in a column of so many letters, were every line broken early.
fn lines_of(cell: &Cell, width: usize) -> usize {
    let Cell::Words(words) = cell else { return 1 };
    let letters = words.chars().take(MOST_LETTERS).count();
    if letters <= width { 1 } else { (letters * 10).div_ceil(width * 9).min(MOST_LINES) }
}

/// Printed, a sheet is as wide as the paper, and its head stands on every page.
fn for_paper(sheet: &mut Worksheet) -> Result<(), XlsxError> {
    sheet.set_landscape().set_print_fit_to_pages(1, 0).set_repeat_rows(0, 0)?;
    Ok(())
}

fn head<'a>(sheet: &mut Worksheet, keys: impl Iterator<Item = &'a str>) -> Result<(), XlsxError> {
    let bold = Format::new().set_bold();
    for (column, key) in (0..).zip(keys) {
        sheet.write_string_with_format(0, column, key, &bold)?;
    }
    sheet.set_freeze_panes(1, 0)?;
    Ok(())
}

/// How a column is shown; the number itself keeps all of its decimals.
fn look(column: &Column, lengths: Lengths) -> Format {
    let decimals = |n: usize| Format::new().set_num_format(format!("0.{}", "0".repeat(n)));
    let look = match column.holds {
        Holds::Words => Format::new().set_text_wrap(),
        Holds::YesNo | Holds::Number => Format::new(),
        Holds::Length => decimals(lengths.shown()),
        Holds::Force | Holds::Minutes => decimals(1),
        Holds::Money => decimals(2),
        Holds::Count => Format::new().set_num_format("0"),
    };
    look.set_align(FormatAlign::Top)
}

/// A formula with its value, for readers that do not calculate; text that is empty is the value alone.
fn formula(
    sheet: &mut Worksheet,
    (row, column): (u32, u16),
    text: String,
    value: f64,
    look: &Format,
) -> Result<(), XlsxError> {
    if text.is_empty() {
        sheet.write_number_with_format(row, column, value, look)?;
    } else {
        let formula = Formula::new(text).set_result(value.to_string());
        sheet.write_formula_with_format(row, column, formula, look)?;
    }
    Ok(())
}

fn position(table: &Table, column: &str) -> Option<u16> {
    u16::try_from(table.sheet.position(column)?).ok()
}

fn by_rule(table: &Table, rule: Rule, row: u32) -> Option<String> {
    let cell = |column: &str| Some(row_col_to_cell(row, position(table, column)?));
    match rule {
        Rule::Less(of, less) => Some(format!("{}-{}", cell(of)?, cell(less)?)),
        Rule::Times(of, times) => Some(format!("ROUND({}*{},2)", cell(of)?, cell(times)?)),
    }
}

/// The formula of a sum; empty if what is summed up is not in the workbook.
fn sum(table: &Table, tables: &[Table], of: SumOf) -> String {
    let range = |of: &Table, column: &str, rows: usize| {
        let column = position(of, column)?;
        let last = u32::try_from(rows).ok()?;
        Some(format!("{}:{}", row_col_to_cell(1, column), row_col_to_cell(last, column)))
    };
    let found = match of {
        SumOf::RowsAbove { column, rows } => range(table, column, rows),
        SumOf::Table { sheet, column } => {
            let other = tables.iter().find(|other| other.sheet == sheet);
            other.and_then(|other| {
                Some(format!("'{}'!{}", sheet.name, range(other, column, other.rows.len())?))
            })
        }
    };
    found.map_or(String::new(), |range| format!("SUM({range})"))
}

/// What every column is.
fn columns(sheet: &mut Worksheet, tables: &[Table]) -> Result<(), XlsxError> {
    sheet.set_name("columns")?;
    head(sheet, ["table", "column", "unit", "what it is"].into_iter())?;
    let all = tables.iter().flat_map(|table| {
        table.sheet.columns.iter().map(move |column| (table.sheet.name, table.lengths, column))
    });
    for (row, (name, lengths, column)) in (1..).zip(all) {
        sheet.write_string(row, 0, name)?;
        sheet.write_string(row, 1, column.key(lengths))?;
        sheet.write_string(row, 2, column.unit(lengths).replace("kn", "kN"))?;
        sheet.write_string(row, 3, column.about)?;
    }
    for (column, width) in [(0, 14.0), (1, 24.0), (2, 8.0), (3, 80.0)] {
        sheet.set_column_width(column, width)?;
    }
    for_paper(sheet)
}
