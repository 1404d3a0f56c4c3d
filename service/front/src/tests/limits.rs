//! Too much, too long, too many, too slow: each has its answer.

use std::time::{Duration, Instant};

use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;

use super::client::{Frame, WebSocket, exchange, masked, post};
use super::{Running, within};
use crate::TransportSettings;

fn small() -> TransportSettings {
    TransportSettings {
        request_bytes: 100_000,
        reply_bytes: 50_000,
        batch_entries: 3,
        head_within: Duration::from_millis(200),
        body_within: Duration::from_millis(200),
        ..Default::default()
    }
}

fn echo(length: usize) -> String {
    let text = "x".repeat(length);
    format!(r#"{{"jsonrpc":"2.0","method":"echo","params":["{text}"],"id":1}}"#)
}

#[tokio::test]
async fn a_batch_over_the_limit_is_refused_whole() {
    let running = Running::start(small()).await;
    let entry = r#"{"jsonrpc":"2.0","method":"get_data","id":1}"#;
    let batch = |count: usize| format!("[{}]", vec![entry; count].join(","));
    assert_eq!(
        post(running.address, &batch(3))
            .await
            .json()
            .as_array()
            .map(Vec::len),
        Some(3)
    );
    let answer = post(running.address, &batch(4)).await;
    assert_eq!(
        (answer.status, answer.kind()),
        (413, "too-large".to_owned())
    );
    let mut socket = WebSocket::open(running.address).await;
    socket.send(&batch(4)).await;
    assert_eq!(socket.receive().await["error"]["data"]["kind"], "too-large");
}

#[tokio::test]
async fn a_request_over_the_limit_is_refused() {
    let running = Running::start(small()).await;
    for length in [100_001, 700_000] {
        let answer = post(running.address, &echo(length)).await;
        assert_eq!(
            (answer.status, answer.kind()),
            (413, "too-large".to_owned()),
            "{length}"
        );
    }
    let mut socket = WebSocket::open(running.address).await;
    socket.send(&echo(700_000)).await;
    assert_eq!(socket.receive().await["error"]["data"]["kind"], "too-large");
    socket.send(&echo(10)).await;
    assert_eq!(socket.receive().await["id"], 1, "the connection goes on");
}

#[tokio::test]
async fn a_reply_over_the_limit_becomes_an_error() {
    let running = Running::start(small()).await;
    let one = echo(20_000);
    let answer = post(running.address, &format!("[{one},{one},{one}]")).await;
    assert_eq!(
        (answer.status, answer.kind()),
        (200, "too-large".to_owned())
    );
    // The largest request of `small` asks for less than its largest reply.
    let tight = TransportSettings {
        reply_bytes: 1_000,
        ..small()
    };
    let running = Running::start(tight).await;
    let alone = post(running.address, &echo(2_000)).await;
    assert_eq!((alone.status, alone.kind()), (200, "too-large".to_owned()));
    assert_eq!(alone.json()["id"], 1);
}

#[tokio::test]
async fn chunked_bodies_are_taken_and_limited() {
    let running = Running::start(small()).await;
    let head = format!(
        "POST /rpc HTTP/1.1\r\nhost: {}\r\nconnection: close\r\n\
         content-type: application/json; charset=utf-8\r\ntransfer-encoding: chunked\r\n\r\n",
        running.address
    );
    let chunked = |body: &str| format!("{head}{:x}\r\n{body}\r\n0\r\n\r\n", body.len());
    let answer = exchange(running.address, chunked(&echo(10)).as_bytes()).await;
    assert_eq!(answer.status, 200, "{answer:?}");
    let answer = exchange(running.address, chunked(&echo(100_001)).as_bytes()).await;
    assert_eq!(
        (answer.status, answer.kind()),
        (413, "too-large".to_owned())
    );
}

#[tokio::test]
async fn other_content_types_and_methods_are_refused() {
    let running = Running::start(small()).await;
    let host = format!("host: {}\r\nconnection: close\r\n", running.address);
    let text = format!(
        "POST /rpc HTTP/1.1\r\n{host}content-type: text/plain\r\ncontent-length: 2\r\n\r\n[]"
    );
    assert_eq!(exchange(running.address, text.as_bytes()).await.status, 415);
    let get = format!("GET /rpc HTTP/1.1\r\n{host}\r\n");
    let answer = exchange(running.address, get.as_bytes()).await;
    assert_eq!(answer.status, 405);
    assert!(
        answer.head.to_lowercase().contains("allow: post"),
        "{answer:?}"
    );
    let refused = WebSocket::try_open(running.address, "sec-websocket-key: twice\r\n").await;
    assert!(refused.is_err());
}

#[tokio::test]
async fn a_head_that_dribbles_in_is_cut() {
    let running = Running::start(small()).await;
    let mut stream = TcpStream::connect(running.address).await.unwrap();
    stream
        .write_all(b"POST /rpc HTTP/1.1\r\nhost: ")
        .await
        .unwrap();
    let begun = Instant::now();
    let mut rest = Vec::new();
    within(stream.read_to_end(&mut rest)).await.unwrap();
    assert!(
        begun.elapsed() >= Duration::from_millis(100),
        "{:?}",
        begun.elapsed()
    );
    let rest = String::from_utf8(rest).unwrap();
    let (head, body) = rest.split_once("\r\n\r\n").unwrap();
    assert!(head.starts_with("HTTP/1.1 408 "), "{head}");
    let body: serde_json::Value = serde_json::from_str(body).unwrap();
    assert_eq!(body["error"]["data"]["kind"], "invalid-request");
}

/// Before a first byte there is nothing to answer; after an answer a further one could be taken for its rest.
#[tokio::test]
async fn a_connection_that_begins_no_request_is_closed_without_a_word() {
    let running = Running::start(small()).await;
    let address = running.address;
    let silent = async {
        let mut stream = TcpStream::connect(address).await.unwrap();
        let mut rest = Vec::new();
        within(stream.read_to_end(&mut rest)).await.unwrap();
        rest
    };
    assert_eq!(silent.await, b"");
    let mut stream = TcpStream::connect(address).await.unwrap();
    let body = echo(1);
    let request = format!(
        "POST /rpc HTTP/1.1\r\nhost: {address}\r\ncontent-type: application/json\r\n\
         content-length: {}\r\n\r\n{body}",
        body.len()
    );
    // And the next head, which stops.
    let requests = format!("{request}POST /rp");
    stream.write_all(requests.as_bytes()).await.unwrap();
    let mut answered = Vec::new();
    within(stream.read_to_end(&mut answered)).await.unwrap();
    let answered = String::from_utf8(answered).unwrap();
    assert_eq!(answered.matches("HTTP/1.1 ").count(), 1, "{answered}");
}

#[tokio::test]
async fn a_body_that_stops_is_answered_408() {
    let running = Running::start(small()).await;
    let head = format!(
        "POST /rpc HTTP/1.1\r\nhost: {}\r\nconnection: close\r\n\
         content-type: application/json\r\ncontent-length: 50\r\n\r\n{{",
        running.address
    );
    let answer = exchange(running.address, head.as_bytes()).await;
    assert_eq!(answer.status, 408, "{answer:?}");
}

#[tokio::test]
async fn a_connection_over_the_limit_is_answered_503_and_room_comes_back() {
    let settings = TransportSettings {
        connections: 1,
        ..Default::default()
    };
    let running = Running::start(settings).await;
    let first = WebSocket::open(running.address).await;
    let answer = post(running.address, &echo(10)).await;
    assert_eq!((answer.status, answer.kind()), (503, "too-busy".to_owned()));
    first.close().await;
    let again = async { while post(running.address, &echo(10)).await.status != 200 {} };
    within(again).await;
}

fn pinged() -> TransportSettings {
    TransportSettings {
        ping_every: Duration::from_millis(50),
        ..Default::default()
    }
}

#[tokio::test]
async fn a_websocket_that_falls_silent_is_closed() {
    let running = Running::start(pinged()).await;
    let mut socket = WebSocket::open(running.address).await;
    socket.rest().await;
}

#[tokio::test]
async fn a_websocket_that_talks_is_pinged_and_stays() {
    let running = Running::start(pinged()).await;
    let mut socket = WebSocket::open(running.address).await;
    let pinged = async {
        loop {
            socket.send(&echo(1)).await;
            if socket.frame().await.unwrap() == Frame::Ping {
                break;
            }
        }
    };
    within(pinged).await;
}

#[tokio::test]
async fn fragments_and_pings_between_them_are_understood() {
    let running = Running::start(small()).await;
    let mut socket = WebSocket::open(running.address).await;
    let text = echo(10);
    let (first, last) = text.as_bytes().split_at(20);
    let mut bytes = masked(0x01, first);
    bytes.extend(masked(0x89, b"alive?"));
    bytes.extend(masked(0x80, last));
    socket.stream.write_all(&bytes).await.unwrap();
    assert_eq!(socket.receive().await["id"], 1);
}
