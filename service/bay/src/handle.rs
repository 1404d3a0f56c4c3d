//! The way to a bay: its task is asked, and answers.

use std::future::Future;
use std::pin::Pin;
use std::sync::Arc;

use crate::error::{BayError, ErrorKind};
use crate::instruments::Arrival;
use crate::state::{Bay, BayParts};
use tokio::sync::{mpsc, oneshot};
use tokio::time::{Instant, sleep_until};
use tokio_util::sync::CancellationToken;
use tokio_util::task::TaskTracker;

/// Samples waiting for the bay; a full queue holds the adapters back.
const ARRIVALS: usize = 4096;
/// Pieces of work waiting for the bay.
const WORK: usize = 256;
/// Samples taken in one go: one commit for all of them.
const AT_ONCE: usize = 2048;

/// What a piece of work comes to, while it holds the bay.
pub type Doing<'a, T> = Pin<Box<dyn Future<Output = Result<T, BayError>> + Send + 'a>>;

type Work = Box<dyn for<'a> FnOnce(&'a mut Bay) -> Doing<'a, ()> + Send>;

/// The way to a bay. Whoever holds one can ask; the bay itself is owned by its task alone.
#[derive(Clone)]
pub struct BayHandle {
    name: Arc<str>,
    work: mpsc::Sender<Work>,
    stop: CancellationToken,
}

impl BayHandle {
    /// Starts a bay's task. It ends when `stop` is cancelled, once the work in
    /// hand is done.
    pub fn start(parts: BayParts, tracker: &TaskTracker, stop: CancellationToken) -> BayHandle {
        let (work, queue) = mpsc::channel(WORK);
        let (arrivals, samples) = mpsc::channel(ARRIVALS);
        let handle = BayHandle {
            name: Arc::from(parts.name.as_str()),
            work,
            stop: stop.clone(),
        };
        let bay = Bay::new(parts, arrivals, tracker.clone());
        tracker.spawn(run(bay, queue, samples, stop));
        handle
    }

    /// The bay's name.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// Ends the bay's task once the work in hand is done. A job stays open in the journal.
    pub fn end(&self) {
        self.stop.cancel();
    }

    /// Has the bay do something and waits for its answer.
    pub async fn ask<T, F>(&self, doing: F) -> Result<T, BayError>
    where
        T: Send + 'static,
        F: for<'a> FnOnce(&'a mut Bay) -> Doing<'a, T> + Send + 'static,
    {
        let (answer, answered) = oneshot::channel();
        let work: Work = Box::new(move |bay| {
            let doing = doing(bay);
            Box::pin(async move {
                // Nobody waits any more: the work is done all the same.
                let _ = answer.send(doing.await);
                Ok(())
            })
        });
        let stopping = || ErrorKind::Stopping.because("the service is stopping");
        self.work.send(work).await.map_err(|_| stopping())?;
        answered.await.map_err(|_| stopping())?
    }
}

async fn run(
    mut bay: Bay,
    mut queue: mpsc::Receiver<Work>,
    mut samples: mpsc::Receiver<Arrival>,
    stop: CancellationToken,
) {
    let mut taken = Vec::with_capacity(AT_ONCE);
    // When what has begun to arrive is taken.
    let mut beat: Option<Instant> = None;
    loop {
        let due = bay.verdict_due();
        tokio::select! {
            biased;
            () = stop.cancelled() => break,
            work = queue.recv() => match work {
                Some(work) => { let _ = work(&mut bay).await; }
                None => break,
            },
            () = sleep_until(due.unwrap_or_else(Instant::now)), if due.is_some() => bay.judge_streamed().await,
            () = sleep_until(beat.unwrap_or_else(Instant::now)), if beat.is_some() => {
                if let Some(over) = beat.take() {
                    bay.pace.woke(over);
                }
                while taken.len() < AT_ONCE && let Ok(arrival) = samples.try_recv() {
                    taken.push(arrival);
                }
                bay.arrive(&mut taken).await;
            }
            arrival = samples.recv(), if beat.is_none() => match arrival {
                Some(arrival) => {
                    taken.push(arrival);
                    beat = Some(bay.pace.beat());
                }
                None => break,
            },
        }
    }
    bay.stop();
    // What was asked before the stop is still answered.
    queue.close();
    while let Some(work) = queue.recv().await {
        let _ = work(&mut bay).await;
    }
}
