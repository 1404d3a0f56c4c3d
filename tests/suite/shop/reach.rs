//! The command line reaches a service over TLS and over its Unix socket, and says why where it does not.

use std::path::Path;
use std::time::Duration;

use serde_json::{Value, json};
use tokio::io::AsyncReadExt;
use tokio::net::TcpStream;
use trisect_http::{HttpClient, HttpRequest, Tls, Url};
use trisect_kit::Networks;
use trisect_tests::daemon::Daemon;
use trisect_tests::programs::{Ended, trisect};
use trisect_tests::raw::WebSocket;
use trisect_tests::wait::within;

use super::{call, configuration, token};

/// A certificate for `localhost`, signed by itself, and its key.
fn certificate(folder: &Path) -> (String, String) {
    let made = rcgen::generate_simple_self_signed(["localhost".to_owned()]).unwrap();
    let (certificate, key) = (folder.join("certificate.pem"), folder.join("key.pem"));
    std::fs::write(&certificate, made.cert.pem()).unwrap();
    std::fs::write(&key, made.signing_key.serialize_pem()).unwrap();
    let text = |path: &Path| path.display().to_string();
    (text(&certificate), text(&key))
}

/// Runs the command line beside the service.
async fn run(arguments: &[&str]) -> Ended {
    let arguments: Vec<String> = arguments.iter().map(|one| (*one).to_owned()).collect();
    tokio::task::spawn_blocking(move || {
        let words: Vec<&str> = arguments.iter().map(String::as_str).collect();
        trisect(&words, "")
    })
    .await
    .unwrap()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_service_behind_tls_is_reached_with_its_certificate() {
    let folder = tempfile::tempdir().unwrap();
    let (certificate, key) = certificate(folder.path());
    let tokens = folder.path().join("tokens.toml");
    let manage = token(&tokens, "office", "manage").await;
    let rest = format!(
        "token_file = {:?}\n[tls]\nlisten = \"127.0.0.1:0\"\ncertificate = {certificate:?}\nkey = {key:?}",
        tokens.display().to_string()
    );
    let mut daemon = Daemon::serve(&configuration(folder.path(), &rest)).await;
    let port = daemon.tls_port().await;
    let (wss, https, by_number) = (
        format!("wss://localhost:{port}/rpc"),
        format!("https://localhost:{port}"),
        format!("https://127.0.0.1:{port}"),
    );
    let ca = ["--ca", certificate.as_str()];
    for url in [&wss, &https] {
        let line = [
            "--server", url, ca[0], ca[1], "--token", &manage, "job", "list",
        ];
        let ended = run(&line).await;
        assert_eq!((ended.code, ended.err.as_str()), (0, ""), "{url}");
    }
    let refused = async |line: &[&str], said: &str| {
        let ended = run(line).await;
        assert!(
            ended.code == 2 && ended.err.contains(said),
            "{said} is missing: {ended:?}"
        );
    };
    // Without the token, without trust, by a name that the certificate does not have, without TLS.
    refused(
        &["--server", &https, ca[0], ca[1], "job", "list"],
        "give a token",
    )
    .await;
    refused(
        &["--server", &https, "--token", &manage, "job", "list"],
        "--ca",
    )
    .await;
    refused(
        &[
            "--server", &by_number, ca[0], ca[1], "--token", &manage, "job", "list",
        ],
        "certificate",
    )
    .await;
    let plain = format!("https://{}", daemon.address);
    refused(
        &["--server", &plain, ca[0], ca[1], "job", "list"],
        "is TLS spoken there?",
    )
    .await;
    refused(
        &[
            "--server",
            "https://127.0.0.1:1",
            ca[0],
            ca[1],
            "job",
            "list",
        ],
        "is the service there?",
    )
    .await;
    assert!(daemon.terminate().await.success());
}

#[tokio::test(flavor = "multi_thread")]
async fn a_connection_over_the_limit_is_told_so_behind_tls_too() {
    let folder = tempfile::tempdir().unwrap();
    let (certificate, key) = certificate(folder.path());
    let tokens = folder.path().join("tokens.toml");
    let manage = token(&tokens, "office", "manage").await;
    let rest = format!(
        "token_file = {:?}\n[limits]\nconnections = 1\n[access]\nloopback = \"manage\"\n\
         [tls]\nlisten = \"127.0.0.1:0\"\ncertificate = {certificate:?}\nkey = {key:?}",
        tokens.display().to_string()
    );
    let mut daemon = Daemon::serve(&configuration(folder.path(), &rest)).await;
    let port = daemon.tls_port().await;
    let server = format!("https://localhost:{port}");
    let list = [
        "--server",
        &server,
        "--ca",
        certificate.as_str(),
        "--token",
        &manage,
        "job",
        "list",
    ];
    let first = WebSocket::open(daemon.address).await;
    let ended = run(&list).await;
    assert!(
        ended.code != 0 && ended.err.contains("as many connections as it takes"),
        "{ended:?}"
    );
    // What it is told in full.
    let ask = HttpRequest {
        method: "POST".parse().unwrap(),
        headers: [("content-type", "application/json")]
            .map(|(name, value)| (name.parse().unwrap(), value.parse().unwrap()))
            .into_iter()
            .collect(),
        body: call("service.about", &json!({})).into(),
    };
    let url = Url::parse(&format!("{server}/rpc")).unwrap();
    let tls = Tls::new(Some(Path::new(&certificate))).unwrap();
    let limit = Duration::from_secs(10);
    for _ in 0..20 {
        let mut caller = HttpClient::new(url.clone(), tls.clone(), Networks::all(), limit, 65_536);
        let answer = caller.call(&ask).await.unwrap();
        let body: Value = serde_json::from_slice(&answer.body).unwrap();
        assert_eq!(
            (answer.status, &body["error"]["data"]["kind"]),
            (503, &json!("too-busy"))
        );
    }
    // Who does not shake hands is not waited for long.
    let mut silent = TcpStream::connect(("127.0.0.1", port)).await.unwrap();
    let mut rest = Vec::new();
    within("its end", silent.read_to_end(&mut rest))
        .await
        .unwrap();
    assert_eq!(rest, b"");
    drop(first);
    let room = async { while run(&list).await.code != 0 {} };
    within("room", room).await;
    assert!(daemon.terminate().await.success());
}

#[tokio::test(flavor = "multi_thread")]
async fn a_service_on_a_unix_socket_is_reached_by_its_path() {
    let folder = tempfile::tempdir().unwrap();
    let socket = folder.path().join("rpc.sock");
    let rest = format!(
        "[unix]\npath = {:?}\nrole = \"manage\"\n[[bays]]\nbay = \"bay-1\"",
        socket.display().to_string()
    );
    let daemon = Daemon::serve(&configuration(folder.path(), &rest)).await;
    let server = format!("unix:{}", socket.display());
    let ended = run(&[
        "--server", &server, "job", "open", "bay-1", "Unit 14", "--by", "a test",
    ])
    .await;
    assert_eq!((ended.code, ended.err.as_str()), (0, ""), "{ended:?}");
    let ended = run(&["--server", &server, "job", "list"]).await;
    assert!(ended.out.contains("Unit 14"), "{ended:?}");
    assert!(daemon.terminate().await.success());
    let ended = run(&["--server", &server, "job", "list"]).await;
    assert!(
        ended.code == 2 && ended.err.contains("is the service there"),
        "{ended:?}"
    );
}
