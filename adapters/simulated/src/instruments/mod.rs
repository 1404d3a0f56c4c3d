//! Simulated instruments: they speak real protocols, byte for byte, on
//! pseudo-terminals.
//!
//! Invariant, an absence: nothing of the decoders is used here; the frames are
//! written from the protocols' descriptions, so that both sides can be wrong
//! only apart.

mod corruption;
mod es51922;
mod fs9922;
mod function;
mod meter;
mod modbus;
mod port;
mod transducer;

pub use corruption::Corruption;
pub use meter::Chip;
pub use modbus::WordOrder;

pub(crate) use meter::Meter;
pub(crate) use modbus::request;
pub(crate) use port::{Available, Port, PtyMaster, read_available};
pub(crate) use transducer::Transducer;

/// Why leads cannot be put where they were to go.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum PlaceError {
    /// No such instrument.
    #[error("placing `{instrument}`: no such instrument; use one of {known}")]
    NoInstrument {
        /// What was asked for.
        instrument: String,
        /// What there is.
        known: String,
    },
    /// No such input.
    #[error("placing input {input}: there are only {count}, counted from 0")]
    NoInput {
        /// The input.
        input: u16,
        /// How many there are.
        count: usize,
    },
    /// No such point.
    #[error("placing leads on `{point}`: no such test point; use one of the machine's")]
    NoPoint {
        /// What was asked for.
        point: String,
    },
    /// The instrument does not measure what is there.
    #[error(
        "placing leads on `{point}`: {by} does not measure {quantity}; take another instrument"
    )]
    NotMeasurable {
        /// The point.
        point: &'static str,
        /// What is there.
        quantity: &'static str,
        /// The instrument.
        by: &'static str,
    },
}

/// Mean and standard deviation.
#[cfg(test)]
pub(crate) fn mean_and_spread(values: &[f64]) -> (f64, f64) {
    let count = values.len() as f64;
    let mean = values.iter().sum::<f64>() / count;
    let square: f64 = values.iter().map(|value| (value - mean).powi(2)).sum();
    (mean, (square / count).sqrt())
}

#[cfg(test)]
pub(crate) fn hex(bytes: &[u8]) -> String {
    bytes
        .iter()
        .map(|byte| format!("{byte:02X}"))
        .collect::<Vec<_>>()
        .join(" ")
}
