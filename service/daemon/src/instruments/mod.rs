//! Instruments of a bay: built from settings, run, watched, and shown.

mod accuracy;
mod build;

pub(crate) use accuracy::Accuracies;
pub(crate) use build::{Built, about, build};

use std::collections::BTreeMap;
use std::sync::Arc;

use tokio::sync::mpsc;
use tokio_util::sync::CancellationToken;
use tokio_util::task::TaskTracker;
use trisect_api::wire;
use trisect_kit::{Clock, Context, Description, Emission, Health, State};

use crate::clock::BayClock;

/// Samples an adapter may be ahead of the bay.
const AHEAD: usize = 256;

/// What comes to the bay from one of its instruments.
pub(crate) enum Arrival {
    /// A sample.
    Sample {
        /// Which instrument.
        instrument: u64,
        /// What it said, and when.
        emission: Emission,
    },
    /// Its state or its last error changed.
    Changed {
        /// Which instrument.
        instrument: u64,
    },
}

/// An instrument that was attached.
pub(crate) struct Instrument {
    /// Never given twice, so that what a detached one left in the queue is told
    /// from what its successor says.
    pub(crate) id: u64,
    pub(crate) name: Arc<str>,
    pub(crate) adapter: String,
    pub(crate) description: Description,
    pub(crate) accuracies: Accuracies,
    pub(crate) health: Health,
    /// By channel, the test point (by id) that its probe is on.
    pub(crate) probes: BTreeMap<u16, Arc<str>>,
    /// Why a sample could not become a measurement, the last time.
    pub(crate) refused: Option<String>,
    stop: CancellationToken,
}

impl Instrument {
    /// Runs an adapter until it is told to stop.
    pub(crate) fn start(
        id: u64,
        name: &str,
        adapter: String,
        built: Built,
        clock: BayClock,
        arrivals: mpsc::Sender<Arrival>,
        tracker: &TaskTracker,
    ) -> Instrument {
        let Built {
            adapter: mut running,
            accuracies,
        } = built;
        let health = Health::new();
        let stop = CancellationToken::new();
        let description = running.describe();
        let (samples, emissions) = mpsc::channel(AHEAD);
        let now: Clock = Arc::new(move || clock.now());
        let context = Context {
            samples,
            health: health.clone(),
            stop: stop.clone(),
            clock: now,
        };
        let failing = health.clone();
        tracker.spawn(async move {
            // An adapter that gives up says so; it is shown, and can be attached anew.
            if let Err(error) = running.run(context).await {
                failing.silent(&error.to_string(), clock.now());
            }
        });
        tracker.spawn(forward(id, emissions, health.clone(), arrivals));
        Instrument {
            id,
            name: Arc::from(name),
            adapter,
            description,
            accuracies,
            health,
            probes: BTreeMap::new(),
            refused: None,
            stop,
        }
    }

    /// Tells it to stop; it closes its port within a second.
    pub(crate) fn stop(&self) {
        self.stop.cancel();
    }

    /// The channel of a name, which is its number.
    pub(crate) fn channel(&self, name: &str) -> Option<u16> {
        let number = name.parse().ok()?;
        self.description
            .channels
            .iter()
            .any(|c| c.channel == number)
            .then_some(number)
    }

    /// How it stands.
    pub(crate) fn shown(&self, bay: &str, clock: &BayClock) -> wire::Instrument {
        let vitals = self.health.vitals();
        let time = |at| wire::Time(clock.wall(at).to_string());
        wire::Instrument {
            bay: bay.to_owned(),
            instrument: self.name.to_string(),
            adapter: self.adapter.clone(),
            state: match vitals.state {
                State::Starting => wire::InstrumentState::Starting,
                State::Live => wire::InstrumentState::Running,
                State::Silent => wire::InstrumentState::Silent,
                State::Stopped => wire::InstrumentState::Stopped,
            },
            since: time(vitals.since),
            last_sample: vitals.last_sample.map(time),
            age: vitals.last_sample.map(|at| (clock.now() - at) as f64 / 1e9),
            note: self.refused.clone().or(vitals.last_error),
            identity: Some(self.description.title.clone()),
            channels: self
                .description
                .channels
                .iter()
                .map(|c| self.channel_shown(c))
                .collect(),
            counters: wire::Counters {
                samples: vitals.frames_good,
                bad_frames: vitals.frames_bad,
                skipped_bytes: vitals.bytes_skipped,
            },
        }
    }

    fn channel_shown(&self, channel: &trisect_kit::ChannelDescription) -> wire::Channel {
        wire::Channel {
            channel: channel.channel.to_string(),
            title: channel.title.clone(),
            quantity: channel.function.map(|f| f.quantity().word().to_owned()),
            point: self.probes.get(&channel.channel).map(ToString::to_string),
        }
    }
}

/// Puts an instrument's number on what it says, until it stops.
async fn forward(
    instrument: u64,
    mut emissions: mpsc::Receiver<Emission>,
    health: Health,
    arrivals: mpsc::Sender<Arrival>,
) {
    let mut news = health.watch();
    loop {
        let arrival = tokio::select! {
            biased;
            emission = emissions.recv() => match emission {
                Some(emission) => Arrival::Sample { instrument, emission },
                None => break,
            },
            changed = news.changed() => match changed {
                Ok(()) => Arrival::Changed { instrument },
                Err(_) => break,
            },
        };
        if arrivals.send(arrival).await.is_err() {
            break;
        }
    }
    // Its last state is told as well.
    let _ = arrivals.send(Arrival::Changed { instrument }).await;
}

/// A number that no instrument of this process has had.
pub(crate) fn next_id() -> u64 {
    static NEXT: std::sync::atomic::AtomicU64 = std::sync::atomic::AtomicU64::new(1);
    NEXT.fetch_add(1, std::sync::atomic::Ordering::Relaxed)
}
