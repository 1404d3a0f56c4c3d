//! Connecting to a service: plain TCP, TLS, or a Unix socket.

use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use rustls::crypto::ring;
use rustls::pki_types::pem::PemObject as _;
use rustls::pki_types::{CertificateDer, ServerName};
use rustls::{ClientConfig, RootCertStore};
use tokio::net::{TcpStream, UnixStream};
use tokio::time::timeout;
use tokio_rustls::TlsConnector;
use trisect_wire::RPC_PATH;
use trisect_wire::client::Client;
use url::Url;

use crate::exit::CliError;
use crate::server::Server;

/// How long connecting may take.
const CONNECT_TIMEOUT: Duration = Duration::from_secs(5);

/// Where a service is.
#[derive(Debug, PartialEq, Eq)]
enum Address {
    /// Over TCP as it is.
    Plain {
        /// What the client connects to.
        url: String,
    },
    /// Over TCP and TLS.
    Tls {
        /// The host, which the certificate has to name.
        host: String,
        port: u16,
        /// The same without TLS, for the WebSocket request inside it.
        url: String,
    },
    /// A Unix socket.
    Unix {
        /// Its file.
        path: PathBuf,
    },
}

/// Reads an address as it is given on the command line.
fn address(text: &str) -> Result<Address, CliError> {
    let wrong = |why: &str| {
        CliError::Wrong(format!(
            "`{text}` is not the address of a service: {why}; write it as ws://127.0.0.1:7474/rpc, \
             https://trisect.example:7443 or unix:/run/trisect/rpc.sock"
        ))
    };
    if let Some(path) = text.strip_prefix("unix:") {
        // `unix:///run/…` is written as well.
        let path = path.strip_prefix("//").unwrap_or(path);
        if path.is_empty() {
            return Err(wrong("it has no path"));
        }
        return Ok(Address::Unix {
            path: PathBuf::from(path),
        });
    }
    let mut url = Url::parse(text).map_err(|error| wrong(&error.to_string()))?;
    let tls = match url.scheme() {
        "ws" | "http" => false,
        "wss" | "https" => true,
        other => return Err(wrong(&format!("`{other}:` is not known"))),
    };
    let host = url.host_str().ok_or_else(|| wrong("it has no host"))?;
    let host = host.trim_matches(['[', ']']).to_owned();
    let port = url.port_or_known_default().unwrap_or_default();
    // Between schemes of the web this does not fail.
    let _ = url.set_scheme("ws");
    if url.path() == "/" {
        url.set_path(RPC_PATH);
    }
    let url = String::from(url);
    Ok(if tls {
        Address::Tls { host, port, url }
    } else {
        Address::Plain { url }
    })
}

/// Connects to a service.
///
/// # Errors
/// That it cannot be reached, or does not let this client in.
pub async fn connect(server: &Server) -> Result<Client, CliError> {
    let token = server.token.as_deref();
    match address(&server.url)? {
        Address::Plain { url } => Ok(Client::connect_as(&url, token).await?),
        Address::Unix { path } => {
            let stream = in_time(UnixStream::connect(&path)).await;
            let stream = stream.map_err(|error| socket_error(&path, &error))?;
            Ok(Client::over(stream, &format!("ws://localhost{RPC_PATH}"), token).await?)
        }
        Address::Tls { host, port, url } => {
            let stream = tls_handshake(&host, port, server.ca.as_deref()).await?;
            Ok(Client::over(stream, &url, token).await?)
        }
    }
}

/// Awaits something for as long as connecting may take.
async fn in_time<T>(doing: impl Future<Output = io::Result<T>>) -> io::Result<T> {
    let late = |_| io::Error::new(io::ErrorKind::TimedOut, "it does not answer in time");
    timeout(CONNECT_TIMEOUT, doing).await.map_err(late)?
}

fn socket_error(path: &Path, error: &io::Error) -> CliError {
    let way_out = match error.kind() {
        io::ErrorKind::NotFound => "is the service there, with `[unix] path` in its configuration?",
        io::ErrorKind::ConnectionRefused => "nothing listens there: start the service",
        io::ErrorKind::PermissionDenied => {
            "its file does not let this user in: see `[unix] mode`, and the group of the service"
        }
        _ => "is it the socket of a service?",
    };
    CliError::Wrong(format!(
        "cannot connect to {}: {error}; {way_out}",
        path.display()
    ))
}

/// A TLS connection to a host that its certificate names.
async fn tls_handshake(
    host: &str,
    port: u16,
    ca: Option<&Path>,
) -> Result<tokio_rustls::client::TlsStream<TcpStream>, CliError> {
    let fault = |error: &dyn std::fmt::Display, way_out: &str| {
        CliError::Wrong(format!(
            "cannot connect to {host}, port {port}: {error}{way_out}"
        ))
    };
    let connector = tls_connector(ca)?;
    let name = ServerName::try_from(host.to_owned()).map_err(|error| fault(&error, ""))?;
    let stream = in_time(TcpStream::connect((host, port))).await;
    let stream = stream.map_err(|error| fault(&error, ": is the service there?"))?;
    // Small messages go out as they are; if that cannot be set, they are only slower.
    let _ = stream.set_nodelay(true);
    let stream = in_time(connector.connect(name, stream)).await;
    stream.map_err(|error| {
        let distrusted = error.to_string().contains("certificate");
        let way_out = if distrusted {
            "; name the file of the certificate, or of its authority, with --ca (TRISECT_CA)"
        } else {
            ": is TLS spoken there?"
        };
        fault(&error, way_out)
    })
}

/// Trust in the certificates of a file, or in the system's.
fn tls_connector(ca: Option<&Path>) -> Result<TlsConnector, CliError> {
    let mut roots = RootCertStore::empty();
    match ca {
        Some(path) => {
            let pem = std::fs::read(path).map_err(|source| CliError::File {
                what: "read",
                path: path.display().to_string(),
                source,
            })?;
            roots.add_parsable_certificates(CertificateDer::pem_slice_iter(&pem).flatten());
            if roots.is_empty() {
                return Err(CliError::Wrong(format!(
                    "there is no certificate in {}: it has to be PEM",
                    path.display()
                )));
            }
        }
        // What of them cannot be used is left out: the handshake will say so.
        None => {
            roots.add_parsable_certificates(rustls_native_certs::load_native_certs().certs);
        }
    }
    let set_up = ClientConfig::builder_with_provider(Arc::new(ring::default_provider()))
        .with_safe_default_protocol_versions()
        .map_err(|error| CliError::Wrong(format!("cannot set up encryption: {error}")))?;
    let config = set_up.with_root_certificates(roots).with_no_client_auth();
    Ok(TlsConnector::from(Arc::new(config)))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn check(text: &str, expected: Option<Address>) {
        match (address(text), expected) {
            (Ok(found), Some(expected)) => assert_eq!(found, expected, "{text}"),
            (Err(CliError::Wrong(said)), None) => {
                assert!(said.contains("write it as"), "{text}: {said}");
            }
            other => panic!("{text}: {other:?}"),
        }
    }

    #[test]
    fn addresses_are_told_apart() {
        let plain = |url: &str| {
            Some(Address::Plain {
                url: url.to_owned(),
            })
        };
        let tls = |host: &str, port, url: &str| {
            Some(Address::Tls {
                host: host.to_owned(),
                port,
                url: url.to_owned(),
            })
        };
        let unix = |path: &str| Some(Address::Unix { path: path.into() });
        check("ws://127.0.0.1:7474/rpc", plain("ws://127.0.0.1:7474/rpc"));
        check("http://localhost:7474", plain("ws://localhost:7474/rpc"));
        check(
            "https://bay.example",
            tls("bay.example", 443, "ws://bay.example/rpc"),
        );
        check("wss://[::1]:7443/x", tls("::1", 7443, "ws://[::1]:7443/x"));
        check("unix:/run/rpc.sock", unix("/run/rpc.sock"));
        check("unix:///run/rpc.sock", unix("/run/rpc.sock"));
        for none in ["", "nonsense", "ftp://bay.example", "unix:", "7474"] {
            check(none, None);
        }
    }

    #[test]
    fn a_file_without_a_certificate_is_refused() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("ca.pem");
        let said = |file: &Path| tls_connector(Some(file)).err().unwrap().to_string();
        assert!(said(&file).contains("cannot read"));
        std::fs::write(&file, "no certificate").unwrap();
        assert!(said(&file).contains("has to be PEM"));
        assert!(tls_connector(None).is_ok());
    }
}
