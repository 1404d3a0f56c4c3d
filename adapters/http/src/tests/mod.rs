//! The adapter against servers that behave, and those that do not.
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod contract;
mod safe;
mod servers;

use std::time::Duration;

use serde_json::{Value, json};
use tokio::sync::mpsc;
use tokio::task::JoinHandle;
use tokio_util::sync::CancellationToken;
use trisect_kit::{Adapter, AdapterError, Context, Emission, Health, Vitals};

use crate::{HttpAdapter, HttpSettings};

const LONGEST: Duration = Duration::from_secs(20);

fn adapter(settings: Value) -> HttpAdapter {
    let settings: HttpSettings = serde_json::from_value(settings).unwrap();
    settings.adapter().unwrap()
}

/// Settings for one pressure at `/inlet`, asked for every 5 ms.
fn settings(url: &str) -> Value {
    json!({
        "url": url, "every": 0.01, "timeout": 0.3, "silent_after": 0.5,
        "readings": [{"function": "pressure", "value": "/inlet", "unit": "kPa"}],
    })
}

/// A running adapter.
struct Ran {
    health: Health,
    samples: mpsc::Receiver<Emission>,
    stop: CancellationToken,
    running: JoinHandle<Result<(), AdapterError>>,
}

impl Ran {
    fn start(settings: Value) -> Ran {
        let mut adapter = adapter(settings);
        let (sender, samples) = mpsc::channel(64);
        let (health, stop, began) = (
            Health::new(),
            CancellationToken::new(),
            std::time::Instant::now(),
        );
        let context = Context {
            samples: sender,
            health: health.clone(),
            stop: stop.clone(),
            clock: std::sync::Arc::new(move || began.elapsed().as_nanos() as i64),
            networks: trisect_kit::Networks::all(),
        };
        let running = tokio::spawn(async move { adapter.run(context).await });
        Ran {
            health,
            samples,
            stop,
            running,
        }
    }

    /// Takes samples until the vitals are as wished; gives their values in kPa.
    async fn until(&mut self, what: &str, wish: impl Fn(&Vitals) -> bool) -> Vec<f64> {
        let mut taken = Vec::new();
        let waiting = async {
            let mut look = tokio::time::interval(Duration::from_millis(2));
            while !wish(&self.health.vitals()) {
                tokio::select! {
                    Some(one) = self.samples.recv() => taken.push(one.sample.amount.edge() / 1000.0),
                    _ = look.tick() => {}
                }
            }
        };
        let timely = tokio::time::timeout(LONGEST, waiting).await;
        assert!(timely.is_ok(), "{what}: {:?}", self.health.vitals());
        while let Ok(one) = self.samples.try_recv() {
            taken.push(one.sample.amount.edge() / 1000.0);
        }
        taken
    }

    /// Waits until the last error has these words.
    async fn says(&mut self, words: &str) {
        self.until(words, |v| {
            v.last_error.as_deref().is_some_and(|e| e.contains(words))
        })
        .await;
    }

    async fn stop(self) {
        self.stop.cancel();
        let ended = tokio::time::timeout(LONGEST, self.running).await;
        ended.expect("it stops").unwrap().unwrap();
    }
}
