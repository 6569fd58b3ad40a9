//! A job opened for work: read, checked, and handed to the chain.

use crate::exit::{CHECK_FAILED, Stop};
use crate::files;
use floorwright_engine::plan::Job;
use floorwright_job::{CsvMeaning, Fault, JobInput, Loaded, SourceFile, from_csv, load, ready};
use std::path::Path;

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
    let text = files::read(path)?;
    let name =
        if path == Path::new("-") { "standard input".into() } else { path.to_string_lossy() };
    let source = SourceFile::new(name, text);
    let is_job = path.extension().is_some_and(|ending| ending.eq_ignore_ascii_case("toml"));
    if !is_job {
        return Ok(from_csv(&source, CsvMeaning::default()));
    }
    let folder = path.parent().unwrap_or(Path::new("")).to_owned();
    Ok(load(&source, &mut |file| files::read(&folder.join(file)).map_err(|stop| stop.what)))
}

/// Opens a job, or stops with every fault that keeps it from being used.
pub fn open(path: &Path) -> Result<Session, Stop> {
    let loaded = read_job(path)?;
    let (errors, warnings): (Vec<Fault>, Vec<Fault>) =
        loaded.faults.into_iter().partition(Fault::is_error);
    let Some(input) = loaded.job else { return Err(refuse(path, &errors)) };
    let job = ready(&input, &path.to_string_lossy()).map_err(|faults| refuse(path, &faults))?;
    Ok(Session { input, job, warnings })
}

fn refuse(path: &Path, faults: &[Fault]) -> Stop {
    let mut what: Vec<String> = faults.iter().map(|fault| format!("{fault:#}")).collect();
    what.push(format!(
        "{} cannot be used: {} to put right",
        path.display(),
        count(faults.len(), "fault", "faults")
    ));
    Stop::new(CHECK_FAILED, what.join("\n"))
}

/// `1 fault`, `3 faults`.
pub fn count(number: usize, one: &str, several: &str) -> String {
    format!("{number} {}", if number == 1 { one } else { several })
}
