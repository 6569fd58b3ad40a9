//! What a log of events can do, whatever it is kept in.

use crate::{Head, Photo, StoreFault};
use floorwright_job::events::{Event, JobId};
use floorwright_job::photo::PhotoHash;
use serde::Serialize;

/// When events arrived: milliseconds of universal time since the beginning of 1970.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
pub struct Arrival(pub i64);

/// An event that arrived.
#[derive(Clone, Debug, PartialEq)]
pub struct Arrived {
    /// The event.
    pub event: Event,
    /// When it arrived.
    pub arrival: Arrival,
}

/// What became of an event that was handed in.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(tag = "receipt", rename_all = "kebab-case")]
pub enum Receipt {
    /// It was added at this place.
    Kept {
        /// Its place in the log, from 1.
        place: u64,
    },
    /// It was there already, at this place.
    Known {
        /// Its place in the log, from 1.
        place: u64,
    },
    /// Another event carries the same id: both are kept, this one at this place.
    Differs {
        /// Its place in the log, from 1.
        place: u64,
        /// The place of the first event of that id.
        first: u64,
    },
}

impl Receipt {
    /// Where the event stands.
    pub fn place(self) -> u64 {
        match self {
            Self::Kept { place } | Self::Known { place } | Self::Differs { place, .. } => place,
        }
    }
}

/// An event with its place in the log.
#[derive(Clone, Debug, PartialEq)]
pub struct Stored {
    /// Its place, from 1.
    pub place: u64,
    /// When it arrived.
    pub arrival: Arrival,
    /// The event.
    pub event: Event,
}

/// A log of events.
pub trait EventLog {
    /// Adds events, all or none; gives one receipt for each, in their order.
    ///
    /// # Errors
    /// [`StoreFault`]. After a fault of the disk nobody can say whether the events are there: open
    /// the log again and hand the same events in again, which is harmless.
    fn append(&mut self, events: &[Arrived]) -> Result<Vec<Receipt>, StoreFault>;

    /// All events of a job, those that share an id among them, in order of arrival.
    ///
    /// # Errors
    /// [`StoreFault`] if the log cannot be read.
    fn of_job(&self, job: JobId) -> Result<Vec<Stored>, StoreFault>;

    /// No more than `most` events after a place, of all jobs, in order of arrival.
    ///
    /// # Errors
    /// [`StoreFault`] if the log cannot be read.
    fn after(&self, place: u64, most: usize) -> Result<Vec<Stored>, StoreFault>;

    /// The jobs that have events, in order of their ids.
    ///
    /// # Errors
    /// [`StoreFault`] if the log cannot be read.
    fn jobs(&self) -> Result<Vec<JobId>, StoreFault>;

    /// Brings everything that was acknowledged into the log's one main file, where it is kept in several;
    /// whether that could be done now. Nothing is lost if it could not.
    ///
    /// # Errors
    /// [`StoreFault`] if the log cannot be written.
    fn fold_in(&mut self) -> Result<bool, StoreFault>;

    /// How many events there are, and the hash over all of them.
    ///
    /// # Errors
    /// [`StoreFault`] if the log cannot be read.
    fn head(&self) -> Result<Head, StoreFault>;

    /// Keeps a photo; the same photo again is no new row.
    ///
    /// # Errors
    /// As [`EventLog::append`].
    fn keep_photo(&mut self, photo: &Photo, arrival: Arrival) -> Result<Receipt, StoreFault>;

    /// The photo of this name; nothing if it has not arrived.
    ///
    /// # Errors
    /// [`StoreFault`] if the log cannot be read, or the photo is not as it was written.
    fn photo(&self, hash: PhotoHash) -> Result<Option<Photo>, StoreFault>;

    /// How many bytes all photos have together.
    ///
    /// # Errors
    /// [`StoreFault`] if the log cannot be read.
    fn photo_bytes(&self) -> Result<u64, StoreFault>;

    /// Goes through the whole log, photos included; with a head that was noted earlier, finds out as well whether
    /// anything up to it was cut off or written anew.
    ///
    /// # Errors
    /// [`StoreFault::Broken`] names the first place that does not hold.
    fn verify(&self, noted: Option<&Head>) -> Result<Head, StoreFault>;
}
