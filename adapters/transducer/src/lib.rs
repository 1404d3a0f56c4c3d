//! Pressure transducers over Modbus RTU.
//!
//! The master is our own: an RTU reply carries neither an address nor a number,
//! so one that comes after its time-out looks like the answer to the next
//! request, and a client that does not know this is silently wrong. Here, after
//! a reply that failed, the line is held for as long as the device may take to
//! reply, and drained ([`Exchange`] is the protocol, without I/O; the line is
//! apart).
//!
//! Invariants, each an absence:
//! - no late, foreign, cut, long or damaged reply becomes a sample;
//! - no register is ever written: functions 03 and 04 are all there is.

mod adapter;
mod exchange;
mod line;
mod order;
mod request;
mod settings;

#[cfg(test)]
mod conformance;
#[cfg(test)]
mod slave;

pub use exchange::{ExceptionCode, Exchange, Progress, ReplyError};
pub use order::WordOrder;
pub use request::{Request, Table, checksum, frame_pause};
pub use settings::TransducerSettings;
