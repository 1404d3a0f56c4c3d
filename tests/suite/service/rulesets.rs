//! Rule sets installed, tried and replayed on a running service; jobs exported as cases.

use std::net::SocketAddr;

use serde_json::{Value, json};
use trisect_tests::programs::trisect;
use trisect_tests::raw::{get_with, post};
use trisect_tests::repository::text;
use trisect_tests::service::{Served, open_job, readings, say, submit};
use trisect_wire::types::Phase;

const ID: &str = "distributor-pump-12v";

/// The result of a call, or the `data` of its error.
async fn answer(address: SocketAddr, method: &str, params: Value) -> Result<Value, Value> {
    let call = json!({"jsonrpc": "2.0", "id": 1, "method": method, "params": params});
    let mut body = post(address, &call.to_string()).await.json();
    match body["error"]["data"].take() {
        Value::Null => Ok(body["result"].take()),
        refused => Err(refused),
    }
}

async fn call(address: SocketAddr, method: &str, params: Value) -> Value {
    let answered = answer(address, method, params).await;
    answered.unwrap_or_else(|refused| panic!("{method}: {refused}"))
}

/// The shipped rule set as another version, which lets an inlet pressure of 2 psi pass.
fn laxer() -> String {
    let shipped = text("service/rules/rulesets/distributor-pump-12v.toml");
    let check = shipped.find("id = \"inlet-pressure-cranking\"").unwrap();
    let (before, after) = shipped.split_at(check);
    let after = after.replacen("at_least = \"5 psi\"", "at_least = \"2 psi\"", 1);
    (before.to_owned() + &after).replacen("version = \"1.2.0\"", "version = \"1.3.0\"", 1)
}

/// A weak lift pump: entered, streamed and answered, the probe placed anew on the way.
async fn work(served: &Served) -> String {
    let client = served.client().await;
    let job = open_job(&client, None).await.job;
    submit(&client, readings("ambient-temperature", "degC", &[4.0])).await;
    say(&client, Phase::Cranking).await;
    submit(
        &client,
        readings("positive-cable-drop", "V", &[0.21, 0.24, 0.22]),
    )
    .await;
    say(&client, Phase::Off).await;
    let entered = json!({
        "bay": "bay-1", "point": "pump-inlet-pressure", "value": "3.0 psi", "phase": "cranking", "by": "R.",
    });
    call(served.address, "reading.enter", entered).await;
    let open = json!({"bay": "bay-1", "point": "harness-continuity", "value": "OL", "by": "R."});
    call(served.address, "reading.enter", open).await;
    let seen = json!({"job": job, "check": "fuel-seen", "answer": "seen", "by": "R."});
    call(served.address, "job.answer", seen).await;
    job
}

async fn versions(address: SocketAddr) -> Vec<(String, bool)> {
    let listed = call(address, "ruleset.list", json!({})).await;
    let of_id = listed["rulesets"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|set| set["id"] == ID);
    of_id
        .map(|set| {
            (
                set["version"].as_str().unwrap().to_owned(),
                set["current"] == true,
            )
        })
        .collect()
}

#[tokio::test]
async fn an_installed_rule_set_is_for_new_jobs_and_survives_a_restart() {
    let served = Served::start().await;
    let address = served.address;
    let job = work(&served).await;
    let before = call(address, "job.show", json!({"job": job})).await;
    let installed = call(
        address,
        "ruleset.install",
        json!({"text": laxer(), "by": "R."}),
    )
    .await;
    assert_eq!(installed["version"], "1.3.0");
    assert_eq!(installed["before"], before["ruleset"]["digest"]);
    let both = [("1.2.0".to_owned(), false), ("1.3.0".to_owned(), true)];
    assert_eq!(versions(address).await, both);

    // The job that is open keeps the rule set it was opened with, and goes on.
    let seen = json!({"job": job, "check": "connector-pins", "answer": "good"});
    let verdict = call(address, "job.answer", seen).await;
    assert_eq!(verdict["ruleset"], before["ruleset"]);
    let cranking = |verdict: &Value| {
        let evidence = verdict["evidence"].as_array().unwrap();
        let piece = evidence
            .iter()
            .find(|e| e["check"] == "inlet-pressure-cranking");
        piece.unwrap()["outcome"].clone()
    };
    assert_eq!(cranking(&verdict), "failed");
    call(address, "job.close", json!({"job": job})).await;

    let folder = served.stop().await;
    let served = Served::start_with(folder, Vec::new()).await;
    let address = served.address;
    assert_eq!(versions(address).await, both);
    let client = served.client().await;
    assert_eq!(open_job(&client, None).await.ruleset.version, "1.3.0");
    let shown = call(address, "job.show", json!({"job": job})).await;
    assert_eq!(shown["ruleset"]["version"], "1.2.0");

    // What the old job would have come to by the new rule set.
    let replayed = call(address, "job.replay", json!({"job": job, "ruleset": ID})).await;
    assert_eq!(
        (&replayed["same"], &replayed["left_out"]),
        (&json!(false), &json!([]))
    );
    assert_eq!(replayed["replayed"]["ruleset"]["version"], "1.3.0");
    let differences = replayed["differences"].as_array().unwrap();
    let passed = json!({"what": "outcomes.inlet-pressure-cranking", "expected": "failed", "found": "passed"});
    assert!(differences.contains(&passed), "{differences:?}");
    // By its own, whichever way it is named, it is the same.
    for own in [
        json!({"job": job}),
        json!({"job": job, "ruleset": before["ruleset"]["digest"]}),
    ] {
        let replayed = call(address, "job.replay", own).await;
        assert_eq!(
            (&replayed["same"], &replayed["differences"]),
            (&json!(true), &json!([]))
        );
    }
    served.stop().await;
}

#[tokio::test]
async fn a_rule_set_that_lacks_something_leaves_its_events_out_and_says_so() {
    let served = Served::start().await;
    let job = work(&served).await;
    let other = text("tests/rulesets/car-start.toml");
    call(served.address, "ruleset.install", json!({"text": other})).await;
    let replayed = call(
        served.address,
        "job.replay",
        json!({"job": job, "ruleset": "car-start"}),
    )
    .await;
    let left_out = replayed["left_out"].as_array().unwrap();
    let pressure = json!({"what": "point", "id": "positive-cable-drop", "events": 3});
    assert!(left_out.contains(&pressure), "{left_out:?}");
    assert_eq!(replayed["replayed"]["ruleset"]["id"], "car-start");
    let unknown = answer(
        served.address,
        "job.replay",
        json!({"job": job, "ruleset": "car-strat"}),
    )
    .await;
    assert_eq!(unknown.unwrap_err()["hint"], "did you mean `car-start`?");
    served.stop().await;
}

#[tokio::test]
async fn a_bad_rule_set_is_refused_with_every_defect_and_changes_nothing() {
    let served = Served::start().await;
    let listed = call(served.address, "ruleset.list", json!({})).await;
    let bad = laxer()
        .replacen("share = 80", "share = 0", 1)
        .replacen("isolate_at", "isolate", 1);
    let refused = answer(served.address, "ruleset.install", json!({"text": bad}))
        .await
        .unwrap_err();
    assert_eq!(
        (&refused["kind"], &refused["field"]),
        (&json!("defective-ruleset"), &json!("text"))
    );
    let kinds: Vec<&Value> = refused["defects"]
        .as_array()
        .unwrap()
        .iter()
        .map(|d| &d["kind"])
        .collect();
    assert_eq!(kinds, ["unknown-key", "out-of-range"]);
    assert!(refused["defects"][0]["line"].as_u64() > Some(1));
    assert_eq!(
        call(served.address, "ruleset.list", json!({})).await,
        listed
    );
    let folder = served.stop().await;
    let served = Served::start_with(folder, Vec::new()).await;
    assert_eq!(
        call(served.address, "ruleset.list", json!({})).await,
        listed
    );
    served.stop().await;
}

#[tokio::test]
async fn a_job_exported_and_tried_gives_its_verdict() {
    let served = Served::start().await;
    let address = served.address;
    let job = work(&served).await;
    call(
        address,
        "job.close",
        json!({"job": job, "confirmed": ["lift-pump-weak"]}),
    )
    .await;
    let exported = call(address, "job.export", json!({"job": job})).await;
    assert_eq!(exported["same"], true, "{exported:#}");
    assert!(
        exported["case"]
            .as_str()
            .unwrap()
            .contains("found in the end: lift-pump-weak")
    );

    let folder = tempfile::tempdir().unwrap();
    let server = format!("ws://{address}/rpc");
    let directory = folder.path().to_str().unwrap().to_owned();
    let told = job.clone();
    let written = tokio::task::spawn_blocking(move || {
        let written = trisect(
            &[
                "--server", &server, "job", "export", &told, "-o", &directory,
            ],
            "",
        );
        let case = format!("{directory}/{told}.toml");
        (
            written,
            trisect(&["ruleset", "trial", "--json", ID, &case], ""),
        )
    });
    let (written, tried) = written.await.unwrap();
    assert_eq!((written.code, written.err.as_str()), (0, ""), "{written:?}");
    assert_eq!(tried.code, 0, "{tried:?}");
    let tried: Value = serde_json::from_str(&tried.out).unwrap();
    let shown = call(address, "job.show", json!({"job": job})).await;
    assert_eq!(tried["cases"][0]["verdict"], shown["verdict"]);
    served.stop().await;
}

#[tokio::test]
async fn cases_are_tried_on_the_service_within_bounds() {
    let served = Served::start().await;
    let address = served.address;
    let case = |name: &str| json!({"name": name, "text": text(&format!("tests/cases/{name}"))});
    let stream = text("tests/cases/streamed-cranking.senml.json");
    let mut streamed = case("streamed-cranking.toml");
    let missing = answer(
        address,
        "ruleset.trial",
        json!({"ruleset": ID, "cases": [streamed]}),
    )
    .await;
    let missing = missing.unwrap_err();
    assert_eq!(
        (&missing["kind"], &missing["field"]),
        (&json!("defective-case"), &json!("cases[0].stream"))
    );
    streamed["stream"] = stream.into();
    let cases = json!([case("tank-empty.toml"), streamed]);
    let tried = call(
        address,
        "ruleset.trial",
        json!({"ruleset": ID, "cases": cases, "sensitivity": true}),
    )
    .await;
    assert_eq!(
        (&tried["ok"], tried["cases"].as_array().unwrap().len()),
        (&json!(true), 2)
    );
    assert_eq!(tried["coverage"]["suspects"]["all"], 32);
    let slack = tried["sensitivity"].as_array().unwrap();
    for kind in ["limit", "row", "proof"] {
        assert!(slack.iter().any(|slack| slack["kind"] == kind), "{kind}");
    }
    // A rule set that is only being thought about.
    let weak = json!([case("lift-pump-weak.toml")]);
    let tried = call(
        address,
        "ruleset.trial",
        json!({"text": laxer(), "cases": weak}),
    )
    .await;
    let failed = json!({"what": "outcomes.inlet-pressure-cranking", "expected": "failed", "found": "passed"});
    let differences = tried["cases"][0]["differences"].as_array().unwrap();
    assert!(differences.contains(&failed), "{differences:?}");
    assert_eq!(versions(address).await, [("1.2.0".to_owned(), true)]);

    let many = vec![case("tank-empty.toml"); 201];
    let refusals = [
        (json!({"ruleset": ID, "cases": many}), "too-large"),
        (json!({"ruleset": "none", "cases": []}), "unknown-ruleset"),
        (
            json!({"text": "format = 2", "cases": []}),
            "defective-ruleset",
        ),
        (json!({"cases": []}), "invalid-params"),
        (
            json!({"ruleset": ID, "cases": [{"name": "x", "text": "format = 1"}]}),
            "defective-case",
        ),
    ];
    for (params, kind) in refusals {
        let refused = answer(address, "ruleset.trial", params).await.unwrap_err();
        assert_eq!(refused["kind"], kind, "{refused}");
    }
    served.stop().await;
}

#[tokio::test]
async fn an_examination_tells_what_checks_tell_apart_and_proves_the_gate() {
    let served = Served::start().await;
    let gated = text("tests/rulesets/car-start.toml")
        + "[[proof]]\nside = \"supply\"\nfailed = [\"start\"]\n";
    let examined = call(
        served.address,
        "ruleset.examine",
        json!({"text": gated, "prove": true}),
    )
    .await;
    assert_eq!(
        (&examined["ok"], &examined["testability"]["detected"]),
        (&json!(true), &json!(1.0))
    );
    let proving = &examined["proving"];
    // One check of supply, and the other side, which no proof is for: nothing opens it.
    assert_eq!(
        (&proving["proven"], &proving["combinations"]),
        (&json!(true), &json!(4))
    );
    let plain = call(
        served.address,
        "ruleset.examine",
        json!({"text": "format = 1"}),
    )
    .await;
    assert!(plain["testability"].is_null() && plain.get("proving").is_none());
    served.stop().await;
}

#[tokio::test]
async fn the_schemas_are_served_for_editors() {
    let served = Served::start().await;
    for name in ["ruleset", "case"] {
        let path = format!("/schema/{name}.schema.json");
        let host = format!("host: {}\r\n", served.address);
        let answer = get_with(served.address, &path, &host).await;
        assert_eq!(answer.status, 200, "{answer:?}");
        assert_eq!(
            answer.body,
            text(&format!("service/rules/schema/{name}.schema.json"))
        );
        assert!(
            answer
                .head
                .to_lowercase()
                .contains("application/schema+json"),
            "{}",
            answer.head
        );
    }
    served.stop().await;
}

/// Readings alone would never be evidence by it, and a bay has no way to start a run.
#[tokio::test(flavor = "multi_thread")]
async fn a_rule_set_whose_tests_are_runs_is_tried_and_not_installed() {
    let served = Served::start().await;
    let runs = text("tests/rulesets/distributor-pump-12v-2.toml");
    let examined = call(served.address, "ruleset.examine", json!({"text": runs})).await;
    assert_eq!(examined["ok"], true);
    let name = "tank-empty.toml";
    let case = json!({"name": name, "text": text(&format!("tests/runs/{name}"))});
    let trial = json!({"text": runs, "cases": [case]});
    let tried = call(served.address, "ruleset.trial", trial).await;
    assert_eq!(tried["ok"], true, "{tried}");
    let refused = answer(served.address, "ruleset.install", json!({"text": runs})).await;
    assert_eq!(refused.unwrap_err()["kind"], "defective-ruleset");
    let folder = served.stop().await;
    let mut settings = trisectd::config::Settings {
        journal: folder.path().join("journal.db"),
        ..Default::default()
    };
    let file = trisect_tests::repository::root().join("tests/rulesets/distributor-pump-12v-2.toml");
    settings.rulesets.push(file);
    let started = trisectd::Service::start(settings).await;
    assert!(started.err().unwrap().to_string().contains("runs"));
}
