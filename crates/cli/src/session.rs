//! A job opened for work: read, checked, and handed to the chain.

use crate::exit::{CHECK_FAILED, Stop};
use crate::files;
use floorwright_engine::plan::Job;
use floorwright_job::form_v1::Form;
use floorwright_job::said::count;
use floorwright_job::{
    CsvMeaning, Document, Fault, JobInput, Loaded, SourceFile, check, from_csv, from_csv_changed,
    load, ready,
};
use std::io::{self, IsTerminal, Write};
use std::path::Path;

/// From here on the work takes a second or more, and a person at a terminal is told so.
const MANY_READINGS: usize = 20_000;

/// A job that can be worked on.
pub struct Session {
    /// What the job's file says.
    pub input: JobInput,
    /// What the chain runs on.
    pub job: Job,
    /// What the builder should look at, although it stops nothing.
    pub warnings: Vec<Fault>,
}

/// Reads a job or a bare CSV and everything that it names.
pub fn read_job(path: &Path) -> Result<Loaded, Stop> {
    let source = source(path)?;
    if !is_job(path) {
        return Ok(from_csv(&source, CsvMeaning::default()));
    }
    let folder = path.parent().unwrap_or(Path::new("")).to_owned();
    Ok(load(&source, &mut |file| files::read(&folder.join(file)).map_err(|stop| stop.what)))
}

fn source(path: &Path) -> Result<SourceFile, Stop> {
    let text = files::read(path)?;
    let name =
        if path == Path::new("-") { "standard input".into() } else { path.to_string_lossy() };
    Ok(SourceFile::new(name, text))
}

fn is_job(path: &Path) -> bool {
    path.extension().is_some_and(|ending| ending.eq_ignore_ascii_case("toml"))
}

/// Opens a job after a change to what was read of it, or stops with every fault.
pub fn open_changed(path: &Path, change: impl FnOnce(&mut Form)) -> Result<Session, Stop> {
    if !is_job(path) {
        let changed = from_csv_changed(&source(path)?, CsvMeaning::default(), change);
        return finish(path, changed);
    }
    let loaded = read_job(path)?;
    if loaded.job.is_none() {
        // Its own faults come first.
        return finish(path, loaded);
    }
    let mut form = loaded.form;
    change(&mut form);
    let folder = path.parent().unwrap_or(Path::new("")).to_owned();
    let mut read = |file: &str| files::read(&folder.join(file)).map_err(|stop| stop.what);
    finish(path, check(Document::of_form(form, &path.to_string_lossy()), &mut read))
}

/// A job that no file holds, or a stop with every fault.
pub fn open_form(form: Form, name: &str) -> Result<Session, Stop> {
    let loaded = check(Document::of_form(form, name), &mut |file| Err(format!("no file {file}")));
    finish(Path::new(name), loaded)
}

/// Opens a job, or stops with every fault that keeps it from being used.
pub fn open(path: &Path) -> Result<Session, Stop> {
    finish(path, read_job(path)?)
}

fn finish(path: &Path, loaded: Loaded) -> Result<Session, Stop> {
    let (errors, warnings): (Vec<Fault>, Vec<Fault>) =
        loaded.faults.into_iter().partition(Fault::is_error);
    let Some(input) = loaded.job else { return Err(refuse(path, errors)) };
    let job = ready(&input, &path.to_string_lossy()).map_err(|faults| refuse(path, faults))?;
    say_if_it_takes_long(&job);
    Ok(Session { input, job, warnings })
}

fn say_if_it_takes_long(job: &Job) {
    let n_readings: usize = job.survey.setups.iter().map(|setup| setup.readings.len()).sum();
    if n_readings >= MANY_READINGS && io::stderr().is_terminal() {
        // Nothing is lost if it cannot be said.
        let _ = writeln!(
            io::stderr().lock(),
            "{n_readings} readings: this takes from a second to a minute"
        );
    }
}

fn refuse(path: &Path, faults: Vec<Fault>) -> Stop {
    let n_faults = count(faults.len(), "fault", "faults");
    let what = format!("{} cannot be used: {n_faults} to put right", path.display());
    Stop::new(CHECK_FAILED, what).faults(faults)
}
