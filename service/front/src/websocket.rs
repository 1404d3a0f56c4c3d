//! JSON-RPC over a WebSocket: calls run side by side, subscriptions flow.
//!
//! What one connection may cost is bounded: calls that run or whose reply is
//! not yet taken hold a place each, and their texts hold bytes; while either
//! is used up, nothing more is read. A client that sends and never reads thus
//! stops itself, and [`super::stall`] ends it.

use std::sync::Arc;
use std::time::Duration;

use axum::extract::Request;
use axum::http::{HeaderValue, header};
use axum::response::Response;
use futures_util::StreamExt;
use futures_util::stream::{self, BoxStream};
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
use super::refusal::Refusal;
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
        return (Refusal::Handshake.response(), None);
    };
    // Whoever offers subprotocols has to be told which; a token among them is not said back.
    if access::subprotocols(request.headers()).any(|one| one == access::SUBPROTOCOL) {
        let ours = HeaderValue::from_static(access::SUBPROTOCOL);
        accepted
            .headers_mut()
            .insert(header::SEC_WEBSOCKET_PROTOCOL, ours);
    }
    let conversing = async move {
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
    (
        accepted.map(|()| axum::body::Body::empty()),
        Some(conversing),
    )
}

/// What arrives from the client, a message at a time.
type Arriving = BoxStream<'static, Result<Arrival, SocketError>>;

/// What can arrive.
enum Arrival {
    Text(Vec<u8>),
    Pong,
    /// A message over the limit; it was read past and thrown away.
    TooLarge,
}

/// What one connection may have going at once.
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
        drop(self.bytes.acquire().await.ok()?);
        Some(place)
    }

    /// The bytes of a request; all of them where it is longer than there are.
    async fn bytes(&self, length: usize) -> Option<OwnedSemaphorePermit> {
        let bytes = u32::try_from(length.min(BYTES_AT_ONCE)).ok()?;
        self.bytes.clone().acquire_many_owned(bytes).await.ok()
    }
}

/// How listening ended.
enum End {
    Gone,
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
        let mut arriving = arriving(receiver);
        let mut calls = JoinSet::new();
        let listening = self.listen(&mut arriving, &mut calls, &caller, &replies);
        let identity = caller.extensions.get::<Identity>();
        let revoked = async {
            match identity {
                Some(identity) => identity.revoked().await,
                None => std::future::pending().await,
            }
        };
        let end = tokio::select! {
            end = listening => end,
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
        let _ = timeout(CLOSE_WITHIN, arriving.for_each(|_| async {})).await;
    }

    /// Takes messages in and starts them, until the client goes or the service stops.
    async fn listen(
        &self,
        arriving: &mut Arriving,
        calls: &mut JoinSet<()>,
        caller: &Caller,
        replies: &mpsc::Sender<Reply>,
    ) -> End {
        let room = CallSlots::new(self.settings.calls_at_once);
        loop {
            while calls.try_join_next().is_some() {}
            let next = tokio::select! {
                next = self.next(&room, arriving) => next,
                () = self.stop.cancelled() => return End::Stopping,
            };
            let Some((place, arrival)) = next else {
                return End::Gone;
            };
            match arrival {
                Arrival::Pong => {}
                Arrival::TooLarge => {
                    let text = Refusal::RequestTooLarge.reply(None);
                    let held = (place, None);
                    let _ = replies.send(Reply { text, held }).await;
                }
                Arrival::Text(text) => {
                    let bytes = room.bytes(text.len()).await;
                    self.start(calls, text, caller, replies, (place, bytes));
                }
            }
        }
    }

    /// Waits for room, then for the next message; `None` once the client has
    /// gone, has been silent for too long, or cannot be understood.
    async fn next(
        &self,
        room: &CallSlots,
        arriving: &mut Arriving,
    ) -> Option<(OwnedSemaphorePermit, Arrival)> {
        let place = room.place().await?;
        let silence = self.settings.ping_every * 2;
        match timeout(silence, arriving.next()).await.ok()?? {
            Ok(arrival) => Some((place, arrival)),
            Err(error) => {
                tracing::debug!(%error, "the WebSocket broke");
                None
            }
        }
    }

    fn start(
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
fn arriving(receiver: soketto::Receiver<Socket>) -> Arriving {
    let messages = stream::unfold(Some(receiver), |receiver| async move {
        let mut receiver = receiver?;
        let mut text = Vec::new();
        match receiver.receive(&mut text).await {
            Ok(Incoming::Data(_)) => Some((Ok(Arrival::Text(text)), Some(receiver))),
            Ok(Incoming::Pong(_)) => Some((Ok(Arrival::Pong), Some(receiver))),
            Ok(Incoming::Closed(_)) | Err(SocketError::Closed) => None,
            Err(SocketError::MessageTooLarge { .. }) => {
                Some((Ok(Arrival::TooLarge), Some(receiver)))
            }
            Err(error) => Some((Err(error), None)),
        }
    });
    messages.fuse().boxed()
}
