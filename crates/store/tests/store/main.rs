//! What every log of events has to do, and what the one in a file has to do besides.

mod file;
mod kill;
mod photos;
mod story;
mod writers;

use floorwright_job::events::{DeviceId, Event, EventId, JobId, WallClock};
use floorwright_store::{Arrival, Arrived};
use serde_json::json;

/// An event of a crew: a reading on point `P<number>`.
fn reading(job: u8, number: u64, reading: i64) -> Event {
    let mut id = [0; 16];
    id[0] = job;
    id[8..].copy_from_slice(&number.to_be_bytes());
    Event {
        id: EventId::from_bytes(id),
        job: JobId::from_bytes([job; 16]),
        device: DeviceId::from_bytes([9; 16]),
        seq: number,
        tick: number,
        at: WallClock { unix_ms: 1_790_000_000_000, offset_minutes: 720 },
        elapsed_ms: None,
        change: json!({
            "did": "read", "setup": "S1",
            "reading": { "point": format!("P{number}"), "reading": reading },
        }),
    }
}

fn arrived(event: Event) -> Arrived {
    Arrived { event, arrival: Arrival(1_790_000_000_500) }
}

fn readings(job: u8, numbers: std::ops::RangeInclusive<u64>) -> Vec<Arrived> {
    numbers.map(|number| arrived(reading(job, number, 1500 + number as i64))).collect()
}
