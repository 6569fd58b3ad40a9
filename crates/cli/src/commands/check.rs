//! `floorwright check`: every fault of a job at once.

use crate::args;
use crate::exit::{CHECK_FAILED, OK, Stop};
use crate::report::{Report, Text};
use crate::session::read_job;
use floorwright_engine::frame::{GivenFrame, complete};
use floorwright_engine::plan::{Job, StageName, plan};
use floorwright_job::said::count;
use floorwright_job::{Fault, JobInput, ready};

/// Runs the command.
pub fn run(args: &args::Job) -> Result<Report, Stop> {
    let loaded = read_job(&args.job)?;
    let mut faults = loaded.faults;
    if let Some(input) = &loaded.job {
        match ready(input, &args.job.to_string_lossy()) {
            Err(more) => faults.extend(more),
            Ok(job) => faults.extend(stops(&job, input, &args.job.to_string_lossy())),
        }
    }
    let n_errors = faults.iter().filter(|fault| fault.is_error()).count();
    let n_warnings = faults.len() - n_errors;
    let mut text = Text::default();
    for fault in &faults {
        text.verbatim(&format!("{fault:#}"));
    }
    let name = args.job.display();
    text.heading(&if n_errors > 0 {
        format!("{name} cannot be used: {} to put right.", count(n_errors, "fault", "faults"))
    } else if n_warnings > 0 {
        format!("{name} can be used; {} to look at.", count(n_warnings, "thing", "things"))
    } else {
        format!("{name} is in order.")
    });
    if let Some(input) = loaded.job.as_ref().filter(|_| n_errors == 0) {
        let n_readings: usize = input.survey.setups.iter().map(|setup| setup.readings.len()).sum();
        text.say(format!(
            "{}, {}, {} from {}, {}.",
            count(input.site.rooms().len(), "room", "rooms"),
            count(input.site.supports().len(), "support", "supports"),
            count(n_readings, "reading", "readings"),
            count(input.survey.setups.len(), "setup", "setups"),
            count(input.books.len(), "level book", "level books"),
        ));
        for assumption in &input.assumptions {
            text.item("-", format!("taken for granted: {}", assumption.text));
        }
        if let Some(sentence) = frame_assumed(input) {
            text.say(format!("{sentence} (floorwright frame {name})."));
        }
        text.say(format!("Next: floorwright levels {name}"));
    }
    let json = serde_json::json!({
        "schema": "floorwright/check/1",
        "program": { "name": "floorwright", "version": env!("CARGO_PKG_VERSION") },
        "usable": n_errors == 0,
        "faults": faults,
        "assumptions": loaded.job.as_ref().map(|input| &input.assumptions),
    });
    Ok(Report { text, json: Box::new(|| json), exit: if n_errors > 0 { CHECK_FAILED } else { OK } })
}

/// How much is assumed about the frame under the floor, if there is one.
fn frame_assumed(input: &JobInput) -> Option<String> {
    if input.frame.off.is_some() {
        return None;
    }
    let spec = match complete(&input.site, &input.frame.given, &input.frame.rules) {
        Ok(spec) => spec,
        Err(faults) => {
            let why = faults.first().map_or(String::new(), ToString::to_string);
            return Some(format!("No frame can be put under it, so no load is worked out ({why})"));
        }
    };
    let bearers = if input.frame.given.bearers.is_empty() { "proposed" } else { "given" };
    Some(format!(
        "The frame under the floor: bearers {bearers}, {} in all",
        count(spec.assumed.len(), "thing assumed", "things assumed")
    ))
}

/// With more readings than this the chain takes too long for a check.
const AT_ONCE: usize = 5_000;

/// What would stop a stage of the chain on this job; a job without readings is not there yet.
fn stops(job: &Job, input: &JobInput, file: &str) -> Vec<Fault> {
    let n_readings: usize = job.survey.setups.iter().map(|setup| setup.readings.len()).sum();
    if n_readings == 0 || n_readings > AT_ONCE {
        return Vec::new();
    }
    let plan = plan(job);
    // A frame that nobody gave, and that cannot be proposed, is no fault of the job.
    let frame = (input.frame.given != GivenFrame::default()).then_some(StageName::Frame);
    [StageName::Floor, StageName::Lift, StageName::Packers, StageName::Passes]
        .into_iter()
        .chain(frame)
        .flat_map(|stage| plan.reasons(stage).iter().map(move |reason| (stage, reason)))
        .map(|(stage, reason)| {
            let fault = Fault::warning(file, format!("no answer for {stage}"), &reason.what);
            match &reason.hint {
                Some(hint) => fault.hint(hint),
                None => fault,
            }
        })
        .collect()
}
