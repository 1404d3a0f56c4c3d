//! Plugins that keep the contract, and the ways to break it.
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod bad;
mod guest;
mod suite;

use std::path::Path;
use std::time::Duration;

use serde_json::{Value, json};
use tokio::sync::mpsc;
use tokio::task::JoinHandle;
use tokio_util::sync::CancellationToken;

use super::{Limits, PluginAdapter, PluginError, Program};
use crate::{Adapter, AdapterError, Context, Emission, Health, Vitals};

const LONGEST: Duration = Duration::from_secs(20);

/// The tests' plugin in a mood.
fn program(arguments: &[&str]) -> Program {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/plugin/tests/plugin.py");
    let mut command = vec!["python3".to_owned(), script.display().to_string()];
    command.extend(arguments.iter().map(|a| (*a).to_owned()));
    Program {
        name: arguments.join(" "),
        command,
        directory: None,
        environment: Default::default(),
        limits: Limits::default(),
    }
}

async fn prepared(program: Program, settings: Value) -> Result<PluginAdapter, PluginError> {
    PluginAdapter::prepare(program, settings).await
}

/// A running plugin.
struct Ran {
    health: Health,
    samples: mpsc::Receiver<Emission>,
    stop: CancellationToken,
    running: JoinHandle<Result<(), AdapterError>>,
}

impl Ran {
    async fn start(program: Program) -> Ran {
        let mut adapter = prepared(program, json!({})).await.unwrap();
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
            networks: crate::Networks::all(),
        };
        let running = tokio::spawn(async move { adapter.run(context).await });
        Ran {
            health,
            samples,
            stop,
            running,
        }
    }

    /// Takes samples until the vitals are as wished; gives their values in psi.
    async fn until(&mut self, what: &str, wish: impl Fn(&Vitals) -> bool) -> Vec<f64> {
        let mut taken = Vec::new();
        let waiting = async {
            let mut look = tokio::time::interval(Duration::from_millis(2));
            while !wish(&self.health.vitals()) {
                tokio::select! {
                    Some(emission) = self.samples.recv() => taken.push(psi(&emission)),
                    _ = look.tick() => {}
                }
            }
        };
        let timely = tokio::time::timeout(LONGEST, waiting).await;
        assert!(timely.is_ok(), "{what}: {:?}", self.health.vitals());
        taken
    }

    /// Stops it; how long that took.
    async fn stop(self) -> Duration {
        let began = std::time::Instant::now();
        self.stop.cancel();
        let ended = tokio::time::timeout(LONGEST, self.running).await;
        ended.expect("it stops").unwrap().unwrap();
        assert_eq!(self.health.vitals().state, crate::State::Stopped);
        began.elapsed()
    }

    fn error(&self) -> String {
        self.health.vitals().last_error.unwrap_or_default()
    }
}

fn psi(emission: &Emission) -> f64 {
    trisect_measure::Unit::PSI.from_si(emission.sample.amount.edge())
}
