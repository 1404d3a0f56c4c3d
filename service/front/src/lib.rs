//! JSON-RPC 2.0 over HTTP POST and WebSocket at `/rpc`, beside other routes, on
//! one port.
//!
//! jsonrpsee keeps the methods and runs subscriptions. The way to them is our
//! own, because jsonrpsee's server takes requests with unusual ids for
//! notifications, answers notifications with `null`, calls `"method": 1` a
//! parse error, and lets a WebSocket have any number of calls running: all of
//! it decided before any layer of it can be reached.
//!
//! | file | subject |
//! |---|---|
//! | `settings` | limits and names |
//! | `sockets`, `listen`, `tls` | what is listened on; certificates |
//! | `accept` | connections: accepting, serving HTTP/1.1, stopping |
//! | `connection_limit` | how many there may be, and what one more is told |
//! | `write_timeout` | slow readers: ends a connection that does not take what it is sent |
//! | `request_length` | refuses requests that say in two ways how long they are |
//! | `origin_check` | Host and Origin headers |
//! | `access` | tokens, roles, rate limits |
//! | `authentication` | who calls, and what needs no token |
//! | `observer` | whom every call is told: counting, the audit trail |
//! | `http_post` | JSON-RPC over HTTP POST |
//! | `websocket` | JSON-RPC over a WebSocket: calls at once, subscriptions, pings |
//! | `websocket_reader`, `websocket_writer` | its frames: what a client may send, what it is sent |
//! | `framing` | what a text asks for: requests, notifications, batches |
//! | `dispatch` | calling the methods, putting the reply together under the request's id |
//! | `error_reply` | what the transport itself answers: errors, with kind and HTTP status |
//!
//! Every id, unusual ones too (`-1`, `1.5`, `1e3`, beyond 64 bits), is answered
//! under exactly the text it came with; a subscription needs a string, null or a whole
//! number of up to 64 bits. Notifications are carried out, and answered by
//! nothing: 204 over HTTP. The entries of a batch run one after the other; the
//! calls of one WebSocket side by side, replies in the order they are ready.
//!
//! Invariants, each an absence:
//! - no bay, journal or configuration is known here: methods, routes and settings are handed in;
//! - no frame is guessed at, no reply is given to what was not asked;
//! - a token is kept nowhere but with its holder: see [`access`].

mod accept;
pub mod access;
mod authentication;
mod connection_limit;
mod dispatch;
mod error_reply;
mod framing;
mod http_post;
mod listen;
mod observer;
mod origin_check;
mod request_length;
mod settings;
mod sockets;
#[cfg(test)]
mod tests;
mod tls;
mod websocket;
mod websocket_reader;
mod websocket_writer;
mod write_timeout;

use std::sync::Arc;

use axum::Router;
use axum::extract::{Request, State};
use axum::middleware;
use axum::response::Response;
use axum::routing::any;
use http::Method;
use jsonrpsee::Methods;
use tokio::net::TcpListener;
use tokio_util::sync::CancellationToken;

use accept::Connection;
use authentication::Authentication;
use dispatch::{Caller, Dispatcher};
use error_reply::ErrorReply;
pub use listen::Listener;
pub use observer::{CallEnded, CallObserver};
use origin_check::OriginCheck;
pub use settings::TransportSettings;
pub use sockets::{HandedOver, SocketError, SocketSettings, Sockets, UnixSocket};
pub use tls::TlsFront;
pub use tls::{TlsError, TlsFiles};
use websocket::Session;

use crate::access::{Access, TokenlessRoles};

/// Why the transport ended by itself.
#[derive(Debug, thiserror::Error)]
pub enum TransportError {
    /// The listening socket does not give connections any more.
    #[error("could not accept connections on the listening socket; restart the service")]
    Accept {
        /// What the system said.
        #[source]
        source: std::io::Error,
    },
}

/// Serves `methods` at `/rpc` and `routes` beside it on one listener, without
/// tokens: whoever comes from this machine may do what the settings' role may.
///
/// ```
/// use trisect_front::{TransportSettings, serve};
/// use trisect_wire::client::Client;
/// use trisect_wire::table::BayList;
/// use trisect_wire::types::{Bays, NoParams};
///
/// # fn main() -> Result<(), Box<dyn std::error::Error>> {
/// # tokio::runtime::Runtime::new()?.block_on(async {
/// let mut methods = jsonrpsee::RpcModule::new(());
/// trisect_wire::serve::register::<BayList, _, _, _>(&mut methods, |_, NoParams {}| async {
///     Ok(Bays { bays: Vec::new() })
/// });
/// let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await?;
/// let url = format!("ws://{}/rpc", listener.local_addr()?);
/// let stop = tokio_util::sync::CancellationToken::new();
/// let settings = TransportSettings::default();
/// let serving = serve(listener, methods, axum::Router::new(), settings, stop.clone());
/// let serving = tokio::spawn(serving);
///
/// let client = Client::connect(&url).await?;
/// assert!(client.call::<BayList>(&NoParams {}).await?.bays.is_empty());
/// stop.cancel();
/// serving.await??;
/// # Ok(())
/// # })
/// # }
/// ```
///
/// # Panics
/// When `routes` has a route at `/rpc` as well.
///
/// # Errors
/// When the listener keeps failing, which no waiting mends.
pub async fn serve(
    listener: TcpListener,
    methods: impl Into<Methods>,
    routes: Router,
    settings: TransportSettings,
    stop: CancellationToken,
) -> Result<(), TransportError> {
    let places = TokenlessRoles {
        loopback: Some(settings.role),
        unix: None,
    };
    // Without a file there is nothing that could fail.
    let access = Access::new(None, places, f64::INFINITY).unwrap_or_else(|_| Access::closed());
    let front = Front {
        listeners: vec![Listener::Plain(listener)],
        methods: methods.into(),
        routes,
        settings,
        access: Arc::new(access),
        observer: None,
    };
    front.serve(stop).await
}

/// Everything that is served, and who may come in.
pub struct Front {
    /// What connections are accepted on.
    pub listeners: Vec<Listener>,
    /// The methods at `/rpc`.
    pub methods: Methods,
    /// What is served beside it; there is none at `/rpc`.
    pub routes: Router,
    /// Limits and names.
    pub settings: TransportSettings,
    /// Who may come in.
    pub access: Arc<Access>,
    /// Who looks on.
    pub observer: Option<Arc<dyn CallObserver>>,
}

impl Front {
    /// Serves until `stop` is cancelled; then lets running calls finish for up to
    /// [`TransportSettings::stop_within`], closes the WebSockets and returns.
    ///
    /// Who asks reaches the methods in the extensions of the request, over HTTP
    /// and WebSocket alike.
    ///
    /// # Errors
    /// When a listener keeps failing, which no waiting mends.
    pub async fn serve(self, stop: CancellationToken) -> Result<(), TransportError> {
        let session = Session {
            dispatcher: Arc::new(Dispatcher {
                methods: self.methods,
                batch_entries: self.settings.batch_entries,
                reply_bytes: self.settings.reply_bytes,
                observer: self.observer.clone(),
            }),
            settings: Arc::new(self.settings),
            stop,
        };
        let settings = session.settings.clone();
        let stop = session.stop.clone();
        let authentication = Authentication {
            origins: OriginCheck::new(&settings.host_names, &settings.origins),
            access: self.access,
            observer: self.observer.clone(),
        };
        let router = Router::new()
            .route("/rpc", any(rpc).with_state(session))
            .merge(self.routes)
            .layer(middleware::from_fn_with_state(
                Arc::new(authentication),
                authentication::authenticate,
            ));
        accept::run(self.listeners, router, settings, self.observer, stop).await
    }
}

/// Everything at `/rpc`: a POST, or the upgrade to a WebSocket.
async fn rpc(State(session): State<Session>, mut request: Request) -> Response {
    let Some(connection) = request.extensions_mut().remove::<Connection>() else {
        return ErrorReply::Internal.response();
    };
    let caller = Caller {
        connection: connection.id(),
        peer: Some(connection.peer()),
        extensions: request.extensions().clone(),
        subscribing: None,
    };
    if soketto::handshake::http::is_upgrade_request(&request) {
        let (response, running) = websocket::upgrade(session, request, caller);
        if let Some(running) = running {
            connection.spawn_session(running);
        }
        return response;
    }
    if request.method() != Method::POST {
        return ErrorReply::HttpMethod.response();
    }
    let (parts, body) = request.into_parts();
    let Session {
        dispatcher,
        settings,
        ..
    } = session;
    http_post::answer(&dispatcher, &settings, &parts.headers, body, &caller).await
}
