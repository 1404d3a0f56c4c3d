//! What is kept for a time: readings outside any job, and the audit trail.

use super::{Kept, batch, reading};
use crate::{Appended, AuditFilter, AuditRow, Journal, ReadingFilter};

fn did(wall: i64, who: &str, subject: Option<&str>) -> AuditRow {
    AuditRow {
        wall,
        until: wall,
        count: 1,
        who: who.to_owned(),
        peer: Some("192.0.2.7".to_owned()),
        what: "job.open".to_owned(),
        subject: subject.map(str::to_owned),
        outcome: "ok".to_owned(),
    }
}

async fn pruned(kept: &Kept, outside: i64, audit: i64) -> u64 {
    let mut removed = 0;
    loop {
        match kept.journal.prune(outside, audit).await.unwrap() {
            0 => return removed,
            some => removed += some,
        }
    }
}

#[tokio::test]
async fn readings_outside_jobs_go_when_they_are_old_and_those_of_jobs_never() {
    let kept = Kept::with_job().await;
    let outside = |from: i64| {
        batch(
            None,
            "bay-1",
            (from..from + 3).map(|at| reading(at, 1.0)).collect(),
        )
    };
    let of_job = batch(Some("job-1"), "bay-1", vec![reading(0, 2.0)]);
    kept.journal.append(outside(0)).await.unwrap();
    kept.journal.append(of_job.clone()).await.unwrap();
    kept.journal.append(outside(1000)).await.unwrap();
    kept.journal.append(of_job).await.unwrap();
    kept.journal.append(outside(2000)).await.unwrap();
    // Their wall times begin at 1 000 000.
    assert_eq!(pruned(&kept, 1_000_002, 0).await, 0);
    assert_eq!(pruned(&kept, 1_001_500, 0).await, 6);
    assert_eq!(kept.all_events("job-1").await.len(), 2);
    let left = kept
        .journal
        .readings(ReadingFilter::default(), 0, 100)
        .await
        .unwrap();
    assert_eq!(left.len(), 5);
    assert_eq!(kept.journal.integrity().await.unwrap(), [""; 0]);
    assert_eq!(
        kept.journal.verify("job-1").await.unwrap().findings,
        [""; 0]
    );
}

#[tokio::test]
async fn a_number_is_never_given_twice() {
    let kept = Kept::new();
    for wall in [0, 1_000_000] {
        let rows = batch(None, "bay-1", vec![reading(wall, 1.0)]);
        kept.journal.append(rows).await.unwrap();
    }
    // Nothing else is there, so the newest run stays however old it is.
    assert_eq!(pruned(&kept, i64::MAX, 0).await, 0);
    let kept = kept.reopened();
    let next = batch(None, "bay-2", vec![reading(5, 1.0)]);
    let stored = kept.journal.append(next).await.unwrap();
    assert_eq!(stored, Appended::Stored { first: 3, count: 1 });
    assert_eq!(pruned(&kept, i64::MAX, 0).await, 2);
    let kept = kept.reopened();
    let next = batch(None, "bay-2", vec![reading(5, 1.0)]);
    let stored = kept.journal.append(next).await.unwrap();
    assert_eq!(stored, Appended::Stored { first: 4, count: 1 });
}

#[tokio::test]
async fn the_audit_trail_is_read_newest_first_and_goes_when_it_is_old() {
    let kept = Kept::new();
    let rows = vec![
        did(1, "token:a", Some("bay-1")),
        did(2, "token:b", None),
        did(3, "token:a", Some("bay-2")),
    ];
    kept.journal.audit(rows.clone()).await.unwrap();
    let kept = kept.reopened();
    let trail = async |filter: AuditFilter, limit| {
        let rows = kept.journal.audit_trail(filter, limit).await.unwrap();
        rows.into_iter()
            .map(|stored| stored.row.wall)
            .collect::<Vec<_>>()
    };
    assert_eq!(trail(AuditFilter::default(), 10).await, [3, 2, 1]);
    assert_eq!(trail(AuditFilter::default(), 2).await, [3, 2]);
    let before = AuditFilter {
        before: Some(2),
        ..AuditFilter::default()
    };
    assert_eq!(trail(before, 10).await, [1]);
    let of = AuditFilter {
        who: Some("token:a".to_owned()),
        subject: Some("bay-1".to_owned()),
        ..AuditFilter::default()
    };
    assert_eq!(trail(of, 10).await, [1]);
    assert_eq!(
        kept.journal
            .audit_trail(AuditFilter::default(), 1)
            .await
            .unwrap()[0]
            .row,
        rows[2]
    );
    assert_eq!(pruned(&kept, 0, 3).await, 2);
    assert_eq!(trail(AuditFilter::default(), 10).await, [3]);
}
