//! Encrypted, or not at all; and only to addresses that were allowed.

use std::sync::Arc;
use std::time::Duration;

use bytes::Bytes;
use http::{HeaderMap, Method};
use rustls::ServerConfig;
use rustls::crypto::ring;
use rustls::pki_types::PrivatePkcs8KeyDer;
use serde_json::json;
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::TcpListener;
use tokio_rustls::TlsAcceptor;
use trisect_kit::{Network, Networks, State};

use super::{Ran, settings};
use crate::{CallError, HttpClient, HttpRequest, Tls, Url};

/// A server with a certificate of its own for `localhost`: its port, and the certificate as PEM.
async fn server() -> (u16, String) {
    let made = rcgen::generate_simple_self_signed(["localhost".to_owned()]).unwrap();
    let key = PrivatePkcs8KeyDer::from(made.signing_key.serialize_der());
    let config = ServerConfig::builder_with_provider(Arc::new(ring::default_provider()))
        .with_safe_default_protocol_versions()
        .unwrap()
        .with_no_client_auth()
        .with_single_cert(vec![made.cert.der().clone()], key.into())
        .unwrap();
    let acceptor = TlsAcceptor::from(Arc::new(config));
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let port = listener.local_addr().unwrap().port();
    tokio::spawn(async move {
        while let Ok((stream, _)) = listener.accept().await {
            let Ok(mut stream) = acceptor.accept(stream).await else {
                continue;
            };
            let mut request = [0; 2048];
            let _ = stream.read(&mut request).await;
            let body = r#"{"inlet": 5}"#;
            let answer = format!(
                "HTTP/1.1 200 OK\r\ncontent-length: {}\r\nconnection: close\r\n\r\n{body}",
                body.len()
            );
            let _ = stream.write_all(answer.as_bytes()).await;
            let _ = stream.shutdown().await;
        }
    });
    (port, made.cert.pem())
}

#[tokio::test]
async fn a_certificate_is_trusted_when_it_is_given_and_fits() {
    let (port, pem) = server().await;
    let folder = tempfile::tempdir().unwrap();
    let ca = folder.path().join("ca.pem");
    std::fs::write(&ca, pem).unwrap();
    let mut given = settings(&format!("https://localhost:{port}/"));
    given["ca_file"] = json!(ca);
    let mut ran = Ran::start(given.clone());
    ran.until("samples", |v| v.frames_good >= 2 && v.state == State::Live)
        .await;
    ran.stop().await;
    // The same certificate under another name.
    given["url"] = json!(format!("https://127.0.0.1:{port}/"));
    let mut ran = Ran::start(given);
    ran.says("does its certificate fit its name").await;
    assert_eq!(ran.health.vitals().frames_good, 0);
    ran.stop().await;
}

#[tokio::test]
async fn an_unknown_certificate_and_what_is_no_tls_are_refused() {
    let (port, _) = server().await;
    let mut ran = Ran::start(settings(&format!("https://localhost:{port}/")));
    ran.says("is it trusted here?").await;
    assert_eq!(
        (ran.health.vitals().frames_good, ran.health.vitals().state),
        (0, State::Silent)
    );
    ran.stop().await;
    let plain = wiremock::MockServer::start().await;
    let mut ran = Ran::start(settings(&plain.uri().replace("http://", "https://")));
    ran.says("safely").await;
    ran.stop().await;
}

async fn call(url: &str, networks: Networks) -> Result<u16, CallError> {
    let tls = Tls::new(None).unwrap();
    let mut client = HttpClient::new(
        Url::parse(url).unwrap(),
        tls,
        networks,
        Duration::from_secs(5),
        1000,
    );
    let ask = HttpRequest {
        method: Method::POST,
        headers: HeaderMap::new(),
        body: Bytes::from_static(b"{}"),
    };
    client.call(&ask).await.map(|answer| answer.status)
}

#[tokio::test]
async fn what_a_name_stands_for_has_to_be_allowed() {
    let server = wiremock::MockServer::start().await;
    let port = server.address().port();
    for host in ["localhost", "127.0.0.1"] {
        let url = format!("http://{host}:{port}/");
        let refused = call(&url, Networks::besides(vec![Network::Private])).await;
        assert!(
            matches!(refused, Err(CallError::Forbidden { address, .. }) if address.is_loopback()),
            "{refused:?}"
        );
        assert_eq!(call(&url, Networks::all()).await.unwrap(), 404);
    }
    assert_eq!(server.received_requests().await.unwrap().len(), 2);
    let nobody = call("http://no-such-host.invalid/", Networks::all()).await;
    assert!(
        matches!(nobody, Err(CallError::NoHost { .. })),
        "{nobody:?}"
    );
}
