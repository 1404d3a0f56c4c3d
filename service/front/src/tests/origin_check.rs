//! Host and Origin, on POST, on other routes and on the upgrade.

use super::Running;
use super::client::{WebSocket, exchange, post_with};

const CALL: &str = r#"{"jsonrpc":"2.0","method":"get_data","id":1}"#;

async fn check(headers: &str, status: u16, kind: &str) {
    let running = Running::start(Default::default()).await;
    let headers = headers.replace("PORT", &running.address.port().to_string());
    let answer = post_with(running.address, &headers, CALL).await;
    let refused = (answer.status, answer.kind());
    assert_eq!(refused, (status, kind.to_owned()), "POST with {headers}");
    let request = format!("GET /health HTTP/1.1\r\nconnection: close\r\n{headers}\r\n");
    let health = exchange(running.address, request.as_bytes()).await;
    assert_eq!(health.status, status, "GET with {headers}");
    let opened = WebSocket::try_open(running.address, &headers).await;
    match opened {
        Ok(_) => assert_eq!(status, 200, "upgrade with {headers}"),
        Err(head) => assert!(
            head.contains(&format!(" {status} ")),
            "upgrade with {headers}: {head}"
        ),
    }
}

#[tokio::test]
async fn own_names_and_pages_are_let_in() {
    check("host: 127.0.0.1:PORT\r\n", 200, "none").await;
    check(
        "host: localhost:PORT\r\norigin: http://localhost:PORT\r\n",
        200,
        "none",
    )
    .await;
}

#[tokio::test]
async fn a_name_that_was_rebound_is_refused() {
    check("host: rebound.example:PORT\r\n", 403, "host-refused").await;
    check(
        "host: rebound.example\r\norigin: http://rebound.example\r\n",
        403,
        "host-refused",
    )
    .await;
}

#[tokio::test]
async fn pages_of_other_origins_are_refused() {
    check(
        "host: localhost:PORT\r\norigin: http://other.example\r\n",
        403,
        "origin-refused",
    )
    .await;
    check(
        "host: localhost:PORT\r\norigin: null\r\n",
        403,
        "origin-refused",
    )
    .await;
}

#[tokio::test]
async fn a_request_without_a_host_is_refused() {
    check("", 403, "host-refused").await;
}
