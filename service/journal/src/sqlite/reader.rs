//! The reading threads: each has a connection of its own, so that no read holds up writing. What is short waits in
//! one queue for whichever of two threads is free; what reads all of a job waits for a thread of its own.

use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::{self, JoinHandle};

use tokio::sync::{mpsc, oneshot};

use super::query::Reader;
use super::schema;
use crate::{JournalError, Pending};

/// Threads for short reads.
const SHORT: usize = 2;

/// Questions that may wait for a thread; one more waits outside.
const WAITING: usize = 128;

/// How much less than others the thread for long reads is let at a processor, as `nice` has it.
const NICE: i32 = 10;

type ReadRequest = Box<dyn FnOnce(&mut Reader) + Send>;
type Queue = Arc<Mutex<mpsc::Receiver<ReadRequest>>>;

/// The way to the reading threads.
#[derive(Debug)]
pub(super) struct Readers {
    short: Option<mpsc::Sender<ReadRequest>>,
    long: Option<mpsc::Sender<ReadRequest>>,
    /// What is being read at length is not to be finished.
    stopping: Arc<AtomicBool>,
    threads: Vec<JoinHandle<()>>,
}

/// Whether a long read is still wanted: until whoever asked is gone, or the journal is closed.
#[derive(Clone, Debug)]
pub(super) struct Wanted {
    gone: Arc<AtomicBool>,
    stopping: Arc<AtomicBool>,
}

impl Wanted {
    /// Goes on, unless nobody wants it any more.
    pub(super) fn go_on(&self) -> Result<(), JournalError> {
        if self.gone.load(Ordering::Relaxed) || self.stopping.load(Ordering::Relaxed) {
            return Err(JournalError::Closed);
        }
        Ok(())
    }
}

/// Says, when it is dropped, that nobody waits for the answer any more.
struct Asking(Arc<AtomicBool>);

impl Drop for Asking {
    fn drop(&mut self) {
        self.0.store(true, Ordering::Relaxed);
    }
}

impl Readers {
    /// Opens the file for reading and starts the threads.
    pub(super) fn start(path: &Path) -> Result<Self, JournalError> {
        let (short, questions) = mpsc::channel(WAITING);
        let questions = Arc::new(Mutex::new(questions));
        let mut threads = Vec::new();
        for _ in 0..SHORT {
            let reader = Reader::new(schema::open_reader(path)?);
            threads.push(spawn(reader, Arc::clone(&questions), false)?);
        }
        let (long, questions) = mpsc::channel(WAITING);
        let reader = Reader::new(schema::open_reader(path)?);
        threads.push(spawn(reader, Arc::new(Mutex::new(questions)), true)?);
        Ok(Self {
            short: Some(short),
            long: Some(long),
            stopping: Arc::default(),
            threads,
        })
    }

    /// Asks what is answered soon.
    pub(super) fn ask<T: Send + 'static>(
        &self,
        question: impl FnOnce(&mut Reader) -> Result<T, JournalError> + Send + 'static,
    ) -> Pending<T> {
        waiting(self.short.as_ref(), question)
    }

    /// Asks what takes its time: one after the other, and only for as long as somebody waits for it.
    pub(super) fn ask_long<T: Send + 'static>(
        &self,
        question: impl FnOnce(&mut Reader, &Wanted) -> Result<T, JournalError> + Send + 'static,
    ) -> Pending<T> {
        let wanted = Wanted {
            gone: Arc::default(),
            stopping: Arc::clone(&self.stopping),
        };
        let asking = Asking(Arc::clone(&wanted.gone));
        let answer = waiting(self.long.as_ref(), move |reader| {
            wanted.go_on()?;
            question(reader, &wanted)
        });
        Box::pin(async move {
            let answer = answer.await;
            drop(asking);
            answer
        })
    }
}

fn spawn(mut reader: Reader, questions: Queue, long: bool) -> Result<JoinHandle<()>, JournalError> {
    let name = if long {
        "journal-long"
    } else {
        "journal-reader"
    };
    let thread = thread::Builder::new().name(name.to_owned());
    let started = thread.spawn(move || {
        if long {
            // Only a wish: where it is refused, the thread runs like any other.
            let _ = rustix::process::nice(NICE);
        }
        loop {
            // The lock is held while waiting, not while reading: the other thread takes the next question.
            let question = questions
                .lock()
                .unwrap_or_else(PoisonError::into_inner)
                .blocking_recv();
            match question {
                Some(question) => question(&mut reader),
                None => return,
            }
        }
    });
    started.map_err(|source| JournalError::Thread {
        source: Arc::new(source),
    })
}

fn waiting<T: Send + 'static>(
    queue: Option<&mpsc::Sender<ReadRequest>>,
    question: impl FnOnce(&mut Reader) -> Result<T, JournalError> + Send + 'static,
) -> Pending<T> {
    // Weak, so that a future nobody polls does not keep the threads from ending.
    let queue = queue.map(mpsc::Sender::downgrade);
    Box::pin(async move {
        let queue = queue.and_then(|queue| queue.upgrade());
        let queue = queue.ok_or(JournalError::Closed)?;
        let (answer, answered) = oneshot::channel();
        let question: ReadRequest = Box::new(move |reader| {
            // Nobody may be listening any more.
            let _ = answer.send(question(reader));
        });
        let sent = queue.send(question).await;
        drop(queue);
        sent.map_err(|_| JournalError::Closed)?;
        answered.await.map_err(|_| JournalError::Closed)?
    })
}

impl Drop for Readers {
    fn drop(&mut self) {
        self.stopping.store(true, Ordering::Relaxed);
        self.short = None;
        self.long = None;
        for thread in self.threads.drain(..) {
            // A panic there has been reported by its own thread.
            let _ = thread.join();
        }
    }
}
