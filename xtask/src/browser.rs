//! The app in a real browser, driven as a crew would use it.

use crate::checks::Outcome;
use crate::debian::{self, CHROMIUM, NODE, NPM};
use crate::{end_to_end, shell};
use std::process::Command;

/// Drives the app; skipped where there is no browser or nothing to drive it with.
pub fn check() -> Outcome {
    for program in [&NODE, &NPM, &CHROMIUM] {
        if let Err(why) = debian::provide(program) {
            return Outcome::Skipped(why);
        }
    }
    let folder = shell::root().join("xtask").join("browser");
    let fetched = shell::capture(
        Command::new("npm")
            .args(["ci", "--ignore-scripts", "--no-audit", "--no-fund"])
            .current_dir(&folder),
    );
    match fetched {
        Ok(output) if output.status.success() => {}
        Ok(output) => {
            let said = String::from_utf8_lossy(&output.stderr).into_owned();
            return Outcome::Skipped(format!("the packages cannot be fetched from here: {said}"));
        }
        Err(why) => return Outcome::Skipped(why),
    }
    drive().into()
}

fn drive() -> Result<String, String> {
    let program = end_to_end::build()?;
    let script = shell::root().join("xtask").join("browser").join("app.mjs");
    let said = shell::stdout_of(Command::new("node").arg(script).arg(program))?;
    let said = String::from_utf8_lossy(&said);
    println!("{}", said.trim());
    Ok(said.lines().last().unwrap_or_default().to_owned())
}
