//! Level books.

use super::readings::row_spot;
use super::slips::BareReadings;
use super::{Checker, Spot, called};
use crate::csv::{BOOK_COLUMNS, Table};
use crate::form_v1::{BookForm, BookRowForm, Quantity, RowsForm};
use crate::input::NamedBook;
use crate::limits::{self, Range};
use floorwright_engine::ids::PointId;
use floorwright_engine::site::PointKind;
use floorwright_engine::survey::{Benchmark, BookRow, LevelBook, Sight, SourcePlace, Written};
use floorwright_engine::units::ExactLength;

const SIGHT: Range = Range {
    name: "sight",
    low: 0.0,
    high: limits::STAFF_LENGTH.to_mm(),
    unit: "mm",
    why: "a sight lies on the staff, from its foot to its end; an upside-down staff is inverted = true; check the unit",
};

impl Checker<'_> {
    pub(super) fn books(&mut self, benchmarks: &[Benchmark]) -> Vec<NamedBook> {
        let form = self.form;
        let mut books: Vec<NamedBook> = Vec::new();
        for (idx, book) in form.book.iter().enumerate() {
            let spot = self.spot(format!("book.{idx}"), called("book", &book.id, idx));
            self.check_name(&spot, "id", &book.id);
            if books.iter().any(|known| known.id == book.id) {
                self.given_twice(&spot, "id", "book", &book.id, None);
                continue;
            }
            let checked = self.book(&spot, book, benchmarks);
            books.push(checked);
        }
        books
    }

    fn book(&mut self, spot: &Spot, form: &BookForm, benchmarks: &[Benchmark]) -> NamedBook {
        let typed = self.typed_rows(spot, form);
        let unit = self.units;
        let known_close = form
            .known_close
            .as_ref()
            .and_then(|level| self.exact_length(spot, "known_close", level, unit, &limits::LEVEL));
        let last = typed.len().saturating_sub(1);
        let mut rows = Vec::new();
        let mut bare = BareReadings::new(spot);
        for (row_idx, (row_spot, row)) in typed.iter().enumerate() {
            let kind = if (row_idx == 0 && form.start.is_some())
                || (row_idx == last && form.known_close.is_some())
            {
                Some(PointKind::Benchmark)
            } else if row.bs.is_some() && row.fs.is_some() {
                Some(PointKind::ChangePoint)
            } else {
                None
            };
            if let Some(kind) = kind {
                self.add_unplaced(row_spot, &row.point, kind);
            }
            rows.extend(self.book_row(row_spot, row, &mut bare));
        }
        self.bare_readings.push(bare);
        if typed.is_empty() {
            self.missing(
                spot,
                "",
                "it has no rows",
                "write rows = \"book.csv\", or the rows themselves",
            );
        }
        let first = rows.first().map(|row| row.point.clone());
        let start = self.book_start(spot, form, first.as_ref(), benchmarks);
        NamedBook { id: form.id.clone(), book: LevelBook { start, known_close, rows } }
    }

    fn book_start(
        &mut self,
        spot: &Spot,
        form: &BookForm,
        first: Option<&PointId>,
        benchmarks: &[Benchmark],
    ) -> ExactLength {
        if let Some(start) = &form.start {
            let unit = self.units;
            return self
                .exact_length(spot, "start", start, unit, &limits::LEVEL)
                .unwrap_or_default();
        }
        let benchmark =
            first.and_then(|first| benchmarks.iter().find(|known| known.point == *first));
        match benchmark.and_then(|known| ExactLength::from_mm(known.level.to_mm())) {
            Some(level) => level,
            None => {
                if let Some(first) = first {
                    self.assume(format!("level book {} starts at zero on {first}", form.id));
                }
                ExactLength::ZERO
            }
        }
    }

    fn typed_rows(&mut self, spot: &Spot, form: &BookForm) -> Vec<(Spot, BookRowForm)> {
        match &form.rows {
            None => Vec::new(),
            Some(RowsForm::Rows(rows)) => {
                let at_row = |(row_idx, row): (usize, &BookRowForm)| {
                    let row_spot = Spot {
                        path: format!("{}.rows.{row_idx}", spot.path),
                        place: format!("{}, row {}", spot.place, row_idx + 1),
                        ..spot.clone()
                    };
                    (row_spot, row.clone())
                };
                rows.iter().enumerate().map(at_row).collect()
            }
            Some(RowsForm::File(file)) => {
                match self.table(spot, "rows", file, BOOK_COLUMNS, &["point", "bs", "fs"]) {
                    Some(table) => self.rows_of_book(spot, &table),
                    None => Vec::new(),
                }
            }
        }
    }

    fn rows_of_book(&mut self, spot: &Spot, table: &Table) -> Vec<(Spot, BookRowForm)> {
        let mut typed = Vec::new();
        for (row_idx, row) in table.rows.iter().enumerate() {
            let cell = |column: &str| table.cell(row, column);
            let quantity = |column: &str| cell(column).map(Quantity::from);
            let row_spot =
                row_spot(table, row.line, format!("{}, row {}", spot.place, row_idx + 1));
            let inverted = self.yes_or_no(&row_spot, cell("inverted"));
            let form = BookRowForm {
                point: cell("point").unwrap_or_default().to_owned(),
                bs: quantity("bs"),
                is: quantity("is"),
                fs: quantity("fs"),
                inverted,
                distance: quantity("distance"),
                rise: quantity("rise"),
                fall: quantity("fall"),
                level: quantity("level"),
                note: cell("note").map(str::to_owned),
            };
            typed.push((row_spot, form));
        }
        typed
    }

    fn book_row(
        &mut self,
        spot: &Spot,
        form: &BookRowForm,
        bare: &mut BareReadings,
    ) -> Option<BookRow> {
        let known = self.know_point(spot, "point", &form.point);
        let reading_unit = self.reading_units;
        let unit = self.units;
        let mut sight = |key, typed: &Option<Quantity>| {
            let typed = typed.as_ref()?;
            let value = self.exact_length(spot, key, typed, reading_unit, &SIGHT)?;
            bare.note(typed, value);
            Some(Sight { value, inverted: form.inverted, distance: None })
        };
        let back = sight("bs", &form.bs);
        let intermediate = sight("is", &form.is);
        let fore = sight("fs", &form.fs);
        let mut written = |key, typed: &Option<Quantity>, range| {
            typed.as_ref().and_then(|typed| self.exact_length(spot, key, typed, unit, range))
        };
        let rise = written("rise", &form.rise, &limits::RISE);
        let fall = written("fall", &form.fall, &limits::RISE);
        let written_level = written("level", &form.level, &limits::LEVEL);
        let distance = self.length(spot, "distance", form.distance.as_ref(), &limits::DISTANCE);
        if form.bs.is_none() && form.is.is_none() && form.fs.is_none() {
            self.missing(
                spot,
                "",
                "there is no sight in it",
                "fill in bs, is or fs, or take the row out",
            );
        }
        if form.rise.is_some() && form.fall.is_some() {
            let fault = self.error(spot, "fall", "both a rise and a fall are written");
            self.faults.push(fault.hint("keep the one that is in the book"));
        }
        let line = self.line(spot, "");
        known.then(|| BookRow {
            point: PointId::new(form.point.as_str()),
            back,
            intermediate,
            fore,
            distance,
            written: Written { level: written_level, step: rise.or(fall.map(|fall| -fall)) },
            place: line.map(|line| SourcePlace { file: spot.file.clone(), line }),
        })
    }
}
