//! Who looks on: what is counted and written down of every call.

use std::borrow::Cow;
use std::sync::Arc;
use std::time::Duration;

use futures_util::future::BoxFuture;
use serde_json::value::RawValue;
use trisect_wire::ErrorKind;

use crate::access::{Identity, Peer};

/// A call that has ended, before its reply is sent.
pub struct CallEnded<'a> {
    /// The method.
    pub method: Cow<'a, str>,
    /// What it was called with.
    pub params: Option<&'a RawValue>,
    /// Who called, if that is known.
    pub identity: Option<&'a Identity>,
    /// From where.
    pub peer: Option<Peer>,
    /// The kind it was refused with; `None`: it was carried out.
    pub refused: Option<ErrorKind>,
    /// How long it took.
    pub took: Duration,
}

/// Looks on. Nothing it does may take long: the reply waits for it.
pub trait CallObserver: Send + Sync + 'static {
    /// A call has ended; what is given back is done before the reply is sent.
    fn ended(&self, call: &CallEnded<'_>) -> Option<BoxFuture<'static, ()>>;

    /// A request was refused as a whole.
    fn refused_request(&self, kind: ErrorKind, peer: Option<Peer>);

    /// A connection was opened, by a listener of this word.
    fn opened(&self, listener: &'static str);

    /// It was closed.
    fn closed(&self, listener: &'static str);
}

/// Tells an observer that a connection is open, until it is dropped: however a connection ends, by a panic too, it
/// is no longer counted.
pub(super) struct ConnectionCount {
    observer: Option<Arc<dyn CallObserver>>,
    listener: &'static str,
}

impl ConnectionCount {
    pub(super) fn new(
        observer: Option<Arc<dyn CallObserver>>,
        listener: &'static str,
    ) -> ConnectionCount {
        if let Some(observer) = &observer {
            observer.opened(listener);
        }
        ConnectionCount { observer, listener }
    }
}

impl Drop for ConnectionCount {
    fn drop(&mut self) {
        if let Some(observer) = &self.observer {
            observer.closed(self.listener);
        }
    }
}

/// The kind of a JSON-RPC error code.
pub(super) fn kind_of(code: i32) -> ErrorKind {
    let known = ErrorKind::ALL.iter().find(|kind| kind.code() == code);
    known.copied().unwrap_or(ErrorKind::Internal)
}
