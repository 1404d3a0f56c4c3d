//! At least once, in order per job, whatever the receiver does.

use std::collections::BTreeSet;
use std::time::{Duration, Instant};

use serde_json::json;
use trisect_journal::Outbox;
use wiremock::matchers::{body_string_contains, method};
use wiremock::{Mock, MockServer, ResponseTemplate};

use super::{SECRET, Sent, event, got, header};
use crate::sign::Secrets;

async fn answering(response: ResponseTemplate) -> MockServer {
    let server = MockServer::start().await;
    Mock::given(method("POST"))
        .respond_with(response)
        .mount(&server)
        .await;
    server
}

const OPENED: &str = "a trisect.job.opened";
const CLOSED: &str = "a trisect.job.closed";

#[tokio::test]
async fn an_event_arrives_signed_in_structured_mode() {
    let server = answering(ResponseTemplate::new(204)).await;
    let sent = Sent::start(Sent::to(&server.uri())).await;
    sent.job("a").await;
    sent.until(0, 0).await;
    assert_eq!(got(&server).await, [OPENED, CLOSED]);
    let request = &server.received_requests().await.unwrap()[1];
    let (id, event) = (header(request, "webhook-id"), event(request));
    assert_eq!(
        (event["specversion"].as_str(), event["id"].as_str()),
        (Some("1.0"), Some(id))
    );
    assert_eq!(event["data"]["confirmed"], json!(["lift-pump-weak"]));
    assert!(header(request, "content-type").starts_with("application/cloudevents+json"));
    let timestamp = header(request, "webhook-timestamp").parse().unwrap();
    let signature = Secrets::parse(SECRET)
        .unwrap()
        .sign(id, timestamp, &request.body);
    assert_eq!(header(request, "webhook-signature"), signature);
    sent.end().await;
}

#[tokio::test]
async fn a_failure_is_tried_again_and_what_follows_waits_for_it() {
    let server = MockServer::start().await;
    let first =
        Mock::given(body_string_contains("job.opened")).respond_with(ResponseTemplate::new(500));
    first.up_to_n_times(2).with_priority(1).mount(&server).await;
    Mock::given(method("POST"))
        .respond_with(ResponseTemplate::new(200))
        .mount(&server)
        .await;
    let sent = Sent::start(Sent::to(&server.uri())).await;
    sent.job("a").await;
    sent.until(0, 0).await;
    assert_eq!(got(&server).await, [OPENED, OPENED, OPENED, CLOSED]);
    let requests = server.received_requests().await.unwrap();
    let ids: BTreeSet<_> = requests[..3]
        .iter()
        .map(|request| header(request, "webhook-id"))
        .collect();
    assert_eq!(
        ids.len(),
        1,
        "one event has one id, however often it is sent"
    );
    assert!(
        requests[..3]
            .iter()
            .all(|request| request.body == requests[0].body)
    );
    sent.end().await;
}

/// What a receiver that answers thus comes to: given up after the schedule, kept, and said.
async fn given_up(response: ResponseTemplate, words: &str) {
    let server = answering(response).await;
    let sent = Sent::start(Sent::to(&server.uri())).await;
    sent.job("a").await;
    sent.until(0, 2).await;
    assert_eq!(
        got(&server).await,
        [OPENED, OPENED, OPENED, CLOSED, CLOSED, CLOSED]
    );
    assert!(sent.failure().contains(words), "{}", sent.failure());
    // Sent again by hand, it arrives.
    server.reset().await;
    Mock::given(method("POST"))
        .respond_with(ResponseTemplate::new(200))
        .mount(&server)
        .await;
    assert_eq!(sent.journal.revive("erp", None).await.unwrap(), 2);
    sent.until(0, 0).await;
    assert_eq!(got(&server).await, [OPENED, CLOSED]);
    sent.end().await;
}

#[tokio::test]
async fn a_receiver_that_fails_for_good_leaves_dead_deliveries() {
    given_up(ResponseTemplate::new(500), "answered 500").await;
    given_up(
        ResponseTemplate::new(302).insert_header("location", "http://127.0.0.1:1/"),
        "redirects (302), which is not followed",
    )
    .await;
    given_up(
        ResponseTemplate::new(200).set_delay(Duration::from_secs(5)),
        "did not answer within 300 ms",
    )
    .await;
}

#[tokio::test]
async fn one_that_is_slow_in_time_is_sound() {
    let server = answering(ResponseTemplate::new(200).set_delay(Duration::from_millis(100))).await;
    let sent = Sent::start(Sent::to(&server.uri())).await;
    sent.job("a").await;
    sent.until(0, 0).await;
    assert_eq!(got(&server).await, [OPENED, CLOSED]);
    sent.end().await;
}

#[tokio::test]
async fn one_that_asks_to_wait_is_left_alone_so_long() {
    let server = MockServer::start().await;
    let busy = ResponseTemplate::new(429).insert_header("retry-after", "1");
    Mock::given(method("POST"))
        .respond_with(busy)
        .up_to_n_times(1)
        .with_priority(1)
        .mount(&server)
        .await;
    Mock::given(method("POST"))
        .respond_with(ResponseTemplate::new(200))
        .mount(&server)
        .await;
    let sent = Sent::start(Sent::to(&server.uri())).await;
    let began = Instant::now();
    sent.job("a").await;
    sent.until(0, 0).await;
    assert!(
        began.elapsed() >= Duration::from_millis(900),
        "{:?}",
        began.elapsed()
    );
    assert_eq!(got(&server).await, [OPENED, OPENED, CLOSED]);
    sent.end().await;
}

#[tokio::test]
async fn one_that_wants_no_more_is_sent_no_more() {
    let server = answering(ResponseTemplate::new(410)).await;
    let sent = Sent::start(Sent::to(&server.uri())).await;
    sent.job("a").await;
    sent.until(1, 1).await;
    sent.job("b").await;
    sent.until(3, 1).await;
    assert_eq!(got(&server).await, [OPENED]);
    assert!(sent.deliveries.webhooks()[0].is_gone());
    server.reset().await;
    Mock::given(method("POST"))
        .respond_with(ResponseTemplate::new(200))
        .mount(&server)
        .await;
    sent.deliveries.webhooks()[0].allow_retries();
    sent.journal.revive("erp", None).await.unwrap();
    sent.until(0, 0).await;
    assert_eq!(got(&server).await.len(), 4);
    sent.end().await;
}

#[tokio::test]
async fn a_job_that_hangs_does_not_hold_up_another() {
    let server = MockServer::start().await;
    let hanging = ResponseTemplate::new(200).set_delay(Duration::from_secs(60));
    Mock::given(body_string_contains("bay-of-a"))
        .respond_with(hanging)
        .with_priority(1)
        .mount(&server)
        .await;
    Mock::given(method("POST"))
        .respond_with(ResponseTemplate::new(200))
        .mount(&server)
        .await;
    let mut settings = Sent::to(&server.uri());
    settings["timeout"] = json!(60);
    let sent = Sent::start(settings).await;
    sent.job("a").await;
    sent.job("b").await;
    sent.until(2, 0).await;
    let of_b: Vec<_> = got(&server)
        .await
        .into_iter()
        .filter(|one| one.starts_with('b'))
        .collect();
    assert_eq!(of_b, ["b trisect.job.opened", "b trisect.job.closed"]);
    // Nor does it hold up the end; it is sent once more after the start: at least once.
    let began = Instant::now();
    let (folder, settings) = sent.end().await;
    assert!(began.elapsed() < Duration::from_secs(2));
    server.reset().await;
    Mock::given(method("POST"))
        .respond_with(ResponseTemplate::new(200))
        .mount(&server)
        .await;
    let sent = Sent::start_in(folder, settings).await;
    sent.until(0, 0).await;
    assert_eq!(got(&server).await, [OPENED, CLOSED]);
    sent.end().await;
}

#[tokio::test]
async fn an_address_in_the_house_needs_an_allowance() {
    let server = answering(ResponseTemplate::new(200)).await;
    let mut settings = Sent::to(&format!("http://localhost:{}/", server.address().port()));
    settings["allow"] = json!(["private", "link-local"]);
    let sent = Sent::start(settings).await;
    sent.job("a").await;
    sent.until(0, 2).await;
    assert!(
        sent.failure()
            .contains("may not be connected to; name its kind"),
        "{}",
        sent.failure()
    );
    assert_eq!(got(&server).await, [""; 0]);
    sent.end().await;
}

#[tokio::test]
async fn broken_encryption_sends_nothing() {
    let server = answering(ResponseTemplate::new(200)).await;
    let sent = Sent::start(Sent::to(&server.uri().replace("http://", "https://"))).await;
    sent.job("a").await;
    sent.until(0, 2).await;
    assert!(sent.failure().contains("safely"), "{}", sent.failure());
    assert_eq!(got(&server).await, [""; 0]);
    sent.end().await;
}

#[test]
fn settings_that_cannot_be_used_are_refused_in_words() {
    let folder = tempfile::tempdir().unwrap();
    let secret = folder.path().join("secret");
    let check = |text: Option<&str>, url: &str, why: &str| {
        let _ = std::fs::remove_file(&secret);
        if let Some(text) = text {
            std::fs::write(&secret, text).unwrap();
        }
        let mut settings = Sent::to(url);
        settings["secret_file"] = json!(secret);
        let refused = crate::Webhook::new(&serde_json::from_value(settings).unwrap());
        let refused = refused.map(|_| ()).unwrap_err();
        assert!(refused.contains(why), "{refused}");
    };
    check(None, "https://erp.example/", "cannot read the secret");
    check(Some("secret"), "https://erp.example/", "begin with whsec_");
    check(Some(SECRET), "erp.example", "is no address to call");
}

/// That an event arrived cannot be kept, as the disk is full: it is kept once there is room, and not sent over and over.
#[tokio::test]
async fn one_that_arrived_is_sent_once_though_that_cannot_be_kept_yet() {
    let server = answering(ResponseTemplate::new(204)).await;
    let sent = Sent::start(Sent::to(&server.uri())).await;
    sent.stop.cancel();
    sent.tracker.close();
    sent.tracker.wait().await;
    // Posted while nothing is sent, so that no other write is in the commit that fails.
    sent.job("a").await;
    let (folder, settings) = sent.end().await;
    let holder = rusqlite::Connection::open(folder.path().join("journal.db")).unwrap();
    let refuse =
        "CREATE TRIGGER full BEFORE DELETE ON delivery BEGIN SELECT RAISE(FAIL, 'no room'); END";
    holder.execute_batch(refuse).unwrap();
    let sent = Sent::start_in(folder, settings).await;
    // Long enough for many attempts, once it arrived.
    let mut looks = 0;
    while looks < 2000 {
        let counts = sent.journal.counts("erp").await.unwrap();
        assert_eq!(counts.waiting, 2);
        looks += usize::from(!got(&server).await.is_empty());
    }
    holder.execute_batch("DROP TRIGGER full").unwrap();
    sent.until(0, 0).await;
    assert_eq!(got(&server).await, [OPENED, CLOSED]);
}
