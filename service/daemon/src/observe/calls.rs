//! Who looks on at calls: the metrics, the audit trail, traces.

use std::borrow::Cow;
use std::collections::HashMap;
use std::sync::{Arc, LazyLock};

use futures_util::FutureExt;
use futures_util::future::BoxFuture;
use serde::Deserialize;
use serde_json::value::RawValue;
use trisect_wire::{ErrorKind, Role};

use crate::observe::audit::{Audit, Done};
use crate::observe::metrics::Metrics;
use crate::observe::traces::Traces;
use trisect_front::access::Peer;
use trisect_front::{CallEnded, CallObserver};

/// Comes by the thousand: counted rather than written down one by one.
const STREAMED: &str = "reading.submit";
/// Parameters longer than this are not looked through for what they are about.
const LOOKED_THROUGH: usize = 16 * 1024;

/// All of them.
pub(crate) struct CallObservers {
    pub(crate) audit: Arc<Audit>,
    pub(crate) metrics: Arc<Metrics>,
    pub(crate) traces: Option<Traces>,
}

/// The methods of the table, and the least role each asks for.
static ROLES: LazyLock<HashMap<&'static str, Role>> = LazyLock::new(|| {
    trisect_wire::methods()
        .iter()
        .map(|entry| (entry.name, entry.role))
        .collect()
});

impl CallObserver for CallObservers {
    fn ended(&self, call: &CallEnded<'_>) -> Option<BoxFuture<'static, ()>> {
        // A name that is none would make as many rows as a caller can think of.
        let known = ROLES.get_key_value(&*call.method);
        let method = known.map_or("unknown", |(name, _)| name);
        let outcome = call.refused.map_or("ok", ErrorKind::word);
        self.metrics.called(method, outcome, call.took);
        if let Some(traces) = &self.traces {
            traces.called(
                method,
                outcome,
                call.took,
                call.identity.map(|one| &*one.who),
            );
        }
        let (_, role) = known?;
        let refused_entry = matches!(
            call.refused,
            Some(ErrorKind::NotPermitted | ErrorKind::RateLimited)
        );
        if *role == Role::Read && !refused_entry && method != "audit.list" {
            return None;
        }
        let done = Done {
            who: call
                .identity
                .map_or_else(|| Arc::from("unknown"), |one| Arc::clone(&one.who)),
            peer: call.peer.map(address),
            what: method.to_owned(),
            subject: call.params.and_then(subject),
            outcome,
        };
        if refused_entry || method == STREAMED {
            self.audit.count(done);
            return None;
        }
        Some(self.audit.write(done).boxed())
    }

    fn refused_request(&self, kind: ErrorKind, peer: Option<Peer>) {
        self.metrics.refused_request(kind);
        if matches!(kind, ErrorKind::TokenMissing | ErrorKind::TokenRefused) {
            self.audit.count(Done {
                who: Arc::from("unknown"),
                peer: peer.map(address),
                what: "connect".to_owned(),
                subject: None,
                outcome: kind.word(),
            });
        }
    }

    fn opened(&self, listener: &'static str) {
        self.metrics.opened(listener);
    }

    fn closed(&self, listener: &'static str) {
        self.metrics.closed(listener);
    }
}

/// Where it came from; the port says nothing.
fn address(peer: Peer) -> String {
    match peer {
        Peer::Tcp(address) => address.ip().to_string(),
        unix @ Peer::Unix { .. } => unix.to_string(),
    }
}

/// What a call is about: its job, or its instrument and bay, or its rule set's id.
fn subject(params: &RawValue) -> Option<String> {
    #[derive(Deserialize)]
    struct Subject<'a> {
        #[serde(borrow, default)]
        job: Option<Cow<'a, str>>,
        #[serde(borrow, default)]
        bay: Option<Cow<'a, str>>,
        #[serde(borrow, default)]
        instrument: Option<Cow<'a, str>>,
        #[serde(borrow, default)]
        port: Option<Cow<'a, str>>,
    }
    if params.get().len() > LOOKED_THROUGH {
        return None;
    }
    let subject: Subject<'_> = serde_json::from_str(params.get()).ok()?;
    let about = match (subject.job, subject.bay, subject.instrument) {
        (Some(job), ..) => job.into_owned(),
        (None, Some(bay), Some(instrument)) => format!("{bay}/{instrument}"),
        (None, Some(bay), None) => bay.into_owned(),
        (None, None, _) => subject.port?.into_owned(),
    };
    // What a caller can make up is cut.
    Some(about.chars().take(200).collect())
}
