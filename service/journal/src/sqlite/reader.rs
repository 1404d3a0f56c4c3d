//! The reading threads: each has a connection of its own, so that a long read
//! holds up neither writing nor, altogether, other reads.

use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::thread::{self, JoinHandle};

use tokio::sync::{mpsc, oneshot};

use super::query::Reader;
use super::schema;
use crate::{JournalError, Pending};

const THREADS: usize = 2;

/// Questions that may wait for one thread; one more waits outside.
const WAITING: usize = 64;

type Question = Box<dyn FnOnce(&mut Reader) + Send>;

/// The way to the reading threads.
#[derive(Debug)]
pub(super) struct Readers {
    desks: Vec<mpsc::Sender<Question>>,
    threads: Vec<JoinHandle<()>>,
    turn: AtomicUsize,
}

impl Readers {
    /// Opens the file for reading and starts the threads.
    pub(super) fn start(path: &Path) -> Result<Self, JournalError> {
        let (mut desks, mut threads) = (Vec::new(), Vec::new());
        for _ in 0..THREADS {
            let mut reader = Reader::new(schema::open_reader(path)?);
            let (desk, mut questions) = mpsc::channel::<Question>(WAITING);
            let thread = thread::Builder::new().name("journal-reader".to_owned());
            let thread = thread.spawn(move || {
                while let Some(question) = questions.blocking_recv() {
                    question(&mut reader);
                }
            });
            let started = thread.map_err(|source| JournalError::Thread {
                source: Arc::new(source),
            });
            threads.push(started?);
            desks.push(desk);
        }
        Ok(Self {
            desks,
            threads,
            turn: AtomicUsize::new(0),
        })
    }

    /// Asks the thread whose turn it is.
    pub(super) fn ask<T: Send + 'static>(
        &self,
        question: impl FnOnce(&mut Reader) -> Result<T, JournalError> + Send + 'static,
    ) -> Pending<T> {
        let turn = self.turn.fetch_add(1, Ordering::Relaxed);
        // Weak, so that a future nobody polls does not keep the thread from ending.
        let desk = self.desks.get(turn % THREADS).map(mpsc::Sender::downgrade);
        Box::pin(async move {
            let desk = desk.and_then(|desk| desk.upgrade());
            let desk = desk.ok_or(JournalError::Closed)?;
            let (answer, answered) = oneshot::channel();
            let question: Question = Box::new(move |reader| {
                // Nobody may be listening any more.
                let _ = answer.send(question(reader));
            });
            let sent = desk.send(question).await;
            drop(desk);
            sent.map_err(|_| JournalError::Closed)?;
            answered.await.map_err(|_| JournalError::Closed)?
        })
    }
}

impl Drop for Readers {
    fn drop(&mut self) {
        self.desks.clear();
        for thread in self.threads.drain(..) {
            // A panic there has been reported by its own thread.
            let _ = thread.join();
        }
    }
}
