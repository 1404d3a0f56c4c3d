//! The connection limit: a slot for each connection there may be, over all listeners together, and
//! what one over the limit is told before it is closed.

use std::io;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Duration;

use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::sync::{OwnedSemaphorePermit, Semaphore};
use tokio::time::timeout;

use super::error_reply::ErrorReply;
use super::listen::{Accepted, Stream};
use super::observer::{CallObserver, ConnectionCount};

/// Connections over the limit that are told so at the same time; further ones are dropped: a flood
/// of connections must not become a flood of tasks.
const REJECTIONS_AT_ONCE: usize = 64;

/// How long one of them may take to hear it, and to do its TLS handshake before.
const REJECT_WITHIN: Duration = Duration::from_secs(1);
const TLS_HANDSHAKE_WITHIN: Duration = Duration::from_secs(2);

/// How long it may take to send its request first: an answer that comes before its request is none
/// to many clients.
const REQUEST_WITHIN: Duration = Duration::from_millis(250);

/// The connections there may be.
pub(super) struct ConnectionLimit {
    slots: Arc<Semaphore>,
    rejections: Arc<Semaphore>,
    ids: AtomicUsize,
}

/// A slot among the connections there may be, given back when the last holder drops it.
pub(super) struct ConnectionSlot {
    /// The number of the connection, never used twice.
    pub(super) id: usize,
    _permit: OwnedSemaphorePermit,
    _count: ConnectionCount,
}

impl std::fmt::Debug for ConnectionSlot {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_tuple("ConnectionSlot").field(&self.id).finish()
    }
}

impl ConnectionLimit {
    pub(super) fn new(connections: usize) -> Self {
        Self {
            slots: Arc::new(Semaphore::new(connections)),
            rejections: Arc::new(Semaphore::new(REJECTIONS_AT_ONCE)),
            ids: AtomicUsize::new(1),
        }
    }

    /// A slot for a connection of a listener called so, if one is free.
    pub(super) fn slot(
        &self,
        observer: &Option<Arc<dyn CallObserver>>,
        listener: &'static str,
    ) -> Option<ConnectionSlot> {
        let permit = self.slots.clone().try_acquire_owned().ok()?;
        Some(ConnectionSlot {
            id: self.ids.fetch_add(1, Ordering::Relaxed),
            _permit: permit,
            _count: ConnectionCount::new(observer.clone(), listener),
        })
    }

    /// What tells a connection that there is no slot for it; `None` while as many as may be are
    /// being told, and this one is simply closed.
    pub(super) fn rejection(
        &self,
        stream: Accepted,
    ) -> Option<impl Future<Output = ()> + Send + use<>> {
        // Never waited for: who waits here would hold up the listener, and with it those for whom there is a slot.
        let permit = self.rejections.clone().try_acquire_owned().ok()?;
        Some(async move {
            match stream {
                Accepted::Plain(stream) => send_and_close(stream, ErrorReply::Busy).await,
                Accepted::Unix(stream) => send_and_close(stream, ErrorReply::Busy).await,
                Accepted::Tls(stream, front) => {
                    let handshake = front.acceptor().accept(stream);
                    if let Ok(Ok(stream)) = timeout(TLS_HANDSHAKE_WITHIN, handshake).await {
                        send_and_close(stream, ErrorReply::Busy).await;
                    }
                }
            }
            drop(permit);
        })
    }
}

/// Tells a connection why it is closed, if it listens.
pub(super) async fn send_and_close(stream: impl Stream, reply: ErrorReply) {
    // Whoever does not take it in time is gone, or does not want it.
    let _ = timeout(REJECT_WITHIN, write_and_drain(stream, reply)).await;
}

/// Writes the whole answer, then reads what the client had sent: closing
/// before that would reset the connection, and the answer with it.
async fn write_and_drain(mut stream: impl Stream, reply: ErrorReply) -> io::Result<()> {
    let body = reply.text(None);
    let status = reply.status();
    let later = match reply {
        ErrorReply::Busy => "retry-after: 1\r\n",
        _ => "",
    };
    let answer = format!(
        "HTTP/1.1 {status}\r\ncontent-type: application/json\r\n{later}\
         connection: close\r\ncontent-length: {}\r\n\r\n{body}",
        body.len()
    );
    let mut sent = [0; 1024];
    if reply == ErrorReply::Busy {
        // Whatever comes of it, it is told.
        let _ = timeout(REQUEST_WITHIN, stream.read(&mut sent)).await;
    }
    stream.write_all(answer.as_bytes()).await?;
    stream.shutdown().await?;
    while stream.read(&mut sent).await? > 0 {}
    Ok(())
}
