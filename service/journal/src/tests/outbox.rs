//! News goes out of the same commit as its cause, in order, until somebody has it.

use std::sync::Arc;

use super::{Kept, batch, new_job, reading, rule_set};
use crate::{Closing, Content, Counts, Delivery, Fate, Journal, Outbox, Tried};

async fn addressed() -> Kept {
    let kept = Kept::new();
    kept.journal.put_rule_set(rule_set()).await.unwrap();
    let all = ["job", "verdict", "instrument"].map(str::to_owned).to_vec();
    let webhooks = vec![
        ("erp".to_owned(), all),
        ("wall".to_owned(), vec!["verdict".to_owned()]),
    ];
    kept.journal.address_to(webhooks).await.unwrap();
    kept
}

fn closing() -> Closing {
    Closing {
        closed_at: "2026-11-24T11:00:00Z".to_owned(),
        confirmed: vec!["lift-pump-weak".to_owned()],
        note: None,
        verdict: b"{}".to_vec(),
    }
}

/// Opens a job, keeps a verdict and closes it.
async fn job(kept: &Kept, id: &str) {
    kept.journal.open_job(new_job(id, "bay-1")).await.unwrap();
    kept.journal
        .append(batch(Some(id), "bay-1", vec![reading(1, 12.0)]))
        .await
        .unwrap();
    let verdict = kept
        .journal
        .record_verdict(Arc::from(id), 1, b"{\"a\":1}".to_vec());
    verdict.await.unwrap();
    // The same once more is no news.
    kept.journal
        .record_verdict(Arc::from(id), 1, b"{\"a\":1}".to_vec())
        .await
        .unwrap();
    kept.journal
        .close_job(Arc::from(id), closing())
        .await
        .unwrap();
}

fn words(deliveries: &[Delivery]) -> Vec<String> {
    deliveries
        .iter()
        .map(|l| format!("{} {}.{}", l.lane, l.noun, l.verb))
        .collect()
}

async fn tried(kept: &Kept, delivery: &Delivery, fate: Fate) {
    let tried = Tried {
        webhook: delivery.webhook.clone(),
        seq: delivery.seq,
        fate,
    };
    kept.journal.settle(vec![tried]).await.unwrap();
}

#[tokio::test]
async fn what_happens_is_posted_to_those_who_want_it_and_survives() {
    let kept = addressed().await;
    job(&kept, "job-1").await;
    kept.journal
        .post("changed", "bay-1/meter".to_owned(), "{}".to_owned())
        .await
        .unwrap();
    let kept = kept.reopened();
    let all = kept
        .journal
        .deliveries(Some("erp"), false, 0, 100)
        .await
        .unwrap();
    assert_eq!(
        words(&all),
        [
            "job-1 job.opened",
            "job-1 verdict.changed",
            "job-1 job.closed",
            "bay-1/meter instrument.changed"
        ]
    );
    let wall = kept
        .journal
        .deliveries(Some("wall"), false, 0, 100)
        .await
        .unwrap();
    assert_eq!(words(&wall), ["job-1 verdict.changed"]);
    assert_eq!(wall[0].id, all[1].id);
    let content = kept.journal.content(all[1].seq).await.unwrap().unwrap();
    assert!(
        matches!(content, Content::Verdict { seq: 1, wall: Some(1_000_001), bytes, .. } if bytes == b"{\"a\":1}")
    );
    let content = kept.journal.content(all[2].seq).await.unwrap().unwrap();
    assert!(matches!(content, Content::Job { job, .. } if job.confirmed == ["lift-pump-weak"]));
    assert_eq!(kept.journal.integrity().await.unwrap(), [""; 0]);
}

#[tokio::test]
async fn only_the_first_of_a_lane_is_due_and_what_arrived_is_forgotten() {
    let kept = addressed().await;
    job(&kept, "job-1").await;
    job(&kept, "job-2").await;
    let heads = kept.journal.heads("erp", 10).await.unwrap();
    assert_eq!(words(&heads), ["job-1 job.opened", "job-2 job.opened"]);
    let later = Fate::Later {
        due: 5,
        why: "answered 500".to_owned(),
    };
    tried(&kept, &heads[0], later).await;
    tried(&kept, &heads[1], Fate::Delivered).await;
    let heads = kept.journal.heads("erp", 10).await.unwrap();
    assert_eq!(words(&heads), ["job-2 verdict.changed", "job-1 job.opened"]);
    assert_eq!(
        (heads[1].attempts, heads[1].due, heads[1].why.as_deref()),
        (1, 5, Some("answered 500"))
    );
    assert_eq!(
        kept.journal.counts("erp").await.unwrap(),
        Counts {
            waiting: 5,
            dead: 0
        }
    );
    // The verdict is still on its way to the other one.
    tried(&kept, &heads[0], Fate::Delivered).await;
    assert!(kept.journal.content(heads[0].seq).await.unwrap().is_some());
}

#[tokio::test]
async fn what_was_given_up_is_kept_and_can_be_sent_again() {
    let kept = addressed().await;
    job(&kept, "job-1").await;
    let head = kept.journal.heads("erp", 1).await.unwrap().remove(0);
    tried(
        &kept,
        &head,
        Fate::Dead {
            why: "gone".to_owned(),
        },
    )
    .await;
    let dead = kept.journal.deliveries(None, true, 0, 10).await.unwrap();
    assert_eq!(
        (words(&dead), dead[0].dead),
        (vec!["job-1 job.opened".to_owned()], true)
    );
    let heads = kept.journal.heads("erp", 10).await.unwrap();
    assert_eq!(words(&heads), ["job-1 verdict.changed"]);
    assert_eq!(
        kept.journal
            .revive("erp", Some(vec![head.seq + 100]))
            .await
            .unwrap(),
        0
    );
    assert_eq!(
        kept.journal
            .revive("erp", Some(vec![head.seq]))
            .await
            .unwrap(),
        1
    );
    let heads = kept.journal.heads("erp", 10).await.unwrap();
    assert_eq!(
        (words(&heads), heads[0].attempts),
        (vec!["job-1 job.opened".to_owned()], 0)
    );
}

#[tokio::test]
async fn nobody_to_write_to_means_nothing_is_noted() {
    let kept = Kept::with_job().await;
    kept.journal
        .close_job(Arc::from("job-1"), closing())
        .await
        .unwrap();
    kept.journal
        .post("changed", "bay-1/meter".to_owned(), "{}".to_owned())
        .await
        .unwrap();
    assert_eq!(
        kept.journal.deliveries(None, false, 0, 10).await.unwrap(),
        []
    );
    assert_eq!(kept.journal.content(1).await.unwrap(), None);
}
