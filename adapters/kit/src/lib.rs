//! The adapter contract: framing, decoding, ports, and the conformance suite that tests
//! them.
//!
//! An adapter turns what an instrument says into [`Emission`]s: samples, each
//! with the time its bytes were read. What belongs to a protocol is sans-I/O:
//! a [`Framing`] finds where a message starts and ends, a [`Decode`] says what
//! it means, and a [`Codec`] names the pair, so that the live adapter and the
//! `decode` command read bytes the same way.
//!
//! Invariants, each an absence:
//! - nothing here knows a test point, a rule or a bay: an adapter says what the
//!   instrument said;
//! - no byte is guessed: what is no whole, consistent frame is skipped or bad,
//!   and counted;
//! - no sample is thrown away: a full queue holds the adapter back.

mod adapter;
mod codec;
#[cfg(any(test, feature = "conformance"))]
pub mod conformance;
mod decoding;
mod error_chain;
mod files;
pub mod framing;
mod health;
mod json;
mod line;
mod network;
pub mod plugin;
pub mod ports;
mod serial;
mod tachometer;

pub use adapter::{
    Adapter, AdapterError, ChannelDescription, Clock, Context, Description, Emission, Running,
    SettingsError, Stopped,
};
pub use codec::{Codec, Decoded, Decoder, Poll};
pub use decoding::{BadFrame, Decode};
pub use error_chain::error_chain;
pub use files::{read_file, read_text};
pub use framing::{Framed, Framing};
pub use health::{Health, State, Vitals};
pub use json::sample_json;
pub use line::{LineError, LineSettings, Parity};
pub use network::{Network, Networks};
pub use serial::SerialAdapter;
pub use tachometer::{PulseCounter, PulseRate, PulsesPerTurn, Tachometer};
