//! Servers: slow, broken, busy, moved, hanging, repeating themselves.

use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;

use serde_json::{Value, json};
use trisect_kit::State;
use wiremock::matchers::{header, method, path};
use wiremock::{Mock, MockServer, Request, Respond, ResponseTemplate};

use super::{Ran, adapter, settings};
use crate::HttpSettings;

fn pressure(kilopascals: f64) -> ResponseTemplate {
    ResponseTemplate::new(200).set_body_json(json!({"inlet": kilopascals}))
}

async fn serving(response: impl Respond + 'static) -> MockServer {
    let server = MockServer::start().await;
    Mock::given(method("GET"))
        .respond_with(response)
        .mount(&server)
        .await;
    server
}

/// What a server that answers thus has the adapter say.
async fn check(response: ResponseTemplate, words: &str) {
    let server = serving(response).await;
    let mut ran = Ran::start(settings(&server.uri()));
    ran.says(words).await;
    ran.until("silent", |v| v.state == State::Silent && v.frames_bad > 0)
        .await;
    // It is well again: so is the adapter, by itself.
    server.reset().await;
    Mock::given(method("GET"))
        .respond_with(pressure(3.0))
        .mount(&server)
        .await;
    ran.until("live", |v| v.state == State::Live && v.frames_good > 2)
        .await;
    ran.stop().await;
}

#[tokio::test]
async fn readings_come_as_they_are_answered() {
    let count = AtomicU64::new(0);
    let server =
        serving(move |_: &Request| pressure(count.fetch_add(1, Ordering::Relaxed) as f64)).await;
    let mut ran = Ran::start(settings(&server.uri()));
    let values = ran.until("samples", |v| v.frames_good >= 20).await;
    let expected: Vec<f64> = (0..values.len()).map(|n| n as f64).collect();
    assert_eq!(values, expected);
    assert_eq!(ran.health.vitals().frames_bad, 0);
    ran.stop().await;
}

#[tokio::test]
async fn every_failure_is_said_and_gone_through() {
    check(ResponseTemplate::new(500), "answered 500").await;
    check(ResponseTemplate::new(429), "asked too often (429)").await;
    check(
        ResponseTemplate::new(302).insert_header("location", "https://elsewhere.example/v"),
        "redirects to another address (302)",
    )
    .await;
    check(ResponseTemplate::new(401), "refuses the credentials").await;
    check(ResponseTemplate::new(404), "is the path right?").await;
    check(
        pressure(1.0).set_delay(Duration::from_secs(5)),
        "did not answer within 300 ms",
    )
    .await;
    check(
        ResponseTemplate::new(200).set_body_string("1.2 kPa"),
        "what is no JSON",
    )
    .await;
    check(
        ResponseTemplate::new(200).set_body_json(json!({"inlet": null})),
        "is no number",
    )
    .await;
    check(
        ResponseTemplate::new(200).set_body_bytes(vec![b' '; 2 << 20]),
        "more than 1048576 bytes",
    )
    .await;
}

#[tokio::test]
async fn a_server_that_is_slow_but_in_time_is_sound() {
    let server = serving(pressure(2.0).set_delay(Duration::from_millis(50))).await;
    let mut ran = Ran::start(settings(&server.uri()));
    ran.until("samples", |v| v.frames_good >= 5).await;
    assert_eq!(ran.health.vitals().frames_bad, 0);
    ran.stop().await;
}

#[tokio::test]
async fn it_waits_as_long_as_it_is_asked_to() {
    let server = MockServer::start().await;
    let busy = ResponseTemplate::new(503).insert_header("retry-after", "1");
    Mock::given(method("GET"))
        .respond_with(busy)
        .up_to_n_times(1)
        .with_priority(1)
        .mount(&server)
        .await;
    Mock::given(method("GET"))
        .respond_with(pressure(1.0))
        .mount(&server)
        .await;
    let began = std::time::Instant::now();
    let mut ran = Ran::start(settings(&server.uri()));
    ran.until("a sample", |v| v.frames_good >= 1).await;
    assert!(
        began.elapsed() >= Duration::from_secs(1),
        "{:?}",
        began.elapsed()
    );
    ran.stop().await;
}

#[tokio::test]
async fn one_that_hangs_does_not_hold_up_the_stop() {
    let server = serving(pressure(1.0).set_delay(Duration::from_secs(60))).await;
    let mut slow = settings(&server.uri());
    slow["timeout"] = json!(60);
    let ran = Ran::start(slow);
    let asked = async {
        let mut look = tokio::time::interval(Duration::from_millis(2));
        while server.received_requests().await.unwrap().is_empty() {
            look.tick().await;
        }
    };
    tokio::time::timeout(super::LONGEST, asked).await.unwrap();
    let began = std::time::Instant::now();
    ran.stop().await;
    assert!(began.elapsed() < Duration::from_secs(1));
}

/// Answers the same reading three times before the next one, as `time` says.
fn repeating(request: &Request, count: &AtomicU64) -> ResponseTemplate {
    let turn = count.fetch_add(1, Ordering::Relaxed) / 3;
    let tag = format!("\"{turn}\"");
    if request
        .headers
        .get("if-none-match")
        .is_some_and(|known| *known == *tag)
    {
        return ResponseTemplate::new(304);
    }
    let body = json!({"inlet": turn, "time": format!("2026-11-25T10:00:{turn:02}Z")});
    ResponseTemplate::new(200)
        .insert_header("etag", &*tag)
        .set_body_json(body)
}

#[tokio::test]
async fn a_reading_that_says_its_time_comes_once() {
    let count = AtomicU64::new(0);
    let server = serving(move |request: &Request| repeating(request, &count)).await;
    let mut timed = settings(&server.uri());
    timed["readings"][0]["time_at"] = json!("/time");
    let mut ran = Ran::start(timed);
    let values = ran.until("samples", |v| v.frames_good >= 10).await;
    let expected: Vec<f64> = (0..values.len()).map(|n| n as f64).collect();
    assert_eq!(values, expected);
    ran.stop().await;
}

#[tokio::test]
async fn what_was_not_modified_is_read_again_without_its_body() {
    let count = AtomicU64::new(0);
    let server = serving(move |request: &Request| repeating(request, &count)).await;
    let mut ran = Ran::start(settings(&server.uri()));
    let values = ran.until("samples", |v| v.frames_good >= 9).await;
    let expected: Vec<f64> = (0..values.len()).map(|n| (n / 3) as f64).collect();
    assert_eq!(values, expected);
    let asked = server.received_requests().await.unwrap();
    let conditional = asked
        .iter()
        .filter(|r| r.headers.contains_key("if-none-match"))
        .count();
    assert!(
        conditional + 1 >= asked.len(),
        "{conditional} of {}",
        asked.len()
    );
    ran.stop().await;
}

#[tokio::test]
async fn a_time_that_stands_still_is_silence() {
    let server =
        serving(ResponseTemplate::new(200).set_body_json(json!({"inlet": 1, "time": 7}))).await;
    let mut timed = settings(&server.uri());
    timed["readings"][0]["time_at"] = json!("/time");
    let mut ran = Ran::start(timed);
    ran.says("the time of its readings stands still").await;
    assert_eq!(ran.health.vitals().frames_good, 1);
    ran.stop().await;
}

#[tokio::test]
async fn credentials_come_from_files_and_are_read_anew() {
    let folder = tempfile::tempdir().unwrap();
    let secret = folder.path().join("secret");
    std::fs::write(&secret, "open sesame\n").unwrap();
    let server = MockServer::start().await;
    Mock::given(path("/bearer"))
        .and(header("authorization", "Bearer open sesame"))
        .respond_with(pressure(1.0))
        .mount(&server)
        .await;
    // RFC 7617, section 2, has this pair.
    Mock::given(path("/basic"))
        .and(header(
            "authorization",
            "Basic QWxhZGRpbjpvcGVuIHNlc2FtZQ==",
        ))
        .respond_with(pressure(1.0))
        .mount(&server)
        .await;
    for (path, credentials) in [
        ("bearer", json!({"bearer_file": secret})),
        (
            "basic",
            json!({"basic": {"user": "Aladdin", "password_file": secret}}),
        ),
    ] {
        let mut given = settings(&format!("{}/{path}", server.uri()));
        given["credentials"] = credentials;
        std::fs::write(&secret, "wrong").unwrap();
        let mut ran = Ran::start(given);
        ran.says("is the path right?").await;
        std::fs::write(&secret, "open sesame\n").unwrap();
        ran.until("samples", |v| v.frames_good >= 2).await;
        std::fs::remove_file(&secret).unwrap();
        ran.says("cannot read the credentials in").await;
        ran.stop().await;
    }
}

fn refused(change: impl Fn(&mut Value), field: &str, why: &str) {
    let mut given = settings("http://gauge.example/");
    change(&mut given);
    let read: HttpSettings = serde_json::from_value(given).unwrap();
    let error = read.adapter().unwrap_err();
    assert!(error.field == field && error.why.contains(why), "{error}");
}

#[test]
fn settings_that_cannot_be_used_are_refused_with_the_field() {
    assert_eq!(
        trisect_kit::Adapter::describe(&adapter(settings("http://gauge.example/"))).channels[0]
            .title,
        "/inlet"
    );
    refused(|s| s["url"] = json!("gauge"), "url", "neither https");
    refused(|s| s["every"] = json!(0), "every", "at least 0.01");
    refused(|s| s["timeout"] = json!(1e300), "timeout", "at most 86400");
    refused(|s| s["readings"] = json!([]), "readings", "there is none");
    refused(
        |s| s["readings"][0]["value"] = json!("inlet"),
        "readings",
        "no JSON Pointer",
    );
    refused(
        |s| s["readings"][0]["unit"] = json!("V"),
        "readings",
        "no unit of pressure",
    );
    refused(
        |s| s["readings"][0]["unit_at"] = json!("/u"),
        "readings",
        "either `unit` or",
    );
    refused(
        |s| s["ca_file"] = json!("/no/such/file"),
        "ca_file",
        "cannot read the certificates",
    );
    refused(
        |s| {
            let one = s["readings"][0].clone();
            s["readings"] = json!([one.clone(), {"channel": 0, "function": "pressure", "value": "/x", "unit": "psi"}]);
        },
        "readings",
        "channel 0 is there twice",
    );
}
