//! Ids and parameters the examples of the specification do not show.

use serde_json::{Value, json};

use super::Running;
use super::client::{WebSocket, post};
use crate::TransportSettings;

/// What is sent as `id`, over HTTP and WebSocket, comes back as it was written.
async fn check(id: &str) {
    let running = Running::start(Default::default()).await;
    let request = format!(r#"{{"jsonrpc":"2.0","method":"get_data","id":{id}}}"#);
    let expected = format!("\"id\":{id},");
    let answer = post(running.address, &request).await;
    assert!(answer.body.contains(&expected), "{answer:?}");
    assert_eq!(answer.json()["result"], json!(["hello", 5]));
    let mut socket = WebSocket::open(running.address).await;
    socket.send(&request).await;
    let written: Value = serde_json::from_str(id).unwrap();
    assert_eq!(socket.receive().await["id"], written);
    let unknown = request.replace("get_data", "get_date");
    let answer = post(running.address, &unknown).await;
    assert_eq!(answer.kind(), "unknown-method");
    assert!(answer.body.contains(&format!("\"id\":{id},")), "{answer:?}");
}

#[tokio::test]
async fn fractions_negatives_and_great_numbers_are_answered_as_written() {
    for id in [
        "1.5",
        "-1",
        "1e3",
        "18446744073709551616",
        "0",
        "null",
        "\"ü\"",
        "\"\"",
    ] {
        check(id).await;
    }
}

/// Errors are written by jsonrpsee as results are: those of a method, and of a result past the limit.
#[tokio::test]
async fn errors_keep_their_id_too() {
    let settings = TransportSettings {
        reply_bytes: 1000,
        ..Default::default()
    };
    let running = Running::start(settings).await;
    let long = format!(r#"["{}"]"#, "x".repeat(1000));
    for (method, params) in [("subtract", "[]"), ("echo", &long)] {
        for id in ["1.5", "7", "\"\\u00fc\"", "null"] {
            let request =
                format!(r#"{{"jsonrpc":"2.0","method":"{method}","params":{params},"id":{id}}}"#);
            let answer = post(running.address, &request).await;
            assert!(answer.body.contains(&format!("\"id\":{id},")), "{answer:?}");
            assert!(answer.json()["error"]["code"].is_i64(), "{answer:?}");
        }
    }
}

#[tokio::test]
async fn ids_of_other_kinds_are_invalid_and_answered_under_null() {
    let running = Running::start(Default::default()).await;
    for id in ["true", "[1]", "{}"] {
        let request = format!(r#"{{"jsonrpc":"2.0","method":"get_data","id":{id}}}"#);
        let answer = post(running.address, &request).await;
        assert_eq!(
            (answer.kind(), &answer.json()["id"]),
            ("invalid-request".to_owned(), &Value::Null)
        );
    }
}

#[tokio::test]
async fn an_unknown_method_is_hinted_at_the_nearest() {
    let running = Running::start(Default::default()).await;
    let answer = post(
        running.address,
        r#"{"jsonrpc":"2.0","method":"get_date","id":1}"#,
    )
    .await;
    let hint = answer.json()["error"]["data"]["hint"]
        .as_str()
        .unwrap()
        .to_owned();
    assert!(hint.contains("get_data"), "{hint}");
}

#[tokio::test]
async fn a_method_that_panics_is_an_internal_error_and_the_connection_lives() {
    let running = Running::start(Default::default()).await;
    let mut socket = WebSocket::open(running.address).await;
    socket
        .send(r#"{"jsonrpc":"2.0","method":"fall","id":1}"#)
        .await;
    assert_eq!(socket.receive().await["error"]["code"], -32603);
    socket
        .send(r#"{"jsonrpc":"2.0","method":"get_data","id":2}"#)
        .await;
    assert_eq!(socket.receive().await["id"], 2);
}

#[tokio::test]
async fn text_that_is_not_a_request_keeps_the_websocket_open() {
    let running = Running::start(Default::default()).await;
    let mut socket = WebSocket::open(running.address).await;
    for text in ["", " ", "{", "\u{0}"] {
        socket.send(text).await;
        assert_eq!(socket.receive().await["error"]["code"], -32700, "{text:?}");
    }
    // In a text frame it would close the connection: it is JSON alone that it breaks in a binary one.
    socket.send_frame(0x82, b"\"\xff\"").await.unwrap();
    assert_eq!(socket.receive().await["error"]["code"], -32700);
}
