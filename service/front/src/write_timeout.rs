//! The write timeout: an I/O wrapper that ends the connection of a slow reader.
//!
//! A peer that sends and never reads fills its own receive buffer, then our
//! send buffer, and then every write waits for good: nothing else ends it, as
//! the connection is alive as far as TCP knows. Whoever reads requests stops
//! when replies do not get away (see [`super::websocket`]); this wrapper sees
//! to it that such a connection does not stay.

use std::future::Future;
use std::io;
use std::pin::Pin;
use std::task::{Context, Poll, ready};
use std::time::Duration;

use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::time::{Instant, Sleep, sleep};

/// A stream whose writes fail once one of them has been pending for longer
/// than the limit. Any progress starts the time anew.
#[derive(Debug)]
pub(super) struct WriteTimeout<S> {
    stream: S,
    limit: Duration,
    timer: Pin<Box<Sleep>>,
    stalled: bool,
}

impl<S> WriteTimeout<S> {
    /// Wraps a stream; `limit` is the longest time one write may stay pending.
    pub(super) fn new(stream: S, limit: Duration) -> Self {
        Self {
            stream,
            limit,
            timer: Box::pin(sleep(limit)),
            stalled: false,
        }
    }

    /// Notes how a write went, and turns one that has waited too long into an error.
    fn noted<T>(
        &mut self,
        cx: &mut Context<'_>,
        written: Poll<io::Result<T>>,
    ) -> Poll<io::Result<T>> {
        if written.is_ready() {
            self.stalled = false;
            return written;
        }
        // From when writing first had to wait, and not renewed by polling it again: the limit is for no progress at
        // all.
        if !self.stalled {
            self.stalled = true;
            self.timer.as_mut().reset(Instant::now() + self.limit);
        }
        ready!(self.timer.as_mut().poll(cx));
        Poll::Ready(Err(io::Error::new(
            io::ErrorKind::TimedOut,
            "the peer has not taken what was sent to it; it should read its replies",
        )))
    }
}

impl<S: AsyncRead + Unpin> AsyncRead for WriteTimeout<S> {
    fn poll_read(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        buf: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_read(cx, buf)
    }
}

impl<S: AsyncWrite + Unpin> AsyncWrite for WriteTimeout<S> {
    fn poll_write(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        buf: &[u8],
    ) -> Poll<io::Result<usize>> {
        let written = Pin::new(&mut self.stream).poll_write(cx, buf);
        self.noted(cx, written)
    }

    fn poll_write_vectored(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        bufs: &[io::IoSlice<'_>],
    ) -> Poll<io::Result<usize>> {
        let written = Pin::new(&mut self.stream).poll_write_vectored(cx, bufs);
        self.noted(cx, written)
    }

    fn is_write_vectored(&self) -> bool {
        self.stream.is_write_vectored()
    }

    fn poll_flush(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        let flushed = Pin::new(&mut self.stream).poll_flush(cx);
        self.noted(cx, flushed)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        let shut = Pin::new(&mut self.stream).poll_shutdown(cx);
        self.noted(cx, shut)
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use tokio::io::{AsyncReadExt, AsyncWriteExt};

    #[tokio::test]
    async fn a_write_nobody_takes_fails_within_the_limit() {
        let (_peer, ours) = tokio::io::duplex(16);
        let mut guarded = WriteTimeout::new(ours, Duration::from_millis(50));
        let before = Instant::now();
        let failed = guarded.write_all(&[0; 64]).await.unwrap_err();
        assert_eq!(failed.kind(), io::ErrorKind::TimedOut);
        assert!(before.elapsed() >= Duration::from_millis(50));
    }

    #[tokio::test]
    async fn a_peer_that_reads_is_left_alone() {
        let (mut peer, ours) = tokio::io::duplex(16);
        let mut guarded = WriteTimeout::new(ours, Duration::from_secs(30));
        let mut taken = Vec::new();
        let (written, read) = tokio::join!(
            async {
                guarded.write_all(&[7; 4096]).await?;
                guarded.shutdown().await
            },
            peer.read_to_end(&mut taken)
        );
        written.unwrap();
        assert_eq!(read.unwrap(), 4096);
    }
}
