#![allow(clippy::unwrap_used)]
use super::*;
use crate::table::{BayList, JobList, PhaseSay, ReadingWatch};
use crate::types::{Bay, BayName, Bays, Jobs, PhaseSayParams, ReadingItem};
use serde_json::{Value, json};

struct Context {
    readings: Publisher<ReadingWatch>,
}

/// A module with one method of each sort, called by a caller of this role.
fn module(role: Option<Role>) -> RpcModule<Context> {
    module_of(role, Publisher::new(1))
}

fn module_of(role: Option<Role>, readings: Publisher<ReadingWatch>) -> RpcModule<Context> {
    let mut module = RpcModule::new(Context { readings });
    if let Some(role) = role {
        module.extensions_mut().insert(role);
    }
    register::<BayList, _, _, _>(&mut module, |_, _| async { Ok(Bays { bays: Vec::new() }) });
    register::<JobList, _, _, _>(&mut module, |_, _| async { Ok(Jobs::default()) });
    register::<PhaseSay, _, _, _>(&mut module, say_phase);
    register_watch::<ReadingWatch, _, _, _>(&mut module, |context, params: BayName| async move {
        match params.bay.as_str() {
            "b1" => Ok(context.readings.feed().starting_with(vec![reading(0)])),
            other => Err(unknown_bay(other)),
        }
    });
    register_discover(&mut module);
    module
}

async fn say_phase(_: Arc<Context>, params: PhaseSayParams) -> Result<Bay, WireError> {
    Err(unknown_bay(&params.bay))
}

fn unknown_bay(bay: &str) -> WireError {
    ErrorKind::UnknownBay
        .because(format!("there is no bay `{bay}`"))
        .at("bay")
        .hint_nearest(bay, ["b1"])
}

/// An item that can be told from others by its number; a gap serves as well as a reading.
fn reading(number: u64) -> ReadingItem {
    serde_json::from_value(json!({
        "kind": "reading", "seq": number, "job": "j", "bay": "b1", "point": "battery",
        "time": "2026-11-24T07:31:05Z", "at": 1.5, "value": 12.4, "unit": "V", "uncertainty": 0.03, "entered": false,
    }))
    .unwrap()
}

async fn answer(module: &RpcModule<Context>, method: &str, params: Value) -> Value {
    let request =
        json!({"jsonrpc": "2.0", "id": 1, "method": method, "params": params}).to_string();
    let (response, _) = module.raw_json_request(&request, 1).await.unwrap();
    serde_json::from_str(response.get()).unwrap()
}

#[tokio::test]
async fn a_call_is_answered() {
    let answer = answer(&module(Some(Role::Read)), "bay.list", json!({})).await;
    assert_eq!(
        answer,
        json!({"jsonrpc": "2.0", "id": 1, "result": {"bays": []}})
    );
}

#[tokio::test]
async fn a_refusal_carries_its_kind_field_and_way_out() {
    let answer = answer(
        &module(Some(Role::Manage)),
        "phase.say",
        json!({"bay": "b9"}),
    )
    .await;
    let data = json!({
        "kind": "unknown-bay", "message": "there is no bay `b9`", "field": "bay", "hint": "did you mean `b1`?",
    });
    assert_eq!(
        answer["error"],
        json!({"code": 1001, "message": "there is no bay `b9`", "data": data})
    );
}

#[tokio::test]
async fn parameters_are_refused_before_the_handler_runs() {
    let answer = answer(
        &module(Some(Role::Read)),
        "job.list",
        json!({"stat": "open"}),
    )
    .await;
    assert_eq!(answer["error"]["code"], -32602);
    assert_eq!(answer["error"]["data"]["field"], "stat");
    assert_eq!(answer["error"]["data"]["hint"], "did you mean `state`?");
}

#[tokio::test]
async fn a_role_opens_what_it_reaches_and_no_more() {
    async fn check(role: Option<Role>, method: &str, expected: &str) {
        let answer = answer(&module(role), method, json!({"bay": "b9"})).await;
        assert_eq!(
            answer["error"]["data"]["kind"], expected,
            "{role:?} {method}"
        );
    }
    check(None, "phase.say", "not-permitted").await;
    check(Some(Role::Read), "phase.say", "not-permitted").await;
    check(Some(Role::Measure), "phase.say", "unknown-bay").await;
    check(Some(Role::Manage), "phase.say", "unknown-bay").await;
    check(None, "reading.watch", "not-permitted").await;
    check(Some(Role::Read), "reading.watch", "unknown-bay").await;
}

#[tokio::test]
async fn discover_answers_the_document() {
    let answer = answer(&module(Some(Role::Read)), "rpc.discover", json!({})).await;
    assert_eq!(answer["result"], Value::Object(crate::openrpc()));
}

/// Publishes `items` to a subscriber with `room` for so many and reads them all back; answers how many
/// were told and how many were missed.
async fn told_and_missed(items: u64, kept: usize, room: usize) -> (u64, u64) {
    let publisher = Publisher::new(kept);
    let module = module_of(Some(Role::Read), publisher.clone());
    let params = serde_json::from_value::<serde_json::Map<_, _>>(json!({"bay": "b1"})).unwrap();
    let mut watch = module
        .subscribe("reading.watch", params, room)
        .await
        .unwrap();
    let mut last = None;
    let (mut told, mut missed) = (0, 0);
    for number in 1..=items {
        publisher.publish(&reading(number)).unwrap();
        if number % 7 == 0 {
            tokio::task::yield_now().await;
        }
    }
    while told + missed < items + 1 {
        let next = watch.next::<ReadingItem>();
        let (item, _) = tokio::time::timeout(std::time::Duration::from_secs(10), next)
            .await
            .unwrap()
            .unwrap()
            .unwrap();
        match item {
            ReadingItem::Reading(reading) => {
                assert!(last < Some(reading.seq), "{} after {last:?}", reading.seq);
                assert_eq!(
                    reading.seq,
                    told + missed,
                    "the gap stands where the items are missing"
                );
                last = Some(reading.seq);
                told += 1;
            }
            ReadingItem::Gap { missed: more } => missed += more,
        }
    }
    (told, missed)
}

#[tokio::test]
async fn a_subscriber_in_step_misses_nothing() {
    assert_eq!(told_and_missed(20, 64, 64).await, (21, 0));
}

#[tokio::test]
async fn a_slow_subscriber_is_told_what_it_missed_in_its_place() {
    let (told, missed) = told_and_missed(5000, 16, 4).await;
    assert!(told >= 4 && missed > 0, "told {told}, missed {missed}");
    let (told, missed) = told_and_missed(5000, 8192, 4).await;
    assert!(told >= 4 && missed > 0, "told {told}, missed {missed}");
}
