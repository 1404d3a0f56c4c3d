//! What webhook events say: jobs, verdicts and instruments in the types of the wire.

use serde_json::Value;
use trisect_journal::{self as journal, Content, Delivery, StoredVerdict};
use trisect_webhooks::EventData;
use trisect_wire::types as wire;

use crate::convert;

/// Puts together what events say, in the types that methods answer with.
pub(crate) struct WireEventData;

impl EventData for WireEventData {
    fn data(&self, delivery: &Delivery, content: &Content) -> Result<Value, serde_json::Error> {
        match content {
            Content::Instrument(text) => serde_json::from_str(text),
            Content::Job { job, rule_set } => {
                serde_json::to_value(job_then(delivery, job, rule_set))
            }
            Content::Verdict {
                job,
                bay,
                seq,
                wall,
                bytes,
            } => {
                let wall = wall.and_then(|wall| jiff::Timestamp::from_microsecond(wall).ok());
                serde_json::to_value(wire::JobVerdict {
                    job: job.clone(),
                    bay: bay.clone(),
                    seq: seq.unsigned_abs(),
                    // Before the first event: when it was said.
                    time: wire::Time(
                        wall.map_or_else(|| delivery.posted.clone(), |wall| wall.to_string()),
                    ),
                    verdict: convert::stored_verdict(stored(bytes)?),
                })
            }
        }
    }
}

fn stored(bytes: &[u8]) -> Result<StoredVerdict, serde_json::Error> {
    StoredVerdict::from_bytes(bytes).map_err(serde::ser::Error::custom)
}

/// A job as it was when it happened: one that was opened is open, even if it has been closed since.
fn job_then(
    delivery: &Delivery,
    kept: &journal::Job,
    (id, version): &(String, String),
) -> wire::Job {
    let ruleset = wire::RulesetDigest {
        id: id.clone(),
        version: version.clone(),
        digest: kept.opened.rule_set.clone(),
    };
    let mut then = kept.clone();
    if delivery.verb != "closed" {
        then.closed_at = None;
        then.confirmed = Vec::new();
        then.note = None;
    }
    convert::job_with_ruleset(&then, ruleset)
}
