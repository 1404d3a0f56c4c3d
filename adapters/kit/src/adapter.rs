//! What an adapter is, to the service that runs it.

use std::error::Error;
use std::future::Future;
use std::pin::Pin;
use std::sync::Arc;
use std::time::Duration;

use tokio::sync::mpsc;
use tokio_util::sync::CancellationToken;
use trisect_measure::{Function, Sample};

use crate::{Health, Networks, State};

/// The bay's clock: nanoseconds. Passed in, so that a simulated bay can run
/// faster than the world.
pub type Clock = Arc<dyn Fn() -> i64 + Send + Sync>;

/// A running adapter.
pub type Running<'a> = Pin<Box<dyn Future<Output = Result<(), AdapterError>> + Send + 'a>>;

/// A sample and when its bytes were read, in nanoseconds on the bay's clock.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Emission {
    /// What the instrument said.
    pub sample: Sample,
    /// When it was read.
    pub at: i64,
}

/// One input of an instrument.
#[derive(Clone, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct ChannelDescription {
    /// Its number, as in [`Sample::channel`].
    pub channel: u16,
    /// What it is, for people.
    pub title: String,
    /// What it measures, where that never changes; a multimeter's is on its dial.
    pub function: Option<Function>,
}

/// What an adapter says of itself without touching an instrument. It goes over
/// the wire of a plugin as it is.
#[derive(Clone, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Description {
    /// The kind of adapter, such as `multimeter`.
    pub name: String,
    /// Its version.
    pub version: String,
    /// What it talks to, for people, such as the protocol and the port.
    pub title: String,
    /// Its inputs, at least one.
    pub channels: Vec<ChannelDescription>,
    /// JSON Schema of its settings.
    pub settings: serde_json::Value,
}

/// Why an adapter ended by itself.
#[derive(Debug, thiserror::Error)]
#[error("{what}")]
pub struct AdapterError {
    /// What could not be done, to what, and the way out.
    pub what: String,
    /// What was behind it.
    pub source: Option<Box<dyn Error + Send + Sync>>,
}

/// Settings that no adapter can be made from.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("cannot use the setting `{field}`: {why}")]
pub struct SettingsError {
    /// The field, as it is written in the settings.
    pub field: &'static str,
    /// What is wrong with it, and what to write instead.
    pub why: String,
}

/// The adapter was told to stop.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("told to stop")]
pub struct Stopped;

/// What an adapter is given to run with.
#[derive(Clone)]
pub struct Context {
    /// Where samples go. Bounded: a full queue holds the adapter back.
    pub samples: mpsc::Sender<Emission>,
    /// How it is doing.
    pub health: Health,
    /// Cancelled when it is to stop.
    pub stop: CancellationToken,
    /// The bay's clock.
    pub clock: Clock,
    /// What it may connect to.
    pub networks: Networks,
}

impl Context {
    /// Now, on the bay's clock.
    pub fn now(&self) -> i64 {
        (self.clock)()
    }

    /// Hands over a sample read at `at`, and counts it. Waits while the queue
    /// is full.
    ///
    /// # Errors
    /// The adapter was told to stop, or nobody takes samples any more.
    pub async fn emit(&self, sample: Sample, at: i64) -> Result<(), Stopped> {
        self.health.good(at);
        let emission = Emission { sample, at };
        tokio::select! {
            biased;
            () = self.stop.cancelled() => Err(Stopped),
            sent = self.samples.send(emission) => sent.map_err(|_| Stopped),
        }
    }

    /// Waits, unless told to stop.
    ///
    /// # Errors
    /// The adapter was told to stop.
    pub async fn pause(&self, time: Duration) -> Result<(), Stopped> {
        tokio::select! {
            biased;
            () = self.stop.cancelled() => Err(Stopped),
            () = tokio::time::sleep(time) => Ok(()),
        }
    }

    /// Notes an error and falls silent.
    pub fn silent(&self, why: &str) {
        if self.health.vitals().state != State::Silent {
            tracing::info!(why, "instrument silent");
        }
        self.health.silent(why, self.now());
    }
}

/// One instrument, in process or behind a plugin.
///
/// - `describe` MUST NOT touch the instrument, and MUST give at least one channel
///   and an object as settings schema.
/// - `run` MUST be `starting` before anything else, `live` once a valid frame
///   came, `silent` within a second of losing the port, or after the set time
///   without a valid frame, and `stopped` when it returns `Ok`.
/// - `run` MUST return `Ok` within a second of [`Context::stop`], whatever the
///   instrument does and however full the queue is.
/// - `run` MUST NOT return because an instrument is missing, unplugged, garbled
///   or mute: it says so in [`Health`], tries again with back-off and jitter, and
///   comes back by itself. It returns an error only when trying again is useless.
/// - `run` MUST stamp a sample with the time its bytes were read, and times MUST
///   NOT go back while the clock does not. A step of that clock, either way, MUST
///   NOT lose a sample or be taken for silence: waiting goes by the run time's clock.
/// - `run` MUST count every frame refused and every byte skipped, and MUST NOT
///   guess at either.
/// - `run` MUST wait while the queue is full, and MUST NOT drop or reorder samples.
/// - `run` MUST be callable again after it returned.
/// - `run` SHOULD hold no more than a few kilobytes, however fast the instrument
///   talks, and SHOULD say the way out in its last error.
///
/// A meter that always says the same, run until it is told to stop:
///
/// ```
/// use std::sync::Arc;
/// use std::time::Duration;
/// use tokio::sync::mpsc;
/// use tokio_util::sync::CancellationToken;
/// use trisect_kit::{Adapter, ChannelDescription, Context, Description, Health, Networks, Running, State};
/// use trisect_measure::{Amount, Flags, Function, Sample};
///
/// struct Steady;
///
/// impl Adapter for Steady {
///     fn describe(&self) -> Description {
///         Description {
///             name: "steady".to_owned(),
///             version: "1".to_owned(),
///             title: "a meter at 12.6 V".to_owned(),
///             channels: vec![ChannelDescription {
///                 channel: 0,
///                 title: "volts".to_owned(),
///                 function: Some(Function::Voltage),
///             }],
///             settings: serde_json::json!({"type": "object"}),
///         }
///     }
///
///     fn run(&mut self, context: Context) -> Running<'_> {
///         Box::pin(async move {
///             let volts = Sample {
///                 channel: 0,
///                 function: Function::Voltage,
///                 amount: Amount::Exactly(12.6),
///                 digit: Some(0.1),
///                 span: None,
///                 coupling: None,
///                 flags: Flags::empty(),
///             };
///             // Told to stop, it ends well; a full queue holds it back.
///             while context.emit(volts, context.now()).await.is_ok() {
///                 if context.pause(Duration::from_millis(10)).await.is_err() {
///                     break;
///                 }
///             }
///             context.health.enter(State::Stopped, context.now());
///             Ok(())
///         })
///     }
/// }
///
/// # tokio::runtime::Builder::new_current_thread().enable_time().build().unwrap().block_on(async {
/// let (samples, mut emissions) = mpsc::channel(4);
/// let (health, stop) = (Health::new(), CancellationToken::new());
/// let context = Context { samples, health: health.clone(), stop: stop.clone(), clock: Arc::new(|| 0), networks: Networks::all() };
/// let mut steady = Steady;
/// let reading = async {
///     let first = emissions.recv().await.unwrap();
///     assert_eq!(first.sample.amount, Amount::Exactly(12.6));
///     stop.cancel();
/// };
/// let (ended, ()) = tokio::join!(steady.run(context), reading);
/// assert!(ended.is_ok());
/// assert_eq!(health.vitals().state, State::Stopped);
/// # });
/// ```
pub trait Adapter: Send {
    /// What it is.
    fn describe(&self) -> Description;

    /// Runs until told to stop.
    fn run(&mut self, context: Context) -> Running<'_>;
}
