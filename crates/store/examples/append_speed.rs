//! How many events a second a log takes, beside how many synced writes the disk takes by itself.
//!
//! `append_speed [FOLDER] [SECONDS]`

#![expect(clippy::print_stdout, reason = "it reports to a person")]

use floorwright_job::events::{DeviceId, Event, EventId, JobId, WallClock};
use floorwright_store::{Arrival, Arrived, SqliteLog, Writer};
use serde_json::json;
use std::error::Error;
use std::fs::File;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

fn main() -> Result<(), Box<dyn Error>> {
    let mut arguments = std::env::args().skip(1);
    let folder = arguments.next().map_or_else(std::env::temp_dir, PathBuf::from);
    let span = Duration::from_secs(arguments.next().map_or(Ok(5), |seconds| seconds.parse())?);
    let folder = tempfile::tempdir_in(folder)?;
    report(
        "the disk by itself, one synced write of 12 KiB at a time",
        &disk(folder.path(), span)?,
        span,
    );
    for n_callers in [1, 4, 16, 64] {
        let times = log(folder.path(), n_callers, span)?;
        report(&format!("events of {n_callers} callers"), &times, span);
    }
    Ok(())
}

fn report(what: &str, times: &[Duration], span: Duration) {
    let mut sorted = times.to_vec();
    sorted.sort_unstable();
    let at = |share: f64| {
        let idx = ((sorted.len() as f64 * share) as usize).min(sorted.len().saturating_sub(1));
        sorted.get(idx).map_or(0.0, |time| time.as_secs_f64() * 1e3)
    };
    let rate = sorted.len() as f64 / span.as_secs_f64();
    println!("{what}: {rate:.0} a second, median {:.2} ms, p99 {:.2} ms", at(0.5), at(0.99));
}

/// As many pages as one event takes in the write-ahead log, then a sync.
fn disk(folder: &Path, span: Duration) -> Result<Vec<Duration>, Box<dyn Error>> {
    let mut file = File::create(folder.join("plain"))?;
    let pages = vec![7; 3 * 4096];
    let start = Instant::now();
    let mut times = Vec::new();
    while start.elapsed() < span {
        let before = Instant::now();
        file.write_all(&pages)?;
        file.sync_data()?;
        times.push(before.elapsed());
    }
    Ok(times)
}

fn log(folder: &Path, n_callers: u64, span: Duration) -> Result<Vec<Duration>, Box<dyn Error>> {
    let file = folder.join(format!("log-{n_callers}"));
    let (writer, _thread) = Writer::start(SqliteLog::open(&file)?);
    let start = Instant::now();
    let callers: Vec<_> = (0..n_callers)
        .map(|caller| {
            let writer = writer.clone();
            std::thread::spawn(move || {
                let mut times = Vec::new();
                for number in (1 + caller..).step_by(n_callers as usize) {
                    if start.elapsed() > span {
                        break;
                    }
                    let before = Instant::now();
                    writer.append(vec![event(number)]).expect("the disk takes it");
                    times.push(before.elapsed());
                }
                times
            })
        })
        .collect();
    Ok(callers.into_iter().flat_map(|caller| caller.join().expect("no caller breaks")).collect())
}

fn event(number: u64) -> Arrived {
    let mut id = [0; 16];
    id[8..].copy_from_slice(&number.to_be_bytes());
    let reading = json!({ "point": format!("P{number}"), "reading": 1500 });
    let event = Event {
        id: EventId::from_bytes(id),
        job: JobId::from_bytes([1; 16]),
        device: DeviceId::from_bytes([2; 16]),
        seq: number,
        tick: number,
        at: WallClock { unix_ms: 0, offset_minutes: 0 },
        elapsed_ms: None,
        change: json!({ "did": "read", "setup": "S1", "reading": reading }),
    };
    Arrived { event, arrival: Arrival(number as i64) }
}
