//! Instruments of a bay: built from settings, run, watched, and shown.

mod build;
mod chain;
mod manual;
mod plugin;
mod port_probe;
mod status;

pub use build::{AdapterDescription, about, check};
pub(crate) use build::{Built, build};
pub(crate) use chain::{Air, Chain, ChainError, Link, Measured, Shown, function_of};
pub use chain::{CalibrationRecord, PressureReference, is_calibration_of};
pub use plugin::{PluginSettings, Plugins};
pub use port_probe::{Patience, PortFinding, PortProbe, probe};
pub use status::{ChannelCalibration, ChannelStatus, InstrumentStatus};

use std::collections::BTreeMap;
use std::path::PathBuf;
use std::sync::Arc;

use tokio::sync::mpsc;
use tokio_util::sync::CancellationToken;
use tokio_util::task::TaskTracker;
use trisect_journal::Probe;
use trisect_kit::Networks;
use trisect_kit::{ChannelDescription, Clock, Context, Description, Emission, Health};
use trisect_measure::{Date, Function, Quantity};

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

/// Why a sample could not become a measurement, and when that was.
pub(crate) struct Refused {
    pub(crate) why: String,
    pub(crate) at: i64,
}

/// An instrument that was attached.
pub(crate) struct Instrument {
    /// Never given twice, so that what a detached one left in the queue is told
    /// from what its successor says.
    pub(crate) id: u64,
    pub(crate) name: Arc<str>,
    pub(crate) adapter: String,
    /// What it was attached with.
    pub(crate) settings: serde_json::Map<String, serde_json::Value>,
    /// What it may connect to.
    pub(crate) networks: Networks,
    pub(crate) description: Description,
    pub(crate) chain: Chain,
    /// The serial port it opens, by the path that stays.
    pub(crate) port: Option<PathBuf>,
    pub(crate) health: Health,
    /// By channel, the test point (by id) that its probe is on.
    pub(crate) probes: BTreeMap<u16, Arc<str>>,
    /// Why a sample could not become a measurement, the last time.
    pub(crate) refused: Option<Refused>,
    /// How many could not.
    pub(crate) refused_samples: u64,
    stop: CancellationToken,
}

/// Characters of what an instrument or its adapter says of itself and its channels.
const TITLE: usize = 200;
/// Characters of what went wrong with it.
const NOTE: usize = 1000;

/// A description as it is kept: its words come from a program or an instrument, and are shown in every list.
fn bounded(mut description: Description) -> Description {
    shorten(&mut description.title, TITLE);
    for channel in &mut description.channels {
        shorten(&mut channel.title, TITLE);
    }
    description
}

fn shorten(text: &mut String, most: usize) {
    if let Some((end, _)) = text.char_indices().nth(most) {
        text.truncate(end);
        text.push('\u{2026}');
    }
}

impl Instrument {
    /// Runs an adapter until it is told to stop.
    pub(crate) fn start(
        id: u64,
        name: &str,
        adapter: String,
        (built, networks): (Built, Networks),
        clock: BayClock,
        arrivals: mpsc::Sender<Arrival>,
        tracker: &TaskTracker,
    ) -> Instrument {
        let Built {
            adapter: mut running,
            chain,
            port,
        } = built;
        let health = Health::new();
        let stop = CancellationToken::new();
        let description = bounded(running.describe());
        let (samples, emissions) = mpsc::channel(AHEAD);
        let now: Clock = Arc::new(move || clock.now());
        let context = Context {
            samples,
            health: health.clone(),
            stop: stop.clone(),
            clock: now,
            networks: networks.clone(),
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
            settings: serde_json::Map::new(),
            networks,
            description,
            chain,
            port,
            health,
            probes: BTreeMap::new(),
            refused: None,
            refused_samples: 0,
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

    /// Where its probes are.
    pub(crate) fn placed(&self) -> Vec<Probe> {
        let placed = self.probes.iter().map(|(channel, point)| Probe {
            point: Arc::clone(point),
            instrument: Some(Arc::clone(&self.name)),
            channel: Some(*channel),
        });
        placed.collect()
    }

    /// The channel on which a person reads a quantity off it: the first that
    /// measures it, or may.
    pub(crate) fn channel_of(&self, quantity: Quantity) -> Option<u16> {
        let channels = &self.description.channels;
        let measures =
            |c: &&ChannelDescription| c.function.is_some_and(|f| f.quantity() == quantity);
        let may = |c: &&ChannelDescription| c.function.is_none();
        let first = channels.iter().find(measures);
        first.or(channels.iter().find(may)).map(|c| c.channel)
    }

    /// How it stands.
    pub(crate) fn status(&self, bay: &str, clock: &BayClock) -> InstrumentStatus {
        let vitals = self.health.vitals();
        // What its samples lack comes before what its line once lacked.
        let (note, noted) = match &self.refused {
            Some(refused) => (Some(refused.why.clone()), Some(refused.at)),
            None => (vitals.last_error, vitals.last_error_at),
        };
        let note = note.map(|mut note| {
            shorten(&mut note, NOTE);
            note
        });
        let today = clock.date(clock.now());
        let channels = self.description.channels.iter();
        InstrumentStatus {
            bay: bay.to_owned(),
            instrument: self.name.to_string(),
            adapter: self.adapter.clone(),
            state: vitals.state,
            since: clock.wall(vitals.since),
            last_sample: vitals.last_sample.map(|at| clock.wall(at)),
            age: vitals.last_sample.map(|at| (clock.now() - at) as f64 / 1e9),
            note,
            noted: noted.map(|at| clock.wall(at)),
            port: self.port.clone(),
            identity: self.description.title.clone(),
            channels: channels.map(|c| self.channel_status(c, today)).collect(),
            samples: vitals.frames_good,
            bad_frames: vitals.frames_bad,
            skipped_bytes: vitals.bytes_skipped,
            refused_samples: self.refused_samples,
        }
    }

    fn channel_status(&self, channel: &ChannelDescription, today: Date) -> ChannelStatus {
        let link = self.chain.channel(channel.channel);
        let quantity = channel.function.map(Function::quantity);
        let calibrations = link.calibrations();
        // A channel of one quantity has no use for the calibrations of others.
        let fitting = calibrations.filter(|(_, one)| quantity.is_none_or(|q| q == one.quantity));
        ChannelStatus {
            channel: channel.channel,
            title: channel.title.clone(),
            quantity,
            point: self.probes.get(&channel.channel).cloned(),
            reference: quantity
                .is_some_and(|q| q == Quantity::Pressure)
                .then_some(link.reference),
            latency: link.latency,
            calibrations: fitting
                .map(|(function, one)| ChannelCalibration {
                    function,
                    overdue: one.overdue(today),
                    record: one.record.clone(),
                })
                .collect(),
        }
    }

    /// Notes that a sample could not become a measurement; whether that is news.
    pub(crate) fn refuse(&mut self, why: String, at: i64) -> bool {
        self.refused_samples += 1;
        let news = self.refused.as_ref().is_none_or(|known| known.why != why);
        self.refused = Some(Refused { why, at });
        news
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
