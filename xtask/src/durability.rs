//! What becomes of the log of events when the power goes or the disk fails.

use crate::checks::Outcome;
use crate::{debian, shell};
use std::process::Command;

/// Every so many system calls the power is cut; every one with `FLOORWRIGHT_LONG_TESTS` set.
const SHORT_STEP: &str = "12";

/// The log as a power cut at any moment may leave it.
pub fn power_cut() -> Outcome {
    let is_long = std::env::var_os("FLOORWRIGHT_LONG_TESTS").is_some();
    under_strace("power_cut", &[if is_long { "1" } else { SHORT_STEP }])
}

/// The log on a disk that fails.
pub fn disk_faults() -> Outcome {
    under_strace("disk_faults", &[])
}

fn under_strace(example: &str, arguments: &[&str]) -> Outcome {
    if let Err(why) = debian::provide(&debian::STRACE) {
        return Outcome::Skipped(why);
    }
    // Some machines do not let one program look at another.
    let tried = shell::capture(Command::new("strace").args(["-o", "/dev/null", "true"]));
    if !tried.is_ok_and(|output| output.status.success()) {
        return Outcome::Skipped("strace is not allowed to look at other programs here".to_owned());
    }
    let mut build =
        shell::cargo(&["build", "--quiet", "--package", "floorwright-store", "--examples"]);
    let program = shell::target().join("debug").join("examples").join(example);
    shell::run(&mut build)
        .and_then(|()| shell::stdout_of(Command::new(program).args(arguments)))
        .map(|said| String::from_utf8_lossy(&said).trim().to_owned())
        .into()
}
