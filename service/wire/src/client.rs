//! A client that calls by row of the table, over WebSocket.

use crate::error::WireError;
use crate::method::{Method, Subscription};
use futures_util::Stream;
use http::{HeaderMap, HeaderValue};
use jsonrpsee::client_transport::ws::{WsHandshakeError, WsTransportClientBuilder};
use jsonrpsee::core::client::{
    Client as RpcClient, ClientBuilder, ClientT, Error as RpcError,
    Subscription as RpcSubscription, SubscriptionClientT, SubscriptionCloseReason,
};
use jsonrpsee::core::traits::ToRpcParams;
use serde_json::value::{RawValue, to_raw_value};
use std::marker::PhantomData;
use std::pin::Pin;
use std::task::{Context, Poll, ready};
use std::time::Duration;
use tokio::io::{AsyncRead, AsyncWrite};
use url::Url;

/// Items a subscription holds while its reader is busy; past that the client ends it.
const WATCH_BUFFER: usize = 16_384;

/// Why a call or a connection failed.
#[derive(Debug, thiserror::Error)]
pub enum ClientError {
    /// The service refused the request and said why.
    #[error(transparent)]
    Refused(#[from] WireError),
    /// The service refused the request in a way this client does not know.
    #[error("{method}: the service answered error {code}: {message}")]
    Rpc {
        /// The method called.
        method: &'static str,
        /// The JSON-RPC error code.
        code: i32,
        /// The JSON-RPC error message.
        message: String,
    },
    /// The address is not one a client can connect to.
    #[error(
        "`{url}` is not the address of a service: {reason}; write it as ws://127.0.0.1:7474/rpc"
    )]
    Address {
        /// What was given.
        url: String,
        /// What is wrong with it.
        reason: String,
    },
    /// Nothing answers there, or it does not let this client in.
    #[error("cannot connect to {url}: {reason}")]
    Unreachable {
        /// The address.
        url: String,
        /// What happened, and what to do.
        reason: String,
        /// The failed handshake.
        #[source]
        source: Box<WsHandshakeError>,
    },
    /// The connection was lost, or the answer did not come in time.
    #[error("{method}: the connection to the service was lost: {source}")]
    Lost {
        /// The method called.
        method: &'static str,
        /// What happened.
        #[source]
        source: Box<RpcError>,
    },
    /// The service answered something else than the table says.
    #[error(
        "{method}: the service answered what this client cannot read: {source}; are both of one version?"
    )]
    Unreadable {
        /// The method called.
        method: &'static str,
        /// What is wrong with the answer.
        #[source]
        source: serde_json::Error,
    },
    /// This client read too slowly and ended the subscription itself.
    #[error(
        "{method}: items came faster than they were read, and the subscription was ended; subscribe again"
    )]
    TooSlow {
        /// The subscription.
        method: &'static str,
    },
}

/// A connection to a service.
///
/// ```no_run
/// use trisect_wire::client::{Client, ClientError};
/// use trisect_wire::table::{JobOpen, VerdictWatch};
/// use trisect_wire::types::{BayName, JobOpenParams};
///
/// # async fn example() -> Result<(), ClientError> {
/// let token = std::env::var("TRISECT_TOKEN").ok();
/// let client = Client::connect_as("ws://127.0.0.1:7474/rpc", token.as_deref()).await?;
/// let job = client
///     .call::<JobOpen>(&JobOpenParams {
///         bay: "bay-2".to_owned(),
///         machine: "plough truck Unit 14".to_owned(),
///         complaint: Some("cranks-no-start".to_owned()),
///         ruleset: None,
///         by: Some("M. Aldous".to_owned()),
///     })
///     .await?;
/// println!("{} is open", job.job);
/// let mut verdicts = client.watch::<VerdictWatch>(&BayName { bay: job.bay }).await?;
/// // The first item is how it stands.
/// let first = verdicts.next().await;
/// # let _ = first;
/// # Ok(())
/// # }
/// ```
#[derive(Debug)]
pub struct Client {
    rpc: RpcClient,
}

impl Client {
    /// Connects to a service, such as `ws://127.0.0.1:7474/rpc`.
    ///
    /// # Errors
    /// [`ClientError::Address`] and [`ClientError::Unreachable`].
    pub async fn connect(url: &str) -> Result<Self, ClientError> {
        Self::connect_as(url, None).await
    }

    /// Connects to a service with a token.
    ///
    /// # Errors
    /// As [`Client::connect`]; also a token that cannot stand in a header.
    pub async fn connect_as(url: &str, token: Option<&str>) -> Result<Self, ClientError> {
        let (sender, receiver) = builder(url, token)?
            .build(address(url)?)
            .await
            .map_err(|source| unreachable(url, source))?;
        Ok(Self {
            rpc: calling().build_with_tokio(sender, receiver),
        })
    }

    /// Speaks over a stream that leads to a service already: TLS, or a Unix socket. Of the address `url`, such as
    /// `ws://localhost/rpc`, host and path are what the service is asked for.
    ///
    /// # Errors
    /// As [`Client::connect_as`].
    pub async fn over<S>(stream: S, url: &str, token: Option<&str>) -> Result<Self, ClientError>
    where
        S: AsyncRead + AsyncWrite + Unpin + Send + 'static,
    {
        let (sender, receiver) = builder(url, token)?
            .build_with_stream(address(url)?, stream)
            .await
            .map_err(|source| unreachable(url, source))?;
        Ok(Self {
            rpc: calling().build_with_tokio(sender, receiver),
        })
    }

    /// Calls a method.
    ///
    /// # Errors
    /// [`ClientError::Refused`] with the service's own words, or what went wrong on the way.
    pub async fn call<M: Method>(&self, params: &M::Params) -> Result<M::Result, ClientError> {
        // As text, so that what jsonrpsee does for a call is compiled once rather than for each method of the table.
        let answer: Box<RawValue> = self
            .rpc
            .request(M::NAME, named(M::NAME, params)?)
            .await
            .map_err(|e| failed(M::NAME, e))?;
        serde_json::from_str(answer.get()).map_err(|source| ClientError::Unreadable {
            method: M::NAME,
            source,
        })
    }

    /// Subscribes; dropping the watch ends the subscription.
    ///
    /// # Errors
    /// As [`Client::call`].
    pub async fn watch<S: Subscription>(
        &self,
        params: &S::Params,
    ) -> Result<Watch<S>, ClientError> {
        let items = self
            .rpc
            .subscribe(S::NAME, named(S::NAME, params)?, S::UNWATCH)
            .await
            .map_err(|e| failed(S::NAME, e))?;
        Ok(Watch {
            items,
            ended: false,
            of: PhantomData,
        })
    }
}

/// The items of a subscription, as a stream. It ends when the service goes; a last error says if
/// this client was too slow, or an item could not be read.
#[derive(Debug)]
pub struct Watch<S: Subscription> {
    items: RpcSubscription<Box<RawValue>>,
    ended: bool,
    of: PhantomData<fn() -> S>,
}

impl<S: Subscription> Watch<S> {
    /// The next item; `None` when the connection is gone.
    pub async fn next(&mut self) -> Option<Result<S::Item, ClientError>> {
        std::future::poll_fn(|context| Pin::new(&mut *self).poll_next(context)).await
    }

    fn end(&mut self) -> Option<Result<S::Item, ClientError>> {
        // Said once; after that the stream is at its end, however often it is asked.
        let first = !std::mem::replace(&mut self.ended, true);
        let lagged = matches!(
            self.items.close_reason(),
            Some(SubscriptionCloseReason::Lagged)
        );
        (first && lagged).then_some(Err(ClientError::TooSlow { method: S::NAME }))
    }
}

impl<S: Subscription> Stream for Watch<S> {
    type Item = Result<S::Item, ClientError>;

    fn poll_next(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<Option<Self::Item>> {
        let item = match ready!(Pin::new(&mut self.items).poll_next(context)) {
            Some(item) => item.and_then(|raw| serde_json::from_str(raw.get())),
            None => return Poll::Ready(self.end()),
        };
        Poll::Ready(Some(item.map_err(|source| ClientError::Unreadable {
            method: S::NAME,
            source,
        })))
    }
}

/// Parameters as the JSON object they are; jsonrpsee's own are put together member by member.
struct Named(Box<RawValue>);

impl ToRpcParams for Named {
    fn to_rpc_params(self) -> Result<Option<Box<RawValue>>, serde_json::Error> {
        Ok(Some(self.0))
    }
}

fn named<P: serde::Serialize>(method: &'static str, params: &P) -> Result<Named, ClientError> {
    to_raw_value(params)
        .map(Named)
        .map_err(|source| ClientError::Unreadable { method, source })
}

/// A handshake that shows a token.
fn builder(url: &str, token: Option<&str>) -> Result<WsTransportClientBuilder, ClientError> {
    let mut headers = HeaderMap::new();
    if let Some(token) = token {
        let value = HeaderValue::from_str(&format!("Bearer {token}"));
        let mut value = value.map_err(|_| ClientError::Address {
            url: url.to_owned(),
            reason: "the token has characters that no token has".to_owned(),
        })?;
        // What is logged of a request then has no token in it.
        value.set_sensitive(true);
        headers.insert("authorization", value);
    }
    Ok(WsTransportClientBuilder::default()
        .set_headers(headers)
        .connection_timeout(Duration::from_secs(5)))
}

fn calling() -> ClientBuilder {
    ClientBuilder::new().max_buffer_capacity_per_subscription(WATCH_BUFFER)
}

fn address(url: &str) -> Result<Url, ClientError> {
    let refused = |reason: String| ClientError::Address {
        url: url.to_owned(),
        reason,
    };
    let address = Url::parse(url).map_err(|error| refused(error.to_string()))?;
    match address.scheme() {
        "ws" => Ok(address),
        other => Err(refused(format!("`{other}:` is not `ws:`"))),
    }
}

fn unreachable(url: &str, source: WsHandshakeError) -> ClientError {
    let reason = match &source {
        WsHandshakeError::Io(error) if error.kind() == std::io::ErrorKind::ConnectionRefused => {
            "nothing listens there; start the service with `trisectd serve`, or name another with --server".to_owned()
        }
        WsHandshakeError::Rejected { status_code: 401 } => {
            "the service does not know this client; give a token that is valid there (TRISECT_TOKEN or --token)".to_owned()
        }
        WsHandshakeError::Rejected { status_code: status @ 403 } => {
            format!("the service does not let this client in (HTTP {status})")
        }
        WsHandshakeError::Rejected { status_code: 503 } => {
            "the service has as many connections as it takes; close one, or try again later".to_owned()
        }
        WsHandshakeError::Rejected { status_code } => {
            format!("what listens there is no Trisect service, or the path is wrong (HTTP {status_code})")
        }
        other => other.to_string(),
    };
    ClientError::Unreachable {
        url: url.to_owned(),
        reason,
        source: Box::new(source),
    }
}

fn failed(method: &'static str, error: RpcError) -> ClientError {
    match error {
        // A service of another version may know kinds this client does not: what it said is passed on all the same.
        RpcError::Call(object) => match WireError::from_error_object(&object) {
            Some(refusal) => ClientError::Refused(refusal),
            None => ClientError::Rpc {
                method,
                code: object.code(),
                message: object.message().to_owned(),
            },
        },
        RpcError::ParseError(source) => ClientError::Unreadable { method, source },
        other => ClientError::Lost {
            method,
            source: Box::new(other),
        },
    }
}

#[cfg(test)]
mod tests;
