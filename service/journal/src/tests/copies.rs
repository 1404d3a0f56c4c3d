//! Backup while the journal is written, and restore.

use std::sync::Arc;

use super::{Kept, batch, reading};
use crate::{Journal, JournalError, SqliteJournal, backup, restore};

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_copy_taken_while_it_is_written_is_whole_and_holds_what_was_answered_before() {
    let kept = Kept::with_job().await;
    let journal = Arc::new(kept.journal);
    let path = kept.directory.path().join("journal.db");
    let copy = kept.directory.path().join("copy.db");
    for number in 0..50 {
        let rows = (0..10).map(|at| reading(number * 10 + at, 1.0)).collect();
        journal
            .append(batch(Some("job-1"), "bay-1", rows))
            .await
            .unwrap();
    }
    let writing = tokio::spawn({
        let journal = Arc::clone(&journal);
        async move {
            let mut written = 0;
            loop {
                let rows = (0..10).map(|at| reading(1000 + at, 1.0)).collect();
                let batch = batch(Some("job-1"), "bay-1", rows);
                if journal.append(batch).await.is_err() || written > 100_000 {
                    return written;
                }
                written += 10;
            }
        }
    });
    let (from, to) = (path.clone(), copy.clone());
    let bytes = tokio::task::spawn_blocking(move || backup(&from, &to))
        .await
        .unwrap()
        .unwrap();
    assert!(bytes > 0);
    writing.abort();
    let copied = SqliteJournal::open(&copy).unwrap();
    let events = copied.events("job-1", 0, usize::MAX).await.unwrap();
    assert!(
        events.len() >= 500 && events.len() % 10 == 0,
        "{} events",
        events.len()
    );
    assert_eq!(copied.integrity().await.unwrap(), [""; 0]);
    assert_eq!(copied.verify("job-1").await.unwrap().findings, [""; 0]);
    drop(copied);
    let again = backup(&path, &copy);
    assert!(
        matches!(again, Err(JournalError::CopyExists { .. })),
        "{again:?}"
    );
}

#[tokio::test]
async fn a_copy_takes_the_journals_place_and_what_was_there_is_kept() {
    let kept = Kept::with_job().await;
    let append = |at| batch(Some("job-1"), "bay-1", vec![reading(at, 1.0)]);
    kept.journal.append(append(1)).await.unwrap();
    let (path, copy) = (kept.path(), kept.directory.path().join("copy.db"));
    backup(&path, &copy).unwrap();
    kept.journal.append(append(2)).await.unwrap();
    let in_use = restore(&copy, &path);
    assert!(
        matches!(in_use, Err(JournalError::InUse { .. })),
        "{in_use:?}"
    );
    assert_eq!(kept.all_events("job-1").await.len(), 2);
    drop(kept.journal);
    let before = restore(&copy, &path).unwrap().unwrap();
    let events = async |path| {
        let journal = SqliteJournal::open(path).unwrap();
        journal.events("job-1", 0, 10).await.unwrap().len()
    };
    assert_eq!(events(path.clone()).await, 1);
    assert_eq!(events(before).await, 2);
    // Into an empty place as well.
    let elsewhere = kept.directory.path().join("elsewhere.db");
    assert_eq!(restore(&copy, &elsewhere).unwrap(), None);
    assert_eq!(events(elsewhere).await, 1);
}

#[test]
fn what_is_no_sound_copy_changes_nothing() {
    let kept = Kept::new();
    let path = kept.path();
    drop(kept.journal);
    let before = std::fs::read(&path).unwrap();
    let copy = kept.directory.path().join("copy.db");
    let missing = restore(&copy, &path);
    assert!(
        matches!(missing, Err(JournalError::File { .. })),
        "{missing:?}"
    );
    std::fs::write(&copy, "no database at all, and long enough. ".repeat(99)).unwrap();
    restore(&copy, &path).unwrap_err();
    // Damaged in the middle: pages of tables overwritten.
    let mut damaged = before.clone();
    let middle = damaged.len() / 2;
    damaged[middle..middle + 4096].fill(0x5a);
    std::fs::write(&copy, damaged).unwrap();
    let refused = restore(&copy, &path);
    assert!(refused.is_err(), "{refused:?}");
    assert_eq!(std::fs::read(&path).unwrap(), before);
}
