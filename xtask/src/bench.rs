//! Prints how long the benchmark programs take.

use crate::shell;
use std::time::Instant;

/// Benchmark programs, as package and example; each prints its own table.
const PROGRAMS: &[(&str, &str)] = &[];

/// Builds each program for speed, then runs it.
pub fn run() -> Result<String, String> {
    for (package, example) in PROGRAMS {
        let words = ["--release", "--package", package, "--example", example];
        shell::run(shell::cargo(&["build"]).args(words))?;
        println!("== {package}: {example}");
        let start = Instant::now();
        shell::run(shell::cargo(&["run", "--quiet"]).args(words))?;
        println!("{:.3} s in all", start.elapsed().as_secs_f64());
    }
    Ok(format!("{} benchmark programs", PROGRAMS.len()))
}
