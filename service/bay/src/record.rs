//! What happens is kept first, then weighed, then told.

use std::sync::Arc;

use crate::error::{BayError, ErrorKind};
use tokio::time::Instant;
use trisect_diagnosis::Verdict;
use trisect_journal::{
    Appended, Batch, EventRow, Happened, JournalError, StoredVerdict, SubmissionKey,
};
use trisect_rules::{Outcome, Side, Standing};

use super::state::{Bay, OpenJob};
use crate::observer::{JobVerdict, ReadingsFate, StoredReading};

/// What of a verdict is worth keeping at once: a reading that only moves a
/// belief can always be weighed again from the journal.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Gist {
    standing: Standing,
    side: Option<Side>,
    also: Vec<Side>,
    named: Option<String>,
    outcomes: Vec<(String, Outcome)>,
}

impl Gist {
    fn of(verdict: &Verdict) -> Gist {
        Gist {
            standing: verdict.standing,
            side: verdict.side,
            also: verdict.also.clone(),
            named: verdict.named.clone(),
            outcomes: verdict
                .evidence
                .iter()
                .map(|e| (e.check.clone(), e.outcome))
                .collect(),
        }
    }
}

impl Bay {
    /// Keeps rows of the open job, all or none, and waits until they are on
    /// disk; then weighs them, judges, and tells what is new.
    pub(crate) async fn record(
        &mut self,
        rows: Vec<EventRow>,
        key: Option<SubmissionKey>,
    ) -> Result<Appended, BayError> {
        let appended = self.keep(rows, key).await?;
        if let Appended::Stored { .. } = appended {
            self.judge().await?;
        }
        Ok(appended)
    }

    /// The same for what instruments stream: it is judged when its turn comes.
    pub(crate) async fn stream(&mut self, rows: Vec<EventRow>) -> Result<(), BayError> {
        self.keep(rows, None).await?;
        let cost = self.open_job()?.cost;
        // Booked once: booking again with every batch would put the verdict off for ever.
        if self.verdict_due().is_none() {
            let due = self.pace.book(&self.name, cost);
            self.open_job()?.due = Some(due);
        }
        Ok(())
    }

    /// When the verdict on what was streamed is due, if anything was.
    pub(super) fn verdict_due(&self) -> Option<Instant> {
        self.job.as_ref()?.due
    }

    /// Judges what was streamed, as its turn has come.
    pub(super) async fn judge_streamed(&mut self) {
        // The readings themselves go out first.
        tokio::task::yield_now().await;
        if let Err(error) = self.judge().await {
            // It is folded anew from the journal whenever it is asked for; the log says what failed.
            tracing::error!(bay = self.name, %error, "the verdict on what was streamed was not told");
        }
    }

    async fn keep(
        &mut self,
        rows: Vec<EventRow>,
        key: Option<SubmissionKey>,
    ) -> Result<Appended, BayError> {
        let job = Arc::clone(&self.open_job()?.id);
        let bay = Arc::from(self.name.as_str());
        // The rows are shared with the journal's thread: texts are, too, so this is cheap.
        let batch = Batch {
            job: Some(job),
            bay,
            key,
            events: rows.clone(),
        };
        // On disk before it is weighed: no verdict may rest on what a restart would not find.
        let appended = self
            .journal
            .append(batch)
            .await
            .map_err(|error| refusal(&error))?;
        if let Appended::Stored { first, .. } = appended {
            let reading = |row: &&EventRow| matches!(row.what, Happened::Reading(_));
            let readings = rows.iter().filter(reading).count();
            self.observer
                .readings_counted(&self.name, ReadingsFate::OfJob, readings);
            self.weigh(&rows, first)?;
        }
        Ok(appended)
    }

    fn weigh(&mut self, rows: &[EventRow], first: i64) -> Result<(), BayError> {
        let observer = Arc::clone(&self.observer);
        let wanted = observer.wants_readings();
        let bay = self.name.clone();
        let open = self.open_job()?;
        let rules = Arc::clone(open.rules.model.rules());
        for (row, seq) in rows.iter().zip(first..) {
            let event = open.ids.event(row).map_err(|error| internal(&error))?;
            if let Some(event) = event {
                open.diagnosis.push(&event);
            }
            open.seq = seq.unsigned_abs();
            // One that is older by the time said with it does not turn the job's time back.
            open.newest = open.newest.max(row.at);
            if wanted && matches!(row.what, Happened::Reading(_)) {
                observer.reading_stored(&StoredReading {
                    bay: &bay,
                    job: &open.id,
                    rules: &rules,
                    seq,
                    row,
                });
            }
        }
        Ok(())
    }

    /// Tells the verdict if it changed, and keeps it if its gist did. One that cannot be kept refuses nothing: what it
    /// rests on is stored by now, and whoever was told otherwise would send it again.
    pub(crate) async fn judge(&mut self) -> Result<(), BayError> {
        let begun = Instant::now();
        let wanted = self.observer.wants_verdicts();
        let open = self.open_job()?;
        open.due = None;
        let verdict = open.diagnosis.verdict();
        let bytes = StoredVerdict::from((*verdict).clone()).to_bytes();
        let news = bytes != open.told;
        if !news && open.kept.is_some() {
            return Ok(());
        }
        let gist = Gist::of(&verdict);
        let (id, seq) = (Arc::clone(&open.id), open.seq);
        let keep = open.kept.as_ref() != Some(&gist);
        open.kept = Some(gist);
        open.told.clone_from(&bytes);
        if wanted && news {
            let changed = self.verdict_now()?;
            self.observer.verdict_changed(changed);
        }
        let open = self.open_job()?;
        open.cost = begun.elapsed();
        if keep {
            let seq = i64::try_from(seq).unwrap_or(i64::MAX);
            if let Err(error) = self.journal.record_verdict(id, seq, bytes).await {
                let error: &dyn std::error::Error = &error;
                tracing::error!(
                    bay = self.name,
                    error,
                    "a verdict was not kept; it is tried again when the job is judged next"
                );
                self.open_job()?.kept = None;
            }
        }
        Ok(())
    }

    /// The verdict of the open job as it stands.
    ///
    /// # Errors
    /// That no job is open.
    pub fn verdict_now(&mut self) -> Result<JobVerdict, BayError> {
        let bay = self.name.clone();
        let clock = self.clock;
        let open = self.open_job()?;
        Ok(JobVerdict {
            job: open.id.to_string(),
            bay,
            seq: open.seq,
            time: clock.wall(open.opened + open.newest),
            verdict: open.diagnosis.verdict(),
        })
    }
}

impl OpenJob {
    /// Whether this is the job of an id.
    pub(crate) fn is(&self, job: &str) -> bool {
        &*self.id == job
    }
}

/// What the journal refuses, in the words of the bay.
pub fn refusal(error: &JournalError) -> BayError {
    let said = error.to_string();
    match error {
        JournalError::UnknownJob { .. } => ErrorKind::UnknownJob.because(said).at("job"),
        JournalError::JobClosed { .. } => ErrorKind::JobClosed.because(said).at("job"),
        JournalError::BayBusy { .. } => ErrorKind::Busy.because(said).at("bay"),
        JournalError::KeyReused { .. } => ErrorKind::InvalidValue
            .because(said)
            .at("key")
            .hint("use a new key for other readings"),
        JournalError::BadRow { .. } => ErrorKind::InvalidValue.because(said),
        _ => {
            tracing::error!(error = error as &dyn std::error::Error, "journal failed");
            ErrorKind::Storage
                .because(said)
                .hint("see the service's log; nothing was stored")
        }
    }
}

/// Something that cannot happen unless the program is wrong.
pub fn internal(error: &(dyn std::error::Error + 'static)) -> BayError {
    tracing::error!(error, "internal error");
    ErrorKind::Internal
        .because(error.to_string())
        .hint("see the service's log")
}
