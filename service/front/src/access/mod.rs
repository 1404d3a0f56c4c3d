//! Who may ask, and how much: tokens, roles, rates.
//!
//! | file | subject |
//! |---|---|
//! | `token` | one token: made, read, hashed |
//! | `token_file` | the tokens on disk: read, changed as a whole |
//! | `grants` | the tokens that are valid now, followed while the service runs |
//! | `rate_limit` | how many calls a second |
//! | `administer` | tokens made, listed and revoked |
//!
//! Invariants, each an absence:
//! - a token is nowhere but with its holder: the file and the log have its hash alone;
//! - nobody is let in by default: a role comes from a token, or from a place that
//!   the configuration names (loopback, the Unix socket).

pub mod administer;
mod grants;
mod rate_limit;
mod token;
mod token_file;

use std::net::SocketAddr;
use std::path::PathBuf;
use std::sync::Arc;

use http::{HeaderMap, header};
use trisect_wire::Role;

use grants::Grant;
pub use grants::Grants;
pub(crate) use grants::Stamp;
use token::Token;
pub use token_file::{TokenFileError, read as read_tokens};

/// The subprotocol of the service's WebSockets. A browser cannot set headers on a
/// WebSocket: it offers this one and [`TOKEN_SUBPROTOCOL`] with its token, and is
/// answered this one, so that the token is not said back.
pub(crate) const SUBPROTOCOL: &str = "trisect.v1";
/// What a token follows in `Sec-WebSocket-Protocol`.
const TOKEN_SUBPROTOCOL: &str = "trisect.token.";

/// Where a connection comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Peer {
    /// Over TCP, with TLS or without.
    Tcp(SocketAddr),
    /// Over the Unix socket, by a process of this user.
    Unix {
        /// The user's number, where the system tells it.
        uid: Option<u32>,
    },
}

impl std::fmt::Display for Peer {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Peer::Tcp(address) => address.fmt(f),
            Peer::Unix { uid: Some(uid) } => write!(f, "unix:uid={uid}"),
            Peer::Unix { uid: None } => f.write_str("unix"),
        }
    }
}

/// Who asks: what a request is known to come from.
#[derive(Clone, Debug)]
pub struct Identity {
    /// `token:NAME`, `loopback` or `unix:uid=N`.
    pub who: Arc<str>,
    /// What they may do.
    pub role: Role,
    grant: Option<Arc<Grant>>,
}

impl Identity {
    /// Takes one call off what the token's rate leaves; whether there was one.
    pub(crate) fn may_call(&self) -> bool {
        self.grant.as_ref().is_none_or(|grant| grant.rate.take())
    }

    /// Waits until the token is revoked; for good where there is none.
    pub(crate) async fn revoked(&self) {
        match &self.grant {
            Some(grant) => grant.revoked.cancelled().await,
            None => std::future::pending().await,
        }
    }
}

/// Why a caller is not known.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum IdentityError {
    /// No token, and no place that needs none.
    NoToken,
    /// A token that is none, or is revoked.
    BadToken,
}

/// Lets callers in.
#[derive(Debug)]
pub struct Access {
    grants: Grants,
    /// What callers without a token may do, by where they come from.
    without_token: TokenlessRoles,
}

/// What callers without a token may do, by where they come from.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct TokenlessRoles {
    /// From this machine.
    pub loopback: Option<Role>,
    /// Over the Unix socket, whose file's permissions say who may open it.
    pub unix: Option<Role>,
}

impl Access {
    /// Access by the tokens of a file, and without one.
    ///
    /// # Errors
    /// A token file that cannot be used.
    pub fn new(
        file: Option<PathBuf>,
        without_token: TokenlessRoles,
        calls_per_second: f64,
    ) -> Result<Access, TokenFileError> {
        let grants = Grants::new(file, calls_per_second)?;
        Ok(Access {
            grants,
            without_token,
        })
    }

    /// Access for nobody.
    pub(crate) fn closed() -> Access {
        Access {
            grants: Grants::none(),
            without_token: TokenlessRoles::default(),
        }
    }

    /// The valid tokens.
    pub fn grants(&self) -> &Grants {
        &self.grants
    }

    /// Who asks. A token that is there has to be valid, wherever it comes from.
    pub(crate) fn identify(
        &self,
        peer: Peer,
        headers: &HeaderMap,
    ) -> Result<Identity, IdentityError> {
        if let Some(text) = token_of(headers)? {
            // Not taken for nobody's where loopback needs none: a client that was given a token means to be held to it,
            // and a revoked one would go on unnoticed.
            let token = Token::parse(text).ok_or(IdentityError::BadToken)?;
            let grant = self.grants.find(&token).ok_or(IdentityError::BadToken)?;
            return Ok(Identity {
                who: Arc::clone(&grant.who),
                role: grant.role,
                grant: Some(grant),
            });
        }
        let (who, role): (Arc<str>, _) = match peer {
            // A socket of both families has the IPv4 loopback as `::ffff:127.0.0.1`.
            Peer::Tcp(from) if from.ip().to_canonical().is_loopback() => {
                (Arc::from("loopback"), self.without_token.loopback)
            }
            Peer::Tcp(_) => return Err(IdentityError::NoToken),
            Peer::Unix { .. } => (Arc::from(peer.to_string()), self.without_token.unix),
        };
        Ok(Identity {
            who,
            role: role.ok_or(IdentityError::NoToken)?,
            grant: None,
        })
    }
}

/// The token a request carries, if any; two are none.
fn token_of(headers: &HeaderMap) -> Result<Option<&str>, IdentityError> {
    let mut authorizations = headers.get_all(header::AUTHORIZATION).iter();
    if let Some(authorization) = authorizations.next() {
        let text = authorization
            .to_str()
            .map_err(|_| IdentityError::BadToken)?;
        let (scheme, token) = text.split_once(' ').ok_or(IdentityError::BadToken)?;
        let bearer = scheme.eq_ignore_ascii_case("bearer") && authorizations.next().is_none();
        return if bearer {
            Ok(Some(token.trim()))
        } else {
            Err(IdentityError::BadToken)
        };
    }
    let mut offered = subprotocols(headers).filter_map(|p| p.strip_prefix(TOKEN_SUBPROTOCOL));
    match (offered.next(), offered.next()) {
        (token, None) => Ok(token),
        (_, Some(_)) => Err(IdentityError::BadToken),
    }
}

/// What a WebSocket client offers to speak.
pub(crate) fn subprotocols(headers: &HeaderMap) -> impl Iterator<Item = &str> {
    let values = headers.get_all(header::SEC_WEBSOCKET_PROTOCOL).iter();
    let texts = values.filter_map(|value| value.to_str().ok());
    texts.flat_map(|text| text.split(',')).map(str::trim)
}

#[cfg(test)]
mod tests;
