//! Instruments that answer with JSON over HTTP(S); and the one HTTP client of the service, which calls them,
//! webhooks and the collector of traces: one connection, one request at a time, HTTP/1.1.
//!
//! | file | subject |
//! |---|---|
//! | `client` | the HTTP client: one address, its connection kept while it lasts |
//! | `url`, `tls`, `retry_after` | what it calls, whom it trusts, how long it is asked to wait |
//! | `settings` | an instrument in a configuration |
//! | `adapter` | polling it |
//! | `reading` | finding values in the JSON it answers |
//!
//! Invariants, each an absence:
//! - no redirect is followed: where it points to is said instead;
//! - no address is connected to that the client did not allow: what was resolved
//!   is checked, and that very address is connected to;
//! - no answer is held in memory past its limit; no call outlasts its time.

mod adapter;
mod client;
mod reading;
mod retry_after;
mod settings;
#[cfg(test)]
mod tests;
mod tls;
mod url;

pub use adapter::HttpAdapter;
pub use client::{CallError, HttpClient, HttpRequest, HttpResponse};
pub use retry_after::retry_after;
pub use settings::HttpSettings;
pub use tls::{Tls, TlsError};
pub use url::{Url, UrlError};
