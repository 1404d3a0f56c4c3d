//! Who may come in, over what, and how much at once.

use std::net::SocketAddr;
use std::path::PathBuf;
use std::time::Duration;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use trisect_front::{TransportSettings, UnixSocket};
use trisect_wire::Role;

use super::span::Span;

/// Who may come in, besides those with a token.
#[derive(Clone, Debug, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct AccessSettings {
    /// What programs of this machine may do without a token; nothing if left out.
    /// A proxy on this machine makes everyone behind it one of them.
    pub loopback: Option<Role>,
    /// Listen beyond loopback without TLS, as behind a proxy or in a container that
    /// does it; tokens then travel as they are.
    pub plain: bool,
    /// Calls a second of a token that says nothing else; two seconds' worth may come at once.
    pub calls_per_second: f64,
}

impl Default for AccessSettings {
    fn default() -> AccessSettings {
        AccessSettings {
            loopback: None,
            plain: false,
            calls_per_second: 500.0,
        }
    }
}

impl AccessSettings {
    /// Access for the programs of this machine, as for a demonstration or a test.
    pub fn here() -> AccessSettings {
        AccessSettings {
            loopback: Some(Role::Manage),
            ..AccessSettings::default()
        }
    }
}

/// Listening with TLS, beside the plain address.
#[derive(Clone, Debug, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct TlsSettings {
    /// Address and port.
    #[schemars(with = "String")]
    pub listen: SocketAddr,
    /// The certificate and those that vouch for it, PEM. Taken up anew when it changes.
    pub certificate: PathBuf,
    /// Its key, PEM.
    pub key: PathBuf,
}

/// Listening on a Unix socket.
#[derive(Clone, Debug, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct UnixSettings {
    /// Where.
    pub path: PathBuf,
    /// The file's permissions in octal, such as `0660`: who may open it may call.
    #[serde(default = "owner_and_group")]
    pub mode: String,
    /// What whoever may open it may do without a token; nothing if left out.
    #[serde(default)]
    pub role: Option<Role>,
}

fn owner_and_group() -> String {
    "0660".to_owned()
}

impl UnixSettings {
    /// The permissions as a number.
    ///
    /// # Errors
    /// What is no such number.
    pub fn bits(&self) -> Result<u32, String> {
        let bits = u32::from_str_radix(&self.mode, 8).ok();
        let bits = bits.filter(|bits| bits & !0o777 == 0);
        bits.ok_or_else(|| format!("`{}` is no file mode: write it as `0660`", self.mode))
    }

    /// As the front listens on it. A mode that is none has been refused before; it lets nobody in.
    pub(super) fn socket(&self) -> UnixSocket {
        UnixSocket {
            path: self.path.clone(),
            mode: self.bits().unwrap_or(0),
        }
    }
}

/// How much at once.
#[derive(Clone, Debug, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct LimitSettings {
    /// Connections at once.
    pub connections: usize,
    /// Bytes of one request.
    pub request_bytes: usize,
    /// Bytes of one reply.
    pub reply_bytes: usize,
    /// Entries of one batch.
    pub batch_entries: usize,
    /// Calls of one WebSocket at once.
    pub calls_at_once: usize,
    /// Subscriptions of one WebSocket.
    pub subscriptions: u32,
    /// Messages waiting for one subscriber; what comes while there are so many is missed, and said so.
    pub queued_messages: usize,
    /// How long a request's head may take, and a connection be idle between two requests.
    pub head_within: Span,
    /// How long a request's body may take.
    pub body_within: Span,
    /// How long a write may wait for the client to read.
    pub write_within: Span,
    /// How often a WebSocket is pinged; silent for twice as long, it is closed.
    pub ping_every: Span,
    /// How long running calls may take to finish when the service stops.
    pub stop_within: Span,
    /// Examinations at once; as many trials, exports, replays and verifications. One more is refused.
    pub computations: usize,
    /// How long each of them may take.
    pub compute_within: Span,
}

impl Default for LimitSettings {
    fn default() -> LimitSettings {
        let limits = TransportSettings::default();
        LimitSettings {
            connections: limits.connections,
            request_bytes: limits.request_bytes,
            reply_bytes: limits.reply_bytes,
            batch_entries: limits.batch_entries,
            calls_at_once: limits.calls_at_once,
            subscriptions: limits.subscriptions,
            queued_messages: limits.queued_messages,
            head_within: Span(limits.head_within),
            body_within: Span(limits.body_within),
            write_within: Span(limits.write_within),
            ping_every: Span(limits.ping_every),
            stop_within: Span(limits.stop_within),
            computations: 1,
            compute_within: Span(Duration::from_secs(120)),
        }
    }
}

impl LimitSettings {
    /// As the transport takes them.
    pub(crate) fn transport(&self) -> TransportSettings {
        TransportSettings {
            connections: self.connections,
            request_bytes: self.request_bytes,
            reply_bytes: self.reply_bytes,
            batch_entries: self.batch_entries,
            calls_at_once: self.calls_at_once,
            subscriptions: self.subscriptions,
            queued_messages: self.queued_messages,
            head_within: self.head_within.0,
            body_within: self.body_within.0,
            write_within: self.write_within.0,
            ping_every: self.ping_every.0,
            stop_within: self.stop_within.0,
            ..TransportSettings::default()
        }
    }

    /// The first limit that leaves nothing.
    pub(super) fn none_of(&self) -> Option<&'static str> {
        let counts = [
            ("connections", self.connections),
            ("request_bytes", self.request_bytes),
            ("reply_bytes", self.reply_bytes),
            ("batch_entries", self.batch_entries),
            ("calls_at_once", self.calls_at_once),
            ("queued_messages", self.queued_messages),
            ("computations", self.computations),
        ];
        let spans = [
            ("head_within", self.head_within),
            ("body_within", self.body_within),
            ("write_within", self.write_within),
            ("ping_every", self.ping_every),
            ("compute_within", self.compute_within),
        ];
        let none = counts.into_iter().find(|(_, count)| *count == 0);
        let none = none.map(|(name, _)| name);
        none.or(spans
            .into_iter()
            .find(|(_, span)| span.0.is_zero())
            .map(|(name, _)| name))
    }
}

/// How long what is kept is kept; what belongs to a job is kept for good.
#[derive(Clone, Debug, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct KeepSettings {
    /// Readings outside any job; `0 s`: they are not stored at all.
    pub outside_jobs: Span,
    /// The audit trail.
    pub audit: Span,
}

impl Default for KeepSettings {
    fn default() -> KeepSettings {
        KeepSettings {
            outside_jobs: Span::days(7),
            audit: Span::days(400),
        }
    }
}

/// Where traces of calls are sent, if anywhere.
#[derive(Clone, Debug, Default, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct TraceSettings {
    /// The OTLP/HTTP collector, such as `http://127.0.0.1:4318/v1/traces`; without TLS,
    /// as it is on this machine or the next.
    pub endpoint: Option<String>,
}
