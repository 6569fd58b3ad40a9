//! Many callers, one log.

use crate::readings;
use floorwright_job::events::JobId;
use floorwright_job::photo::PhotoHash;
use floorwright_store::{Arrival, Arrived, Head, Photo, Stored};
use floorwright_store::{EventLog, MemoryLog, Receipt, SqliteLog, StoreFault, Writer};

#[test]
fn every_caller_gets_the_receipts_for_its_own_events() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("jobs.floorwright");
    let (writer, thread) = Writer::start(SqliteLog::open(&file).unwrap());
    let callers: Vec<_> = (1..=8_u8)
        .map(|job| {
            let writer = writer.clone();
            std::thread::spawn(move || {
                (1..=25_u64)
                    .flat_map(|number| writer.append(readings(job, number..=number)).unwrap())
                    .map(Receipt::place)
                    .collect::<Vec<_>>()
            })
        })
        .collect();
    let mut places = Vec::new();
    for (job, caller) in (1..=8_u8).zip(callers) {
        let own = caller.join().unwrap();
        let log = SqliteLog::open_to_read(&file).unwrap();
        let stored = log.of_job(JobId::from_bytes([job; 16])).unwrap();
        assert_eq!(stored.iter().map(|stored| stored.place).collect::<Vec<_>>(), own);
        assert_eq!(
            stored.iter().map(|stored| stored.event.seq).collect::<Vec<_>>(),
            Vec::from_iter(1..=25)
        );
        places.extend(own);
    }
    places.sort_unstable();
    assert_eq!(places, Vec::from_iter(1..=200));
    drop(writer);
    assert_eq!(thread.join().unwrap().verify(None).unwrap().count(), 200);
}

/// A disk that fails once, and from then on only lets itself be read.
#[derive(Default)]
struct Failing {
    inner: MemoryLog,
    n_calls: u32,
}

impl EventLog for Failing {
    fn append(&mut self, events: &[Arrived]) -> Result<Vec<Receipt>, StoreFault> {
        self.n_calls += 1;
        match self.n_calls {
            1 => self.inner.append(events),
            2 => Err(StoreFault::Disk { what: "no space left".to_owned() }),
            _ => Err(StoreFault::ReadOnly),
        }
    }
    fn of_job(&self, job: JobId) -> Result<Vec<Stored>, StoreFault> {
        self.inner.of_job(job)
    }
    fn after(&self, place: u64, most: usize) -> Result<Vec<Stored>, StoreFault> {
        self.inner.after(place, most)
    }
    fn jobs(&self) -> Result<Vec<JobId>, StoreFault> {
        self.inner.jobs()
    }
    fn fold_in(&mut self) -> Result<bool, StoreFault> {
        self.inner.fold_in()
    }
    fn head(&self) -> Result<Head, StoreFault> {
        self.inner.head()
    }
    fn keep_photo(&mut self, _: &Photo, _: Arrival) -> Result<Receipt, StoreFault> {
        Err(StoreFault::ReadOnly)
    }
    fn photo_bytes(&self) -> Result<u64, StoreFault> {
        self.inner.photo_bytes()
    }
    fn photo(&self, hash: PhotoHash) -> Result<Option<Photo>, StoreFault> {
        self.inner.photo(hash)
    }
    fn verify(&self, noted: Option<&Head>) -> Result<Head, StoreFault> {
        self.inner.verify(noted)
    }
}

#[test]
fn nothing_is_acknowledged_that_the_disk_refused() {
    let (writer, thread) = Writer::start(Failing::default());
    assert!(writer.append(readings(1, 1..=2)).is_ok());
    assert!(matches!(writer.append(readings(1, 3..=3)), Err(StoreFault::Disk { .. })));
    assert!(matches!(writer.append(readings(1, 4..=4)), Err(StoreFault::ReadOnly)));
    drop(writer);
    assert_eq!(thread.join().unwrap().head().unwrap().count(), 2);
}
