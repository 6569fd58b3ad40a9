//! The list of checks, and the summary that is printed at the end.

use crate::{browser, durability, end_to_end, layers, paper, pictures, purity, shell};
use std::process::ExitCode;
use std::time::{Duration, Instant};

/// How a check went.
pub enum Outcome {
    /// It holds; with a short note, which may be empty.
    Passed(String),
    /// It does not hold, and why.
    Failed(String),
    /// It could not be tried here, and what it would take.
    Skipped(String),
}

impl From<Result<String, String>> for Outcome {
    fn from(result: Result<String, String>) -> Self {
        match result {
            Ok(note) => Self::Passed(note),
            Err(why) => Self::Failed(why),
        }
    }
}

struct Check {
    name: &'static str,
    about: &'static str,
    run: fn() -> Outcome,
}

const CHECKS: &[Check] = &[
    Check { name: "fmt", about: "the code is formatted", run: fmt },
    Check {
        name: "layers",
        about: "dependencies between crates are the arrows of ARCHITECTURE.md",
        run: || layers::check().into(),
    },
    Check {
        name: "checked-way-in",
        about: "engine types cannot be deserialised past their checks",
        run: || purity::no_deserialize_in_engine().into(),
    },
    Check { name: "clippy", about: "no lint fires in any target", run: clippy },
    Check {
        name: "purity",
        about: "the bans of the pure crates bite",
        run: || purity::bans_bite().into(),
    },
    Check { name: "test", about: "unit, property, published and documentation tests", run: test },
    Check {
        name: "power-cut",
        about: "a power cut at any moment loses nothing acknowledged",
        run: durability::power_cut,
    },
    Check {
        name: "disk-faults",
        about: "a failing disk loses nothing acknowledged and is told",
        run: durability::disk_faults,
    },
    Check { name: "doc", about: "the documentation builds without a warning", run: doc },
    Check { name: "wasm", about: "the engine and the pages build for a browser", run: wasm },
    Check { name: "deny", about: "licences, bans and sources of dependencies", run: deny },
    Check { name: "advisories", about: "no dependency has a known weakness", run: advisories },
    Check {
        name: "paper",
        about: "the documents read back: pages, tags, fonts, stamps, and every number",
        run: paper::check,
    },
    Check { name: "pictures", about: "docs/pictures is current and renders", run: pictures::check },
    Check {
        name: "app",
        about: "the whole job on a phone, in a real browser, without signal for a while",
        run: browser::check,
    },
    Check {
        name: "end-to-end",
        about: "the demo runs from the command line, twice to the same bytes",
        run: end_to_end::check,
    },
];

/// Prints the names of the checks.
pub fn list() -> ExitCode {
    for check in CHECKS {
        println!("{:<16}{}", check.name, check.about);
    }
    ExitCode::SUCCESS
}

/// Runs the checks of these names, or all of them, and prints a summary.
pub fn run(names: &[&str]) -> ExitCode {
    if let Some(unknown) = names.iter().find(|&name| CHECKS.iter().all(|c| c.name != *name)) {
        println!("no check is called `{unknown}`; `cargo xtask checks` lists them");
        return ExitCode::from(2);
    }
    let wanted = |check: &&Check| names.is_empty() || names.contains(&check.name);
    let mut results = Vec::new();
    for check in CHECKS.iter().filter(wanted) {
        println!("\n== {}: {}", check.name, check.about);
        let start = Instant::now();
        let outcome = (check.run)();
        if let Outcome::Failed(why) | Outcome::Skipped(why) = &outcome {
            println!("{why}");
        }
        results.push((check.name, outcome, start.elapsed()));
    }
    summarise(&results)
}

fn summarise(results: &[(&str, Outcome, Duration)]) -> ExitCode {
    println!("\n{:<16}{:<9}{:>8}  note", "check", "result", "time");
    let (mut passed, mut failed, mut skipped) = (0, 0, 0);
    for (name, outcome, time) in results {
        let (word, note) = match outcome {
            Outcome::Passed(note) => (("passed", &mut passed), note),
            Outcome::Failed(why) => (("failed", &mut failed), why),
            Outcome::Skipped(why) => (("skipped", &mut skipped), why),
        };
        *word.1 += 1;
        let first_line = note.lines().next().unwrap_or_default();
        let line = format!("{name:<16}{:<9}{:>6.1} s  {first_line}", word.0, time.as_secs_f64());
        println!("{}", line.trim_end());
    }
    println!("\n{passed} passed, {failed} failed, {skipped} skipped");
    if failed == 0 { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}

fn cargo(arguments: &[&str]) -> Outcome {
    shell::run(&mut shell::cargo(arguments)).map(|()| String::new()).into()
}

fn fmt() -> Outcome {
    cargo(&["fmt", "--all", "--check"])
}

fn clippy() -> Outcome {
    cargo(&["clippy", "--workspace", "--all-features", "--all-targets", "--", "-D", "warnings"])
}

/// The seed of the random cases. Every run of the checks tries the same ones, so that a change is
/// judged by what it changed; `cargo xtask soak` goes looking for new ones.
const SEED: &str = "20261";

fn test() -> Outcome {
    let mut command = shell::cargo(&["test", "--workspace", "--all-features", "--quiet"]);
    if std::env::var_os("PROPTEST_RNG_SEED").is_none() {
        command.env("PROPTEST_RNG_SEED", SEED);
    }
    shell::run(&mut command).map(|()| String::new()).into()
}

/// Runs the tests with random cases that no run before has tried, until one fails or all rounds
/// are done.
pub fn soak(rounds: &str) -> Result<String, String> {
    let rounds: u32 = rounds.parse().map_err(|_| format!("`{rounds}` is no number of rounds"))?;
    for round in 1..=rounds {
        println!("round {round} of {rounds}");
        let mut command = shell::cargo(&["test", "--workspace", "--all-features", "--quiet"]);
        shell::run(command.env_remove("PROPTEST_RNG_SEED"))?;
    }
    Ok(format!("{rounds} rounds of new random cases passed"))
}

fn doc() -> Outcome {
    let mut command = shell::cargo(&["doc", "--workspace", "--all-features", "--no-deps"]);
    shell::run(command.env("RUSTDOCFLAGS", "-D warnings")).map(|()| String::new()).into()
}

const WASM: &str = "wasm32-unknown-unknown";

fn wasm() -> Outcome {
    let installed = shell::stdout_of(std::process::Command::new("rustc").args([
        "--print",
        "target-libdir",
        "--target",
        WASM,
    ]));
    let folder = installed.map(|said| String::from_utf8_lossy(&said).trim().to_owned());
    if !folder.is_ok_and(|folder| std::path::Path::new(&folder).is_dir()) {
        return Outcome::Skipped(format!("{WASM} is not installed: rustup target add {WASM}"));
    }
    cargo(&[
        "build",
        "--target",
        WASM,
        "--package",
        "floorwright-engine",
        "--package",
        "floorwright-pages",
    ])
}

const NO_CARGO_DENY: &str = "cargo-deny is not installed: cargo install --locked cargo-deny";

fn deny() -> Outcome {
    if !shell::is_installed("cargo-deny", "--version") {
        return Outcome::Skipped(NO_CARGO_DENY.to_owned());
    }
    cargo(&["deny", "check", "licenses", "bans", "sources"])
}

fn advisories() -> Outcome {
    if !shell::is_installed("cargo-deny", "--version") {
        return Outcome::Skipped(NO_CARGO_DENY.to_owned());
    }
    match shell::capture(&mut shell::cargo(&["deny", "check", "advisories"])) {
        Err(why) => Outcome::Failed(why),
        Ok(output) if output.status.success() => Outcome::Passed(String::new()),
        Ok(output) => {
            let said = String::from_utf8_lossy(&output.stderr).into_owned();
            if said.contains("failed to fetch advisory database") {
                Outcome::Skipped("the advisory database cannot be fetched from here".to_owned())
            } else {
                Outcome::Failed(format!("cargo deny check advisories\n{said}"))
            }
        }
    }
}
