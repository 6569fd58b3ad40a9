//! The log of what crews did: events are added, never changed, and never lost once acknowledged.
//!
//! An [`EventLog`] keeps [`Event`](floorwright_job::events::Event)s in the order in which they arrived.
//! Photos that events speak of are kept beside them, by their hash.
//! [`SqliteLog`] keeps all of it in one file; [`MemoryLog`] keeps them until it is dropped, for trying
//! things out. [`Writer`] lets many callers add to one log at the cost of few syncs.
//!
//! # What holds
//! - A [`Receipt`] is given only after the disk has the event.
//! - The same event again is no new row; another event under the same id is kept beside the first
//!   and is told.
//! - Every row carries a hash over all rows before it ([`Head`]), so that an edit, a loss or a swap
//!   within the log is found by [`EventLog::verify`]. Rows cut off at the end are found only against a
//!   head that was noted elsewhere, on paper or on another device.
//!
//! # What it does not do
//! It knows no clock: the time of arrival is an argument. It does not say what an event means.

mod chain;
mod fault;
mod log;
mod memory;
mod photo;
mod sqlite;
mod writer;

pub use chain::Head;
pub use fault::StoreFault;
pub use log::{Arrival, Arrived, EventLog, Receipt, Stored};
pub use memory::MemoryLog;
pub use photo::Photo;
pub use sqlite::{Restored, SqliteLog, restore};
pub use writer::Writer;
