//! A crash: what was answered is there, what was not is there whole or not at all.

use std::fs;
use std::path::Path;

use super::{Kept, batch, reading};
use crate::{Journal, SqliteJournal};

const BATCH: usize = 10;

/// The file and its log as a crash would leave them, the log cut to a length.
fn cut(kept: &Kept, to: &Path, length: usize) {
    let log = fs::read(kept.directory.path().join("journal.db-wal")).unwrap();
    fs::copy(kept.path(), to.join("journal.db")).unwrap();
    fs::write(to.join("journal.db-wal"), &log[..length]).unwrap();
}

#[tokio::test]
async fn everything_answered_is_there_and_no_batch_is_torn() {
    let kept = Kept::with_job().await;
    let log = kept.directory.path().join("journal.db-wal");
    // How long the log was once each batch had been answered.
    let mut answered = vec![fs::metadata(&log).unwrap().len()];
    for number in 0..20 {
        let rows = (0..10).map(|at| reading(number * 10 + at, 1.0)).collect();
        kept.journal
            .append(batch(Some("job-1"), "bay-1", rows))
            .await
            .unwrap();
        answered.push(fs::metadata(&log).unwrap().len());
    }
    let whole = usize::try_from(*answered.last().unwrap()).unwrap();
    let start = usize::try_from(answered[0]).unwrap();
    for length in (start..=whole).step_by(1111).chain([whole]) {
        let directory = tempfile::tempdir().unwrap();
        cut(&kept, directory.path(), length);
        let journal = SqliteJournal::open(directory.path().join("journal.db")).unwrap();
        let events = journal.events("job-1", 0, usize::MAX).await.unwrap();
        let durable = answered.iter().filter(|end| **end <= length as u64).count() - 1;
        assert_eq!(
            events.len(),
            durable * BATCH,
            "the log cut to {length} of {whole}"
        );
        assert_eq!(journal.integrity().await.unwrap(), [""; 0]);
    }
}

#[tokio::test]
async fn a_write_that_fails_is_not_answered_and_the_next_one_succeeds() {
    let kept = Kept::with_job().await;
    // Another connection that makes every write of a certain value fail.
    let saboteur = rusqlite::Connection::open(kept.path()).unwrap();
    let trap = "CREATE TRIGGER trap BEFORE INSERT ON event WHEN NEW.value = 13.0
                BEGIN SELECT RAISE(FAIL, 'the trap'); END";
    saboteur.execute_batch(trap).unwrap();
    let rows = vec![reading(1, 1.0), reading(2, 13.0)];
    let failed = kept
        .journal
        .append(batch(Some("job-1"), "bay-1", rows))
        .await
        .unwrap_err();
    assert!(
        failed.to_string().contains("could not store events"),
        "{failed}"
    );
    assert_eq!(kept.all_events("job-1").await, []);
    let stored = kept
        .journal
        .append(batch(Some("job-1"), "bay-1", vec![reading(3, 3.0)]))
        .await;
    assert_eq!(
        stored.unwrap(),
        crate::Appended::Stored { first: 1, count: 1 }
    );
    assert_eq!(kept.journal.integrity().await.unwrap(), [""; 0]);
}

#[tokio::test]
async fn what_was_asked_before_the_end_is_answered_and_then_nothing() {
    let kept = Kept::with_job().await;
    let late = kept
        .journal
        .append(batch(None, "bay-1", vec![reading(1, 1.0)]));
    let asked = kept.journal.job("job-1");
    drop(kept.journal);
    assert!(matches!(late.await, Err(crate::JournalError::Closed)));
    assert!(matches!(asked.await, Err(crate::JournalError::Closed)));
}
