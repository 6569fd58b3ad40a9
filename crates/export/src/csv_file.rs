//! Tables as comma-separated values.

use crate::table::{Cell, Table};
use crate::{ExportError, File};
use csv::{QuoteStyle, Terminator, WriterBuilder};
use floorwright_job::csv::no_formula;

/// A spreadsheet takes a file that begins with it for UTF-8.
const BYTE_ORDER_MARK: &[u8] = "\u{feff}".as_bytes();

pub(crate) fn files(tables: &[Table]) -> Result<Vec<File>, ExportError> {
    tables.iter().map(file).collect()
}

fn file(table: &Table) -> Result<File, ExportError> {
    let mut builder = WriterBuilder::new();
    builder.quote_style(QuoteStyle::Necessary).terminator(Terminator::CRLF);
    let mut writer = builder.from_writer(BYTE_ORDER_MARK.to_vec());
    writer.write_record(table.sheet.columns.iter().map(|column| column.key(table.lengths)))?;
    for row in &table.rows {
        writer.write_record(row.iter().map(text))?;
    }
    let bytes = writer.into_inner().map_err(|error| csv::Error::from(error.into_error()))?;
    let name = format!("{}.csv", table.sheet.name);
    Ok(File { name, about: table.sheet.about.to_owned(), bytes })
}

fn text(cell: &Cell) -> String {
    match cell {
        Cell::Nothing => String::new(),
        Cell::Words(words) => no_formula(words),
        Cell::Number(number) | Cell::Worked(number, _) | Cell::Sum(number, _) => number.to_string(),
        Cell::YesNo(true) => "yes".to_owned(),
        Cell::YesNo(false) => "no".to_owned(),
    }
}
