//! The client's end of a Modbus TCP connection.

use std::time::Duration;

use tokio::io::{AsyncRead, AsyncReadExt as _, AsyncWrite, AsyncWriteExt as _};
use tokio::time::{Instant, sleep_until, timeout_at};
use trisect_kit::Context;

use super::bus::{Answer, Bus, Failure, Patience, received, sent};
use super::mbap::{Message, Messages, framed};
use super::{ReplyError, Request};

/// The connection. A message that answers no request under way is thrown away
/// and counted; bytes that are no messages end the connection.
pub(crate) struct Connection<'a, S> {
    stream: &'a mut S,
    context: &'a Context,
    messages: Messages,
    /// The number of the last request.
    transaction: u16,
    /// The pause between a reply and the next request.
    pause: Duration,
    /// When the connection last carried a byte.
    busy: Instant,
}

impl<'a, S: AsyncRead + AsyncWrite + Unpin + Send> Connection<'a, S> {
    /// A connection that was just made, with a pause between messages.
    pub fn new(stream: &'a mut S, context: &'a Context, pause: Duration) -> Connection<'a, S> {
        Connection {
            stream,
            context,
            messages: Messages::default(),
            transaction: 0,
            pause,
            busy: Instant::now(),
        }
    }

    /// The next message, or `None` once the time is out.
    async fn next(&mut self, until: Instant) -> Result<Option<(Message, i64)>, Failure> {
        let mut chunk = [0; 512];
        loop {
            // Also where messages come faster than they are taken.
            if self.context.stop.is_cancelled() {
                return Err(Failure::Stopped);
            }
            let at = self.context.now();
            match self.messages.take() {
                Ok(Some(message)) => return Ok(Some((message, at))),
                Ok(None) => {}
                Err(error) => {
                    let (bytes, why) = (self.messages.waiting(), error.to_string());
                    self.context.health.skipped(bytes, &why, at);
                    return Err(Failure::Lost(why));
                }
            }
            tokio::select! {
                biased;
                () = self.context.stop.cancelled() => return Err(Failure::Stopped),
                read = self.stream.read(&mut chunk) => {
                    let count = received(read)?;
                    self.busy = Instant::now();
                    self.messages.push(chunk.get(..count).unwrap_or_default());
                }
                () = sleep_until(until) => return Ok(None),
            }
        }
    }

    fn throw_away(&self, message: &Message, at: i64) {
        let why = "a reply to no request under way, perhaps a late one: raise reply_timeout_ms";
        self.context.health.skipped(message.length(), why, at);
    }
}

impl<S: AsyncRead + AsyncWrite + Unpin + Send> Bus for Connection<'_, S> {
    async fn ask(&mut self, request: Request, patience: Patience) -> Result<Answer, Failure> {
        self.listen_until(self.busy + self.pause).await?;
        // Only one request is under way, so a number may come again after 65 536: its late reply is long gone.
        self.transaction = self.transaction.wrapping_add(1);
        let deadline = Instant::now() + patience.reply_timeout;
        let bytes = framed(self.transaction, request);
        let writing = timeout_at(deadline, self.stream.write_all(&bytes));
        tokio::select! {
            biased;
            () = self.context.stop.cancelled() => return Err(Failure::Stopped),
            written = writing => sent(written)?,
        }
        self.busy = Instant::now();
        while let Some((message, at)) = self.next(deadline).await? {
            if message.transaction == self.transaction {
                return match message.registers(request) {
                    Ok(registers) => Ok(Answer { registers, at }),
                    Err(error) => Err(Failure::Reply(error)),
                };
            }
            self.throw_away(&message, at);
            // A device that never rests must not hold us for ever.
            if Instant::now() >= deadline {
                break;
            }
        }
        Err(Failure::Reply(ReplyError::Silence {
            device: request.device,
        }))
    }

    /// Nothing has to be waited for: a late reply carries its request's number.
    async fn settle(&mut self) -> Result<usize, Failure> {
        Ok(0)
    }

    async fn listen_until(&mut self, until: Instant) -> Result<usize, Failure> {
        let mut thrown: usize = 0;
        while let Some((message, at)) = self.next(until).await? {
            thrown = thrown.saturating_add(message.length());
            self.throw_away(&message, at);
            if Instant::now() >= until {
                break;
            }
        }
        Ok(thrown)
    }
}
