//! The plugin's side: any Rust adapter as a program of its own.

use std::io;
use std::os::fd::AsFd as _;
use std::sync::Arc;
use std::time::{Duration, Instant};

use serde_json::value::RawValue;
use serde_json::{Value, json};
use tokio::io::{AsyncRead, AsyncReadExt as _, AsyncWrite, AsyncWriteExt as _};
use tokio::net::unix::pipe;
use tokio::sync::mpsc;
use tokio::task::JoinHandle;
use tokio_util::sync::CancellationToken;

use super::lines::{Lines, ReceivedLine};
use super::message::{self, Heard, Refusal, StateSaid};
use super::sample::SampleSaid;
use super::{CONTRACT, LONGEST_LINE};
use crate::{Adapter, Context, Description, Emission, Health, SettingsError, State, Vitals};

/// Samples an adapter may be ahead, and samples in one line at most.
const AHEAD: usize = 256;
/// How often counters are told that changed without a change of state.
const COUNTING: Duration = Duration::from_millis(200);
/// A value younger than this is told without an age: it was read just now.
const FRESH: i64 = 1_000_000;

type Make = dyn Fn(Value) -> Result<Box<dyn Adapter>, SettingsError> + Send + Sync;

/// What a plugin offers: what it is, and how it is made from its settings.
pub struct Offer {
    description: Description,
    make: Box<Make>,
}

impl Offer {
    /// An adapter that is made from its settings, without touching an instrument. `description` is what it
    /// says before it has any.
    pub fn new<F>(description: Description, make: F) -> Offer
    where
        F: Fn(Value) -> Result<Box<dyn Adapter>, SettingsError> + Send + Sync + 'static,
    {
        Offer {
            description,
            make: Box::new(make),
        }
    }

    fn describe(&self, params: &Value) -> Result<Value, Refusal> {
        let described = match params.get("settings") {
            Some(settings) => self.build(settings.clone())?.describe(),
            None => self.description.clone(),
        };
        Ok(json!({
            "contract": CONTRACT,
            "name": self.description.name,
            "version": self.description.version,
            "title": described.title,
            "channels": described.channels,
            "settings": self.description.settings,
        }))
    }

    fn build(&self, settings: Value) -> Result<Box<dyn Adapter>, Refusal> {
        (self.make)(settings).map_err(|error| Refusal {
            code: -32602,
            message: error.to_string(),
        })
    }
}

/// Serves on standard input and output until it is told to stop, or the service
/// is gone.
///
/// # Errors
/// When standard input or output fails.
pub async fn serve(offer: Offer) -> io::Result<()> {
    // Without a thread that waits in a read: the process ends when this returns.
    let input = pipe::Receiver::from_owned_fd(io::stdin().as_fd().try_clone_to_owned()?);
    let output = pipe::Sender::from_owned_fd(io::stdout().as_fd().try_clone_to_owned()?);
    match (input, output) {
        (Ok(input), Ok(output)) => serve_on(offer, input, output).await,
        // Started by hand, on a terminal.
        _ => serve_on(offer, tokio::io::stdin(), tokio::io::stdout()).await,
    }
}

/// Serves on other streams.
///
/// # Errors
/// When they fail.
pub async fn serve_on<R, W>(offer: Offer, mut input: R, output: W) -> io::Result<()>
where
    R: AsyncRead + Unpin + Send,
    W: AsyncWrite + Unpin + Send + 'static,
{
    let (out, lines_out) = mpsc::channel(4);
    let writing = tokio::spawn(write_all(output, lines_out));
    let mut server = PluginServer {
        offer,
        out,
        running: None,
    };
    let mut lines = Lines::new(LONGEST_LINE);
    let served = 'serving: loop {
        match input.read_buf(lines.buffer()).await {
            Ok(0) => break Ok(()),
            Ok(_) => {}
            Err(error) => break Err(error),
        }
        while let Some(line) = lines.next() {
            if server.take(line).await.is_none() {
                break 'serving Ok(());
            }
        }
    };
    server.end().await;
    drop(server);
    // What was answered last is written before the end.
    let written = writing.await;
    served.and(written.unwrap_or_else(|join| Err(io::Error::other(join))))
}

async fn write_all<W: AsyncWrite + Unpin>(
    mut output: W,
    mut lines: mpsc::Receiver<Vec<u8>>,
) -> io::Result<()> {
    while let Some(line) = lines.recv().await {
        output.write_all(&line).await?;
        output.flush().await?;
    }
    Ok(())
}

struct PluginServer {
    offer: Offer,
    out: mpsc::Sender<Vec<u8>>,
    running: Option<RunningAdapter>,
}

struct RunningAdapter {
    stop: CancellationToken,
    adapter: JoinHandle<()>,
    pump: JoinHandle<()>,
}

impl PluginServer {
    /// Answers a line; `None` when it was told to stop, or nobody hears it any more.
    async fn take(&mut self, line: ReceivedLine) -> Option<()> {
        let ReceivedLine::Whole(line) = line else {
            eprintln!("a line too long was let go");
            return Some(());
        };
        match message::read(&line) {
            Ok(Heard::Asked { id, method }) => self.answer(&line, id, &method).await,
            Ok(_) => Some(()),
            Err(why) => {
                eprintln!("cannot read what the service says: {why}");
                Some(())
            }
        }
    }

    async fn answer(&mut self, line: &[u8], id: &RawValue, method: &str) -> Option<()> {
        let params = params_of(line);
        let outcome = match method {
            "describe" => self.offer.describe(&params),
            "start" => match self.begin(params, id) {
                // The answer goes out before the first sample.
                Ok(()) => return Some(()),
                Err(refusal) => Err(refusal),
            },
            "stop" => {
                self.end().await;
                Ok(Value::Null)
            }
            _ => Err(refusal(-32601, &format!("there is no method `{method}`"))),
        };
        self.out.send(message::reply(&id, outcome)).await.ok()?;
        (method != "stop").then_some(())
    }

    fn begin(&mut self, mut params: Value, id: &RawValue) -> Result<(), Refusal> {
        if self.running.is_some() {
            return Err(refusal(-32600, "it was started already"));
        }
        let settings = params.get_mut("settings").map(Value::take);
        let adapter = self.offer.build(settings.unwrap_or_default())?;
        self.running = Some(self.start(adapter, message::reply(&id, Ok(Value::Null))));
        Ok(())
    }

    /// Runs an adapter; `first` is written before anything it says.
    fn start(&self, mut adapter: Box<dyn Adapter>, first: Vec<u8>) -> RunningAdapter {
        let (samples, emissions) = mpsc::channel(AHEAD);
        let (health, stop, began) = (Health::new(), CancellationToken::new(), Instant::now());
        let context = Context {
            samples,
            health: health.clone(),
            stop: stop.clone(),
            clock: Arc::new(move || i64::try_from(began.elapsed().as_nanos()).unwrap_or(i64::MAX)),
            networks: crate::Networks::all(),
        };
        let clock = context.clock.clone();
        let failing = health.clone();
        let adapter = tokio::spawn(async move {
            if let Err(error) = adapter.run(context).await {
                failing.silent(&error.to_string(), 0);
            }
        });
        let pump = Pump {
            out: self.out.clone(),
            health,
            clock,
            told: Vitals::default(),
        };
        RunningAdapter {
            stop,
            adapter,
            pump: tokio::spawn(pump.run(first, emissions)),
        }
    }

    /// Ends what runs.
    async fn end(&mut self) {
        if let Some(run) = self.running.take() {
            run.stop.cancel();
            // A panic of the adapter is on standard error already.
            let _ = run.adapter.await;
            run.pump.abort();
        }
    }
}

fn refusal(code: i64, message: &str) -> Refusal {
    Refusal {
        code,
        message: message.to_owned(),
    }
}

/// The parameters of a request that was read already; null if there are none.
fn params_of(line: &[u8]) -> Value {
    let whole: Value = serde_json::from_slice(line).unwrap_or_default();
    whole.get("params").cloned().unwrap_or_default()
}

/// Carries samples and states out, in their order.
struct Pump {
    out: mpsc::Sender<Vec<u8>>,
    health: Health,
    clock: crate::Clock,
    told: Vitals,
}

impl Pump {
    async fn run(mut self, first: Vec<u8>, mut emissions: mpsc::Receiver<Emission>) {
        if self.out.send(first).await.is_err() {
            return;
        }
        let mut news = self.health.watch();
        let mut counting = tokio::time::interval(COUNTING);
        let mut taken = Vec::with_capacity(AHEAD);
        loop {
            let line = tokio::select! {
                biased;
                count = emissions.recv_many(&mut taken, AHEAD) => {
                    if count == 0 {
                        return;
                    }
                    Some(self.samples(&mut taken))
                }
                changed = news.changed() => match changed {
                    Ok(()) => self.state(),
                    Err(_) => return,
                },
                _ = counting.tick() => self.state(),
            };
            if let Some(line) = line
                && self.out.send(line).await.is_err()
            {
                return;
            }
        }
    }

    fn samples(&mut self, taken: &mut Vec<Emission>) -> Vec<u8> {
        let now = (self.clock)();
        let said = taken.drain(..).map(|emission| {
            let age = now.saturating_sub(emission.at);
            SampleSaid {
                age: (age >= FRESH).then_some(age as f64 / 1e9),
                ..SampleSaid::from(&emission.sample)
            }
        });
        let said: Vec<_> = said.collect();
        // A sample says that its instrument is live.
        self.told.state = State::Live;
        message::notify("samples", &Samples { samples: &said })
    }

    /// How the adapter is doing, if it is not what was told last.
    fn state(&mut self) -> Option<Vec<u8>> {
        let now = self.health.vitals();
        let same = now.state == self.told.state
            && now.last_error == self.told.last_error
            && now.frames_bad == self.told.frames_bad
            && now.bytes_skipped == self.told.bytes_skipped;
        if same || now.state == State::Stopped {
            return None;
        }
        let why = now.last_error.as_deref().filter(|_| {
            now.last_error_at != self.told.last_error_at || now.last_error != self.told.last_error
        });
        let said = StateSaid {
            state: now.state,
            why: why.map(Into::into),
            bad_frames: now.frames_bad,
            skipped_bytes: now.bytes_skipped,
        };
        let line = message::notify("state", &said);
        self.told = now;
        Some(line)
    }
}

#[derive(serde::Serialize)]
struct Samples<'a> {
    samples: &'a [SampleSaid<'static>],
}
