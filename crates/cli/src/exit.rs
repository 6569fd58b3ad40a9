//! How a run ends. The codes are frozen: scripts rely on them.

use floorwright_job::Fault;
use std::process::ExitCode;

/// Everything went as asked.
pub const OK: u8 = 0;
/// Something failed that has no code of its own.
pub const FAILED: u8 = 1;
/// The command line was not understood.
pub const USAGE: u8 = 2;
/// The work was done and the answer is no: faults in the job, a goal that cannot be met, a
/// suspect reading or an unmet criterion under `--strict`.
pub const CHECK_FAILED: u8 = 3;
/// A file or a name that is not there.
pub const NOT_FOUND: u8 = 4;
/// Something is in the way and is left alone.
pub const CONFLICT: u8 = 5;
/// The disk or a pipe failed.
pub const DISK: u8 = 6;

/// An error that ends the run: what happened, what to do about it, and the exit code.
#[derive(Debug)]
pub struct Stop {
    /// Exit code.
    pub code: u8,
    /// Lowercase fragment: what, where, value and limit.
    pub what: String,
    /// The way out, if there is one.
    pub hint: Option<String>,
    /// Everything that is wrong with the job, told before `what`.
    pub faults: Vec<Fault>,
}

impl Stop {
    /// A stop without a hint.
    pub fn new(code: u8, what: impl Into<String>) -> Self {
        Self { code, what: what.into(), hint: None, faults: Vec::new() }
    }

    /// Adds the way out.
    pub fn hint(mut self, hint: impl Into<String>) -> Self {
        self.hint = Some(hint.into());
        self
    }

    /// Adds what is wrong with the job.
    pub fn faults(mut self, faults: Vec<Fault>) -> Self {
        self.faults = faults;
        self
    }

    /// Names the file that the system would not read or write.
    pub fn io(doing: &str, path: &std::path::Path, error: &std::io::Error) -> Self {
        let code = match error.kind() {
            std::io::ErrorKind::NotFound => NOT_FOUND,
            std::io::ErrorKind::AlreadyExists => CONFLICT,
            _ => DISK,
        };
        Self::new(code, format!("cannot {doing} {}: {error}", path.display()))
    }
}

impl From<Stop> for ExitCode {
    fn from(stop: Stop) -> Self {
        Self::from(stop.code)
    }
}
