//! Whom an encrypted connection trusts.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use rustls::crypto::ring;
use rustls::pki_types::CertificateDer;
use rustls::pki_types::pem::PemObject as _;
use rustls::{ClientConfig, RootCertStore};
use tokio_rustls::TlsConnector;
use trisect_kit::read_file;

/// The longest file of certificates that is taken: the system's own have a quarter of a million bytes.
const LONGEST: u64 = 4 << 20;

/// Trust in the system's certificate authorities, or in those of a file alone.
#[derive(Clone)]
pub struct Tls(pub(crate) TlsConnector);

/// Certificates that cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum TlsError {
    /// The file cannot be read.
    #[error("cannot read the certificates in {path}: {source}", path = path.display())]
    Read {
        /// The file.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
    /// There is none in it.
    #[error("there is no certificate in {path}: it has to be PEM", path = path.display())]
    Empty {
        /// The file.
        path: PathBuf,
    },
    /// The library refuses what it was given.
    #[error("cannot set up encryption: {0}")]
    Setup(#[from] rustls::Error),
}

impl std::fmt::Debug for Tls {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Tls")
    }
}

impl Tls {
    /// Trusts the certificates of a PEM file, or those of the system.
    ///
    /// # Errors
    /// See [`TlsError`].
    pub fn new(ca_file: Option<&Path>) -> Result<Tls, TlsError> {
        let mut roots = RootCertStore::empty();
        match ca_file {
            Some(path) => {
                let read = |source| TlsError::Read {
                    path: path.to_owned(),
                    source,
                };
                let pem = read_file(path, LONGEST).map_err(read)?;
                let certificates = CertificateDer::pem_slice_iter(&pem);
                // A file may hold a key beside the certificates, or one that is of no use here: what counts is whether
                // anything is left to trust.
                roots.add_parsable_certificates(certificates.flatten());
                if roots.is_empty() {
                    return Err(TlsError::Empty {
                        path: path.to_owned(),
                    });
                }
            }
            // What of them cannot be used is left out: the handshake will say so.
            None => {
                roots.add_parsable_certificates(rustls_native_certs::load_native_certs().certs);
            }
        }
        let provider = Arc::new(ring::default_provider());
        let mut config = ClientConfig::builder_with_provider(provider)
            .with_safe_default_protocol_versions()?
            .with_root_certificates(roots)
            .with_no_client_auth();
        // The one protocol spoken here: a server of another alone refuses the handshake, which says more than a
        // request that it cannot read.
        config.alpn_protocols = vec![b"http/1.1".to_vec()];
        Ok(Tls(TlsConnector::from(Arc::new(config))))
    }
}
