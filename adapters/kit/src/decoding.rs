//! What a message says, apart from where it starts and ends. No I/O.

use std::borrow::Cow;

use trisect_measure::Sample;

/// A message that cannot be believed, and why.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("bad frame: {why}")]
pub struct BadFrame {
    /// The reason, in lower case, such as "volts and ohms at once".
    pub why: Cow<'static, str>,
}

impl BadFrame {
    /// A frame refused for a reason.
    pub fn new(why: impl Into<Cow<'static, str>>) -> BadFrame {
        BadFrame { why: why.into() }
    }
}

/// Reads a message.
///
/// - It MUST refuse a frame whose fields contradict each other.
/// - It MUST give an overload as one-sided, never as a number.
/// - It MUST NOT panic, whatever the bytes and however many.
/// - It SHOULD give the digit and the span, for accuracy depends on them.
pub trait Decode: Send {
    /// What the message says, on channel 0 unless the message names one.
    ///
    /// # Errors
    /// A frame that contradicts itself or says what no bay can use.
    fn decode(&mut self, frame: &[u8]) -> Result<Sample, BadFrame>;
}
