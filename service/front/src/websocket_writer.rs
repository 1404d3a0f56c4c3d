//! The writing side of a WebSocket: replies, subscription messages, pings, close.

use std::io;
use std::time::Duration;

use serde::{Deserialize, Serialize};
use serde_json::value::RawValue;
use soketto::base::{Codec, Header, OpCode};
use tokio::io::{AsyncWrite, AsyncWriteExt};
use tokio::sync::{OwnedSemaphorePermit, mpsc, oneshot};
use tokio::time::{Instant, interval_at};
use trisect_wire::WireError;

use super::error_reply::ErrorReply;

/// The place a call takes among those running, and the bytes of its request.
pub(super) type Held = (OwnedSemaphorePermit, Option<OwnedSemaphorePermit>);

/// A reply on its way, which holds what its call held until it is sent.
#[derive(Debug)]
pub(super) struct Reply {
    pub text: String,
    pub held: Held,
}

/// How a connection ends.
#[derive(Debug, Clone, Copy)]
pub(super) struct Finish {
    /// The code of the close frame.
    pub code: Option<u16>,
    /// Whether what is on its way is sent before.
    pub rest: bool,
}

/// How many texts go out before the stream is flushed at the latest: under load one flush, and so one packet, serves
/// many; alone a text is flushed at once.
const TEXTS_A_FLUSH: usize = 64;

/// Everything that is to be sent.
pub(super) struct WebSocketWriter<W> {
    pub stream: W,
    pub replies: mpsc::Receiver<Reply>,
    pub messages: mpsc::Receiver<Box<RawValue>>,
    /// What pings carried.
    pub pongs: mpsc::Receiver<Vec<u8>>,
    /// Told when nothing more will come.
    pub finishing: oneshot::Receiver<Finish>,
    pub ping_every: Duration,
    /// Bytes of one text.
    pub limit: usize,
}

impl<W: AsyncWrite + Unpin> WebSocketWriter<W> {
    /// Sends until told to finish, and then closes the WebSocket; or until it breaks.
    pub(super) async fn write(mut self) {
        if let Err(error) = self.send_all().await {
            tracing::debug!(%error, "could not write to the WebSocket");
        }
    }

    async fn send_all(&mut self) -> io::Result<()> {
        let mut pings = interval_at(Instant::now() + self.ping_every, self.ping_every);
        let finish = loop {
            // Replies and messages come in no order against each other, which none promises: jsonrpsee sends the reply
            // to a subscription by way of `messages`, ahead of the first of them.
            tokio::select! {
                Some(reply) = self.replies.recv() => self.send_reply(reply).await?,
                Some(message) = self.messages.recv() => self.send_message(message).await?,
                Some(carried) = self.pongs.recv() => self.send(OpCode::Pong, &carried).await?,
                _ = pings.tick() => self.send(OpCode::Ping, &[]).await?,
                // Who has gone without a word is not there to be told.
                finish = &mut self.finishing => break finish.map_err(io::Error::other)?,
            }
            self.send_ready(TEXTS_A_FLUSH).await?;
        };
        if finish.rest {
            // What was queued when the service was told to stop is part of what runs, and is sent.
            self.send_ready(usize::MAX).await?;
        }
        // What was asked before the close is answered before it.
        while let Ok(carried) = self.pongs.try_recv() {
            self.send(OpCode::Pong, &carried).await?;
        }
        let code = finish.code.map(u16::to_be_bytes);
        let code = code.as_ref().map_or(&[][..], |code| code);
        self.send(OpCode::Close, code).await?;
        self.stream.flush().await?;
        self.stream.shutdown().await
    }

    /// Sends what is there already, up to `most` texts, and flushes.
    async fn send_ready(&mut self, most: usize) -> io::Result<()> {
        for _ in 0..most {
            if let Ok(carried) = self.pongs.try_recv() {
                self.send(OpCode::Pong, &carried).await?;
            } else if let Ok(reply) = self.replies.try_recv() {
                self.send_reply(reply).await?;
            } else if let Ok(message) = self.messages.try_recv() {
                self.send_message(message).await?;
            } else {
                break;
            }
        }
        self.stream.flush().await
    }

    async fn send_reply(&mut self, reply: Reply) -> io::Result<()> {
        let sent = self.send(OpCode::Text, reply.text.as_bytes()).await;
        // Not before: a client that does not read its replies must not get more calls running for them.
        drop(reply.held);
        sent
    }

    async fn send_message(&mut self, message: Box<RawValue>) -> io::Result<()> {
        let text = message.get();
        if text.len() > self.limit {
            return self.send(OpCode::Text, oversized(text).as_bytes()).await;
        }
        self.send(OpCode::Text, text.as_bytes()).await
    }

    /// Sends one frame, which is a whole message.
    async fn send(&mut self, opcode: OpCode, payload: &[u8]) -> io::Result<()> {
        let mut header = Header::new(opcode);
        header.set_payload_len(payload.len());
        let mut codec = Codec::new();
        self.stream.write_all(codec.encode_header(&header)).await?;
        self.stream.write_all(payload).await
    }
}

/// A message of a subscription, with what of it is kept where it is too long.
#[derive(Serialize, Deserialize)]
struct Message<'a> {
    jsonrpc: &'a str,
    #[serde(borrow)]
    method: &'a RawValue,
    #[serde(borrow)]
    params: Params<'a>,
}

#[derive(Serialize, Deserialize)]
struct Params<'a> {
    #[serde(borrow)]
    subscription: &'a RawValue,
    /// Which the subscription ends with, as a client sees it.
    #[serde(skip_deserializing)]
    error: Option<WireError>,
}

/// What is sent in place of an item that is too long: the error a call would have had.
fn oversized(text: &str) -> String {
    let Ok(mut message) = serde_json::from_str::<Message<'_>>(text) else {
        return ErrorReply::ReplyTooLarge.text(None);
    };
    message.params.error = Some(ErrorReply::ReplyTooLarge.wire());
    // Texts alone, which always serialise.
    serde_json::to_string(&message).unwrap_or_default()
}
