//! What carries requests and replies: a serial line or a TCP connection.

use std::future::Future;
use std::time::Duration;

use tokio::time::Instant;

use super::{ReplyError, Request};

/// How long a device takes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Patience {
    /// How long a reply is waited for.
    pub reply_timeout: Duration,
    /// The longest that the device may take to reply.
    pub longest_reply: Duration,
}

/// Registers, and when the last of their bytes was read.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Answer {
    pub registers: Vec<u16>,
    pub at: i64,
}

/// Why there is no answer.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum Failure {
    /// The adapter was told to stop.
    Stopped,
    /// The port is lost.
    Lost(String),
    /// The device did not reply as asked.
    Reply(ReplyError),
}

/// One request at a time, each answered or failed.
///
/// A reply that comes after its time-out MUST NOT be given as the answer to a
/// later request; it MUST be counted as skipped.
pub(crate) trait Bus: Send {
    /// Asks, and waits for the answer.
    fn ask(
        &mut self,
        request: Request,
        patience: Patience,
    ) -> impl Future<Output = Result<Answer, Failure>> + Send;

    /// Waits until no reply to an earlier request can be taken for a later
    /// one's. Gives the number of bytes thrown away.
    fn settle(&mut self) -> impl Future<Output = Result<usize, Failure>> + Send;

    /// Waits, throws away and counts what comes, and notices when the port is
    /// lost. Looks at the port at least once.
    fn listen_until(
        &mut self,
        until: Instant,
    ) -> impl Future<Output = Result<usize, Failure>> + Send;
}

/// What reading a port gave.
pub(crate) fn received(read: std::io::Result<usize>) -> Result<usize, Failure> {
    match read {
        Ok(0) => Err(Failure::Lost(
            "it was unplugged, or the other end closed".to_owned(),
        )),
        Ok(count) => Ok(count),
        Err(error) => Err(Failure::Lost(error.to_string())),
    }
}

/// What writing to a port within a time gave.
pub(crate) fn sent(
    written: Result<std::io::Result<()>, tokio::time::error::Elapsed>,
) -> Result<(), Failure> {
    match written {
        Ok(Ok(())) => Ok(()),
        Ok(Err(error)) => Err(Failure::Lost(error.to_string())),
        Err(_) => Err(Failure::Lost("it takes no bytes".to_owned())),
    }
}
