//! A row that cannot be read spoils neither its list nor the start of the service.

use rusqlite::Connection;

use super::{Kept, batch, new_job, reading, rule_set};
use crate::{
    AuditFilter, AuditRow, Installed, JobFilter, Journal, Outbox, ReadingFilter, SqliteJournal,
};

/// Closes the journal, alters its file and opens it again.
fn altered(kept: Kept, sql: &str) -> Kept {
    let Kept { journal, directory } = kept;
    drop(journal);
    let path = directory.path().join("journal.db");
    let file = Connection::open(&path).unwrap();
    file.pragma_update(None, "foreign_keys", false).unwrap();
    file.pragma_update(None, "ignore_check_constraints", true)
        .unwrap();
    file.execute_batch(sql).unwrap();
    drop(file);
    let journal = SqliteJournal::open(path).unwrap();
    Kept { journal, directory }
}

#[tokio::test]
async fn a_job_is_left_out_of_a_list() {
    let kept = Kept::with_job().await;
    for number in 2..=3 {
        let job = new_job(&format!("job-{number}"), &format!("bay-{number}"));
        kept.journal.open_job(job).await.unwrap();
    }
    let kept = altered(
        kept,
        "UPDATE job SET machine = CAST(x'FF' AS TEXT) WHERE id = 'job-2'",
    );
    let jobs = kept.journal.jobs(JobFilter::default(), 10).await.unwrap();
    let ids: Vec<_> = jobs.iter().map(|job| job.opened.id.as_str()).collect();
    assert_eq!(ids, ["job-3", "job-1"]);
}

#[tokio::test]
async fn an_event_is_left_out_of_a_page_and_pages_go_on() {
    let kept = Kept::with_job().await;
    let rows = (0..10).map(|at| reading(at, 12.0)).collect();
    let job = batch(Some("job-1"), "bay-1", rows);
    kept.journal.append(job).await.unwrap();
    // A value that is a text, a kind that there is none of, a subject that is no word.
    let kept = altered(
        kept,
        "UPDATE event SET value = 'much' WHERE at = 2;
         UPDATE event SET kind = 77 WHERE at = 4;
         UPDATE event SET subject = 12345 WHERE at = 6;",
    );
    let at = |events: Vec<crate::StoredEvent>| -> Vec<i64> {
        events.iter().map(|event| event.row.at).collect()
    };
    let page = kept.journal.events("job-1", 0, 4).await.unwrap();
    let last = page.last().unwrap().seq;
    assert_eq!(at(page), [0, 1, 3, 5]);
    let page = kept.journal.events("job-1", last, 4).await.unwrap();
    assert_eq!(at(page), [7, 8, 9]);
    let filter = ReadingFilter {
        job: Some("job-1".to_owned()),
        ..ReadingFilter::default()
    };
    let page = kept.journal.readings(filter, 0, 100).await.unwrap();
    assert_eq!(at(page), [0, 1, 3, 5, 7, 8, 9]);
}

#[tokio::test]
async fn an_installed_rule_set_is_left_out() {
    let kept = Kept::new();
    for number in 0..2 {
        let mut rule_set = rule_set();
        rule_set.digest = format!("sha256:{number}");
        let installed = Installed {
            rule_set,
            at: "2026-11-24T10:00:00Z".to_owned(),
            by: None,
        };
        kept.journal.install_rule_set(installed).await.unwrap();
    }
    let kept = altered(
        kept,
        "UPDATE rule_set SET text = CAST(x'FF' AS TEXT) WHERE digest = 'sha256:0'",
    );
    let installed = kept.journal.installed_rule_sets().await.unwrap();
    let digests: Vec<_> = installed.iter().map(|i| &*i.rule_set.digest).collect();
    assert_eq!(digests, ["sha256:1"]);
}

#[tokio::test]
async fn an_entry_of_the_audit_trail_and_a_delivery_are_left_out() {
    let kept = Kept::new();
    let addressed = vec![("wall".to_owned(), vec!["job".to_owned()])];
    kept.journal.address_to(addressed).await.unwrap();
    kept.journal.put_rule_set(rule_set()).await.unwrap();
    for number in 1..=2 {
        let job = new_job(&format!("job-{number}"), &format!("bay-{number}"));
        kept.journal.open_job(job).await.unwrap();
    }
    let entry = |what: &str| AuditRow {
        wall: 1,
        until: 1,
        count: 1,
        who: "loopback".to_owned(),
        peer: None,
        what: what.to_owned(),
        subject: None,
        outcome: "ok".to_owned(),
    };
    let rows = vec![entry("job.open"), entry("job.close")];
    kept.journal.audit(rows).await.unwrap();
    let kept = altered(
        kept,
        "UPDATE audit SET who = CAST(x'FF' AS TEXT) WHERE what = 'job.open';
         UPDATE news SET posted = CAST(x'FF' AS TEXT) WHERE seq = (SELECT min(seq) FROM news)",
    );
    let trail = kept.journal.audit_trail(AuditFilter::default(), 10).await;
    let what: Vec<_> = trail.unwrap().into_iter().map(|e| e.row.what).collect();
    assert_eq!(what, ["job.close"]);
    let deliveries = kept.journal.deliveries(None, false, 0, 10).await.unwrap();
    assert_eq!(deliveries.len(), 1, "{deliveries:?}");
}
