//! Error replies of the transport itself: what it answers when it does not pass a request on.

use axum::body::Body;
use axum::response::Response;
use http::{HeaderValue, StatusCode, header};
use jsonrpsee_types::ErrorObjectOwned;
use serde::Serialize;
use serde_json::value::RawValue;
use trisect_wire::{ErrorKind, WireError};

/// An error: what went wrong and the way out, with its kind and HTTP status.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum ErrorReply {
    Broken,
    Invalid(&'static str),
    UnknownMethod,
    Internal,
    BatchTooLarge,
    RequestTooLarge,
    ReplyTooLarge,
    NeedsWebSocket,
    TooManySubscriptions,
    HostRefused,
    OriginRefused,
    NoToken,
    BadToken,
    TooOften,
    ContentType,
    HttpMethod,
    Handshake,
    TwoLengths,
    TooSlow,
    Busy,
}

/// One row of the table: kind, what went wrong, what to do, and the HTTP
/// status of an answer that is this error as a whole.
type Row = (ErrorKind, &'static str, &'static str, StatusCode);

impl ErrorReply {
    #[rustfmt::skip]
    fn row(self) -> Row {
        use ErrorKind as Kind;
        use StatusCode as Status;
        match self {
            Self::Broken => (Kind::BrokenJson, "the message is not JSON", "send UTF-8 JSON", Status::OK),
            Self::Invalid(why) => (Kind::InvalidRequest, "the message is not a JSON-RPC 2.0 request", why, Status::OK),
            Self::UnknownMethod => (Kind::UnknownMethod, "there is no such method", "rpc.discover lists the methods", Status::OK),
            Self::Internal => (Kind::Internal, "the method failed", "the service's log says more", Status::OK),
            Self::BatchTooLarge => (Kind::TooLarge, "the batch has too many entries", "send it in several batches", Status::PAYLOAD_TOO_LARGE),
            Self::RequestTooLarge => (Kind::TooLarge, "the request is too long", "send it in several requests", Status::PAYLOAD_TOO_LARGE),
            Self::ReplyTooLarge => (Kind::TooLarge, "the reply would be too long", "ask for less at a time", Status::OK),
            Self::NeedsWebSocket => (Kind::InvalidRequest, "a subscription cannot be made this way", "call it over a WebSocket, outside a batch, with an id that is a string or a whole number", Status::OK),
            Self::TooManySubscriptions => (Kind::TooBusy, "this connection has as many subscriptions as it may", "end one, or open another connection", Status::OK),
            Self::HostRefused => (Kind::HostRefused, "the service does not answer to this host name", "call it by a loopback name, or add the name to the configuration", Status::FORBIDDEN),
            Self::OriginRefused => (Kind::OriginRefused, "pages of this origin may not call the service", "open the page from the service itself, or add the origin to the configuration", Status::FORBIDDEN),
            Self::NoToken => (Kind::TokenMissing, "the service does not know who calls", "send Authorization: Bearer and a token (trisectd token add); on a WebSocket of a browser offer the subprotocols trisect.v1 and trisect.token.TOKEN", Status::UNAUTHORIZED),
            Self::BadToken => (Kind::TokenRefused, "the token is not one that is valid here", "send one of `trisectd token list`, in one header, or ask for a new one", Status::UNAUTHORIZED),
            Self::TooOften => (Kind::RateLimited, "calls come faster than this token may make them", "wait, send several readings in one call, or have the token's rate raised", Status::OK),
            Self::ContentType => (Kind::InvalidRequest, "the content type is not JSON", "send Content-Type: application/json", Status::UNSUPPORTED_MEDIA_TYPE),
            Self::HttpMethod => (Kind::InvalidRequest, "this address takes POST and WebSocket upgrades", "POST the request, or open a WebSocket", Status::METHOD_NOT_ALLOWED),
            Self::Handshake => (Kind::InvalidRequest, "the WebSocket upgrade is not complete", "send Sec-WebSocket-Key and Sec-WebSocket-Version: 13", Status::BAD_REQUEST),
            Self::TwoLengths => (Kind::InvalidRequest, "the request says its length in two ways", "send Content-Length or Transfer-Encoding, not both", Status::BAD_REQUEST),
            Self::TooSlow => (Kind::InvalidRequest, "the request did not arrive in time", "send it without pauses", Status::REQUEST_TIMEOUT),
            Self::Busy => (Kind::TooBusy, "the service has as many connections as it takes", "close one, or try again later", Status::SERVICE_UNAVAILABLE),
        }
    }

    /// The HTTP status of an answer that is this error.
    pub(super) fn status(self) -> StatusCode {
        self.row().3
    }

    /// The error as `data` carries it.
    pub(super) fn wire(self) -> WireError {
        let (kind, message, hint, _) = self.row();
        kind.because(message).hint(hint)
    }

    /// The JSON-RPC reply; the id is the request's own text, or null.
    pub(super) fn text(self, id: Option<&RawValue>) -> String {
        text(self.wire(), id)
    }

    /// The whole HTTP answer.
    pub(super) fn response(self) -> Response {
        let mut response = json(self.status(), self.text(None));
        if self == Self::HttpMethod {
            let allowed = HeaderValue::from_static("POST");
            response.headers_mut().insert(header::ALLOW, allowed);
        }
        response
    }
}

/// The JSON-RPC reply that carries an error; the id is the request's own text, or null.
pub(super) fn text(wire: WireError, id: Option<&RawValue>) -> String {
    // The specification gives its own codes their messages.
    let message = match wire.kind {
        ErrorKind::BrokenJson => "Parse error".to_owned(),
        ErrorKind::InvalidRequest => "Invalid Request".to_owned(),
        ErrorKind::UnknownMethod => "Method not found".to_owned(),
        ErrorKind::Internal => "Internal error".to_owned(),
        _ => wire.message.clone(),
    };
    let reply = Reply {
        jsonrpc: "2.0",
        id: id.unwrap_or(RawValue::NULL),
        error: ErrorObjectOwned::owned(wire.kind.code(), message, Some(wire)),
    };
    // Text and numbers alone, which always serialise.
    serde_json::to_string(&reply).unwrap_or_default()
}

/// An HTTP answer with a JSON body.
pub(super) fn json(status: StatusCode, body: String) -> Response {
    let mut response = Response::new(Body::from(body));
    *response.status_mut() = status;
    let content_type = HeaderValue::from_static("application/json");
    response
        .headers_mut()
        .insert(header::CONTENT_TYPE, content_type);
    response
}

#[derive(Serialize)]
struct Reply<'a> {
    jsonrpc: &'static str,
    id: &'a RawValue,
    error: ErrorObjectOwned,
}
