//! The journal through its trait, on real files.
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod chain;
mod copies;
mod crash;
mod events;
mod history;
mod installed;
mod jobs;
mod keeping;
mod opening;
mod outbox;
mod replay;
mod unreadable;

use std::path::PathBuf;
use std::sync::Arc;

use tempfile::TempDir;
use trisect_measure::{Amount, Flags};

use crate::{
    Batch, EventRow, Happened, Journal, NewJob, Reading, RuleSetText, SqliteJournal, StoredEvent,
};

/// A journal in a directory that goes away with it.
struct Kept {
    journal: SqliteJournal,
    directory: TempDir,
}

impl Kept {
    fn new() -> Self {
        let directory = tempfile::tempdir().unwrap();
        let journal = SqliteJournal::open(directory.path().join("journal.db")).unwrap();
        Self { journal, directory }
    }

    fn path(&self) -> PathBuf {
        self.directory.path().join("journal.db")
    }

    /// Closes and opens it.
    fn reopened(self) -> Self {
        let Self { journal, directory } = self;
        drop(journal);
        let journal = SqliteJournal::open(directory.path().join("journal.db")).unwrap();
        Self { journal, directory }
    }

    /// With the rule set `sha256:0` and an open job `job-1` in `bay-1`.
    async fn with_job() -> Self {
        let kept = Self::new();
        kept.journal.put_rule_set(rule_set()).await.unwrap();
        kept.journal
            .open_job(new_job("job-1", "bay-1"))
            .await
            .unwrap();
        kept
    }

    async fn all_events(&self, job: &str) -> Vec<StoredEvent> {
        self.journal.events(job, 0, usize::MAX).await.unwrap()
    }
}

fn rule_set() -> RuleSetText {
    RuleSetText {
        digest: "sha256:0".to_owned(),
        id: "rules".to_owned(),
        version: "1.0.0".to_owned(),
        text: "format = 1".to_owned(),
    }
}

fn new_job(id: &str, bay: &str) -> NewJob {
    NewJob {
        id: id.to_owned(),
        bay: bay.to_owned(),
        machine: "Unit 14".to_owned(),
        complaint: Some("cranks-no-start".to_owned()),
        rule_set: "sha256:0".to_owned(),
        opened_at: "2026-11-24T10:00:00Z".to_owned(),
        opened_by: None,
    }
}

fn reading(at: i64, value: f64) -> EventRow {
    EventRow {
        at,
        wall: 1_000_000 + at,
        by: None,
        what: Happened::Reading(Reading {
            point: Arc::from("battery-voltage"),
            amount: Amount::Exactly(value),
            uncertainty: 0.01,
            flags: Flags::empty(),
            entered: false,
            instrument: Some(Arc::from("meter-1")),
            channel: Some(0),
            calibration: None,
            latency: None,
            barometer: None,
        }),
    }
}

fn batch(job: Option<&str>, bay: &str, events: Vec<EventRow>) -> Batch {
    Batch {
        job: job.map(Arc::from),
        bay: Arc::from(bay),
        key: None,
        events,
    }
}
