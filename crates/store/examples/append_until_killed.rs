//! Adds events to a log one by one, or in the manner of many callers, and says of each, once it is
//! acknowledged, that it is. Something else has to kill it, unless it is told where to end.
//!
//! `append_until_killed FILE CALLERS FIRST [LAST]`

#![expect(clippy::print_stdout, clippy::print_stderr, reason = "it reports to what started it")]

use floorwright_job::events::{DeviceId, Event, EventId, JobId, WallClock};
use floorwright_store::{Arrival, Arrived, SqliteLog, Writer};
use serde_json::json;
use std::io::Write;
use std::process::ExitCode;

fn main() -> ExitCode {
    match write() {
        Ok(()) => ExitCode::SUCCESS,
        Err(why) => {
            eprintln!("{why}");
            ExitCode::FAILURE
        }
    }
}

fn write() -> Result<(), Box<dyn std::error::Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [file, callers, first, last @ ..] = arguments.as_slice() else {
        return Err("append_until_killed FILE CALLERS FIRST [LAST]".into());
    };
    let (callers, first): (u64, u64) = (callers.parse()?, first.parse()?);
    let last: u64 = last.first().map_or(Ok(u64::MAX), |last| last.parse())?;
    let (writer, _thread) = Writer::start(SqliteLog::open(file.as_ref())?);
    std::thread::scope(|scope| {
        for caller in 0..callers {
            let writer = writer.clone();
            scope.spawn(move || {
                for number in (first + caller..=last).step_by(callers as usize) {
                    let event = event(number);
                    if let Err(fault) = writer.append(vec![event]) {
                        println!("refused {number}: {fault}");
                        return;
                    }
                    // One write for the whole line, so that a kill cannot part it.
                    let mut out = std::io::stdout().lock();
                    let line = format!("{number}\n");
                    out.write_all(line.as_bytes())
                        .and_then(|()| out.flush())
                        .expect("the test reads");
                }
            });
        }
    });
    Ok(())
}

fn event(number: u64) -> Arrived {
    let mut id = [0; 16];
    id[8..].copy_from_slice(&number.to_be_bytes());
    let event = Event {
        id: EventId::from_bytes(id),
        job: JobId::from_bytes([1; 16]),
        device: DeviceId::from_bytes([2; 16]),
        seq: number,
        tick: number,
        at: WallClock { unix_ms: 0, offset_minutes: 0 },
        elapsed_ms: None,
        change: json!({ "did": "read", "setup": "S1", "reading": { "point": "A1", "reading": number } }),
    };
    Arrived { event, arrival: Arrival(number as i64) }
}
