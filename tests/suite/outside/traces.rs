//! The traces that really go out, parsed by OpenTelemetry's own protocol definitions.

use std::collections::BTreeSet;
use std::process::Stdio;

use serde_json::{Value, json};
use tokio::io::{AsyncBufReadExt, BufReader};
use trisect_tests::raw::post;
use trisect_tests::service::Served;
use trisect_tests::wait::within;

use super::python;

fn call(method: &str, params: &Value) -> String {
    json!({"jsonrpc": "2.0", "id": 1, "method": method, "params": params}).to_string()
}

#[tokio::test(flavor = "multi_thread")]
async fn opentelemetrys_own_definitions_parse_every_span() {
    let Some(mut command) = python("collector.py") else {
        return;
    };
    let mut collector = command.stderr(Stdio::inherit()).spawn().unwrap();
    let mut lines = BufReader::new(collector.stdout.take().unwrap()).lines();
    let mut next = async || -> Value {
        let line = within("the collector", lines.next_line()).await.unwrap();
        serde_json::from_str(&line.expect("the collector has ended")).unwrap()
    };
    let port = next().await["port"].as_u64().unwrap();
    let endpoint = format!("http://127.0.0.1:{port}/v1/traces");
    let served = Served::start_set(tempfile::tempdir().unwrap(), |settings| {
        settings.traces.endpoint = Some(endpoint);
    })
    .await;
    // One that is answered, one that is refused, one that nobody knows.
    for (method, params) in [
        ("service.about", json!({})),
        ("job.open", json!({"bay": "none", "machine": "Unit 1"})),
        ("no.such", json!({})),
    ] {
        post(served.address, &call(method, &params)).await;
    }
    let mut spans = Vec::new();
    while spans.len() < 3 {
        let said = next().await;
        assert_eq!(said["ok"], true, "{said}");
        spans.extend(said["spans"].as_array().unwrap().clone());
    }
    let of = |name: &str| spans.iter().find(|span| span["name"] == name).unwrap();
    let about = of("service.about");
    assert_eq!(
        (&about["kind"], &about["status"], &about["service"]),
        (
            &json!("SPAN_KIND_SERVER"),
            &json!("STATUS_CODE_OK"),
            &json!("trisectd")
        )
    );
    assert_eq!(about["attributes"]["rpc.method"], "service.about");
    let refused = of("job.open");
    assert_eq!(
        (&refused["status"], &refused["message"]),
        (&json!("STATUS_CODE_ERROR"), &json!("unknown-bay"))
    );
    assert_eq!(refused["attributes"]["error.type"], "unknown-bay");
    let traces: BTreeSet<&str> = spans
        .iter()
        .map(|span| span["trace"].as_str().unwrap())
        .collect();
    assert_eq!(traces.len(), spans.len(), "one call is one trace");
    served.stop().await;
}
