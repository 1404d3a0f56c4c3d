//! JSON-RPC 2.0 Specification, section 7: every example, over HTTP and over
//! WebSocket. Source: the specification's own text.

use serde_json::{Value, json};

use super::client::{Frame, WebSocket, post};
use super::{Running, bare};

/// Each example: what is sent, and what comes back (`null`: nothing at all).
fn examples() -> Vec<(&'static str, Value)> {
    let result = |result: Value, id: Value| json!({"jsonrpc": "2.0", "result": result, "id": id});
    let error = |code: i32, message: &str, id: Value| json!({"jsonrpc": "2.0", "error": {"code": code, "message": message}, "id": id});
    let invalid = || error(-32600, "Invalid Request", Value::Null);
    let broken = || error(-32700, "Parse error", Value::Null);
    vec![
        // rpc call with positional parameters
        (
            r#"{"jsonrpc": "2.0", "method": "subtract", "params": [42, 23], "id": 1}"#,
            result(json!(19), json!(1)),
        ),
        (
            r#"{"jsonrpc": "2.0", "method": "subtract", "params": [23, 42], "id": 2}"#,
            result(json!(-19), json!(2)),
        ),
        // rpc call with named parameters
        (
            r#"{"jsonrpc": "2.0", "method": "subtract", "params": {"subtrahend": 23, "minuend": 42}, "id": 3}"#,
            result(json!(19), json!(3)),
        ),
        (
            r#"{"jsonrpc": "2.0", "method": "subtract", "params": {"minuend": 42, "subtrahend": 23}, "id": 4}"#,
            result(json!(19), json!(4)),
        ),
        // a Notification
        (
            r#"{"jsonrpc": "2.0", "method": "update", "params": [1,2,3,4,5]}"#,
            Value::Null,
        ),
        (r#"{"jsonrpc": "2.0", "method": "foobar"}"#, Value::Null),
        // rpc call of non-existent method
        (
            r#"{"jsonrpc": "2.0", "method": "foobar", "id": "1"}"#,
            error(-32601, "Method not found", json!("1")),
        ),
        // rpc call with invalid JSON
        (
            r#"{"jsonrpc": "2.0", "method": "foobar, "params": "bar", "baz]"#,
            broken(),
        ),
        // rpc call with invalid Request object
        (
            r#"{"jsonrpc": "2.0", "method": 1, "params": "bar"}"#,
            invalid(),
        ),
        // rpc call Batch, invalid JSON
        (
            r#"[
            {"jsonrpc": "2.0", "method": "sum", "params": [1,2,4], "id": "1"},
            {"jsonrpc": "2.0", "method"
        ]"#,
            broken(),
        ),
        // rpc call with an empty Array
        ("[]", invalid()),
        // rpc call with an invalid Batch (but not empty)
        ("[1]", json!([invalid()])),
        // rpc call with invalid Batch
        ("[1,2,3]", json!([invalid(), invalid(), invalid()])),
        // rpc call Batch
        (
            r#"[
            {"jsonrpc": "2.0", "method": "sum", "params": [1,2,4], "id": "1"},
            {"jsonrpc": "2.0", "method": "notify_hello", "params": [7]},
            {"jsonrpc": "2.0", "method": "subtract", "params": [42,23], "id": "2"},
            {"foo": "boo"},
            {"jsonrpc": "2.0", "method": "foo.get", "params": {"name": "myself"}, "id": "5"},
            {"jsonrpc": "2.0", "method": "get_data", "id": "9"}
        ]"#,
            json!([
                result(json!(7), json!("1")),
                result(json!(19), json!("2")),
                invalid(),
                error(-32601, "Method not found", json!("5")),
                result(json!(["hello", 5]), json!("9")),
            ]),
        ),
        // rpc call Batch (all notifications)
        (
            r#"[
            {"jsonrpc": "2.0", "method": "notify_sum", "params": [1,2,4]},
            {"jsonrpc": "2.0", "method": "notify_hello", "params": [7]}
        ]"#,
            Value::Null,
        ),
    ]
}

#[tokio::test]
async fn every_example_over_http() {
    let running = Running::start(Default::default()).await;
    for (sent, expected) in examples() {
        let answer = post(running.address, sent).await;
        if expected.is_null() {
            assert_eq!((answer.status, answer.body.as_str()), (204, ""), "{sent}");
        } else {
            assert_eq!(
                (answer.status, bare(answer.json())),
                (200, expected),
                "{sent}"
            );
        }
    }
}

#[tokio::test]
async fn every_example_over_websocket() {
    let running = Running::start(Default::default()).await;
    let marker = r#"{"jsonrpc":"2.0","method":"get_data","id":"marker"}"#;
    for (sent, expected) in examples() {
        let mut socket = WebSocket::open(running.address).await;
        socket.send(sent).await;
        if !expected.is_null() {
            assert_eq!(bare(socket.receive().await), expected, "{sent}");
        }
        socket.send(marker).await;
        assert_eq!(socket.receive().await["id"], "marker", "{sent}");
        assert_eq!(socket.close().await, [Frame::Close(Some(1000))], "{sent}");
    }
}
