//! Connections: accepting them, counting them, ending them.

use std::future::Future;
use std::io;
use std::pin::Pin;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::time::Duration;

use axum::Router;
use axum::http::{HeaderValue, StatusCode, header};
use futures_util::StreamExt;
use futures_util::stream::FuturesUnordered;
use hyper::body::Incoming;
use hyper::server::conn::http1;
use hyper::service::service_fn;
use hyper_util::rt::{TokioIo, TokioTimer};
use jsonrpsee::core::server::ConnectionId;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::sync::{OwnedSemaphorePermit, Semaphore};
use tokio::time::timeout;
use tokio_util::sync::CancellationToken;
use tokio_util::task::TaskTracker;
use tower::ServiceExt;

use super::TransportError;
use super::listen::{Accepted, Listener, Stream};
use super::observer::{CallObserver, Counted};
use super::refusal::Refusal;
use super::settings::TransportSettings;
use super::write_timeout::WriteTimeout;
use crate::access::Peer;

/// How often in a row accepting may fail before the transport gives up, and
/// how long it waits after each: out of file descriptors, say.
const FAILURES: u32 = 600;
const AFTER_FAILURE: Duration = Duration::from_millis(100);

/// How long a connection may still ask once the transport is told to stop: what it had sent by then is answered.
const LINGER: Duration = Duration::from_millis(250);

/// Bytes a connection may have buffered; a request's head has to fit.
const BUFFER: usize = 64 * 1024;

/// Connections over the limit that are told so at the same time; further ones
/// are dropped. How long each may take to hear it, and to shake hands before.
const TURNED_AWAY: usize = 64;
const TELLING: Duration = Duration::from_secs(1);
const SHAKING: Duration = Duration::from_secs(2);

/// How long it may take to ask before it is told: an answer that comes before its request is
/// none to many clients.
const ASKING: Duration = Duration::from_millis(250);

/// The connection a request came by; every request carries it in its extensions.
#[derive(Debug, Clone)]
pub(super) struct Connection {
    id: usize,
    peer: Peer,
    place: Arc<Place>,
    tasks: TaskTracker,
    cut: CancellationToken,
}

impl Connection {
    /// The number of the connection, never used twice.
    pub(super) fn id(&self) -> ConnectionId {
        ConnectionId(self.id)
    }

    /// Where it comes from.
    pub(super) fn peer(&self) -> Peer {
        self.peer
    }

    /// Goes on with a session after the answer to a request. It keeps the
    /// connection's place, is waited for when the service stops, and is cut
    /// when that takes too long.
    pub(super) fn carry_on(&self, session: impl Future<Output = ()> + Send + 'static) {
        let (place, cut) = (self.place.clone(), self.cut.clone());
        self.tasks.spawn(async move {
            cut.run_until_cancelled(session).await;
            drop(place);
        });
    }
}

/// A place among the connections there may be, given back when it is dropped.
struct Place {
    _permit: OwnedSemaphorePermit,
    _counted: Counted,
}

impl std::fmt::Debug for Place {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Place")
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
    drop(listeners);
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

/// The connections there may be, over all listeners together.
struct ConnectionLimit {
    places: Arc<Semaphore>,
    turned_away: Arc<Semaphore>,
    ids: AtomicUsize,
}

/// How a connection can end early.
type BoxError = Box<dyn std::error::Error + Send + Sync>;

impl Service {
    /// Accepts on every listener until told to stop, or until one of them fails.
    async fn accept_all(&self, listeners: &[Listener]) -> Result<(), TransportError> {
        let limit = ConnectionLimit {
            places: Arc::new(Semaphore::new(self.settings.connections)),
            turned_away: Arc::new(Semaphore::new(TURNED_AWAY)),
            ids: AtomicUsize::new(1),
        };
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
                    match limit.places.clone().try_acquire_owned() {
                        Ok(permit) => {
                            let connection = Connection {
                                id: limit.ids.fetch_add(1, Ordering::Relaxed),
                                peer,
                                place: Arc::new(Place {
                                    _permit: permit,
                                    _counted: Counted::new(self.observer.clone(), listener.word()),
                                }),
                                tasks: self.tasks.clone(),
                                cut: self.cut.clone(),
                            };
                            self.take(stream, connection);
                        }
                        Err(_) => self.turn_away(stream, peer, &limit.turned_away),
                    }
                }
                Err(source) => {
                    failures += 1;
                    tracing::warn!(error = %source, "could not accept a connection");
                    if failures >= FAILURES {
                        return Err(TransportError::Accept { source });
                    }
                    tokio::time::sleep(AFTER_FAILURE).await;
                }
            }
        }
    }

    /// Serves a connection in a task of its own.
    fn take(&self, stream: Accepted, connection: Connection) {
        let peer = connection.peer;
        let (service, cut) = (self.clone(), self.cut.clone());
        self.tasks.spawn(async move {
            let ended = cut
                .run_until_cancelled(service.begin(stream, connection))
                .await;
            if let Some(Err(error)) = ended {
                tracing::debug!(%peer, %error, "the connection ended early");
            }
        });
    }

    /// Begins with what comes before HTTP, if anything does.
    async fn begin(self, accepted: Accepted, connection: Connection) -> Result<(), BoxError> {
        let limit = self.settings.write_within;
        match accepted {
            Accepted::Plain(stream) => {
                self.talk(WriteTimeout::new(stream, limit), connection)
                    .await?;
            }
            Accepted::Unix(stream) => {
                self.talk(WriteTimeout::new(stream, limit), connection)
                    .await?;
            }
            Accepted::Tls(stream, front) => {
                let stream = WriteTimeout::new(stream, limit);
                // A handshake that dribbles in is cut as a head that does.
                let shaking = front.acceptor().accept(stream);
                let stream = timeout(self.settings.head_within, shaking).await??;
                self.talk(stream, connection).await?;
            }
        }
        Ok(())
    }

    async fn talk(self, stream: impl Stream, connection: Connection) -> Result<(), hyper::Error> {
        let router = self.router;
        let asked = Arc::new(AtomicBool::new(false));
        let (noted, stopping) = (asked.clone(), self.stop.clone());
        let answering = service_fn(move |mut request: hyper::Request<Incoming>| {
            noted.store(true, Ordering::Relaxed);
            request.extensions_mut().insert(connection.clone());
            let (answer, stopping) = (router.clone().oneshot(request), stopping.clone());
            async move {
                let mut answer = answer.await;
                if let Ok(answer) = &mut answer
                    && stopping.is_cancelled()
                    && answer.status() != StatusCode::SWITCHING_PROTOCOLS
                {
                    let close = HeaderValue::from_static("close");
                    answer.headers_mut().insert(header::CONNECTION, close);
                }
                answer
            }
        });
        let mut talking = http1::Builder::new()
            .timer(TokioTimer::new())
            .header_read_timeout(self.settings.head_within)
            .max_buf_size(BUFFER)
            .serve_connection(TokioIo::new(stream), answering)
            .with_upgrades();
        let ended = tokio::select! {
            ended = &mut talking => Some(ended),
            () = self.stop.cancelled() => None,
        };
        let ended = match ended {
            Some(ended) => ended,
            None => {
                // Whoever has just connected, or asks all the time, is not cut before it is answered, and told
                // that this was the last answer on this connection.
                match timeout(LINGER, &mut talking).await {
                    Ok(ended) => ended,
                    Err(_) => {
                        Pin::new(&mut talking).graceful_shutdown();
                        // hyper would wait for the first request of a connection that had none.
                        if !asked.load(Ordering::Relaxed) {
                            return Ok(());
                        }
                        (&mut talking).await
                    }
                }
            }
        };
        // A head that dribbled in is answered; who had not begun one has nothing to be told. After an answer
        // nothing is said either: what hyper had not got away of it is lost, and this would be taken for the rest.
        if ended.as_ref().is_err_and(hyper::Error::is_timeout)
            && !asked.load(Ordering::Relaxed)
            && let Some(parts) = talking.into_parts()
            && !parts.read_buf.is_empty()
        {
            tell(parts.io.into_inner(), Refusal::TooSlow).await;
        }
        ended
    }

    /// Tells a connection that there is no place for it.
    fn turn_away(&self, stream: Accepted, peer: Peer, turned_away: &Arc<Semaphore>) {
        if let Some(observer) = &self.observer {
            observer.turned_away(Refusal::Busy.wire().kind, Some(peer));
        }
        let Ok(place) = turned_away.clone().try_acquire_owned() else {
            return;
        };
        let cut = self.cut.clone();
        self.tasks.spawn(async move {
            let telling = async {
                let busy = Refusal::Busy;
                match stream {
                    Accepted::Plain(stream) => tell(stream, busy).await,
                    Accepted::Unix(stream) => tell(stream, busy).await,
                    Accepted::Tls(stream, front) => {
                        let shaking = timeout(SHAKING, front.acceptor().accept(stream));
                        if let Ok(Ok(stream)) = shaking.await {
                            tell(stream, busy).await;
                        }
                    }
                }
            };
            cut.run_until_cancelled(telling).await;
            drop(place);
        });
    }
}

/// Tells a connection why it is closed, if it listens.
async fn tell(stream: impl Stream, refusal: Refusal) {
    // Whoever does not take it in time is gone, or does not want it.
    let _ = timeout(TELLING, write_last(stream, refusal)).await;
}

/// Writes the whole answer, then reads what the client had sent: closing
/// before that would reset the connection, and the answer with it.
async fn write_last(mut stream: impl Stream, refusal: Refusal) -> io::Result<()> {
    let body = refusal.reply(None);
    let status = refusal.status();
    let later = match refusal {
        Refusal::Busy => "retry-after: 1\r\n",
        _ => "",
    };
    let answer = format!(
        "HTTP/1.1 {status}\r\ncontent-type: application/json\r\n{later}\
         connection: close\r\ncontent-length: {}\r\n\r\n{body}",
        body.len()
    );
    let mut sent = [0; 1024];
    if refusal == Refusal::Busy {
        // Whatever comes of it, it is told.
        let _ = timeout(ASKING, stream.read(&mut sent)).await;
    }
    stream.write_all(answer.as_bytes()).await?;
    stream.shutdown().await?;
    while stream.read(&mut sent).await? > 0 {}
    Ok(())
}
