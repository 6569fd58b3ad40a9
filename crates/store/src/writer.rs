//! One thread that writes, for many callers: whoever asks while the disk is busy shares the next sync.

use crate::{Arrival, Arrived, EventLog, Photo, Receipt, StoreFault};
use std::sync::mpsc::{Receiver, SendError, Sender, channel};
use std::thread::JoinHandle;

/// No more requests than this share one commit, so that none waits long behind others.
const MOST_A_COMMIT: usize = 256;

type Answer<T> = Box<dyn FnOnce(Result<T, StoreFault>) + Send>;

struct Request {
    events: Vec<Arrived>,
    answer: Answer<Vec<Receipt>>,
}

enum Job {
    Events(Request),
    Photo { photo: Photo, arrival: Arrival, answer: Answer<Receipt> },
    FoldIn(Answer<bool>),
}

/// A handle to the thread that writes to a log; cheap to clone, one for each caller.
#[derive(Clone, Debug)]
pub struct Writer {
    jobs: Sender<Job>,
}

impl Writer {
    /// Starts a thread that owns the log; it ends, and gives the log back, when the last handle is
    /// dropped.
    pub fn start<L: EventLog + Send + 'static>(mut log: L) -> (Self, JoinHandle<L>) {
        let (jobs, queue) = channel();
        let thread = std::thread::spawn(move || {
            write_on(&mut log, &queue);
            log
        });
        (Self { jobs }, thread)
    }

    /// Adds events and waits until the disk has them.
    ///
    /// # Errors
    /// As [`EventLog::append`].
    pub fn append(&self, events: Vec<Arrived>) -> Result<Vec<Receipt>, StoreFault> {
        let (answer, wait) = channel();
        self.append_then(events, move |result| {
            // A caller who no longer waits has no use for the answer.
            let _ = answer.send(result);
        });
        wait.recv().unwrap_or(Err(StoreFault::Closed))
    }

    /// Adds events and has `answer` called, on the writing thread, once the disk has them.
    pub fn append_then(
        &self,
        events: Vec<Arrived>,
        answer: impl FnOnce(Result<Vec<Receipt>, StoreFault>) + Send + 'static,
    ) {
        let request = Request { events, answer: Box::new(answer) };
        if let Err(SendError(Job::Events(refused))) = self.jobs.send(Job::Events(request)) {
            (refused.answer)(Err(StoreFault::Closed));
        }
    }

    /// Brings the log into its one main file, after all that was handed in before, and waits for it.
    ///
    /// # Errors
    /// As [`EventLog::fold_in`].
    pub fn fold_in(&self) -> Result<bool, StoreFault> {
        let (answer, wait) = channel();
        let job = Job::FoldIn(Box::new(move |result| {
            // A caller who no longer waits has no use for the answer.
            let _ = answer.send(result);
        }));
        self.jobs.send(job).map_err(|_| StoreFault::Closed)?;
        wait.recv().unwrap_or(Err(StoreFault::Closed))
    }

    /// Keeps a photo and has `answer` called, on the writing thread, once the disk has it.
    pub fn keep_photo_then(
        &self,
        photo: Photo,
        arrival: Arrival,
        answer: impl FnOnce(Result<Receipt, StoreFault>) + Send + 'static,
    ) {
        let job = Job::Photo { photo, arrival, answer: Box::new(answer) };
        if let Err(SendError(Job::Photo { answer, .. })) = self.jobs.send(job) {
            answer(Err(StoreFault::Closed));
        }
    }
}

fn write_on(log: &mut impl EventLog, queue: &Receiver<Job>) {
    while let Ok(first) = queue.recv() {
        let mut together = Vec::new();
        let mut photos = Vec::new();
        let mut folds = Vec::new();
        for job in std::iter::once(first).chain(queue.try_iter().take(MOST_A_COMMIT - 1)) {
            match job {
                Job::Events(request) => together.push(request),
                Job::Photo { photo, arrival, answer } => photos.push((photo, arrival, answer)),
                Job::FoldIn(answer) => folds.push(answer),
            }
        }
        // A reading does not wait for a photo.
        if !together.is_empty() {
            commit(log, together);
        }
        for (photo, arrival, answer) in photos {
            answer(log.keep_photo(&photo, arrival));
        }
        for answer in folds {
            answer(log.fold_in());
        }
    }
}

fn commit(log: &mut impl EventLog, requests: Vec<Request>) {
    let events: Vec<Arrived> =
        requests.iter().flat_map(|request| request.events.iter().cloned()).collect();
    match log.append(&events) {
        Ok(receipts) => {
            let mut receipts = receipts.into_iter();
            for request in requests {
                let own = receipts.by_ref().take(request.events.len()).collect();
                (request.answer)(Ok(own));
            }
        }
        // The fault goes to the first; the others hear what the log says to them alone.
        Err(fault) => {
            let mut requests = requests.into_iter();
            if let Some(first) = requests.next() {
                (first.answer)(Err(fault));
            }
            for request in requests {
                let result = log.append(&request.events);
                (request.answer)(result);
            }
        }
    }
}
