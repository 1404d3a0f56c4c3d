//! A stop lets running calls finish, for a while.

use std::time::Duration;

use serde_json::json;
use tokio::net::TcpStream;

use super::client::{Frame, WebSocket, post};
use super::{Running, within};
use crate::TransportSettings;

const HOLD: &str = r#"{"jsonrpc":"2.0","method":"hold","id":1}"#;

#[tokio::test]
async fn a_running_call_is_answered_over_http() {
    let running = Running::start(Default::default()).await;
    let address = running.address;
    let calling = tokio::spawn(async move { post(address, HOLD).await });
    running.wait_begun().await;
    running.stop.cancel();
    running.gate.add_permits(1);
    let answer = within(calling).await.unwrap();
    assert_eq!(answer.json()["result"], "let go");
    within(running.serving).await.unwrap().unwrap();
}

#[tokio::test]
async fn a_running_call_is_answered_over_a_websocket_which_is_then_closed() {
    let running = Running::start(Default::default()).await;
    let mut socket = WebSocket::open(running.address).await;
    socket.send(HOLD).await;
    running.wait_begun().await;
    running.stop.cancel();
    running.gate.add_permits(1);
    let reply = json!({"jsonrpc": "2.0", "id": 1, "result": "let go"});
    assert_eq!(socket.receive().await, reply);
    assert_eq!(socket.frame().await.unwrap(), Frame::Close(Some(1000)));
    drop(socket);
    within(running.serving).await.unwrap().unwrap();
}

#[tokio::test]
async fn a_call_that_does_not_finish_is_cut() {
    let settings = TransportSettings {
        stop_within: Duration::from_millis(100),
        ..Default::default()
    };
    let running = Running::start(settings).await;
    let mut socket = WebSocket::open(running.address).await;
    socket.send(HOLD).await;
    running.wait_begun().await;
    running.stop.cancel();
    within(running.serving).await.unwrap().unwrap();
    assert_eq!(socket.rest().await, []);
}

#[tokio::test]
async fn connections_that_asked_nothing_do_not_hold_up_a_stop() {
    let settings = TransportSettings {
        stop_within: Duration::from_secs(3600),
        head_within: Duration::from_secs(3600),
        ..Default::default()
    };
    let running = Running::start(settings).await;
    let _silent = TcpStream::connect(running.address).await.unwrap();
    let _open = WebSocket::open(running.address).await;
    running.stop.cancel();
    within(running.serving).await.unwrap().unwrap();
    assert!(TcpStream::connect(running.address).await.is_err());
}
