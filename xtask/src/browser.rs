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
    let said = shell::stdout_of(Command::new("node").arg(script).arg(&program))?;
    let said = String::from_utf8_lossy(&said);
    println!("{}", said.trim());
    // Killed this often, and as often as it takes to be sure with FLOORWRIGHT_LONG_TESTS set.
    let is_long = std::env::var_os("FLOORWRIGHT_LONG_TESTS").is_some();
    let (servers, browsers) = if is_long { ("1000", "300") } else { ("10", "5") };
    let script = shell::root().join("xtask").join("browser").join("kills.mjs");
    let mut kills = Command::new("node");
    let killed = shell::stdout_of(kills.arg(script).arg(&program).args([servers, browsers]))?;
    println!("{}", String::from_utf8_lossy(&killed).trim());
    Ok(said.lines().last().unwrap_or_default().to_owned())
}
