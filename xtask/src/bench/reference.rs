//! Times the engine's frame beside the same mathematics in Python, in one run.
//!
//! Both programs print lines `size stage seconds`; `bench/reference/README.md` says what each stage
//! is and on which invented house. A missing Python or package registry is reported, not an error:
//! the engine is timed without its opponent.

use crate::shell;
use std::fmt::Write;
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// The example of the engine that prints the lines.
const EXAMPLE: &str = "frame_speed";

/// The stages in the order that the table has them.
const STAGES: &[&str] = &["assemble", "influence", "contact", "jacks", "target", "passes"];

/// Names that Python goes by.
const PYTHONS: &[&str] = &["python3", "python"];

/// Seconds that a stage took at one size, or why it was not run.
type Timing = (usize, String, Result<f64, String>);

/// Runs both programs and prints how many times longer Python takes.
pub fn run() -> Result<(), String> {
    println!("== floorwright-engine: {EXAMPLE}");
    let rust = match engine()? {
        Some(timings) => timings,
        None => {
            println!("skipped: the engine has no example {EXAMPLE}");
            Vec::new()
        }
    };
    println!("== bench/reference: the same frame in Python");
    let python = match environment() {
        Ok(python) => opponent(&python)?,
        Err(why) => {
            println!("skipped: {why}");
            return Ok(());
        }
    };
    print!("{}", table(&python, &rust));
    Ok(())
}

/// The engine's timings; none if the example is not there.
fn engine() -> Result<Option<Vec<Timing>>, String> {
    let file = format!("crates/engine/examples/{EXAMPLE}.rs");
    if !shell::root().join(file).exists() {
        return Ok(None);
    }
    let words = ["--release", "--package", "floorwright-engine", "--example", EXAMPLE];
    shell::run(shell::cargo(&["build"]).args(words))?;
    timings_of(shell::cargo(&["run", "--quiet"]).args(words)).map(Some)
}

/// Checks the Python program against worked values, then times it.
fn opponent(python: &Path) -> Result<Vec<Timing>, String> {
    let script = |name: &str| {
        let mut command = Command::new(python);
        command.arg("-B").arg(folder().join(name)).current_dir(shell::root());
        command
    };
    shell::run(&mut script("check.py"))?;
    timings_of(&mut script("bench.py"))
}

/// Where the Python program lies.
fn folder() -> PathBuf {
    shell::root().join("bench").join("reference")
}

/// A Python of our own with the pinned packages; the error says what is missing.
///
/// It is kept below the build folder and made anew only when the list of packages changes.
fn environment() -> Result<PathBuf, String> {
    let home = shell::target().join("xtask").join("reference-python");
    let python = if cfg!(windows) { "Scripts/python.exe" } else { "bin/python" };
    let (python, stamp) = (home.join(python), home.join("requirements.txt"));
    let list = folder().join("requirements.txt");
    let wanted = std::fs::read_to_string(&list).map_err(|e| format!("{}: {e}", list.display()))?;
    if python.exists() && std::fs::read_to_string(&stamp).is_ok_and(|text| text == wanted) {
        return Ok(python);
    }
    let system = PYTHONS.iter().find(|name| shell::is_installed(name, "--version"));
    let system = system.ok_or("Python is not installed")?;
    let made = Command::new(system).args(["-m", "venv", "--clear"]).arg(&home).output();
    succeeded("a virtual environment of Python cannot be made", made)?;
    let words = ["-m", "pip", "install", "--quiet", "--disable-pip-version-check", "--requirement"];
    let installed = Command::new(&python).args(words).arg(&list).output();
    succeeded("the packages of bench/reference/requirements.txt cannot be installed", installed)?;
    std::fs::write(&stamp, wanted).map_err(|e| format!("{}: {e}", stamp.display()))?;
    Ok(python)
}

/// Turns a failed run into a sentence with the last line of what it said.
fn succeeded(what: &str, output: std::io::Result<std::process::Output>) -> Result<(), String> {
    let output = output.map_err(|e| format!("{what}: {e}"))?;
    if output.status.success() {
        return Ok(());
    }
    let said = [output.stdout, output.stderr].concat();
    let said = String::from_utf8_lossy(&said);
    Err(format!("{what}: {}", said.trim().lines().last().unwrap_or("no reason given")))
}

/// Runs a program, shows its lines as they come and keeps the timings among them.
fn timings_of(command: &mut Command) -> Result<Vec<Timing>, String> {
    let mut child = command.stdout(Stdio::piped()).spawn().map_err(|e| e.to_string())?;
    let stdout = child.stdout.take().expect("stdout was piped just above");
    let mut timings = Vec::new();
    for line in BufReader::new(stdout).lines() {
        let line = line.map_err(|e| e.to_string())?;
        println!("{line}");
        timings.extend(timing(&line));
    }
    let status = child.wait().map_err(|e| e.to_string())?;
    if status.success() { Ok(timings) } else { Err(format!("the program ended with {status}")) }
}

/// Reads `size stage seconds` or `size stage skipped why`; any other line is for people.
fn timing(line: &str) -> Option<Timing> {
    let (size, rest) = line.trim().split_once(' ')?;
    let (stage, took) = rest.split_once(' ')?;
    let took = match took.strip_prefix("skipped") {
        Some(why) => Err(why.trim().to_owned()),
        None => Ok(took.parse().ok()?),
    };
    Some((size.parse().ok()?, stage.to_owned(), took))
}

/// Seconds of both side by side, and their ratio where both are there.
fn table(python: &[Timing], rust: &[Timing]) -> String {
    let mut sizes: Vec<usize> = python.iter().chain(rust).map(|timing| timing.0).collect();
    sizes.sort_unstable();
    sizes.dedup();
    let mut text = format!(
        "{:>8} {:<10}{:>12}{:>12}{:>10}\n",
        "supports", "stage", "python s", "rust s", "ratio"
    );
    for size in sizes {
        for stage in STAGES {
            let (python, rust) = (find(python, size, stage), find(rust, size, stage));
            let ratio = match (python, rust) {
                (Some(Ok(python)), Some(Ok(rust))) if *rust > 0.0 => {
                    format!("{:.1}", python / rust)
                }
                _ => "-".to_owned(),
            };
            let (python, rust) = (cell(python), cell(rust));
            let _ = writeln!(text, "{size:>8} {stage:<10}{python:>12}{rust:>12}{ratio:>10}");
        }
    }
    text
}

fn find<'a>(timings: &'a [Timing], size: usize, stage: &str) -> Option<&'a Result<f64, String>> {
    timings.iter().find(|timing| timing.0 == size && timing.1 == stage).map(|timing| &timing.2)
}

fn cell(took: Option<&Result<f64, String>>) -> String {
    match took {
        Some(Ok(seconds)) => format!("{seconds:.6}"),
        Some(Err(_)) => "skipped".to_owned(),
        None => "-".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::{table, timing};

    #[test]
    fn lines_that_are_no_timing_are_left_to_people() {
        assert_eq!(timing("54 contact 0.25"), Some((54, "contact".into(), Ok(0.25))));
        let skipped = Some((9, "jacks".into(), Err("over 120 s".into())));
        assert_eq!(timing("9 jacks skipped over 120 s"), skipped);
        assert_eq!(timing("# 54 hung 20"), None);
        assert_eq!(timing("54 supports on 6 bearers"), None);
        assert_eq!(timing(""), None);
    }

    #[test]
    fn a_ratio_needs_both_programs() {
        let python = ["54 assemble 0.5", "54 jacks skipped over 120 s"].map(|l| timing(l).unwrap());
        let rust = ["54 assemble 0.25", "54 jacks 1.0"].map(|l| timing(l).unwrap());
        let text = table(&python, &rust);
        let words = |stage: &str| -> Vec<String> {
            let line = text.lines().find(|line| line.contains(stage)).unwrap();
            line.split_whitespace().map(str::to_owned).collect()
        };
        assert_eq!(words("assemble"), ["54", "assemble", "0.500000", "0.250000", "2.0"]);
        assert_eq!(words("jacks"), ["54", "jacks", "skipped", "1.000000", "-"]);
        assert_eq!(words("target"), ["54", "target", "-", "-", "-"]);
    }
}
