//! What can go wrong with a journal, and what to do then.

use std::io;
use std::path::PathBuf;
use std::sync::Arc;

/// Why the journal could not do what it was asked. Cheap to clone: everyone
/// whose write was in a commit that failed is told the same.
#[derive(Debug, Clone, thiserror::Error)]
pub enum JournalError {
    /// Another process, or another part of this one, has the file.
    #[error("the journal {path} is in use; stop the other service that writes it, or name another file", path = path.display())]
    InUse {
        /// The journal's file.
        path: PathBuf,
    },
    /// The lock file beside the journal cannot be made.
    #[error("could not lock the journal with {path}; its directory must exist and be writable", path = path.display())]
    Lock {
        /// The lock file.
        path: PathBuf,
        /// What the system said.
        #[source]
        source: Arc<io::Error>,
    },
    /// A service thread could not be started.
    #[error("could not start a thread for the journal; free memory or raise the limit on tasks")]
    Thread {
        /// What the system said.
        #[source]
        source: Arc<io::Error>,
    },
    /// The file is a database, but no journal.
    #[error("{path} is not a journal of this service; name another file", path = path.display())]
    Foreign {
        /// The file.
        path: PathBuf,
    },
    /// The file was written by a newer service.
    #[error("the journal {path} has schema {found}, this service knows up to {known}; update the service", path = path.display())]
    Newer {
        /// The journal's file.
        path: PathBuf,
        /// The schema it has.
        found: i64,
        /// The newest one this service knows.
        known: i64,
    },
    /// The database does not do what it should; nothing was stored.
    #[error("could not {doing}; {advice}")]
    Storage {
        /// What was being done.
        doing: &'static str,
        /// What to do about it.
        advice: &'static str,
        /// What the database said.
        #[source]
        source: Arc<rusqlite::Error>,
    },
    /// A file beside the journal, or a copy of it, cannot be used.
    #[error("could not {doing}: {path}; its directory must exist, be writable and have room", path = path.display())]
    File {
        /// What was being done.
        doing: &'static str,
        /// The file.
        path: PathBuf,
        /// What the system said.
        #[source]
        source: Arc<io::Error>,
    },
    /// A copy would take the place of a file.
    #[error("{path} is there already; name a file that is not", path = path.display())]
    CopyExists {
        /// The file.
        path: PathBuf,
    },
    /// A file does not pass the database's own check.
    #[error("{path} is damaged: {finding}; use another copy", path = path.display())]
    Damaged {
        /// The file.
        path: PathBuf,
        /// The first thing that is wrong.
        finding: String,
    },
    /// The journal has been shut down, or its thread has ended.
    #[error("the journal is closed; restart the service")]
    Closed,
    /// No job has this id.
    #[error("there is no job {job}; job.list tells the ids")]
    UnknownJob {
        /// The id.
        job: String,
    },
    /// The job has ended.
    #[error("job {job} is closed; open another one for the bay")]
    JobClosed {
        /// The id.
        job: String,
    },
    /// A job of this id exists.
    #[error("there is a job {job} already; give a new id")]
    JobExists {
        /// The id.
        job: String,
    },
    /// The bay has an open job.
    #[error("bay {bay} has the open job {job}; close it first")]
    BayBusy {
        /// The bay.
        bay: String,
        /// Its open job.
        job: String,
    },
    /// No rule set of this digest is kept.
    #[error("there is no rule set {digest} in the journal; put it there before the job")]
    UnknownRuleSet {
        /// The digest.
        digest: String,
    },
    /// A submission key came again with another content.
    #[error("the key {key} was used in bay {bay} for another submission; use a new key")]
    KeyReused {
        /// The bay.
        bay: String,
        /// The key.
        key: String,
    },
    /// A row cannot be kept; none of its batch was.
    #[error("event {index} of the batch cannot be kept: {why}")]
    BadRow {
        /// Its place in the batch, from 0.
        index: usize,
        /// What is wrong, and what would be right.
        why: &'static str,
    },
    /// A stored row cannot be read.
    #[error(
        "event {seq} of the journal cannot be read: {why}; check the journal's integrity and restore a copy"
    )]
    UnreadableRow {
        /// Its sequence number.
        seq: i64,
        /// What is wrong.
        why: &'static str,
    },
}

impl JournalError {
    /// A database error, with what was being done.
    pub(crate) fn storage(doing: &'static str) -> impl Fn(rusqlite::Error) -> Self {
        move |source| Self::Storage {
            doing,
            advice: advice(&source),
            source: Arc::new(source),
        }
    }
}

/// What to do about a database error.
fn advice(error: &rusqlite::Error) -> &'static str {
    use rusqlite::ErrorCode as Code;
    match error.sqlite_error_code() {
        Some(Code::DiskFull) => "the disk is full: free space, then try again",
        Some(Code::ReadOnly) => "it is read-only: make the file and its directory writable",
        Some(Code::CannotOpen) => "the directory must exist and be writable",
        Some(Code::PermissionDenied | Code::AuthorizationForStatementDenied) => {
            "permission is missing: see who owns the file"
        }
        Some(Code::SystemIoFailure) => "the disk fails: check it and the system's log",
        Some(Code::DatabaseCorrupt) => "the file is damaged: restore a copy",
        Some(Code::NotADatabase) => "the file is no database: name another one",
        Some(Code::DatabaseBusy | Code::DatabaseLocked) => {
            "another program holds the file: close it, then try again"
        }
        _ => "see the cause, and the service's log",
    }
}

/// An id that a job's events or its rule set do not know.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error(
    "{what} {id} is not in rule set {rule_set}; replay the job with the rule set it was opened with"
)]
pub struct UnknownId {
    /// What it would be the id of: a point, a check, an answer.
    pub what: &'static str,
    /// The id.
    pub id: String,
    /// The rule set, by its digest.
    pub rule_set: String,
}
