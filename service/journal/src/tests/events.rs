//! Events: kept whole, in order, once.

use std::sync::Arc;

use trisect_measure::{Amount, Flags};
use trisect_rules::{Drive, Outcome, Phase};

use super::{Kept, batch, new_job, reading};
use crate::{
    Appended, EventRow, Happened, Journal, JournalError, Probe, Reading, ReadingFilter,
    SubmissionKey,
};

fn row(at: i64, by: Option<&str>, what: Happened) -> EventRow {
    EventRow {
        at,
        wall: -5,
        by: by.map(Arc::from),
        what,
    }
}

fn probe(instrument: Option<&str>) -> Probe {
    Probe {
        point: Arc::from("battery-voltage"),
        instrument: instrument.map(Arc::from),
        channel: instrument.map(|_| 1),
    }
}

/// One row of every kind, with every part that may be missing there and not there.
pub(super) fn every_kind() -> Vec<EventRow> {
    let reading = |amount, uncertainty, flags, instrument: Option<&str>| {
        Happened::Reading(Reading {
            point: Arc::from("pump-inlet-pressure"),
            amount,
            uncertainty,
            flags,
            entered: instrument.is_none(),
            instrument: instrument.map(Arc::from),
            channel: instrument.map(|_| 7),
            calibration: instrument.map(|_| Arc::from("cal-0123456789ab")),
            latency: instrument.map(|_| 250_000_000),
            barometer: instrument.map(|_| 101_325.0),
        })
    };
    let check = || Arc::from("fuel-seen");
    vec![
        row(
            1,
            None,
            reading(Amount::Exactly(-0.0), 0.0, Flags::all(), Some("gauge")),
        ),
        row(
            2,
            Some("kim"),
            reading(Amount::Above(5e-324), 5e-324, Flags::empty(), None),
        ),
        row(
            3,
            None,
            reading(
                Amount::Below(f64::MAX),
                1.0 / 3.0,
                Flags::HOLD,
                Some("gauge"),
            ),
        ),
        row(
            4,
            None,
            reading(
                Amount::Exactly(9_007_199_254_740_993.0),
                2.0,
                Flags::AUTO,
                None,
            ),
        ),
        row(5, Some("kim"), Happened::Phase(Phase::HighIdle)),
        row(6, None, Happened::Drive(Drive::Bypass)),
        row(
            7,
            Some("kim"),
            Happened::Answer {
                check: check(),
                answer: Arc::from("seen"),
            },
        ),
        row(
            i64::MAX,
            None,
            Happened::Outcome {
                check: check(),
                outcome: Outcome::Undecided,
            },
        ),
        row(i64::MIN, None, Happened::Window(probe(Some("meter-1")))),
        row(8, Some("kim"), Happened::Lifted(probe(Some("meter-1")))),
        row(9, None, Happened::Window(probe(None))),
    ]
}

#[tokio::test]
async fn every_kind_comes_back_bit_by_bit() {
    let kept = Kept::with_job().await;
    let rows = every_kind();
    let appended = kept
        .journal
        .append(batch(Some("job-1"), "bay-1", rows.clone()))
        .await;
    assert_eq!(
        appended.unwrap(),
        Appended::Stored {
            first: 1,
            count: 11
        }
    );
    let kept = kept.reopened();
    let stored = kept.all_events("job-1").await;
    let read: Vec<_> = stored.iter().map(|event| event.row.clone()).collect();
    assert_eq!(format!("{read:?}"), format!("{rows:?}"));
    assert!(
        stored
            .iter()
            .all(|event| event.job.as_deref() == Some("job-1"))
    );
    assert!(stored.iter().map(|event| event.seq).eq(1..=11));
}

#[tokio::test]
async fn rows_that_would_not_come_back_are_refused_with_their_batch() {
    let kept = Kept::with_job().await;
    for (value, u) in [
        (f64::NAN, 0.1),
        (f64::INFINITY, 0.1),
        (1.0, f64::NAN),
        (1.0, -0.1),
    ] {
        let mut bad = reading(2, value);
        if let Happened::Reading(reading) = &mut bad.what {
            reading.uncertainty = u;
        }
        let refused =
            kept.journal
                .append(batch(Some("job-1"), "bay-1", vec![reading(1, 1.0), bad]));
        let refused = refused.await;
        assert!(
            matches!(refused, Err(JournalError::BadRow { index: 1, .. })),
            "{refused:?}"
        );
    }
    let unknown = kept
        .journal
        .append(batch(Some("job-9"), "bay-1", vec![reading(1, 1.0)]))
        .await;
    assert!(
        matches!(unknown, Err(JournalError::UnknownJob { .. })),
        "{unknown:?}"
    );
    assert_eq!(kept.all_events("job-1").await, []);
}

#[tokio::test]
async fn the_same_key_is_stored_once() {
    let kept = Kept::with_job().await;
    let keyed = |key: &str, content: u8, bay: &str| {
        let mut batch = batch(None, bay, vec![reading(1, 1.0), reading(2, 2.0)]);
        let key = key.to_owned();
        batch.key = Some(SubmissionKey {
            key,
            content: [content; 32],
        });
        batch
    };
    let stored = kept.journal.append(keyed("a", 1, "bay-1")).await.unwrap();
    assert_eq!(stored, Appended::Stored { first: 1, count: 2 });
    let repeated = kept.journal.append(keyed("a", 1, "bay-1")).await.unwrap();
    assert_eq!(repeated, Appended::Repeated { first: 1, count: 2 });
    let kept = kept.reopened();
    let repeated = kept.journal.append(keyed("a", 1, "bay-1")).await.unwrap();
    assert_eq!(repeated, Appended::Repeated { first: 1, count: 2 });
    let reused = kept.journal.append(keyed("a", 2, "bay-1")).await;
    assert!(
        matches!(reused, Err(JournalError::KeyReused { .. })),
        "{reused:?}"
    );
    let other = kept.journal.append(keyed("a", 2, "bay-2")).await.unwrap();
    assert_eq!(other, Appended::Stored { first: 3, count: 2 });
    assert_eq!(
        kept.journal
            .readings(Default::default(), 0, 99)
            .await
            .unwrap()
            .len(),
        4
    );
}

#[tokio::test]
async fn the_same_keys_sent_together_are_stored_once() {
    let kept = Kept::with_job().await;
    let mut keyed = batch(None, "bay-1", vec![reading(1, 1.0)]);
    let key = "a".to_owned();
    keyed.key = Some(SubmissionKey {
        key,
        content: [0; 32],
    });
    let both = (
        kept.journal.append(keyed.clone()),
        kept.journal.append(keyed),
    );
    let (one, other) = tokio::join!(both.0, both.1);
    assert_eq!(one.unwrap(), Appended::Stored { first: 1, count: 1 });
    assert_eq!(other.unwrap(), Appended::Repeated { first: 1, count: 1 });
}

#[tokio::test]
async fn pages_follow_each_other_and_leave_other_jobs_out() {
    let kept = Kept::with_job().await;
    let journal = &kept.journal;
    journal.open_job(new_job("job-2", "bay-2")).await.unwrap();
    for at in 0..50 {
        let (job, bay) = if at % 3 == 0 {
            ("job-2", "bay-2")
        } else {
            ("job-1", "bay-1")
        };
        let rows = vec![reading(at, 1.0), reading(at + 1000, 2.0)];
        journal.append(batch(Some(job), bay, rows)).await.unwrap();
    }
    let (mut after, mut seen) = (0, Vec::new());
    loop {
        let page = journal.events("job-1", after, 7).await.unwrap();
        assert!(page.len() <= 7);
        let Some(last) = page.last() else {
            break;
        };
        after = last.seq;
        seen.extend(page.iter().map(|event| event.row.at));
    }
    let expected = (0..50)
        .filter(|at| at % 3 != 0)
        .flat_map(|at| [at, at + 1000]);
    assert_eq!(seen, expected.collect::<Vec<_>>());
}

#[tokio::test]
async fn readings_are_found_by_bay_job_point_and_time() {
    let kept = Kept::with_job().await;
    let journal = &kept.journal;
    let rows = (0..10).map(|at| reading(at, 1.0)).collect();
    journal
        .append(batch(Some("job-1"), "bay-1", rows))
        .await
        .unwrap();
    journal
        .append(batch(None, "bay-2", every_kind()))
        .await
        .unwrap();
    let check = async |filter: ReadingFilter, expected: usize| {
        let found = journal.readings(filter.clone(), 0, 99).await.unwrap();
        assert_eq!(found.len(), expected, "{filter:?}");
    };
    let some = |text: &str| Some(text.to_owned());
    check(ReadingFilter::default(), 14).await;
    check(
        ReadingFilter {
            bay: some("bay-2"),
            ..Default::default()
        },
        4,
    )
    .await;
    check(
        ReadingFilter {
            bay: some("bay-3"),
            ..Default::default()
        },
        0,
    )
    .await;
    check(
        ReadingFilter {
            job: some("job-1"),
            ..Default::default()
        },
        10,
    )
    .await;
    check(
        ReadingFilter {
            point: some("battery-voltage"),
            ..Default::default()
        },
        10,
    )
    .await;
    let (from, until) = (Some(1_000_003), Some(1_000_005));
    check(
        ReadingFilter {
            from,
            until,
            ..Default::default()
        },
        2,
    )
    .await;
    let unknown = ReadingFilter {
        job: some("job-9"),
        ..Default::default()
    };
    let unknown = journal.readings(unknown, 0, 9).await;
    assert!(
        matches!(unknown, Err(JournalError::UnknownJob { .. })),
        "{unknown:?}"
    );
}

#[tokio::test]
async fn what_waits_is_committed_together() {
    let kept = Kept::with_job().await;
    let commits = || {
        // The log grows by whole commits; each writes at least one page anew.
        let log = kept.directory.path().join("journal.db-wal");
        std::fs::metadata(log).unwrap().len()
    };
    let alone = {
        let before = commits();
        for at in 0..50 {
            kept.journal
                .append(batch(None, "bay-1", vec![reading(at, 1.0)]))
                .await
                .unwrap();
        }
        commits() - before
    };
    let together = {
        let before = commits();
        let appends = (0..50).map(|at| {
            let append = kept
                .journal
                .append(batch(None, "bay-1", vec![reading(at, 1.0)]));
            tokio::spawn(append)
        });
        for append in appends.collect::<Vec<_>>() {
            append.await.unwrap().unwrap();
        }
        commits() - before
    };
    assert!(
        together * 4 < alone,
        "together {together} bytes, alone {alone}"
    );
}
