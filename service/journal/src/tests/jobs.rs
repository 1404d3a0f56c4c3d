//! Jobs: opening, closing, finding, their verdicts.

use std::sync::Arc;

use super::{Kept, batch, new_job, reading, rule_set};
use crate::{Closing, JobFilter, JobState, Journal, JournalError, VerdictRow};

fn closing() -> Closing {
    Closing {
        closed_at: "2026-11-24T11:00:00Z".to_owned(),
        confirmed: vec!["lift-pump-weak".to_owned()],
        note: Some("replaced".to_owned()),
        verdict: b"{\"standing\":\"isolated\"}".to_vec(),
    }
}

#[tokio::test]
async fn a_job_is_kept_as_it_was_opened_and_closed() {
    let kept = Kept::with_job().await;
    let journal = &kept.journal;
    let job = journal.job("job-1").await.unwrap().unwrap();
    assert_eq!(
        (job.state(), &job.opened),
        (JobState::Open, &new_job("job-1", "bay-1"))
    );
    journal
        .close_job(Arc::from("job-1"), closing())
        .await
        .unwrap();
    let kept = kept.reopened();
    let job = kept.journal.job("job-1").await.unwrap().unwrap();
    assert_eq!(job.closed_at.as_deref(), Some("2026-11-24T11:00:00Z"));
    assert_eq!(
        (job.confirmed, job.note),
        (closing().confirmed, closing().note)
    );
    assert_eq!(kept.journal.job("job-2").await.unwrap(), None);
    assert_eq!(
        kept.journal.rule_set("sha256:0").await.unwrap(),
        Some(rule_set())
    );
    assert_eq!(kept.journal.rule_set("sha256:1").await.unwrap(), None);
}

#[tokio::test]
async fn a_bay_has_one_open_job() {
    let kept = Kept::with_job().await;
    let journal = &kept.journal;
    let second = journal.open_job(new_job("job-2", "bay-1")).await;
    let Err(JournalError::BayBusy { job, .. }) = second else {
        panic!("{second:?}");
    };
    assert_eq!(job, "job-1");
    journal
        .close_job(Arc::from("job-1"), closing())
        .await
        .unwrap();
    journal.open_job(new_job("job-2", "bay-1")).await.unwrap();
}

#[tokio::test]
async fn what_cannot_be_is_refused() {
    let kept = Kept::with_job().await;
    let journal = &kept.journal;
    let taken = journal.open_job(new_job("job-1", "bay-2")).await;
    assert!(
        matches!(taken, Err(JournalError::JobExists { .. })),
        "{taken:?}"
    );
    let mut strange = new_job("job-2", "bay-2");
    strange.rule_set = "sha256:1".to_owned();
    let strange = journal.open_job(strange).await;
    assert!(
        matches!(strange, Err(JournalError::UnknownRuleSet { .. })),
        "{strange:?}"
    );
    let unknown = journal.close_job(Arc::from("job-9"), closing()).await;
    assert!(
        matches!(unknown, Err(JournalError::UnknownJob { .. })),
        "{unknown:?}"
    );
    journal
        .close_job(Arc::from("job-1"), closing())
        .await
        .unwrap();
    let twice = journal.close_job(Arc::from("job-1"), closing()).await;
    assert!(
        matches!(twice, Err(JournalError::JobClosed { .. })),
        "{twice:?}"
    );
    let late = journal
        .append(batch(Some("job-1"), "bay-1", vec![reading(1, 1.0)]))
        .await;
    assert!(
        matches!(late, Err(JournalError::JobClosed { .. })),
        "{late:?}"
    );
    let late = journal.record_verdict(Arc::from("job-1"), 1, vec![]).await;
    assert!(
        matches!(late, Err(JournalError::JobClosed { .. })),
        "{late:?}"
    );
}

#[tokio::test]
async fn the_newest_verdict_counts_until_the_final_one() {
    let kept = Kept::with_job().await;
    let journal = &kept.journal;
    assert_eq!(journal.verdict("job-1").await.unwrap(), None);
    for (seq, bytes) in [(3, "three"), (7, "seven"), (5, "five")] {
        journal
            .record_verdict(Arc::from("job-1"), seq, bytes.into())
            .await
            .unwrap();
    }
    let verdict = |seq, bytes: &[u8]| {
        let bytes = bytes.to_vec();
        Some(VerdictRow { seq, bytes })
    };
    assert_eq!(
        journal.verdict("job-1").await.unwrap(),
        verdict(Some(7), b"seven")
    );
    journal
        .close_job(Arc::from("job-1"), closing())
        .await
        .unwrap();
    let last = journal.verdict("job-1").await.unwrap();
    assert_eq!(last, verdict(None, &closing().verdict));
}

#[tokio::test]
async fn jobs_are_listed_newest_first_in_pages() {
    let kept = Kept::with_job().await;
    let journal = &kept.journal;
    for number in 2..=5 {
        let (id, bay) = (format!("job-{number}"), format!("bay-{number}"));
        journal.open_job(new_job(&id, &bay)).await.unwrap();
    }
    journal
        .close_job(Arc::from("job-3"), closing())
        .await
        .unwrap();
    let check = async |filter: JobFilter, limit, expected: &[&str]| {
        let jobs = journal.jobs(filter, limit).await.unwrap();
        let ids: Vec<_> = jobs.iter().map(|job| job.opened.id.as_str()).collect();
        assert_eq!(ids, expected);
    };
    check(JobFilter::default(), 2, &["job-5", "job-4"]).await;
    let before = Some("job-4".to_owned());
    check(
        JobFilter {
            before,
            ..Default::default()
        },
        9,
        &["job-3", "job-2", "job-1"],
    )
    .await;
    let state = Some(JobState::Closed);
    check(
        JobFilter {
            state,
            ..Default::default()
        },
        9,
        &["job-3"],
    )
    .await;
    let bay = Some("bay-2".to_owned());
    check(
        JobFilter {
            bay,
            ..Default::default()
        },
        9,
        &["job-2"],
    )
    .await;
    let machine = Some("Unit 15".to_owned());
    check(
        JobFilter {
            machine,
            ..Default::default()
        },
        9,
        &[],
    )
    .await;
}
