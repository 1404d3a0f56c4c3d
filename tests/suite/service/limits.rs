//! What can be put into the service can be got out of it: texts have limits, lists have pages, and what cannot be
//! read is left out.

use std::collections::BTreeSet;

use rusqlite::Connection;
use serde_json::{Value, json};
use tempfile::TempDir;
use trisect_tests::raw::post;
use trisect_tests::service::{BAY, Served, open_job, readings, submit};
use trisect_wire::table::JobShow;
use trisect_wire::types::JobShowParams;

/// Bytes of a reply in these tests: a few items of the longest texts there are.
const REPLY: usize = 40_000;

async fn served() -> Served {
    let folder = tempfile::tempdir().unwrap();
    Served::start_set(folder, |settings| settings.limits.reply_bytes = REPLY).await
}

async fn call_any(served: &Served, method: &str, params: &Value) -> Value {
    let request = json!({"jsonrpc": "2.0", "id": 1, "method": method, "params": params});
    post(served.address, &request.to_string()).await.json()
}

/// A call whose reply keeps to the limit of [`served`].
async fn call(served: &Served, method: &str, params: &Value) -> Value {
    let request = json!({"jsonrpc": "2.0", "id": 1, "method": method, "params": params});
    let answer = post(served.address, &request.to_string()).await;
    assert!(
        answer.body.len() <= REPLY,
        "{method}: {}",
        answer.body.len()
    );
    answer.json()
}

/// As many characters as a name may have, of those that JSON needs most bytes for.
fn longest() -> String {
    "\u{1}".repeat(200)
}

/// Every text that a schema asks for, by its path; fails for one without a limit.
fn texts(document: &Value, schema: &Value, path: &str, found: &mut Vec<(String, u64)>) {
    if let Some(reference) = schema["$ref"].as_str() {
        let schema = document.pointer(reference.trim_start_matches('#')).unwrap();
        return texts(document, schema, path, found);
    }
    let is = |kind: &str| match &schema["type"] {
        Value::Array(kinds) => kinds.iter().any(|one| one == kind),
        one => one == kind,
    };
    let is_word = schema.get("enum").is_some() || schema.get("const").is_some();
    if is("string") && !is_word {
        let most = schema["maxLength"].as_u64();
        found.push((
            path.to_owned(),
            most.unwrap_or_else(|| panic!("{path} has no limit")),
        ));
    }
    for of in ["anyOf", "oneOf", "allOf"] {
        for part in schema[of].as_array().into_iter().flatten() {
            texts(document, part, path, found);
        }
    }
    for (name, member) in schema["properties"].as_object().into_iter().flatten() {
        texts(document, member, &format!("{path}.{name}"), found);
    }
    if let Some(items) = schema.get("items") {
        texts(document, items, &format!("{path}[0]"), found);
    }
}

/// Parameters with a text at a path such as `readings[0].unit`.
fn with(path: &str, text: &str) -> Value {
    let (first, rest) = match path.find(['.', '[']) {
        Some(at) => (&path[..at], &path[at..]),
        None => (path, ""),
    };
    let inner = match (rest.strip_prefix("[0]"), rest.strip_prefix('.')) {
        (Some(""), _) => json!([text]),
        (Some(rest), _) => json!([with(rest.trim_start_matches('.'), text)]),
        (None, Some(rest)) => with(rest, text),
        (None, None) => json!(text),
    };
    json!({ first: inner })
}

#[tokio::test]
async fn every_text_of_every_method_has_a_limit_and_is_held_to_it() {
    let served = Served::start().await;
    let discover = json!({"jsonrpc": "2.0", "id": 1, "method": "rpc.discover"}).to_string();
    let document = post(served.address, &discover).await.json()["result"].clone();
    let mut tried = 0;
    for method in document["methods"].as_array().unwrap() {
        let name = method["name"].as_str().unwrap();
        // What ends a subscription is jsonrpsee's own, and takes its number.
        if method["paramStructure"] == "by-position" {
            continue;
        }
        for param in method["params"].as_array().unwrap() {
            let mut found = Vec::new();
            let path = param["name"].as_str().unwrap();
            texts(&document, &param["schema"], path, &mut found);
            for (path, most) in found {
                let text = "\u{e9}".repeat(usize::try_from(most).unwrap() + 1);
                let params = with(&path, &text);
                let request = json!({"jsonrpc": "2.0", "id": 1, "method": name, "params": params});
                let subscribed = method.get("x-subscription").is_some();
                // A subscription is refused for being asked over HTTP; it is parsed by the same function.
                if subscribed {
                    continue;
                }
                let answer = post(served.address, &request.to_string()).await;
                assert_eq!(
                    answer.kind().as_deref(),
                    Some("too-large"),
                    "{name} {path}: {most}"
                );
                assert!(answer.body.len() < 1000, "{name} {path}");
                tried += 1;
                // What is longer than a whole request is refused before anything is read.
                if answer.status == 200 {
                    let data = &answer.json()["error"]["data"];
                    assert_eq!(data["field"], path.as_str(), "{name}");
                    assert!(data["hint"].is_string(), "{name} {path}");
                }
            }
        }
    }
    assert!(tried > 50, "only {tried} texts");
}

/// What once made `job.show` fail for good.
#[tokio::test]
async fn a_by_of_megabytes_is_refused_and_spoils_nothing() {
    let served = Served::start().await;
    let client = served.client().await;
    let job = open_job(&client, None).await.job;
    let by = "x".repeat(3_900_000);
    let answer = json!({"job": job, "check": "fuel-seen", "answer": "seen", "by": by});
    let request = json!({"jsonrpc": "2.0", "id": 1, "method": "job.answer", "params": answer});
    let refused = post(served.address, &request.to_string()).await;
    let data = &refused.json()["error"]["data"];
    assert_eq!(
        (&data["kind"], &data["field"]),
        (&json!("too-large"), &json!("by"))
    );
    let shown = client
        .call::<JobShow>(&JobShowParams::of(job))
        .await
        .unwrap();
    assert_eq!(shown.answers, []);
}

/// Asks for page after page, until there are no more; the items by a member that tells them apart.
async fn all(
    served: &Served,
    method: &str,
    params: &Value,
    (list, item): (&str, &str),
    next: impl Fn(&Value) -> (&'static str, Value),
) -> (Vec<Value>, usize) {
    let (mut found, mut pages, mut params) = (Vec::new(), 0, params.clone());
    loop {
        let answer = call(served, method, &params).await;
        let page = &answer["result"];
        let items = page[list].as_array().unwrap_or_else(|| panic!("{answer}"));
        found.extend(items.iter().map(|one| one[item].clone()));
        pages += 1;
        if page["more"] != true {
            break;
        }
        assert!(!items.is_empty(), "{method}: a page without an item");
        let (cursor, value) = next(page);
        params[cursor] = value;
    }
    let different: BTreeSet<String> = found.iter().map(Value::to_string).collect();
    assert_eq!(different.len(), found.len(), "{method}: an item twice");
    (found, pages)
}

fn last(page: &Value, list: &str, item: &str) -> Value {
    page[list].as_array().unwrap().last().unwrap()[item].clone()
}

#[tokio::test]
async fn no_list_is_longer_than_a_reply() {
    let served = served().await;
    let mut job = Value::Null;
    for _ in 0..40 {
        let opened = json!({"bay": BAY, "machine": longest(), "by": longest()});
        job = call(&served, "job.open", &opened).await["result"]["job"].clone();
        let note = "\u{1}".repeat(1000);
        let closed = json!({"job": job, "note": note});
        assert!(call(&served, "job.close", &closed).await["result"].is_object());
    }
    let (jobs, pages) = all(
        &served,
        "job.list",
        &json!({"limit": 30}),
        ("jobs", "job"),
        |page| ("before", page["next"].clone()),
    )
    .await;
    assert_eq!((jobs.len(), &jobs[0]), (40, &job));
    assert!(pages > 3, "{pages}");
    // Cut by number as well as by bytes.
    let (jobs, pages) = all(
        &served,
        "job.list",
        &json!({"limit": 1}),
        ("jobs", "job"),
        |page| ("before", page["next"].clone()),
    )
    .await;
    assert_eq!((jobs.len(), pages), (40, 40));

    let opened = json!({"bay": BAY, "machine": "Unit 14"});
    let job = call(&served, "job.open", &opened).await["result"]["job"].clone();
    for answer in ["seen", "not-seen"].repeat(20) {
        let params = json!({"job": job, "check": "fuel-seen", "answer": answer, "by": longest()});
        assert!(call(&served, "job.answer", &params).await["result"].is_object());
    }
    let (answers, pages) = all(
        &served,
        "job.show",
        &json!({"job": job}),
        ("answers", "seq"),
        |page| ("after_seq", last(page, "answers", "seq")),
    )
    .await;
    assert_eq!(answers.len(), 40);
    assert!(pages > 1, "{pages}");
    assert!(answers.is_sorted_by_key(|seq| seq.as_u64()), "{answers:?}");
    let (answers, pages) = all(
        &served,
        "job.show",
        &json!({"job": job, "limit": 8}),
        ("answers", "seq"),
        |page| ("after_seq", last(page, "answers", "seq")),
    )
    .await;
    assert_eq!((answers.len(), pages), (40, 5));

    let client = served.client().await;
    submit(&client, readings("battery", "V", &[12.5; 400])).await;
    let (readings, pages) = all(
        &served,
        "reading.history",
        &json!({"job": job}),
        ("readings", "seq"),
        |page| ("after_seq", page["last_seq"].clone()),
    )
    .await;
    assert_eq!(readings.len(), 400);
    assert!(pages > 1, "{pages}");

    let (entries, pages) = all(
        &served,
        "audit.list",
        &json!({"limit": 1000}),
        ("entries", "seq"),
        |page| ("before", last(page, "entries", "seq")),
    )
    .await;
    assert!(entries.len() > 100, "{}", entries.len());
    assert!(pages > 1, "{pages}");
    for (method, params) in [
        ("job.list", json!({"limit": 0})),
        ("job.list", json!({"limit": 1001})),
        ("job.show", json!({"job": job, "limit": 1001})),
        ("probe.list", json!({"job": job, "limit": 10_001})),
        ("delivery.list", json!({"limit": 10_001})),
    ] {
        let refused = call(&served, method, &params).await;
        let data = &refused["error"]["data"];
        assert_eq!(data["kind"], "too-large", "{method}");
        assert_eq!(data["field"], "limit", "{method}");
    }
}

/// Stops a service, alters its file, starts another one on it.
async fn altered(served: Served, sql: &str) -> Served {
    let folder: TempDir = served.stop().await;
    let file = Connection::open(folder.path().join("journal.db")).unwrap();
    file.pragma_update(None, "foreign_keys", false).unwrap();
    file.pragma_update(None, "ignore_check_constraints", true)
        .unwrap();
    file.execute_batch(sql).unwrap();
    drop(file);
    Served::start_with(folder, Vec::new()).await
}

#[tokio::test]
async fn rows_that_cannot_be_read_spoil_neither_their_list_nor_the_start() {
    let served = Served::start().await;
    let client = served.client().await;
    let mut jobs = Vec::new();
    for _ in 0..3 {
        let job = open_job(&client, None).await.job;
        submit(&client, readings("battery", "V", &[12.5, 12.6, 12.7])).await;
        let close = json!({"job": job});
        assert!(call(&served, "job.close", &close).await["result"].is_object());
        jobs.push(job);
    }
    let open = open_job(&client, None).await.job;
    submit(&client, readings("battery", "V", &[12.5, 12.6, 12.7])).await;
    let sql = format!(
        "UPDATE job SET machine = CAST(x'FF' AS TEXT) WHERE id = '{}';
         UPDATE event SET kind = 77 WHERE seq = (SELECT min(seq) FROM event WHERE kind = 0);
         UPDATE event SET value = 'much' WHERE seq = (SELECT max(seq) FROM event WHERE kind = 0);
         UPDATE audit SET who = CAST(x'FF' AS TEXT) WHERE seq = (SELECT min(seq) FROM audit);",
        jobs[1]
    );
    drop(client);
    let served = altered(served, &sql).await;
    let listed = call(&served, "job.list", &json!({})).await;
    let ids: Vec<&str> = listed["result"]["jobs"]
        .as_array()
        .unwrap()
        .iter()
        .map(|job| job["job"].as_str().unwrap())
        .collect();
    assert_eq!(ids, [open.as_str(), &jobs[2], &jobs[0]]);
    for (job, left) in [(&jobs[0], 2), (&jobs[2], 3), (&open, 2)] {
        let history = call(&served, "reading.history", &json!({"job": job})).await;
        let found = history["result"]["readings"].as_array().unwrap();
        assert_eq!(found.len(), left, "{job}");
        let shown = call(&served, "job.show", &json!({"job": job})).await;
        assert_eq!(shown["result"]["readings"], left, "{shown}");
    }
    let client = served.client().await;
    let trail = call(&served, "audit.list", &json!({})).await;
    let entries = trail["result"]["entries"].as_array().unwrap();
    assert!(!entries.is_empty(), "{trail}");
    // The job that was open goes on.
    assert_eq!(submit(&client, readings("battery", "V", &[12.5])).await, 1);
}

/// A job whose rule set cannot be used is named beside the others; one that is open does not hold up the start.
#[tokio::test]
async fn a_spoilt_rule_set_takes_no_other_job_with_it() {
    let served = Served::start().await;
    let client = served.client().await;
    let open = open_job(&client, None).await.job;
    drop(client);
    let sql = format!(
        "INSERT INTO rule_set (digest, id, version, text) VALUES ('sha256:spoilt', 'spoilt', '1.0.0', 'none');
         UPDATE job SET rule_set = 'sha256:spoilt' WHERE id = '{open}';"
    );
    let served = altered(served, &sql).await;
    let listed = call(&served, "job.list", &json!({})).await;
    assert_eq!(listed["result"]["jobs"], json!([]));
    assert_eq!(listed["result"]["unreadable"], json!([open]));
    let bays = call(&served, "bay.list", &json!({})).await;
    assert_eq!(bays["result"]["bays"][0]["bay"], BAY);
}

/// What could not be listed or shown afterwards is not installed.
#[tokio::test]
async fn a_rule_set_that_could_not_be_shown_is_not_installed() {
    let shipped = include_str!("../../../service/rules/rulesets/distributor-pump-12v.toml");
    let titled = shipped.find("\ntitle = \"").unwrap() + "\ntitle = \"".len();
    let mut long = shipped.to_owned();
    long.insert_str(titled, &"x".repeat(200));
    let usual = Served::start().await;
    // Where the whole of it is longer than a reply may be.
    let small = served().await;
    for (served, text, fits) in [
        (&usual, long.as_str(), false),
        (&small, shipped, false),
        (&usual, shipped, true),
    ] {
        let answer = call_any(served, "ruleset.install", &json!({"text": text})).await;
        assert_eq!(answer["result"].is_object(), fits, "{answer}");
        if !fits {
            let data = &answer["error"]["data"];
            assert_eq!(data["kind"], "too-large");
            assert_eq!(data["field"], "text");
        }
    }
}
