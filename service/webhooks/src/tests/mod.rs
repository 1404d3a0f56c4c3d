//! Receivers that behave, and those that do not.
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod receivers;

use std::sync::Arc;
use std::time::Duration;

use serde_json::Value;
use tempfile::TempDir;
use tokio_util::sync::CancellationToken;
use tokio_util::task::TaskTracker;
use trisect_journal::{
    Content, Counts, Delivery, Journal, NewJob, Outbox, RuleSetText, SqliteJournal,
};
use wiremock::{MockServer, Request};

use super::WebhookSettings;
use super::{Deliveries, EventData, Runtime, Webhook};

const LONGEST: Duration = Duration::from_secs(20);
const SECRET: &str = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw";

/// What the events of these tests say of a job.
struct Confirmed;

impl EventData for Confirmed {
    fn data(&self, delivery: &Delivery, content: &Content) -> Result<Value, serde_json::Error> {
        Ok(match content {
            // As it was when it happened: the job may have been closed since.
            Content::Job { job, .. } if delivery.verb == "closed" => {
                serde_json::json!({"bay": job.opened.bay, "confirmed": job.confirmed})
            }
            Content::Job { job, .. } => serde_json::json!({"bay": job.opened.bay}),
            _ => Value::Null,
        })
    }
}

/// Deliveries on a journal of its own, with one webhook, `erp`.
struct Sent {
    folder: TempDir,
    journal: Arc<SqliteJournal>,
    deliveries: Deliveries,
    stop: CancellationToken,
    tracker: TaskTracker,
    settings: Value,
}

impl Sent {
    /// Settings for a receiver, with three quick attempts.
    fn to(url: &str) -> Value {
        serde_json::json!({
            "webhook": "erp", "url": url, "secret_file": "", "allow": ["loopback"], "timeout": 0.3,
            "retries": [0.02, 0.02],
        })
    }

    async fn start(settings: Value) -> Sent {
        Sent::start_in(tempfile::tempdir().unwrap(), settings).await
    }

    async fn start_in(folder: TempDir, mut settings: Value) -> Sent {
        let secret = folder.path().join("secret");
        std::fs::write(&secret, SECRET).unwrap();
        settings["secret_file"] = serde_json::json!(secret);
        let given: WebhookSettings = serde_json::from_value(settings.clone()).unwrap();
        let journal = Arc::new(SqliteJournal::open(folder.path().join("journal.db")).unwrap());
        let rules = RuleSetText {
            digest: "sha256:0".to_owned(),
            id: "rules".to_owned(),
            version: "1.0.0".to_owned(),
            text: String::new(),
        };
        journal.put_rule_set(rules).await.unwrap();
        let outbox: Arc<dyn Outbox> = Arc::clone(&journal) as _;
        let deliveries = Deliveries::open(vec![Webhook::new(&given).unwrap()], outbox)
            .await
            .unwrap();
        let (stop, tracker) = (CancellationToken::new(), TaskTracker::new());
        let runtime = Runtime {
            data: Arc::new(Confirmed),
            tracker: tracker.clone(),
            stop: stop.clone(),
        };
        deliveries.start(&runtime);
        Sent {
            folder,
            journal,
            deliveries,
            stop,
            tracker,
            settings,
        }
    }

    /// Opens and closes a job in a bay of its own: two events.
    async fn job(&self, id: &str) {
        let job = NewJob {
            id: id.to_owned(),
            bay: format!("bay-of-{id}"),
            machine: "Unit 14".to_owned(),
            complaint: None,
            rule_set: "sha256:0".to_owned(),
            opened_at: "2026-11-24T10:00:00Z".to_owned(),
            opened_by: None,
        };
        self.journal.open_job(job).await.unwrap();
        let closing = trisect_journal::Closing {
            closed_at: "2026-11-24T11:00:00Z".to_owned(),
            confirmed: vec!["lift-pump-weak".to_owned()],
            note: None,
            verdict: Vec::new(),
        };
        self.journal
            .close_job(Arc::from(id), closing)
            .await
            .unwrap();
    }

    /// Waits until the outbox counts so many waiting and given up.
    async fn until(&self, waiting: u64, dead: u64) {
        let wished = Counts { waiting, dead };
        let mut last = Counts::default();
        let looking = async {
            let mut look = tokio::time::interval(Duration::from_millis(3));
            loop {
                look.tick().await;
                last = self.journal.counts("erp").await.unwrap();
                if last == wished {
                    return;
                }
            }
        };
        let timely = tokio::time::timeout(LONGEST, looking).await;
        assert!(
            timely.is_ok(),
            "{last:?}, not {wished:?}: {:?}",
            self.deliveries.webhooks()[0].failure()
        );
    }

    fn failure(&self) -> String {
        self.deliveries.webhooks()[0].failure().unwrap_or_default()
    }

    /// Ends it as a restart does; the folder and the settings for the next one.
    async fn end(self) -> (TempDir, Value) {
        self.stop.cancel();
        self.tracker.close();
        tokio::time::timeout(LONGEST, self.tracker.wait())
            .await
            .unwrap();
        (self.folder, self.settings)
    }
}

/// The events that a receiver got: `subject type`.
async fn got(server: &MockServer) -> Vec<String> {
    let requests = server.received_requests().await.unwrap();
    requests
        .iter()
        .map(|request| {
            let event = event(request);
            format!(
                "{} {}",
                event["subject"].as_str().unwrap(),
                event["type"].as_str().unwrap()
            )
        })
        .collect()
}

fn event(request: &Request) -> Value {
    serde_json::from_slice(&request.body).unwrap()
}

fn header<'a>(request: &'a Request, name: &str) -> &'a str {
    request.headers[name].to_str().unwrap()
}
