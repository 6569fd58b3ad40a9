//! `floorwright hose`: what the builder's own hose level can do, and what to check on site.

use crate::args::{self, YourHose};
use crate::exit::{CHECK_FAILED, OK, Stop, USAGE};
use crate::report::{Report, Text, envelope, footing};
use crate::session::{Session, open, open_changed, open_form};
use floorwright_engine::hose::SwingVerdict;
use floorwright_engine::units::Seconds;
use floorwright_job::HoseFigures;
use floorwright_job::form_v1::{
    CareForm, FORMAT, FluidForm, Form, HoseKindForm, JobForm, Quantity, YourHoseForm,
};
use floorwright_job::hose_told::{told, waits};
use floorwright_job::words::Words;
use serde::de::DeserializeOwned;
use serde::de::value::{Error as WordError, StrDeserializer};

/// Where a fault of a flag stands.
const COMMAND_LINE: &str = "the command line";

/// Runs the command.
pub fn run(args: &args::Hose) -> Result<Report, Stop> {
    let mut session = match &args.job {
        Some(path) => open_with(path, &args.hose)?,
        None => {
            let mut form = Form {
                format: Some(FORMAT),
                job: Some(JobForm {
                    name: Some("a hose without a job".to_owned()),
                    terms: Some(floorwright_job::form_v1::Terms::default()),
                    units: Some(floorwright_job::measure::Unit::Millimetres),
                    ..JobForm::default()
                }),
                ..Form::default()
            };
            change_hose(&mut form, &args.hose)?;
            open_form(form, COMMAND_LINE).map_err(|stop| args.hose.named_in(stop))?
        }
    };
    forget_missing_readings(&mut session);
    let input = &session.input.hose;
    let words = Words::of(&session.input);
    let swing = args.swing.as_deref().map(seen_swing).transpose()?;
    let figures = input.figures(swing).map_err(|error| no_figure(&error))?;
    let mut text = Text::default();
    text.told(&told(input, &figures, words));
    if args.job.is_some() {
        footing(&mut text, &session);
    }
    let wrong = matches!(
        figures.swing,
        Some(SwingVerdict::Blocked | SwingVerdict::Slow | SwingVerdict::Fast)
    );
    let json = json_of(&session, &figures);
    Ok(Report { text, json: Box::new(|| json), exit: if wrong { CHECK_FAILED } else { OK } })
}

fn json_of(session: &Session, figures: &HoseFigures) -> serde_json::Value {
    let input = &session.input.hose;
    let column = figures.column.as_ref().ok();
    envelope(
        "hose",
        session,
        serde_json::json!({
            "hose": input.hose,
            "assumed": input.assumed,
            "scale": input.hose.factor(),
            "reading": figures.worth,
            "setups": input.worth,
            "budget": figures.budget,
            "regime": column.map(|column| column.regime()),
            "waits": column.map(|column| waits(column, input)),
            "range": figures.range.as_ref().ok(),
            "checks": figures.checks,
            "watch": figures.watch,
            "field_test": input.test,
            "swing": figures.swing,
        }),
    )
}

/// Opens a job with the hose of the flags in place of its own.
pub fn open_with(path: &std::path::Path, flags: &YourHose) -> Result<Session, Stop> {
    if flags.given().next().is_none() {
        return open(path);
    }
    let mut trial = Form::default();
    change_hose(&mut trial, flags)?;
    let opened = open_changed(path, |form| {
        // It was tried before, and does not depend on the form.
        let _ = change_hose(form, flags);
    });
    opened.map_err(|stop| flags.named_in(stop))
}

/// Before a survey there are no readings, and nobody need be told.
pub fn forget_missing_readings(session: &mut Session) {
    session.warnings.retain(|warning| !warning.what.contains("no readings yet"));
}

impl YourHose {
    /// The keys of `[hose]` that flags set, each with its flag.
    fn given(&self) -> impl Iterator<Item = (&'static str, &'static str)> {
        let all = [
            (self.kind.is_some(), "kind", "--kind"),
            (self.bore.is_some(), "bore", "--bore"),
            (self.length.is_some(), "length", "--length"),
            (self.reservoir.is_some(), "reservoir", "--reservoir"),
            (self.fluid.is_some(), "fluid", "--fluid"),
            (self.glycol.is_some(), "glycol", "--glycol"),
            (self.temperature.is_some(), "temperature", "--temperature"),
            (self.leg_temperatures.is_some(), "leg_temperatures", "--leg-temperatures"),
            (self.leg.is_some(), "leg", "--leg"),
            (self.read_to.is_some(), "read_to", "--read-to"),
            (self.care.is_some(), "care", "--care"),
            (self.largest_move.is_some(), "largest_move", "--move"),
            (self.settle_to.is_some(), "settle_to", "--settle-to"),
        ];
        all.into_iter().filter_map(|(given, key, flag)| given.then_some((key, flag)))
    }

    /// What is wrong with a flag is told of the flag, not of the key that it stands for.
    fn named_in(&self, mut stop: Stop) -> Stop {
        for fault in stop.faults.iter_mut().filter(|fault| fault.place == "[hose]") {
            let is_of =
                |key: &str| fault.what.strip_prefix(key).is_some_and(|rest| rest.starts_with(' '));
            let Some((key, flag)) = self.given().find(|(key, _)| is_of(key)) else { continue };
            fault.file = COMMAND_LINE.to_owned();
            fault.line = None;
            fault.column = None;
            fault.place = flag.to_owned();
            let rest = fault.what[key.len()..].trim_start();
            fault.what = rest.strip_prefix("is ").unwrap_or(rest).to_owned();
            let as_flag = |hint: String| hint.replace(&format!("{key} = "), &format!("{flag} "));
            fault.hint = fault.hint.take().map(as_flag);
        }
        stop
    }
}

fn change_hose(form: &mut Form, flags: &YourHose) -> Result<(), Stop> {
    let kind: Option<HoseKindForm> = word(flags.kind.as_deref(), "--kind", "pail or twin")?;
    let known = "water, dyed-water, propylene-glycol or ethylene-glycol";
    let fluid: Option<FluidForm> = word(flags.fluid.as_deref(), "--fluid", known)?;
    let care: Option<CareForm> = word(flags.care.as_deref(), "--care", "casual or careful")?;
    let hose = form.hose.get_or_insert_with(YourHoseForm::default);
    if flags.reservoir.is_some() {
        (hose.reservoir_size, hose.reservoir_area) = (None, None);
    }
    if kind == Some(HoseKindForm::Twin) && flags.reservoir.is_none() {
        (hose.reservoir, hose.reservoir_size, hose.reservoir_area) = (None, None, None);
    }
    if matches!(fluid, Some(FluidForm::Water | FluidForm::DyedWater)) && flags.glycol.is_none() {
        hose.glycol = None;
    }
    let set = |place: &mut Option<Quantity>, given: &Option<String>| {
        if let Some(given) = given {
            *place = Some(Quantity::Text(given.clone()));
        }
    };
    set(&mut hose.bore, &flags.bore);
    set(&mut hose.length, &flags.length);
    set(&mut hose.reservoir, &flags.reservoir);
    set(&mut hose.glycol, &flags.glycol);
    set(&mut hose.leg, &flags.leg);
    set(&mut hose.read_to, &flags.read_to);
    set(&mut hose.largest_move, &flags.largest_move);
    set(&mut hose.settle_to, &flags.settle_to);
    hose.kind = kind.or(hose.kind);
    hose.fluid = fluid.or(hose.fluid);
    hose.care = care.or(hose.care);
    hose.temperature = flags.temperature.or(hose.temperature);
    if let Some([near, far]) = flags.leg_temperatures.as_deref() {
        hose.leg_temperatures = Some([*near, *far]);
    }
    Ok(())
}

fn word<T: DeserializeOwned>(
    given: Option<&str>,
    flag: &str,
    known: &str,
) -> Result<Option<T>, Stop> {
    let Some(given) = given else { return Ok(None) };
    let read = T::deserialize(StrDeserializer::<WordError>::new(given));
    read.map(Some).map_err(|_| {
        Stop::new(USAGE, format!("{flag}: \"{given}\" is not known")).hint(format!("write {known}"))
    })
}

/// Seconds of a swing, or that there was none.
fn seen_swing(text: &str) -> Result<Option<Seconds>, Stop> {
    if text.eq_ignore_ascii_case("none") {
        return Ok(None);
    }
    match text.trim().trim_end_matches('s').trim().parse::<f64>() {
        Ok(seconds) if seconds.is_finite() && seconds > 0.0 && seconds < 600.0 => {
            Ok(Some(Seconds::new(seconds)))
        }
        _ => Err(Stop::new(USAGE, format!("--swing: \"{text}\" is no time of a swing")).hint(
            "write the seconds from one top to the next, such as --swing 9, or --swing none",
        )),
    }
}

fn no_figure(error: &floorwright_engine::hose::OutsideValidity) -> Stop {
    Stop::new(CHECK_FAILED, error.to_string())
        .hint("nothing is said of a hose outside of what was checked: change it or its temperature")
}
