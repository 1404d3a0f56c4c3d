//! Same events, same rule set, same verdict bytes: live, replayed, and after a restart.

use std::net::SocketAddr;

use serde::Deserialize;
use serde_json::value::RawValue;
use serde_json::{Value, json};
use trisect_tests::raw::post;
use trisect_tests::service::{Served, open_job, readings, say, submit};
use trisect_wire::types::Phase;

async fn call(address: SocketAddr, method: &str, params: Value) -> String {
    let call = json!({"jsonrpc": "2.0", "id": 1, "method": method, "params": params});
    let answer = post(address, &call.to_string()).await;
    assert!(
        answer.json()["error"].is_null(),
        "{method}: {}",
        answer.body
    );
    answer.body
}

/// Members of a result as they were written, byte for byte.
#[derive(Deserialize)]
struct Answer<T> {
    result: T,
}

#[derive(Deserialize)]
struct Replayed<'a> {
    same: bool,
    #[serde(borrow)]
    recorded: &'a RawValue,
    #[serde(borrow)]
    replayed: &'a RawValue,
}

#[derive(Deserialize)]
struct Stands<'a> {
    #[serde(borrow)]
    verdict: &'a RawValue,
}

/// The verdict of a job as it stands and as replayed: three times the same bytes.
async fn verdict_bytes(address: SocketAddr, job: &str) -> String {
    let shown = call(address, "job.show", json!({"job": job})).await;
    let shown: Answer<Stands<'_>> = serde_json::from_str(&shown).unwrap();
    let replayed = call(address, "job.replay", json!({"job": job})).await;
    let replayed: Answer<Replayed<'_>> = serde_json::from_str(&replayed).unwrap();
    assert!(replayed.result.same);
    assert_eq!(
        replayed.result.recorded.get(),
        replayed.result.replayed.get()
    );
    assert_eq!(shown.result.verdict.get(), replayed.result.replayed.get());
    replayed.result.replayed.get().to_owned()
}

#[tokio::test]
async fn a_job_replays_to_the_same_bytes_open_closed_and_after_a_restart() {
    let served = Served::start().await;
    let client = served.client().await;
    let job = open_job(&client, None).await.job;
    submit(&client, readings("ambient-temperature", "degC", &[4.0])).await;
    say(&client, Phase::Cranking).await;
    submit(
        &client,
        readings("positive-cable-drop", "V", &[0.9, 1.4, 1.2]),
    )
    .await;
    say(&client, Phase::Off).await;
    let entered = json!({
        "bay": "bay-1", "point": "pump-inlet-pressure", "value": "3.0 psi", "phase": "cranking", "by": "R.",
    });
    call(served.address, "reading.enter", entered).await;
    let answer = json!({"job": job, "check": "fuel-seen", "answer": "seen", "by": "R."});
    call(served.address, "job.answer", answer).await;
    let open = verdict_bytes(served.address, &job).await;
    for failed in ["positive-cable", "inlet-pressure-cranking"] {
        let evidence = format!(r#""check":"{failed}","outcome":"failed""#);
        assert!(open.contains(&evidence), "{failed}: {open}");
    }

    let folder = served.stop().await;
    let served = Served::start_with(folder, Vec::new()).await;
    assert_eq!(verdict_bytes(served.address, &job).await, open);
    call(
        served.address,
        "job.close",
        json!({"job": job, "confirmed": ["lift-pump-weak"]}),
    )
    .await;
    let closed = verdict_bytes(served.address, &job).await;

    let folder = served.stop().await;
    let served = Served::start_with(folder, Vec::new()).await;
    assert_eq!(verdict_bytes(served.address, &job).await, closed);
    served.stop().await;
}

/// A verdict names the readings' rule set by its digest, which is that of the text that is shipped.
#[tokio::test]
async fn a_verdict_names_its_rule_set_by_digest() {
    let served = Served::start().await;
    let client = served.client().await;
    let job = open_job(&client, None).await;
    let verdict: Value =
        serde_json::from_str(&verdict_bytes(served.address, &job.job).await).unwrap();
    let shipped = trisect_rules::shipped_rule_set("distributor-pump-12v").unwrap();
    assert_eq!(verdict["ruleset"]["digest"], shipped.digest);
    assert_eq!(job.ruleset.digest, shipped.digest);
    served.stop().await;
}
