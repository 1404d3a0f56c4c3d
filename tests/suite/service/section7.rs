//! JSON-RPC 2.0 Specification, section 7: every example, over HTTP and over WebSocket, against the service
//! itself. The examples that call `subtract`, `sum` and the like call a method of this service instead;
//! everything else about them is as printed. (The transport's own tests have the examples verbatim.)

use serde_json::{Value, json};
use trisect_tests::raw::{Frame, WebSocket, post};
use trisect_tests::service::Served;

/// What comes back.
enum Back {
    /// Nothing at all.
    Nothing,
    /// A result, with this id.
    Result(Value),
    /// An error of this code and message, with this id.
    Error(i32, &'static str, Value),
    /// An array.
    Each(Vec<Back>),
}
use Back::{Each, Error, Nothing};

fn invalid() -> Back {
    Error(-32600, "Invalid Request", Value::Null)
}

fn result(id: impl Into<Value>) -> Back {
    Back::Result(id.into())
}

fn examples() -> Vec<(&'static str, Back)> {
    vec![
        // rpc call with positional parameters: this service takes parameters by name, and says so
        (
            r#"{"jsonrpc": "2.0", "method": "job.list", "params": [42, 23], "id": 1}"#,
            Error(-32602, "Invalid params", json!(1)),
        ),
        (
            r#"{"jsonrpc": "2.0", "method": "job.list", "params": [23, 42], "id": 2}"#,
            Error(-32602, "Invalid params", json!(2)),
        ),
        // rpc call with named parameters
        (
            r#"{"jsonrpc": "2.0", "method": "job.list", "params": {"limit": 42, "state": "open"}, "id": 3}"#,
            result(3),
        ),
        (
            r#"{"jsonrpc": "2.0", "method": "job.list", "params": {"state": "open", "limit": 42}, "id": 4}"#,
            result(4),
        ),
        // a Notification
        (
            r#"{"jsonrpc": "2.0", "method": "update", "params": [1,2,3,4,5]}"#,
            Nothing,
        ),
        (r#"{"jsonrpc": "2.0", "method": "foobar"}"#, Nothing),
        // rpc call of non-existent method
        (
            r#"{"jsonrpc": "2.0", "method": "foobar", "id": "1"}"#,
            Error(-32601, "Method not found", json!("1")),
        ),
        // rpc call with invalid JSON
        (
            r#"{"jsonrpc": "2.0", "method": "foobar, "params": "bar", "baz]"#,
            Error(-32700, "Parse error", Value::Null),
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
            Error(-32700, "Parse error", Value::Null),
        ),
        // rpc call with an empty Array
        ("[]", invalid()),
        // rpc call with an invalid Batch (but not empty)
        ("[1]", Each(vec![invalid()])),
        // rpc call with invalid Batch
        ("[1,2,3]", Each(vec![invalid(), invalid(), invalid()])),
        // rpc call Batch
        (
            r#"[
                {"jsonrpc": "2.0", "method": "bay.list", "params": {}, "id": "1"},
                {"jsonrpc": "2.0", "method": "notify_hello", "params": [7]},
                {"jsonrpc": "2.0", "method": "job.list", "params": {"limit": 23}, "id": "2"},
                {"foo": "boo"},
                {"jsonrpc": "2.0", "method": "foo.get", "params": {"name": "myself"}, "id": "5"},
                {"jsonrpc": "2.0", "method": "service.about", "id": "9"}
            ]"#,
            Each(vec![
                result("1"),
                result("2"),
                invalid(),
                Error(-32601, "Method not found", json!("5")),
                result("9"),
            ]),
        ),
        // rpc call Batch (all notifications)
        (
            r#"[
                {"jsonrpc": "2.0", "method": "notify_sum", "params": [1,2,4]},
                {"jsonrpc": "2.0", "method": "notify_hello", "params": [7]}
            ]"#,
            Nothing,
        ),
    ]
}

fn check(found: &Value, expected: &Back, sent: &str) {
    match expected {
        Nothing => panic!("{sent}: {found}, where nothing was due"),
        Back::Result(id) => {
            assert_eq!(
                (&found["jsonrpc"], &found["id"]),
                (&json!("2.0"), id),
                "{sent}: {found}"
            );
            assert!(
                found["result"].is_object() && found.get("error").is_none(),
                "{sent}: {found}"
            );
        }
        Error(code, message, id) => {
            assert_eq!(
                (&found["jsonrpc"], &found["id"]),
                (&json!("2.0"), id),
                "{sent}: {found}"
            );
            assert_eq!(found["error"]["code"], *code, "{sent}: {found}");
            // A method's own refusal says in its message what is wrong.
            if *code != -32602 {
                assert_eq!(found["error"]["message"], *message, "{sent}: {found}");
            }
            assert!(found.get("result").is_none(), "{sent}: {found}");
        }
        Each(expected) => {
            let found = found
                .as_array()
                .unwrap_or_else(|| panic!("{sent}: {found} is no array"));
            assert_eq!(found.len(), expected.len(), "{sent}: {found:?}");
            found
                .iter()
                .zip(expected)
                .for_each(|(found, expected)| check(found, expected, sent));
        }
    }
}

#[tokio::test]
async fn every_example_over_http() {
    let served = Served::start().await;
    for (sent, expected) in examples() {
        let answer = post(served.address, sent).await;
        match expected {
            Nothing => assert_eq!((answer.status, answer.body.as_str()), (204, ""), "{sent}"),
            expected => {
                assert_eq!(answer.status, 200, "{sent}");
                check(&answer.json(), &expected, sent);
            }
        }
    }
    served.stop().await;
}

#[tokio::test]
async fn every_example_over_websocket() {
    let served = Served::start().await;
    let mut socket = WebSocket::open(served.address).await;
    for (sent, expected) in examples() {
        socket.send(sent).await.unwrap();
        if !matches!(expected, Nothing) {
            check(&socket.receive().await, &expected, sent);
        }
        // Whatever came or not, this comes next.
        socket
            .send(r#"{"jsonrpc":"2.0","method":"bay.list","id":"marker"}"#)
            .await
            .unwrap();
        assert_eq!(socket.receive().await["id"], "marker", "{sent}");
    }
    served.stop().await;
    assert_eq!(socket.rest().await, [Frame::Close(Some(1000))]);
}
