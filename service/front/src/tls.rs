//! TLS: the certificate and key in use, and taking up new ones while connections go on.

use std::path::{Path, PathBuf};
use std::sync::{Arc, PoisonError, RwLock};

use rustls::ServerConfig;
use rustls::crypto::ring;
use rustls::pki_types::pem::PemObject;
use rustls::pki_types::{CertificateDer, PrivateKeyDer};
use tokio_rustls::TlsAcceptor;

use crate::access::Stamp;

/// Why a certificate cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum TlsError {
    /// A file that cannot be read as PEM.
    #[error("cannot read the {what} {path}; it must be a PEM file that the service may read", path = path.display())]
    File {
        /// Certificate or key.
        what: &'static str,
        /// The file.
        path: PathBuf,
        /// What is wrong with it.
        source: rustls::pki_types::pem::Error,
    },
    /// A file with no certificate in it.
    #[error("there is no certificate in {path}; it must be a PEM file, the service's own first", path = path.display())]
    Empty {
        /// The file.
        path: PathBuf,
    },
    /// Certificate and key do not belong together, or cannot be used.
    #[error("the certificate {certificate} and the key {key} cannot be used together",
        certificate = certificate.display(), key = key.display())]
    Pair {
        /// The certificate.
        certificate: PathBuf,
        /// The key.
        key: PathBuf,
        /// What is wrong.
        source: rustls::Error,
    },
}

/// The two files.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TlsFiles {
    /// The certificate and those that vouch for it, PEM.
    pub certificate: PathBuf,
    /// Its key, PEM.
    pub key: PathBuf,
}

impl TlsFiles {
    /// Reads both and holds them against each other.
    ///
    /// # Errors
    /// Files that cannot be read, or do not belong together.
    pub fn load(&self) -> Result<Arc<ServerConfig>, TlsError> {
        let file = |what, path: &Path| {
            let path = path.to_owned();
            move |source| TlsError::File { what, path, source }
        };
        let unreadable = file("certificate", &self.certificate);
        let chain = CertificateDer::pem_file_iter(&self.certificate)
            .and_then(Iterator::collect::<Result<Vec<_>, _>>)
            .map_err(unreadable)?;
        if chain.is_empty() {
            return Err(TlsError::Empty {
                path: self.certificate.clone(),
            });
        }
        let key = PrivateKeyDer::from_pem_file(&self.key).map_err(file("key", &self.key))?;
        let pair = |source| TlsError::Pair {
            certificate: self.certificate.clone(),
            key: self.key.clone(),
            source,
        };
        let builder = ServerConfig::builder_with_provider(Arc::new(ring::default_provider()))
            .with_safe_default_protocol_versions()
            .map_err(pair)?;
        let mut config = builder
            .with_no_client_auth()
            .with_single_cert(chain, key)
            .map_err(pair)?;
        // All that is served: a WebSocket begins with an upgrade of it.
        config.alpn_protocols = vec![b"http/1.1".to_vec()];
        Ok(Arc::new(config))
    }

    fn stamp(&self) -> Stamps {
        (Stamp::of(&self.certificate), Stamp::of(&self.key))
    }
}

type Stamps = (Option<Stamp>, Option<Stamp>);

/// What connections are taken in with.
#[derive(Debug)]
pub struct TlsFront {
    files: TlsFiles,
    now: RwLock<(Stamps, Arc<ServerConfig>)>,
}

impl TlsFront {
    /// Loads the files.
    ///
    /// # Errors
    /// As [`TlsFiles::load`].
    pub fn new(files: TlsFiles) -> Result<TlsFront, TlsError> {
        let stamp = files.stamp();
        let config = files.load()?;
        Ok(TlsFront {
            files,
            now: RwLock::new((stamp, config)),
        })
    }

    /// Takes up the files if they have changed; whether they had. Connections
    /// that are open keep what they began with.
    ///
    /// # Errors
    /// Files that cannot be used; what was in use stays so.
    pub fn follow(&self) -> Result<bool, TlsError> {
        let stamp = self.files.stamp();
        // Whoever renews writes one file after the other. In between the pair does not fit and is refused; as the stamp is
        // kept with what is in use, it is tried again the next time.
        if self.now.read().unwrap_or_else(PoisonError::into_inner).0 == stamp {
            return Ok(false);
        }
        let config = self.files.load()?;
        *self.now.write().unwrap_or_else(PoisonError::into_inner) = (stamp, config);
        Ok(true)
    }

    /// What the next connection is taken in with.
    pub(super) fn acceptor(&self) -> TlsAcceptor {
        let now = self.now.read().unwrap_or_else(PoisonError::into_inner);
        TlsAcceptor::from(Arc::clone(&now.1))
    }
}
