//! Taking readings, one-handed.

use crate::answer::plan_of_setup;
use crate::layout::{Shell, bare_unit, typed};
use crate::screens::notes;
use crate::view::{JobView, first_read, says_datum};
use floorwright_engine::hose::{REPEATS_WITHIN, Reservoir};
use floorwright_engine::ids::PointId;
use floorwright_engine::plan::Plan;
use floorwright_engine::survey::{POINTS_BETWEEN, Reading, ReadingSd};
use floorwright_engine::units::{ExactLength, Length, round_to};
use floorwright_job::HoseInput;
use floorwright_job::events::About;
use floorwright_job::form_v1::{
    Form, InstrumentForm, PlaceForm, Quantity, RowsForm, SetupForm, SupportForm,
};
use floorwright_job::hose_told::two_readings;
use floorwright_job::limits;
use floorwright_job::measure::{DecimalMark, Unit, parse_length};
use floorwright_job::said;
use floorwright_job::words::Words;
use maud::{Markup, html};
use std::collections::{BTreeMap, BTreeSet};

/// So many of the readings that were taken here are listed, the newest first.
const MOST_LISTED: usize = 60;

/// The page.
pub fn page(shell: &Shell<'_>, job: &JobView) -> Markup {
    let form = &job.folded.form;
    let setup = current_setup(form);
    let setup = setup.as_str();
    let points = points(job);
    let order = order(form, &points);
    let next = next(form, setup, &order);
    let unit = form.job.as_ref().and_then(|job| job.reading_units.or(job.units));
    let unit = unit.unwrap_or_default();
    let (step, point) = match unit {
        Unit::Millimetres => ("1", "."),
        Unit::Metres => ("1 mm", "."),
        Unit::FeetInches => ("1/16", "/16"),
    };
    let rules = Rules::of(job, setup);
    let known = known(form, &order);
    shell.page("Readings", &html! {
        section .reading data-setup=(setup) data-unit=(bare_unit(unit))
            data-order=(serde_json::to_string(&order).unwrap_or_default())
            data-known=(serde_json::to_string(&known).unwrap_or_default())
            data-benchmark=[form.benchmark.first().map(|mark| mark.point.as_str())]
            data-every=(rules.every) data-agree=(rules.agree)
            data-most=(rules.most.to_mm()) data-most-said=(job.words().exact(rules.most))
            data-shows=[rules.shows.map(|(from, to)| format!("{} {}", from.to_mm(), to.to_mm()))]
            data-shows-said=[rules.shows.map(|ends| shows_said(ends, job.words()))] {
            div .typed {
                h1 { label for="point" { "Point" } }
                p #spelt { (type_what(unit)) }
                input #point list="points" value=(next) autocapitalize="characters" autocomplete="off";
                output #digits aria-live="polite" { "" }
            }
            datalist #points { @for point in &order { option value=(point) {} } }
            @if rules.twin || rules.wait.is_some() {
                div .beside {
                    @if rules.twin {
                        label for="standing" { "Standing end, same moment" }
                        input #standing inputmode=(if unit == Unit::FeetInches { "text" } else { "decimal" }) autocomplete="off";
                    }
                    @if let Some(seconds) = rules.wait {
                        button #wait type="button" data-seconds=(seconds) { "Wait " (seconds) " s" }
                    }
                }
            }
            div .heard {
                (nothing_to_count_from(job, &order))
                p #why .hint {}
                div #answer role="status" aria-live="assertive" {}
            }
            div .keypad {
                @for row in [["7", "8", "9"], ["4", "5", "6"], ["1", "2", "3"]].iter().zip([("back", "⌫"), ("up", "+"), ("down", "−")]) {
                    @for key in row.0 { button type="button" data-key=(key) { (key) } }
                    @let (key, sign) = row.1;
                    @if key == "back" {
                        button type="button" data-key=(key) aria-label="Take off the last digit" { (sign) }
                    } @else {
                        button .step type="button" data-key=(key) { (sign) (step) }
                    }
                }
                button type="button" data-key="point" { (point) }
                button type="button" data-key="0" { "0" }
                button #save .main type="button" { "Save" }
            }
        }
        div {
            (Shell::outbox())
            div .actions {
                button #undo type="button" hidden[true] { "Undo" }
                button #again type="button" { "Read it again, blind" }
            }
            @if rules.wait.is_some() {
                p .hint { "After the wait: " (rules.two) ". " a href={ "/jobs/" (job.id) "/hose" } { "Your hose" } }
            }
        }
        (notes::form(None))
        (taken(job))
        (came_along(job))
        (read_with(form, setup))
        details {
            summary { "The instrument stands elsewhere now" }
            form data-put="setup" data-form="{}" {
                label { "Name of this standing" input name="id" value=(fresh_setup(form)) required[true] maxlength="40"; }
                (instrument(None))
                button type="submit" { "Read from here" }
            }
            p .hint { "Begin with the benchmark, or with two points that were read before: so the two standings hang together." }
        }
    })
}

fn type_what(unit: Unit) -> &'static str {
    match unit {
        Unit::FeetInches => "Type the inches",
        Unit::Millimetres | Unit::Metres => "Type what the staff says",
    }
}

fn shows_said((from, to): (Length, Length), words: Words) -> String {
    format!("from {} to {}", words.exact(from), words.exact(to))
}

/// What to do while nothing says what levels are counted from.
fn nothing_to_count_from(job: &JobView, order: &[String]) -> Markup {
    let form = &job.folded.form;
    let first = first_read(form).or_else(|| order.first().cloned());
    let site = format!("/jobs/{}/site#datum", job.id);
    // A table of readings may bring its own benchmark.
    let is_unread = form.setup.iter().all(|setup| setup.readings.is_none());
    html! {
        @if !says_datum(form) && (job.worked.is_none() || is_unread) {
            div #no-datum .warn {
                p { "Nothing is called zero yet. Readings are kept, and compared with one another." }
                @if let Some(first) = first {
                    button type="button" data-zero=(first) data-datum=(datum_json(form)) { "Call " (first) " zero" }
                    " or "
                }
                a href=(site) { "name a benchmark" } ": a mark that does not move with the house."
            }
        }
    }
}

/// The datum of a job as it is, for a form that changes a part of it.
pub(crate) fn datum_json(form: &Form) -> String {
    serde_json::to_string(&form.datum.clone().unwrap_or_default()).unwrap_or_default()
}

fn instrument(chosen: Option<InstrumentForm>) -> Markup {
    let kinds = [
        (InstrumentForm::Hose, "hose", "a water hose"),
        (InstrumentForm::Level, "level", "a level"),
        (InstrumentForm::Laser, "laser", "a laser"),
    ];
    html! {
        label { "Read with"
            select name="instrument" {
                @for (kind, word, said) in kinds { option value=(word) selected[chosen == Some(kind)] { (said) } }
            }
        }
    }
}

/// What the standing in use is read with: asked where nobody said it, for a hose has to be waited for.
fn read_with(form: &Form, setup: &str) -> Markup {
    let known = form.setup.iter().find(|known| known.id == setup).cloned();
    let known = known.unwrap_or_else(|| SetupForm { id: setup.to_owned(), ..SetupForm::default() });
    let chosen = known.instrument;
    // The readings stay with it.
    let as_it_is = SetupForm { readings: None, ..known };
    html! {
        details open[chosen.is_none()] {
            summary { "What is read with" }
            form data-put="setup" data-form=(serde_json::to_string(&as_it_is).unwrap_or_default()) {
                (instrument(chosen))
                button type="submit" { "Use it" }
            }
        }
    }
}

/// Every name that a reading may have: of the walk, and of all points and benchmarks.
fn known<'a>(form: &'a Form, order: &'a [String]) -> BTreeSet<&'a str> {
    let points = form.point.iter().map(|point| point.id.as_str());
    let marks = form.benchmark.iter().map(|mark| mark.point.as_str());
    let zero = form.datum.as_ref().and_then(|datum| datum.zero.as_deref());
    order.iter().map(String::as_str).chain(points).chain(marks).chain(zero).collect()
}

/// What the engine asks of whoever reads.
struct Rules {
    /// After so many readings the benchmark is read again.
    every: usize,
    /// Two readings of a point that are further apart than this (in mm) are not taken for one another.
    agree: f64,
    /// Nothing is read beyond the end of the staff.
    most: Length,
    /// What the tube shows, if the job says it and it is what is read with.
    shows: Option<(Length, Length)>,
    /// A twin hose is read at both ends.
    twin: bool,
    /// Seconds to wait after each move, with a hose.
    wait: Option<u32>,
    /// How two readings are taken that are to agree, with a hose.
    two: String,
}

impl Rules {
    fn of(job: &JobView, setup: &str) -> Self {
        let form = &job.folded.form;
        let nobody_s = HoseInput::default();
        let hose = job.at_hand().map_or(&nobody_s, |worked| &worked.input.hose);
        let figures = hose.figures(None).ok();
        let stated = job.at_hand().and_then(|worked| {
            let known = worked.job.survey.setups.iter().find(|known| known.id.as_str() == setup)?;
            match known.reading_sd {
                ReadingSd::Each(sd) => Some(sd),
                ReadingSd::ByDistance { at_least, .. } => Some(at_least),
            }
        });
        let sd = stated.or(figures.as_ref().map(|figures| figures.worth.sd)).unwrap_or_default();
        let stands = form.setup.iter().find(|known| known.id == setup);
        let by_hose = stands.is_some_and(|known| known.instrument == Some(InstrumentForm::Hose));
        let staff = stands.and_then(|known| known.staff.as_ref());
        let says_what_it_shows = form.hose.as_ref().is_some_and(|hose| hose.reads.is_some());
        let with_hose = figures.as_ref().filter(|_| by_hose);
        let column = with_hose.and_then(|figures| figures.column.as_ref().ok());
        let start = hose.hose.reservoir.start_of(hose.hose.largest_move);
        let twin = by_hose && hose.given && hose.hose.reservoir == Reservoir::TwinBothEnds;
        Self {
            most: staff.and_then(|staff| length_of(staff, form)).unwrap_or(limits::STAFF_LENGTH),
            shows: (by_hose && says_what_it_shows).then_some(hose.hose.reads),
            twin,
            every: with_hose.map_or(POINTS_BETWEEN, |figures| figures.watch.points),
            agree: round_to(sd.to_mm() * REPEATS_WITHIN, 0.1),
            two: column.map_or(String::new(), two_readings),
            wait: column
                .map(|column| column.wait(start, hose.hose.settle_to).to_seconds().ceil() as u32),
        }
    }
}

/// A length of the job, if it can be read.
fn length_of(typed: &Quantity, form: &Form) -> Option<Length> {
    let unit = form.job.as_ref().and_then(|job| job.units).unwrap_or_default();
    let text = match typed {
        Quantity::Number(number) => number.to_string(),
        Quantity::Text(text) => text.clone(),
    };
    parse_length(&text, unit, DecimalMark::Point).ok().map(ExactLength::to_length)
}

/// The setup that readings go to: the last one, unless its readings are in a file.
fn current_setup(form: &Form) -> String {
    match form.setup.last() {
        Some(last) if matches!(last.readings, Some(RowsForm::File(_))) => fresh_setup(form),
        Some(last) => last.id.clone(),
        None => "S1".to_owned(),
    }
}

/// A name that no setup has.
fn fresh_setup(form: &Form) -> String {
    let is_new = |name: &String| form.setup.iter().all(|setup| setup.id != *name);
    (form.setup.len() + 1..).map(|number| format!("S{number}")).find(is_new).unwrap_or_default()
}

/// Points to read: benchmarks, points of the job, and the floor over each support.
fn points(job: &JobView) -> Vec<(String, Option<(f64, f64)>)> {
    let form = &job.folded.form;
    let number = |quantity: &Quantity| match quantity {
        Quantity::Number(number) => Some(*number),
        Quantity::Text(text) => text.trim().parse().ok(),
    };
    let place = |at: &[Quantity; 2]| Some((number(&at[0])?, number(&at[1])?));
    // In whatever unit places were typed; as typed only while the job has faults.
    let site = job.at_hand().map(|worked| &worked.job.site);
    let placed: BTreeMap<&str, (f64, f64)> = site
        .iter()
        .flat_map(|site| site.supports())
        .map(|support| (support.id.as_str(), (support.at.x.to_mm(), support.at.y.to_mm())))
        .collect();
    let of_support = |support: &SupportForm| {
        let known = placed.get(support.id.as_str()).copied();
        known.or_else(|| support.at.as_ref().and_then(place))
    };
    let supports: BTreeMap<&str, Option<(f64, f64)>> =
        form.support.iter().map(|support| (support.id.as_str(), of_support(support))).collect();
    let of_point = |name: &str| {
        let point = site?.points().iter().find(|point| point.id.as_str() == name)?;
        point.at.map(|at| (at.x.to_mm(), at.y.to_mm()))
    };
    let mut seen = BTreeSet::new();
    let marks = form.benchmark.iter().map(|mark| (mark.point.clone(), None));
    let own = form.point.iter().map(|point| {
        let at = match &point.at {
            Some(PlaceForm::Position(at)) => of_point(&point.id).or_else(|| place(at)),
            Some(PlaceForm::OverSupport(support)) => {
                supports.get(support.as_str()).copied().flatten()
            }
            None => None,
        };
        (point.id.clone(), at)
    });
    let over = supports.iter().map(|(name, at)| ((*name).to_owned(), *at));
    // Points that came with a table of readings.
    let of_tables = site
        .iter()
        .flat_map(|site| site.points())
        .map(|point| (point.id.to_string(), point.at.map(|at| (at.x.to_mm(), at.y.to_mm()))));
    marks
        .chain(own)
        .chain(over)
        .chain(of_tables)
        .filter(|(name, _)| seen.insert(name.clone()))
        .collect()
}

/// A walk: the benchmark, then row by row, there and back.
fn order(form: &Form, points: &[(String, Option<(f64, f64)>)]) -> Vec<String> {
    let marks: BTreeSet<&str> = form.benchmark.iter().map(|mark| mark.point.as_str()).collect();
    let (first, rest): (Vec<_>, Vec<_>) =
        points.iter().partition(|(name, _)| marks.contains(name.as_str()));
    let (mut placed, placeless): (Vec<_>, Vec<_>) =
        rest.into_iter().partition(|(_, at)| at.is_some());
    let rows_apart = 600.0;
    placed.sort_by(|a, b| {
        let (a, b) = (a.1.unwrap_or_default(), b.1.unwrap_or_default());
        let row = |at: (f64, f64)| (at.1 / rows_apart).round() as i64;
        let along = a.0.total_cmp(&b.0);
        row(a).cmp(&row(b)).then(if row(a) % 2 == 0 { along } else { along.reverse() })
    });
    first.into_iter().chain(placed).chain(placeless).map(|(name, _)| name.clone()).collect()
}

/// The points that were read from a setup.
fn read_from<'a>(form: &'a Form, setup: &str) -> BTreeSet<&'a str> {
    let stands = form.setup.iter().filter(|known| known.id == setup);
    let rows = stands.filter_map(|known| match &known.readings {
        Some(RowsForm::Rows(rows)) => Some(rows),
        _ => None,
    });
    rows.flatten().map(|row| row.point.as_str()).collect()
}

/// The first point of the walk that has no reading from this setup.
fn next(form: &Form, setup: &str, order: &[String]) -> String {
    let read = read_from(form, setup);
    order.iter().find(|point| !read.contains(point.as_str())).cloned().unwrap_or_default()
}

fn taken(job: &JobView) -> Markup {
    let form = &job.folded.form;
    let setup = current_setup(form);
    let plan = job.at_hand().map(|worked| plan_of_setup(job, worked, &setup));
    let n_taken = job.folded.readings.len();
    let read = read_from(form, &setup);
    let after_pass =
        form.setup.iter().find(|known| known.id == setup).and_then(|known| known.after_pass);
    // That nothing was read after a pass yet is no fault of the readings.
    let begins_after = after_pass.filter(|_| read.is_empty());
    html! {
        section aria-labelledby="taken"
            data-read=(serde_json::to_string(&read).unwrap_or_default()) {
            h2 #taken { (said::count(n_taken, "reading", "readings")) " taken here" }
            @for fault in &job.folded.faults { p .warn { (fault) } }
            @if let Some(pass) = begins_after {
                p .hint { "Nothing is read after pass " (pass) " yet"
                    @if let Some(mark) = form.benchmark.first() { ": begin with " (mark.point) } "." }
            } @else if let Some(plan) = plan.filter(|_| n_taken > 0) {
                (read_again(plan, job.words()))
            }
            table {
                thead { tr { th scope="col" { "Point" } th scope="col" { "Reading" }
                    th scope="col" { "Level" @if let Some(from) = job.counted_from_first() { ", from " (from) } } th scope="col" {} } }
                tbody #list {
                    @for taken in job.folded.readings.iter().rev().take(MOST_LISTED) {
                        tr data-setup=(taken.setup) data-event=(taken.event)
                            data-as=(serde_json::to_string(&taken.reading).unwrap_or_default()) {
                            th scope="row" { (taken.reading.point) }
                            td { @if let Some(reading) = &taken.reading.reading { (typed(reading)) } }
                            td { (level(job, &taken.setup, &taken.reading.point)) }
                            td {
                                button type="button" data-undo=(taken.event)
                                    aria-label={ "Take back the reading at " (taken.reading.point) } { "Take back" }
                            }
                        }
                    }
                }
            }
            @if n_taken > MOST_LISTED { p { "The " (n_taken - MOST_LISTED) " before them are not listed here." } }
            (notes::shown(job, |about| matches!(about, About::Point(_))))
        }
    }
}

/// The readings that came with the job: typed into its file, or in its tables.
fn came_along(job: &JobView) -> Markup {
    let Some(worked) = job.at_hand() else { return html! {} };
    let words = job.words();
    let taken_here =
        |setup: &str| job.folded.readings.iter().filter(|taken| taken.setup == setup).count();
    let again = worked.input.done.again.iter().flat_map(|again| &again.setups);
    let rows: Vec<(&str, &Reading)> = (worked.job.survey.setups.iter())
        .chain(again)
        .flat_map(|setup| {
            // Those that were taken here stand behind those that came along.
            let n_came = setup.readings.len().saturating_sub(taken_here(setup.id.as_str()));
            setup.readings.iter().take(n_came).map(|reading| (setup.id.as_str(), reading))
        })
        .collect();
    html! {
        @if !rows.is_empty() {
            details {
                summary { (said::count(rows.len(), "reading", "readings")) " came with the job" }
                p .hint { "They stay as they came. Where one is in doubt, read its point again here; to leave one out, take its row out of the table and bring the job in anew." }
                table {
                    thead { tr { th scope="col" { "Point" } th scope="col" { "Reading" } th scope="col" { "Level" } th scope="col" { "From" } } }
                    tbody {
                        @for (setup, reading) in rows {
                            tr { th scope="row" { (reading.point) } td { (words.typed(reading.value)) }
                                td { (level(job, setup, reading.point.as_str())) } td { (setup) } }
                        }
                    }
                }
            }
        }
    }
}

fn level(job: &JobView, setup: &str, point: &str) -> String {
    let words = job.words();
    let level = job.at_hand().and_then(|worked| {
        plan_of_setup(job, worked, setup).reduction.levels.get(&PointId::new(point))
    });
    level.map_or(String::new(), |point| words.level_number(point.level))
}

/// What to read again, from the readings themselves.
pub(crate) fn read_again(plan: &Plan, words: Words) -> Markup {
    let again = said::read_again(plan, words);
    html! {
        @if !again.is_empty() {
            div .warn { strong { "Read again first" } ul { @for sentence in &again { li { (as_done_here(sentence)) } } } }
        }
    }
}

/// A reading is struck out of a table by its column; here it is taken back.
fn as_done_here(sentence: &str) -> String {
    let here = "take it back in the list of readings";
    sentence
        .replace("strike it out, and say why in its column struck", here)
        .replace("strike out the one that stands alone", "take back the one that stands alone")
}
