//! A copy taken while the service runs under load, and put back; what is logged for programs; news that a kill
//! does not lose.

use std::path::Path;
use std::process::Stdio;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};

use serde_json::{Value, json};
use tokio::io::{AsyncBufReadExt, AsyncReadExt, BufReader};
use tokio::process::Command;
use trisect_tests::daemon::Daemon;
use trisect_tests::programs::program;
use trisect_tests::service::{client, open_job, readings, submit};
use trisect_tests::wait::within;
use trisect_wire::table::{JobClose, JobReplay, JobVerify, WebhookList};
use trisect_wire::types::{JobName, NoParams};
use wiremock::matchers::method;
use wiremock::{Mock, MockServer, ResponseTemplate};

use super::faults::{sound, stored};
use super::{configuration, trisectd};

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_copy_taken_under_load_is_put_back_with_all_that_was_acknowledged_before() {
    let folder = tempfile::tempdir().unwrap();
    let (journal, copy) = (
        folder.path().join("journal.db"),
        folder.path().join("copy.db"),
    );
    let (path, copied) = (journal.to_str().unwrap(), copy.to_str().unwrap());
    let daemon = Daemon::start(&journal).await;
    let calling = client(daemon.address).await;
    let job = open_job(&calling, None).await.job;
    let (over, count) = (
        Arc::new(AtomicBool::new(false)),
        Arc::new(AtomicU64::new(0)),
    );
    let (stop, acknowledged, address) = (Arc::clone(&over), Arc::clone(&count), daemon.address);
    let loading = tokio::spawn(async move {
        let loader = client(address).await;
        while !stop.load(Ordering::Relaxed) {
            let stored = submit(&loader, readings("battery", "V", &[12.5; 20])).await;
            acknowledged.fetch_add(stored, Ordering::Relaxed);
        }
    });
    within("some load", async {
        while count.load(Ordering::Relaxed) < 1000 {
            tokio::task::yield_now().await;
        }
    })
    .await;
    let before = count.load(Ordering::Relaxed);
    let (code, said) = trisectd(&["backup", copied, "--journal", path]).await;
    assert_eq!(code, 0, "{said}");
    // What is sent and not yet counted may be in it as well: 20 at most.
    let after = count.load(Ordering::Relaxed) + 20;
    over.store(true, Ordering::Relaxed);
    loading.await.unwrap();
    submit(&calling, readings("battery", "V", &[11.0; 500])).await;
    // Not while the service runs, and not over a copy that is there.
    let (code, said) = trisectd(&["restore", copied, "--journal", path]).await;
    assert_eq!((code, said.contains("is in use")), (1, true), "{said}");
    let (code, said) = trisectd(&["backup", copied, "--journal", path]).await;
    assert_eq!(code, 1, "{said}");
    drop(calling);
    assert!(daemon.terminate().await.success());

    let (code, said) = trisectd(&["restore", copied, "--journal", path]).await;
    assert_eq!(code, 0, "{said}");
    let kept = said.split("what was there is ").nth(1).unwrap().trim();
    assert!(Path::new(kept).exists(), "{said}");
    let daemon = Daemon::start(&journal).await;
    let calling = client(daemon.address).await;
    let there = stored(&calling, &job).await;
    assert!(
        (before..=after).contains(&there),
        "{before} <= {there} <= {after}"
    );
    let name = JobName { job: job.clone() };
    assert!(calling.call::<JobVerify>(&name).await.unwrap().sound);
    let replay = serde_json::from_value(json!({"job": job})).unwrap();
    assert!(calling.call::<JobReplay>(&replay).await.unwrap().same);
    // It goes on from there.
    submit(&calling, readings("battery", "V", &[12.0; 3])).await;
    assert_eq!(stored(&calling, &job).await, there + 3);
    drop(calling);
    assert!(daemon.terminate().await.success());
    sound(&journal, &job).await;
}

#[tokio::test]
async fn what_is_logged_for_programs_is_an_object_a_line() {
    let folder = tempfile::tempdir().unwrap();
    let rest = "[access]\nloopback = \"manage\"\n[log]\nlevel = \"debug\"\nformat = \"json\"";
    let file = configuration(folder.path(), rest);
    let mut child = Command::new(program("trisectd"))
        .args(["serve", "--config"])
        .arg(&file)
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .kill_on_drop(true)
        .spawn()
        .unwrap();
    let mut said = BufReader::new(child.stdout.take().unwrap()).lines();
    within("listening", said.next_line())
        .await
        .unwrap()
        .unwrap();
    // A configuration that is refused, with a text that would be two lines.
    configuration(folder.path(), "\"two\\nlines\" = 1");
    let id = i32::try_from(child.id().unwrap()).unwrap();
    let id = rustix::process::Pid::from_raw(id).unwrap();
    rustix::process::kill_process(id, rustix::process::Signal::HUP).unwrap();
    let mut log = BufReader::new(child.stderr.take().unwrap()).lines();
    let mut seen = Vec::new();
    within("the refusal", async {
        loop {
            let line = log.next_line().await.unwrap().expect("it has ended");
            let line: Value = serde_json::from_str(&line).unwrap_or_else(|e| panic!("{e}: {line}"));
            let refused = line["level"] == "ERROR";
            seen.push(line);
            if refused {
                return;
            }
        }
    })
    .await;
    for line in &seen {
        let time: Result<jiff::Timestamp, _> = line["timestamp"].as_str().unwrap().parse();
        assert!(time.is_ok() && line["target"].is_string(), "{line}");
        assert!(line["fields"]["message"].is_string(), "{line}");
    }
    let last = seen.last().unwrap();
    assert!(
        last["fields"]["error"].as_str().unwrap().contains("two"),
        "{last}"
    );
    rustix::process::kill_process(id, rustix::process::Signal::TERM).unwrap();
    let mut rest = String::new();
    within("the rest", log.into_inner().read_to_string(&mut rest))
        .await
        .unwrap();
    for line in rest.lines() {
        assert!(serde_json::from_str::<Value>(line).is_ok(), "{line}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn news_that_was_on_its_way_arrives_after_a_kill_in_order() {
    let receiver = MockServer::start().await;
    // Away at first: everything has to wait.
    Mock::given(method("POST"))
        .respond_with(ResponseTemplate::new(503))
        .mount(&receiver)
        .await;
    let folder = tempfile::tempdir().unwrap();
    let secret = folder.path().join("secret");
    std::fs::write(&secret, "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw").unwrap();
    let waits = vec!["0.2"; 100].join(", ");
    let rest = format!(
        "[access]\nloopback = \"manage\"\n[[bays]]\nbay = \"bay-1\"\n[[webhooks]]\nwebhook = \"erp\"\nurl = \"{}\"\n\
         secret_file = {secret:?}\nabout = [\"job\"]\nallow = [\"loopback\"]\nretries = [{waits}]",
        receiver.uri()
    );
    let file = configuration(folder.path(), &rest);
    let daemon = Daemon::serve(&file).await;
    let calling = client(daemon.address).await;
    let mut jobs = Vec::new();
    for _ in 0..5 {
        let job = open_job(&calling, None).await.job;
        let closing = serde_json::from_value(json!({"job": job})).unwrap();
        calling.call::<JobClose>(&closing).await.unwrap();
        jobs.push(job);
    }
    drop(calling);
    daemon.kill().await;
    receiver.reset().await;
    Mock::given(method("POST"))
        .respond_with(ResponseTemplate::new(200))
        .mount(&receiver)
        .await;
    let daemon = Daemon::serve(&file).await;
    let calling = client(daemon.address).await;
    within("the deliveries", async {
        let mut again = tokio::time::interval(std::time::Duration::from_millis(20));
        loop {
            again.tick().await;
            let all = calling.call::<WebhookList>(&NoParams {}).await.unwrap();
            if all.webhooks[0].waiting == 0 {
                assert_eq!(all.webhooks[0].dead, 0);
                return;
            }
        }
    })
    .await;
    let told: Vec<(String, String)> = receiver
        .received_requests()
        .await
        .unwrap()
        .iter()
        .map(|request| {
            let event: Value = serde_json::from_slice(&request.body).unwrap();
            let text = |name: &str| event[name].as_str().unwrap().to_owned();
            (
                event["data"]["job"].as_str().unwrap().to_owned(),
                text("type"),
            )
        })
        .collect();
    for job in jobs {
        let of_job: Vec<&str> = told
            .iter()
            .filter(|(of, _)| *of == job)
            .map(|(_, kind)| kind.as_str())
            .collect();
        assert_eq!(
            of_job,
            ["trisect.job.opened", "trisect.job.closed"],
            "{told:?}"
        );
    }
    assert!(daemon.terminate().await.success());
}
