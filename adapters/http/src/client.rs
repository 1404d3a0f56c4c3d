//! One request, one answer, on a connection that is kept while it lasts.

use std::io;
use std::net::{IpAddr, SocketAddr};
use std::pin::Pin;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::task::{Context, Poll};
use std::time::Duration;

use bytes::Bytes;
use http::header::{CONTENT_LENGTH, CONTENT_TYPE, HOST, HeaderValue, USER_AGENT};
use http::{HeaderMap, Method, Request};
use http_body_util::{BodyExt as _, Full, Limited};
use hyper::client::conn::http1::{self, SendRequest};
use hyper_util::rt::TokioIo;
use rustls::pki_types::ServerName;
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::net::{TcpStream, lookup_host};
use tokio::time::timeout;
use trisect_kit::{Networks, error_chain};

use crate::{Tls, Url};

/// What is asked.
#[derive(Clone, Debug)]
pub struct HttpRequest {
    /// The method.
    pub method: Method,
    /// Headers, besides those of every request.
    pub headers: HeaderMap,
    /// The body, if there is one.
    pub body: Bytes,
}

impl HttpRequest {
    /// A GET with these headers.
    pub fn get(headers: HeaderMap) -> HttpRequest {
        HttpRequest {
            method: Method::GET,
            headers,
            body: Bytes::new(),
        }
    }

    /// A POST of a body of this media type.
    pub fn post(content_type: &'static str, body: impl Into<Bytes>) -> HttpRequest {
        let content_type = HeaderValue::from_static(content_type);
        HttpRequest {
            method: Method::POST,
            headers: HeaderMap::from_iter([(CONTENT_TYPE, content_type)]),
            body: body.into(),
        }
    }
}

/// What was answered.
#[derive(Clone, Debug)]
pub struct HttpResponse {
    /// The status.
    pub status: u16,
    /// The headers.
    pub headers: HeaderMap,
    /// The body.
    pub body: Bytes,
}

/// Why there is no answer.
#[derive(Debug, thiserror::Error)]
pub enum CallError {
    /// The name has no address.
    #[error("cannot call {url}: its host is not known: is the name right?")]
    NoHost {
        /// The address.
        url: String,
    },
    /// All its addresses are of a kind that was not allowed.
    #[error(
        "cannot call {url}: {address} may not be connected to; name its kind (loopback, link-local, private) in the webhook's `allow`, or in `[attach] networks`, if it is meant"
    )]
    Forbidden {
        /// The address.
        url: String,
        /// What its host stands for.
        address: IpAddr,
    },
    /// Nobody answers there.
    #[error("cannot call {url}: {source}; is it on the network, and the port right?")]
    Connect {
        /// The address.
        url: String,
        /// What the system said.
        source: io::Error,
    },
    /// The other end is not whom it should be, or does not speak TLS.
    #[error(
        "cannot call {url} safely: {source}; does its certificate fit its name, and is it trusted here?"
    )]
    Tls {
        /// The address.
        url: String,
        /// What the library said.
        source: io::Error,
    },
    /// It took too long.
    #[error("{url} did not answer within {} ms", limit.as_millis())]
    Late {
        /// The address.
        url: String,
        /// How long was waited.
        limit: Duration,
    },
    /// The connection was lost, or what came is no HTTP.
    #[error("{url} did not answer: {why}")]
    Lost {
        /// The address.
        url: String,
        /// What happened.
        why: String,
    },
    /// The answer is longer than is taken.
    #[error("{url} answered more than {limit} bytes")]
    TooLong {
        /// The address.
        url: String,
        /// How many are taken.
        limit: usize,
    },
}

/// Calls one address.
pub struct HttpClient {
    url: Url,
    tls: Tls,
    networks: Networks,
    limit: Duration,
    longest: usize,
    kept: Option<SendRequest<Full<Bytes>>>,
    /// Bytes that came in, on all connections.
    received: Arc<AtomicU64>,
}

impl HttpClient {
    /// A client of `url` that connects to allowed addresses only, waits `limit`
    /// for a whole answer, and takes up to `longest` bytes of it.
    pub fn new(
        url: Url,
        tls: Tls,
        networks: Networks,
        limit: Duration,
        longest: usize,
    ) -> HttpClient {
        HttpClient {
            url,
            tls,
            networks,
            limit,
            longest,
            kept: None,
            received: Arc::default(),
        }
    }

    /// The address it calls.
    pub fn url(&self) -> &Url {
        &self.url
    }

    /// Bytes that came in so far.
    pub fn received(&self) -> u64 {
        self.received.load(Ordering::Relaxed)
    }

    /// Asks, and waits for the whole answer. After an error the next call opens
    /// a new connection.
    ///
    /// # Errors
    /// See [`CallError`].
    pub async fn call(&mut self, request: &HttpRequest) -> Result<HttpResponse, CallError> {
        let limit = self.limit;
        let called = timeout(limit, self.within_limit(request)).await;
        let called = called.unwrap_or_else(|_| {
            Err(CallError::Late {
                url: self.url.to_string(),
                limit,
            })
        });
        // Where in the middle of an answer it stands is not known: the rest of it would be taken for the next one.
        if called.is_err() {
            self.kept = None;
        }
        called
    }

    async fn within_limit(&mut self, request: &HttpRequest) -> Result<HttpResponse, CallError> {
        if let Some(mut sender) = self.kept.take()
            && sender.ready().await.is_ok()
        {
            // A server closes an idle connection when it likes, also just as a request is on its way to it. That is told
            // from a request it did take by whether a byte came back: then it must not be sent twice.
            let before = self.received();
            match self.exchange(sender, request).await {
                Err(CallError::Lost { .. }) if self.received() == before => {}
                answered => return answered,
            }
        }
        let sender = self.connect().await?;
        self.exchange(sender, request).await
    }

    async fn exchange(
        &mut self,
        mut sender: SendRequest<Full<Bytes>>,
        request: &HttpRequest,
    ) -> Result<HttpResponse, CallError> {
        let lost = |why: String| CallError::Lost {
            url: self.url.to_string(),
            why,
        };
        let message = self
            .message(request)
            .map_err(|error| lost(error.to_string()))?;
        let answer = sender
            .send_request(message)
            .await
            .map_err(|e| lost(error_chain(&e)))?;
        let (head, body) = answer.into_parts();
        let longest = self.longest;
        // Not by `Content-Length`, which may be missing, or a lie.
        let body = Limited::new(body, longest)
            .collect()
            .await
            .map_err(|error| {
                if error.is::<http_body_util::LengthLimitError>() {
                    let url = self.url.to_string();
                    return CallError::TooLong {
                        url,
                        limit: longest,
                    };
                }
                lost(error.to_string())
            })?;
        self.kept = Some(sender);
        Ok(HttpResponse {
            status: head.status.as_u16(),
            headers: head.headers,
            body: body.to_bytes(),
        })
    }

    /// The request as it is sent, with the headers of every request.
    fn message(&self, request: &HttpRequest) -> Result<Request<Full<Bytes>>, http::Error> {
        let mut message = Request::builder()
            .method(request.method.clone())
            .uri(&self.url.path)
            .body(Full::new(request.body.clone()))?;
        let headers = message.headers_mut();
        headers.extend(request.headers.clone());
        // After what the caller says: `Host` and the length are not the caller's to say.
        headers.insert(HOST, HeaderValue::from_str(&self.url.authority)?);
        headers.insert(
            USER_AGENT,
            HeaderValue::from_static(concat!("trisect/", env!("CARGO_PKG_VERSION"))),
        );
        if !request.body.is_empty() {
            headers.insert(CONTENT_LENGTH, HeaderValue::from(request.body.len()));
        }
        Ok(message)
    }

    /// Resolves, checks, and connects to an address that was checked: what a
    /// name stands for a moment later does not matter.
    async fn connect(&self) -> Result<SendRequest<Full<Bytes>>, CallError> {
        let url = || self.url.to_string();
        let found = lookup_host((self.url.host.as_str(), self.url.port)).await;
        let found: Vec<SocketAddr> = found
            .map_err(|_| CallError::NoHost { url: url() })?
            .collect();
        let first = found
            .first()
            .ok_or_else(|| CallError::NoHost { url: url() })?
            .ip();
        // What is said if no address is allowed; of several that were tried, what the last one failed with.
        let mut failed = CallError::Forbidden {
            url: url(),
            address: first,
        };
        for address in found
            .into_iter()
            .filter(|address| self.networks.allows(address.ip()))
        {
            match TcpStream::connect(address).await {
                Ok(stream) => return self.open(stream).await,
                Err(source) => failed = CallError::Connect { url: url(), source },
            }
        }
        Err(failed)
    }

    async fn open(&self, stream: TcpStream) -> Result<SendRequest<Full<Bytes>>, CallError> {
        // Without it the last bytes of a request may wait for an acknowledgement.
        let _ = stream.set_nodelay(true);
        let counted = CountedStream {
            stream,
            received: Arc::clone(&self.received),
        };
        if !self.url.secure {
            return self.handshake(counted).await;
        }
        let tls = |source| CallError::Tls {
            url: self.url.to_string(),
            source,
        };
        let name = ServerName::try_from(self.url.host.clone());
        let name = name.map_err(|error| tls(io::Error::other(error)))?;
        let safe = self.tls.0.connect(name, counted).await.map_err(tls)?;
        self.handshake(safe).await
    }

    async fn handshake<S>(&self, stream: S) -> Result<SendRequest<Full<Bytes>>, CallError>
    where
        S: AsyncRead + AsyncWrite + Unpin + Send + 'static,
    {
        let opened = http1::handshake(TokioIo::new(stream)).await;
        let (sender, connection) = opened.map_err(|error| CallError::Lost {
            url: self.url.to_string(),
            why: error_chain(&error),
        })?;
        // It ends when the sender is dropped; how, the sender's error says.
        tokio::spawn(async move { drop(connection.await) });
        Ok(sender)
    }
}

/// A stream whose incoming bytes are counted.
struct CountedStream {
    stream: TcpStream,
    received: Arc<AtomicU64>,
}

impl AsyncRead for CountedStream {
    fn poll_read(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        buffer: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        let before = buffer.filled().len();
        let polled = Pin::new(&mut self.stream).poll_read(cx, buffer);
        let more = buffer.filled().len().saturating_sub(before);
        self.received.fetch_add(more as u64, Ordering::Relaxed);
        polled
    }
}

impl AsyncWrite for CountedStream {
    fn poll_write(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        bytes: &[u8],
    ) -> Poll<io::Result<usize>> {
        Pin::new(&mut self.stream).poll_write(cx, bytes)
    }

    fn poll_flush(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_flush(cx)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_shutdown(cx)
    }
}
