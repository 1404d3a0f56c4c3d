//! A socket of an instrument on the network.

use std::io;
use std::time::Duration;

use tokio::net::{TcpStream, lookup_host};
use tokio::time::timeout;

use super::Endpoint;
use crate::Networks;

/// A connection that takes longer is none: the instrument stands in the bay.
const PATIENCE: Duration = Duration::from_secs(2);

/// A host and a port, such as `192.168.1.20:5025`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TcpPort {
    /// The address, as it was written in the settings.
    pub address: String,
}

/// Why an address cannot be connected to, with the way out.
#[derive(Debug, thiserror::Error)]
pub enum TcpError {
    /// Nobody listens.
    #[error(
        "cannot connect to {address}: nobody listens there; is the instrument on, its network service on, and the port number right?"
    )]
    Refused {
        /// The address.
        address: String,
        /// What the system said.
        source: io::Error,
    },
    /// Nobody answers.
    #[error("cannot connect to {address}: no answer within {} s; is the instrument on the network, and its address right?", PATIENCE.as_secs())]
    NoAnswer {
        /// The address.
        address: String,
    },
    /// It lies in a network that is not allowed.
    #[error(
        "must not connect to {address}: instruments that are attached over the wire reach networks of one's own only by `[attach] networks` of the configuration"
    )]
    Forbidden {
        /// The address.
        address: String,
    },
    /// Anything else, such as a name that nobody knows.
    #[error(
        "cannot connect to {address}: {source}; write it as host:port, such as 192.168.1.20:5025"
    )]
    Other {
        /// The address.
        address: String,
        /// What the system said.
        source: io::Error,
    },
}

/// Resolves, and connects to an address that was checked: what a name stands for a moment later does not matter.
async fn connect(address: &str, networks: &Networks) -> io::Result<TcpStream> {
    let mut last = None;
    for found in lookup_host(address).await? {
        if !networks.allows(found.ip()) {
            last.get_or_insert_with(|| io::ErrorKind::PermissionDenied.into());
            continue;
        }
        match TcpStream::connect(found).await {
            Ok(stream) => return Ok(stream),
            Err(error) => last = Some(error),
        }
    }
    Err(last.unwrap_or_else(|| io::ErrorKind::AddrNotAvailable.into()))
}

impl TcpPort {
    /// Connects.
    ///
    /// # Errors
    /// See [`TcpError`].
    pub async fn connect(&self, networks: &Networks) -> Result<TcpStream, TcpError> {
        let address = self.address.clone();
        match timeout(PATIENCE, connect(&address, networks)).await {
            Err(_) => Err(TcpError::NoAnswer { address }),
            Ok(Err(source)) if source.kind() == io::ErrorKind::PermissionDenied => {
                Err(TcpError::Forbidden { address })
            }
            Ok(Err(source)) if source.kind() == io::ErrorKind::ConnectionRefused => {
                Err(TcpError::Refused { address, source })
            }
            Ok(Err(source)) => Err(TcpError::Other { address, source }),
            Ok(Ok(stream)) => match stream.set_nodelay(true) {
                Ok(()) => Ok(stream),
                Err(source) => Err(TcpError::Other { address, source }),
            },
        }
    }
}

impl Endpoint for TcpPort {
    type Stream = TcpStream;

    async fn open(&self, networks: &Networks) -> Result<TcpStream, String> {
        self.connect(networks)
            .await
            .map_err(|error| error.to_string())
    }

    fn name(&self) -> String {
        self.address.clone()
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use tokio::net::TcpListener;

    async fn check(address: &str, expected: &str) {
        let port = TcpPort {
            address: address.to_owned(),
        };
        let error = port
            .connect(&Networks::all())
            .await
            .unwrap_err()
            .to_string();
        assert!(error.contains(expected), "{error}");
    }

    #[tokio::test]
    async fn connects_or_says_why_not() {
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let address = listener.local_addr().unwrap().to_string();
        let port = TcpPort {
            address: address.clone(),
        };
        port.connect(&Networks::all()).await.unwrap();
        let nothing = port.connect(&Networks::besides(Vec::new())).await;
        assert!(matches!(nothing, Err(TcpError::Forbidden { .. })));
        drop(listener);
        check(&address, "nobody listens there").await;
        check("no port here", "write it as host:port").await;
    }
}
