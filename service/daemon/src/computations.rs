//! Long computations: on threads of their own, apart from what bays need; a few at a time, for so long, and only as
//! long as somebody waits for them.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use tokio::sync::{OwnedSemaphorePermit, Semaphore, oneshot};
use tokio_util::sync::CancellationToken;
use trisect_wire::{ErrorKind, WireError};

use crate::convert::internal;

/// How much less than others a computation is let at a processor, as `nice` has it.
const NICE: i32 = 10;

/// What takes long. One kind does not wait for another.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Computation {
    /// `ruleset.examine`.
    Examine,
    /// `ruleset.trial`.
    Trial,
    /// `ruleset.install`.
    Install,
    /// `job.export`.
    Export,
    /// `job.replay`.
    Replay,
    /// `job.verify`.
    Verify,
    /// A closed job folded for `job.show`, `job.report` or `job.verdict`.
    Show,
}

impl Computation {
    const ALL: [Computation; 7] = [
        Computation::Examine,
        Computation::Trial,
        Computation::Install,
        Computation::Export,
        Computation::Replay,
        Computation::Verify,
        Computation::Show,
    ];

    const fn word(self) -> &'static str {
        match self {
            Computation::Examine => "examination",
            Computation::Trial => "trial",
            Computation::Install => "installation",
            Computation::Export => "export",
            Computation::Replay => "replay",
            Computation::Verify => "verification",
            Computation::Show => "look at a closed job",
        }
    }
}

/// The places for computations.
pub(crate) struct Computations {
    places: [Arc<Semaphore>; Computation::ALL.len()],
    within: Duration,
    stop: CancellationToken,
}

/// Whether a computation is still wanted.
#[derive(Clone)]
pub(crate) struct Going {
    gone: Arc<AtomicBool>,
    stop: CancellationToken,
    until: Instant,
}

impl Going {
    /// Until whoever asked is gone, the service stops, or its time is over.
    pub(crate) fn on(&self) -> bool {
        !self.gone.load(Ordering::Relaxed)
            && !self.stop.is_cancelled()
            && Instant::now() < self.until
    }
}

/// Says, when it is dropped, that nobody waits any more.
struct Asking(Arc<AtomicBool>);

impl Drop for Asking {
    fn drop(&mut self) {
        self.0.store(true, Ordering::Relaxed);
    }
}

impl Computations {
    /// So many of each kind at once, each for so long, until the service stops.
    pub(crate) fn new(at_once: usize, within: Duration, stop: CancellationToken) -> Computations {
        Computations {
            places: std::array::from_fn(|_| Arc::new(Semaphore::new(at_once))),
            within,
            stop,
        }
    }

    /// A place for something of a kind, held until it is dropped.
    ///
    /// # Errors
    /// `too-busy` where all are taken.
    pub(crate) fn place(&self, kind: Computation) -> Result<OwnedSemaphorePermit, WireError> {
        let free = self.places.get(kind as usize).map(Arc::clone);
        let place = free.and_then(|free| free.try_acquire_owned().ok());
        place.ok_or_else(|| {
            let word = kind.word();
            ErrorKind::TooBusy
                .because(format!("another {word} is under way"))
                .hint("try again when it is done; `[limits] computations` says how many go at once")
        })
    }

    /// Waits for a place.
    ///
    /// # Errors
    /// When the service stops.
    pub(crate) async fn wait(&self, kind: Computation) -> Result<OwnedSemaphorePermit, WireError> {
        let Some(free) = self.places.get(kind as usize).map(Arc::clone) else {
            return self.place(kind);
        };
        tokio::select! {
            () = self.stop.cancelled() => Err(stopping()),
            place = free.acquire_owned() => place.map_err(|error| internal(&error)),
        }
    }

    /// Computes in a place that was taken.
    ///
    /// # Errors
    /// When the service stops, or there is no thread for it.
    pub(crate) async fn run<T: Send + 'static>(
        &self,
        place: OwnedSemaphorePermit,
        work: impl FnOnce(&Going) -> T + Send + 'static,
    ) -> Result<T, WireError> {
        let asking = Asking(Arc::default());
        let going = Going {
            gone: Arc::clone(&asking.0),
            stop: self.stop.clone(),
            until: Instant::now() + self.within,
        };
        let (answer, answered) = oneshot::channel();
        // Not on the runtime's threads for blocking work: those have to end before the program does.
        let thread = std::thread::Builder::new().name("computation".to_owned());
        let started = thread.spawn(move || {
            // Only a wish: where it is refused, the thread runs like any other.
            let _ = rustix::process::nice(NICE);
            let done = work(&going);
            drop(place);
            // Nobody may be waiting any more.
            let _ = answer.send(done);
        });
        started.map_err(|error| internal(&error))?;
        let done = tokio::select! {
            // First: told to stop, a computation answers with what it has, and that is not the whole.
            biased;
            () = self.stop.cancelled() => Err(stopping()),
            // Only a panic sends nothing; its thread has reported it.
            done = answered => done.map_err(|error| internal(&error)),
        };
        drop(asking);
        done
    }
}

fn stopping() -> WireError {
    ErrorKind::TooBusy
        .because("the service stops")
        .hint("call again once it is back")
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn computations(within: Duration) -> Computations {
        Computations::new(1, within, CancellationToken::new())
    }

    fn until_told(going: &Going) -> u64 {
        let mut rounds = 1;
        while going.on() {
            rounds += 1;
            std::thread::yield_now();
        }
        rounds
    }

    const LONG: Duration = Duration::from_secs(600);

    #[tokio::test]
    async fn who_goes_takes_the_computation_along() {
        let computations = computations(LONG);
        let place = computations.place(Computation::Examine).unwrap();
        let refused = computations.place(Computation::Examine).unwrap_err();
        assert_eq!(refused.kind, ErrorKind::TooBusy);
        assert!(computations.place(Computation::Trial).is_ok());
        let running = computations.run(place, until_told);
        let waited = tokio::time::timeout(Duration::from_millis(50), running).await;
        assert!(waited.is_err(), "it goes on");
        // The one who asked is gone, and soon the place is free.
        let place = computations.wait(Computation::Examine);
        let free = tokio::time::timeout(LONG, place).await.unwrap();
        assert!(free.is_ok());
    }

    #[tokio::test]
    async fn it_ends_with_its_time_and_with_the_service() {
        let short = computations(Duration::from_millis(20));
        let place = short.place(Computation::Examine).unwrap();
        assert!(short.run(place, until_told).await.unwrap() > 0);
        let long = computations(LONG);
        let place = long.place(Computation::Examine).unwrap();
        let stop = long.stop.clone();
        let running = long.run(place, until_told);
        let (done, ()) = tokio::join!(running, async { stop.cancel() });
        assert_eq!(done.unwrap_err().kind, ErrorKind::TooBusy);
        assert!(long.wait(Computation::Examine).await.is_err());
    }
}
