//! An adapter, its port and its instrument, put together for one check.

use std::fs;
use std::future::Future;
use std::io;
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, AtomicU64, Ordering};
use std::time::Duration;

use tokio::sync::{mpsc, watch};
use tokio::task::JoinHandle;
use tokio::time::{Instant, timeout};
use tokio_util::sync::CancellationToken;

use super::instrument::play;
use super::{Instrument, Mood, Pty};
use crate::{Adapter, AdapterError, Clock, Context, Emission, Health, Vitals};

/// What a check finds wrong, in words.
pub(super) type Finding = Result<(), String>;

/// How long a check waits for something that should come at once.
pub(super) const PATIENCE: Duration = Duration::from_secs(10);

/// The adapter that ran, and how it ended.
type Ended = (Box<dyn Adapter>, Result<(), AdapterError>);

pub(super) struct Rig {
    pub instrument: Arc<dyn Instrument>,
    pub health: Health,
    stop: CancellationToken,
    pub samples: mpsc::Receiver<Emission>,
    pub clock: Clock,
    stepped: Arc<AtomicI64>,
    context: Context,
    folder: PathBuf,
    mood: watch::Sender<Mood>,
    playing: Option<(Arc<Pty>, JoinHandle<()>)>,
    adapter: Option<Box<dyn Adapter>>,
    running: Option<JoinHandle<Ended>>,
}

impl Rig {
    /// A rig whose instrument is not plugged in yet, with a queue of `queue`.
    pub fn new(instrument: Arc<dyn Instrument>, queue: usize) -> io::Result<Rig> {
        static COUNT: AtomicU64 = AtomicU64::new(0);
        let number = COUNT.fetch_add(1, Ordering::Relaxed);
        let folder =
            std::env::temp_dir().join(format!("trisect-rig-{}-{number}", std::process::id()));
        fs::create_dir_all(&folder)?;
        let (sender, samples) = mpsc::channel(queue);
        let start = Instant::now();
        let stepped = Arc::new(AtomicI64::new(0));
        let steps = stepped.clone();
        let clock: Clock = Arc::new(move || {
            let passed = i64::try_from(start.elapsed().as_nanos()).unwrap_or(i64::MAX);
            passed.saturating_add(steps.load(Ordering::SeqCst))
        });
        let health = Health::new();
        let stop = CancellationToken::new();
        let context = Context {
            samples: sender,
            health: health.clone(),
            stop: stop.clone(),
            clock: clock.clone(),
            networks: crate::Networks::all(),
        };
        Ok(Rig {
            instrument,
            health,
            stop,
            samples,
            clock,
            stepped,
            context,
            folder,
            mood: watch::channel(Mood::Well).0,
            playing: None,
            adapter: None,
            running: None,
        })
    }

    /// The link through which the adapter finds its port.
    pub fn link(&self) -> PathBuf {
        self.folder.join("port")
    }

    /// Plugs the instrument in, on a new node behind the same link.
    pub fn plug(&mut self) -> io::Result<()> {
        let pty = Arc::new(Pty::open()?);
        match fs::remove_file(self.link()) {
            Err(error) if error.kind() != io::ErrorKind::NotFound => return Err(error),
            _ => {}
        }
        std::os::unix::fs::symlink(pty.path(), self.link())?;
        let part = play(self.instrument.clone(), pty.clone(), self.mood.subscribe());
        self.playing = Some((pty, tokio::spawn(part)));
        Ok(())
    }

    /// Pulls the plug.
    pub async fn unplug(&mut self) -> io::Result<()> {
        if let Some((pty, playing)) = self.playing.take() {
            playing.abort();
            // The player holds the pseudo-terminal too: wait until it let go.
            let _ = playing.await;
            drop(pty);
        }
        fs::remove_file(self.link())
    }

    pub fn mood(&self, mood: Mood) {
        self.mood.send_replace(mood);
    }

    /// Steps the bay's clock by so many nanoseconds, all at once.
    pub fn step_clock(&self, by: i64) {
        self.stepped.fetch_add(by, Ordering::SeqCst);
    }

    /// Starts the adapter, the same one again after a stop.
    pub fn start(&mut self) {
        let made = self.adapter.take();
        let mut adapter = made.unwrap_or_else(|| self.instrument.adapter(&self.link()));
        self.stop = CancellationToken::new();
        let context = Context {
            stop: self.stop.clone(),
            ..self.context.clone()
        };
        self.running = Some(tokio::spawn(async move {
            let ended = adapter.run(context).await;
            (adapter, ended)
        }));
    }

    /// Waits until the vitals are as wished, at most `limit`; gives how long it took.
    pub async fn until(
        &self,
        what: &str,
        limit: Duration,
        wished: impl Fn(&Vitals) -> bool,
    ) -> Result<Duration, String> {
        let start = Instant::now();
        // Polled: the watch wakes for news alone, and counters are no news.
        let poll = async {
            while !wished(&self.health.vitals()) && self.is_running() {
                tokio::time::sleep(Duration::from_millis(2)).await;
            }
        };
        let timely = timeout(limit, poll).await.is_ok();
        let vitals = self.health.vitals();
        if !wished(&vitals) {
            let how = if timely {
                "it ended by itself"
            } else {
                "not in time"
            };
            return Err(format!("{what}: {how} ({limit:?} given); it is {vitals:?}"));
        }
        Ok(start.elapsed())
    }

    /// Waits while taking samples, so that the queue never fills; gives them.
    pub async fn taking<T>(
        &mut self,
        wait: impl AsyncFnOnce(&Rig) -> Result<T, String>,
    ) -> Result<(T, Vec<Emission>), String> {
        let (_, spare) = mpsc::channel(1);
        let mut samples = std::mem::replace(&mut self.samples, spare);
        let mut taken = Vec::new();
        let waited = {
            let mut waiting = std::pin::pin!(wait(self));
            loop {
                tokio::select! {
                    waited = &mut waiting => break waited,
                    Some(emission) = samples.recv() => taken.push(emission),
                }
            }
        };
        self.samples = samples;
        waited.map(|value| (value, taken))
    }

    /// Tells the adapter to stop, and waits until it has, at most a second.
    pub async fn stop(&mut self) -> Finding {
        self.stop.cancel();
        let Some(running) = self.running.take() else {
            return Ok(());
        };
        let ended = within(Duration::from_secs(1), running)
            .await
            .ok_or("did not stop within a second")?;
        let (adapter, ended) = ended.map_err(|error| format!("panicked: {error}"))?;
        self.adapter = Some(adapter);
        ended.map_err(|error| format!("ended with an error: {error}"))
    }

    /// Whether the adapter is still running.
    pub fn is_running(&self) -> bool {
        self.running
            .as_ref()
            .is_some_and(|task| !task.is_finished())
    }
}

async fn within<F: Future>(limit: Duration, future: F) -> Option<F::Output> {
    timeout(limit, future).await.ok()
}

impl Drop for Rig {
    fn drop(&mut self) {
        self.stop.cancel();
        if let Some((_, playing)) = &self.playing {
            playing.abort();
        }
        if let Some(running) = &self.running {
            running.abort();
        }
        let _ = fs::remove_dir_all(&self.folder);
    }
}
