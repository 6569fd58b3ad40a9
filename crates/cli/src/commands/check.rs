//! `floorwright check`: every fault of a job at once.

use crate::args;
use crate::exit::{CHECK_FAILED, OK, Stop};
use crate::report::{Report, Text};
use crate::session::{count, read_job};
use floorwright_job::ready;

/// Runs the command.
pub fn run(args: &args::Job) -> Result<Report, Stop> {
    let loaded = read_job(&args.job)?;
    let mut faults = loaded.faults;
    if let Some(input) = &loaded.job
        && let Err(more) = ready(input, &args.job.to_string_lossy())
    {
        faults.extend(more);
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
