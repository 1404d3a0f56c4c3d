//! Journals of every schema there was open, say what they said, and go on.

use std::path::Path;

use rusqlite::Connection;

use super::{Kept, batch, new_job, reading};
use crate::sqlite::{MIGRATIONS, newest};
use crate::{Closing, Happened, Journal, Outbox, SqliteJournal};

/// What every schema can hold: a job with a reading and a placed probe.
const FIRST: &str = "
    INSERT INTO word (id, text) VALUES (1, 'bay-1'), (2, 'battery-voltage'), (3, 'meter-1');
    INSERT INTO rule_set VALUES ('sha256:0', 'rules', '1.0.0', 'format = 1');
    INSERT INTO job (key, id, bay, machine, rule_set, opened_at)
        VALUES (1, 'job-1', 'bay-1', 'Unit 14', 'sha256:0', '2026-11-24T10:00:00Z');
    INSERT INTO job (key, id, bay, machine, rule_set, opened_at, closed_at, confirmed, verdict)
        VALUES (2, 'job-0', 'bay-1', 'Unit 9', 'sha256:0', '2026-11-23T10:00:00Z',
                '2026-11-23T11:00:00Z', '[\"lift-pump-weak\"]', X'7B7D');
    INSERT INTO event (seq, at, wall, kind, subject) VALUES (1, 5, 50, 5, 2);
    INSERT INTO event (seq, at, wall, kind, subject, bound, value, uncertainty, flags, entered, instrument, channel)
        VALUES (2, 6, 60, 0, 2, 0, 12.5, 0.01, 1, 0, 3, 0);
    INSERT INTO stretch VALUES (1, 2, 1, 1, 50, 60);";

/// A file as the schema of this number left it.
fn of_schema(number: usize, path: &Path) {
    let old = Connection::open(path).unwrap();
    for migration in &MIGRATIONS[..number] {
        old.execute_batch(migration).unwrap();
    }
    old.execute_batch(FIRST).unwrap();
    old.pragma_update(None, "application_id", 0x5452_4953)
        .unwrap();
    old.pragma_update(None, "user_version", number as i64)
        .unwrap();
}

/// Opens it, holds it against what was put in, and goes on with it.
async fn goes_on(path: &Path, job: &str) {
    let journal = SqliteJournal::open(path).unwrap();
    let before = journal.events(job, 0, 10_000).await.unwrap();
    assert!(!before.is_empty());
    let verified = journal.verify(job).await.unwrap();
    assert_eq!(verified.findings, [""; 0]);
    assert_eq!(verified.events, before.len() as u64);
    assert_eq!(verified.adopted, before.last().map(|event| event.seq));
    let rows = batch(Some(job), "bay-1", vec![reading(7, 12.6)]);
    journal.append(rows).await.unwrap();
    let after = journal.events(job, 0, 10_000).await.unwrap();
    assert_eq!(after[..before.len()], before);
    assert_eq!(after.len(), before.len() + 1);
    assert_eq!(journal.verify(job).await.unwrap().findings, [""; 0]);
    assert_eq!(journal.integrity().await.unwrap(), [""; 0]);
    drop(journal);
    let version = Connection::open(path).unwrap();
    let version = version.pragma_query_value(None, "user_version", |row| row.get::<_, i64>(0));
    assert_eq!(version.unwrap(), newest());
}

/// The schemas before chains of hashes: of those there are journals without.
fn unchained() -> usize {
    let chains = MIGRATIONS
        .iter()
        .position(|text| text.contains("CREATE TABLE link"));
    chains.expect("one of them brings the chains")
}

#[tokio::test]
async fn a_journal_of_every_schema_opens_and_goes_on() {
    for number in 1..=unchained() {
        let directory = tempfile::tempdir().unwrap();
        let path = directory.path().join("journal.db");
        of_schema(number, &path);
        goes_on(&path, "job-1").await;
        let journal = SqliteJournal::open(&path).unwrap();
        let events = journal.events("job-1", 0, 10).await.unwrap();
        let Happened::Reading(reading) = &events[1].row.what else {
            panic!("{events:?}");
        };
        assert_eq!(reading.amount.exact(), Some(12.5), "schema {number}");
        let closed = journal.job("job-0").await.unwrap().unwrap();
        assert_eq!(closed.confirmed, ["lift-pump-weak"]);
        assert_eq!(journal.verify("job-0").await.unwrap().findings, [""; 0]);
    }
}

/// Takes schema 7 back.
const BEFORE_7: &str = "DROP INDEX delivery_of_lane; DROP INDEX delivery_of_news;
     ALTER TABLE delivery RENAME TO letter;
     CREATE INDEX letter_of_lane ON letter (webhook, dead, lane, news);
     CREATE INDEX letter_of_news ON letter (news);
     PRAGMA user_version = 6;";

/// What was on its way stays so, and what happens from then on is posted.
#[tokio::test]
async fn a_journal_of_schema_6_keeps_what_is_on_its_way() {
    let kept = Kept::with_job().await;
    let subscribers = vec![("erp".to_owned(), vec!["job".to_owned()])];
    kept.journal.address_to(subscribers).await.unwrap();
    let closing = Closing {
        closed_at: "2026-11-24T11:00:00Z".to_owned(),
        confirmed: Vec::new(),
        note: None,
        verdict: Vec::new(),
    };
    kept.journal
        .close_job("job-1".into(), closing)
        .await
        .unwrap();
    let before = kept.journal.deliveries(None, false, 0, 10).await.unwrap();
    assert_eq!(before.len(), 1);
    let path = kept.path();
    drop(kept.journal);
    let old = Connection::open(&path).unwrap();
    old.execute_batch(BEFORE_7).unwrap();
    drop(old);
    let journal = SqliteJournal::open(&path).unwrap();
    assert_eq!(
        journal.deliveries(None, false, 0, 10).await.unwrap(),
        before
    );
    journal.open_job(new_job("job-2", "bay-1")).await.unwrap();
    assert_eq!(
        journal.deliveries(None, false, 0, 10).await.unwrap().len(),
        2
    );
}

#[tokio::test]
async fn a_journal_of_schema_5_tells_where_its_jobs_lie() {
    let kept = Kept::with_job().await;
    let rows = |job, values: &[f64]| {
        let rows = values.iter().map(|value| reading(*value as i64, *value));
        batch(Some(job), "bay-1", rows.collect())
    };
    kept.journal
        .append(rows("job-1", &[1.0, 2.0]))
        .await
        .unwrap();
    let first = kept.journal.events("job-1", 0, 10).await.unwrap();
    let path = kept.path();
    drop(kept.journal);
    let old = Connection::open(&path).unwrap();
    old.execute_batch(BEFORE_7).unwrap();
    old.execute_batch(
        "ALTER TABLE job DROP COLUMN first; ALTER TABLE job DROP COLUMN last;
         CREATE INDEX stretch_of_job ON stretch (job) WHERE job IS NOT NULL;
         PRAGMA user_version = 5;",
    )
    .unwrap();
    drop(old);
    let journal = SqliteJournal::open(&path).unwrap();
    assert_eq!(journal.events("job-1", 0, 10).await.unwrap(), first);
    journal.append(rows("job-1", &[3.0])).await.unwrap();
    assert_eq!(journal.events("job-1", 0, 10).await.unwrap().len(), 3);
    let verified = journal.verify("job-1").await.unwrap();
    assert_eq!((verified.events, verified.findings.len()), (3, 0));
    assert_eq!(verified.adopted, None);
}

/// What a service of schema 3 really wrote, dumped: the file is never made anew.
const KEPT: &str = include_str!("schema-3.sql");

#[tokio::test]
async fn a_journal_that_was_kept_opens_and_goes_on() {
    let directory = tempfile::tempdir().unwrap();
    let path = directory.path().join("journal.db");
    let old = Connection::open(&path).unwrap();
    old.execute_batch(KEPT).unwrap();
    let job: String = old
        .query_row("SELECT id FROM job WHERE closed_at IS NULL", [], |row| {
            row.get(0)
        })
        .unwrap();
    drop(old);
    goes_on(&path, &job).await;
}
