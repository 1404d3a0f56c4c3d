//! What a bay tells while it works.

use std::sync::Arc;

use trisect_diagnosis::Verdict;
use trisect_journal::EventRow;
use trisect_rules::RuleSet;

use crate::instruments::InstrumentStatus;

/// What became of readings.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ReadingsFate {
    /// They belong to a job, for good.
    OfJob,
    /// They belong to none, for as long as is configured.
    OutsideJobs,
    /// The journal did not store them.
    Lost,
}

/// A reading of a job that was just stored.
#[derive(Clone, Copy, Debug)]
pub struct StoredReading<'a> {
    /// The bay.
    pub bay: &'a str,
    /// The job.
    pub job: &'a str,
    /// The rule set of the job, which says the unit of its point.
    pub rules: &'a RuleSet,
    /// Its place in the journal.
    pub seq: i64,
    /// What was stored; always a reading.
    pub row: &'a EventRow,
}

/// The verdict of a job, and what it rests on.
#[derive(Clone, Debug)]
pub struct JobVerdict {
    /// The job.
    pub job: String,
    /// The bay.
    pub bay: String,
    /// The newest event that it rests on.
    pub seq: u64,
    /// When that was.
    pub time: jiff::Timestamp,
    /// What the readings say.
    pub verdict: Arc<Verdict>,
}

/// Whoever wants to be told what happens in a bay. It is called by the bay's own task, which does not go on
/// meanwhile: nothing here may wait.
pub trait BayObserver: Send + Sync {
    /// Whether anybody wants the readings; they are passed over otherwise.
    fn wants_readings(&self) -> bool;

    /// A reading of a job is on disk.
    fn reading_stored(&self, reading: &StoredReading<'_>);

    /// Whether anybody wants the verdicts.
    fn wants_verdicts(&self) -> bool;

    /// The verdict is another one than before.
    fn verdict_changed(&self, verdict: JobVerdict);

    /// The job was closed, at a time in RFC 3339.
    fn job_closed(&self, job: &str, closed_at: &str);

    /// An instrument was attached, or stands otherwise than before.
    fn instrument_changed(&self, instrument: InstrumentStatus);

    /// An instrument was detached.
    fn instrument_detached(&self, bay: &str, instrument: &str);

    /// So many readings were stored, or lost.
    fn readings_counted(&self, bay: &str, fate: ReadingsFate, count: usize);
}
