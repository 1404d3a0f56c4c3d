//! The writing side of a WebSocket: replies, subscription messages, pings, close.

use std::time::Duration;

use serde_json::value::RawValue;
use soketto::connection::Error as SocketError;
use soketto::data::ByteSlice125;
use tokio::sync::{OwnedSemaphorePermit, mpsc, oneshot};
use tokio::time::{Instant, interval_at};

use super::websocket::Socket;

/// The place a call takes among those running, and the bytes of its request.
pub(super) type Held = (OwnedSemaphorePermit, Option<OwnedSemaphorePermit>);

/// A reply on its way, which holds what its call held until it is sent.
#[derive(Debug)]
pub(super) struct Reply {
    pub text: String,
    pub held: Held,
}

/// How many texts go out before the stream is flushed at the latest: under load one flush, and so one packet, serves
/// many; alone a text is flushed at once.
const TEXTS_A_FLUSH: usize = 64;

/// Everything that is to be sent.
pub(super) struct WebSocketWriter {
    pub sender: soketto::Sender<Socket>,
    pub replies: mpsc::Receiver<Reply>,
    pub messages: mpsc::Receiver<Box<RawValue>>,
    /// Told when nothing more will come: send what is left, then close.
    pub finishing: oneshot::Receiver<()>,
    pub ping_every: Duration,
}

impl WebSocketWriter {
    /// Sends until told to finish, and then closes the WebSocket; or until it breaks.
    pub(super) async fn write(mut self) {
        if let Err(error) = self.send_all().await {
            tracing::debug!(%error, "could not write to the WebSocket");
        }
    }

    async fn send_all(&mut self) -> Result<(), SocketError> {
        let mut pings = interval_at(Instant::now() + self.ping_every, self.ping_every);
        loop {
            // Replies and messages come in no order against each other, which none promises: jsonrpsee sends the reply
            // to a subscription by way of `messages`, ahead of the first of them.
            tokio::select! {
                Some(reply) = self.replies.recv() => self.send_reply(reply).await?,
                Some(message) = self.messages.recv() => self.send_message(message).await?,
                _ = pings.tick() => {
                    let nothing: &[u8] = &[];
                    if let Ok(nothing) = ByteSlice125::try_from(nothing) {
                        self.sender.send_ping(nothing).await?;
                    }
                }
                _ = &mut self.finishing => break,
            }
            self.send_ready(TEXTS_A_FLUSH).await?;
        }
        // What was queued when the service was told to stop is part of what runs, and is sent.
        self.send_ready(usize::MAX).await?;
        self.sender.close().await
    }

    /// Sends what is there already, up to `most` texts, and flushes.
    async fn send_ready(&mut self, most: usize) -> Result<(), SocketError> {
        for _ in 0..most {
            if let Ok(reply) = self.replies.try_recv() {
                self.send_reply(reply).await?;
            } else if let Ok(message) = self.messages.try_recv() {
                self.send_message(message).await?;
            } else {
                break;
            }
        }
        self.sender.flush().await
    }

    async fn send_reply(&mut self, reply: Reply) -> Result<(), SocketError> {
        let sent = self.sender.send_text_owned(reply.text).await;
        // Not before: a client that does not read its replies must not get more calls running for them.
        drop(reply.held);
        sent
    }

    async fn send_message(&mut self, message: Box<RawValue>) -> Result<(), SocketError> {
        let text = Box::<str>::from(message).into_string();
        self.sender.send_text_owned(text).await
    }
}
