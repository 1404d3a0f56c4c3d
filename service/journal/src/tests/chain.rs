//! The chain of hashes: what was altered shows, and what was not does not.

use rusqlite::Connection;
use sha2::{Digest, Sha256};

use super::{Kept, batch, reading};
use crate::{Closing, EventRow, Happened, Journal, NewJob, RuleSetText, SqliteJournal, Verified};

fn closing() -> Closing {
    Closing {
        closed_at: "2026-11-24T11:00:00Z".to_owned(),
        confirmed: vec!["lift-pump-weak".to_owned()],
        note: None,
        verdict: b"{}".to_vec(),
    }
}

/// A closed job of 2500 readings, an answer among them: three links and the closing.
async fn closed() -> Kept {
    let kept = Kept::with_job().await;
    let mut rows: Vec<EventRow> = (0..2500).map(|at| reading(at, 12.0)).collect();
    rows[1700].what = Happened::Answer {
        check: "fuel-seen".into(),
        answer: "seen".into(),
    };
    for rows in rows.chunks(300) {
        let rows = batch(Some("job-1"), "bay-1", rows.to_vec());
        kept.journal.append(rows).await.unwrap();
    }
    kept.journal
        .close_job("job-1".into(), closing())
        .await
        .unwrap();
    kept
}

async fn verified(kept: &Kept) -> Verified {
    kept.journal.verify("job-1").await.unwrap()
}

#[tokio::test]
async fn what_was_not_altered_fits_open_closed_and_after_a_restart() {
    let kept = Kept::with_job().await;
    let empty = verified(&kept).await;
    assert_eq!((empty.events, empty.findings), (0, vec![]));
    let rows = (0..5).map(|at| reading(at, 12.0)).collect();
    kept.journal
        .append(batch(Some("job-1"), "bay-1", rows))
        .await
        .unwrap();
    // Another job's events in between are of no matter.
    kept.journal
        .open_job(super::new_job("job-2", "bay-2"))
        .await
        .unwrap();
    let other = batch(Some("job-2"), "bay-2", vec![reading(1, 1.0)]);
    kept.journal.append(other).await.unwrap();
    let kept = kept.reopened();
    let more = batch(Some("job-1"), "bay-1", vec![reading(9, -0.0)]);
    kept.journal.append(more).await.unwrap();
    let open = verified(&kept).await;
    assert_eq!((open.events, open.links, &open.findings), (6, 1, &vec![]));
    assert_ne!(open.digest, empty.digest);
    kept.journal
        .close_job("job-1".into(), closing())
        .await
        .unwrap();
    let sealed = verified(&kept).await;
    assert_eq!(
        (sealed.events, sealed.links, &sealed.findings),
        (6, 2, &vec![])
    );
    let kept = kept.reopened();
    assert_eq!(verified(&kept).await, sealed);
}

#[tokio::test]
async fn a_refused_batch_leaves_the_chain_as_it_was() {
    let kept = Kept::with_job().await;
    let before = verified(&kept).await;
    let refused = batch(
        Some("job-1"),
        "bay-1",
        vec![reading(1, 1.0), reading(2, f64::NAN)],
    );
    kept.journal.append(refused).await.unwrap_err();
    let saboteur = Connection::open(kept.path()).unwrap();
    let trap = "CREATE TRIGGER trap BEFORE INSERT ON event WHEN NEW.value = 13.0
                BEGIN SELECT RAISE(FAIL, 'the trap'); END";
    saboteur.execute_batch(trap).unwrap();
    let failed = batch(
        Some("job-1"),
        "bay-1",
        vec![reading(1, 1.0), reading(2, 13.0)],
    );
    kept.journal.append(failed).await.unwrap_err();
    assert_eq!(verified(&kept).await, before);
    let good = batch(Some("job-1"), "bay-1", vec![reading(1, 1.0)]);
    kept.journal.append(good).await.unwrap();
    assert_eq!(verified(&kept).await.findings, [""; 0]);
}

#[tokio::test]
async fn every_alteration_shows_and_is_found_where_it_is() {
    let check = async |alteration: &str, expected: &str| {
        let kept = closed().await;
        let sound = verified(&kept).await;
        assert_eq!(
            (sound.events, sound.links, &sound.findings),
            (2500, 4, &vec![])
        );
        let path = kept.path();
        drop(kept.journal);
        let altered = Connection::open(&path).unwrap();
        altered.execute_batch(alteration).unwrap();
        drop(altered);
        let journal = SqliteJournal::open(&path).unwrap();
        let found = journal.verify("job-1").await.unwrap();
        assert_eq!(
            found.findings.len(),
            1,
            "{alteration}: {:?}",
            found.findings
        );
        assert!(
            found.findings[0].contains(expected),
            "{alteration}: {:?}",
            found.findings
        );
    };
    check(
        "UPDATE event SET value = 12.1 WHERE seq = 1",
        "up to number 1000",
    )
    .await;
    check(
        "UPDATE event SET wall = wall + 1 WHERE seq = 1500",
        "up to number 2000",
    )
    .await;
    check(
        "UPDATE event SET flags = 1 WHERE seq = 2500",
        "up to number 2500",
    )
    .await;
    check("UPDATE event SET at = 2 WHERE seq = 2", "up to number 1000").await;
    check("DELETE FROM event WHERE seq = 2200", "up to number 2500").await;
    check(
        "UPDATE word SET text = 'not-seen' WHERE text = 'seen'",
        "up to number 2000",
    )
    .await;
    check("UPDATE job SET machine = 'Unit 15'", "opened with").await;
    check(
        "UPDATE job SET note = 'cleaned the tank'",
        "its closing is not the one",
    )
    .await;
    check(
        "UPDATE job SET confirmed = '[]'",
        "its closing is not the one",
    )
    .await;
    check(
        "UPDATE job SET verdict = X'00'",
        "its closing is not the one",
    )
    .await;
    check("UPDATE job SET closed_at = NULL", "is open again").await;
    check(
        "UPDATE link SET digest = zeroblob(32) WHERE place = 3",
        "its closing",
    )
    .await;
}

#[tokio::test]
async fn an_unknown_job_is_refused() {
    let kept = Kept::new();
    assert!(kept.journal.verify("job-9").await.is_err());
}

#[tokio::test]
async fn what_a_job_rests_on_is_held_against_it_too() {
    let check = async |alteration: &str, expected: &str| {
        let kept = Kept::new();
        let text = "format = 1";
        let digest: String = Sha256::digest(text)
            .iter()
            .map(|b| format!("{b:02x}"))
            .collect();
        let rules = RuleSetText {
            digest: format!("sha256:{digest}"),
            id: "rules".to_owned(),
            version: "1".to_owned(),
            text: text.to_owned(),
        };
        let job = NewJob {
            rule_set: rules.digest.clone(),
            ..super::new_job("job-1", "bay-1")
        };
        kept.journal.put_rule_set(rules).await.unwrap();
        kept.journal.open_job(job).await.unwrap();
        let rows = (0..50).map(|at| reading(at, 12.0)).collect();
        let rows = batch(Some("job-1"), "bay-1", rows);
        kept.journal.append(rows).await.unwrap();
        assert_eq!(verified(&kept).await.findings, [""; 0]);
        let path = kept.path();
        drop(kept.journal);
        let altered = Connection::open(&path).unwrap();
        altered.execute_batch(alteration).unwrap();
        drop(altered);
        let journal = SqliteJournal::open(&path).unwrap();
        let found = journal.verify("job-1").await.unwrap().findings;
        assert!(
            found.iter().any(|finding| finding.contains(expected)),
            "{alteration}: {found:?}"
        );
    };
    check(
        "UPDATE rule_set SET text = 'format = 2'",
        "the text of its rule set",
    )
    .await;
    check(
        "PRAGMA foreign_keys = OFF; DELETE FROM rule_set",
        "is missing",
    )
    .await;
    check(
        "INSERT INTO word (text) VALUES ('bay-9');
         UPDATE stretch SET bay = (SELECT id FROM word WHERE text = 'bay-9')",
        "the bay of events 1 to 50",
    )
    .await;
    check(
        "UPDATE stretch SET wall_to = wall_to + 1",
        "the times of events 1 to 50",
    )
    .await;
    // A row that cannot be read is named, and does not keep the rest from being looked at.
    check(
        "UPDATE event SET wall = -9223372036854775808, value = 'x' WHERE seq = 7;
         UPDATE stretch SET wall_to = wall_to + 1",
        "the times of events 1 to 50",
    )
    .await;
}
