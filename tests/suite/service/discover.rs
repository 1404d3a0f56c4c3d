//! `rpc.discover` says what is committed, and every method it names is really there.

use serde_json::{Value, json};
use trisect_tests::raw::post;
use trisect_tests::repository::text;
use trisect_tests::service::Served;

#[tokio::test]
async fn discover_answers_the_committed_document_whose_methods_exist() {
    let served = Served::start().await;
    let answer = post(
        served.address,
        r#"{"jsonrpc":"2.0","method":"rpc.discover","id":1}"#,
    )
    .await
    .json();
    let committed: Value = serde_json::from_str(&text("service/wire/openrpc.json")).unwrap();
    assert_eq!(answer["result"], committed);
    let mut missing = Vec::new();
    for method in committed["methods"].as_array().unwrap() {
        let name = method["name"].as_str().unwrap();
        // A parameter that no method has: what exists says so, what does not is not found.
        let call =
            json!({"jsonrpc": "2.0", "id": 1, "method": name, "params": {"no-such-parameter": 1}});
        let answer = post(served.address, &call.to_string()).await.json();
        if answer["error"]["code"] == -32601 {
            missing.push(name);
        }
    }
    // Subscriptions and their ends need a WebSocket: over HTTP they are said not to be there.
    let needs_a_socket = |name: &&str| !name.ends_with(".watch") && !name.ends_with(".unwatch");
    assert_eq!(
        missing
            .into_iter()
            .filter(needs_a_socket)
            .collect::<Vec<_>>(),
        Vec::<&str>::new()
    );
    served.stop().await;
}

#[tokio::test]
async fn every_subscription_of_the_document_can_be_opened_and_ended() {
    let served = Served::start().await;
    let committed: Value = serde_json::from_str(&text("service/wire/openrpc.json")).unwrap();
    let mut socket = trisect_tests::raw::WebSocket::open(served.address).await;
    let methods = committed["methods"].as_array().unwrap();
    let subscriptions: Vec<&Value> = methods
        .iter()
        .filter(|m| m["x-subscription"].is_object())
        .collect();
    assert_eq!(subscriptions.len(), 3);
    for subscription in subscriptions {
        let call = json!({"jsonrpc": "2.0", "id": "open", "method": subscription["name"], "params": {"bay": "bay-1"}});
        socket.send(&call.to_string()).await.unwrap();
        let opened = answer(&mut socket, "open").await;
        let id = &opened["result"];
        assert!(id.is_string() || id.is_number(), "{opened}");
        let end = json!({"jsonrpc": "2.0", "id": "end", "method": subscription["x-subscription"]["unsubscribe"], "params": [id]});
        socket.send(&end.to_string()).await.unwrap();
        assert_eq!(
            answer(&mut socket, "end").await["result"],
            true,
            "{subscription}"
        );
    }
    served.stop().await;
}

/// The reply to a call; what is told in between is let pass.
async fn answer(socket: &mut trisect_tests::raw::WebSocket, id: &str) -> Value {
    loop {
        let message = socket.receive().await;
        if message["id"] == id {
            return message;
        }
    }
}
