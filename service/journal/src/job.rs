//! Jobs, the rule sets they were opened with, and their verdicts.

/// A rule set's text, kept so that a job replays with its own.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RuleSetText {
    /// `sha256:` and the hexadecimal digest of the text's bytes.
    pub digest: String,
    /// Its id.
    pub id: String,
    /// Its version.
    pub version: String,
    /// The whole text.
    pub text: String,
}

/// A calibration as it was when readings named it, kept so that they can be
/// traced to it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CalibrationText {
    /// Its id: two records that differ have two ids.
    pub id: String,
    /// The whole record, JSON.
    pub record: String,
}

/// A rule set that was installed while the service ran.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Installed {
    /// The rule set.
    pub rule_set: RuleSetText,
    /// When, RFC 3339 in UTC.
    pub at: String,
    /// By whom, where that is known.
    pub by: Option<String>,
}

/// A job that begins.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewJob {
    /// Its id, given by the caller and never used before (UUID, version 7).
    pub id: String,
    /// The bay it is done in, which has no other open job.
    pub bay: String,
    /// The machine, in its owner's words.
    pub machine: String,
    /// The complaint's id, if one was made.
    pub complaint: Option<String>,
    /// Digest of the rule set, which has been put into the journal.
    pub rule_set: String,
    /// When, RFC 3339 in UTC.
    pub opened_at: String,
    /// By whom, where that is known.
    pub opened_by: Option<String>,
}

/// How a job ends.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Closing {
    /// When, RFC 3339 in UTC.
    pub closed_at: String,
    /// Ids of the suspects it really was; empty where that is not known.
    pub confirmed: Vec<String>,
    /// What else is to be remembered.
    pub note: Option<String>,
    /// The bytes of the final verdict.
    pub verdict: Vec<u8>,
}

/// Whether a job still goes on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum JobState {
    /// It goes on.
    Open,
    /// It has ended.
    Closed,
}

/// A job as the journal knows it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Job {
    /// How it began.
    pub opened: NewJob,
    /// When it ended, RFC 3339 in UTC; `None` while it is open.
    pub closed_at: Option<String>,
    /// Ids of the suspects it really was.
    pub confirmed: Vec<String>,
    /// What else is to be remembered.
    pub note: Option<String>,
}

impl Job {
    /// Whether it still goes on.
    pub const fn state(&self) -> JobState {
        match self.closed_at {
            None => JobState::Open,
            Some(_) => JobState::Closed,
        }
    }
}

/// Which jobs are wanted; every part left out is every one. Newest first.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct JobFilter {
    /// Of this bay.
    pub bay: Option<String>,
    /// Of this machine.
    pub machine: Option<String>,
    /// Open or closed ones.
    pub state: Option<JobState>,
    /// Opened before the job of this id: the last one of the page before.
    pub before: Option<String>,
}

/// A verdict as it was said.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct VerdictRow {
    /// Sequence number of the newest event it rests on; `None` for the final
    /// verdict of a closed job, which rests on all of them.
    pub seq: Option<i64>,
    /// Its bytes.
    pub bytes: Vec<u8>,
}
