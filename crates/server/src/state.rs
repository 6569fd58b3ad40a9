//! What the handlers share.

use crate::guard::Rates;
use crate::pairing::Pairing;
use floorwright_job::events::{Event, FoldedJob, History, JobId};
use floorwright_job::photo::PhotoHash;
use floorwright_pages::{Depth, JobHead, JobView, Trust};
use floorwright_store::{
    Arrival, Arrived, EventLog, Photo, Receipt, SqliteLog, StoreFault, Writer,
};
use std::collections::BTreeMap;
use std::path::Path;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;
use tokio::sync::{broadcast, oneshot};

/// Tells the time of arrival; given by the program, which alone knows the clock.
pub type Clock = fn() -> Arrival;

/// Makes a document of a job by its name, or says why there is none; given by the program, which knows
/// how to set paper.
pub type Documents = fn(&JobView, &str) -> Result<Vec<u8>, String>;

/// So many jobs are kept worked out.
const MOST_KEPT: usize = 8;

/// How the server is reached.
#[derive(Clone, Debug)]
pub struct Settings {
    /// The hosts it answers to, as `127.0.0.1:8080`.
    pub hosts: Vec<String>,
    /// The address that phones on the network reach it at, as `http://192.168.1.20:7340`.
    pub lan: Option<String>,
    /// Where a phone is given the certificate, where they are spoken to in encrypted form.
    pub trust: Option<Trust>,
    /// Tells the time.
    pub clock: Clock,
    /// So many bytes of photos are kept in all.
    pub most_photo_bytes: u64,
    /// Who has not said by then what they want is let go.
    pub patience: Duration,
    /// Makes the documents.
    pub documents: Documents,
    /// The files of the demo job, by their names.
    pub demo: BTreeMap<String, String>,
}

/// Everything that the handlers share.
#[derive(Debug)]
pub struct App {
    pub(crate) settings: Settings,
    pub(crate) pairing: Pairing,
    pub(crate) rates: Rates,
    writer: Writer,
    reader: Mutex<SqliteLog>,
    heads: Mutex<BTreeMap<JobId, JobHead>>,
    kept: Mutex<Vec<Kept>>,
    news: broadcast::Sender<News>,
}

/// What listeners are told.
#[derive(Clone, Copy, Debug)]
pub enum News {
    /// A job changed, by an event of this tick.
    Changed {
        /// The job.
        job: JobId,
        /// The tick.
        tick: u64,
    },
    /// A device was sent away: whoever listens has to look whether it still may.
    SentAway,
}

/// A job that was folded, and worked out as deep as it was asked for.
#[derive(Debug)]
struct Kept {
    job: JobId,
    history: History,
    folded: FoldedJob,
    views: Vec<(Depth, Arc<JobView>)>,
}

fn held<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    // What is behind these locks is never left half changed.
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

impl App {
    /// Opens the log in a file.
    ///
    /// # Errors
    /// [`StoreFault`] if it cannot be opened.
    pub fn open(log: &Path, settings: Settings) -> Result<Self, StoreFault> {
        Self::with_log(SqliteLog::open(log)?, log, settings)
    }

    /// Writes to a log that is open, and reads it from its file.
    ///
    /// # Errors
    /// [`StoreFault`] if it cannot be read.
    pub fn with_log(log: SqliteLog, file: &Path, settings: Settings) -> Result<Self, StoreFault> {
        let (writer, _thread) = Writer::start(log);
        let reader = SqliteLog::open_to_read(file)?;
        let app = Self {
            pairing: Pairing::default(),
            rates: Rates::default(),
            settings,
            writer,
            reader: Mutex::new(reader),
            heads: Mutex::default(),
            kept: Mutex::default(),
            news: broadcast::channel(256).0,
        };
        let jobs = held(&app.reader).jobs()?;
        for job in jobs {
            let folded = app.history(job)?.fold();
            held(&app.heads).insert(job, head_of(job, &folded));
        }
        Ok(app)
    }

    /// Brings all that was acknowledged into the one file that was opened, to be copied by itself; whether
    /// it could be done now.
    ///
    /// # Errors
    /// [`StoreFault`] if it cannot be written.
    pub fn fold_in(&self) -> Result<bool, StoreFault> {
        // The reader holds nothing open meanwhile.
        let _reader = held(&self.reader);
        self.writer.fold_in()
    }

    /// The jobs there are, by name.
    pub fn jobs(&self) -> Vec<JobHead> {
        let mut heads: Vec<JobHead> = held(&self.heads).values().cloned().collect();
        heads.sort_by(|a, b| a.name.cmp(&b.name).then(a.id.cmp(&b.id)));
        heads
    }

    /// A job as it is now, worked out at least so deep; nothing if it has no events.
    ///
    /// # Errors
    /// [`StoreFault`] if the log cannot be read.
    pub fn job(&self, job: JobId, depth: Depth) -> Result<Option<Arc<JobView>>, StoreFault> {
        if !held(&self.heads).contains_key(&job) {
            return Ok(None);
        }
        let known = held(&self.kept).iter().find(|kept| kept.job == job).map(|kept| {
            let view = kept.views.iter().find(|(known, _)| *known >= depth);
            (kept.folded.clone(), view.map(|(_, view)| view.clone()))
        });
        let (history, folded) = match known {
            Some((_, Some(view))) => return Ok(Some(view)),
            Some((folded, None)) => (None, folded),
            None => {
                let history = self.history(job)?;
                let folded = history.fold();
                (Some(history), folded)
            }
        };
        let tick = folded.tick;
        let n_readings = folded.readings.len();
        let view = Arc::new(JobView::of_folded(job, folded.clone(), depth));
        let mut kept = held(&self.kept);
        match kept.iter_mut().find(|kept| kept.job == job) {
            Some(known)
                if known.folded.tick == tick && known.folded.readings.len() == n_readings =>
            {
                known.views.push((depth, view.clone()));
            }
            Some(_) => {}
            None => {
                // Where it was sent out of the kept ones meanwhile it is read anew the next time.
                if let Some(history) = history {
                    let views = vec![(depth, view.clone())];
                    kept.insert(0, Kept { job, history, folded, views });
                    kept.truncate(MOST_KEPT);
                }
            }
        }
        Ok(Some(view))
    }

    /// Adds an event; resolves once the disk has it.
    ///
    /// # Errors
    /// [`StoreFault`]; the event was then not acknowledged.
    pub async fn add(&self, event: Event) -> Result<Receipt, StoreFault> {
        let (job, tick) = (event.job, event.tick);
        let (answer, wait) = oneshot::channel();
        let arrived = Arrived { event: event.clone(), arrival: (self.settings.clock)() };
        self.writer.append_then(vec![arrived], move |result| {
            // A browser that went away has no use for the answer.
            let _ = answer.send(result);
        });
        let receipts = wait.await.unwrap_or(Err(StoreFault::Closed))?;
        let receipt = receipts.first().copied().ok_or(StoreFault::Closed)?;
        if !matches!(receipt, Receipt::Known { .. }) {
            self.take_in(event)?;
            // Nobody may be listening.
            let _ = self.news.send(News::Changed { job, tick });
        }
        Ok(receipt)
    }

    /// Keeps a photo; resolves once the disk has it.
    ///
    /// # Errors
    /// [`StoreFault`]; the photo was then not acknowledged.
    pub async fn keep_photo(&self, photo: Photo) -> Result<Receipt, StoreFault> {
        let (answer, wait) = oneshot::channel();
        self.writer.keep_photo_then(photo, (self.settings.clock)(), move |result| {
            // A browser that went away has no use for the answer.
            let _ = answer.send(result);
        });
        wait.await.unwrap_or(Err(StoreFault::Closed))
    }

    /// Whether one more photo of so many bytes would be more than is kept in all.
    ///
    /// # Errors
    /// [`StoreFault`] if the log cannot be read.
    pub fn is_over_quota(&self, photo: &Photo) -> Result<bool, StoreFault> {
        let reader = held(&self.reader);
        // What is there already takes no more room.
        if reader.photo(photo.hash())?.is_some() {
            return Ok(false);
        }
        let after = reader.photo_bytes()?.saturating_add(photo.bytes().len() as u64);
        Ok(after > self.settings.most_photo_bytes)
    }

    /// The photo of this name; nothing if it has not arrived.
    ///
    /// # Errors
    /// [`StoreFault`] if it cannot be read.
    pub fn photo(&self, hash: PhotoHash) -> Result<Option<Photo>, StoreFault> {
        held(&self.reader).photo(hash)
    }

    /// What changes from now on.
    pub fn news(&self) -> broadcast::Receiver<News> {
        self.news.subscribe()
    }

    /// Has every listener look whether it may still listen.
    pub(crate) fn wake_listeners(&self) {
        // Nobody may be listening.
        let _ = self.news.send(News::SentAway);
    }

    pub(crate) fn events(&self, job: JobId) -> Result<Vec<Event>, StoreFault> {
        let stored = held(&self.reader).of_job(job)?;
        Ok(stored.into_iter().map(|stored| stored.event).collect())
    }

    fn history(&self, job: JobId) -> Result<History, StoreFault> {
        let mut history = History::default();
        self.events(job)?.into_iter().for_each(|event| history.add(event));
        Ok(history)
    }

    /// A job changed by an event: what was worked out of it no longer holds.
    fn take_in(&self, event: Event) -> Result<(), StoreFault> {
        let job = event.job;
        let mut kept = held(&self.kept);
        let known = kept.iter().position(|known| known.job == job).map(|at| kept.remove(at));
        let mut history = match known {
            Some(known) => known.history,
            None => self.history(job)?,
        };
        history.add(event);
        let folded = history.fold();
        held(&self.heads).insert(job, head_of(job, &folded));
        kept.insert(0, Kept { job, history, folded, views: Vec::new() });
        kept.truncate(MOST_KEPT);
        Ok(())
    }
}

fn head_of(id: JobId, folded: &FoldedJob) -> JobHead {
    JobHead {
        id,
        name: floorwright_pages::name_of(folded).to_owned(),
        n_readings: folded.readings.len(),
        n_supports: folded.form.support.len(),
    }
}
