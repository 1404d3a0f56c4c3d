//! The journal in one SQLite file.
//!
//! Write-ahead log with `synchronous=FULL`: a commit is on disk before it is
//! answered. What waits is committed together, so that the price of a commit
//! is shared.
//!
//! | file | subject |
//! |---|---|
//! | `schema` | tables, opening, migrations |
//! | `writer` | the writing thread: group commit |
//! | `store` | one write each |
//! | `words` | texts that rows refer to by number |
//! | `stretch` | which job and bay a run of events belongs to |
//! | `reader` | the reading threads |
//! | `chain`, `chain_encoding` | the hashes through a job |
//! | `rests` | what a job rests on besides its events |
//! | `trail` | the audit trail; removing what is old |
//! | `copy` | backup and restore |
//! | `query`, `columns` | one read each; between rows and columns |
//! | `outbox` | news on its way out |

mod chain;
mod chain_encoding;
mod columns;
mod copy;
mod outbox;
mod query;
mod readable;
mod reader;
mod rests;
mod schema;
mod store;
mod stretch;
mod trail;
mod words;
mod writer;

use std::path::Path;
use std::sync::Arc;

use tokio::sync::Notify;

use crate::{
    Appended, AuditFilter, AuditRow, Batch, CalibrationText, Closing, Installed, Job, JobFilter,
    Journal, JournalError, NewJob, Pending, ReadingFilter, RuleSetText, StoredAudit, StoredEvent,
    SubmissionKey, VerdictRow, Verified,
};
pub use copy::{backup, restore};
use reader::Readers;
use store::{Done, Write};
use writer::Writer;

#[cfg(test)]
pub(crate) use schema::{MIGRATIONS, newest};

/// A journal in one SQLite file, which nobody else writes while it is open.
///
/// Dropping it finishes what has reached it and releases the file.
#[derive(Debug)]
pub struct SqliteJournal {
    // The order matters: readers end before the writer, which tidies the log up.
    readers: Readers,
    writer: Writer,
    news: Arc<Notify>,
}

impl SqliteJournal {
    /// Opens a journal, or makes it where there is none; brings an older one up
    /// to date. The lock and the log lie beside the file.
    ///
    /// # Errors
    /// When the file is in use, is not a journal, is newer than this service,
    /// or cannot be read and written.
    pub fn open(path: impl AsRef<Path>) -> Result<Self, JournalError> {
        let path = path.as_ref();
        let lock = schema::lock(path)?;
        let connection = schema::open(path)?;
        let news = Arc::new(Notify::new());
        Ok(Self {
            writer: Writer::start(connection, lock, Arc::clone(&news))?,
            readers: Readers::start(path)?,
            news,
        })
    }

    /// Looks at a file without changing it: whether a journal can be opened there, or made.
    ///
    /// # Errors
    /// As [`SqliteJournal::open`], but for a file that is in use.
    pub fn examine(path: impl AsRef<Path>) -> Result<(), JournalError> {
        schema::examine(path.as_ref())
    }

    fn write<T: 'static>(&self, write: Write, answer: fn(Done) -> Option<T>) -> Pending<T> {
        let done = self.writer.carry_out(write);
        Box::pin(async move { answer(done.await?).ok_or(JournalError::Closed) })
    }

    fn plain(&self, write: Write) -> Pending<()> {
        self.write(write, |done| {
            (!matches!(done, Done::Appended(_))).then_some(())
        })
    }

    fn readers(&self) -> &Readers {
        &self.readers
    }

    fn news(&self) -> Arc<Notify> {
        Arc::clone(&self.news)
    }
}

impl Journal for SqliteJournal {
    fn put_rule_set(&self, rule_set: RuleSetText) -> Pending<()> {
        self.plain(Write::RuleSet(rule_set))
    }

    fn put_calibration(&self, calibration: CalibrationText) -> Pending<()> {
        self.plain(Write::Calibration(calibration))
    }

    fn install_rule_set(&self, installed: Installed) -> Pending<()> {
        self.plain(Write::Install(installed))
    }

    fn open_job(&self, job: NewJob) -> Pending<()> {
        self.plain(Write::Open(job))
    }

    fn append(&self, batch: Batch) -> Pending<Appended> {
        self.write(Write::Append(batch), |done| match done {
            Done::Appended(appended) => Some(appended),
            Done::Plain | Done::Counted(_) | Done::Removed(_) => None,
        })
    }

    fn submitted(&self, bay: &str, key: SubmissionKey) -> Pending<Option<Appended>> {
        let bay = bay.to_owned();
        self.readers.ask(move |reader| reader.submitted(&bay, &key))
    }

    fn record_verdict(&self, job: Arc<str>, seq: i64, bytes: Vec<u8>) -> Pending<()> {
        self.plain(Write::Verdict { job, seq, bytes })
    }

    fn close_job(&self, job: Arc<str>, closing: Closing) -> Pending<()> {
        self.plain(Write::Close { job, closing })
    }

    fn audit(&self, rows: Vec<AuditRow>) -> Pending<()> {
        self.plain(Write::Audit(rows))
    }

    fn prune(&self, outside: i64, audit: i64) -> Pending<u64> {
        self.write(Write::Prune { outside, audit }, |done| match done {
            Done::Removed(removed) => Some(removed),
            _ => None,
        })
    }

    fn audit_trail(&self, filter: AuditFilter, limit: usize) -> Pending<Vec<StoredAudit>> {
        self.readers
            .ask(move |reader| reader.audit_trail(&filter, limit))
    }

    fn verify(&self, job: &str) -> Pending<Verified> {
        let job = job.to_owned();
        self.readers
            .ask_long(move |reader, wanted| reader.verify(&job, wanted))
    }

    fn rule_set(&self, digest: &str) -> Pending<Option<RuleSetText>> {
        let digest = digest.to_owned();
        self.readers.ask(move |reader| reader.rule_set(&digest))
    }

    fn calibration(&self, id: &str) -> Pending<Option<CalibrationText>> {
        let id = id.to_owned();
        self.readers.ask(move |reader| reader.calibration(&id))
    }

    fn installed_rule_sets(&self) -> Pending<Vec<Installed>> {
        self.readers.ask(|reader| reader.installed())
    }

    fn job(&self, id: &str) -> Pending<Option<Job>> {
        let id = id.to_owned();
        self.readers.ask(move |reader| reader.job(&id))
    }

    fn jobs(&self, filter: JobFilter, limit: usize) -> Pending<Vec<Job>> {
        self.readers.ask(move |reader| reader.jobs(&filter, limit))
    }

    fn events(&self, job: &str, after: i64, limit: usize) -> Pending<Vec<StoredEvent>> {
        let job = job.to_owned();
        self.readers
            .ask(move |reader| reader.events(&job, after, limit))
    }

    fn readings(
        &self,
        filter: ReadingFilter,
        after: i64,
        limit: usize,
    ) -> Pending<Vec<StoredEvent>> {
        self.readers
            .ask(move |reader| reader.readings(&filter, after, limit))
    }

    fn verdict(&self, job: &str) -> Pending<Option<VerdictRow>> {
        let job = job.to_owned();
        self.readers.ask(move |reader| reader.verdict(&job))
    }

    fn integrity(&self) -> Pending<Vec<String>> {
        self.readers.ask_long(|reader, _| reader.integrity())
    }
}
