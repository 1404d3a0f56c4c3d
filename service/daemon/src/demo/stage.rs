//! The bay with its instruments, the service, and the line between the
//! technician and it.

use std::net::SocketAddr;
use std::path::Path;

use serde_json::{Map, Value, json};
use tempfile::TempDir;
use trisect_wire::RPC_PATH;
use trisect_wire::client::{Client, ClientError};
use trisect_wire::method::Method;
use trisect_simulated::bay::{Instrument, Options, SimulatedBay, Speaks};
use trisect_simulated::instruments::WordOrder;
use trisect_machine::Fault;

use super::{DemoError, Wishes};
use crate::Service;
use crate::config::{
    AccessSettings, BaySettings, InstrumentSettings, KeepSettings, LogFormat, LogSettings,
    Settings, Span,
};

/// The invented depot's bay.
pub(super) const BAY: &str = "bay-2";

/// Everything the technician works with.
pub(super) struct Stage {
    pub(super) bay: SimulatedBay,
    pub(super) client: Client,
    pub(super) address: SocketAddr,
    service: Service,
    directory: TempDir,
}

impl Stage {
    pub(super) async fn set(wishes: &Wishes, faults: &[Fault]) -> Result<Stage, DemoError> {
        let directory = TempDir::with_prefix("trisect-demo-")?;
        let lines = directory.path();
        let bay = SimulatedBay::start(lines, wishes.seed, faults, wishes.speed, Options::default())
            .await?;
        let journal = wishes
            .journal
            .clone()
            .unwrap_or_else(|| lines.join("demo.db"));
        let settings = settings(&journal, bay.instruments(), wishes.speed);
        let service = Service::start_at_speed(settings, wishes.speed).await?;
        let address = service.address();
        let url = format!("ws://{address}{RPC_PATH}");
        let client = Client::connect(&url)
            .await
            .map_err(|source| DemoError::Call {
                doing: "cannot reach the service",
                source,
            })?;
        Ok(Stage {
            bay,
            client,
            address,
            service,
            directory,
        })
    }

    /// Calls a method of the service, as any other program would.
    pub(super) async fn call<M: Method>(
        &self,
        doing: &'static str,
        params: &M::Params,
    ) -> Result<M::Result, DemoError> {
        let answer: Result<M::Result, ClientError> = self.client.call::<M>(params).await;
        answer.map_err(|source| DemoError::Call { doing, source })
    }

    /// Takes everything down and throws the files away.
    pub(super) async fn strike(self) {
        drop(self.client);
        self.service.stop().await;
        self.bay.stop().await;
        if let Err(error) = self.directory.close() {
            tracing::warn!(%error, "the demo's directory could not be removed");
        }
    }
}

fn settings(journal: &Path, instruments: &[Instrument], speed: f64) -> Settings {
    Settings {
        listen: SocketAddr::from(([127, 0, 0, 1], 0)),
        journal: journal.to_owned(),
        bays: vec![BaySettings {
            bay: BAY.to_owned(),
            title: Some("Northmoor Roads Depot, bay 2".to_owned()),
            ruleset: "distributor-pump-12v".to_owned(),
            barometer: None,
            instruments: instruments.iter().map(|one| attached(one, speed)).collect(),
        }],
        log: LogSettings {
            level: "warn".to_owned(),
            format: LogFormat::Text,
        },
        keep: KeepSettings {
            // The machine is simulated: what it does between jobs is of no use.
            outside_jobs: Span::days(0),
            ..KeepSettings::default()
        },
        access: AccessSettings::here(),
        ..Settings::default()
    }
}

/// An instrument's settings, with the accuracy its data sheet would give.
pub(crate) fn attached(instrument: &Instrument, speed: f64) -> InstrumentSettings {
    let port = instrument.path.to_string_lossy();
    let (adapter, settings) = match &instrument.speaks {
        Speaks::Multimeter(chip) => (
            "multimeter",
            json!({
                "protocol": chip.word(),
                "port": port,
                "accuracy": {
                    "voltage": "0.5 % rdg + 3 dgt",
                    "current": "1.5 % rdg + 5 dgt",
                    "resistance": "1 % rdg + 5 dgt",
                },
            }),
        ),
        Speaks::ModbusRtu {
            address,
            order,
            units,
        } => {
            let unit = units.first().copied().unwrap_or(trisect_measure::Unit::PSI);
            let (full_scale, accuracy) = match unit.quantity() {
                trisect_measure::Quantity::Pressure => (60.0, "0.25 % FS"),
                trisect_measure::Quantity::RotationalSpeed => (5000.0, "0.1 % FS"),
                _ => (120.0, "0.5 % FS"),
            };
            // Asked ten times a simulated second; a transducer answers within 20 ms.
            let period = (100.0 / speed).round().max(1.0) as u64;
            (
                "transducer",
                json!({
                    "port": port,
                    "device": address,
                    "register": 0,
                    "order": word_order(*order),
                    "quantity": unit.quantity(),
                    "unit": unit.symbol(),
                    "full_scale": full_scale,
                    "period_ms": period,
                    "longest_reply_ms": 50,
                    "reply_timeout_ms": 50,
                    "accuracy": accuracy,
                }),
            )
        }
    };
    let settings = match settings {
        Value::Object(settings) => settings,
        _ => Map::new(),
    };
    InstrumentSettings {
        instrument: instrument.id.clone(),
        adapter: adapter.to_owned(),
        settings,
    }
}

/// The word of a float's order in the transducer's settings.
fn word_order(order: WordOrder) -> &'static str {
    match order {
        WordOrder::Big => "big",
        WordOrder::Little => "little",
        WordOrder::SwappedWords => "swapped-words",
        WordOrder::SwappedBytes => "swapped-bytes",
    }
}
