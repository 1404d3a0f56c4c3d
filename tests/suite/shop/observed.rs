//! What is seen of the service: metrics, readings outside jobs, traces.

use serde_json::{Value, json};
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpListener;
use trisect_journal::{Journal, ReadingFilter, SqliteJournal};
use trisect_tests::daemon::Daemon;
use trisect_tests::instrument::{Cable, counted};
use trisect_tests::raw::{get_with, post};
use trisect_tests::service::client;
use trisect_tests::wait::within;

use super::{call, configuration};

/// 12.34 V on a meter with this chip.
const FS9922: &[u8] = b"+1234 21\x00\x00\x80\x0C\r\n";

#[tokio::test]
async fn what_a_meter_says_between_jobs_is_kept_and_counted() {
    let folder = tempfile::tempdir().unwrap();
    let journal = folder.path().join("journal.db");
    let daemon = Daemon::start(&journal).await;
    let client = client(daemon.address).await;
    let cable = Cable::new();
    cable.attach_meter(&client, "fs9922").await;
    for _ in 0..5 {
        cable.say(FS9922).await;
    }
    counted(&client, "samples", |one| one.counters.samples >= 5).await;
    let wanted = "trisect_readings_total{bay=\"bay-1\",fate=\"outside-jobs\"} 5";
    within("the count", async {
        loop {
            let metrics = get_with(daemon.address, "/metrics", "host: localhost\r\n").await;
            if metrics.body.lines().any(|line| line == wanted) {
                return;
            }
        }
    })
    .await;
    assert!(daemon.terminate().await.success());
    let kept = SqliteJournal::open(&journal).unwrap();
    let rows = kept
        .readings(ReadingFilter::default(), 0, 100)
        .await
        .unwrap();
    assert_eq!(rows.len(), 5);
    assert!(rows.iter().all(|row| row.job.is_none()));
}

/// Reads one POST and answers it.
async fn collect(listener: &TcpListener) -> Value {
    let (mut stream, _) = listener.accept().await.unwrap();
    let mut text = Vec::new();
    loop {
        let mut chunk = [0; 4096];
        let read = stream.read(&mut chunk).await.unwrap();
        text.extend_from_slice(&chunk[..read]);
        let said = String::from_utf8_lossy(&text);
        if let Some((_, body)) = said.split_once("\r\n\r\n")
            && let Ok(body) = serde_json::from_str(body)
        {
            let answer = b"HTTP/1.1 200 OK\r\ncontent-length: 2\r\n\r\n{}";
            stream.write_all(answer).await.unwrap();
            return body;
        }
        assert!(read > 0, "half a request: {said}");
    }
}

#[tokio::test]
async fn calls_are_traced_to_a_collector() {
    let collector = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let folder = tempfile::tempdir().unwrap();
    let rest = format!(
        "[access]\nloopback = \"manage\"\n[traces]\nendpoint = \"http://{}/v1/traces\"",
        collector.local_addr().unwrap()
    );
    let daemon = Daemon::serve(&configuration(folder.path(), &rest)).await;
    post(
        daemon.address,
        &call("job.open", &json!({"bay": "none", "machine": "Unit 1"})),
    )
    .await;
    let traces = within("traces", collect(&collector)).await;
    let span = &traces["resourceSpans"][0]["scopeSpans"][0]["spans"][0];
    assert_eq!(span["name"], "job.open");
    assert_eq!(span["status"], json!({"code": 2, "message": "unknown-bay"}));
    let began: u128 = span["startTimeUnixNano"].as_str().unwrap().parse().unwrap();
    let ended: u128 = span["endTimeUnixNano"].as_str().unwrap().parse().unwrap();
    assert!(began < ended);
}
