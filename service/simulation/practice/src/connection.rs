//! The connection to the service, as any other program has one.

use std::net::{IpAddr, Ipv4Addr, Ipv6Addr, SocketAddr};

use trisect_wire::client::{Client, ClientError, Watch};
use trisect_wire::method::{Method, Subscription};
use trisect_wire::{ErrorKind, RPC_PATH};

/// The variable of the environment that a token is taken from.
const TOKEN: &str = "TRISECT_TOKEN";

/// Why a call came to nothing.
#[derive(Debug, thiserror::Error)]
pub enum CallError {
    /// The caller's role does not reach it.
    #[error(
        "{doing}: it takes the role `manage`; set loopback = \"manage\" under [access] of the configuration, \
         or {TOKEN} to a token of that role"
    )]
    NotPermitted {
        /// What was wanted.
        doing: &'static str,
        /// The service's own words.
        source: Box<ClientError>,
    },
    /// The service refused it, or was lost.
    #[error("{doing}")]
    Failed {
        /// What was wanted.
        doing: &'static str,
        /// What came of it.
        source: Box<ClientError>,
    },
}

impl CallError {
    fn of(doing: &'static str, source: ClientError) -> CallError {
        let refused =
            matches!(&source, ClientError::Refused(why) if why.kind == ErrorKind::NotPermitted);
        let source = Box::new(source);
        if refused {
            CallError::NotPermitted { doing, source }
        } else {
            CallError::Failed { doing, source }
        }
    }

    /// The kind of the service's refusal, if it was one.
    pub fn refusal(&self) -> Option<ErrorKind> {
        let (CallError::NotPermitted { source, .. } | CallError::Failed { source, .. }) = self;
        match &**source {
            ClientError::Refused(why) => Some(why.kind),
            _ => None,
        }
    }

    /// Whether what was asked for is at fault, and not what came of it.
    pub(crate) fn is_request(&self) -> bool {
        // An instrument's name that is taken is taken in the configuration.
        matches!(
            self.refusal(),
            Some(ErrorKind::NotPermitted | ErrorKind::BayBusy)
        )
    }
}

/// A service.
pub(crate) struct Service {
    client: Client,
}

impl Service {
    /// Connects, with the token of the environment if there is one.
    pub(crate) async fn connect(address: SocketAddr) -> Result<Service, CallError> {
        let url = format!("ws://{}{RPC_PATH}", reachable(address));
        let token = std::env::var(TOKEN).ok().filter(|token| !token.is_empty());
        let client = Client::connect_as(&url, token.as_deref()).await;
        let client = client.map_err(|source| CallError::of("cannot reach the service", source))?;
        Ok(Service { client })
    }

    /// Calls a method; `doing` says what for, should it fail.
    pub(crate) async fn call<M: Method>(
        &self,
        doing: &'static str,
        params: &M::Params,
    ) -> Result<M::Result, CallError> {
        let answer = self.client.call::<M>(params).await;
        answer.map_err(|source| CallError::of(doing, source))
    }

    /// Subscribes; `doing` says what for, should it fail.
    pub(crate) async fn watch<S: Subscription>(
        &self,
        doing: &'static str,
        params: &S::Params,
    ) -> Result<Watch<S>, CallError> {
        let watch = self.client.watch::<S>(params).await;
        watch.map_err(|source| CallError::of(doing, source))
    }
}

/// Where a program of this machine reaches a service that listens at this address: one that
/// listens everywhere answers on loopback.
fn reachable(address: SocketAddr) -> SocketAddr {
    let here = match address.ip() {
        IpAddr::V4(ip) if ip.is_unspecified() => IpAddr::V4(Ipv4Addr::LOCALHOST),
        IpAddr::V6(ip) if ip.is_unspecified() => IpAddr::V6(Ipv6Addr::LOCALHOST),
        named => named,
    };
    SocketAddr::new(here, address.port())
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn what_listens_everywhere_is_reached_on_loopback() {
        for (listens, reached) in [
            ("0.0.0.0:7474", "127.0.0.1:7474"),
            ("[::]:7474", "[::1]:7474"),
            ("192.0.2.7:1", "192.0.2.7:1"),
        ] {
            assert_eq!(
                reachable(listens.parse().unwrap()),
                reached.parse().unwrap()
            );
        }
    }
}
