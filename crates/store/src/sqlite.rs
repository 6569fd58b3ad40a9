//! A log in one SQLite file.

mod backup;
mod open;
mod photos;

pub use backup::{Restored, restore};

use crate::chain::{Follow, Hash, digest_of};
use crate::{Arrival, Arrived, EventLog, Head, Photo, Receipt, StoreFault, Stored};
use floorwright_job::events::{Event, JobId};
use floorwright_job::photo::PhotoHash;
use rusqlite::{Connection, OptionalExtension, Row, Transaction, TransactionBehavior, params};

/// A log in one SQLite file.
///
/// Every commit is on the disk before [`append`](EventLog::append) returns: the file is written with
/// a write-ahead log and `synchronous = FULL`. Without FULL a power cut takes commits that were
/// acknowledged (<https://www.sqlite.org/pragma.html#pragma_synchronous>).
#[derive(Debug)]
pub struct SqliteLog {
    connection: Connection,
    /// Opened to be read; or the disk failed, and what is on it is not known until it is opened again
    /// (Rebello et al., *Can applications recover from fsync failures?*, USENIX ATC 2020).
    only_reads: bool,
}

impl EventLog for SqliteLog {
    fn append(&mut self, events: &[Arrived]) -> Result<Vec<Receipt>, StoreFault> {
        self.write(|connection| add_all(connection, events))
    }

    fn of_job(&self, job: JobId) -> Result<Vec<Stored>, StoreFault> {
        self.stored(
            "SELECT place, received, body FROM event WHERE job = ?1 ORDER BY place",
            params![job.as_bytes()],
        )
    }

    fn after(&self, place: u64, most: usize) -> Result<Vec<Stored>, StoreFault> {
        let (place, most) = (as_sql(place), i64::try_from(most).unwrap_or(i64::MAX));
        self.stored(
            "SELECT place, received, body FROM event WHERE place > ?1 ORDER BY place LIMIT ?2",
            params![place, most],
        )
    }

    fn jobs(&self) -> Result<Vec<JobId>, StoreFault> {
        let mut query =
            self.connection.prepare_cached("SELECT DISTINCT job FROM event ORDER BY job")?;
        let jobs = query.query_map([], |row| row.get(0).map(JobId::from_bytes))?;
        Ok(jobs.collect::<Result<_, _>>()?)
    }

    fn fold_in(&mut self) -> Result<bool, StoreFault> {
        // <https://www.sqlite.org/pragma.html#pragma_wal_checkpoint>: the first column is 0 if it was done.
        self.write(|connection| {
            let busy: i64 =
                connection.query_row("PRAGMA wal_checkpoint(TRUNCATE)", [], |row| row.get(0))?;
            Ok(busy == 0)
        })
    }

    fn head(&self) -> Result<Head, StoreFault> {
        head_of(&self.connection)
    }

    fn keep_photo(&mut self, photo: &Photo, arrival: Arrival) -> Result<Receipt, StoreFault> {
        self.write(|connection| photos::keep(connection, photo, arrival))
    }

    fn photo(&self, hash: PhotoHash) -> Result<Option<Photo>, StoreFault> {
        photos::get(&self.connection, hash)
    }

    fn photo_bytes(&self) -> Result<u64, StoreFault> {
        photos::total_bytes(&self.connection)
    }

    fn verify(&self, noted: Option<&Head>) -> Result<Head, StoreFault> {
        self.check_file()?;
        photos::verify(&self.connection)?;
        let mut follow = Follow::new(noted);
        let mut query = self.connection.prepare(
            "SELECT place, body, digest, received, chain, id, job FROM event ORDER BY place",
        )?;
        let mut rows = query.query([])?;
        while let Some(row) = rows.next()? {
            let (place, body): (u64, String) = (place_of(row)?, row.get(1)?);
            let (digest, chain): (Hash, Hash) = (row.get(2)?, row.get(4)?);
            follow.step(place, &body, &digest, Arrival(row.get(3)?), &chain)?;
            let event = read_event(place, &body)?;
            let (id, job): ([u8; 16], [u8; 16]) = (row.get(5)?, row.get(6)?);
            if *event.id.as_bytes() != id || *event.job.as_bytes() != job {
                let what = "the row is filed under another id than its event has";
                return Err(StoreFault::Broken { place, what });
            }
        }
        follow.end()
    }
}

impl SqliteLog {
    fn write<T>(
        &mut self,
        work: impl FnOnce(&mut Connection) -> Result<T, StoreFault>,
    ) -> Result<T, StoreFault> {
        if self.only_reads {
            return Err(StoreFault::ReadOnly);
        }
        let done = work(&mut self.connection);
        self.only_reads = matches!(done, Err(StoreFault::Disk { .. } | StoreFault::Damaged { .. }));
        done
    }

    fn stored(
        &self,
        query: &str,
        values: impl rusqlite::Params,
    ) -> Result<Vec<Stored>, StoreFault> {
        let mut query = self.connection.prepare_cached(query)?;
        let mut rows = query.query(values)?;
        let mut stored = Vec::new();
        while let Some(row) = rows.next()? {
            let (place, body): (u64, String) = (place_of(row)?, row.get(2)?);
            let event = read_event(place, &body)?;
            stored.push(Stored { place, arrival: Arrival(row.get(1)?), event });
        }
        Ok(stored)
    }

    /// Opens a log that takes no more than so many pages of 4 KiB, as a disk without room would.
    ///
    /// # Errors
    /// As [`SqliteLog::open`].
    pub fn open_with_room(file: &std::path::Path, n_pages: u32) -> Result<Self, StoreFault> {
        let log = Self::open(file)?;
        log.make_room(n_pages)?;
        Ok(log)
    }

    /// Lets a log take so many pages of 4 KiB from now on.
    ///
    /// # Errors
    /// [`StoreFault`] if the log cannot be read.
    pub fn make_room(&self, n_pages: u32) -> Result<(), StoreFault> {
        Ok(self.connection.pragma_update(None, "max_page_count", n_pages)?)
    }

    /// What SQLite itself finds wrong with the file.
    fn check_file(&self) -> Result<(), StoreFault> {
        let said: String =
            self.connection.query_row("PRAGMA integrity_check(1)", [], |row| row.get(0))?;
        if said == "ok" { Ok(()) } else { Err(StoreFault::Damaged { what: said }) }
    }
}

/// One transaction, which takes the right to write before it reads.
fn add_all(connection: &mut Connection, events: &[Arrived]) -> Result<Vec<Receipt>, StoreFault> {
    let transaction = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
    let mut head = head_of(&transaction)?;
    let mut receipts = Vec::with_capacity(events.len());
    for arrived in events {
        receipts.push(add(&transaction, &mut head, arrived)?);
    }
    transaction.commit()?;
    Ok(receipts)
}

fn add(
    transaction: &Transaction<'_>,
    head: &mut Head,
    Arrived { event, arrival }: &Arrived,
) -> Result<Receipt, StoreFault> {
    let body = event.canonical();
    let digest = digest_of(&body);
    let mut known = transaction
        .prepare_cached("SELECT place, digest FROM event WHERE id = ?1 ORDER BY place")?;
    let known: Vec<(u64, Hash)> = known
        .query_map([event.id.as_bytes()], |row| Ok((place_of(row)?, row.get(1)?)))?
        .collect::<Result<_, _>>()?;
    if let Some(&(place, _)) = known.iter().find(|(_, known)| *known == digest) {
        return Ok(Receipt::Known { place });
    }
    *head = head.next(&digest, *arrival);
    let place = head.count;
    transaction
        .prepare_cached(
            "INSERT INTO event (place, id, job, body, digest, received, chain) \
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
        )?
        .execute(params![
            as_sql(place),
            event.id.as_bytes(),
            event.job.as_bytes(),
            body,
            digest,
            arrival.0,
            head.chain
        ])?;
    Ok(match known.first() {
        Some(&(first, _)) => Receipt::Differs { place, first },
        None => Receipt::Kept { place },
    })
}

fn head_of(connection: &Connection) -> Result<Head, StoreFault> {
    let mut query =
        connection.prepare_cached("SELECT place, chain FROM event ORDER BY place DESC LIMIT 1")?;
    let last = query
        .query_row([], |row| Ok(Head { count: place_of(row)?, chain: row.get(1)? }))
        .optional()?;
    Ok(last.unwrap_or_default())
}

fn read_event(place: u64, body: &str) -> Result<Event, StoreFault> {
    Event::parse(body).map_err(|_| StoreFault::Broken { place, what: "the event cannot be read" })
}

/// The place in the first column. The table holds none below 1.
fn place_of(row: &Row<'_>) -> Result<u64, rusqlite::Error> {
    row.get::<_, i64>(0).map(|place| u64::try_from(place).unwrap_or(0))
}

fn as_sql(place: u64) -> i64 {
    i64::try_from(place).unwrap_or(i64::MAX)
}
