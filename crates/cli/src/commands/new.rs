//! `floorwright new`: a job to fill in, from flags or a few questions.

use crate::args;
use crate::exit::{CONFLICT, OK, Stop, USAGE};
use crate::files::{self, Existing};
use crate::report::{Report, Text};
use floorwright_engine::units::ExactLength;
use floorwright_job::form_v1::{Terms, schema};
use floorwright_job::measure::{DecimalMark, Unit, parse_length};
use floorwright_job::template::MOST_IN_A_ROW;
use floorwright_job::{Grid, template};
use std::io::{self, BufRead, IsTerminal, Write};

/// Runs the command.
pub fn run(args: &args::New) -> Result<Report, Stop> {
    if args.schema {
        let json = schema();
        let mut text = Text::default();
        text.verbatim(&format!("{json:#}"));
        return Ok(Report { text, json: Box::new(|| json), exit: OK });
    }
    let job_path = args.job.clone().ok_or_else(|| Stop::new(USAGE, "the job needs a name"))?;
    let existing = if args.force { Existing::Replace } else { Existing::Keep };
    let stem = job_path.file_stem().unwrap_or_default().to_string_lossy().into_owned();
    let readings_name = format!("{stem}-readings.csv");
    let readings_path = job_path.with_file_name(&readings_name);
    // Before any question is asked.
    if let Some(path) = [&job_path, &readings_path].into_iter().find(|path| path.exists())
        && existing == Existing::Keep
    {
        return Err(Stop::new(CONFLICT, format!("{} is there already", path.display()))
            .hint("choose another name, or add --force to replace it"));
    }
    let may_ask = !args.no_input && io::stdin().is_terminal();
    let grid = ask_for_grid(args, may_ask)?;
    let files = template(grid, &readings_name);
    files::write(&job_path, &files.job, existing)?;
    files::write(&readings_path, &files.readings, existing)?;
    let mut text = Text::default();
    text.heading(&format!("Made {} and {}", job_path.display(), readings_path.display()));
    text.say(format!(
        "A grid of {} by {} supports. Correct places and add what you know in the first; fill \
         the second in on site, one reading a line.",
        grid.rows, grid.columns
    ));
    text.say(format!("Next: floorwright check {}", job_path.display()));
    let json = serde_json::json!({
        "schema": "floorwright/new/1",
        "job": job_path.to_string_lossy(),
        "readings": readings_path.to_string_lossy(),
    });
    Ok(Report { text, json: Box::new(|| json), exit: OK })
}

fn ask_for_grid(args: &args::New, may_ask: bool) -> Result<Grid, Stop> {
    let terms_text = match &args.terms {
        Some(terms) => terms.clone(),
        None => ask("Whose words (au, nz, us, uk)", "au", may_ask)?,
    };
    let terms = match terms_text.trim() {
        "au" => Terms::Au,
        "nz" => Terms::Nz,
        "us" => Terms::Us,
        "uk" => Terms::Uk,
        other => return Err(unknown("--terms", other, "au, nz, us or uk")),
    };
    let usual_units = if terms == Terms::Us { "ft-in" } else { "mm" };
    let units_text = match &args.units {
        Some(units) => units.clone(),
        None => ask("Lengths in mm or ft-in", usual_units, may_ask)?,
    };
    let units = match units_text.trim() {
        "mm" => Unit::Millimetres,
        "m" => Unit::Metres,
        "ft-in" => Unit::FeetInches,
        other => return Err(unknown("--units", other, "mm, m or ft-in")),
    };
    let rows = number(args.rows, "Rows of supports (bearers)", 4, may_ask)?;
    let columns = number(args.columns, "Supports in each row", 5, may_ask)?;
    let usual_spacing = match units {
        Unit::Millimetres => "1800",
        Unit::Metres => "1.8",
        Unit::FeetInches => "6'",
    };
    let spacing = spacing(&args.spacing, "Distance along a row", usual_spacing, units, may_ask)?;
    let across = match (&args.row_spacing, &args.spacing) {
        (None, Some(_)) => spacing,
        (given, _) => {
            let usual = args.spacing.as_deref().unwrap_or(usual_spacing);
            self::spacing(given, "Distance from row to row", usual, units, may_ask)?
        }
    };
    Ok(Grid { rows, columns, spacing_x: spacing, spacing_y: across, terms, units })
}

fn unknown(option: &str, value: &str, choices: &str) -> Stop {
    Stop::new(USAGE, format!("{option}: \"{value}\" is not known")).hint(format!("write {choices}"))
}

fn number(
    given: Option<usize>,
    question: &str,
    usual: usize,
    may_ask: bool,
) -> Result<usize, Stop> {
    let number = match given {
        Some(number) => number,
        None => {
            let answer = ask(question, &usual.to_string(), may_ask)?;
            answer.trim().parse().map_err(|_| unknown(question, &answer, "a whole number"))?
        }
    };
    if (1..=MOST_IN_A_ROW).contains(&number) {
        Ok(number)
    } else {
        Err(Stop::new(USAGE, format!("{question}: {number}, must be 1 to {MOST_IN_A_ROW}")))
    }
}

fn spacing(
    given: &Option<String>,
    question: &str,
    usual: &str,
    units: Unit,
    may_ask: bool,
) -> Result<ExactLength, Stop> {
    let text = match given {
        Some(text) => text.clone(),
        None => ask(question, usual, may_ask)?,
    };
    let length = parse_length(text.trim(), units, DecimalMark::Point)
        .map_err(|error| Stop::new(USAGE, format!("{question}: {error}")).hint(error.hint()))?;
    if length > ExactLength::ZERO {
        Ok(length)
    } else {
        Err(Stop::new(USAGE, format!("{question}: {length} is not above zero")))
    }
}

/// Asks on the terminal; an empty answer, or no terminal, takes the usual one.
fn ask(question: &str, usual: &str, may_ask: bool) -> Result<String, Stop> {
    if !may_ask {
        return Ok(usual.to_owned());
    }
    let failed = |error: io::Error| Stop::new(crate::exit::DISK, format!("cannot ask: {error}"));
    write!(io::stderr(), "{question} [{usual}]: ").map_err(failed)?;
    let mut answer = String::new();
    io::stdin().lock().read_line(&mut answer).map_err(failed)?;
    let answer = answer.trim();
    Ok(if answer.is_empty() { usual.to_owned() } else { answer.to_owned() })
}
