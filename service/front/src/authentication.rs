//! Who comes in: Host and Origin first, then who it is; what needs no asking is named here.

use std::sync::Arc;

use axum::extract::{Request, State};
use axum::http::{HeaderValue, header};
use axum::middleware::Next;
use axum::response::Response;

use super::accept::Connection;
use super::observer::CallObserver;
use super::origin_check::OriginCheck;
use super::refusal::Refusal;
use crate::access::{Access, Peer, Unknown};

/// What everyone may see: whether the service is well, and what an editor reads.
/// Everything else is for those who are known.
const OPEN: &[&str] = &["/health", "/schema/"];

/// What a request has to get through.
pub(super) struct Authentication {
    pub(super) origins: OriginCheck,
    pub(super) access: Arc<Access>,
    pub(super) observer: Option<Arc<dyn CallObserver>>,
}

/// Lets a request through, with who asks in its extensions.
pub(super) async fn through(
    State(admission): State<Arc<Authentication>>,
    mut request: Request,
    next: Next,
) -> Response {
    let peer = request
        .extensions()
        .get::<Connection>()
        .map(Connection::peer);
    match admission.admit(peer, &mut request) {
        Ok(()) => next.run(request).await,
        Err(refusal) => {
            let header = |name| request.headers().get(name).cloned();
            let (host, origin) = (header(header::HOST), header(header::ORIGIN));
            let kind = refusal.wire().kind;
            tracing::warn!(?host, ?origin, peer = peer.map(tracing::field::display), %kind, "refused a request");
            if let Some(observer) = &admission.observer {
                observer.turned_away(kind, peer);
            }
            let mut response = refusal.response();
            if matches!(refusal, Refusal::NoToken | Refusal::BadToken) {
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
    fn admit(&self, peer: Option<Peer>, request: &mut Request) -> Result<(), Refusal> {
        // Over a Unix socket no page of a browser comes, and there is no host to name.
        if !matches!(peer, Some(Peer::Unix { .. })) {
            self.origins.check(request.uri(), request.headers())?;
        }
        let peer = peer.ok_or(Refusal::Internal)?;
        let identity = match self.access.identify(peer, request.headers()) {
            Ok(identity) => identity,
            Err(Unknown::NoToken) if is_open(request.uri().path()) => return Ok(()),
            Err(Unknown::NoToken) => return Err(Refusal::NoToken),
            Err(Unknown::BadToken) => return Err(Refusal::BadToken),
        };
        // Methods look up the role, the audit trail who it was.
        request.extensions_mut().insert(identity.role);
        request.extensions_mut().insert(identity);
        Ok(())
    }
}

fn is_open(path: &str) -> bool {
    OPEN.iter().any(|open| match open.strip_suffix('/') {
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
    fn only_what_is_named_needs_no_asking() {
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
            assert_eq!(is_open(path), open, "{path}");
        }
    }
}
