//! The master's end of an RTU line: sends, waits, holds and drains.

use std::time::Duration;

use tokio::io::{AsyncRead, AsyncReadExt as _, AsyncWrite, AsyncWriteExt as _};
use tokio::time::{Instant, sleep_until, timeout_at};
use trisect_kit::Context;

use super::bus::{Answer, Bus, Failure, Patience, received, sent};
use super::{Exchange, Progress, Request};

/// The line. It outlives an exchange, so that what one left behind is not taken
/// for the reply to the next.
pub(crate) struct SerialLine<'a, S> {
    stream: &'a mut S,
    context: &'a Context,
    /// The pause between messages: t3.5, or the turnaround time where longer.
    pause: Duration,
    /// When the line last carried a byte.
    busy: Instant,
    /// Until when a reply to an earlier request may still come.
    held: Option<Instant>,
}

impl<'a, S: AsyncRead + AsyncWrite + Unpin + Send> SerialLine<'a, S> {
    /// A line with a pause between messages, on which a device may take as long
    /// as `longest_reply`.
    pub fn new(
        stream: &'a mut S,
        context: &'a Context,
        pause: Duration,
        longest_reply: Duration,
    ) -> SerialLine<'a, S> {
        let now = Instant::now();
        SerialLine {
            stream,
            context,
            pause,
            busy: now,
            // Whoever had the line before, we ourselves perhaps, may have left a
            // request behind: the line is held as after a reply that failed.
            held: Some(now + longest_reply),
        }
    }
}

impl<S: AsyncRead + AsyncWrite + Unpin + Send> Bus for SerialLine<'_, S> {
    async fn ask(&mut self, request: Request, patience: Patience) -> Result<Answer, Failure> {
        self.listen_until(self.busy + self.pause).await?;
        let mut exchange = Exchange::new(request);
        let sent = Instant::now();
        let deadline = sent + patience.reply_timeout;
        self.send(&exchange.request(), deadline).await?;
        let at = self.hear(&mut exchange, deadline).await?;
        match exchange.finish() {
            Ok(registers) => Ok(Answer { registers, at }),
            Err(error) => {
                // From when it was sent, not from now: that is when the device began to take its time.
                if error.leaves_line_open() {
                    self.held = Some(sent + patience.longest_reply);
                }
                Err(Failure::Reply(error))
            }
        }
    }

    async fn settle(&mut self) -> Result<usize, Failure> {
        match self.held.take() {
            Some(until) => self.listen_until(until).await,
            None => Ok(0),
        }
    }

    async fn listen_until(&mut self, until: Instant) -> Result<usize, Failure> {
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
}

impl<S: AsyncRead + AsyncWrite + Unpin + Send> SerialLine<'_, S> {
    async fn send(&mut self, bytes: &[u8], deadline: Instant) -> Result<(), Failure> {
        tokio::select! {
            biased;
            () = self.context.stop.cancelled() => Err(Failure::Stopped),
            written = timeout_at(deadline, self.stream.write_all(bytes)) => {
                sent(written)?;
                self.busy = Instant::now();
                Ok(())
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
                        Progress::Whole => until = self.busy + self.pause,
                        Progress::Babble => return Ok(at),
                    }
                    // Bytes that never rest keep the timer below from being reached: reading is asked first.
                    if self.busy >= deadline + self.pause {
                        return Ok(at);
                    }
                }
                () = sleep_until(until) => return Ok(at),
            }
        }
    }
}
