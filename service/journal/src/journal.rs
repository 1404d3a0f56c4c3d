//! What a journal does, whatever keeps it.

use std::future::Future;
use std::pin::Pin;
use std::sync::Arc;

use crate::{
    Appended, AuditFilter, AuditRow, Batch, CalibrationText, Closing, Installed, Job, JobFilter,
    JournalError, NewJob, ReadingFilter, RuleSetText, StoredAudit, StoredEvent, SubmissionKey,
    VerdictRow, Verified,
};

/// An answer that is still to come. Nothing happens before it is first polled;
/// once it is, a request that has reached the journal is carried out even if
/// the answer is dropped.
pub type Pending<T> = Pin<Box<dyn Future<Output = Result<T, JournalError>> + Send>>;

/// Keeps what happened. Writes are answered once they are durable, and are
/// carried out in the order they arrive; reads see everything answered before.
pub trait Journal: Send + Sync {
    /// Keeps a rule set's text; a digest that is known already is left as it is.
    fn put_rule_set(&self, rule_set: RuleSetText) -> Pending<()>;

    /// Keeps a calibration; an id that is known already is left as it is.
    fn put_calibration(&self, calibration: CalibrationText) -> Pending<()>;

    /// Keeps a rule set and that it was installed, both or neither. Installed
    /// once more, it is the newest again.
    fn install_rule_set(&self, installed: Installed) -> Pending<()>;

    /// Begins a job. Fails if the id is taken, the bay has an open job, or the
    /// rule set is not there.
    fn open_job(&self, job: NewJob) -> Pending<()>;

    /// Keeps a batch of events, all or none. Fails if the job is unknown or
    /// closed, a value is not finite, or the key came with another content.
    fn append(&self, batch: Batch) -> Pending<Appended>;

    /// What was kept of a bay under a key for the same content: `Repeated`, if anything.
    fn submitted(&self, bay: &str, key: SubmissionKey) -> Pending<Option<Appended>>;

    /// Keeps a verdict of an open job that rests on the events up to `seq`.
    fn record_verdict(&self, job: Arc<str>, seq: i64, bytes: Vec<u8>) -> Pending<()>;

    /// Ends an open job.
    fn close_job(&self, job: Arc<str>, closing: Closing) -> Pending<()>;

    /// Keeps rows of the audit trail.
    fn audit(&self, rows: Vec<AuditRow>) -> Pending<()>;

    /// Removes readings outside any job from before one wall time, and rows of the audit trail
    /// from before another, some at a time: how many; 0 when there are no more.
    fn prune(&self, outside: i64, audit: i64) -> Pending<u64>;

    /// Up to `limit` rows of the audit trail, the newest first.
    fn audit_trail(&self, filter: AuditFilter, limit: usize) -> Pending<Vec<StoredAudit>>;

    /// Holds a job against its chain of hashes. Reads all of it. Fails if the job is unknown.
    fn verify(&self, job: &str) -> Pending<Verified>;

    /// The text of a rule set.
    fn rule_set(&self, digest: &str) -> Pending<Option<RuleSetText>>;

    /// The record of a calibration.
    fn calibration(&self, id: &str) -> Pending<Option<CalibrationText>>;

    /// The rule sets that were installed, the newest last.
    fn installed_rule_sets(&self) -> Pending<Vec<Installed>>;

    /// One job.
    fn job(&self, id: &str) -> Pending<Option<Job>>;

    /// Up to `limit` jobs, the newest first.
    fn jobs(&self, filter: JobFilter, limit: usize) -> Pending<Vec<Job>>;

    /// Up to `limit` events of a job after `after` (0: from the first), in
    /// order. An empty page is the end. Fails if the job is unknown.
    fn events(&self, job: &str, after: i64, limit: usize) -> Pending<Vec<StoredEvent>>;

    /// Up to `limit` readings after `after` (0: from the first), in order. An
    /// empty page is the end.
    fn readings(
        &self,
        filter: ReadingFilter,
        after: i64,
        limit: usize,
    ) -> Pending<Vec<StoredEvent>>;

    /// The final verdict of a closed job, or the newest of an open one.
    fn verdict(&self, job: &str) -> Pending<Option<VerdictRow>>;

    /// What is wrong with what is kept, one finding a line; empty if nothing
    /// is. Reads everything: not for every day.
    fn integrity(&self) -> Pending<Vec<String>>;
}
