//! What happened: jobs, readings, answers and verdicts, durable.
//!
//! A [`Journal`] is asked through futures and answers once what it was given
//! is on disk. [`SqliteJournal`] is the one there is: one file, one writing
//! thread that commits whatever is waiting in one go, two reading threads.
//! [`Ids`] turns stored rows into the events of the diagnosis and back, so that
//! a job is replayed with the rule set it was opened with.
//!
//! Invariants, each an absence:
//! - nothing is acknowledged that a crash could still lose;
//! - nothing refused is half stored: a batch is kept whole or not at all;
//! - no event of a job is ever changed or removed, and a chain of hashes shows where one was;
//!   readings outside any job go when they are old enough;
//! - rows carry no index into a rule set, only ids: a row means the same
//!   whatever rule set is installed today.

mod audit;
mod error;
mod ids;
mod job;
mod journal;
mod outbox;
mod row;
mod sqlite;
pub mod stored_verdict;
#[cfg(test)]
mod tests;

pub use audit::{AuditFilter, AuditRow, StoredAudit, Verified};
pub use error::{JournalError, UnknownId};
pub use ids::Ids;
pub use job::{
    CalibrationText, Closing, Installed, Job, JobFilter, JobState, NewJob, RuleSetText, VerdictRow,
};
pub use journal::{Journal, Pending};
pub use outbox::{Content, Counts, Delivery, Fate, Outbox, Tried};
pub use row::{
    Appended, Batch, EventRow, Happened, Outside, Probe, Reading, ReadingFilter, StoredEvent,
    SubmissionKey,
};
pub use sqlite::{SqliteJournal, backup, restore};
pub use stored_verdict::{StoredVerdict, StoredVerdictError};
