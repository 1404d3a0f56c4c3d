//! Transducers: Modbus over RTU and TCP, the analog sensors behind its modules,
//! and microcontrollers that print lines of text.
//!
//! Invariants, each an absence:
//! - no late, foreign, cut, long or damaged reply becomes a sample;
//! - no register is ever written: functions 03 and 04 are all there is;
//! - nothing is written to a port that prints lines;
//! - no line is read in part: it fits a pattern as a whole, or it is counted;
//! - no saturated sensor is given a number: its reading is one-sided.

mod analog;
mod modbus;
mod shown;
mod speed;
pub mod text;

#[cfg(test)]
mod conformance;

pub use analog::{CurrentLoop, Meaning, Ratiometric};
pub use modbus::{
    ExceptionCode, Exchange, InputSettings, Message, Messages, NumberType, OutOfStep, Progress,
    ReplyError, Request, Table, TransducerSettings, WordOrder, checksum, frame_pause, framed,
};
pub use speed::{Counts, TachometerSettings};
pub use text::TextSettings;
