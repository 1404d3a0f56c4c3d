//! In how many ways a request says how long it is: an I/O wrapper that reads the heads along with hyper.
//!
//! RFC 9112, section 6.3: a request with both Content-Length and Transfer-Encoding has two ends, and whatever stands
//! between this service and its client may believe in the other one; what follows is then a request that nobody sent
//! (request smuggling). hyper takes the chunks and drops the other header before a service sees the request, so the
//! head has to be looked at as it comes in. It is read by the library that hyper reads it by.

use std::collections::VecDeque;
use std::io;
use std::pin::Pin;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::task::{Context, Poll, ready};

use http::header;
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};

/// Headers of a request that hyper takes.
const HEADERS: usize = 100;

/// How a request says where it ends.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Length {
    /// By Content-Length, or it has no body.
    Counted,
    /// By its chunks. Where they end is not followed here: the connection has to end with it.
    Chunked,
    /// By both.
    Both,
}

/// The heads that came by and were not asked for yet.
#[derive(Debug, Clone)]
pub(super) struct Heads {
    watch: Arc<Mutex<Watch>>,
    /// Bytes of a head that hyper takes.
    longest: usize,
}

#[derive(Debug)]
struct Watch {
    at: At,
    /// The head that is coming in, as far as it came.
    begun: Vec<u8>,
    seen: VecDeque<Length>,
}

/// Where in its requests a connection stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum At {
    Head,
    /// In a body, with so many bytes to come.
    Body(u64),
    /// Behind the last head there is, or one that hyper does not take either.
    End,
}

/// A stream whose request heads are looked at.
#[derive(Debug)]
pub(super) struct WatchedHeads<S> {
    stream: S,
    heads: Heads,
}

impl Heads {
    /// Looks at the heads that come by a stream, up to so many bytes each.
    pub(super) fn watch<S>(stream: S, longest: usize) -> (WatchedHeads<S>, Heads) {
        let watch = Watch {
            at: At::Head,
            begun: Vec::new(),
            seen: VecDeque::new(),
        };
        let heads = Heads {
            watch: Arc::new(Mutex::new(watch)),
            longest,
        };
        let watched = WatchedHeads {
            stream,
            heads: heads.clone(),
        };
        (watched, heads)
    }

    /// How the next request says its length, asked for once for each that hyper has read.
    pub(super) fn next(&self) -> Length {
        // A request without a head that was seen is none that may be believed.
        self.lock().seen.pop_front().unwrap_or(Length::Both)
    }

    /// Nothing more is looked at: what comes now are no requests.
    pub(super) fn end(&self) {
        self.lock().at = At::End;
    }

    fn lock(&self) -> MutexGuard<'_, Watch> {
        // Nothing in it is left half done by a panic: there is none to be had.
        self.watch.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Watch {
    fn take(&mut self, mut bytes: &[u8], longest: usize) {
        while !bytes.is_empty() {
            match self.at {
                At::End => return,
                At::Body(left) => {
                    let here = usize::try_from(left).map_or(bytes.len(), |l| l.min(bytes.len()));
                    bytes = bytes.split_at(here).1;
                    self.at = match left - here as u64 {
                        0 => At::Head,
                        left => At::Body(left),
                    };
                }
                At::Head => {
                    let before = self.begun.len();
                    self.begun.extend_from_slice(bytes);
                    let Some(head) = read_head(&self.begun) else {
                        if self.begun.len() > longest {
                            self.end();
                        }
                        return;
                    };
                    let Ok((length, body, at)) = head else {
                        return self.end();
                    };
                    // The head ends in what came last, or it would have ended before.
                    bytes = bytes.get(length - before..).unwrap_or_default();
                    self.begun.clear();
                    self.seen.push_back(body);
                    self.at = at;
                }
            }
        }
    }

    fn end(&mut self) {
        self.at = At::End;
        self.begun = Vec::new();
    }
}

/// A head's bytes, how it says its length, and what follows; `None` before it is complete.
fn read_head(bytes: &[u8]) -> Option<Result<(usize, Length, At), httparse::Error>> {
    let mut headers = [httparse::EMPTY_HEADER; HEADERS];
    let mut request = httparse::Request::new(&mut headers);
    let length = match request.parse(bytes) {
        Ok(httparse::Status::Complete(length)) => length,
        Ok(httparse::Status::Partial) => return None,
        Err(error) => return Some(Err(error)),
    };
    let named = |name: header::HeaderName| {
        let mut headers = request.headers.iter();
        headers.find(|header| name.as_str().eq_ignore_ascii_case(header.name))
    };
    let chunked = named(header::TRANSFER_ENCODING).is_some();
    let counted = named(header::CONTENT_LENGTH).map(|header| header.value);
    Some(Ok(match (chunked, counted) {
        (false, None) => (length, Length::Counted, At::Head),
        (false, Some(count)) => {
            let count = std::str::from_utf8(count).ok();
            // hyper refuses what is not a number, and closes the connection.
            let at = match count.and_then(|count| count.trim().parse().ok()) {
                Some(0) => At::Head,
                Some(count) => At::Body(count),
                None => At::End,
            };
            (length, Length::Counted, at)
        }
        (true, None) => (length, Length::Chunked, At::End),
        (true, Some(_)) => (length, Length::Both, At::End),
    }))
}

impl<S: AsyncRead + Unpin> AsyncRead for WatchedHeads<S> {
    fn poll_read(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        buf: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        let before = buf.filled().len();
        ready!(Pin::new(&mut self.stream).poll_read(cx, buf))?;
        let longest = self.heads.longest;
        let came = buf.filled().get(before..).unwrap_or_default();
        self.heads.lock().take(came, longest);
        Poll::Ready(Ok(()))
    }
}

impl<S: AsyncWrite + Unpin> AsyncWrite for WatchedHeads<S> {
    fn poll_write(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        buf: &[u8],
    ) -> Poll<io::Result<usize>> {
        Pin::new(&mut self.stream).poll_write(cx, buf)
    }

    fn poll_write_vectored(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        bufs: &[io::IoSlice<'_>],
    ) -> Poll<io::Result<usize>> {
        Pin::new(&mut self.stream).poll_write_vectored(cx, bufs)
    }

    fn is_write_vectored(&self) -> bool {
        self.stream.is_write_vectored()
    }

    fn poll_flush(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_flush(cx)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_shutdown(cx)
    }
}
