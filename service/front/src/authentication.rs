//! Authentication: that it is one request; Host and Origin; then who it is; what is public is named here.

use std::sync::Arc;

use axum::extract::{Request, State};
use axum::middleware::Next;
use axum::response::Response;
use http::{HeaderValue, header};

use super::accept::Connection;
use super::error_reply::ErrorReply;
use super::observer::CallObserver;
use super::origin_check::OriginCheck;
use super::request_length::Length;
use crate::access::{Access, IdentityError, Peer};

/// What everyone may see: whether the service is well, and what an editor reads.
/// Everything else is for those who are known.
const PUBLIC: &[&str] = &["/health", "/schema/"];

/// What a request is checked against.
pub(super) struct Authentication {
    pub(super) origins: OriginCheck,
    pub(super) access: Arc<Access>,
    pub(super) observer: Option<Arc<dyn CallObserver>>,
}

/// Lets a request through, with who asks in its extensions.
pub(super) async fn authenticate(
    State(authentication): State<Arc<Authentication>>,
    mut request: Request,
    next: Next,
) -> Response {
    let peer = request
        .extensions()
        .get::<Connection>()
        .map(Connection::peer);
    match authentication.check(peer, &mut request) {
        Ok(()) => next.run(request).await,
        Err(reply) => {
            let header = |name| request.headers().get(name).cloned();
            let (host, origin) = (header(header::HOST), header(header::ORIGIN));
            let kind = reply.wire().kind;
            tracing::warn!(?host, ?origin, peer = peer.map(tracing::field::display), %kind, "refused a request");
            if let Some(observer) = &authentication.observer {
                observer.refused_request(kind, peer);
            }
            let mut response = reply.response();
            if matches!(reply, ErrorReply::NoToken | ErrorReply::BadToken) {
                let challenge = HeaderValue::from_static("Bearer realm=\"trisect\"");
                response
                    .headers_mut()
                    .insert(header::WWW_AUTHENTICATE, challenge);
            }
            response
        }
    }
}

impl Authentication {
    fn check(&self, peer: Option<Peer>, request: &mut Request) -> Result<(), ErrorReply> {
        if request.extensions().get() == Some(&Length::Both) {
            return Err(ErrorReply::TwoLengths);
        }
        // Over a Unix socket no page of a browser comes, and there is no host to name.
        if !matches!(peer, Some(Peer::Unix { .. })) {
            self.origins.check(request.uri(), request.headers())?;
        }
        let peer = peer.ok_or(ErrorReply::Internal)?;
        let identity = match self.access.identify(peer, request.headers()) {
            Ok(identity) => identity,
            Err(IdentityError::NoToken) if is_public(request.uri().path()) => return Ok(()),
            Err(IdentityError::NoToken) => return Err(ErrorReply::NoToken),
            Err(IdentityError::BadToken) => return Err(ErrorReply::BadToken),
        };
        // Methods look up the role, the rate limit and the audit trail who it was.
        request.extensions_mut().insert(identity.role);
        request.extensions_mut().insert(identity);
        Ok(())
    }
}

fn is_public(path: &str) -> bool {
    PUBLIC.iter().any(|open| match open.strip_suffix('/') {
        Some(_) => path.starts_with(open),
        None => {
            path == *open
                || path
                    .strip_prefix(open)
                    .is_some_and(|rest| rest.starts_with('/'))
        }
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_what_is_named_is_public() {
        for (path, open) in [
            ("/health", true),
            ("/health/live", true),
            ("/schema/case.schema.json", true),
            ("/rpc", false),
            ("/metrics", false),
            ("/healthy", false),
            ("/schema", false),
            ("/reports/1", false),
            ("/", false),
        ] {
            assert_eq!(is_public(path), open, "{path}");
        }
    }
}
