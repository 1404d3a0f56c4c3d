//! What happens in a bay reaches somebody who was asked to be told; what does not is listed and sent again.

use serde_json::{Value, json};
use trisect_tests::instrument::{Cable, METER};
use trisect_tests::service::{BAY, Served, open_job, readings, say, submit};
use trisect_tests::wait::within;
use trisect_wire::ErrorKind;
use trisect_wire::client::{Client, ClientError};
use trisect_wire::table::{DeliveryList, DeliveryResend, InstrumentDetach, JobClose, WebhookList};
use trisect_wire::types::{
    DeliveryListParams, DeliveryResendParams, InstrumentName, JobCloseParams, NoParams, Phase,
};
use wiremock::matchers::method;
use wiremock::{Mock, MockServer, ResponseTemplate};

pub(crate) const SECRET: &str = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw";

/// A service that tells a receiver on this machine everything.
pub(crate) async fn telling(url: &str) -> Served {
    let folder = tempfile::tempdir().unwrap();
    let secret = folder.path().join("secret");
    std::fs::write(&secret, SECRET).unwrap();
    let webhook = json!({"webhook": "erp", "url": url, "secret_file": secret, "allow": ["loopback"], "retries": [0.01]});
    let webhooks = vec![serde_json::from_value(webhook).unwrap()];
    Served::start_set(folder, |settings| settings.webhooks = webhooks).await
}

/// One of everything that is told: an instrument comes and goes, a job is opened, its verdict changes, it is closed.
pub(crate) async fn everything(client: &Client) {
    let cable = Cable::new();
    cable.attach_meter(client, "es51922").await;
    let job = open_job(client, None).await;
    say(client, Phase::Off).await;
    submit(client, readings("battery", "V", &[9.1, 9.1, 9.1])).await;
    let name = InstrumentName {
        bay: BAY.to_owned(),
        instrument: METER.to_owned(),
    };
    within("detach", client.call::<InstrumentDetach>(&name))
        .await
        .unwrap();
    let closing = JobCloseParams {
        job: job.job,
        confirmed: Some(vec!["battery-weak".to_owned()]),
        note: Some("changed the battery".to_owned()),
    };
    within("job.close", client.call::<JobClose>(&closing))
        .await
        .unwrap();
}

/// Waits until nothing is on its way; how much was given up.
pub(crate) async fn settled(client: &Client) -> u64 {
    let asking = async {
        let mut again = tokio::time::interval(std::time::Duration::from_millis(10));
        loop {
            again.tick().await;
            let all = client.call::<WebhookList>(&NoParams {}).await.unwrap();
            if all.webhooks[0].waiting == 0 {
                return all.webhooks[0].dead;
            }
        }
    };
    within("the deliveries", asking).await
}

async fn received(server: &MockServer) -> Vec<Value> {
    let requests = server.received_requests().await.unwrap();
    requests
        .iter()
        .map(|request| serde_json::from_slice(&request.body).unwrap())
        .collect()
}

#[tokio::test(flavor = "multi_thread")]
async fn every_kind_of_event_arrives_in_order() {
    let server = MockServer::start().await;
    Mock::given(method("POST"))
        .respond_with(ResponseTemplate::new(200))
        .mount(&server)
        .await;
    let served = telling(&server.uri()).await;
    let client = served.client().await;
    everything(&client).await;
    assert_eq!(settled(&client).await, 0);
    let events = received(&server).await;
    let of = |kind: &str| {
        events
            .iter()
            .filter(|event| event["type"] == kind)
            .collect::<Vec<_>>()
    };
    let (opened, closed) = (of("trisect.job.opened"), of("trisect.job.closed"));
    let verdicts = of("trisect.verdict.changed");
    assert!(
        opened.len() == 1 && closed.len() == 1 && verdicts.len() >= 2,
        "{events:#?}"
    );
    assert_eq!(
        (&opened[0]["data"]["state"], &closed[0]["data"]["state"]),
        (&json!("open"), &json!("closed"))
    );
    assert_eq!(closed[0]["data"]["confirmed"], json!(["battery-weak"]));
    let job: Vec<_> = events
        .iter()
        .filter(|event| event["subject"] == opened[0]["subject"])
        .collect();
    assert!(
        job[0]["type"] == "trisect.job.opened"
            && job[job.len() - 1]["type"] == "trisect.job.closed"
    );
    let seqs: Vec<_> = verdicts
        .iter()
        .map(|event| event["data"]["seq"].as_u64().unwrap())
        .collect();
    assert!(seqs.is_sorted(), "{seqs:?}");
    let seen = &verdicts[verdicts.len() - 1]["data"]["evidence"];
    assert!(
        seen.as_array()
            .unwrap()
            .iter()
            .any(|one| one["check"] == "battery-rest"),
        "{seen}"
    );
    let (changed, detached) = (
        of("trisect.instrument.changed"),
        of("trisect.instrument.detached"),
    );
    assert!(!changed.is_empty() && detached.len() == 1);
    assert_eq!(
        detached[0]["data"],
        json!({"bay": BAY, "instrument": METER})
    );
    served.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn what_was_given_up_is_listed_and_sent_again() {
    let server = MockServer::start().await;
    Mock::given(method("POST"))
        .respond_with(ResponseTemplate::new(500))
        .mount(&server)
        .await;
    let served = telling(&server.uri()).await;
    let client = served.client().await;
    open_job(&client, None).await;
    let dead = settled(&client).await;
    let all = DeliveryListParams::default();
    let deliveries = client.call::<DeliveryList>(&all).await.unwrap().deliveries;
    assert_eq!(deliveries.len() as u64, dead);
    assert_eq!(
        (deliveries[0].event.as_str(), deliveries[0].attempts),
        ("trisect.job.opened", 2)
    );
    assert!(
        deliveries[0]
            .note
            .as_deref()
            .unwrap()
            .contains("answered 500")
    );
    server.reset().await;
    Mock::given(method("POST"))
        .respond_with(ResponseTemplate::new(200))
        .mount(&server)
        .await;
    let mut resend = DeliveryResendParams {
        webhook: "erp".to_owned(),
        deliveries: Some(vec![deliveries[0].delivery]),
    };
    assert_eq!(
        client
            .call::<DeliveryResend>(&resend)
            .await
            .unwrap()
            .deliveries,
        1
    );
    assert_eq!(settled(&client).await, dead - 1);
    assert_eq!(received(&server).await[0]["id"], json!(deliveries[0].id));
    resend.webhook = "epr".to_owned();
    let ClientError::Refused(error) = client.call::<DeliveryResend>(&resend).await.unwrap_err()
    else {
        panic!("not refused");
    };
    assert_eq!(
        (error.kind, error.hint.as_deref()),
        (ErrorKind::UnknownWebhook, Some("did you mean `erp`?"))
    );
    served.stop().await;
}
