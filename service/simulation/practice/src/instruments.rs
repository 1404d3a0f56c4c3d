//! The simulated instruments, attached to a bay of the service.

use serde_json::{Map, Value, json};
use trisect_measure::{Quantity, Unit};
use trisect_simulated::bay::{Instrument, SimulatedBay, Speaks};
use trisect_simulated::instruments::WordOrder;
use trisect_wire::table::InstrumentAttach;
use trisect_wire::types::InstrumentAttachParams;

use crate::connection::{CallError, Service};

/// The only channel of each of them.
pub(crate) const CHANNEL: &str = "0";

/// Attaches every instrument of the simulated bay, which runs `speed` times as fast as the world.
pub(crate) async fn attach(
    service: &Service,
    bay: &str,
    simulated: &SimulatedBay,
    speed: f64,
) -> Result<(), CallError> {
    for instrument in simulated.instruments() {
        let params = attaching(bay, instrument, speed);
        let doing = "cannot attach a simulated instrument";
        service.call::<InstrumentAttach>(doing, &params).await?;
    }
    Ok(())
}

/// An instrument's settings, with the accuracy its data sheet would give.
fn attaching(bay: &str, instrument: &Instrument, speed: f64) -> InstrumentAttachParams {
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
            let unit = units.first().copied().unwrap_or(Unit::PSI);
            let (full_scale, accuracy) = match unit.quantity() {
                Quantity::Pressure => (60.0, "0.25 % FS"),
                Quantity::RotationalSpeed => (5000.0, "0.1 % FS"),
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
    InstrumentAttachParams {
        bay: bay.to_owned(),
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
