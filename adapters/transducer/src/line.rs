//! The master's end of an RTU line: sends, waits, holds and drains.

use std::time::Duration;

use tokio::io::{AsyncRead, AsyncReadExt as _, AsyncWrite, AsyncWriteExt as _};
use tokio::time::{Instant, sleep_until, timeout_at};
use trisect_kit::Context;

use crate::{Exchange, Progress, ReplyError, Request};

/// How long things take on this line.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Timing {
    /// The pause between messages, t3.5.
    pub pause: Duration,
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

/// The line. It outlives an exchange, so that what one left behind is not taken
/// for the reply to the next.
pub(crate) struct Line<'a, S> {
    stream: &'a mut S,
    context: &'a Context,
    timing: Timing,
    /// When the line last carried a byte.
    busy: Instant,
    /// Until when a reply to an earlier request may still come.
    held: Option<Instant>,
}

impl<'a, S: AsyncRead + AsyncWrite + Unpin> Line<'a, S> {
    pub fn new(stream: &'a mut S, context: &'a Context, timing: Timing) -> Line<'a, S> {
        let now = Instant::now();
        Line {
            stream,
            context,
            timing,
            busy: now,
            // Whoever had the line before, we ourselves perhaps, may have left a
            // request behind: the line is held as after a reply that failed.
            held: Some(now + timing.longest_reply),
        }
    }

    /// Asks, and waits for the answer. At first and after a failure the line is
    /// held: settle it with [`Line::settle`] before asking.
    pub async fn ask(&mut self, request: Request) -> Result<Answer, Failure> {
        self.listen_until(self.busy + self.timing.pause).await?;
        let mut exchange = Exchange::new(request);
        let sent = Instant::now();
        let deadline = sent + self.timing.reply_timeout;
        self.send(&exchange.request(), deadline).await?;
        let heard = self.hear(&mut exchange, deadline).await?;
        match exchange.finish() {
            Ok(registers) => Ok(Answer {
                registers,
                at: heard,
            }),
            Err(error) => {
                if error.leaves_line_open() {
                    self.held = Some(sent + self.timing.longest_reply);
                }
                Err(Failure::Reply(error))
            }
        }
    }

    /// Waits until no reply to an earlier request can come any more, and throws
    /// away what comes. Gives the number of bytes thrown away.
    pub async fn settle(&mut self) -> Result<usize, Failure> {
        match self.held.take() {
            Some(until) => self.listen_until(until).await,
            None => Ok(0),
        }
    }

    /// Waits, throws away and counts what comes, and notices when the port is
    /// lost. Looks at the line at least once.
    pub async fn listen_until(&mut self, until: Instant) -> Result<usize, Failure> {
        let mut chunk = [0; 512];
        let mut thrown: usize = 0;
        loop {
            tokio::select! {
                biased;
                () = self.context.stop.cancelled() => return Err(Failure::Stopped),
                read = self.stream.read(&mut chunk) => {
                    let count = received(read)?;
                    self.busy = Instant::now();
                    thrown = thrown.saturating_add(count);
                    let why = "bytes on the line that answer no request";
                    self.context.health.skipped(count, why, self.context.now());
                    // A line that never rests must not hold us for ever.
                    if self.busy >= until {
                        return Ok(thrown);
                    }
                }
                () = sleep_until(until) => return Ok(thrown),
            }
        }
    }

    async fn send(&mut self, bytes: &[u8], deadline: Instant) -> Result<(), Failure> {
        tokio::select! {
            biased;
            () = self.context.stop.cancelled() => Err(Failure::Stopped),
            sent = timeout_at(deadline, self.stream.write_all(bytes)) => match sent {
                Ok(Ok(())) => {
                    self.busy = Instant::now();
                    Ok(())
                }
                Ok(Err(error)) => Err(Failure::Lost(error.to_string())),
                Err(_) => Err(Failure::Lost("it takes no bytes".to_owned())),
            }
        }
    }

    /// Takes bytes until the reply is whole and the line quiet, or the time is
    /// out. Gives when the last bytes were read.
    async fn hear(&mut self, exchange: &mut Exchange, deadline: Instant) -> Result<i64, Failure> {
        let mut chunk = [0; 512];
        let mut until = deadline;
        let mut at = self.context.now();
        loop {
            tokio::select! {
                biased;
                () = self.context.stop.cancelled() => return Err(Failure::Stopped),
                read = self.stream.read(&mut chunk) => {
                    let count = received(read)?;
                    at = self.context.now();
                    self.busy = Instant::now();
                    match exchange.receive(chunk.get(..count).unwrap_or_default()) {
                        Progress::More => {}
                        // Any further byte within the pause makes the reply too long.
                        Progress::Whole => until = self.busy + self.timing.pause,
                        Progress::Babble => return Ok(at),
                    }
                    if self.busy >= deadline + self.timing.pause {
                        return Ok(at);
                    }
                }
                () = sleep_until(until) => return Ok(at),
            }
        }
    }
}

fn received(read: std::io::Result<usize>) -> Result<usize, Failure> {
    match read {
        Ok(0) => Err(Failure::Lost("it was unplugged".to_owned())),
        Ok(count) => Ok(count),
        Err(error) => Err(Failure::Lost(error.to_string())),
    }
}
