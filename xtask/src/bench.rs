//! Prints how long the work takes: the engine's benchmark programs, then the program itself on
//! the demo and on surveys that grow, then the frame beside the same mathematics in Python, and last a
//! build from nothing.
//!
//! `docs/figures.md` keeps what one machine printed.

mod reference;

use crate::shell;
use std::fmt::Write;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Instant;

/// Benchmark programs, as package and example; each prints its own table.
const PROGRAMS: &[(&str, &str)] = &[
    ("floorwright-engine", "house_chain"),
    ("floorwright-engine", "lift_speed"),
    ("floorwright-engine", "big_survey"),
];

/// Grids of points read from the command line, each in so many layers of patches.
const TABLES: &[(usize, usize, usize)] = &[(20, 10, 1), (50, 40, 5), (100, 100, 5), (200, 100, 5)];

/// Points along one side of a patch that one setup reads.
const PATCH: usize = 10;

/// Times that a short run is repeated; the middle one counts.
const REPEATS: usize = 7;

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
    shell::run(&mut shell::cargo(&["build", "--release", "--package", "floorwright"]))?;
    let name = format!("floorwright{}", std::env::consts::EXE_SUFFIX);
    let program = shell::target().join("release").join(name);
    println!("== floorwright demo, again and again");
    demo(&program)?;
    println!("== floorwright levels, from a table");
    tables(&program)?;
    reference::run()?;
    println!("== cargo run --release -- demo, from nothing");
    from_nothing()?;
    Ok(format!("{} benchmark programs and the program itself", PROGRAMS.len()))
}

fn demo(program: &Path) -> Result<(), String> {
    let mut times = Vec::new();
    for _ in 0..REPEATS {
        let folder = shell::fresh_folder("bench-demo")?;
        times.push(measure(Command::new(program).arg("demo").current_dir(&folder))?.seconds);
    }
    times.sort_by(f64::total_cmp);
    let (least, middle, most) = (times[0], times[REPEATS / 2], times[REPEATS - 1]);
    println!("{middle:.3} s, the middle of {REPEATS}; {least:.3} to {most:.3} s");
    Ok(())
}

fn tables(program: &Path) -> Result<(), String> {
    let folder = shell::fresh_folder("bench-tables")?;
    for &(wide, deep, n_layers) in TABLES {
        let file = folder.join(format!("{}.csv", wide * deep));
        let text = table(wide, deep, n_layers);
        let n_readings = text.lines().count() - 1;
        std::fs::write(&file, text).map_err(|e| format!("{}: {e}", file.display()))?;
        for command in ["check", "levels"] {
            let took = measure(Command::new(program).arg(command).arg(&file))?;
            let memory = took.peak.as_deref().unwrap_or("memory not known");
            println!(
                "{command}: {} points, {n_readings} readings: {:.2} s, {memory}",
                wide * deep,
                took.seconds
            );
        }
    }
    Ok(())
}

fn from_nothing() -> Result<(), String> {
    let target = shell::fresh_folder("bench-from-nothing")?;
    let folder = shell::fresh_folder("bench-demo")?;
    let start = Instant::now();
    let mut command = shell::cargo(&["run", "--release", "--quiet", "--", "demo", "--into"]);
    command.arg(folder.join("demo")).env("CARGO_TARGET_DIR", &target).stdout(Stdio::null());
    shell::run(&mut command)?;
    println!("{:.0} s", start.elapsed().as_secs_f64());
    Ok(())
}

/// What a run took.
struct Took {
    seconds: f64,
    /// The most memory it held, where the system tells.
    peak: Option<String>,
}

fn measure(command: &mut Command) -> Result<Took, String> {
    let start = Instant::now();
    let mut child = command.stdout(Stdio::null()).spawn().map_err(|e| e.to_string())?;
    let status_file = format!("/proc/{}/status", child.id());
    let mut peak = None;
    loop {
        if let Some(status) = child.try_wait().map_err(|e| e.to_string())? {
            let seconds = start.elapsed().as_secs_f64();
            return if status.success() {
                Ok(Took { seconds, peak })
            } else {
                Err(format!("the run ended with {status}"))
            };
        }
        let status = std::fs::read_to_string(&status_file).unwrap_or_default();
        let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
        peak = line.map(|size| size.trim().to_owned()).or(peak);
        std::thread::sleep(std::time::Duration::from_millis(2));
    }
}

/// An invented floor in overlapping patches, each layer shifted against the one before.
fn table(wide: usize, deep: usize, n_layers: usize) -> String {
    let mut text = String::from("point,x,y,reading,setup\n");
    let range = |patch: usize, shift: usize, size: usize| {
        let end = ((patch + 1) * PATCH).saturating_sub(shift).min(size);
        (patch * PATCH).saturating_sub(shift).min(end)..end
    };
    for layer in 0..n_layers {
        let (right, up) = (layer * 3 % PATCH, layer * 7 % PATCH);
        for patch in 0..(wide.div_ceil(PATCH) + 1) * (deep.div_ceil(PATCH) + 1) {
            let (patch_x, patch_y) =
                (patch / (deep.div_ceil(PATCH) + 1), patch % (deep.div_ceil(PATCH) + 1));
            // One layer alone is one setup, so that it hangs together.
            let (setup, line) = if n_layers == 1 {
                ("1".to_owned(), 1300)
            } else {
                (format!("{layer}-{patch_x}-{patch_y}"), 1250 + (patch * 37 + layer * 11) % 100)
            };
            for x in range(patch_x, right, wide) {
                for y in range(patch_y, up, deep) {
                    let reading = line - (x * 31 + y * 17) % 7 + (x * 7 + y * 5 + layer) % 2;
                    let (at_x, at_y) = (x * 600, y * 600);
                    let _ = writeln!(text, "P{x:03}-{y:03},{at_x},{at_y},{reading},{setup}");
                }
            }
        }
    }
    text
}
