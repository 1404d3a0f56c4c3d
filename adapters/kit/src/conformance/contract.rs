//! The conformance suite: every adapter runs it.

use std::fmt;
use std::sync::Arc;

use super::Instrument;
use super::checks;

/// One way in which an adapter breaks the contract.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Breach {
    /// The check that found it.
    pub check: &'static str,
    /// What was seen.
    pub what: String,
}

impl fmt::Display for Breach {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.check, self.what)
    }
}

/// Holds an adapter against the contract: description, start, stop, a port that
/// comes late, unplugging, garbage, silence, flood, a stepped clock and a full queue.
///
/// Takes some seconds, for silence has to be waited for. Must be called within a
/// tokio run time with time and I/O.
pub async fn conform(instrument: Arc<dyn Instrument>) -> Vec<Breach> {
    let mut breaches = Vec::new();
    let mut note = |check, finding: Result<(), String>| {
        if let Err(what) = finding {
            breaches.push(Breach { check, what });
        }
    };
    note("description", checks::description(&instrument));
    note("start and stop", checks::start_and_stop(&instrument).await);
    note("run again", checks::run_again(&instrument).await);
    note("late port", checks::late_port(&instrument).await);
    note("unplug", checks::unplug(&instrument).await);
    note("garbage", checks::garbage(&instrument).await);
    note("silence", checks::silence(&instrument).await);
    note("flood", checks::flood(&instrument).await);
    note("clock step", checks::clock_step(&instrument).await);
    note("full queue", checks::full_queue(&instrument).await);
    breaches
}
