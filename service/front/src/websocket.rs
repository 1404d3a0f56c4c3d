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
use futures_util::stream::{self, BoxStream};
use http::{HeaderValue, header};
use hyper_util::rt::TokioIo;
use jsonrpsee::core::server::{BoundedSubscriptions, MethodSink};
use serde_json::value::RawValue;
use soketto::handshake::http::Server as Handshake;
use soketto::{Incoming, connection::Error as SocketError};
use tokio::io::BufStream;
use tokio::sync::{OwnedSemaphorePermit, Semaphore, mpsc, oneshot};
use tokio::task::JoinSet;
use tokio::time::timeout;
use tokio_util::compat::{Compat, TokioAsyncReadCompatExt};
use tokio_util::sync::CancellationToken;

use super::dispatch::{Caller, Dispatcher, Subscribing};
use super::error_reply::ErrorReply;
use super::settings::TransportSettings;
use super::websocket_writer::{Held, Reply, WebSocketWriter};
use crate::access::{self, Identity};

pub(super) type Socket = Compat<BufStream<TokioIo<hyper::upgrade::Upgraded>>>;

/// Bytes of requests that may run side by side. A longer request runs alone.
const BYTES_AT_ONCE: usize = 1024 * 1024;

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
                let socket = BufStream::new(TokioIo::new(upgraded)).compat();
                let mut builder = handshake.into_builder(socket);
                builder.set_max_message_size(session.settings.request_bytes);
                let (sender, receiver) = builder.finish();
                session.run(sender, receiver, caller).await;
            }
            Err(error) => tracing::debug!(%error, "could not take over the upgraded connection"),
        }
    };
    (accepted.map(|()| axum::body::Body::empty()), Some(running))
}

/// What comes from the client, a message at a time.
type ClientMessages = BoxStream<'static, Result<ClientMessage, SocketError>>;

/// What can come.
enum ClientMessage {
    Text(Vec<u8>),
    Pong,
    /// A message over the limit; it was read past and thrown away.
    TooLarge,
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

/// Why no more messages are read.
enum End {
    /// The client has gone, or cannot be understood.
    Gone,
    /// The service stops, or the client's token was revoked.
    Stopping,
}

impl Session {
    async fn run(
        self,
        sender: soketto::Sender<Socket>,
        receiver: soketto::Receiver<Socket>,
        mut caller: Caller,
    ) {
        let (sink, messages) = mpsc::channel::<Box<RawValue>>(self.settings.queued_messages.max(1));
        let (replies, answered) = mpsc::channel::<Reply>(self.settings.calls_at_once.max(1));
        let (finish, finishing) = oneshot::channel();
        caller.subscribing = Some(Subscribing {
            sink: MethodSink::new(sink),
            slots: BoundedSubscriptions::new(self.settings.subscriptions),
        });
        let writer = WebSocketWriter {
            sender,
            replies: answered,
            messages,
            finishing,
            ping_every: self.settings.ping_every,
        };
        let mut writing = std::pin::pin!(writer.write());
        let mut incoming = client_messages(receiver);
        let mut calls = JoinSet::new();
        let reading = self.read_messages(&mut incoming, &mut calls, &caller, &replies);
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
        match end {
            // Calls that still run are dropped with `calls`: nobody is there to hear.
            End::Gone => return,
            End::Stopping => {}
        }
        let finished = async { while calls.join_next().await.is_some() {} };
        tokio::select! {
            () = finished => {}
            () = &mut writing => return,
        }
        let _ = finish.send(());
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
        replies: &mpsc::Sender<Reply>,
    ) -> End {
        let slots = CallSlots::new(self.settings.calls_at_once);
        loop {
            // Finished calls are let go of here: a connection that lives for weeks would otherwise keep every one.
            while calls.try_join_next().is_some() {}
            let next = tokio::select! {
                next = self.next(&slots, incoming) => next,
                () = self.stop.cancelled() => return End::Stopping,
            };
            let Some((place, message)) = next else {
                return End::Gone;
            };
            match message {
                ClientMessage::Pong => {}
                ClientMessage::TooLarge => {
                    let text = ErrorReply::RequestTooLarge.text(None);
                    let held = (place, None);
                    let _ = replies.send(Reply { text, held }).await;
                }
                ClientMessage::Text(text) => {
                    let bytes = slots.bytes(text.len()).await;
                    self.spawn_call(calls, text, caller, replies, (place, bytes));
                }
            }
        }
    }

    /// Waits for a place, then for the next message; `None` once the client has
    /// gone, has been silent for too long, or cannot be understood.
    async fn next(
        &self,
        slots: &CallSlots,
        incoming: &mut ClientMessages,
    ) -> Option<(OwnedSemaphorePermit, ClientMessage)> {
        let place = slots.place().await?;
        // A client that is there answers pings. One whose machine went away without a word is found out by this alone.
        let silence = self.settings.ping_every * 2;
        match timeout(silence, incoming.next()).await.ok()?? {
            Ok(message) => Some((place, message)),
            Err(error) => {
                tracing::debug!(%error, "the WebSocket broke");
                None
            }
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

/// The messages as a stream, which, unlike soketto's own receiving, may be left
/// and taken up again. It ends with the connection or its first fault.
fn client_messages(receiver: soketto::Receiver<Socket>) -> ClientMessages {
    let messages = stream::unfold(Some(receiver), |receiver| async move {
        let mut receiver = receiver?;
        let mut text = Vec::new();
        match receiver.receive(&mut text).await {
            Ok(Incoming::Data(_)) => Some((Ok(ClientMessage::Text(text)), Some(receiver))),
            Ok(Incoming::Pong(_)) => Some((Ok(ClientMessage::Pong), Some(receiver))),
            Ok(Incoming::Closed(_)) | Err(SocketError::Closed) => None,
            Err(SocketError::MessageTooLarge { .. }) => {
                Some((Ok(ClientMessage::TooLarge), Some(receiver)))
            }
            Err(error) => Some((Err(error), None)),
        }
    });
    messages.fuse().boxed()
}
