//! The suite finds what it is there to find: a sound adapter passes, and each
//! broken one is caught by the check that is meant for it.

use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use trisect_measure::{Amount, Flags, Function, Sample};

use super::{Instrument, conform};
use crate::framing::Window;
use crate::ports::{Port, open};
use crate::{
    Adapter, AdapterError, BadFrame, ChannelDescription, Codec, Context, Decode, Description,
    LineSettings, Parity, Running, SerialAdapter,
};

const TOY: Codec = Codec {
    name: "toy",
    title: "toy",
    line: LineSettings::new(9600, 8, Parity::None, 1),
    gap: Duration::from_millis(100),
    optical: false,
    poll: None,
    framing: || Box::new(Window::new(6, |w| w.starts_with(b"<") && w.ends_with(b">"))),
    decoding: || Box::new(Toy),
};

struct Toy;

impl Decode for Toy {
    fn decode(&mut self, frame: &[u8]) -> Result<Sample, BadFrame> {
        let volts = frame
            .get(1..5)
            .and_then(|digits| std::str::from_utf8(digits).ok())
            .and_then(|digits| digits.parse().ok())
            .ok_or_else(|| BadFrame::new("no number"))?;
        Ok(Sample {
            channel: 0,
            function: Function::Voltage,
            amount: Amount::Exactly(volts),
            digit: None,
            span: None,
            coupling: None,
            flags: Flags::empty(),
        })
    }
}

fn sound(path: &Path) -> SerialAdapter {
    let description = Description {
        name: "toy".to_owned(),
        version: "1".to_owned(),
        title: "a toy".to_owned(),
        channels: vec![ChannelDescription {
            channel: 0,
            title: "volts".to_owned(),
            function: None,
        }],
        settings: serde_json::json!({}),
    };
    SerialAdapter::new(description, path.to_owned(), TOY)
}

#[derive(Clone, Copy, PartialEq)]
enum Flaw {
    None,
    /// Does not heed a stop.
    Deaf,
    /// Gives up when there is no port.
    Quits,
    /// Throws samples away when the queue is full.
    Drops,
    /// Never calls an instrument silent.
    Patient,
    /// Counts time for itself, from its first look at the clock.
    OwnTime,
}

struct Flawed(SerialAdapter, Flaw, Port);

impl Adapter for Flawed {
    fn describe(&self) -> Description {
        self.0.describe()
    }

    fn run(&mut self, context: Context) -> Running<'_> {
        Box::pin(async move {
            match self.1 {
                Flaw::None | Flaw::Patient => self.0.run(context).await,
                Flaw::Deaf => {
                    let mut deaf = context.clone();
                    deaf.stop = tokio_util::sync::CancellationToken::new();
                    self.0.run(deaf).await
                }
                Flaw::Quits => match open(&self.2).map(drop) {
                    Ok(()) => self.0.run(context).await,
                    Err(error) => Err(AdapterError {
                        what: "no port".to_owned(),
                        source: Some(Box::new(error)),
                    }),
                },
                Flaw::OwnTime => {
                    let (first, start) = (context.now(), std::time::Instant::now());
                    let mut own = context;
                    own.clock = Arc::new(move || first + start.elapsed().as_nanos() as i64);
                    self.0.run(own).await
                }
                Flaw::Drops => drops(&mut self.0, context).await,
            }
        })
    }
}

async fn drops(adapter: &mut SerialAdapter, context: Context) -> Result<(), AdapterError> {
    let (sender, mut roomy) = tokio::sync::mpsc::channel(1000);
    let narrow = context.samples.clone();
    let inner = Context {
        samples: sender,
        ..context
    };
    let pass = async {
        while let Some(emission) = roomy.recv().await {
            let _ = narrow.try_send(emission);
        }
    };
    tokio::join!(adapter.run(inner), pass).0
}

struct ToyInstrument(Flaw);

impl Instrument for ToyInstrument {
    fn adapter(&self, path: &Path) -> Box<dyn Adapter> {
        let port = Port {
            path: path.to_owned(),
            line: TOY.line,
            optical: false,
        };
        let patience = Duration::from_secs(if self.0 == Flaw::Patient { 3600 } else { 0 });
        let adapter = sound(path).silent_after(patience + Duration::from_millis(300));
        Box::new(Flawed(adapter, self.0, port))
    }

    fn says(&self, _turn: u64) -> Vec<u8> {
        b"<12.5>".to_vec()
    }
}

/// The checks that an adapter with this flaw fails.
async fn check(flaw: Flaw, expected: &[&str]) {
    let breaches = conform(Arc::new(ToyInstrument(flaw))).await;
    let failed: Vec<_> = breaches.iter().map(|breach| breach.check).collect();
    for name in expected {
        assert!(
            failed.contains(name),
            "{name} found nothing; found: {breaches:#?}"
        );
    }
    assert!(!expected.is_empty() || failed.is_empty(), "{breaches:#?}");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_sound_adapter_passes() {
    check(Flaw::None, &[]).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn an_adapter_deaf_to_stop_is_found() {
    check(Flaw::Deaf, &["start and stop", "flood"]).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn an_adapter_that_gives_up_without_a_port_is_found() {
    check(Flaw::Quits, &["late port"]).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn an_adapter_that_drops_samples_is_found() {
    check(Flaw::Drops, &["full queue"]).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn an_adapter_that_hides_silence_is_found() {
    check(Flaw::Patient, &["garbage", "silence"]).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn an_adapter_that_keeps_a_time_of_its_own_is_found() {
    check(Flaw::OwnTime, &["clock step"]).await;
}
