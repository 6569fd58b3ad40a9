//! Benchmarks, setups with their readings, legs, and what the levels are counted from.

use super::site::point_kind;
use super::{Checker, Named, Spot, called};
use crate::csv::{READING_COLUMNS, Table};
use crate::form_v1::{
    HoseForm, InstrumentForm, LegForm, PointKindForm, Quantity, ReadingForm, RowsForm, SetupForm,
    TrustForm,
};
use crate::input::NamedBook;
use crate::limits;
use crate::time::{Midnight, TimeOfReading, parse_time};
use floorwright_engine::ids::{PointId, SetupId};
use floorwright_engine::site::PointKind;
use floorwright_engine::survey::{
    Benchmark, Datum, Drift, Leg, LegWeight, Reading, ReadingSd, SdTrust, Setup, SourcePlace,
    Survey, TestSettings,
};
use floorwright_engine::units::{ExactLength, Length, Level, Minutes, Variance};
use serde::Deserialize;
use serde::de::value::{Error as WordError, StrDeserializer};
use std::collections::{BTreeMap, BTreeSet};
use std::f64::consts::PI;

/// Standard deviation of a reading when the job is silent: a casual reading of a builder's hose.
const ASSUMED_READING_SD: Length = Length::mm(1.2);

/// Readings below this, all of them, look like metres read as millimetres.
const LOOKS_LIKE_METRES: Length = Length::mm(10.0);

/// A reading on its way in, with the place that it was written.
struct TypedReading {
    form: ReadingForm,
    spot: Spot,
    prefix: String,
}

/// The readings of one setup so far.
#[derive(Default)]
struct SetupDraft {
    readings: Vec<Reading>,
    midnight: Midnight,
    clock: Option<bool>,
    before: Option<f64>,
    without_time: usize,
    seen: BTreeMap<(PointId, ExactLength, bool, Option<u64>), Option<usize>>,
}

impl Checker<'_> {
    pub(super) fn benchmarks(&mut self) -> Vec<Benchmark> {
        let form = self.form;
        let mut benchmarks: Vec<Benchmark> = Vec::new();
        for (idx, benchmark) in form.benchmark.iter().enumerate() {
            let spot =
                self.spot(format!("benchmark.{idx}"), called("benchmark", &benchmark.point, idx));
            self.check_name(&spot, "point", &benchmark.point);
            if benchmark.level.is_none() {
                let fault = self.error(&spot, "", "its level is not given");
                self.faults.push(fault.hint("write level = 0 if nothing better is known"));
            }
            let level = self.level(&spot, "level", benchmark.level.as_ref(), &limits::LEVEL);
            let sd = self.length(&spot, "sd", benchmark.sd.as_ref(), &limits::SD);
            self.add_unplaced(&spot, &benchmark.point, PointKind::Benchmark);
            self.know_point(&spot, "point", &benchmark.point);
            if benchmarks.iter().any(|known| known.point.as_str() == benchmark.point) {
                self.given_twice(&spot, "point", "benchmark", None);
                continue;
            }
            benchmarks.push(Benchmark {
                point: PointId::new(benchmark.point.as_str()),
                level: level.unwrap_or_default(),
                sd: sd.unwrap_or_default(),
            });
        }
        benchmarks
    }

    pub(super) fn survey(&mut self, mut benchmarks: Vec<Benchmark>) -> Survey {
        let form = self.form;
        let mut setups: Vec<Setup> = Vec::new();
        for (idx, setup) in form.setup.iter().enumerate() {
            let spot = self.spot(format!("setup.{idx}"), called("setup", &setup.id, idx));
            self.check_name(&spot, "id", &setup.id);
            if setups.iter().any(|known| known.id.as_str() == setup.id) {
                self.given_twice(&spot, "id", "setup", None);
                continue;
            }
            let checked = self.setup(&spot, setup, &mut benchmarks);
            setups.push(checked);
        }
        self.check_metres(&setups);
        let legs = (0..form.leg.len()).filter_map(|idx| self.leg(idx, &form.leg[idx])).collect();
        let tests = self.tests();
        Survey { datum: Datum::Benchmarks, benchmarks, setups, legs, tests }
    }

    fn setup(&mut self, spot: &Spot, form: &SetupForm, benchmarks: &mut Vec<Benchmark>) -> Setup {
        let sd = self.length(spot, "reading_sd", form.reading_sd.as_ref(), &limits::READING_SD);
        let growing =
            self.length(spot, "sd_per_sqrt_km", form.sd_per_sqrt_km.as_ref(), &limits::SD_PER_KM);
        if form.reading_sd.is_none() {
            self.assume(format!(
                "a reading has a standard deviation of {ASSUMED_READING_SD} (reading_sd is not given for every setup)"
            ));
        }
        let at_least = sd.unwrap_or(ASSUMED_READING_SD);
        let reading_sd = match growing {
            Some(per_sqrt_km) => ReadingSd::ByDistance { per_sqrt_km, at_least },
            None => ReadingSd::Each(at_least),
        };
        let staff = match &form.staff {
            Some(staff) => self.length(spot, "staff", Some(staff), &limits::STAFF),
            None => Some(limits::STAFF_LENGTH),
        };
        if form.hose.is_some()
            && form.instrument.is_some_and(|instrument| instrument != InstrumentForm::Hose)
        {
            let fault =
                self.error(spot, "hose", "a hose is described, and the instrument is another");
            self.faults.push(fault.hint("write instrument = \"hose\", or take hose out"));
        }
        if form.instrument == Some(InstrumentForm::Hose) && form.hose.is_none() {
            self.assume(format!(
                "the water line of setup {} does not fall as the hose fills (no bore and reservoir are given)",
                form.id
            ));
        }
        let scale = form.hose.as_ref().and_then(|hose| self.scale(spot, hose)).unwrap_or(1.0);
        let typed = self.typed_readings(spot, form, benchmarks);
        let mut draft = SetupDraft::default();
        for reading in &typed {
            self.reading(&mut draft, reading, staff.unwrap_or(limits::STAFF_LENGTH));
        }
        if form.drift && draft.without_time > 0 {
            let fault = self
                .error(spot, "drift", "drift is asked for, and readings have no time")
                .value(format!("{} of {}", draft.without_time, draft.readings.len()))
                .limit("none")
                .hint("give each reading a time, or take drift out");
            self.faults.push(fault);
        }
        Setup {
            id: SetupId::new(form.id.as_str()),
            reading_sd,
            scale,
            drift: if form.drift { Drift::Linear } else { Drift::None },
            readings: draft.readings,
        }
    }

    /// 1 + A/A_r: by how much a true difference is larger than the difference of readings.
    fn scale(&mut self, spot: &Spot, hose: &HoseForm) -> Option<f64> {
        let areas = match (&hose.bore, &hose.reservoir, hose.bore_area, hose.reservoir_area) {
            (Some(bore), Some(reservoir), None, None) => {
                let bore = self.length(spot, "hose.bore", Some(bore), &limits::HOSE_DIAMETER);
                let reservoir =
                    self.length(spot, "hose.reservoir", Some(reservoir), &limits::HOSE_DIAMETER);
                let area = |diameter: Length| PI / 4.0 * diameter.to_mm() * diameter.to_mm();
                (area(bore?), area(reservoir?))
            }
            (None, None, Some(bore), Some(reservoir)) => {
                let bore = self.number(spot, "hose.bore_area", bore, &limits::HOSE_AREA);
                let reservoir =
                    self.number(spot, "hose.reservoir_area", reservoir, &limits::HOSE_AREA);
                (bore?, reservoir?)
            }
            _ => {
                let fault = self.error(spot, "hose", "the hose needs two diameters, or two areas");
                self.faults.push(fault.hint(
                    "write hose = { bore = 10, reservoir = 200 }, or bore_area and reservoir_area in mm2",
                ));
                return None;
            }
        };
        Some(1.0 + areas.0 / areas.1)
    }

    fn typed_readings(
        &mut self,
        spot: &Spot,
        form: &SetupForm,
        benchmarks: &mut Vec<Benchmark>,
    ) -> Vec<TypedReading> {
        match &form.readings {
            None => Vec::new(),
            Some(RowsForm::Rows(rows)) => rows
                .iter()
                .enumerate()
                .map(|(row_idx, row)| TypedReading {
                    form: row.clone(),
                    spot: Spot {
                        place: format!("{}, reading of {}", spot.place, row.point),
                        ..spot.clone()
                    },
                    prefix: format!("readings.{row_idx}."),
                })
                .collect(),
            Some(RowsForm::File(file)) => {
                let needed = ["point", "reading"];
                let uses_file = |setup: &&SetupForm| matches!(&setup.readings, Some(RowsForm::File(named)) if named == file);
                let first_use =
                    self.form.setup.iter().find(uses_file).is_some_and(|first| first.id == form.id);
                let Some(table) = self.table(spot, "readings", file, READING_COLUMNS, &needed)
                else {
                    return Vec::new();
                };
                if first_use {
                    self.check_setup_column(&table);
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
    ) -> Vec<TypedReading> {
        let mut typed = Vec::new();
        let mut n_blank = 0;
        let mut first_blank = None;
        for row in table.rows_of_setup(&form.id, self.form.setup.len() == 1) {
            let cell = |column| table.cell(row, column);
            let point = cell("point").unwrap_or_default();
            let spot = row_spot(table, row.line, format!("reading of {point}"));
            self.place_of_row(&spot, table, row, benchmarks);
            if cell("reading").is_none() {
                n_blank += 1;
                first_blank.get_or_insert((row.line, point.to_owned()));
                continue;
            }
            let quantity = |column| cell(column).map(Quantity::from);
            let inverted = self.yes_or_no(&spot, cell("inverted"));
            typed.push(TypedReading {
                form: ReadingForm {
                    point: point.to_owned(),
                    reading: quantity("reading"),
                    time: quantity("time"),
                    inverted,
                    sd: quantity("sd"),
                    distance: quantity("distance"),
                    note: cell("note").map(str::to_owned),
                },
                spot,
                prefix: String::new(),
            });
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
        row: &crate::csv::Row,
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
            Some(word) => {
                let lower = word.to_lowercase();
                let kind = PointKindForm::deserialize(StrDeserializer::<WordError>::new(&lower));
                match kind {
                    Ok(kind) => Some(point_kind(kind)),
                    Err(_) => {
                        let fault = self
                            .error(spot, "kind", "there is no such kind of point")
                            .value(word)
                            .hint(
                                "known: floor, benchmark, threshold, soffit, ground, change-point",
                            );
                        self.faults.push(fault);
                        None
                    }
                }
            }
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
        let Some(known_level) = known_level else { return };
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
                benchmarks.push(Benchmark { point: PointId::new(point), level, sd: Length::ZERO })
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

    fn reading(&mut self, draft: &mut SetupDraft, typed: &TypedReading, staff: Length) {
        let TypedReading { form, spot, prefix } = typed;
        let spot = &Spot {
            path: if prefix.is_empty() {
                spot.path.clone()
            } else {
                format!("{}.{}", spot.path, prefix.trim_end_matches('.'))
            },
            ..spot.clone()
        };
        let known = self.know_point(spot, "point", &form.point);
        let Some(quantity) = &form.reading else {
            let fault = self.error(spot, "", "there is no reading");
            self.faults.push(fault.hint("write what the staff showed, or take the row out"));
            return;
        };
        let unit = self.reading_units;
        let range = limits::Range {
            name: "reading",
            low: 0.0,
            high: staff.to_mm(),
            unit: "mm",
            why: "a reading lies on the staff, from its foot to its end; give the setup a longer staff, an upside-down staff inverted = true, and check the unit",
        };
        let value = self.exact_length(spot, "reading", quantity, unit, &range);
        let time = form.time.as_ref().and_then(|time| self.time(draft, spot, time));
        draft.without_time += usize::from(form.time.is_none());
        let sd = self.length(spot, "sd", form.sd.as_ref(), &limits::READING_SD);
        let distance = self.length(spot, "distance", form.distance.as_ref(), &limits::DISTANCE);
        if !known {
            return;
        }
        let Some(value) = value else {
            // It still joins its point to the setup; the job is not used with a fault in it.
            let (point, value) = (PointId::new(form.point.as_str()), ExactLength::ZERO);
            let (inverted, place) = (form.inverted, None);
            draft.readings.push(Reading { point, value, inverted, time, sd, distance, place });
            return;
        };
        let point = PointId::new(form.point.as_str());
        let line = self.line(spot, "");
        let key =
            (point.clone(), value, form.inverted, time.map(|time| time.to_minutes().to_bits()));
        if let Some(first) = draft.seen.insert(key, line) {
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
        let place = line.map(|line| SourcePlace { file: spot.file.clone(), line });
        draft.readings.push(Reading {
            point,
            value,
            inverted: form.inverted,
            time,
            sd,
            distance,
            place,
        });
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

    fn check_metres(&mut self, setups: &[Setup]) {
        let mut readings = setups.iter().flat_map(|setup| &setup.readings).peekable();
        if readings.peek().is_none() || self.has_errors() {
            return;
        }
        if readings.all(|reading| reading.value.to_length() < LOOKS_LIKE_METRES) {
            let spot = self.spot("job", "readings");
            let fault = self
                .warning(&spot, "reading_units", format!("every one is below {LOOKS_LIKE_METRES}"))
                .hint("if they are in metres, write reading_units = \"m\" under [job]");
            self.faults.push(fault);
        }
    }

    fn leg(&mut self, idx: usize, form: &LegForm) -> Option<Leg> {
        let spot = self.spot(format!("leg.{idx}"), format!("leg {} to {}", form.from, form.to));
        let from = self.know_point(&spot, "from", &form.from);
        let to = self.know_point(&spot, "to", &form.to);
        if form.from == form.to && from {
            let fault = self.error(&spot, "to", "it ends where it starts");
            self.faults.push(fault.hint("name two different points"));
        }
        if form.rise.is_none() {
            let fault = self.error(&spot, "", "its rise is not given");
            self.faults.push(fault.hint("write rise = the height of to above from"));
        }
        let unit = self.units;
        let rise = form
            .rise
            .as_ref()
            .and_then(|rise| self.exact_length(&spot, "rise", rise, unit, &limits::RISE));
        let weight = self.leg_weight(&spot, form);
        let line = self.line(&spot, "");
        (from && to).then_some(())?;
        Some(Leg {
            from: PointId::new(form.from.as_str()),
            to: PointId::new(form.to.as_str()),
            rise: rise?,
            weight: weight?,
            place: line.map(|line| SourcePlace { file: spot.file.clone(), line }),
        })
    }

    fn leg_weight(&mut self, spot: &Spot, form: &LegForm) -> Option<LegWeight> {
        let ways = [form.sd.is_some(), form.setups.is_some(), form.length.is_some()];
        if ways.iter().filter(|given| **given).count() != 1 {
            let fault = self.error(spot, "", "it does not say in one way how well it is known");
            self.faults.push(
                fault.hint("write sd; or setups with sd_per_setup; or length with sd_per_sqrt_km"),
            );
            return None;
        }
        if let Some(sd) = &form.sd {
            return self.length(spot, "sd", Some(sd), &limits::READING_SD).map(LegWeight::Sd);
        }
        let (key, partner) = if form.setups.is_some() {
            ("sd_per_setup", form.sd_per_setup.as_ref())
        } else {
            ("sd_per_sqrt_km", form.sd_per_sqrt_km.as_ref())
        };
        if partner.is_none() {
            let fault = self.error(spot, "", format!("{key} is not given"));
            self.faults.push(fault.hint(format!("write {key} = its spread in mm")));
        }
        let per = self.length(spot, key, partner, &limits::SD_PER_KM);
        if let Some(n_setups) = form.setups {
            self.number(
                spot,
                "setups",
                f64::from(n_setups),
                &limits::Range {
                    name: "setups",
                    low: 1.0,
                    high: 10_000.0,
                    unit: "",
                    why: "a leg takes at least one setup",
                },
            )?;
            return Some(LegWeight::Setups { n_setups, per_setup: per? });
        }
        let length = self.length(
            spot,
            "length",
            form.length.as_ref(),
            &limits::Range { low: 1.0, name: "length", ..limits::DISTANCE },
        );
        Some(LegWeight::Distance { length: length?, per_sqrt_km: per? })
    }

    fn tests(&mut self) -> TestSettings {
        let default = TestSettings::default();
        let Some(form) = &self.form.tests else { return default };
        let spot = self.spot("tests", "[tests]");
        let mut number = |key, given: Option<f64>, range, default| {
            given.and_then(|given| self.number(&spot, key, given, range)).unwrap_or(default)
        };
        TestSettings {
            alpha: number("alpha", form.alpha, &limits::ALPHA, default.alpha),
            power: number("power", form.power, &limits::POWER, default.power),
            global_alpha: number(
                "global_alpha",
                form.global_alpha,
                &limits::ALPHA,
                default.global_alpha,
            ),
            trust: match form.trust {
                Some(TrustForm::Estimated) => SdTrust::Estimated,
                Some(TrustForm::Stated) | None => SdTrust::Stated,
            },
        }
    }

    /// What the levels are counted from; needs the readings, to find the points of a free datum.
    pub(super) fn datum(&mut self, survey: Survey, books: &[NamedBook]) -> Survey {
        let form = self.form.datum.clone().unwrap_or_default();
        let spot = self.spot("datum", "[datum]");
        let has_benchmarks = !survey.benchmarks.is_empty();
        let ways = [form.zero.is_some(), form.free, has_benchmarks];
        let n_ways = ways.iter().filter(|given| **given).count();
        if n_ways > 1 {
            let fault = self.error(&spot, "", "the levels are counted from more than one thing");
            self.faults.push(fault.hint("keep one of: benchmarks, zero, free"));
        }
        if n_ways == 0 {
            self.no_datum(&survey, books);
        }
        let datum = if let Some(zero) = &form.zero {
            self.know_point(&spot, "zero", zero);
            Datum::PointIsZero(PointId::new(zero.as_str()))
        } else if form.free {
            self.free_datum(&spot, &survey)
        } else if !form.covariance.is_empty() {
            self.correlated(&spot, &form.covariance, survey.benchmarks.len())
        } else {
            Datum::Benchmarks
        };
        if !form.free && !form.approximate.is_empty() {
            let fault =
                self.error(&spot, "approximate", "approximate levels are for a free datum only");
            self.faults.push(fault.hint("write free = true, or take approximate out"));
        }
        Survey { datum, ..survey }
    }

    fn no_datum(&mut self, survey: &Survey, books: &[NamedBook]) {
        let read = survey.setups.iter().any(|setup| !setup.readings.is_empty());
        if !read && survey.legs.is_empty() && books.is_empty() {
            return;
        }
        if !read && survey.legs.is_empty() {
            return; // a level book has its own start
        }
        let spot = self.spot("", "");
        let fault = self.error(&spot, "", "there is no benchmark and no datum");
        self.faults.push(fault.hint(
            "add a [[benchmark]] with its level, or call a point zero: [datum] zero = \"A1\"",
        ));
    }

    fn free_datum(&mut self, spot: &Spot, survey: &Survey) -> Datum {
        let form = self.form.datum.clone().unwrap_or_default();
        if form.approximate.is_empty() {
            self.assume("the mean level of all floor points is called zero (free datum)");
            let floor = self.floor_points();
            let group = super::net::first_group(survey);
            let approximate = floor
                .into_iter()
                .filter(|point| group.contains(point))
                .map(|point| (point, Level::DATUM));
            return Datum::Free { approximate: approximate.collect() };
        }
        let mut approximate: Vec<(PointId, Level)> = Vec::new();
        for (idx, entry) in form.approximate.iter().enumerate() {
            let spot = self.spot(
                format!("{}.approximate.{idx}", spot.path),
                format!("[datum] {}", entry.point),
            );
            let known = self.know_point(&spot, "point", &entry.point);
            if approximate.iter().any(|(point, _)| point.as_str() == entry.point) {
                self.given_twice(&spot, "point", "approximate level", None);
                continue;
            }
            let level = self.level(&spot, "level", entry.level.as_ref(), &limits::LEVEL);
            if known {
                approximate.push((PointId::new(entry.point.as_str()), level.unwrap_or_default()));
            }
        }
        Datum::Free { approximate }
    }

    fn correlated(&mut self, spot: &Spot, rows: &[Vec<f64>], n_benchmarks: usize) -> Datum {
        if rows.len() != n_benchmarks || rows.iter().any(|row| row.len() != n_benchmarks) {
            let fault = self
                .error(spot, "covariance", "the covariance has another size than the benchmarks")
                .value(format!("{} rows", rows.len()))
                .limit(format!("{n_benchmarks} rows of {n_benchmarks}"))
                .hint("give one row and one column for each benchmark, in their order");
            self.faults.push(fault);
            return Datum::Benchmarks;
        }
        for row in 0..n_benchmarks {
            for col in 0..n_benchmarks {
                let key = format!("covariance.{row}");
                let value = rows[row][col];
                if self.number(spot, &key, value, &limits::COVARIANCE).is_none() {
                    return Datum::Benchmarks;
                }
                let most = (rows[row][row] * rows[col][col]).max(0.0).sqrt() * (1.0 + 1e-9);
                if rows[row][row] < 0.0 || value != rows[col][row] || value.abs() > most {
                    let fault = self
                        .error(spot, &key, format!("row {}, column {} is not a covariance", row + 1, col + 1))
                        .value(limits::COVARIANCE.show(value))
                        .hint("variances are zero or more, the two halves are alike, and no entry is larger than its variances allow");
                    self.faults.push(fault);
                    return Datum::Benchmarks;
                }
            }
        }
        let variances = |row: &Vec<f64>| row.iter().map(|mm2| Variance::mm2(*mm2)).collect();
        Datum::CorrelatedBenchmarks(rows.iter().map(variances).collect())
    }
}

/// The place of a row of a file.
pub(super) fn row_spot(table: &Table, line: usize, place: String) -> Spot {
    Spot { file: table.file.clone(), line: Some(line), path: String::new(), place }
}
