//! A fake device, and what the adapter makes of its moods.

#![allow(clippy::unwrap_used)]

mod rtu;
mod shared;
mod tcp;

use std::sync::Arc;
use std::time::Duration;

use tokio::sync::mpsc;
use tokio::time::timeout;
use tokio_util::sync::CancellationToken;
use trisect_kit::{Context, Emission, Health};
use trisect_measure::{Amount, Unit};

use crate::{TransducerSettings, checksum};

const PATIENCE: Duration = Duration::from_secs(10);

/// The reply on a line of device 1 that holds `float` in big order in input
/// register 12, or nothing if the request is not for it.
pub(crate) fn rtu(request: &[u8], float: f32) -> Vec<u8> {
    let (Some([1, 4, 0, 12, 0, 2]), 8) = (request.first_chunk::<6>(), request.len()) else {
        return Vec::new();
    };
    closed([&[1, 4, 4][..], &float.to_be_bytes()].concat())
}

/// The same over TCP.
pub(crate) fn tcp(request: &[u8], float: f32) -> Vec<u8> {
    match *request {
        [high, low, 0, 0, 0, 6, 1, 4, 0, 12, 0, 2] => {
            [&[high, low, 0, 0, 0, 7, 1, 4, 4][..], &float.to_be_bytes()].concat()
        }
        _ => Vec::new(),
    }
}

/// A message with its checksum.
fn closed(mut message: Vec<u8>) -> Vec<u8> {
    let crc = checksum(&message);
    message.extend(crc);
    message
}

/// An adapter that runs until dropped, and what comes out of it.
struct Bay {
    samples: mpsc::Receiver<Emission>,
    health: Health,
    stop: CancellationToken,
}

impl Bay {
    fn start(settings: &TransducerSettings) -> Bay {
        let mut adapter = settings.adapter().unwrap();
        let (sender, samples) = mpsc::channel(16);
        let (health, stop) = (Health::new(), CancellationToken::new());
        let context = Context {
            samples: sender,
            health: health.clone(),
            stop: stop.clone(),
            clock: Arc::new(|| 7),
            networks: trisect_kit::Networks::all(),
        };
        tokio::spawn(async move { adapter.run(context).await });
        Bay {
            samples,
            health,
            stop,
        }
    }

    async fn emission(&mut self) -> Emission {
        timeout(PATIENCE, self.samples.recv())
            .await
            .unwrap()
            .unwrap()
    }

    async fn psi(&mut self) -> f64 {
        let emission = self.emission().await;
        let Amount::Exactly(pascals) = emission.sample.amount else {
            panic!("{emission:?}");
        };
        Unit::PSI.from_si(pascals)
    }

    async fn until(&self, what: &str, wished: impl Fn(&trisect_kit::Vitals) -> bool) {
        let wait = async {
            while !wished(&self.health.vitals()) {
                tokio::time::sleep(Duration::from_millis(1)).await;
            }
        };
        assert!(
            timeout(PATIENCE, wait).await.is_ok(),
            "{what}: {:?}",
            self.health.vitals()
        );
    }

    fn error(&self) -> String {
        self.health.vitals().last_error.unwrap_or_default()
    }
}

impl Drop for Bay {
    fn drop(&mut self) {
        self.stop.cancel();
    }
}

/// Settings with times short enough for a test.
fn quick(settings: TransducerSettings) -> TransducerSettings {
    TransducerSettings {
        period_ms: Some(5),
        reply_timeout_ms: Some(50),
        longest_reply_ms: Some(300),
        ..settings
    }
}
