//! Opening: one writer, our own files, no newer ones.

use std::path::Path;

use super::{Kept, batch, reading};
use crate::sqlite::newest;
use crate::{CalibrationText, Happened, Journal, JournalError, SqliteJournal};

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
    // What is left of it can be read: see `unreadable`.
    let read = journal.events("job-1", 0, 10).await.unwrap();
    assert_eq!(read, []);
}

/// A file as schema 1 left it: a job with a reading and a placed probe.
fn of_schema_1(path: &Path) {
    let old = rusqlite::Connection::open(path).unwrap();
    old.execute_batch(include_str!("../sqlite/v1.sql")).unwrap();
    old.execute_batch(
        "PRAGMA application_id = 0x54524953;
         PRAGMA user_version = 1;
         INSERT INTO word (id, text) VALUES (1, 'bay-1'), (2, 'battery-voltage'), (3, 'meter-1');
         INSERT INTO rule_set VALUES ('sha256:0', 'rules', '1.0.0', 'format = 1');
         INSERT INTO job (key, id, bay, machine, rule_set, opened_at)
             VALUES (1, 'job-1', 'bay-1', 'Unit 14', 'sha256:0', '2026-11-24T10:00:00Z');
         INSERT INTO event VALUES (1, 5, 50, 5, 2, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL);
         INSERT INTO event VALUES (2, 6, 60, 0, 2, NULL, 0, 12.5, 0.01, 1, 0, 3, 0, NULL);
         INSERT INTO stretch VALUES (1, 2, 1, 1, 50, 60);",
    )
    .unwrap();
}

#[tokio::test]
async fn a_file_of_schema_1_opens_and_goes_on() {
    let directory = tempfile::tempdir().unwrap();
    let path = directory.path().join("journal.db");
    of_schema_1(&path);
    let journal = SqliteJournal::open(&path).unwrap();
    let events = journal.events("job-1", 0, 10).await.unwrap();
    let Happened::Window(probe) = &events[0].row.what else {
        panic!("{events:?}");
    };
    assert_eq!(
        (&*probe.point, &probe.instrument),
        ("battery-voltage", &None)
    );
    let Happened::Reading(old) = &events[1].row.what else {
        panic!("{events:?}");
    };
    assert_eq!(old.amount.exact(), Some(12.5));
    assert_eq!(
        (&old.calibration, old.latency, old.barometer),
        (&None, None, None)
    );

    let mut new = reading(7, 12.6);
    if let Happened::Reading(reading) = &mut new.what {
        reading.calibration = Some("cal-1".into());
    }
    let rows = batch(Some("job-1"), "bay-1", vec![new.clone()]);
    journal.append(rows).await.unwrap();
    assert_eq!(journal.events("job-1", 2, 10).await.unwrap()[0].row, new);
    assert_eq!(journal.integrity().await.unwrap(), [""; 0]);
    drop(journal);
    // And it is of the newest schema from now on.
    let version = rusqlite::Connection::open(&path).unwrap();
    let version = version.pragma_query_value(None, "user_version", |row| row.get::<_, i64>(0));
    assert_eq!(version.unwrap(), newest());
}

#[tokio::test]
async fn a_calibration_is_kept_as_it_was_first_said() {
    let kept = Kept::new();
    let calibration = |record: &str| CalibrationText {
        id: "cal-1".to_owned(),
        record: record.to_owned(),
    };
    kept.journal
        .put_calibration(calibration("{}"))
        .await
        .unwrap();
    kept.journal
        .put_calibration(calibration("[]"))
        .await
        .unwrap();
    let kept = kept.reopened();
    let found = kept.journal.calibration("cal-1").await.unwrap();
    assert_eq!(found, Some(calibration("{}")));
    assert_eq!(kept.journal.calibration("cal-2").await.unwrap(), None);
}
