//! What a web origin is written like.

use std::net::Ipv6Addr;
use std::str::FromStr;

use http::uri::Authority;

/// Whether a page can have this origin. The gate compares what a browser sends as it
/// is, so that any other text would let nobody in and say nothing.
///
/// # Errors
/// What is wrong, and how to mend it.
pub fn origin(text: &str) -> Result<(), String> {
    let wrong = |what: &str| {
        Err(format!(
            "{what}: write the origin as a browser sends it, such as http://localhost:5173 or https://board.example"
        ))
    };
    // The gate lets it pass as well.
    if text == "null" {
        return Err("a page opened from a file has no origin of its own: serve it by http, and write that origin, such as http://localhost:5173".to_owned());
    }
    let Some((scheme, rest)) = text.trim_end_matches('/').split_once("://") else {
        return wrong("it has no scheme and host");
    };
    let known = |c: char| c.is_ascii_alphanumeric() || "+-.".contains(c);
    if !scheme.starts_with(|c: char| c.is_ascii_alphabetic()) || !scheme.chars().all(known) {
        return wrong("what stands before :// is no scheme");
    }
    if ["ws", "wss"].contains(&scheme.to_ascii_lowercase().as_str()) {
        return wrong("the origin is that of the page, not of what it connects to");
    }
    if rest.contains('*') {
        return wrong("there is no sign for any host; every origin is named");
    }
    if rest.contains(['/', '?', '#', '@']) {
        return wrong("leave out what stands before the host or behind host and port");
    }
    let port = |authority: &Authority| match rest.rsplit_once(':') {
        Some((_, port)) if !rest.ends_with(']') => {
            // As a browser writes it: no sign, no leading nought.
            authority
                .port_u16()
                .is_some_and(|known| known.to_string() == port)
        }
        _ => true,
    };
    match Authority::from_str(rest) {
        Ok(authority) if host(authority.host()) && port(&authority) => {
            match (scheme.to_ascii_lowercase().as_str(), authority.port_u16()) {
                ("http", Some(80)) | ("https", Some(443)) => {
                    wrong("a browser leaves the usual port out")
                }
                _ => Ok(()),
            }
        }
        _ => wrong("what stands behind :// is no host, or no host and port"),
    }
}

/// A name, or an address; one of version 6 in brackets.
fn host(text: &str) -> bool {
    match text
        .strip_prefix('[')
        .and_then(|text| text.strip_suffix(']'))
    {
        Some(address) => Ipv6Addr::from_str(address).is_ok(),
        None => {
            let known = |c: char| c.is_alphanumeric() || "-._".contains(c);
            !text.is_empty() && text.chars().all(known)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_a_browser_sends_is_an_origin() {
        for good in [
            "http://localhost:5173",
            "https://board.example",
            "https://Board.example/",
            "http://127.0.0.1:8080",
            "http://[::1]:8080",
            "http://[::1]",
            "app-extension://abcdef",
        ] {
            assert_eq!(origin(good), Ok(()), "{good}");
        }
    }

    #[test]
    fn what_none_sends_is_refused_with_the_way_out() {
        for bad in [
            "",
            "junk",
            "ws://localhost:5173",
            "http://localhost:+5173",
            "http://localhost:05173",
            "http://[zz]:1",
            "http://a,b",
            "null",
            "*",
            "localhost:5173",
            "//board.example",
            "https://",
            "https://*",
            "https://*.board.example",
            "https://board.example/display",
            "https://board.example?x",
            "https://user@board.example",
            "https://board.example:",
            "https://board.example:99999",
            "https://board.example:x",
            "https://board example",
            " https://board.example",
            "https://board.example ",
            "http://localhost:80",
            "https://board.example:443",
            "https://b\u{f6}rd.example",
            "1http://board.example",
        ] {
            let said = origin(bad);
            assert!(
                said.is_err_and(|what| what.contains("http://localhost:5173")),
                "{bad}"
            );
        }
    }
}
