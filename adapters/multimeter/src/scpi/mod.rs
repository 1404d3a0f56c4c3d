//! Bench meters that speak SCPI (SCPI-99 over IEEE 488.2), on a serial port or
//! over TCP: identified, set to the wanted function, read, their errors told.
//!
//! A reply carries no address and no number, so what matters is to stay in step:
//! - questions whose answers look alike do not follow each other: the
//!   configuration is asked before each reading, the error queue every so often;
//! - an answer that does not fit its question, or none in time, ends the
//!   conversation: the line is drained until it is quiet, and all is asked anew,
//!   the identity first;
//! - what is there before a question was asked is thrown away and counted.
//!
//! A conversation is sans-I/O; [`session`] has the only reads and writes.

mod answer;
mod conversation;
mod function;
mod session;
mod settings;

#[cfg(test)]
mod stub;
#[cfg(test)]
mod tests;

pub use conversation::{Conversation, Heard, Say, Wanted};
pub use function::ScpiFunction;
pub use settings::ScpiSettings;
