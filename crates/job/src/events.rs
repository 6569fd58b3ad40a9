//! What a crew does to a job, one event at a time, and the job that comes of it.
//!
//! An [`Event`] is made once, on the device where it happened, and never changed. A job is the
//! [`fold`] of its events: the same set of events gives the same job, in whatever order and however
//! often they were delivered, so two devices are merged by taking the union of what they hold.
//!
//! # Order
//! Clocks of phones are wrong by minutes and at times by years. Events are therefore ordered by
//! [`Event::tick`]: one more than the largest that the device had seen when the event was made
//! (Lamport, *Time, clocks, and the ordering of events in a distributed system*, Communications of
//! the ACM 21(7), 1978, section "Ordering the events totally"). Ties go by device and by the
//! device's own count. The wall clock is kept for people to read.

mod backdrop;
mod change;
mod fold;
mod note;

pub use backdrop::{BackdropMark, BackdropNote};
pub use change::{Block, Change, Kind, Thing};
pub use fold::{EventFault, FoldedJob, History, PassAt, ReadingAt, TakenOut, fold};
pub use note::{About, Note, NoteAt, table_of_notes};

use serde::{Deserialize, Serialize};
use serde_json::Value;
use std::fmt;
use uuid::Uuid;

macro_rules! minted {
    ($($(#[$meta:meta])* $name:ident)*) => {
        $(
            $(#[$meta])*
            #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
            #[serde(transparent)]
            pub struct $name(Uuid);

            impl $name {
                /// From its sixteen bytes.
                pub fn from_bytes(bytes: [u8; 16]) -> Self {
                    Self(Uuid::from_bytes(bytes))
                }

                /// From text such as `018f3c7e-8d2a-7c31-9b1e-3a54c0ffee01`; nothing if it is not an id.
                pub fn parse(text: &str) -> Option<Self> {
                    Uuid::try_parse(text).ok().map(Self)
                }

                /// Its sixteen bytes.
                pub fn as_bytes(&self) -> &[u8; 16] {
                    self.0.as_bytes()
                }
            }

            impl fmt::Display for $name {
                fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                    self.0.fmt(f)
                }
            }
        )*
    };
}

minted! {
    /// The id of an event, minted by the device that made it.
    EventId
    /// The id of a job, the same on every device.
    JobId
    /// The id of a device: a phone, a laptop.
    DeviceId
}

/// What a clock on the wall said.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct WallClock {
    /// Milliseconds since the beginning of 1970 in universal time.
    pub unix_ms: i64,
    /// How far local time was ahead of universal time, in minutes.
    pub offset_minutes: i16,
}

/// Something that was done to a job.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Event {
    /// Its id; the same id is the same event.
    pub id: EventId,
    /// The job it was done to.
    pub job: JobId,
    /// The device it was done on.
    pub device: DeviceId,
    /// The device's own count of its events, from 1.
    pub seq: u64,
    /// One more than the largest tick that the device had seen.
    pub tick: u64,
    /// What the device's clock said.
    pub at: WallClock,
    /// Milliseconds since the device began to count, which a change of its clock leaves alone.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub elapsed_ms: Option<u64>,
    /// What was done: a [`Change`], kept as it was sent, for it may be of a kind that only a newer
    /// version knows.
    pub change: Value,
}

/// Text that is not an event.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("this is not an event: {0}")]
pub struct NotAnEvent(String);

/// Ticks and counts stay below this, so that they are exact in a browser and in a database.
pub const LARGEST_COUNT: u64 = 1 << 53;

impl Event {
    /// Reads an event; a change of an unknown kind is kept for whoever knows it.
    ///
    /// # Errors
    /// [`NotAnEvent`] with what is missing or out of range.
    pub fn parse(text: &str) -> Result<Self, NotAnEvent> {
        let event: Self =
            serde_json::from_str(text).map_err(|error| NotAnEvent(error.to_string()))?;
        for (name, count) in [("seq", event.seq), ("tick", event.tick)] {
            if !(1..LARGEST_COUNT).contains(&count) {
                return Err(NotAnEvent(format!(
                    "{name} is {count}; it has to be from 1 to {}",
                    LARGEST_COUNT - 1
                )));
            }
        }
        if !event.change.is_object() {
            return Err(NotAnEvent("the change is not an object".to_owned()));
        }
        Ok(event)
    }

    /// The event as text that is the same for the same content: keys in order, no spaces.
    pub fn canonical(&self) -> String {
        // A `Value` holds its keys in order, and an event has no map with keys other than text.
        serde_json::to_value(self).unwrap_or(Value::Null).to_string()
    }

    /// What orders events of a job, whatever order they were delivered in.
    fn rank(&self) -> (u64, DeviceId, u64, EventId) {
        (self.tick, self.device, self.seq, self.id)
    }
}
