//! The writing thread: everything that waits is committed in one go.

use std::fs::File;
use std::sync::Arc;
use std::thread::{self, JoinHandle};

use rusqlite::Connection;
use tokio::sync::{Notify, mpsc, oneshot};

use super::store::{Done, Store, Write};
use crate::JournalError;

/// Writes that may wait; one more waits outside, which slows its sender down.
const WAITING: usize = 256;

/// Rows after which a commit takes no more writes in: 20 to 50 ms of work.
const ROWS_A_COMMIT: usize = 10_000;

type ReplySender = oneshot::Sender<Result<Done, JournalError>>;

/// The way to the writing thread.
#[derive(Debug)]
pub(super) struct Writer {
    writes: Option<mpsc::Sender<(Write, ReplySender)>>,
    thread: Option<JoinHandle<()>>,
}

impl Writer {
    /// Starts the thread. The lock is released when it ends.
    pub(super) fn start(
        connection: Connection,
        lock: File,
        news: Arc<Notify>,
    ) -> Result<Self, JournalError> {
        let store = Store::new(connection)?;
        let (writes, waiting) = mpsc::channel(WAITING);
        let thread = thread::Builder::new()
            .name("journal-writer".to_owned())
            .spawn(move || {
                write_all(store, waiting, &news);
                drop(lock);
            })
            .map_err(|source| JournalError::Thread {
                source: Arc::new(source),
            })?;
        Ok(Self {
            writes: Some(writes),
            thread: Some(thread),
        })
    }

    /// Hands a write over; what it gives is there once it is durable.
    pub(super) fn carry_out(
        &self,
        write: Write,
    ) -> impl Future<Output = Result<Done, JournalError>> + Send + 'static {
        // Weak, so that a future nobody polls does not keep the thread from ending.
        let writes = self.writes.as_ref().map(mpsc::Sender::downgrade);
        async move {
            let writes = writes.and_then(|writes| writes.upgrade());
            let writes = writes.ok_or(JournalError::Closed)?;
            let (answer, answered) = oneshot::channel();
            let sent = writes.send((write, answer)).await;
            drop(writes);
            sent.map_err(|_| JournalError::Closed)?;
            answered.await.map_err(|_| JournalError::Closed)?
        }
    }
}

impl Drop for Writer {
    fn drop(&mut self) {
        // First: the thread ends when no sender is left, and joining before that would wait for ever.
        drop(self.writes.take());
        if let Some(thread) = self.thread.take() {
            // A panic there has been reported by its own thread.
            let _ = thread.join();
        }
    }
}

fn write_all(mut store: Store, mut waiting: mpsc::Receiver<(Write, ReplySender)>, news: &Notify) {
    while let Some(first) = waiting.blocking_recv() {
        // Where the processor is shared, whoever woke this thread has more to hand over: they go together.
        thread::yield_now();
        if commit_together(&mut store, first, &mut waiting) {
            news.notify_one();
        }
    }
}

/// Carries out one write and what waits behind it, commits, and answers all. Whether there may be news.
fn commit_together(
    store: &mut Store,
    first: (Write, ReplySender),
    waiting: &mut mpsc::Receiver<(Write, ReplySender)>,
) -> bool {
    let mut answers = Vec::new();
    match attempt(store, first, waiting, &mut answers) {
        Ok(news) => {
            for (answer, done) in answers {
                // Nobody may be listening any more; it is stored all the same.
                let _ = answer.send(done);
            }
            news
        }
        Err(error) => {
            tracing::error!(%error, "a commit failed; nothing of it is stored");
            store.roll_back();
            for (answer, done) in answers {
                // Those that were refused on their own account stay so.
                let _ = answer.send(done.and(Err(error.clone())));
            }
            false
        }
    }
}

/// What each waiter will be told, if the commit succeeds.
type Replies = Vec<(ReplySender, Result<Done, JournalError>)>;

fn attempt(
    store: &mut Store,
    first: (Write, ReplySender),
    waiting: &mut mpsc::Receiver<(Write, ReplySender)>,
    answers: &mut Replies,
) -> Result<bool, JournalError> {
    let (mut rows, mut news) = (0, false);
    let mut next = Some(first);
    let begun = store.begin();
    while let Some((write, answer)) = next {
        // Only the first is told: what waits behind it tries to begin by itself.
        if let Err(error) = &begun {
            answers.push((answer, Err(error.clone())));
            return begun.map(|()| false);
        }
        rows += write.rows();
        news |= write.may_post();
        let done = store.carry_out(write);
        // A refusal has changed nothing and is one sender's own. After an error of the database nobody
        // knows what is in the transaction, so all of it is taken back.
        let failed = match &done {
            Err(error @ JournalError::Storage { .. }) => Some(error.clone()),
            _ => None,
        };
        answers.push((answer, done));
        if let Some(error) = failed {
            return Err(error);
        }
        // Only what waits already: waiting for more would delay those who are in.
        next = if rows < ROWS_A_COMMIT {
            waiting.try_recv().ok()
        } else {
            None
        };
    }
    store.commit().map(|()| news)
}
