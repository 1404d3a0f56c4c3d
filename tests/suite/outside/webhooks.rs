//! What really goes out, verified by `standardwebhooks` and parsed by `cloudevents`: every kind of event.

use std::collections::BTreeSet;
use std::process::Stdio;

use serde_json::Value;
use tokio::io::{AsyncBufReadExt, BufReader};
use trisect_tests::wait::within;

use super::python;
use crate::service::webhooks::{SECRET, everything, settled, telling};

const KINDS: [&str; 5] = [
    "trisect.instrument.changed",
    "trisect.instrument.detached",
    "trisect.job.closed",
    "trisect.job.opened",
    "trisect.verdict.changed",
];

#[tokio::test(flavor = "multi_thread")]
async fn reference_libraries_verify_and_parse_every_kind() {
    let Some(mut command) = python("receiver.py") else {
        return;
    };
    let mut receiver = command
        .arg(SECRET)
        .stderr(Stdio::inherit())
        .spawn()
        .unwrap();
    let mut lines = BufReader::new(receiver.stdout.take().unwrap()).lines();
    let mut next = async || -> Value {
        let line = within("the receiver", lines.next_line()).await.unwrap();
        serde_json::from_str(&line.expect("the receiver has ended")).unwrap()
    };
    let port = next().await["port"].as_u64().unwrap();
    let served = telling(&format!("http://127.0.0.1:{port}/")).await;
    let client = served.client().await;
    everything(&client).await;
    assert_eq!(settled(&client).await, 0);
    let mut kinds = BTreeSet::new();
    while kinds.len() < KINDS.len() {
        let said = next().await;
        assert_eq!(said["ok"], true, "{said}");
        assert!(said["data"].is_object(), "{said}");
        kinds.insert(said["type"].as_str().unwrap().to_owned());
    }
    assert!(kinds.iter().eq(KINDS), "{kinds:?}");
    served.stop().await;
}
