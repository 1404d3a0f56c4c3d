//! Subscriptions: over a WebSocket, and nowhere else.

use serde_json::json;

use super::Running;
use super::client::{WebSocket, post};
use crate::TransportSettings;

const WATCH: &str = r#"{"jsonrpc":"2.0","method":"count.watch","id":1}"#;

#[tokio::test]
async fn the_reply_comes_before_the_first_message() {
    let running = Running::start(Default::default()).await;
    let mut socket = WebSocket::open(running.address).await;
    socket.send(WATCH).await;
    let reply = socket.receive().await;
    let subscription = &reply["result"];
    assert!(subscription.is_u64(), "{reply}");
    for number in 0..3 {
        let message = socket.receive().await;
        assert_eq!(message["method"], "count");
        assert_eq!(
            message["params"],
            json!({"subscription": subscription, "result": number})
        );
    }
    let unwatch =
        json!({"jsonrpc": "2.0", "method": "count.unwatch", "params": [subscription], "id": 2});
    socket.send(&unwatch.to_string()).await;
    assert_eq!(
        socket.receive().await,
        json!({"jsonrpc": "2.0", "id": 2, "result": true})
    );
}

#[tokio::test]
async fn http_batches_and_unusual_ids_are_told_to_use_a_websocket() {
    let running = Running::start(Default::default()).await;
    let answer = post(running.address, WATCH).await;
    assert_eq!(answer.kind(), "invalid-request");
    assert!(answer.body.contains("WebSocket"), "{answer:?}");
    let mut socket = WebSocket::open(running.address).await;
    socket.send(&format!("[{WATCH}]")).await;
    let replies = socket.receive().await;
    assert_eq!(replies.as_array().map(Vec::len), Some(1), "{replies}");
    assert_eq!(replies[0]["error"]["data"]["kind"], "invalid-request");
    socket.send(&WATCH.replace(":1}", ":1.5}")).await;
    let reply = socket.receive().await;
    assert_eq!(
        (&reply["id"], &reply["error"]["code"]),
        (&json!(1.5), &json!(-32600))
    );
}

#[tokio::test]
async fn there_are_no_more_than_allowed() {
    let settings = TransportSettings {
        subscriptions: 1,
        ..Default::default()
    };
    let running = Running::start(settings).await;
    let mut socket = WebSocket::open(running.address).await;
    socket.send(WATCH).await;
    for _ in 0..4 {
        socket.receive().await;
    }
    socket.send(WATCH).await;
    assert_eq!(socket.receive().await["error"]["data"]["kind"], "too-busy");
}

/// An item of any length would pass the limit that replies are held to.
#[tokio::test]
async fn an_item_over_the_limit_becomes_an_error() {
    let settings = TransportSettings {
        reply_bytes: 1_000,
        ..Default::default()
    };
    let running = Running::start(settings).await;
    let mut socket = WebSocket::open(running.address).await;
    socket
        .send(r#"{"jsonrpc":"2.0","method":"long.watch","id":1}"#)
        .await;
    let subscription = socket.receive().await["result"].clone();
    let message = socket.receive().await;
    assert_eq!(message["method"], "long");
    assert_eq!(message["params"]["subscription"], subscription);
    let error = &message["params"]["error"];
    assert_eq!(error["kind"], "too-large", "{message}");
    assert!(error["hint"].is_string(), "{message}");
}
