//! The readings of a setup, from rows of the job or of a table.

use super::numbers::mm_in;
use super::site::point_kind;
use super::slips::BareReadings;
use super::{Checker, Named, Spot};
use crate::csv::{READING_COLUMNS, Row, Table};
use crate::form_v1::{PointKindForm, Quantity, ReadingForm, RowsForm, SetupForm};
use crate::input::StruckReading;
use crate::limits::{self, Range};
use crate::measure::{DecimalMark, parse_length};
use crate::time::{Midnight, TimeOfReading, parse_time};
use floorwright_engine::ids::{PointId, SetupId};
use floorwright_engine::site::PointKind;
use floorwright_engine::survey::{Benchmark, Reading, SourcePlace};
use floorwright_engine::units::{ExactLength, Length, Minutes};
use serde::Deserialize;
use serde::de::value::{Error as WordError, StrDeserializer};
use std::collections::{BTreeMap, BTreeSet};

/// What tells one reading of a setup from another: point, value, way up and time.
type Same = (PointId, ExactLength, bool, Option<u64>);

/// The readings of one setup so far.
#[derive(Default)]
struct SetupDraft {
    readings: Vec<Reading>,
    midnight: Midnight,
    /// Whether the first time was a clock time.
    clock: Option<bool>,
    /// The time before, in minutes.
    before: Option<f64>,
    without_time: usize,
    /// The readings so far, each with its line.
    seen: BTreeMap<Same, Option<usize>>,
}

impl Checker<'_> {
    pub(super) fn readings(
        &mut self,
        spot: &Spot,
        form: &SetupForm,
        benchmarks: &mut Vec<Benchmark>,
        staff: Length,
    ) -> Vec<Reading> {
        let mut draft = SetupDraft::default();
        let mut bare = BareReadings::new(spot);
        for (row_spot, row) in self.typed_readings(spot, form, benchmarks) {
            if let Some(why) = why_struck(&row) {
                self.strike(&row_spot, &form.id, &row, why);
                continue;
            }
            let is_twin = self.is_twin_setup(form);
            let value = self.reading(&mut draft, &row_spot, &row, (staff, is_twin));
            if row.standing.is_some() {
                // Two numbers were written, and the value is neither of them.
                continue;
            }
            if let (Some(typed), Some(value)) = (&row.reading, value) {
                bare.note(typed, value);
            }
        }
        self.bare_readings.push(bare);
        if form.drift && draft.without_time > 0 {
            let fault = self
                .error(spot, "drift", "drift is asked for, and readings have no time")
                .value(format!("{} of {}", draft.without_time, draft.readings.len()))
                .limit("none")
                .hint("give each reading a time, or take drift out");
            self.faults.push(fault);
        }
        draft.readings
    }

    /// Keeps a reading that is struck out, to be shown; nothing about it is a fault.
    fn strike(&mut self, spot: &Spot, setup: &str, row: &ReadingForm, why: &str) {
        let unit = self.reading_units;
        let value = match &row.reading {
            None => None,
            Some(Quantity::Number(number)) => ExactLength::from_mm(number * mm_in(unit)),
            Some(Quantity::Text(text)) => parse_length(text, unit, DecimalMark::Point).ok(),
        };
        let line = self.line(spot, "");
        self.struck.push(StruckReading {
            setup: SetupId::new(setup),
            point: row.point.clone(),
            value,
            why: why.to_owned(),
            place: line.map(|line| SourcePlace { file: spot.file.clone(), line }),
        });
    }

    /// The rows with their places, from wherever they are written.
    fn typed_readings(
        &mut self,
        spot: &Spot,
        form: &SetupForm,
        benchmarks: &mut Vec<Benchmark>,
    ) -> Vec<(Spot, ReadingForm)> {
        match &form.readings {
            None => Vec::new(),
            Some(RowsForm::Rows(rows)) => {
                let at_row = |(row_idx, row): (usize, &ReadingForm)| {
                    let row_spot = Spot {
                        path: format!("{}.readings.{row_idx}", spot.path),
                        place: format!("{}, reading of {}", spot.place, row.point),
                        ..spot.clone()
                    };
                    (row_spot, row.clone())
                };
                rows.iter().enumerate().map(at_row).collect()
            }
            Some(RowsForm::File(file)) => {
                let needed = ["point", "reading"];
                let Some(table) = self.table(spot, "readings", file, READING_COLUMNS, &needed)
                else {
                    return Vec::new();
                };
                let names_file = |setup: &&SetupForm| matches!(&setup.readings, Some(RowsForm::File(named)) if named == file);
                let first = self.form.setup.iter().find(names_file);
                if first.is_some_and(|first| first.id == form.id) {
                    self.check_setup_column(&table);
                } else if !table.has("setup") {
                    let what = format!("another setup has taken all readings of {file}");
                    let fault = self.error(spot, "readings", what);
                    self.faults
                        .push(fault.hint("give the table a setup column, or each setup a table"));
                    return Vec::new();
                }
                self.rows_of_table(form, &table, benchmarks)
            }
        }
    }

    /// Every row of a file has to say its setup, and every setup has to be in the job.
    fn check_setup_column(&mut self, table: &Table) {
        if !table.has("setup") {
            return;
        }
        let known: Vec<String> = self.form.setup.iter().map(|setup| setup.id.clone()).collect();
        let mut named: BTreeSet<&str> = known.iter().map(String::as_str).collect();
        for row in &table.rows {
            let point = table.cell(row, "point").unwrap_or_default();
            let spot = row_spot(table, row.line, format!("reading of {point}"));
            match table.cell(row, "setup") {
                setup if table.is_struck(row) => {
                    let setup = setup.unwrap_or_default();
                    let is_read = known.iter().any(|known| known == setup)
                        || (setup.is_empty() && known.len() == 1);
                    if !is_read {
                        let row = struck_row(table, row);
                        self.strike(&spot, setup, &row, why_struck(&row).unwrap_or_default());
                    }
                }
                None if known.len() == 1 => {}
                None => {
                    let fault = self.error(&spot, "setup", "the setup is not given");
                    self.faults.push(fault.hint("fill in the setup column"));
                }
                Some(setup) if named.insert(setup) => {
                    self.unknown(&spot, "setup", Named::Setup, setup);
                }
                Some(_) => {}
            }
        }
    }

    fn rows_of_table(
        &mut self,
        form: &SetupForm,
        table: &Table,
        benchmarks: &mut Vec<Benchmark>,
    ) -> Vec<(Spot, ReadingForm)> {
        let mut typed = Vec::new();
        let mut n_blank = 0;
        let mut first_blank = None;
        let rows = table.rows_of_setup(&form.id, self.form.setup.len() == 1);
        for row in table.rows_for_points(&rows) {
            let point = table.cell(row, "point").unwrap_or_default();
            let spot = row_spot(table, row.line, format!("reading of {point}"));
            let n_faults = self.faults.len();
            self.place_of_row(&spot, table, row, benchmarks);
            if table.is_struck(row) {
                self.faults.truncate(n_faults);
            }
        }
        for row in rows {
            let cell = |column| table.cell(row, column);
            let point = cell("point").unwrap_or_default();
            let spot = row_spot(table, row.line, format!("reading of {point}"));
            if table.is_struck(row) {
                typed.push((spot, struck_row(table, row)));
                continue;
            }
            if cell("reading").is_none() {
                n_blank += 1;
                first_blank.get_or_insert((row.line, point.to_owned()));
                continue;
            }
            let quantity = |column| cell(column).map(Quantity::from);
            let inverted = self.yes_or_no(&spot, cell("inverted"));
            let form = ReadingForm {
                point: point.to_owned(),
                reading: quantity("reading"),
                standing: quantity("standing"),
                time: quantity("time"),
                inverted,
                sd: quantity("sd"),
                distance: quantity("distance"),
                struck: None,
                note: cell("note").map(str::to_owned),
            };
            typed.push((spot, form));
        }
        if let Some((line, point)) = first_blank {
            let spot = row_spot(table, line, String::new());
            let fault = self
                .warning(&spot, "reading", format!("rows without a reading, from point {point} on"))
                .value(format!("{n_blank} of {}", n_blank + typed.len()))
                .hint("fill in the reading column; these rows are left out");
            self.faults.push(fault);
        }
        typed
    }

    /// The point, and the benchmark, that a row of a file describes besides its reading.
    fn place_of_row(
        &mut self,
        spot: &Spot,
        table: &Table,
        row: &Row,
        benchmarks: &mut Vec<Benchmark>,
    ) {
        let cell = |column| table.cell(row, column);
        let Some(point) = cell("point") else { return };
        let known_level = match (cell("level"), cell("benchmark")) {
            (Some(_), Some(_)) => {
                let fault = self.error(spot, "level", "both level and benchmark are filled in");
                self.faults.push(fault.hint("the two columns mean the same: leave one empty"));
                None
            }
            (level, benchmark) => level.or(benchmark),
        };
        let kind = match cell("kind") {
            None => known_level.map(|_| PointKind::Benchmark),
            Some(word) => self.kind_of_point(spot, word),
        };
        let at = match (cell("x"), cell("y")) {
            (Some(x), Some(y)) => Some([Quantity::from(x), Quantity::from(y)]),
            (None, None) => None,
            _ => {
                let fault = self.error(spot, "x", "only one of x and y is given");
                self.faults.push(fault.hint("give both, or neither"));
                None
            }
        };
        self.point_of_row(spot, point, at.as_ref(), kind);
        if let Some(known_level) = known_level {
            self.benchmark_of_row(spot, point, known_level, benchmarks);
        }
    }

    fn kind_of_point(&mut self, spot: &Spot, word: &str) -> Option<PointKind> {
        let lower = word.to_lowercase();
        let kind = PointKindForm::deserialize(StrDeserializer::<WordError>::new(&lower));
        if kind.is_err() {
            let fault = self
                .error(spot, "kind", "there is no such kind of point")
                .value(word)
                .hint("known: floor, benchmark, threshold, soffit, ground, change-point");
            self.faults.push(fault);
        }
        kind.ok().map(point_kind)
    }

    fn benchmark_of_row(
        &mut self,
        spot: &Spot,
        point: &str,
        known_level: &str,
        benchmarks: &mut Vec<Benchmark>,
    ) {
        let quantity = Quantity::from(known_level);
        let Some(level) = self.level(spot, "level", Some(&quantity), &limits::LEVEL) else {
            return;
        };
        match benchmarks.iter().find(|known| known.point.as_str() == point) {
            Some(known) if known.level != level => {
                let fault = self
                    .error(spot, "level", format!("benchmark {point} has another level before"))
                    .value(level.to_string())
                    .limit(known.level.to_string())
                    .hint("a benchmark has one level");
                self.faults.push(fault);
            }
            Some(_) => {}
            None => {
                benchmarks.push(Benchmark { point: PointId::new(point), level, sd: Length::ZERO });
            }
        }
    }

    pub(super) fn yes_or_no(&mut self, spot: &Spot, cell: Option<&str>) -> bool {
        let Some(word) = cell else { return false };
        match word.to_lowercase().as_str() {
            "yes" | "y" | "true" | "1" | "x" => true,
            "no" | "n" | "false" | "0" => false,
            _ => {
                let fault =
                    self.error(spot, "inverted", "inverted is neither yes nor no").value(word);
                self.faults.push(fault.hint("write yes, or leave the cell empty"));
                false
            }
        }
    }

    /// Adds a reading to the setup; its value, if it could be read.
    fn reading(
        &mut self,
        draft: &mut SetupDraft,
        spot: &Spot,
        form: &ReadingForm,
        (staff, is_twin): (Length, bool),
    ) -> Option<ExactLength> {
        let known = self.know_point(spot, "point", &form.point);
        let Some(quantity) = &form.reading else {
            self.missing(
                spot,
                "",
                "there is no reading",
                "write what the staff showed, or take the row out",
            );
            return None;
        };
        let unit = self.reading_units;
        let range = on_staff(staff);
        let mut value = self.exact_length(spot, "reading", quantity, unit, &range);
        if let Some(standing) = &form.standing {
            let standing = self.exact_length(spot, "standing", standing, unit, &range);
            value = value.zip(standing).map(|(moving, standing)| TWIN_ZERO + moving - standing);
            if !is_twin || form.inverted {
                let fault = self.error(spot, "standing", "the standing end is given").hint(
                    "only a twin hose that is read at both ends has one: write [hose] kind = \"twin\" and \
                     instrument = \"hose\", or take it out",
                );
                self.faults.push(fault);
            }
        }
        let time = form.time.as_ref().and_then(|time| self.time(draft, spot, time));
        draft.without_time += usize::from(form.time.is_none());
        let sd = self.length(spot, "sd", form.sd.as_ref(), &limits::READING_SD);
        let distance = self.length(spot, "distance", form.distance.as_ref(), &limits::DISTANCE);
        if !known {
            return value;
        }
        let line = self.line(spot, "");
        let reading = Reading {
            point: PointId::new(form.point.as_str()),
            // One that cannot be read still joins its point to the setup; no job comes of it.
            value: value.unwrap_or_default(),
            inverted: form.inverted,
            time,
            sd,
            distance,
            place: line.map(|line| SourcePlace { file: spot.file.clone(), line }),
        };
        if value.is_some() {
            self.check_read_once(draft, spot, &reading, line);
        }
        draft.readings.push(reading);
        value
    }

    /// The same point, value and time a second time is a row copied by mistake. Without times it
    /// is that only in the very next row: a point read again later may well give the same.
    fn check_read_once(
        &mut self,
        draft: &mut SetupDraft,
        spot: &Spot,
        reading: &Reading,
        line: Option<usize>,
    ) {
        let time = reading.time.map(|time| time.to_minutes().to_bits());
        let same = (reading.point.clone(), reading.value, reading.inverted, time);
        let Some(first) = draft.seen.insert(same, line) else { return };
        let is_next = |last: &Reading| last.point == reading.point;
        if time.is_none() && !draft.readings.last().is_some_and(is_next) {
            return;
        }
        let first = first.map_or(String::new(), |line| format!(", first on line {line}"));
        let what = format!("the same reading is there twice{first}");
        let fault = if time.is_some() {
            self.error(spot, "", what).hint("take one of the two out")
        } else {
            self.warning(spot, "", what)
                .hint("right if it was read twice; a time on each reading tells the two apart")
        };
        self.faults.push(fault);
    }

    fn time(&mut self, draft: &mut SetupDraft, spot: &Spot, typed: &Quantity) -> Option<Minutes> {
        let parsed = match typed {
            Quantity::Number(minutes) => Ok(TimeOfReading::Counted(*minutes)),
            Quantity::Text(text) => parse_time(text),
        };
        let (minutes, clock) = match parsed {
            Ok(TimeOfReading::Counted(minutes)) => {
                (self.number(spot, "time", minutes, &limits::TIME)?, false)
            }
            Ok(TimeOfReading::Clock(minutes)) => (draft.midnight.pass(minutes), true),
            Err(text) => {
                let fault = self.error(spot, "time", "time is not a time").value(text);
                self.faults.push(fault.hint("write minutes, or a clock time such as \"14:05\""));
                return None;
            }
        };
        if draft.clock.is_some_and(|before| before != clock) {
            let fault = self.error(spot, "time", "minutes and clock times are mixed in one setup");
            self.faults.push(fault.hint("write all times of a setup in one way"));
            return None;
        }
        draft.clock = Some(clock);
        if draft.before.is_some_and(|before| minutes < before) {
            let fault =
                self.warning(spot, "time", "time is earlier than that of the reading before");
            self.faults.push(fault.hint("check the time, or the order of the readings"));
        }
        draft.before = Some(minutes);
        Some(Minutes::new(minutes))
    }
}

/// Added to the difference of the two ends of a twin hose, so that it is read like a staff.
const TWIN_ZERO: ExactLength = ExactLength::nm(1_000_000_000);

/// Why a reading is struck out, if it is.
fn why_struck(row: &ReadingForm) -> Option<&str> {
    row.struck.as_deref().map(str::trim).filter(|why| !why.is_empty())
}

/// What is kept of a struck row of a file.
fn struck_row(table: &Table, row: &Row) -> ReadingForm {
    ReadingForm {
        point: table.cell(row, "point").unwrap_or_default().to_owned(),
        reading: table.cell(row, "reading").map(Quantity::from),
        struck: table.cell(row, "struck").map(str::to_owned),
        ..ReadingForm::default()
    }
}

/// What can be read on a staff.
fn on_staff(staff: Length) -> Range {
    Range {
        name: "reading",
        low: 0.0,
        high: staff.to_mm(),
        unit: "mm",
        why: "a reading lies on the staff, from its foot to its end; give the setup a longer staff, an upside-down staff inverted = true, and check the unit",
    }
}

/// The place of a row of a file.
pub(super) fn row_spot(table: &Table, line: usize, place: String) -> Spot {
    Spot { file: table.file.clone(), line: Some(line), path: String::new(), place }
}
