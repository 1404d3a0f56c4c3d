//! Connections: accepting them, counting them, ending them.

use std::future::Future;
use std::io;
use std::net::SocketAddr;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use axum::Router;
use hyper::body::Incoming;
use hyper::server::conn::http1;
use hyper::service::service_fn;
use hyper_util::rt::{TokioIo, TokioTimer};
use jsonrpsee::core::server::ConnectionId;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::{OwnedSemaphorePermit, Semaphore};
use tokio::time::timeout;
use tokio_util::sync::CancellationToken;
use tokio_util::task::TaskTracker;
use tower::ServiceExt;

use super::TransportError;
use super::refusal::Refusal;
use super::settings::TransportSettings;
use super::stall::StallGuard;

/// How often in a row accepting may fail before the transport gives up, and
/// how long it waits after each: out of file descriptors, say.
const FAILURES: u32 = 600;
const AFTER_FAILURE: Duration = Duration::from_millis(100);

/// Bytes a connection may have buffered; a request's head has to fit.
const BUFFER: usize = 64 * 1024;

/// Connections over the limit that are told so at the same time; further ones
/// are dropped. How long each may take to hear it.
const TURNED_AWAY: usize = 64;
const TURNING_AWAY: Duration = Duration::from_secs(1);

/// The connection a request came by; every request carries it in its extensions.
#[derive(Debug, Clone)]
pub(super) struct Connection {
    id: usize,
    place: Arc<OwnedSemaphorePermit>,
    tasks: TaskTracker,
    cut: CancellationToken,
}

impl Connection {
    /// The number of the connection, never used twice.
    pub(super) fn id(&self) -> ConnectionId {
        ConnectionId(self.id)
    }

    /// Goes on with a conversation after the answer to a request. It keeps the
    /// connection's place, is waited for when the service stops, and is cut
    /// when that takes too long.
    pub(super) fn carry_on(&self, conversation: impl Future<Output = ()> + Send + 'static) {
        let (place, cut) = (self.place.clone(), self.cut.clone());
        self.tasks.spawn(async move {
            cut.run_until_cancelled(conversation).await;
            drop(place);
        });
    }
}

/// Everything a new connection is served with.
#[derive(Clone)]
struct Service {
    router: Router,
    settings: Arc<TransportSettings>,
    tasks: TaskTracker,
    /// Finish what runs.
    stop: CancellationToken,
    /// End at once.
    cut: CancellationToken,
}

/// Accepts and serves connections until `stop` is cancelled and they have ended.
pub(super) async fn run(
    listener: TcpListener,
    router: Router,
    settings: Arc<TransportSettings>,
    stop: CancellationToken,
) -> Result<(), TransportError> {
    let service = Service {
        router,
        tasks: TaskTracker::new(),
        stop,
        cut: CancellationToken::new(),
        settings,
    };
    let accepted = service.accept_all(&listener).await;
    drop(listener);
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

impl Service {
    async fn accept_all(&self, listener: &TcpListener) -> Result<(), TransportError> {
        let places = Arc::new(Semaphore::new(self.settings.connections));
        let turned_away = Arc::new(Semaphore::new(TURNED_AWAY));
        let (mut id, mut failures) = (0_usize, 0_u32);
        loop {
            let accepted = tokio::select! {
                accepted = listener.accept() => accepted,
                () = self.stop.cancelled() => return Ok(()),
            };
            match accepted {
                Ok((stream, peer)) => {
                    failures = 0;
                    id = id.wrapping_add(1);
                    match places.clone().try_acquire_owned() {
                        Ok(place) => self.take(stream, peer, id, place),
                        Err(_) => self.turn_away(stream, &turned_away),
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
    fn take(&self, stream: TcpStream, peer: SocketAddr, id: usize, place: OwnedSemaphorePermit) {
        let connection = Connection {
            id,
            place: Arc::new(place),
            tasks: self.tasks.clone(),
            cut: self.cut.clone(),
        };
        let (service, cut) = (self.clone(), self.cut.clone());
        self.tasks.spawn(async move {
            let ended = cut
                .run_until_cancelled(service.talk(stream, connection))
                .await;
            if let Some(Err(error)) = ended {
                tracing::debug!(%peer, %error, "the connection ended early");
            }
        });
    }

    async fn talk(self, stream: TcpStream, connection: Connection) -> Result<(), hyper::Error> {
        // Replies are small and waited for. A socket that refuses is a socket that is gone.
        let _ = stream.set_nodelay(true);
        let stream = StallGuard::new(stream, self.settings.write_within);
        let router = self.router;
        let asked = Arc::new(AtomicBool::new(false));
        let noted = asked.clone();
        let answering = service_fn(move |mut request: hyper::Request<Incoming>| {
            noted.store(true, Ordering::Relaxed);
            request.extensions_mut().insert(connection.clone());
            router.clone().oneshot(request)
        });
        let talking = http1::Builder::new()
            .timer(TokioTimer::new())
            .header_read_timeout(self.settings.head_within)
            .max_buf_size(BUFFER)
            .serve_connection(TokioIo::new(stream), answering)
            .with_upgrades();
        let mut talking = std::pin::pin!(talking);
        tokio::select! {
            ended = &mut talking => return ended,
            () = self.stop.cancelled() => talking.as_mut().graceful_shutdown(),
        }
        // hyper would wait for the first request of a connection that had none.
        if asked.load(Ordering::Relaxed) {
            talking.await
        } else {
            Ok(())
        }
    }

    /// Tells a connection that there is no place for it.
    fn turn_away(&self, stream: TcpStream, turned_away: &Arc<Semaphore>) {
        let Ok(place) = turned_away.clone().try_acquire_owned() else {
            return;
        };
        let cut = self.cut.clone();
        self.tasks.spawn(async move {
            let telling = timeout(TURNING_AWAY, tell_busy(stream));
            let _ = cut.run_until_cancelled(telling).await;
            drop(place);
        });
    }
}

/// Writes the whole answer, then reads what the client had sent: closing
/// before that would reset the connection, and the answer with it.
async fn tell_busy(mut stream: TcpStream) -> io::Result<()> {
    let body = Refusal::Busy.reply(None);
    let status = Refusal::Busy.status();
    let answer = format!(
        "HTTP/1.1 {status}\r\ncontent-type: application/json\r\nretry-after: 1\r\n\
         connection: close\r\ncontent-length: {}\r\n\r\n{body}",
        body.len()
    );
    stream.write_all(answer.as_bytes()).await?;
    stream.shutdown().await?;
    let mut sent = [0; 1024];
    while stream.read(&mut sent).await? > 0 {}
    Ok(())
}
