//! Tables as spreadsheets write them: a row of names, then rows of values.
//!
//! Columns may stand in any order and be parted by commas, semicolons or tabs; a byte order mark,
//! either kind of line end, quoted cells, blank lines and lines that begin with `#` are taken as
//! they come. With semicolons, decimals may have a comma.

use crate::document::SourceFile;
use crate::fault::{Fault, nearest_name};
use crate::measure::MeasureError;
use std::collections::{BTreeMap, BTreeSet};

/// The columns that a file of readings may have.
pub const READING_COLUMNS: &[&str] = &[
    "point",
    "x",
    "y",
    "reading",
    "standing",
    "time",
    "setup",
    "kind",
    "inverted",
    "sd",
    "distance",
    "level",
    "benchmark",
    "struck",
    "note",
];

/// The columns that a level book may have.
pub const BOOK_COLUMNS: &[&str] =
    &["point", "bs", "is", "fs", "inverted", "distance", "rise", "fall", "level", "note"];

/// Columns that hold words, in which a comma is a comma.
const WORDS: &[&str] = &["point", "setup", "kind", "inverted", "struck", "note"];

/// Columns of lengths, whose name may end in a unit.
const LENGTHS: &[&str] = &[
    "x",
    "y",
    "reading",
    "standing",
    "sd",
    "distance",
    "level",
    "benchmark",
    "bs",
    "is",
    "fs",
    "rise",
    "fall",
];

/// What the name of a column may end in, and what that puts behind its bare numbers.
const UNITS: &[(&str, &str)] =
    &[("_mm", " mm"), ("_cm", " cm"), ("_m", " m"), ("_in", "\""), ("_ft", "'")];

/// A table that was read.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Table {
    /// Its file.
    pub file: String,
    /// Its columns, by name.
    columns: BTreeMap<&'static str, usize>,
    /// The units of the columns that say theirs, as they are put behind a number.
    units: BTreeMap<&'static str, &'static str>,
    /// Its rows.
    pub rows: Vec<Row>,
    /// The rows of each setup; those that name none are under the empty name.
    by_setup: BTreeMap<String, Vec<usize>>,
}

/// One row of a table.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Row {
    /// The line it begins on, from 1.
    pub line: usize,
    cells: Vec<String>,
}

impl Table {
    /// Whether it has a column of that name.
    pub(crate) fn has(&self, column: &str) -> bool {
        self.columns.contains_key(column)
    }

    /// Whether a reading is struck out.
    pub(crate) fn is_struck(&self, row: &Row) -> bool {
        self.cell(row, "struck").is_some()
    }

    /// The rows to be used: those that are not struck out, and then the struck ones whose point is
    /// named by one that is not, for a place or a level that only they give.
    pub(crate) fn rows_for_points<'a>(&'a self, rows: &[&'a Row]) -> Vec<&'a Row> {
        let kept_points: BTreeSet<&str> = (self.rows.iter())
            .filter(|row| !self.is_struck(row))
            .filter_map(|row| self.cell(row, "point"))
            .collect();
        let is_named =
            |row: &&Row| self.cell(row, "point").is_some_and(|point| kept_points.contains(point));
        let (struck, mut used): (Vec<&Row>, Vec<&Row>) =
            rows.iter().copied().partition(|row| self.is_struck(row));
        used.extend(struck.into_iter().filter(is_named));
        used
    }

    /// Whether a column says that it is in feet or inches.
    pub(crate) fn is_in_feet_and_inches(&self, column: &str) -> bool {
        self.units.get(column).is_some_and(|unit| matches!(*unit, "\"" | "'"))
    }

    /// The rows of one setup; with those that name none, if it is the only one or there is no
    /// column for it.
    pub(crate) fn rows_of_setup(&self, setup: &str, only_one: bool) -> Vec<&Row> {
        let of = |name: &str| self.by_setup.get(name).into_iter().flatten();
        let mut found: Vec<usize> = of(setup).copied().collect();
        if (only_one || !self.has("setup")) && !setup.is_empty() {
            found.extend(of(""));
            found.sort_unstable();
        }
        found.into_iter().map(|row_idx| &self.rows[row_idx]).collect()
    }

    /// A cell, if there is anything in it.
    pub(crate) fn cell<'a>(&self, row: &'a Row, column: &str) -> Option<&'a str> {
        let cell = row.cells.get(*self.columns.get(column)?)?.as_str();
        (!cell.is_empty()).then_some(cell)
    }
}

/// Reads a table with columns of the given names, `needed` among them.
///
/// Rows that cannot be used have their fault and are left out.
pub(crate) fn read_table(
    source: &SourceFile,
    known: &'static [&'static str],
    needed: &[&str],
) -> (Table, Vec<Fault>) {
    let text = source.text.strip_prefix('\u{feff}').unwrap_or(&source.text);
    let separator = separator_of(text);
    let mut reader = ::csv::ReaderBuilder::new()
        .delimiter(separator)
        .has_headers(false)
        .flexible(true)
        .comment(Some(b'#'))
        .trim(::csv::Trim::All)
        .from_reader(text.as_bytes());
    let starts: Vec<usize> =
        std::iter::once(0).chain(text.match_indices('\n').map(|(at, _)| at + 1)).collect();
    let mut faults = Vec::new();
    let mut rows = Vec::new();
    for record in reader.records() {
        match record {
            Ok(record) => {
                let at = record.position().map_or(0, |position| position.byte() as usize);
                let line = line_of_record(text, at, &starts);
                let cells: Vec<String> = record.iter().map(str::to_owned).collect();
                if cells.iter().any(|cell| !cell.is_empty()) {
                    rows.push(Row { line, cells });
                }
            }
            Err(error) => {
                let what = format!("the table cannot be read: {error}");
                let fault = Fault::error(&source.name, "", what);
                faults.push(fault.hint("save it again as comma-separated text"));
                break;
            }
        }
    }
    let mut table = Table { file: source.name.clone(), ..Table::default() };
    let Some((header, body)) = rows.split_first() else {
        faults.push(
            Fault::error(&source.name, "", "the file is empty")
                .at_line(Some(1))
                .hint(format!("begin with a row of names: {}", needed.join(","))),
        );
        return (table, faults);
    };
    if !read_header(&mut table, header, known, needed, &mut faults) {
        return (table, faults);
    }
    table.rows = body.to_vec();
    check_widths(&mut table, header.cells.len(), &mut faults);
    if separator == b';' {
        decimal_commas(&mut table, &mut faults);
    }
    put_units(&mut table);
    let mut by_setup: BTreeMap<String, Vec<usize>> = BTreeMap::new();
    for (row_idx, row) in table.rows.iter().enumerate() {
        let setup = table.cell(row, "setup").unwrap_or_default().to_owned();
        by_setup.entry(setup).or_default().push(row_idx);
    }
    table.by_setup = by_setup;
    (table, faults)
}

/// Text for a cell of a table that a spreadsheet may open: what it would take for a formula begins with
/// an apostrophe (OWASP, *CSV Injection*).
pub fn no_formula(text: &str) -> String {
    let guard = if text.starts_with(['=', '+', '-', '@', '\t', '\r']) { "'" } else { "" };
    format!("{guard}{text}")
}

fn separator_of(text: &str) -> u8 {
    let header = text
        .lines()
        .find(|line| !line.trim().is_empty() && !line.starts_with('#'))
        .unwrap_or_default();
    if header.contains(';') {
        b';'
    } else if header.contains('\t') && !header.contains(',') {
        b'\t'
    } else {
        b','
    }
}

/// The reader counts from where it began to look; blank lines and comments come before the record.
fn line_of_record(text: &str, at: usize, starts: &[usize]) -> usize {
    let mut line = starts.partition_point(|&start| start <= at).max(1);
    let mut rest = text.get(at..).unwrap_or_default();
    while let Some((first, after)) = rest.split_once('\n') {
        if !first.trim_end_matches('\r').is_empty() && !first.starts_with('#') {
            break;
        }
        line += 1;
        rest = after;
    }
    line
}

fn read_header(
    table: &mut Table,
    header: &Row,
    known: &'static [&'static str],
    needed: &[&str],
    faults: &mut Vec<Fault>,
) -> bool {
    let file = table.file.clone();
    let fault = |what: String| Fault::error(&file, "", what).at_line(Some(header.line));
    let names: Vec<String> = header.cells.iter().map(|cell| cell.to_lowercase()).collect();
    if !names.iter().any(|name| known_column(name, known).is_some()) {
        faults.push(
            fault("the row of names is missing".to_owned())
                .value(header.cells.join(" "))
                .hint(format!("begin with a row of names: {}", needed.join(","))),
        );
        return false;
    }
    for (column_idx, name) in names.iter().enumerate() {
        let Some((column, unit)) = known_column(name, known) else {
            let hint = match nearest_name(name, known.iter().copied()) {
                Some(nearest) => format!("did you mean {nearest}?"),
                None => format!("leave it out, or call it note; known: {}", known.join(", ")),
            };
            faults.push(fault(format!("unknown column {}", header.cells[column_idx])).hint(hint));
            continue;
        };
        if table.columns.insert(column, column_idx).is_some() {
            faults.push(
                fault(format!("column {column} is there twice")).hint("leave one of the two out"),
            );
        }
        if let Some(unit) = unit {
            table.units.insert(column, unit);
        }
    }
    for column in needed.iter().filter(|column| !table.columns.contains_key(**column)) {
        faults.push(
            fault(format!("column {column} is missing"))
                .hint(format!("the row of names needs: {}", needed.join(", "))),
        );
    }
    needed.iter().all(|column| table.columns.contains_key(column))
}

/// The column that a name means, and the unit that it says.
fn known_column(
    name: &str,
    known: &'static [&'static str],
) -> Option<(&'static str, Option<&'static str>)> {
    if let Some(column) = known.iter().find(|known| **known == name) {
        return Some((column, None));
    }
    UNITS.iter().find_map(|(ending, unit)| {
        let column = name.strip_suffix(ending)?;
        let column = known.iter().find(|known| **known == column && LENGTHS.contains(known))?;
        Some((*column, Some(*unit)))
    })
}

/// Puts the unit of its column behind each bare number; a cell with a unit of its own keeps it.
fn put_units(table: &mut Table) {
    let columns: Vec<(usize, &str)> = (table.units.iter())
        .filter_map(|(column, unit)| Some((*table.columns.get(column)?, *unit)))
        .collect();
    for row in &mut table.rows {
        for (column_idx, unit) in &columns {
            let cell = &mut row.cells[*column_idx];
            let number = cell.strip_prefix('-').unwrap_or(cell);
            let bare =
                |byte: u8| byte.is_ascii_digit() || matches!(byte, b'.' | b',' | b' ' | b'/');
            if !number.is_empty() && number.bytes().all(bare) {
                cell.push_str(unit);
            }
        }
    }
}

fn check_widths(table: &mut Table, n_columns: usize, faults: &mut Vec<Fault>) {
    let file = table.file.clone();
    table.rows.retain_mut(|row| {
        while row.cells.len() > n_columns && row.cells.last().is_some_and(String::is_empty) {
            row.cells.pop();
        }
        let n_cells = row.cells.len();
        if n_cells == n_columns {
            return true;
        }
        let open_quote = row.cells.iter().any(|cell| cell.contains('\n'));
        let hint = if open_quote {
            "a quote is opened and not closed; write an inch mark within quotes twice"
        } else if n_cells > n_columns {
            "put text with a separator in it in quotes; with decimal commas, part columns with semicolons"
        } else {
            "leave a cell empty rather than out"
        };
        faults.push(
            Fault::error(&file, row.cells.first().cloned().unwrap_or_default(), "the row has another number of cells than the row of names")
                .at_line(Some(row.line))
                .value(n_cells.to_string())
                .limit(n_columns.to_string())
                .hint(hint),
        );
        false
    });
}

/// Turns decimal commas into points, if the file has any.
fn decimal_commas(table: &mut Table, faults: &mut Vec<Fault>) {
    let number_columns: Vec<(&str, usize)> = table
        .columns
        .iter()
        .filter(|(name, _)| !WORDS.contains(name))
        .map(|(name, column_idx)| (*name, *column_idx))
        .collect();
    let has_comma = |row: &Row| number_columns.iter().any(|(_, idx)| row.cells[*idx].contains(','));
    if !table.rows.iter().any(has_comma) {
        return;
    }
    for row in &mut table.rows {
        for (name, column_idx) in &number_columns {
            let cell = &mut row.cells[*column_idx];
            if cell.contains('.') {
                let error = MeasureError::PointAmongCommas;
                faults.push(
                    Fault::error(&table.file, "", format!("{name} cannot be read: {error}"))
                        .at_line(Some(row.line))
                        .value(cell.clone())
                        .hint(error.hint()),
                );
                cell.clear();
            } else if cell.matches(',').count() == 1 {
                *cell = cell.replace(',', ".");
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> (Table, Vec<String>) {
        let source = SourceFile::new("readings.csv", text);
        let (table, faults) = read_table(&source, READING_COLUMNS, &["point", "reading"]);
        (table, faults.iter().map(|fault| format!("{fault:#}")).collect())
    }

    fn check(text: &str, expected: &[(usize, &str, &str)]) {
        let (table, faults) = read(text);
        assert!(faults.is_empty(), "{text}: {faults:?}");
        let found: Vec<_> = table
            .rows
            .iter()
            .map(|row| {
                let cell = |column| table.cell(row, column).unwrap_or_default();
                (row.line, cell("point"), cell("reading"))
            })
            .collect();
        assert_eq!(found, expected, "{text}");
    }

    fn check_fault(text: &str, expected: &str) {
        let (_, faults) = read(text);
        assert_eq!(faults.join("\n"), expected, "{text}");
    }

    #[test]
    fn however_the_spreadsheet_writes_it() {
        check("point,reading\nA1,1612\nA2,1613\n", &[(2, "A1", "1612"), (3, "A2", "1613")]);
        check("reading;point\r\n1612;A1\r\n", &[(2, "A1", "1612")]);
        check("\u{feff}point\treading\nA1\t1612", &[(2, "A1", "1612")]);
        check("Point , Reading\n\"A, 1\", 5' 3 7/16\"\n", &[(2, "A, 1", "5' 3 7/16\"")]);
        check(
            "# mine\n\npoint,reading\n\n# here\nA1,1\n\n\nA2,2\n",
            &[(6, "A1", "1"), (9, "A2", "2")],
        );
        check("point;reading\nA1;1,379\nA2;2\n", &[(2, "A1", "1.379"), (3, "A2", "2")]);
        check("point;reading\nA1;1.379\n", &[(2, "A1", "1.379")]);
        check("point,reading\nA1,1,,\n,\n", &[(2, "A1", "1")]);
        check(
            "point,reading,note\nA1,1,\"two\nlines\"\nA2,2,\n",
            &[(2, "A1", "1"), (4, "A2", "2")],
        );
        check("point,reading\n\"A1\",\"63 7/16\"\"\"\n", &[(2, "A1", "63 7/16\"")]);
    }

    #[test]
    fn a_column_that_says_its_unit() {
        check(
            "point,reading_m\nA1,1.612\nA2,1613 mm\n",
            &[(2, "A1", "1.612 m"), (3, "A2", "1613 mm")],
        );
        check("point;Reading_M\nA1;1,612\nA2;\n", &[(2, "A1", "1.612 m"), (3, "A2", "")]);
        check("point,reading_in\nA1,63 7/16\n", &[(2, "A1", "63 7/16\"")]);
        check("point,reading_ft\nA1,5.25\nA2,x\n", &[(2, "A1", "5.25'"), (3, "A2", "x")]);
        check_fault(
            "point,reading,reading_m\nA1,1,2\n",
            "readings.csv:1: column reading is there twice\n  hint: leave one of the two out",
        );
        check_fault(
            "point,reading,time_m\nA1,1,2\n",
            "readings.csv:1: unknown column time_m\n  hint: did you mean time?",
        );
    }

    #[test]
    fn what_is_wrong_with_a_table() {
        check_fault(
            "",
            "readings.csv:1: the file is empty\n  hint: begin with a row of names: point,reading",
        );
        check_fault(
            "# nothing\n\n",
            "readings.csv:1: the file is empty\n  hint: begin with a row of names: point,reading",
        );
        check_fault(
            "A1,1612\n",
            "readings.csv:1: the row of names is missing: A1 1612\n  hint: begin with a row of names: point,reading",
        );
        check_fault(
            "point,reading,reading\nA1,1,2\n",
            "readings.csv:1: column reading is there twice\n  hint: leave one of the two out",
        );
        check_fault(
            "point,raeding\nA1,1\n",
            "readings.csv:1: unknown column raeding\n  hint: did you mean reading?\n\
             readings.csv:1: column reading is missing\n  hint: the row of names needs: point, reading",
        );
        check_fault(
            "point,reading\nA1,1,379\nA2\n",
            "readings.csv:2: A1: the row has another number of cells than the row of names: 3, must be 2\n  hint: put text with a separator in it in quotes; with decimal commas, part columns with semicolons\n\
             readings.csv:3: A2: the row has another number of cells than the row of names: 1, must be 2\n  hint: leave a cell empty rather than out",
        );
        check_fault(
            "point;reading\nA1;1,379\nA2;1.380\n",
            "readings.csv:3: reading cannot be read: a decimal point in a file with decimal commas: 1.380\n  hint: use commas or points for the decimals of one file, not both",
        );
    }
}
