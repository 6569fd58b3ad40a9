//! The one validation of a job: every fault at once, and the engine's values if there is none.

mod bearers;
mod books;
mod datum;
mod frame;
mod hose;
mod joists;
mod legs;
mod net;
mod numbers;
mod passes;
mod rates;
mod readings;
mod settings;
mod site;
mod slips;
mod survey;
mod timber;

use crate::business::{Business, business};
use crate::csv::{READING_COLUMNS, Table, read_table};
use crate::document::{Document, Lines, SourceFile};
use crate::fault::{Fault, nearest_name};
use crate::form_v1::{
    DatumForm, FORMAT, Form, JobForm, PlaceForm, PointForm, Quantity, RowsForm, SetupForm,
    SupportForm, Terms,
};
use crate::hose::HoseInput;
use crate::input::{Assumption, JobInput, Loaded, Orientation, StruckReading};
use crate::limits;
use crate::measure::{DecimalMark, Unit, parse_length};
use floorwright_engine::record::{Resurvey, WorkDone};
use site::SiteDraft;
use slips::BareReadings;
use std::collections::{BTreeMap, BTreeSet};
use std::rc::Rc;

/// After so many unknown names the nearest known ones are no longer looked for: it takes time, and
/// the slip is of another kind.
const MOST_SUGGESTIONS: usize = 50;

/// What is wrong while nothing says what levels are counted from.
const NO_DATUM: &str = "there is no benchmark and no datum";

/// What is to be looked at before anything was read.
const NO_READINGS: &str = "there are no readings yet";

/// What is wrong with readings that no other reading ties to the datum.
const NOT_JOINED: &str = "nothing joins it to the datum";

impl Fault {
    /// Whether it is gone once more is read, or a benchmark is named: nothing that was written is wrong.
    pub fn waits_for_readings(&self) -> bool {
        self.what == NO_DATUM || self.what == NO_READINGS || self.what.starts_with(NOT_JOINED)
    }
}

/// How the shell hands over the text of a file that the job names, or says why it cannot.
pub type ReadFile<'a> = dyn FnMut(&str) -> Result<String, String> + 'a;

/// Reads and checks a job.
///
/// `read` is asked for each CSV file that the job names; the names have been checked to stay
/// beside the job or in folders below it.
///
/// # Examples
/// ```
/// use floorwright_job::{SourceFile, load};
/// let source = SourceFile::new("job.toml", r#"
/// format = 1
/// [[support]]
/// id = "A1"
/// at = [0, 0]
/// gap = -3
/// "#);
/// let loaded = load(&source, &mut |name| Err(format!("no file {name}")));
/// assert!(loaded.job.is_none());
/// assert_eq!(
///     loaded.faults[0].to_string(),
///     "job.toml:6: support A1: gap is out of range: -3 mm, must be 0 mm to 300 mm",
/// );
/// ```
pub fn load(main: &SourceFile, read: &mut ReadFile<'_>) -> Loaded {
    check(Document::parse(main), read)
}

/// Checks a document that has been read, or a form that was made in another way.
pub fn check(document: Document, read: &mut ReadFile<'_>) -> Loaded {
    check_with(document, read, BTreeMap::new(), Vec::new())
}

/// How a bare CSV of readings is to be understood.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct CsvMeaning {
    /// Words and criteria of the region.
    pub terms: Terms,
    /// Unit of x, y and distances.
    pub units: Unit,
    /// Unit of the readings.
    pub reading_units: Unit,
}

/// Reads a bare CSV of readings as a job.
///
/// A column that says its unit, such as `reading_m`, is in that unit whatever `meaning` says; `x_in`
/// or `x_ft` makes it a job in feet and inches. Each floor point with a place stands over a support of its own with the same name. The first
/// point is zero unless a row of kind `benchmark` has a level. All that is taken for granted is
/// in the job's assumptions.
pub fn from_csv(main: &SourceFile, meaning: CsvMeaning) -> Loaded {
    from_csv_changed(main, meaning, |_| {})
}

/// Reads a bare CSV of readings as a job that is changed before it is checked.
pub fn from_csv_changed(
    main: &SourceFile,
    meaning: CsvMeaning,
    change: impl FnOnce(&mut Form),
) -> Loaded {
    let (table, faults) = read_table(main, READING_COLUMNS, &["point", "reading"]);
    let (mut form, lines, assumptions) = form_of_table(main, &table, meaning);
    change(&mut form);
    let tables = BTreeMap::from([(main.name.clone(), Some(Rc::new(table)))]);
    let document = Document { form, lines, faults };
    check_with(document, &mut |name| Err(format!("{name} is not there")), tables, assumptions)
}

fn form_of_table(
    main: &SourceFile,
    table: &Table,
    meaning: CsvMeaning,
) -> (Form, Lines, Vec<Assumption>) {
    let mut lines = Lines::new(&main.name);
    let units = if table.is_in_feet_and_inches("x") { Unit::FeetInches } else { meaning.units };
    let mut form = Form {
        format: Some(FORMAT),
        job: Some(JobForm {
            name: Some(main.name.clone()),
            terms: Some(meaning.terms),
            units: Some(units),
            reading_units: Some(meaning.reading_units),
            ..JobForm::default()
        }),
        ..Form::default()
    };
    let mut named = BTreeSet::new();
    let mut unplaced = BTreeMap::new();
    let mut beside_floor = BTreeSet::new();
    let mut first_point = None;
    let mut has_benchmark = false;
    for row in table.rows_for_points(&table.rows.iter().collect::<Vec<_>>()) {
        let cell = |column| table.cell(row, column);
        let struck = table.is_struck(row);
        let is_usable =
            |cell: &str| !struck || parse_length(cell, units, DecimalMark::Point).is_ok();
        let known_level = cell("level").or(cell("benchmark"));
        let Some(point) = cell("point") else { continue };
        let is_floor = cell("kind").is_none_or(|kind| kind.eq_ignore_ascii_case("floor"));
        has_benchmark |= known_level.is_some_and(is_usable);
        if first_point.is_none() && cell("reading").is_some() && !struck {
            first_point = Some(point.to_owned());
        }
        if let (true, Some(x), Some(y)) = (is_floor, cell("x"), cell("y"))
            && is_usable(x)
            && is_usable(y)
            && named.insert(point.to_owned())
        {
            lines.put(format!("support.{}", form.support.len()), row.line);
            let at = Some([typed(x), typed(y)]);
            form.support.push(SupportForm { id: point.to_owned(), at, ..SupportForm::default() });
        } else if !is_floor || known_level.is_some() {
            beside_floor.insert(point);
        } else if !struck && !named.contains(point) {
            unplaced.entry(point.to_owned()).or_insert(row.line);
        }
    }
    for (point, line) in unplaced {
        if !named.contains(&point) && !beside_floor.contains(point.as_str()) {
            lines.put(format!("point.{}", form.point.len()), line);
            form.point.push(PointForm { id: point, ..PointForm::default() });
        }
    }
    let mut assumptions = Vec::new();
    if !form.support.is_empty() {
        assumptions.push(Assumption {
            text: "each floor point stands over a support of its own with the same name".to_owned(),
        });
    }
    if !has_benchmark && let Some(first) = first_point {
        assumptions
            .push(Assumption { text: format!("no benchmark is given: {first} is called zero") });
        form.datum = Some(DatumForm { zero: Some(first), ..DatumForm::default() });
    }
    let one_setup = !table.has("setup");
    if one_setup {
        assumptions.push(Assumption { text: "all readings were taken from one setup".to_owned() });
    }
    form.setup = setups_of_table(&main.name, table);
    (form, lines, assumptions)
}

/// The setups that a table names, in its order; one if it names none.
fn setups_of_table(file: &str, table: &Table) -> Vec<SetupForm> {
    let mut setups: Vec<SetupForm> = Vec::new();
    for row in &table.rows {
        let id = table.cell(row, "setup").unwrap_or("1");
        if !setups.iter().any(|known| known.id == id) {
            let readings = Some(RowsForm::File(file.to_owned()));
            setups.push(SetupForm { id: id.to_owned(), readings, ..SetupForm::default() });
        }
    }
    setups
}

/// A plain number as a number, so that the form is written without quotes round it.
fn typed(cell: &str) -> Quantity {
    let plain =
        cell.trim_start_matches('-').bytes().all(|byte| byte.is_ascii_digit() || byte == b'.');
    match cell.parse() {
        Ok(number) if plain && cell.len() < 15 => Quantity::Number(number),
        _ => Quantity::from(cell),
    }
}

fn check_with(
    document: Document,
    read: &mut ReadFile<'_>,
    tables: BTreeMap<String, Option<Rc<Table>>>,
    assumptions: Vec<Assumption>,
) -> Loaded {
    let Document { form, lines, faults } = document;
    if form.format.is_none() && !faults.is_empty() {
        return Loaded { job: None, form, faults };
    }
    let head = form.job.clone().unwrap_or_default();
    let units = head.units.unwrap_or_default();
    let mut checker = Checker {
        form: &form,
        lines: &lines,
        read,
        bare_table: !tables.is_empty(),
        tables,
        faults,
        assumptions,
        units,
        reading_units: head.reading_units.unwrap_or(units),
        site: SiteDraft::default(),
        bare_readings: Vec::new(),
        struck: Vec::new(),
        again: Vec::new(),
        n_unknown: 0,
        hose: HoseInput::default(),
    };
    let job = checker.job(head);
    let mut faults = checker.faults;
    faults.sort_by_key(|fault| (fault.file != lines.file, fault.file.clone(), fault.line));
    faults.dedup();
    let usable = !faults.iter().any(Fault::is_error);
    Loaded { job: job.filter(|_| usable), form, faults }
}

/// A place in the document, for faults.
#[derive(Clone, Debug)]
pub(crate) struct Spot {
    file: String,
    /// Known outright for rows of CSV files.
    line: Option<usize>,
    /// Otherwise found by this path.
    path: String,
    place: String,
}

/// What a name is looked up among.
#[derive(Clone, Copy, Debug)]
enum Named {
    Room,
    Support,
    Bearer,
    /// Points, and supports for the floor over them.
    Point,
    Setup,
}

impl Named {
    fn word(self) -> &'static str {
        match self {
            Self::Room => "room",
            Self::Support => "support",
            Self::Bearer => "bearer",
            Self::Point => "point",
            Self::Setup => "setup",
        }
    }
}

pub(crate) struct Checker<'a> {
    form: &'a Form,
    lines: &'a Lines,
    read: &'a mut ReadFile<'a>,
    tables: BTreeMap<String, Option<Rc<Table>>>,
    faults: Vec<Fault>,
    assumptions: Vec<Assumption>,
    units: Unit,
    reading_units: Unit,
    site: SiteDraft,
    /// Whether the job is a table alone.
    bare_table: bool,
    bare_readings: Vec<BareReadings>,
    struck: Vec<StruckReading>,
    /// The setups that were read after a pass.
    again: Vec<Resurvey>,
    n_unknown: usize,
    hose: HoseInput,
}

impl Checker<'_> {
    fn job(&mut self, head: JobForm) -> Option<JobInput> {
        self.check_head(&head);
        let orientation = self.orientation(&head);
        self.rooms();
        self.supports();
        self.points();
        let benchmarks = self.benchmarks();
        self.your_hose();
        let survey = self.survey(benchmarks);
        let books = self.books(&survey.benchmarks);
        self.check_metres();
        let (goal, tie) = self.goal();
        let limits = self.limits();
        let stock = self.stock();
        let rates = self.rates();
        let passes = self.passes(head.date.as_deref());
        let terms = head.terms.unwrap_or_default();
        let frame = self.frame(terms);
        let criteria = self.criteria(terms);
        let survey = self.datum(survey);
        self.check_net(&survey, &books);
        let business = self.business();
        let (site, support_details) = self.finish_site()?;
        let (doors, obstacles) = (self.doors(&site), self.obstacles());
        Some(JobInput {
            name: head.name.unwrap_or_else(|| "job without a name".to_owned()),
            client: head.client,
            address: head.address,
            date: head.date,
            note: head.note,
            business,
            terms,
            units: self.units,
            reading_units: self.reading_units,
            orientation,
            site,
            support_details,
            survey,
            hose: std::mem::take(&mut self.hose),
            doors,
            obstacles,
            struck: std::mem::take(&mut self.struck),
            books,
            frame,
            goal,
            tie,
            limits,
            stock,
            rates,
            criteria,
            done: WorkDone { passes, again: std::mem::take(&mut self.again) },
            assumptions: std::mem::take(&mut self.assumptions),
        })
    }

    fn business(&mut self) -> Option<Business> {
        let spot = self.spot("business", "[business]");
        match business(self.form.business.as_ref()?) {
            Ok(business) => Some(business),
            Err(faults) => {
                for (key, what, hint) in faults {
                    let fault = self.error(&spot, key, what).hint(hint);
                    self.faults.push(fault);
                }
                None
            }
        }
    }

    fn check_head(&mut self, head: &JobForm) {
        if head.terms.is_none() {
            self.assume("words and criteria are those of Australia (terms are not given)");
        }
        if head.units.is_none() {
            self.assume("lengths are in millimetres (units are not given)");
        }
        if let Some(date) = &head.date
            && !is_date(date)
        {
            let spot = self.spot("job", "[job]");
            let fault =
                self.error(&spot, "date", "the date is not year-month-day").value(date.as_str());
            self.faults.push(fault.hint("write for example 2026-03-31"));
        }
    }

    fn orientation(&mut self, head: &JobForm) -> Orientation {
        let spot = self.spot("job", "[job]");
        match (head.north, head.street) {
            (None, None) => Orientation::NotDeclared,
            (None, Some(side)) => Orientation::Street(side),
            (Some(north), street) => {
                if street.is_some() {
                    let what = "street is not used, for north is given as well";
                    let warning = self.warning(&spot, "street", what);
                    self.faults.push(warning.hint("take one of the two out"));
                }
                match self.number(&spot, "north", north, &limits::NORTH) {
                    Some(degrees) => Orientation::North { degrees: degrees % 360.0 },
                    None => Orientation::NotDeclared,
                }
            }
        }
    }

    fn has_errors(&self) -> bool {
        self.faults.iter().any(Fault::is_error)
    }

    fn assume(&mut self, text: impl Into<String>) {
        let text = text.into();
        if !self.assumptions.iter().any(|known| known.text == text) {
            self.assumptions.push(Assumption { text });
        }
    }

    fn spot(&self, path: impl Into<String>, place: impl Into<String>) -> Spot {
        Spot { file: self.lines.file.clone(), line: None, path: path.into(), place: place.into() }
    }

    fn line(&self, spot: &Spot, key: &str) -> Option<usize> {
        match (spot.line, key) {
            (Some(line), _) => Some(line),
            (None, "") => self.lines.of(&spot.path),
            (None, key) => self.lines.of(&format!("{}.{key}", spot.path)),
        }
    }

    fn error(&self, spot: &Spot, key: &str, what: impl Into<String>) -> Fault {
        Fault::error(&spot.file, spot.place.clone(), what).at_line(self.line(spot, key))
    }

    fn warning(&self, spot: &Spot, key: &str, what: impl Into<String>) -> Fault {
        Fault::warning(&spot.file, spot.place.clone(), what).at_line(self.line(spot, key))
    }

    /// A name that is there, is short enough to print and has nothing unprintable in it.
    fn check_name(&mut self, spot: &Spot, key: &str, name: &str) {
        if name.trim().is_empty() {
            self.missing(spot, key, format!("{key} is missing"), "give it a name, such as \"A1\"");
            return;
        }
        let (what, hint) = if name.chars().count() > 40 {
            (
                format!("{key} is longer than 40 letters"),
                "shorten it: it is printed beside its point",
            )
        } else if name.chars().any(char::is_control) || name.trim() != name {
            (
                format!("{key} has a space at its end, or a letter that cannot be printed"),
                "write it again",
            )
        } else {
            return;
        };
        let fault = self.error(spot, key, what).hint(hint);
        self.faults.push(fault);
    }

    /// Something that has to be written is not; said only of blocks that could be read whole.
    fn missing(
        &mut self,
        spot: &Spot,
        key: &str,
        what: impl Into<String>,
        hint: impl Into<String>,
    ) {
        if !self.lines.is_damaged(&spot.path) {
            let fault = self.error(spot, key, what).hint(hint);
            self.faults.push(fault);
        }
    }

    fn given_twice(
        &mut self,
        spot: &Spot,
        key: &str,
        what: &str,
        name: &str,
        first: Option<usize>,
    ) {
        if name.trim().is_empty() {
            return; // said to be missing already
        }
        let mut fault = self.error(spot, key, format!("the {what} is given twice"));
        if let Some(line) = first {
            fault.what += &format!(", first on line {line}");
        }
        self.faults.push(fault.hint("take one of the two out, or give it another name"));
    }

    fn unknown(&mut self, spot: &Spot, key: &str, kind: Named, name: &str) {
        self.n_unknown += 1;
        let hint = if self.n_unknown > MOST_SUGGESTIONS {
            "correct the name; many are unknown, so look for one cause first".to_owned()
        } else {
            let known = self.names(kind);
            match nearest_name(name, known.iter().map(String::as_str)) {
                Some(nearest) => format!("did you mean {nearest}?"),
                None if known.is_empty() => format!("the job has no {}s yet", kind.word()),
                None => format!("known: {}", a_few(&known)),
            }
        };
        let what = format!("{} {name} is not in the job", kind.word());
        let fault = self.error(spot, key, what).hint(hint);
        self.faults.push(fault);
    }

    fn names(&self, kind: Named) -> Vec<String> {
        match kind {
            Named::Room => self.site.room_names(),
            Named::Support => self.site.support_names(),
            Named::Bearer => self.form.bearer.iter().map(|bearer| bearer.id.clone()).collect(),
            Named::Point => self.site.point_names(),
            Named::Setup => self.form.setup.iter().map(|setup| setup.id.clone()).collect(),
        }
    }

    /// The table of a CSV file that the job names, read once; `None` if it cannot be had.
    fn table(
        &mut self,
        spot: &Spot,
        key: &str,
        name: &str,
        known: &'static [&'static str],
        needed: &[&str],
    ) -> Option<Rc<Table>> {
        if let Some(table) = self.tables.get(name) {
            return table.clone();
        }
        let table = if let Some(why) = leads_elsewhere(name) {
            let fault = self.error(spot, key, format!("{key} names a file {why}")).value(name);
            self.faults.push(fault.hint("put the file beside the job and write its name alone"));
            None
        } else {
            match (self.read)(name) {
                Ok(text) => {
                    let source = SourceFile::new(name, text);
                    let (table, faults) = read_table(&source, known, needed);
                    self.faults.extend(faults);
                    Some(Rc::new(table))
                }
                Err(why) => {
                    let what = format!("the file {name} cannot be read: {why}");
                    let fault = self.error(spot, key, what);
                    self.faults
                        .push(fault.hint("put the file beside the job, or correct its name"));
                    None
                }
            }
        };
        self.tables.insert(name.to_owned(), table.clone());
        table
    }
}

/// Why a file name may not be followed, if it may not.
fn leads_elsewhere(name: &str) -> Option<&'static str> {
    if name.is_empty() {
        Some("without a name")
    } else if name.starts_with(['/', '\\']) || name.contains(':') {
        Some("by an absolute path")
    } else if name.contains('\\') || name.chars().any(char::is_control) {
        Some("with a letter that file names do not have everywhere")
    } else if name.split('/').any(|part| part == ".." || part.is_empty()) {
        Some("outside the job's folder")
    } else {
        None
    }
}

/// Whether a text is a date, year-month-day.
pub fn is_date(text: &str) -> bool {
    let parts: Vec<&str> = text.split('-').collect();
    let number = |part: &str, width: usize| {
        (part.len() == width && part.bytes().all(|byte| byte.is_ascii_digit()))
            .then(|| part.parse::<u32>().ok())
            .flatten()
    };
    let [year, month, day] = parts[..] else { return false };
    let (Some(year), Some(month), Some(day)) = (number(year, 4), number(month, 2), number(day, 2))
    else {
        return false;
    };
    let leap = year % 4 == 0 && (year % 100 != 0 || year % 400 == 0);
    let longest = match month {
        4 | 6 | 9 | 11 => 30,
        2 if leap => 29,
        2 => 28,
        1..=12 => 31,
        _ => return false,
    };
    (1..=longest).contains(&day)
}

/// A thing by its name, or by its number if it has none.
fn called(kind: &str, name: &str, idx: usize) -> String {
    let printable: String =
        name.trim().chars().filter(|letter| !letter.is_control()).take(40).collect();
    if printable.is_empty() {
        format!("{kind} number {}", idx + 1)
    } else {
        format!("{kind} {printable}")
    }
}

/// The first few of a list of names, and how many more there are.
fn a_few(names: &[impl AsRef<str>]) -> String {
    const SHOWN: usize = 6;
    let shown: Vec<&str> = names.iter().take(SHOWN).map(AsRef::as_ref).collect();
    let more = names.len().saturating_sub(SHOWN);
    if more == 0 { shown.join(", ") } else { format!("{} and {more} more", shown.join(", ")) }
}

/// The support that a point is said to be over.
fn over_support(place: &PlaceForm) -> Option<&str> {
    match place {
        PlaceForm::OverSupport(support) => Some(support),
        PlaceForm::Position(_) => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn file_names_stay_in_the_job_folder() {
        for name in
            ["/etc/passwd", "../x.csv", "a/../x.csv", "C:x.csv", "\\x", "a\\b", "", "a//b", "x\0"]
        {
            assert!(leads_elsewhere(name).is_some(), "{name}");
        }
        for name in ["readings.csv", "day 2/readings.csv", "..csv"] {
            assert!(leads_elsewhere(name).is_none(), "{name}");
        }
    }

    #[test]
    fn dates_of_the_calendar() {
        for date in ["2026-03-31", "2024-02-29"] {
            assert!(is_date(date), "{date}");
        }
        for date in
            ["2026-02-29", "31-03-2026", "2026-13-01", "2026-1-1", "", "2026-00-10", "yesterday"]
        {
            assert!(!is_date(date), "{date}");
        }
    }
}
