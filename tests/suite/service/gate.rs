//! Who may call: a host name that is not the service's own (DNS rebinding), and a page of another site, are
//! refused, on HTTP and on the WebSocket upgrade alike.

use std::net::SocketAddr;

use trisect_tests::raw::{WebSocket, get_with, post_with};
use trisect_tests::service::Served;

const CALL: &str = r#"{"jsonrpc":"2.0","method":"bay.list","id":1}"#;

/// Status and kind of a refusal, over HTTP and over the upgrade.
async fn refused(address: SocketAddr, headers: &str, kind: &str) {
    let answer = post_with(address, headers, CALL).await;
    assert_eq!(
        (answer.status, answer.kind().as_deref()),
        (403, Some(kind)),
        "{answer:?}"
    );
    let health = get_with(address, "/health", headers).await;
    assert_eq!(health.status, 403, "{health:?}");
    let Err(head) = WebSocket::try_open(address, headers).await else {
        panic!("upgraded with {headers}");
    };
    assert!(head.starts_with("HTTP/1.1 403"), "{head}");
}

async fn let_in(address: SocketAddr, headers: &str) {
    let answer = post_with(address, headers, CALL).await;
    assert_eq!(answer.status, 200, "{answer:?}");
    assert!(answer.json()["result"]["bays"].is_array(), "{answer:?}");
    assert!(
        WebSocket::try_open(address, headers).await.is_ok(),
        "{headers}"
    );
}

#[tokio::test]
async fn foreign_hosts_and_origins_are_refused() {
    let served = Served::start().await;
    let (address, port) = (served.address, served.address.port());
    refused(address, "host: depot.example\r\n", "host-refused").await;
    refused(
        address,
        &format!("host: 127.0.0.1.depot.example:{port}\r\n"),
        "host-refused",
    )
    .await;
    refused(
        address,
        &format!("host: {address}\r\norigin: https://depot.example\r\n"),
        "origin-refused",
    )
    .await;
    refused(
        address,
        &format!("host: {address}\r\norigin: null\r\n"),
        "origin-refused",
    )
    .await;
    served.stop().await;
}

#[tokio::test]
async fn its_own_names_and_pages_are_let_in() {
    let served = Served::start().await;
    let (address, port) = (served.address, served.address.port());
    let_in(address, &format!("host: {address}\r\n")).await;
    let_in(address, &format!("host: localhost:{port}\r\n")).await;
    let_in(
        address,
        &format!("host: {address}\r\norigin: http://{address}\r\n"),
    )
    .await;
    let health = get_with(address, "/health", &format!("host: {address}\r\n")).await;
    assert_eq!(
        (health.status, health.json()["status"].as_str()),
        (200, Some("ready")),
        "{health:?}"
    );
    served.stop().await;
}
