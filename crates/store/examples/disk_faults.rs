//! What becomes of a log when the disk fails, at every call that can fail.
//!
//! Runs a writer under `strace` again and again, and has the N-th write, sync or truncation fail, once
//! or from then on, until N is past the last. Whatever happens, the writer has to say so in words, and
//! every event that it acknowledged has to be there when the log is opened again.

#![expect(clippy::print_stdout, reason = "it reports to a person or a check")]

use floorwright_store::{EventLog, SqliteLog};
use std::collections::BTreeSet;
use std::error::Error;
use std::path::Path;
use std::process::Command;

const N_EVENTS: u64 = 4;

/// Calls with the error that is put in their place.
const FAULTS: &[(&str, &str)] = &[
    ("pwrite64", "EIO"),
    ("pwrite64", "ENOSPC"),
    ("fsync", "EIO"),
    ("fdatasync", "EIO"),
    ("ftruncate", "EIO"),
    ("openat", "EIO"),
];

/// No run makes more calls of one kind than this; reached, something is wrong with this program.
const MOST_CALLS: usize = 400;

fn main() -> Result<(), Box<dyn Error>> {
    let (mut n_runs, mut n_told) = (0, 0);
    for (call, error) in FAULTS {
        for from_then_on in ["", "+"] {
            for when in 1.. {
                if when > MOST_CALLS {
                    return Err(format!("{call} was still failing at its {when}th time").into());
                }
                let run = run(&format!("{call}:error={error}:when={when}{from_then_on}"))
                    .map_err(|why| format!("{call} {error} at {when}{from_then_on}: {why}"))?;
                n_runs += 1;
                n_told += usize::from(matches!(run, Run::Told));
                if matches!(run, Run::NothingFailed) {
                    break;
                }
            }
        }
    }
    println!("{n_runs} runs on a failing disk, {n_told} told in words, nothing acknowledged lost");
    if n_told > 20 { Ok(()) } else { Err("hardly anything failed: this check is blind".into()) }
}

enum Run {
    /// No call was left to fail.
    NothingFailed,
    /// The log made do without the call that failed.
    MadeDo,
    /// The writer said what had happened.
    Told,
}

fn run(fault: &str) -> Result<Run, Box<dyn Error>> {
    let folder = tempfile::tempdir()?;
    let (file, trace) = (folder.path().join("log"), folder.path().join("trace"));
    let writer = std::env::current_exe()?.with_file_name("append_until_killed");
    let (call, _) = fault.split_once(':').unwrap_or((fault, ""));
    // `-P` limits both the note and the fault to our own files.
    let paths = ["", "-wal", "-journal"].map(|ending| format!("{}{ending}", file.display()));
    let output = Command::new("strace")
        .args(["-f", "-o"])
        .arg(&trace)
        .args(paths.iter().flat_map(|path| ["-P", path]))
        .args(["-e", &format!("trace={call}"), "-e", &format!("inject={fault}")])
        .arg(writer)
        .arg(&file)
        .args(["1", "1", &N_EVENTS.to_string()])
        .output()?;
    let said = String::from_utf8(output.stdout)? + &String::from_utf8(output.stderr)?;
    let acknowledged: BTreeSet<u64> = said.lines().filter_map(|line| line.parse().ok()).collect();
    let has_failed = std::fs::read_to_string(&trace)?.contains("(INJECTED)");
    let is_told = ["the disk did not take it", "can only be read now", "the file is damaged"]
        .iter()
        .any(|words| said.contains(words));
    if acknowledged.len() as u64 != N_EVENTS && !is_told {
        return Err(format!("not all was kept and nobody was told: {said}").into());
    }
    if said.contains("panicked") {
        return Err(format!("it broke: {said}").into());
    }
    check(&file, &acknowledged)?;
    Ok(match (has_failed, is_told) {
        (false, _) => Run::NothingFailed,
        (true, false) => Run::MadeDo,
        (true, true) => Run::Told,
    })
}

fn check(file: &Path, acknowledged: &BTreeSet<u64>) -> Result<(), Box<dyn Error>> {
    let log = SqliteLog::open(file)?;
    log.verify(None)?;
    let there: BTreeSet<u64> =
        log.after(0, usize::MAX)?.iter().map(|stored| stored.event.seq).collect();
    match acknowledged.difference(&there).next() {
        Some(lost) => Err(format!("event {lost} was acknowledged and is gone").into()),
        None => Ok(()),
    }
}
