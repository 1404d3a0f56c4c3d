//! What `Retry-After` says (RFC 9110, 10.2.3).

use std::time::Duration;

use http::HeaderMap;
use http::header::RETRY_AFTER;
use jiff::Timestamp;
use jiff::fmt::rfc2822::DateTimeParser;

/// How long the answer asks to wait: seconds, or a date; `None` if it asks for
/// nothing that can be read.
pub fn retry_after(headers: &HeaderMap, now: Timestamp) -> Option<Duration> {
    let text = headers.get(RETRY_AFTER)?.to_str().ok()?.trim();
    if let Ok(seconds) = text.parse::<u32>() {
        return Some(Duration::from_secs(u64::from(seconds)));
    }
    let date = DateTimeParser::new().parse_timestamp(text).ok()?;
    let wait = date.duration_since(now);
    Some(Duration::try_from(wait).unwrap_or(Duration::ZERO))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn check(text: &str, expected: Option<u64>) {
        let mut headers = HeaderMap::new();
        headers.insert(RETRY_AFTER, text.parse().unwrap());
        let now: Timestamp = "2026-11-25T10:00:00Z".parse().unwrap();
        assert_eq!(
            retry_after(&headers, now).map(|wait| wait.as_secs()),
            expected,
            "{text}"
        );
    }

    #[test]
    fn seconds_and_dates_are_read() {
        check("120", Some(120));
        check("Wed, 25 Nov 2026 10:02:00 GMT", Some(120));
        check("Wed, 25 Nov 2026 09:00:00 GMT", Some(0));
        check("soon", None);
        check("-5", None);
    }
}
