//! SIGHUP: a configuration is taken up as a whole or not at all, and only what changed starts anew.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use serde_json::{Value, json};
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;
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
        // By the front that goes it may still be answered for a moment.
        while try_post(daemon.address, &open)
            .await
            .map_or(true, |answer| {
                answer.kind().as_deref() != Some("not-permitted")
            })
        {}
    })
    .await;
}

/// POSTs on a connection that is kept; whether the answer says that it is the last one on it.
async fn post_kept(stream: &mut TcpStream, body: &str) -> std::io::Result<bool> {
    let length = body.len();
    let request = format!(
        "POST /rpc HTTP/1.1\r\nhost: localhost\r\ncontent-type: application/json\r\ncontent-length: {length}\r\n\r\n{body}"
    );
    stream.write_all(request.as_bytes()).await?;
    let mut head = Vec::new();
    while !head.ends_with(b"\r\n\r\n") {
        head.push(stream.read_u8().await?);
    }
    let head = String::from_utf8(head).unwrap().to_lowercase();
    assert!(head.starts_with("http/1.1 200"), "{head}");
    let length = head
        .lines()
        .find_map(|line| line.strip_prefix("content-length: "));
    let mut body = vec![0; length.unwrap().parse().unwrap()];
    stream.read_exact(&mut body).await?;
    Ok(head.contains("connection: close"))
}

/// How long a client takes to ask.
const AWAY: Duration = Duration::from_millis(20);

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn an_exchange_of_the_front_cuts_nobody_who_asks() {
    let folder = tempfile::tempdir().unwrap();
    let with = |entries: usize| {
        format!("[access]\nloopback = \"manage\"\n[limits]\nbatch_entries = {entries}")
    };
    let file = configuration(folder.path(), &with(100));
    let daemon = Daemon::serve(&file).await;
    let address = daemon.address;
    let about = call("service.about", &json!({}));
    let stop = Arc::new(AtomicBool::new(false));
    // One client makes a connection for each call, and asks a moment later, as one that is far away does.
    let (over, body) = (Arc::clone(&stop), about.clone());
    let anew = tokio::spawn(async move {
        let (mut answered, mut cut) = (0, Vec::new());
        while !over.load(Ordering::Relaxed) {
            let mut stream = TcpStream::connect(address).await.unwrap();
            tokio::time::sleep(AWAY).await;
            match post_kept(&mut stream, &body).await {
                Ok(_) => answered += 1,
                Err(error) => cut.push(error.to_string()),
            }
        }
        (answered, cut)
    });
    // Another keeps its connection until it is told that the answer was the last one on it.
    let (over, body) = (Arc::clone(&stop), about.clone());
    let kept = tokio::spawn(async move {
        let (mut answered, mut told, mut cut) = (0, 0, Vec::new());
        let mut stream = TcpStream::connect(address).await.unwrap();
        while !over.load(Ordering::Relaxed) {
            tokio::time::sleep(AWAY).await;
            match post_kept(&mut stream, &body).await {
                Ok(last) => {
                    answered += 1;
                    if last {
                        told += 1;
                        stream = TcpStream::connect(address).await.unwrap();
                    }
                }
                Err(error) => {
                    cut.push(error.to_string());
                    stream = TcpStream::connect(address).await.unwrap();
                }
            }
        }
        (answered, told, cut)
    });
    // What the front is now is seen by how long a batch it takes.
    let batch = |length: usize| format!("[{}]", vec![about.as_str(); length].join(","));
    for round in 0..10 {
        let entries = 101 + round;
        configuration(folder.path(), &with(entries));
        daemon.reload();
        within("the new limit", async {
            while post(address, &batch(entries)).await.status != 200 {}
        })
        .await;
    }
    stop.store(true, Ordering::Relaxed);
    let (answered, cut) = anew.await.unwrap();
    assert_eq!(cut, [""; 0], "cut beside {answered} answers");
    let (on_kept, told, cut) = kept.await.unwrap();
    assert_eq!(cut, [""; 0], "cut beside {on_kept} answers");
    // The kept connection was exchanged as often as the front, and each time it was told.
    assert!(
        told >= 10 && answered > 20,
        "told {told} times, {answered} answered"
    );
    assert!(daemon.terminate().await.success());
}
