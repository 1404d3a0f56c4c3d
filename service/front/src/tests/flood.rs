//! A client that sends and never reads.

use std::time::{Duration, Instant};

use tokio::io::AsyncWriteExt;
use tokio::net::TcpStream;

use super::client::{WebSocket, masked, post};
use super::{Running, within};
use crate::TransportSettings;

fn settings() -> TransportSettings {
    TransportSettings {
        connections: 1,
        write_within: Duration::from_millis(300),
        ..Default::default()
    }
}

fn call(length: usize) -> String {
    let text = "x".repeat(length);
    format!(r#"{{"jsonrpc":"2.0","method":"echo","params":["{text}"],"id":1}}"#)
}

/// Writes until the service ends the connection; how long that took.
async fn flood(stream: &mut TcpStream, request: &[u8]) -> Duration {
    let begun = Instant::now();
    let writing = async { while stream.write_all(request).await.is_ok() {} };
    within(writing).await;
    begun.elapsed()
}

/// The one place there is comes back: nothing of the flood stays behind.
async fn place_comes_back(running: &Running) {
    let again = async { while post(running.address, &call(1)).await.status != 200 {} };
    within(again).await;
}

#[tokio::test]
async fn over_a_websocket_is_cut_within_the_limit() {
    let running = Running::start(settings()).await;
    let mut socket = WebSocket::open(running.address).await;
    let took = flood(&mut socket.stream, &masked(0x81, call(1000).as_bytes())).await;
    assert!(took >= Duration::from_millis(300), "{took:?}");
    place_comes_back(&running).await;
}

#[tokio::test]
async fn with_pings_is_cut_within_the_limit() {
    let running = Running::start(settings()).await;
    let mut socket = WebSocket::open(running.address).await;
    flood(&mut socket.stream, &masked(0x89, &[7; 125])).await;
    place_comes_back(&running).await;
}

#[tokio::test]
async fn over_http_is_cut_within_the_limit() {
    let running = Running::start(settings()).await;
    let mut stream = TcpStream::connect(running.address).await.unwrap();
    let body = call(1000);
    let request = format!(
        "POST /rpc HTTP/1.1\r\nhost: {}\r\ncontent-type: application/json\r\n\
         content-length: {}\r\n\r\n{body}",
        running.address,
        body.len()
    );
    flood(&mut stream, request.as_bytes()).await;
    place_comes_back(&running).await;
}

#[tokio::test]
async fn no_more_calls_run_at_once_than_allowed() {
    let settings = TransportSettings {
        calls_at_once: 4,
        ..Default::default()
    };
    let running = Running::start(settings).await;
    let mut socket = WebSocket::open(running.address).await;
    for _ in 0..20 {
        socket
            .send(r#"{"jsonrpc":"2.0","method":"hold","id":1}"#)
            .await;
    }
    for _ in 0..4 {
        running.wait_begun().await;
    }
    // The fifth begins only once one of the four is answered.
    assert_eq!(running.begun.available_permits(), 0);
    running.gate.add_permits(1);
    running.wait_begun().await;
    running.gate.add_permits(19);
    for _ in 0..20 {
        assert_eq!(socket.receive().await["result"], "let go");
    }
}
