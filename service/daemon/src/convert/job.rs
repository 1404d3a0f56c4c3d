//! Jobs.

use trisect_bay::JobVerdict;
use trisect_journal as journal;
use trisect_rules::RuleSet;
use trisect_wire::types as wire;

use super::{digest, verdict};

/// A job of the journal.
pub(crate) fn job(kept: &journal::Job, rules: &RuleSet) -> wire::Job {
    with_ruleset(kept, digest(rules))
}

/// A job of the journal, whose rule set is known by its identity alone.
pub(crate) fn with_ruleset(kept: &journal::Job, ruleset: wire::RulesetDigest) -> wire::Job {
    let closed = kept.closed_at.is_some();
    wire::Job {
        job: kept.opened.id.clone(),
        bay: kept.opened.bay.clone(),
        machine: kept.opened.machine.clone(),
        state: if closed {
            wire::JobState::Closed
        } else {
            wire::JobState::Open
        },
        complaint: kept.opened.complaint.clone(),
        ruleset,
        by: kept.opened.opened_by.clone(),
        opened: wire::Time(kept.opened.opened_at.clone()),
        closed: kept.closed_at.clone().map(wire::Time),
        confirmed: (!kept.confirmed.is_empty()).then(|| kept.confirmed.clone()),
        note: kept.note.clone(),
    }
}

/// The verdict of a job.
pub(crate) fn job_verdict(said: &JobVerdict) -> wire::JobVerdict {
    wire::JobVerdict {
        job: said.job.clone(),
        bay: said.bay.clone(),
        seq: said.seq,
        time: wire::Time(said.time.to_string()),
        verdict: verdict(&said.verdict),
    }
}
