//! The Host and Origin checks, on HTTP and on the WebSocket upgrade.
//!
//! A page on the internet may have its own name resolve to 127.0.0.1 (DNS
//! rebinding) and then ask the service as if it were the same site: its Host
//! header still carries its own name. A page may also open a WebSocket to any
//! address outright: its Origin header tells.

use std::net::IpAddr;
use std::str::FromStr;

use http::uri::{Authority, Scheme};
use http::{HeaderMap, Uri, header};

use super::error_reply::ErrorReply;

/// The names and origins that are let in, beside the loopback names and the
/// service's own pages.
#[derive(Debug, Clone)]
pub(super) struct OriginCheck {
    names: Vec<String>,
    origins: Vec<String>,
}

impl OriginCheck {
    /// A check that lets in loopback names, `names`, own pages and `origins`.
    pub(super) fn new(names: &[String], origins: &[String]) -> Self {
        let lower = |texts: &[String]| {
            let texts = texts.iter();
            let texts = texts.map(|text| text.trim_end_matches('/').to_ascii_lowercase());
            texts.collect()
        };
        Self {
            names: lower(names),
            origins: lower(origins),
        }
    }

    /// Lets a request through, or says why not.
    pub(super) fn check(&self, uri: &Uri, headers: &HeaderMap) -> Result<(), ErrorReply> {
        let host = self.host(uri, headers).ok_or(ErrorReply::HostRefused)?;
        // A browser sends it with every POST to another site and with every WebSocket. What is no browser may leave it
        // out, or lie: against that there are tokens.
        let mut origins = headers.get_all(header::ORIGIN).iter();
        let Some(origin) = origins.next() else {
            return Ok(());
        };
        let origin = origin.to_str().map_err(|_| ErrorReply::OriginRefused)?;
        let allowed = self.is_listed(origin) || is_same_host(origin, &host);
        if allowed && origins.next().is_none() {
            Ok(())
        } else {
            Err(ErrorReply::OriginRefused)
        }
    }

    /// The host the request is for, if it is one of ours.
    fn host(&self, uri: &Uri, headers: &HeaderMap) -> Option<Authority> {
        let mut hosts = headers.get_all(header::HOST).iter();
        let host = Authority::from_str(hosts.next()?.to_str().ok()?).ok()?;
        // The request line may name a host too (RFC 9112, 3.2.2), and then that one is meant.
        let known = hosts.next().is_none()
            && self.is_ours(&host)
            && uri.authority().is_none_or(|named| self.is_ours(named));
        known.then_some(host)
    }

    fn is_ours(&self, authority: &Authority) -> bool {
        let host = authority.host().to_ascii_lowercase();
        let bare = host.trim_start_matches('[').trim_end_matches(']');
        let loopback = bare == "localhost"
            || bare
                .parse::<IpAddr>()
                .is_ok_and(|address| address.is_loopback());
        // What is before an `@` is a user, and `localhost@elsewhere` is elsewhere.
        !authority.as_str().contains('@') && (loopback || self.names.contains(&host))
    }

    fn is_listed(&self, origin: &str) -> bool {
        self.origins.contains(&origin.to_ascii_lowercase())
    }
}

/// Whether an origin is the host the request went to, port included: another
/// program's page on the same machine is another origin.
fn is_same_host(origin: &str, host: &Authority) -> bool {
    let Ok(origin) = Uri::from_str(origin) else {
        return false;
    };
    let default = match origin.scheme() {
        Some(scheme) if *scheme == Scheme::HTTP => 80,
        Some(scheme) if *scheme == Scheme::HTTPS => 443,
        _ => return false,
    };
    let Some(authority) = origin.authority() else {
        return false;
    };
    authority.host().eq_ignore_ascii_case(host.host())
        && authority.port_u16().unwrap_or(default) == host.port_u16().unwrap_or(default)
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn check_of_board() -> OriginCheck {
        OriginCheck::new(
            &["Bay3.example".to_owned()],
            &["https://board.example/".to_owned()],
        )
    }

    fn check(host: &str, origin: Option<&str>, expected: Result<(), ErrorReply>) {
        let mut headers = HeaderMap::new();
        headers.insert(header::HOST, host.parse().unwrap());
        if let Some(origin) = origin {
            headers.insert(header::ORIGIN, origin.parse().unwrap());
        }
        let found = check_of_board().check(&"/rpc".parse().unwrap(), &headers);
        assert_eq!(found, expected, "{host} {origin:?}");
    }

    #[test]
    fn loopback_and_configured_hosts_are_let_in() {
        for host in [
            "localhost:8060",
            "LOCALHOST",
            "127.0.0.1:1",
            "127.1.2.3",
            "[::1]:80",
        ] {
            check(host, None, Ok(()));
        }
        check("bay3.EXAMPLE:8060", None, Ok(()));
    }

    #[test]
    fn other_hosts_are_not() {
        for host in [
            "rebound.example",
            "localhost.rebound.example",
            "127.0.0.1.rebound.example",
            "10.0.0.7",
            "[::2]",
            "localhost@rebound.example",
            "a@localhost",
            "",
            "a b",
        ] {
            check(host, None, Err(ErrorReply::HostRefused));
        }
        let none = check_of_board().check(&"/rpc".parse().unwrap(), &HeaderMap::new());
        assert_eq!(none, Err(ErrorReply::HostRefused));
    }

    #[test]
    fn a_second_host_settles_nothing() {
        let mut headers = HeaderMap::new();
        headers.append(header::HOST, "localhost".parse().unwrap());
        headers.append(header::HOST, "rebound.example".parse().unwrap());
        let two = check_of_board().check(&"/rpc".parse().unwrap(), &headers);
        assert_eq!(two, Err(ErrorReply::HostRefused));
        let _ = headers.insert(header::HOST, "localhost".parse().unwrap());
        let absolute =
            check_of_board().check(&"http://rebound.example/rpc".parse().unwrap(), &headers);
        assert_eq!(absolute, Err(ErrorReply::HostRefused));
    }

    #[test]
    fn own_pages_and_configured_origins_are_let_in() {
        check("localhost:8060", Some("http://localhost:8060"), Ok(()));
        check("[::1]:8060", Some("http://[::1]:8060"), Ok(()));
        check("bay3.example", Some("https://bay3.example"), Ok(()));
        check("localhost:8060", Some("https://board.EXAMPLE"), Ok(()));
    }

    #[test]
    fn other_origins_are_not() {
        for origin in [
            "http://rebound.example",
            "http://localhost:3000",
            "http://127.0.0.1:8060",
            "null",
            "",
            "file://",
            "http://board.example",
            "ftp://localhost:8060",
        ] {
            check(
                "localhost:8060",
                Some(origin),
                Err(ErrorReply::OriginRefused),
            );
        }
    }
}
