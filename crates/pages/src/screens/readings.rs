//! Taking readings, one-handed.

use crate::answer::plan_of_setup;
use crate::layout::{Shell, bare_unit, typed};
use crate::screens::notes;
use crate::view::JobView;
use floorwright_engine::hose::{REPEATS_WITHIN, Reservoir};
use floorwright_engine::ids::PointId;
use floorwright_engine::plan::Plan;
use floorwright_engine::survey::POINTS_BETWEEN;
use floorwright_engine::survey::ReadingSd;
use floorwright_engine::units::round_to;
use floorwright_job::HoseInput;
use floorwright_job::events::About;
use floorwright_job::form_v1::{Form, InstrumentForm, PlaceForm, Quantity, RowsForm, SupportForm};
use floorwright_job::hose_told::two_readings;
use floorwright_job::measure::Unit;
use floorwright_job::said;
use floorwright_job::words::Words;
use maud::{Markup, html};
use std::collections::{BTreeMap, BTreeSet};

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
            data-every=(rules.every) data-agree=(rules.agree) {
            h1 {
                label for="point" { "Point " }
                input #point list="points" value=(next) autocapitalize="characters" autocomplete="off";
            }
            datalist #points { @for point in &order { option value=(point) {} } }
            p #why .hint {}
            output #digits aria-live="polite" { "" }
            p #spelt .hint { "Type what the staff says" }
            @if rules.twin {
                label { "The standing end, at the same moment"
                    input #standing inputmode=(if unit == Unit::FeetInches { "text" } else { "decimal" }) autocomplete="off"; }
            }
            div #answer role="status" aria-live="assertive" {}
            div .keypad {
                @for key in ["7", "8", "9", "4", "5", "6", "1", "2", "3"] {
                    button type="button" data-key=(key) { (key) }
                }
                button type="button" data-key="point" { (point) }
                button type="button" data-key="0" { "0" }
                button type="button" data-key="back" aria-label="Take off the last digit" { "⌫" }
            }
            div .actions {
                button type="button" data-key="down" { "−" (step) }
                button #save .main type="button" { "Save" }
                button type="button" data-key="up" { "+" (step) }
            }
            @if let Some(seconds) = rules.wait {
                div .actions { button #wait type="button" data-seconds=(seconds) { "Wait " (seconds) " s" } }
                p .hint { "Then " (rules.two) ". " a href={ "/jobs/" (job.id) "/hose" } { "Your hose" } }
            }
            div .actions {
                button #again type="button" { "Read it again, blind" }
                button #undo type="button" hidden[true] { "Undo" }
            }
        }
        (notes::form(None))
        (taken(job))
        details {
            summary { "New standing of the instrument" }
            form data-put="setup" data-form="{}" {
                label { "Name" input name="id" value=(fresh_setup(form)) required[true]; }
                label { "Read with"
                    select name="instrument" {
                        option value="hose" { "water hose" } option value="level" { "level" } option value="laser" { "laser" }
                    }
                }
                button type="submit" { "Stand here" }
            }
        }
    })
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
        let hose = job.worked.as_ref().map_or(&nobody_s, |worked| &worked.input.hose);
        let figures = hose.figures(None).ok();
        let stated = job.worked.as_ref().and_then(|worked| {
            let known = worked.job.survey.setups.iter().find(|known| known.id.as_str() == setup)?;
            match known.reading_sd {
                ReadingSd::Each(sd) => Some(sd),
                ReadingSd::ByDistance { at_least, .. } => Some(at_least),
            }
        });
        let sd = stated.or(figures.as_ref().map(|figures| figures.worth.sd)).unwrap_or_default();
        let by_hose = form
            .setup
            .iter()
            .find(|known| known.id == setup)
            .is_some_and(|known| known.instrument == Some(InstrumentForm::Hose));
        let with_hose = figures.as_ref().filter(|_| by_hose);
        let column = with_hose.and_then(|figures| figures.column.as_ref().ok());
        let start = hose.hose.reservoir.start_of(hose.hose.largest_move);
        let twin = by_hose && hose.given && hose.hose.reservoir == Reservoir::TwinBothEnds;
        Self {
            twin,
            every: with_hose.map_or(POINTS_BETWEEN, |figures| figures.watch.points),
            agree: round_to(sd.to_mm() * REPEATS_WITHIN, 0.1),
            two: column.map_or(String::new(), two_readings),
            wait: column
                .map(|column| column.wait(start, hose.hose.settle_to).to_seconds().ceil() as u32),
        }
    }
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
    let site = job.worked.as_ref().map(|worked| &worked.job.site);
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

/// The first point of the walk that has no reading from this setup.
fn next(form: &Form, setup: &str, order: &[String]) -> String {
    let read: BTreeSet<&str> = form
        .setup
        .iter()
        .filter(|known| known.id == setup)
        .filter_map(|known| match &known.readings {
            Some(RowsForm::Rows(rows)) => Some(rows),
            _ => None,
        })
        .flatten()
        .map(|row| row.point.as_str())
        .collect();
    order.iter().find(|point| !read.contains(point.as_str())).cloned().unwrap_or_default()
}

fn taken(job: &JobView) -> Markup {
    let plan = job
        .worked
        .as_ref()
        .map(|worked| plan_of_setup(job, worked, &current_setup(&job.folded.form)));
    html! {
        section aria-labelledby="taken" {
            h2 #taken { (job.folded.readings.len()) " readings taken here" }
            @for fault in &job.folded.faults { p .warn { (fault) } }
            @if let Some(plan) = plan { (read_again(plan, job.words())) }
            table {
                thead { tr { th scope="col" { "Point" } th scope="col" { "Reading" } th scope="col" { "Level" } th scope="col" {} } }
                tbody #list {
                    @for taken in job.folded.readings.iter().rev().take(60) {
                        tr data-setup=(taken.setup) {
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
            (notes::shown(job, |about| matches!(about, About::Point(_))))
        }
    }
}

fn level(job: &JobView, setup: &str, point: &str) -> String {
    let words = job.words();
    let level = job.worked.as_ref().and_then(|worked| {
        plan_of_setup(job, worked, setup).reduction.levels.get(&PointId::new(point))
    });
    level.map_or(String::new(), |point| words.level_number(point.level))
}

/// What to read again, from the readings themselves.
pub(crate) fn read_again(plan: &Plan, words: Words) -> Markup {
    let again = said::read_again(plan, words);
    html! {
        @if !again.is_empty() {
            div .warn { strong { "Read again first" } ul { @for sentence in &again { li { (sentence) } } } }
        }
    }
}
