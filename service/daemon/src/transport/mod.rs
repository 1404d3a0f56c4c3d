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
//! | `accept` | connections: accepting, counting, stopping |
//! | `stall` | ends a connection that does not take what it is sent |
//! | `gate` | Host and Origin |
//! | `http`, `websocket`, `outbox` | the two transports |
//! | `envelope` | what a text asks for |
//! | `dispatch` | running it, putting the reply together |
//! | `refusal` | what the transport itself answers |
//!
//! Unusual ids (`-1`, `1.5`, `1e3`, beyond 64 bits) are answered under exactly
//! the text they came with; a subscription needs a string, null or a whole
//! number of up to 64 bits. Notifications are carried out, and answered by
//! nothing: 204 over HTTP. The entries of a batch run one after the other; the
//! calls of one WebSocket side by side, replies in the order they are ready.

mod accept;
mod dispatch;
mod envelope;
mod gate;
mod http;
mod outbox;
mod refusal;
mod settings;
mod stall;
#[cfg(test)]
mod tests;
mod websocket;

use std::sync::Arc;

use axum::extract::{Request, State};
use axum::http::{Method, header};
use axum::middleware::{self, Next};
use axum::response::Response;
use axum::routing::any;
use axum::{Extension, Router};
use jsonrpsee::server::Methods;
use tokio::net::TcpListener;
use tokio_util::sync::CancellationToken;

use accept::Connection;
use dispatch::{Caller, Dispatcher};
use gate::Gate;
use refusal::Refusal;
pub use settings::TransportSettings;
use websocket::Conversation;

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

/// Serves `methods` at `/rpc` and `routes` beside it, until `stop` is
/// cancelled; then lets running calls finish for up to
/// [`TransportSettings::stop_within`], closes the WebSockets and returns.
///
/// What layers put into the extensions of an HTTP request reaches the methods,
/// over HTTP and WebSocket alike.
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
    let conversation = Conversation {
        dispatcher: Arc::new(Dispatcher {
            methods: methods.into(),
            batch_entries: settings.batch_entries,
            reply_bytes: settings.reply_bytes,
        }),
        settings: Arc::new(settings),
        stop,
    };
    let settings = conversation.settings.clone();
    let stop = conversation.stop.clone();
    let gate = Arc::new(Gate::new(&settings.host_names, &settings.origins));
    let router = Router::new()
        .route("/rpc", any(rpc).with_state(conversation))
        .merge(routes)
        // Methods look up the caller's role in the extensions.
        .layer(Extension(settings.role))
        .layer(middleware::from_fn_with_state(gate, through));
    accept::run(listener, router, settings, stop).await
}

/// Lets a request through the gate.
async fn through(State(gate): State<Arc<Gate>>, request: Request, next: Next) -> Response {
    match gate.check(request.uri(), request.headers()) {
        Ok(()) => next.run(request).await,
        Err(refusal) => {
            let header = |name| request.headers().get(name).cloned();
            let (host, origin) = (header(header::HOST), header(header::ORIGIN));
            tracing::warn!(
                ?host,
                ?origin,
                "refused a request by its {}",
                refusal.wire().kind
            );
            refusal.response()
        }
    }
}

/// Everything at `/rpc`: a POST, or the upgrade to a WebSocket.
async fn rpc(State(conversation): State<Conversation>, mut request: Request) -> Response {
    let Some(connection) = request.extensions_mut().remove::<Connection>() else {
        return Refusal::Internal.response();
    };
    let caller = Caller {
        connection: connection.id(),
        extensions: request.extensions().clone(),
        subscribing: None,
    };
    if jsonrpsee::server::ws::is_upgrade_request(&request) {
        let (response, conversing) = websocket::upgrade(conversation, request, caller);
        if let Some(conversing) = conversing {
            connection.carry_on(conversing);
        }
        return response;
    }
    if request.method() != Method::POST {
        return Refusal::HttpMethod.response();
    }
    let (parts, body) = request.into_parts();
    let Conversation {
        dispatcher,
        settings,
        ..
    } = conversation;
    http::post(&dispatcher, &settings, &parts.headers, body, &caller).await
}
