//! Connections: accepting them, serving HTTP/1.1 on them, ending them.

use std::future::Future;
use std::pin::Pin;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use axum::Router;
use futures_util::StreamExt;
use futures_util::stream::FuturesUnordered;
use http::{HeaderValue, Request, StatusCode, header};
use hyper::body::Incoming;
use hyper::server::conn::http1;
use hyper::service::service_fn;
use hyper_util::rt::{TokioIo, TokioTimer};
use jsonrpsee::ConnectionId;
use tokio::time::timeout;
use tokio_util::sync::CancellationToken;
use tokio_util::task::TaskTracker;
use tower::ServiceExt;

use super::TransportError;
use super::connection_limit::{ConnectionLimit, ConnectionSlot, send_and_close};
use super::error_reply::ErrorReply;
use super::listen::{Accepted, Listener, Stream};
use super::observer::CallObserver;
use super::request_length::{Heads, Length};
use super::settings::TransportSettings;
use super::write_timeout::WriteTimeout;
use crate::access::Peer;

/// How often in a row accepting may fail before the transport gives up, and
/// how long it waits after each: out of file descriptors, say.
const ACCEPT_FAILURES: u32 = 600;
const AFTER_FAILURE: Duration = Duration::from_millis(100);

/// How long a connection may still ask once the transport is told to stop: what it had sent by then is answered.
const STOP_GRACE: Duration = Duration::from_millis(250);

/// Bytes a connection may have buffered; a request's head has to fit.
const BUFFER: usize = 64 * 1024;

/// The connection a request came by; every request carries it in its extensions.
#[derive(Debug, Clone)]
pub(super) struct Connection {
    peer: Peer,
    slot: Arc<ConnectionSlot>,
    tasks: TaskTracker,
    cut: CancellationToken,
}

impl Connection {
    /// The number of the connection, never used twice.
    pub(super) fn id(&self) -> ConnectionId {
        ConnectionId(self.slot.id)
    }

    /// Where it comes from.
    pub(super) fn peer(&self) -> Peer {
        self.peer
    }

    /// Runs a session that goes on after the answer to a request: a WebSocket. It keeps the
    /// connection's slot, is waited for when the service stops, and is cut
    /// when that takes too long.
    pub(super) fn spawn_session(&self, session: impl Future<Output = ()> + Send + 'static) {
        let (slot, cut) = (self.slot.clone(), self.cut.clone());
        self.tasks.spawn(async move {
            cut.run_until_cancelled(session).await;
            drop(slot);
        });
    }
}

/// Everything a new connection is served with.
#[derive(Clone)]
struct Service {
    router: Router,
    settings: Arc<TransportSettings>,
    observer: Option<Arc<dyn CallObserver>>,
    tasks: TaskTracker,
    /// Finish what runs.
    stop: CancellationToken,
    /// End at once.
    cut: CancellationToken,
}

/// Accepts and serves connections until `stop` is cancelled and they have ended.
pub(super) async fn run(
    listeners: Vec<Listener>,
    router: Router,
    settings: Arc<TransportSettings>,
    observer: Option<Arc<dyn CallObserver>>,
    stop: CancellationToken,
) -> Result<(), TransportError> {
    let service = Service {
        router,
        tasks: TaskTracker::new(),
        stop,
        cut: CancellationToken::new(),
        settings,
        observer,
    };
    let accepted = service.accept_all(&listeners).await;
    // Before anything is waited for: whoever connects from here on is for the successor on the same
    // sockets, if there is one, and must not wait for what runs here.
    drop(listeners);
    // Where a listener failed nobody has told the connections yet.
    service.stop.cancel();
    service.tasks.close();
    let within = service.settings.stop_within;
    if timeout(within, service.tasks.wait()).await.is_err() {
        let left = service.tasks.len();
        tracing::warn!(left, ?within, "cut the connections that had not finished");
        service.cut.cancel();
        service.tasks.wait().await;
    }
    accepted
}

/// How a connection can end early.
type BoxError = Box<dyn std::error::Error + Send + Sync>;

impl Service {
    /// Accepts on every listener until told to stop, or until one of them fails.
    async fn accept_all(&self, listeners: &[Listener]) -> Result<(), TransportError> {
        let limit = ConnectionLimit::new(self.settings.connections);
        let mut accepting: FuturesUnordered<_> = listeners
            .iter()
            .map(|listener| self.accept(listener, &limit))
            .collect();
        if accepting.is_empty() {
            self.stop.cancelled().await;
        }
        accepting.next().await.unwrap_or(Ok(()))
    }

    async fn accept(
        &self,
        listener: &Listener,
        limit: &ConnectionLimit,
    ) -> Result<(), TransportError> {
        let mut failures = 0_u32;
        loop {
            let accepted = tokio::select! {
                accepted = listener.accept() => accepted,
                () = self.stop.cancelled() => return Ok(()),
            };
            match accepted {
                Ok((stream, peer)) => {
                    failures = 0;
                    match limit.slot(&self.observer, listener.name()) {
                        Some(slot) => self.spawn_connection(stream, peer, slot),
                        None => self.reject(stream, peer, limit),
                    }
                }
                Err(source) => {
                    failures += 1;
                    tracing::warn!(error = %source, "could not accept a connection");
                    if failures >= ACCEPT_FAILURES {
                        return Err(TransportError::Accept { source });
                    }
                    // A process out of file descriptors gets some back when connections end; accepting
                    // again at once would only keep it busy until then.
                    tokio::time::sleep(AFTER_FAILURE).await;
                }
            }
        }
    }

    /// Tells a connection that there is no slot for it.
    fn reject(&self, stream: Accepted, peer: Peer, limit: &ConnectionLimit) {
        if let Some(observer) = &self.observer {
            observer.refused_request(ErrorReply::Busy.wire().kind, Some(peer));
        }
        if let Some(rejection) = limit.rejection(stream) {
            let cut = self.cut.clone();
            self.tasks.spawn(async move {
                cut.run_until_cancelled(rejection).await;
            });
        }
    }

    /// Serves a connection in a task of its own.
    fn spawn_connection(&self, stream: Accepted, peer: Peer, slot: ConnectionSlot) {
        let connection = Connection {
            peer,
            slot: Arc::new(slot),
            tasks: self.tasks.clone(),
            cut: self.cut.clone(),
        };
        let (service, cut) = (self.clone(), self.cut.clone());
        self.tasks.spawn(async move {
            let serving = service.serve_connection(stream, connection);
            if let Some(Err(error)) = cut.run_until_cancelled(serving).await {
                tracing::debug!(%peer, %error, "the connection ended early");
            }
        });
    }

    /// Does the TLS handshake where there is one, then serves HTTP.
    async fn serve_connection(
        self,
        accepted: Accepted,
        connection: Connection,
    ) -> Result<(), BoxError> {
        let limit = self.settings.write_within;
        match accepted {
            Accepted::Plain(stream) => {
                self.serve_http1(WriteTimeout::new(stream, limit), connection)
                    .await?;
            }
            Accepted::Unix(stream) => {
                self.serve_http1(WriteTimeout::new(stream, limit), connection)
                    .await?;
            }
            Accepted::Tls(stream, front) => {
                // Under the TLS, not over it: what waits are writes to the socket, and a write to the TLS session
                // is done once its buffer has taken it.
                let stream = WriteTimeout::new(stream, limit);
                // A handshake that dribbles in is cut as a head that does.
                let handshake = front.acceptor().accept(stream);
                let stream = timeout(self.settings.head_within, handshake).await??;
                self.serve_http1(stream, connection).await?;
            }
        }
        Ok(())
    }

    async fn serve_http1(
        self,
        stream: impl Stream,
        connection: Connection,
    ) -> Result<(), hyper::Error> {
        let router = self.router;
        // Whether a request has been read on this connection: decides what a stop and a timeout mean to it.
        let asked = Arc::new(AtomicBool::new(false));
        let (noted, stopping) = (asked.clone(), self.stop.clone());
        let (stream, heads) = Heads::watch(stream, BUFFER);
        let answer = service_fn(move |mut request: Request<Incoming>| {
            noted.store(true, Ordering::Relaxed);
            let length = heads.next();
            request.extensions_mut().insert(length);
            request.extensions_mut().insert(connection.clone());
            let answer = router.clone().oneshot(request);
            let (heads, stopping) = (heads.clone(), stopping.clone());
            async move {
                let mut answer = answer.await;
                if let Ok(answer) = &mut answer {
                    // An upgrade says `connection: upgrade`, and its session ends in its own way.
                    if answer.status() == StatusCode::SWITCHING_PROTOCOLS {
                        heads.end();
                    } else if length != Length::Counted || stopping.is_cancelled() {
                        // Said when the answer is ready rather than when the request came: the stop may have come in
                        // between.
                        let close = HeaderValue::from_static("close");
                        answer.headers_mut().insert(header::CONNECTION, close);
                    }
                }
                answer
            }
        });
        let mut serving = http1::Builder::new()
            .timer(TokioTimer::new())
            .header_read_timeout(self.settings.head_within)
            .max_buf_size(BUFFER)
            .serve_connection(TokioIo::new(stream), answer)
            .with_upgrades();
        let ended = tokio::select! {
            ended = &mut serving => Some(ended),
            () = self.stop.cancelled() => None,
        };
        let ended = match ended {
            Some(ended) => ended,
            None => {
                // Whoever has just connected, or asks all the time, is not cut before it is answered, and told
                // that this was the last answer on this connection.
                match timeout(STOP_GRACE, &mut serving).await {
                    Ok(ended) => ended,
                    Err(_) => {
                        Pin::new(&mut serving).graceful_shutdown();
                        // hyper would wait for the first request of a connection that had none.
                        if !asked.load(Ordering::Relaxed) {
                            return Ok(());
                        }
                        (&mut serving).await
                    }
                }
            }
        };
        // A head that dribbled in is answered; who had not begun one has nothing to be told. After an answer
        // nothing is said either: what hyper had not got away of it is lost, and this would be taken for the rest.
        if ended.as_ref().is_err_and(hyper::Error::is_timeout)
            && !asked.load(Ordering::Relaxed)
            && let Some(parts) = serving.into_parts()
            && !parts.read_buf.is_empty()
        {
            send_and_close(parts.io.into_inner(), ErrorReply::TooSlow).await;
        }
        ended
    }
}
