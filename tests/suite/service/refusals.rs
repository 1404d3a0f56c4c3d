//! Bad input: every refusal names its kind, the field at fault and the way out, and changes nothing.

use serde_json::{Value, json};
use trisect_tests::raw::post;
use trisect_tests::service::{BAY, Served, open_job};
use trisect_wire::table::ReadingHistory;
use trisect_wire::types::ReadingHistoryParams;

/// What one wrong request is answered with.
struct Refusal {
    method: &'static str,
    params: Value,
    kind: &'static str,
    field: &'static str,
    /// In the hint.
    way_out: &'static str,
}

fn refusal(
    method: &'static str,
    params: Value,
    kind: &'static str,
    field: &'static str,
    way_out: &'static str,
) -> Refusal {
    Refusal {
        method,
        params,
        kind,
        field,
        way_out,
    }
}

fn reading(point: &str, value: f64, unit: &str) -> Value {
    json!({"bay": BAY, "readings": [
        {"point": "battery", "value": 12.4, "unit": "V"},
        {"point": point, "value": value, "unit": unit},
    ]})
}

fn entry(point: &str, value: &str) -> Value {
    json!({"bay": BAY, "point": point, "value": value, "by": "R."})
}

fn wrong_requests(job: &str) -> Vec<Refusal> {
    let answer = |check: &str, answer: &str| json!({"job": job, "check": check, "answer": answer});
    vec![
        refusal(
            "reading.submit",
            reading("battery", 12.4, "volt-ish"),
            "unknown-unit",
            "readings[1].unit",
            "V",
        ),
        refusal(
            "reading.submit",
            reading("battery", 12.4, "psi"),
            "wrong-quantity",
            "readings[1].unit",
            "V",
        ),
        refusal(
            "reading.submit",
            reading("battery", 240.0, "V"),
            "implausible-value",
            "readings[1].value",
            "18",
        ),
        refusal(
            "reading.submit",
            reading("batery", 12.4, "V"),
            "unknown-point",
            "readings[1].point",
            "battery",
        ),
        refusal(
            "reading.submit",
            json!({"bay": "bay-9", "readings": []}),
            "unknown-bay",
            "bay",
            BAY,
        ),
        refusal(
            "reading.submit",
            json!({"bay": BAY}),
            "invalid-params",
            "readings",
            "senml",
        ),
        refusal(
            "reading.submit",
            json!({"bay": BAY, "readings": [{"point": "battery", "value": 12.4, "unit": "V", "time": "yesterday"}]}),
            "invalid-time",
            "readings[0].time",
            "RFC 3339",
        ),
        refusal(
            "reading.enter",
            entry("battery", "12.4 psi"),
            "wrong-quantity",
            "value",
            "unit",
        ),
        refusal(
            "reading.enter",
            entry("battery", "12.4 bananas"),
            "unknown-unit",
            "value",
            "psi",
        ),
        refusal(
            "reading.enter",
            entry("battery", "twelve V"),
            "invalid-value",
            "value",
            "12.4 psi",
        ),
        refusal(
            "reading.enter",
            entry("battery", "240 V"),
            "implausible-value",
            "value",
            "18",
        ),
        refusal(
            "reading.enter",
            entry("filter-drop", "3 psi"),
            "unknown-point",
            "point",
            "filter-inlet-pressure",
        ),
        refusal(
            "reading.enter",
            entry("pump-inlet", "3 psi"),
            "unknown-point",
            "point",
            "pump-inlet-pressure",
        ),
        refusal(
            "job.answer",
            answer("fuel-sen", "seen"),
            "unknown-check",
            "check",
            "fuel-seen",
        ),
        refusal(
            "job.answer",
            answer("battery-rest", "passed"),
            "unknown-check",
            "check",
            "",
        ),
        refusal(
            "job.answer",
            answer("fuel-seen", "sen"),
            "unknown-answer",
            "answer",
            "seen",
        ),
        refusal(
            "job.show",
            json!({"job": "no-such-job"}),
            "unknown-job",
            "job",
            "",
        ),
        refusal(
            "job.open",
            json!({"bay": BAY, "machine": "Unit 9"}),
            "bay-busy",
            "bay",
            "",
        ),
        refusal(
            "job.close",
            json!({"job": job, "confirmed": ["lift-pump-week"]}),
            "unknown-suspect",
            "confirmed[0]",
            "lift-pump-weak",
        ),
        refusal(
            "phase.say",
            json!({"bay": BAY, "phase": "crankin"}),
            "invalid-params",
            "phase",
            "cranking",
        ),
        refusal(
            "phase.say",
            json!({"bay": BAY, "phse": "cranking"}),
            "invalid-params",
            "phse",
            "phase",
        ),
        refusal(
            "ruleset.show",
            json!({"ruleset": "distributor-pump"}),
            "unknown-ruleset",
            "ruleset",
            "distributor-pump-12v",
        ),
        refusal(
            "instrument.attach",
            json!({"bay": BAY, "instrument": "m", "adapter": "multimetr", "settings": {}}),
            "unknown-adapter",
            "adapter",
            "multimeter",
        ),
        refusal(
            "instrument.attach",
            json!({"bay": BAY, "instrument": "m", "adapter": "multimeter", "settings": {"protocol": "fs9999", "port": "x"}}),
            "invalid-settings",
            "settings.protocol",
            "",
        ),
        refusal(
            "instrument.detach",
            json!({"bay": BAY, "instrument": "m"}),
            "unknown-instrument",
            "instrument",
            "",
        ),
    ]
}

#[tokio::test]
async fn every_wrong_request_is_told_what_where_and_the_way_out() {
    let served = Served::start().await;
    let client = served.client().await;
    let job = open_job(&client, None).await;
    let mut breaches = Vec::new();
    for wrong in wrong_requests(&job.job) {
        let call =
            json!({"jsonrpc": "2.0", "id": 1, "method": wrong.method, "params": wrong.params});
        let answer = post(served.address, &call.to_string()).await.json();
        let data = &answer["error"]["data"];
        let hint = data["hint"].as_str().unwrap_or_default();
        let told = data["message"]
            .as_str()
            .is_some_and(|message| !message.is_empty());
        let right = (data["kind"] == wrong.kind)
            && (data["field"] == wrong.field)
            && hint.contains(wrong.way_out);
        if !(told && right && (wrong.way_out.is_empty() || !hint.is_empty())) {
            breaches.push(format!(
                "{} {}\n    is not {} at {} with {:?}: {answer}",
                wrong.method, wrong.params, wrong.kind, wrong.field, wrong.way_out
            ));
        }
    }
    assert!(breaches.is_empty(), "{}", breaches.join("\n"));
    // All or none: the right reading beside each wrong one was not stored either.
    let all = ReadingHistoryParams {
        job: Some(job.job),
        ..ReadingHistoryParams::default()
    };
    assert_eq!(
        client.call::<ReadingHistory>(&all).await.unwrap().readings,
        []
    );
    served.stop().await;
}

#[tokio::test]
async fn without_an_open_job_nothing_is_measured() {
    let served = Served::start().await;
    for (method, params) in [
        ("reading.submit", reading("battery", 12.5, "V")),
        ("reading.enter", entry("battery", "12.5 V")),
        ("phase.say", json!({"bay": BAY, "phase": "cranking"})),
    ] {
        let call = json!({"jsonrpc": "2.0", "id": 1, "method": method, "params": params});
        let answer = post(served.address, &call.to_string()).await;
        assert_eq!(
            answer.kind().as_deref(),
            Some("no-open-job"),
            "{method}: {answer:?}"
        );
    }
    served.stop().await;
}

/// Ten defects of ten kinds; each is reported, all in one go, with its place and the way to mend it.
const TEN_DEFECTS: &str = r#"
format = 1
id = "ten-defects"
version = "1"
title = "Ten defects"
isolate_at = 1.5

[[test_point]]
id = "battery"
title = "Battery"
quantity = "voltage"
unit = "psi"

[[test_point]]
id = "battery"
title = "Battery again"
quantity = "voltage"
unit = "V"

[[suspect]]
id = "Lift Pump"
side = "supply"
title = "Lift pump"
share = 1

[[suspect]]
id = "harness"
side = "controler"
title = "Harness"
share = -1

[[check]]
id = "rest"
title = "Battery at rest"
point = "batery"
phase = ["of"]
take = "last"
limit = { at_leest = "12.4 V" }
risk = 0.05
minutes = 2
colour = "red"
[check.fails]
otherwise = 0.01
harness = 1.2
"#;

#[tokio::test]
async fn a_rule_set_with_ten_defects_reports_ten() {
    let served = Served::start().await;
    let call = json!({"jsonrpc": "2.0", "id": 1, "method": "ruleset.examine", "params": {"text": TEN_DEFECTS}});
    let answer = post(served.address, &call.to_string()).await.json();
    let examined = &answer["result"];
    let defects = examined["defects"]
        .as_array()
        .unwrap_or_else(|| panic!("{answer}"));
    let at = |line: &str| {
        1 + TEN_DEFECTS
            .lines()
            .position(|found| found.starts_with(line))
            .unwrap()
    };
    let expected = [
        at("isolate_at"),
        at("unit = \"psi\""),
        at("id = \"Lift Pump\""),
        at("side = \"controler\""),
        at("share = -1"),
        at("point = \"batery\""),
        at("phase"),
        at("limit"),
        at("colour"),
        at("harness = 1.2"),
    ];
    let errors: Vec<&Value> = defects
        .iter()
        .filter(|defect| defect["severity"] == "error")
        .collect();
    for line in expected {
        let there = errors.iter().any(|defect| defect["line"] == line);
        assert!(there, "line {line} is not among {defects:#?}");
    }
    // The id that is there twice is the eleventh.
    assert!(errors.len() >= 11 && examined["ok"] == false, "{errors:#?}");
    for defect in defects {
        let text = |key: &str| defect[key].as_str().is_some_and(|text| !text.is_empty());
        assert!(text("message") && text("hint") && text("kind"), "{defect}");
        assert!(
            defect["line"].as_u64() > Some(0) && defect["column"].as_u64() > Some(0),
            "{defect}"
        );
    }
    served.stop().await;
}
