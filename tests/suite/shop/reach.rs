//! The command line reaches a service over TLS and over its Unix socket, and says why where it does not.

use std::path::Path;

use trisect_tests::daemon::Daemon;
use trisect_tests::programs::{Ended, trisect};

use super::{configuration, token};

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
