//! What the transport allows, and for how long.

use std::time::Duration;

use trisect_wire::Role;

/// Limits and names of the transport. Every limit has a default that suits a
/// workshop; the configuration may set each of them.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TransportSettings {
    /// Host names the service answers to, beside the loopback ones
    /// (`localhost`, `127.0.0.0/8`, `[::1]`). Without a port; case does not matter.
    pub host_names: Vec<String>,
    /// Origins of other web pages that may call (`https://board.example`),
    /// beside pages served from this service itself.
    pub origins: Vec<String>,
    /// What whoever is let in without a token may do.
    pub role: Role,
    /// Connections at once; one more is answered with 503 and closed.
    pub connections: usize,
    /// Bytes of one request, over HTTP or WebSocket.
    pub request_bytes: usize,
    /// Bytes of one reply; a longer one becomes an error.
    pub reply_bytes: usize,
    /// Entries of one batch.
    pub batch_entries: usize,
    /// Calls of one WebSocket that run or wait to be sent, together; while
    /// there are this many, nothing more is read from it.
    pub calls_at_once: usize,
    /// Subscriptions of one WebSocket.
    pub subscriptions: u32,
    /// Subscription messages waiting for one WebSocket; a subscriber whose
    /// queue is full misses messages.
    pub queued_messages: usize,
    /// A request's head must be complete within this time; it also ends
    /// connections that stay idle between two requests.
    pub head_within: Duration,
    /// A request's body must be complete within this time.
    pub body_within: Duration,
    /// A write that the client does not take within this time ends the connection.
    pub write_within: Duration,
    /// How often a WebSocket is pinged; one that was silent for twice as long is closed.
    pub ping_every: Duration,
    /// How long running calls may take to finish once the service is told to stop.
    pub stop_within: Duration,
}

impl Default for TransportSettings {
    fn default() -> Self {
        const MEBIBYTE: usize = 1024 * 1024;
        Self {
            host_names: Vec::new(),
            origins: Vec::new(),
            role: Role::Manage,
            connections: 256,
            request_bytes: 4 * MEBIBYTE,
            reply_bytes: 10 * MEBIBYTE,
            batch_entries: 1000,
            calls_at_once: 16,
            subscriptions: 64,
            queued_messages: 1024,
            head_within: Duration::from_secs(10),
            body_within: Duration::from_secs(30),
            write_within: Duration::from_secs(3),
            ping_every: Duration::from_secs(30),
            stop_within: Duration::from_secs(10),
        }
    }
}
