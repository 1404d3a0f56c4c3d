//! How much a journal grows: bytes a reading, of a job and outside any, as a bay stores them; and by a
//! bay and day. Nothing is timed: the sizes are the same on every machine.
//!
//! `cargo bench -p trisect-tests --bench growth`

#![allow(clippy::unwrap_used, reason = "a bench fails by panicking")]

use std::sync::Arc;

use trisect_journal::{
    Batch, EventRow, Happened, Journal, NewJob, Reading, RuleSetText, SqliteJournal,
};
use trisect_measure::{Amount, Flags};

const READINGS: i64 = 200_000;
/// A meter shows three values a second, a gauge is asked ten times a second.
const A_SECOND: [i64; 2] = [3, 10];
/// Hours a day that instruments are on, and of these with a job open.
const ON: i64 = 9;
const OF_JOBS: i64 = 6;

fn reading(number: i64) -> EventRow {
    let nanos = number * 76_923_076;
    EventRow {
        at: nanos,
        wall: 1_795_000_000_000_000 + nanos / 1000,
        by: None,
        what: Happened::Reading(Reading {
            point: Arc::from("pump-inlet-pressure"),
            amount: Amount::Exactly(21_000.0 + (number % 977) as f64 * 0.37),
            uncertainty: 612.345,
            flags: Flags::empty(),
            entered: false,
            instrument: Some(Arc::from("gauge")),
            channel: Some(0),
            calibration: Some(Arc::from("cal-1")),
            latency: Some(5_000_000),
            barometer: None,
        }),
    }
}

/// Bytes a reading, stored in commits of so many.
async fn bytes_a_reading(job: bool, a_commit: i64) -> f64 {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("journal.db");
    let journal = SqliteJournal::open(&path).unwrap();
    let rule_set = RuleSetText {
        digest: "sha256:0".to_owned(),
        id: "rules".to_owned(),
        version: "1".to_owned(),
        text: String::new(),
    };
    journal.put_rule_set(rule_set).await.unwrap();
    let new = NewJob {
        id: "job-1".to_owned(),
        bay: "bay-1".to_owned(),
        machine: "Unit 14".to_owned(),
        complaint: None,
        rule_set: "sha256:0".to_owned(),
        opened_at: "2026-11-25T04:00:00Z".to_owned(),
        opened_by: None,
    };
    journal.open_job(new).await.unwrap();
    let size = || std::fs::metadata(&path).unwrap().len() as f64;
    let mut number = 0;
    while number < READINGS {
        let events = (number..number + a_commit).map(reading).collect();
        let batch = Batch {
            job: job.then(|| Arc::from("job-1")),
            bay: Arc::from("bay-1"),
            key: None,
            events,
        };
        journal.append(batch).await.unwrap();
        number += a_commit;
    }
    // Closing folds the log into the file.
    drop(journal);
    size() / number as f64
}

fn main() {
    let runtime = tokio::runtime::Builder::new_current_thread()
        .build()
        .unwrap();
    runtime.block_on(async {
        let (of_job, outside) = (bytes_a_reading(true, 20).await, bytes_a_reading(false, 20).await);
        println!("{of_job:.1} bytes a reading of a job, {outside:.1} outside jobs");
        let readings = |hours: i64| (A_SECOND.iter().sum::<i64>() * hours * 3600) as f64;
        println!(
            "a bay with a meter ({}/s) and a gauge ({}/s), on {ON} h a day, {OF_JOBS} h of them in jobs:",
            A_SECOND[0], A_SECOND[1]
        );
        println!("  {:.1} MB a day for good", readings(OF_JOBS) * of_job / 1e6);
        println!("  {:.1} MB a day for as long as `keep.outside_jobs` says", readings(ON - OF_JOBS) * outside / 1e6);
    });
}
