//! A log that lives no longer than the program.

use crate::chain::{Follow, Hash, digest_of};
use crate::{Arrival, Arrived, EventLog, Head, Photo, Receipt, StoreFault, Stored};
use floorwright_job::events::{Event, EventId, JobId};
use floorwright_job::photo::PhotoHash;
use std::collections::{BTreeMap, BTreeSet};

/// A log in memory, for trying things out: what it holds is gone with it.
#[derive(Clone, Debug, Default)]
pub struct MemoryLog {
    rows: Vec<Row>,
    by_id: BTreeMap<EventId, Vec<usize>>,
    photos: Vec<Photo>,
}

#[derive(Clone, Debug)]
struct Row {
    event: Event,
    body: String,
    digest: Hash,
    arrival: Arrival,
    chain: Hash,
}

impl MemoryLog {
    fn add(&mut self, event: &Event, arrival: Arrival) -> Receipt {
        let body = event.canonical();
        let digest = digest_of(&body);
        let of_id = self.by_id.entry(event.id).or_default();
        if let Some(&idx) = of_id.iter().find(|&&idx| self.rows[idx].digest == digest) {
            return Receipt::Known { place: idx as u64 + 1 };
        }
        let first = of_id.first().copied();
        of_id.push(self.rows.len());
        let before = self.rows.last().map_or(Hash::default(), |row| row.chain);
        let head = Head { count: self.rows.len() as u64, chain: before }.next(&digest, arrival);
        self.rows.push(Row { event: event.clone(), body, digest, arrival, chain: head.chain });
        match first {
            Some(first) => Receipt::Differs { place: head.count, first: first as u64 + 1 },
            None => Receipt::Kept { place: head.count },
        }
    }

    fn stored(&self) -> impl Iterator<Item = Stored> {
        (1..).zip(&self.rows).map(|(place, row)| Stored {
            place,
            arrival: row.arrival,
            event: row.event.clone(),
        })
    }
}

impl EventLog for MemoryLog {
    fn append(&mut self, events: &[Arrived]) -> Result<Vec<Receipt>, StoreFault> {
        Ok(events.iter().map(|arrived| self.add(&arrived.event, arrived.arrival)).collect())
    }

    fn of_job(&self, job: JobId) -> Result<Vec<Stored>, StoreFault> {
        Ok(self.stored().filter(|stored| stored.event.job == job).collect())
    }

    fn after(&self, place: u64, most: usize) -> Result<Vec<Stored>, StoreFault> {
        Ok(self.stored().filter(|stored| stored.place > place).take(most).collect())
    }

    fn jobs(&self) -> Result<Vec<JobId>, StoreFault> {
        let jobs: BTreeSet<JobId> = self.rows.iter().map(|row| row.event.job).collect();
        Ok(jobs.into_iter().collect())
    }

    fn fold_in(&mut self) -> Result<bool, StoreFault> {
        Ok(true)
    }

    fn head(&self) -> Result<Head, StoreFault> {
        Ok(self.rows.last().map_or(Head::default(), |row| Head {
            count: self.rows.len() as u64,
            chain: row.chain,
        }))
    }

    fn keep_photo(&mut self, photo: &Photo, _: Arrival) -> Result<Receipt, StoreFault> {
        let known = self.photos.iter().position(|known| known.hash() == photo.hash());
        if let Some(idx) = known {
            return Ok(Receipt::Known { place: idx as u64 + 1 });
        }
        self.photos.push(photo.clone());
        Ok(Receipt::Kept { place: self.photos.len() as u64 })
    }

    fn photo(&self, hash: PhotoHash) -> Result<Option<Photo>, StoreFault> {
        Ok(self.photos.iter().find(|photo| photo.hash() == hash).cloned())
    }

    fn photo_bytes(&self) -> Result<u64, StoreFault> {
        Ok(self.photos.iter().map(|photo| photo.bytes().len() as u64).sum())
    }

    fn verify(&self, noted: Option<&Head>) -> Result<Head, StoreFault> {
        let mut follow = Follow::new(noted);
        for (place, row) in (1..).zip(&self.rows) {
            follow.step(place, &row.body, &row.digest, row.arrival, &row.chain)?;
        }
        follow.end()
    }
}
