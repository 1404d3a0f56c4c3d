//! Modbus: what is asked, what is answered, over a serial line or TCP.
//!
//! The client is our own. An RTU reply carries neither an address of the client
//! nor a number, so one that comes after its time-out looks like the answer to
//! the next request, and a client that does not know this (`tokio-modbus` 0.17
//! among them) is silently wrong. Here, after a reply that failed, the line is
//! held for as long as the device may take to reply, and drained. Over TCP the
//! header numbers the requests: a late reply is thrown away, and the connection
//! stays.
//!
//! A reply is matched to its request in `reply` (device, function, count), over TCP first by its number in
//! `connection`.
//!
//! [`Exchange`] and [`Messages`] are the two framings, without I/O; the line and
//! the connection are apart, and so is the schedule that shares them.

mod bus;
mod connection;
mod exchange;
mod fields;
mod input;
mod line;
mod mbap;
mod number;
mod order;
mod polling;
mod reply;
mod request;
mod resolve;
mod schedule;
mod settings;

#[cfg(test)]
pub(crate) mod tests;

pub use exchange::{Exchange, Progress};
pub use fields::InputSettings;
pub use mbap::{Message, Messages, OutOfStep, framed};
pub use number::NumberType;
pub use order::WordOrder;
pub use reply::{ExceptionCode, ReplyError};
pub use request::{Request, Table, checksum, frame_pause};

pub use settings::TransducerSettings;
