//! JSON-RPC over a WebSocket: calls run side by side, subscriptions flow.
//!
//! What one connection may cost is bounded: calls that run or whose reply is
//! not yet taken hold a place each, and their texts hold bytes; while either
//! is used up, nothing more is read. A client that sends and never reads thus
//! stops itself, and [`super::write_timeout`] ends it.

use std::sync::Arc;
use std::time::Duration;

use axum::extract::Request;
use axum::response::Response;
use futures_util::StreamExt;
use http::{HeaderValue, header};
use hyper_util::rt::TokioIo;
use jsonrpsee::core::server::{BoundedSubscriptions, MethodSink};
use serde_json::value::RawValue;
use soketto::handshake::http::Server as Handshake;
use tokio::io::{BufReader, BufWriter, ReadHalf, WriteHalf};
use tokio::sync::{OwnedSemaphorePermit, Semaphore, mpsc, oneshot};
use tokio::task::JoinSet;
use tokio::time::timeout;
use tokio_util::sync::CancellationToken;

use super::dispatch::{Caller, Dispatcher, Subscribing};
use super::error_reply::ErrorReply;
use super::settings::TransportSettings;
use super::websocket_reader::{ClientMessage, ClientMessages, Fault, WebSocketReader};
use super::websocket_writer::{Finish, Held, Reply, WebSocketWriter};
use crate::access::{self, Identity};

/// The connection that was upgraded.
type Socket = TokioIo<hyper::upgrade::Upgraded>;

/// Bytes of requests that may run side by side. A longer request runs alone.
const BYTES_AT_ONCE: usize = 1024 * 1024;

/// Pings whose answers may wait; while there are this many, nothing more is read.
const PONGS: usize = 4;

/// The code of a connection that ends because there is nothing more to say (RFC 6455, section 7.4.1).
const NORMAL: u16 = 1000;

/// How long a client may take to answer a close before the connection is dropped.
const CLOSE_WITHIN: Duration = Duration::from_secs(1);

/// What a WebSocket session needs from the service.
#[derive(Debug, Clone)]
pub(super) struct Session {
    pub dispatcher: Arc<Dispatcher>,
    pub settings: Arc<TransportSettings>,
    /// Told when the service stops: finish what runs, take nothing new.
    pub stop: CancellationToken,
}

/// Answers the upgrade request. The future, if the upgrade is complete, is the
/// session that follows; it has to be run beside the answer.
pub(super) fn upgrade(
    session: Session,
    request: Request,
    caller: Caller,
) -> (Response, Option<impl Future<Output = ()> + Send + 'static>) {
    let mut handshake = Handshake::new();
    let Ok(mut accepted) = handshake.receive_request(&request) else {
        return (ErrorReply::Handshake.response(), None);
    };
    // Whoever offers subprotocols has to be told which; a token among them is not said back.
    if access::subprotocols(request.headers()).any(|one| one == access::SUBPROTOCOL) {
        let ours = HeaderValue::from_static(access::SUBPROTOCOL);
        accepted
            .headers_mut()
            .insert(header::SEC_WEBSOCKET_PROTOCOL, ours);
    }
    let running = async move {
        match hyper::upgrade::on(request).await {
            Ok(upgraded) => {
                let (reading, writing) = tokio::io::split(TokioIo::new(upgraded));
                session.run(reading, writing, caller).await;
            }
            Err(error) => tracing::debug!(%error, "could not take over the upgraded connection"),
        }
    };
    (accepted.map(|()| axum::body::Body::empty()), Some(running))
}

/// The limit of calls at once, by number and by bytes.
struct CallSlots {
    places: Arc<Semaphore>,
    bytes: Arc<Semaphore>,
}

impl CallSlots {
    fn new(places: usize) -> Self {
        Self {
            places: Arc::new(Semaphore::new(places.max(1))),
            bytes: Arc::new(Semaphore::new(BYTES_AT_ONCE)),
        }
    }

    /// A place for one more call, once there is one and no long request runs:
    /// that has taken all bytes there are.
    async fn place(&self) -> Option<OwnedSemaphorePermit> {
        let place = self.places.clone().acquire_owned().await.ok()?;
        // Taken and given back: how many bytes the next message has is not known before it is read, and semaphores
        // serve in turn, so this waits behind a long request that waits for all of them.
        drop(self.bytes.acquire().await.ok()?);
        Some(place)
    }

    /// The bytes of a request; all of them where it is longer than there are.
    async fn bytes(&self, length: usize) -> Option<OwnedSemaphorePermit> {
        let bytes = u32::try_from(length.min(BYTES_AT_ONCE)).ok()?;
        self.bytes.clone().acquire_many_owned(bytes).await.ok()
    }
}

/// Where what is answered goes.
struct Answers {
    replies: mpsc::Sender<Reply>,
    pongs: mpsc::Sender<Vec<u8>>,
}

/// Why no more messages are read.
enum End {
    /// The client has gone.
    Gone,
    /// The client closes, or cannot be understood: answered with this code.
    Closing(Option<u16>),
    /// The service stops, or the client's token was revoked.
    Stopping,
}

impl Session {
    async fn run(self, reading: ReadHalf<Socket>, writing: WriteHalf<Socket>, mut caller: Caller) {
        let (sink, messages) = mpsc::channel::<Box<RawValue>>(self.settings.queued_messages.max(1));
        let (replies, answered) = mpsc::channel::<Reply>(self.settings.calls_at_once.max(1));
        let (pongs, pinged) = mpsc::channel(PONGS);
        let (finish, finishing) = oneshot::channel();
        caller.subscribing = Some(Subscribing {
            sink: MethodSink::new(sink),
            slots: BoundedSubscriptions::new(self.settings.subscriptions),
        });
        let writer = WebSocketWriter {
            stream: BufWriter::new(writing),
            replies: answered,
            messages,
            pongs: pinged,
            finishing,
            ping_every: self.settings.ping_every,
            limit: self.settings.reply_bytes,
        };
        let mut writing = std::pin::pin!(writer.write());
        let reader = WebSocketReader::new(BufReader::new(reading), self.settings.request_bytes);
        let mut incoming = reader.messages();
        let mut calls = JoinSet::new();
        let answers = Answers { replies, pongs };
        let reading = self.read_messages(&mut incoming, &mut calls, &caller, &answers);
        let identity = caller.extensions.get::<Identity>();
        let revoked = async {
            match identity {
                Some(identity) => identity.revoked().await,
                None => std::future::pending().await,
            }
        };
        let end = tokio::select! {
            end = reading => end,
            () = &mut writing => End::Gone,
            // What runs is finished and answered, as it was allowed when it was asked.
            () = revoked => End::Stopping,
        };
        let code = match end {
            // Calls that still run are dropped with `calls`: nobody is there to hear.
            End::Gone => return,
            End::Closing(code) => {
                calls.abort_all();
                code
            }
            End::Stopping => {
                let finished = async { while calls.join_next().await.is_some() {} };
                tokio::select! {
                    () = finished => {}
                    () = &mut writing => return,
                }
                Some(NORMAL)
            }
        };
        let rest = matches!(end, End::Stopping);
        let _ = finish.send(Finish { code, rest });
        writing.await;
        // The client's own close frame is read, as closing the socket before would lose ours to it.
        let _ = timeout(CLOSE_WITHIN, incoming.for_each(|_| async {})).await;
    }

    /// Reads messages and starts their calls, until the client goes or the service stops.
    async fn read_messages(
        &self,
        incoming: &mut ClientMessages,
        calls: &mut JoinSet<()>,
        caller: &Caller,
        answers: &Answers,
    ) -> End {
        let slots = CallSlots::new(self.settings.calls_at_once);
        loop {
            // Finished calls are let go of here: a connection that lives for weeks would otherwise keep every one.
            while calls.try_join_next().is_some() {}
            let next = tokio::select! {
                next = self.next(&slots, incoming) => next,
                () = self.stop.cancelled() => return End::Stopping,
            };
            let (place, message) = match next {
                Ok(next) => next,
                Err(end) => return end,
            };
            match message {
                ClientMessage::Pong => {}
                ClientMessage::Ping(carried) => {
                    let _ = answers.pongs.send(carried).await;
                }
                ClientMessage::Close(code) => return End::Closing(code),
                ClientMessage::TooLarge => {
                    let text = ErrorReply::RequestTooLarge.text(None);
                    let held = (place, None);
                    let _ = answers.replies.send(Reply { text, held }).await;
                }
                ClientMessage::Text(text) => {
                    let bytes = slots.bytes(text.len()).await;
                    self.spawn_call(calls, text, caller, &answers.replies, (place, bytes));
                }
            }
        }
    }

    /// Waits for a place, then for the next message. A client that has been silent for too long counts as gone.
    async fn next(
        &self,
        slots: &CallSlots,
        incoming: &mut ClientMessages,
    ) -> Result<(OwnedSemaphorePermit, ClientMessage), End> {
        let place = slots.place().await.ok_or(End::Gone)?;
        // A client that is there answers pings. One whose machine went away without a word is found out by this alone.
        let silence = self.settings.ping_every * 2;
        match timeout(silence, incoming.next()).await {
            Ok(Some(Ok(message))) => Ok((place, message)),
            Ok(Some(Err(Fault { code, why }))) => {
                tracing::debug!(code, why, "the client broke the WebSocket protocol");
                Err(End::Closing(Some(code)))
            }
            Ok(None) | Err(_) => Err(End::Gone),
        }
    }

    fn spawn_call(
        &self,
        calls: &mut JoinSet<()>,
        text: Vec<u8>,
        caller: &Caller,
        replies: &mpsc::Sender<Reply>,
        held: Held,
    ) {
        let (dispatcher, caller) = (self.dispatcher.clone(), caller.clone());
        let replies = replies.clone();
        calls.spawn(async move {
            let answer = dispatcher.answer(&text, &caller).await;
            drop(text);
            if let Some(answer) = answer {
                let reply = Reply {
                    text: answer.text,
                    held,
                };
                // Fails only once the connection is gone.
                let _ = replies.send(reply).await;
            }
        });
    }
}
