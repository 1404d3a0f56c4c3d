//! The server's side of the table: handlers are registered by row, and what is the same for all of
//! them happens here. Parameters are parsed by name, the caller's role is checked, refusals get their
//! code and data, and a subscriber that is too slow is told what it missed.

mod feed;
mod params;
mod position;

pub use feed::{Feed, FeedReceiver, Publisher};
pub use params::parse;

use crate::error::{ErrorKind, WireError};
use crate::method::{Method, Role, Subscription};
use crate::table::RpcDiscover;
use crate::types::OpenRpc;
use http::Extensions;
use jsonrpsee::RpcModule;
use jsonrpsee_types::ErrorObjectOwned;
use std::future::Future;
use std::sync::Arc;

/// Registers the handler of a method.
///
/// The caller's [`Role`] is taken from the request's extensions, where the transport must have put it;
/// a request without one is refused, so that a forgotten layer opens nothing. The handler runs on the
/// connection's task and is dropped if a WebSocket client leaves: what must finish belongs elsewhere.
///
/// # Panics
/// If the method is registered twice, which is a mistake in the program.
pub fn register<M, C, H, F>(module: &mut RpcModule<C>, handler: H)
where
    M: Method,
    C: Send + Sync + 'static,
    H: Fn(Arc<C>, M::Params) -> F + Clone + Send + Sync + 'static,
    F: Future<Output = Result<M::Result, WireError>> + Send,
{
    let registered = module.register_async_method(M::NAME, move |raw, context, extensions| {
        let handler = handler.clone();
        async move {
            permit(&extensions, M::NAME, M::ROLE)?;
            let params = parse::<M::Params>(raw.as_str())?;
            // Freed before the handler waits: a large submission is not held twice.
            drop(raw);
            Ok::<_, ErrorObjectOwned>(handler(context, params).await?)
        }
    });
    assert!(registered.is_ok(), "{} is registered twice", M::NAME);
}

/// Registers the handler of a subscription: it answers the feed the subscriber is to be told.
///
/// # Panics
/// If the subscription is registered twice, which is a mistake in the program.
pub fn register_watch<S, C, H, F>(module: &mut RpcModule<C>, handler: H)
where
    S: Subscription,
    C: Send + Sync + 'static,
    H: Fn(Arc<C>, S::Params) -> F + Clone + Send + Sync + 'static,
    F: Future<Output = Result<Feed<S>, WireError>> + Send,
{
    let registered = module.register_subscription(
        S::NAME,
        S::NAME,
        S::UNWATCH,
        move |raw, pending, context, extensions| {
            let handler = handler.clone();
            async move {
                // Before it is accepted: who may not subscribe, or asks for what is not there, gets an error as the
                // reply, not a subscription that ends.
                let opened = async {
                    permit(&extensions, S::NAME, S::ROLE)?;
                    handler(context, parse::<S::Params>(raw.as_str())?).await
                };
                match opened.await {
                    Ok(feed) => {
                        // An error here means the subscriber has left already.
                        match pending.accept().await {
                            Ok(sink) => feed.tell(sink).await,
                            Err(_) => Ok(()),
                        }
                    }
                    Err(refusal) => {
                        pending.reject(ErrorObjectOwned::from(refusal)).await;
                        Ok(())
                    }
                }
            }
        },
    );
    assert!(registered.is_ok(), "{} is registered twice", S::NAME);
}

/// Registers `rpc.discover`.
///
/// # Panics
/// If it is registered twice.
pub fn register_discover<C: Send + Sync + 'static>(module: &mut RpcModule<C>) {
    register::<RpcDiscover, _, _, _>(module, |_, _| async { Ok(OpenRpc(crate::openrpc())) });
}

/// Refuses a caller whose role does not reach the method.
fn permit(extensions: &Extensions, name: &str, least: Role) -> Result<(), WireError> {
    match extensions.get::<Role>() {
        Some(role) if *role >= least => Ok(()),
        Some(role) => Err(ErrorKind::NotPermitted
            .because(format!(
                "{name} needs the role `{least}`; the caller has `{role}`"
            ))
            .hint(format!("use a token with the role `{least}`"))),
        None => Err(ErrorKind::NotPermitted
            .because(format!(
                "{name} needs the role `{least}`; the caller has none"
            ))
            .hint("send a token")),
    }
}

#[cfg(test)]
mod tests;
