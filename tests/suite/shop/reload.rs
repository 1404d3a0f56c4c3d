//! SIGHUP: a configuration is taken up as a whole or not at all, and only what changed starts anew.

use serde_json::{Value, json};
use trisect_tests::daemon::Daemon;
use trisect_tests::raw::{WebSocket, post, try_post};
use trisect_tests::wait::within;

use super::{call, configuration};

const BEFORE: &str = r#"
[access]
loopback = "manage"
[[bays]]
bay = "north"
title = "North"
[[bays.instruments]]
instrument = "dial"
adapter = "manual"
settings = { quantity = "pressure", full_scale = "60 psi" }
[[bays.instruments]]
instrument = "glass"
adapter = "manual"
settings = { quantity = "temperature" }
"#;

async fn ask(daemon: &Daemon, method: &str) -> Value {
    post(daemon.address, &call(method, &json!({}))).await.json()["result"].clone()
}

async fn bays(daemon: &Daemon) -> Vec<(String, String, Vec<String>)> {
    let bays = ask(daemon, "bay.list").await;
    let text = |value: &Value| value.as_str().unwrap().to_owned();
    bays["bays"]
        .as_array()
        .unwrap()
        .iter()
        .map(|bay| {
            let instruments = bay["instruments"].as_array().unwrap().iter().map(text);
            (
                text(&bay["bay"]),
                text(&bay["title"]),
                instruments.collect(),
            )
        })
        .collect()
}

async fn since(daemon: &Daemon, instrument: &str) -> String {
    let all = ask(daemon, "instrument.list").await;
    let all = all["instruments"].as_array().unwrap().clone();
    let one = all
        .iter()
        .find(|one| one["instrument"] == instrument)
        .unwrap();
    one["since"].as_str().unwrap().to_owned()
}

#[tokio::test]
async fn what_changed_is_taken_up_and_the_rest_is_not_touched() {
    let folder = tempfile::tempdir().unwrap();
    let file = configuration(folder.path(), BEFORE);
    let daemon = Daemon::serve(&file).await;
    let headers = format!("host: {}\r\n", daemon.address);
    let mut socket = WebSocket::try_open(daemon.address, &headers).await.unwrap();
    let dial = since(&daemon, "dial").await;

    let after = BEFORE
        .replace("title = \"North\"", "title = \"North gate\"")
        .replace("instrument = \"glass\"", "instrument = \"thermometer\"")
        + "[[bays]]\nbay = \"south\"\n";
    configuration(folder.path(), &after);
    daemon.reload();
    let wanted = vec![
        (
            "north".to_owned(),
            "North gate".to_owned(),
            vec!["dial".to_owned(), "thermometer".to_owned()],
        ),
        ("south".to_owned(), "south".to_owned(), vec![]),
    ];
    within("the new bays", async {
        while bays(&daemon).await != wanted {}
    })
    .await;
    // The instrument that did not change runs on, and so does the connection.
    assert_eq!(since(&daemon, "dial").await, dial);
    socket
        .send(&call("service.about", &json!({})))
        .await
        .unwrap();
    assert_eq!(socket.receive().await["result"]["name"], "trisectd");
}

#[tokio::test]
async fn a_configuration_with_a_mistake_changes_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let file = configuration(folder.path(), BEFORE);
    let daemon = Daemon::serve(&file).await;
    let before = bays(&daemon).await;
    let broken = BEFORE.replace("title = \"North\"", "title = \"South\"")
        + "[[bays]]\nbay = \"south\"\nruleset = \"none-such\"\n";
    configuration(folder.path(), &broken);
    daemon.reload();
    // A good one after it is taken up: by then the broken one has been looked at.
    let good = BEFORE.to_owned() + "[[bays]]\nbay = \"west\"\n";
    let seen = async || {
        bays(&daemon)
            .await
            .iter()
            .map(|bay| bay.0.clone())
            .collect::<Vec<_>>()
    };
    assert_eq!(bays(&daemon).await, before);
    configuration(folder.path(), &good);
    daemon.reload();
    within("the good one", async {
        loop {
            let now = seen().await;
            assert!(!now.contains(&"south".to_owned()), "{now:?}");
            if now == ["north", "west"] {
                return;
            }
        }
    })
    .await;
    assert_eq!(bays(&daemon).await[0], before[0]);
}

#[tokio::test]
async fn who_may_come_in_is_taken_up_on_the_same_port() {
    let folder = tempfile::tempdir().unwrap();
    let file = configuration(folder.path(), "[access]\nloopback = \"manage\"");
    let daemon = Daemon::serve(&file).await;
    let open = call("job.open", &json!({"bay": "none", "machine": "Unit 1"}));
    assert_eq!(
        post(daemon.address, &open).await.kind().as_deref(),
        Some("unknown-bay")
    );
    configuration(folder.path(), "[access]\nloopback = \"read\"");
    daemon.reload();
    within("the smaller role", async {
        // A connection that had asked nothing when the front was exchanged is cut: it is made again.
        while try_post(daemon.address, &open)
            .await
            .map_or(true, |answer| {
                answer.kind().as_deref() != Some("not-permitted")
            })
        {}
    })
    .await;
}
