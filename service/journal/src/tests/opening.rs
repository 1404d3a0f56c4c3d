//! Opening: one writer, our own files, no newer ones.

use super::{Kept, batch, reading};
use crate::{Journal, JournalError, SqliteJournal};

#[test]
fn a_second_writer_is_refused_and_let_in_once_the_first_has_gone() {
    let kept = Kept::new();
    let second = SqliteJournal::open(kept.path());
    assert!(
        matches!(second, Err(JournalError::InUse { .. })),
        "{second:?}"
    );
    let path = kept.path();
    drop(kept.journal);
    SqliteJournal::open(path).unwrap();
}

#[test]
fn a_lock_file_that_was_left_behind_is_no_hindrance() {
    let directory = tempfile::tempdir().unwrap();
    std::fs::write(directory.path().join("journal.db.lock"), "").unwrap();
    SqliteJournal::open(directory.path().join("journal.db")).unwrap();
}

#[test]
fn a_newer_schema_is_refused_and_left_alone() {
    let kept = Kept::new();
    let path = kept.path();
    drop(kept.journal);
    let newer = rusqlite::Connection::open(&path).unwrap();
    newer.pragma_update(None, "user_version", 999).unwrap();
    drop(newer);
    let opened = SqliteJournal::open(&path);
    let Err(JournalError::Newer { found, .. }) = opened else {
        panic!("{opened:?}");
    };
    assert_eq!(found, 999);
}

#[test]
fn other_databases_and_other_files_are_refused() {
    let directory = tempfile::tempdir().unwrap();
    let other = directory.path().join("other.db");
    let connection = rusqlite::Connection::open(&other).unwrap();
    connection.execute_batch("CREATE TABLE other (x)").unwrap();
    drop(connection);
    let opened = SqliteJournal::open(&other);
    assert!(
        matches!(opened, Err(JournalError::Foreign { .. })),
        "{opened:?}"
    );
    let text = directory.path().join("notes.txt");
    std::fs::write(
        &text,
        "not a database, but long enough to be looked at. ".repeat(99),
    )
    .unwrap();
    let refused = SqliteJournal::open(&text).unwrap_err();
    assert!(refused.to_string().contains("no database"), "{refused}");
}

#[test]
fn a_directory_that_is_not_there_is_named() {
    let refused = SqliteJournal::open("/nowhere/at/all/journal.db").unwrap_err();
    assert!(
        refused
            .to_string()
            .contains("/nowhere/at/all/journal.db.lock"),
        "{refused}"
    );
    assert!(std::error::Error::source(&refused).is_some());
}

#[tokio::test]
async fn a_sound_journal_has_no_findings_and_a_torn_one_has() {
    let kept = Kept::with_job().await;
    let events = batch(
        Some("job-1"),
        "bay-1",
        vec![reading(1, 1.0), reading(2, 2.0)],
    );
    kept.journal.append(events).await.unwrap();
    assert_eq!(kept.journal.integrity().await.unwrap(), [""; 0]);
    let path = kept.path();
    drop(kept.journal);
    let torn = rusqlite::Connection::open(&path).unwrap();
    torn.execute("DELETE FROM event WHERE seq = 1", []).unwrap();
    torn.execute("UPDATE event SET kind = 9 WHERE seq = 2", [])
        .unwrap();
    drop(torn);
    let journal = SqliteJournal::open(&path).unwrap();
    let findings = journal.integrity().await.unwrap();
    assert_eq!(findings.len(), 1, "{findings:?}");
    let read = journal.events("job-1", 0, 10).await;
    assert!(
        matches!(read, Err(JournalError::UnreadableRow { seq: 2, .. })),
        "{read:?}"
    );
}
