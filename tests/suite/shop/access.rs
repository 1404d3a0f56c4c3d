//! Who may come in: tokens over HTTP and WebSocket, the Unix socket, what each role may do, and the
//! trail of who did what.

use std::net::SocketAddr;

use serde_json::json;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use trisect_tests::daemon::Daemon;
use trisect_tests::raw::{Answer, Frame, WebSocket, get_with, post_with};
use trisect_tests::wait::within;
use trisect_wire::client::Client;
use trisect_wire::table::{AuditList, JobOpen};
use trisect_wire::types::{AuditListParams, JobOpenParams};

use super::{call, configuration, token, trisectd};

/// POSTs with a token, or without.
async fn post(address: SocketAddr, token: Option<&str>, body: &str) -> Answer {
    let token = token.map_or(String::new(), |token| {
        format!("authorization: Bearer {token}\r\n")
    });
    post_with(address, &format!("host: localhost\r\n{token}"), body).await
}

fn open_job() -> String {
    call("job.open", &json!({"bay": "bay-1", "machine": "Unit 14"}))
}

#[tokio::test]
async fn a_role_reaches_as_far_as_it_says_on_http_and_websocket_alike() {
    let folder = tempfile::tempdir().unwrap();
    let tokens = folder.path().join("tokens.toml");
    let read = token(&tokens, "display", "read").await;
    let manage = token(&tokens, "office", "manage").await;
    let rest = format!("token_file = {:?}", tokens.display().to_string());
    let daemon = Daemon::serve(&configuration(folder.path(), &rest)).await;
    let address = daemon.address;

    let nobody = post(address, None, &open_job()).await;
    assert_eq!(
        (nobody.status, nobody.kind().as_deref()),
        (401, Some("token-missing"))
    );
    assert!(
        nobody
            .head
            .to_lowercase()
            .contains("www-authenticate: bearer"),
        "{}",
        nobody.head
    );
    let wrong = format!("trisect-{}", "0".repeat(64));
    let wrong = post(address, Some(&wrong), &open_job()).await;
    assert_eq!(
        (wrong.status, wrong.kind().as_deref()),
        (401, Some("token-refused"))
    );
    let reader = post(address, Some(&read), &open_job()).await;
    assert_eq!(
        (reader.status, reader.kind().as_deref()),
        (200, Some("not-permitted"))
    );
    let about = post(address, Some(&read), &call("service.about", &json!({}))).await;
    assert_eq!(about.json()["result"]["name"], "trisectd");

    // A browser: the token among the subprotocols, which is not said back.
    let offered = |token: &str| {
        format!("host: localhost\r\nsec-websocket-protocol: trisect.v1, trisect.token.{token}\r\n")
    };
    let mut socket = WebSocket::try_open(address, &offered(&read)).await.unwrap();
    socket.send(&open_job()).await.unwrap();
    assert_eq!(
        socket.receive().await["error"]["data"]["kind"],
        "not-permitted"
    );
    let refused = WebSocket::try_open(address, "host: localhost\r\n")
        .await
        .err()
        .unwrap();
    assert!(refused.starts_with("HTTP/1.1 401"), "{refused}");

    // The client of the command line: in a header.
    let url = format!("ws://{address}/rpc");
    let office = within("a connection", Client::connect_as(&url, Some(&manage)))
        .await
        .unwrap();
    let params = JobOpenParams {
        bay: "bay-1".to_owned(),
        machine: "Unit 14".to_owned(),
        ..serde_json::from_value(json!({"bay": "", "machine": ""})).unwrap()
    };
    within("job.open", office.call::<JobOpen>(&params))
        .await
        .unwrap();

    // What is well known to everyone, and what is not.
    for (path, status) in [
        ("/health", 200),
        ("/health/live", 200),
        ("/health/ready", 200),
        ("/metrics", 401),
    ] {
        let answer = get_with(address, path, "host: localhost\r\n").await;
        assert_eq!(answer.status, status, "{path}: {}", answer.body);
    }

    // Who did what, once what is counted has been written down.
    let trail = async || {
        let params = serde_json::from_value::<AuditListParams>(json!({"limit": 1000})).unwrap();
        office.call::<AuditList>(&params).await.unwrap().entries
    };
    let wanted = [
        ("token:office", "job.open", "ok"),
        ("token:display", "job.open", "not-permitted"),
        ("unknown", "connect", "token-missing"),
        ("unknown", "connect", "token-refused"),
        ("service", "service.start", "ok"),
    ];
    let mut again = tokio::time::interval(std::time::Duration::from_millis(50));
    within("the trail", async {
        loop {
            let entries = trail().await;
            let there = |(who, what, outcome): &(&str, &str, &str)| {
                entries.iter().any(|e| {
                    (e.who.as_str(), e.what.as_str(), e.outcome.as_str()) == (*who, *what, *outcome)
                })
            };
            if wanted.iter().all(there) {
                let of_office = entries
                    .iter()
                    .find(|e| e.who == "token:office" && e.what == "job.open")
                    .unwrap();
                assert_eq!(of_office.subject.as_deref(), Some("bay-1"));
                assert_eq!(of_office.peer.as_deref(), Some("127.0.0.1"));
                return;
            }
            // Asking is on the trail as well: not too often.
            again.tick().await;
        }
    })
    .await;
    // A reader does not read the trail.
    let reader = post(address, Some(&read), &call("audit.list", &json!({}))).await;
    assert_eq!(reader.kind().as_deref(), Some("not-permitted"));
}

#[tokio::test]
async fn a_revoked_token_ends_what_goes_on_with_it() {
    let folder = tempfile::tempdir().unwrap();
    let tokens = folder.path().join("tokens.toml");
    let lost = token(&tokens, "lost", "manage").await;
    let rest = format!("token_file = {:?}", tokens.display().to_string());
    let daemon = Daemon::serve(&configuration(folder.path(), &rest)).await;
    let headers = format!("host: localhost\r\nauthorization: Bearer {lost}\r\n");
    let mut socket = WebSocket::try_open(daemon.address, &headers).await.unwrap();
    socket
        .send(&call("service.about", &json!({})))
        .await
        .unwrap();
    assert_eq!(socket.receive().await["result"]["name"], "trisectd");
    let file = tokens.to_str().unwrap();
    let (code, said) = trisectd(&["token", "revoke", "lost", "--file", file]).await;
    assert_eq!(code, 0, "{said}");
    let rest = within("the end of the WebSocket", socket.rest()).await;
    assert!(rest.contains(&Frame::Close(Some(1000))), "{rest:?}");
    let after = post(daemon.address, Some(&lost), &open_job()).await;
    assert_eq!(after.kind().as_deref(), Some("token-refused"));
    let (code, said) = trisectd(&["token", "list", "--file", file]).await;
    assert_eq!((code, said.contains("lost")), (0, false), "{said}");
}

#[tokio::test]
async fn a_token_that_calls_too_often_is_told_so_and_others_are_not() {
    let folder = tempfile::tempdir().unwrap();
    let tokens = folder.path().join("tokens.toml");
    let (fast, slow) = (
        token(&tokens, "fast", "read").await,
        token(&tokens, "slow", "read").await,
    );
    let rest = format!(
        "token_file = {:?}\n[access]\ncalls_per_second = 5",
        tokens.display().to_string()
    );
    let daemon = Daemon::serve(&configuration(folder.path(), &rest)).await;
    // A batch counts by its entries: ten are two seconds' worth.
    let one = call("service.about", &json!({}));
    let batch = format!("[{}]", vec![one.as_str(); 30].join(","));
    let answers = post(daemon.address, Some(&fast), &batch).await.json();
    let kinds = answers
        .as_array()
        .unwrap()
        .iter()
        .map(|one| one["error"]["data"]["kind"].as_str());
    let refused = kinds.filter(|kind| *kind == Some("rate-limited")).count();
    assert!((15..=20).contains(&refused), "{refused} of 30 refused");
    let other = post(daemon.address, Some(&slow), &one).await.json();
    assert_eq!(other["result"]["name"], "trisectd");
}

#[tokio::test]
async fn the_unix_socket_lets_in_whom_its_file_lets_in() {
    use std::os::unix::fs::PermissionsExt;
    let folder = tempfile::tempdir().unwrap();
    let socket = folder.path().join("rpc.sock");
    let rest = format!(
        "[unix]\npath = {:?}\nmode = \"0600\"\nrole = \"measure\"",
        socket.display().to_string()
    );
    let daemon = Daemon::serve(&configuration(folder.path(), &rest)).await;
    let mode = std::fs::metadata(&socket).unwrap().permissions().mode();
    assert_eq!(mode & 0o777, 0o600);
    let mut stream = tokio::net::UnixStream::connect(&socket).await.unwrap();
    let body = open_job();
    let request = format!(
        "POST /rpc HTTP/1.1\r\nhost: localhost\r\ncontent-type: application/json\r\nconnection: close\r\ncontent-length: {}\r\n\r\n{body}",
        body.len()
    );
    stream.write_all(request.as_bytes()).await.unwrap();
    let mut answer = String::new();
    within("an answer", stream.read_to_string(&mut answer))
        .await
        .unwrap();
    // `measure` opens no job: it was let in, and no further than its role.
    assert!(answer.contains("not-permitted"), "{answer}");
    // Loopback is let in nowhere, as the configuration does not say so.
    let over_tcp = post(daemon.address, None, &body).await;
    assert_eq!(over_tcp.kind().as_deref(), Some("token-missing"));
    assert!(daemon.terminate().await.success());
    assert!(!socket.exists(), "the socket's file was left behind");
}

#[tokio::test]
async fn check_config_says_all_and_starts_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let file = configuration(
        folder.path(),
        "colour = \"red\"\n[access]\nloopback = \"boss\"\n[limits]\nconnections = \"many\"",
    );
    let (code, said) = trisectd(&["check-config", "--config", file.to_str().unwrap()]).await;
    assert_eq!(code, 1, "{said}");
    for expected in [
        "line 3: `colour`",
        "`access.loopback`: `boss` is not one of",
        "`limits.connections`",
    ] {
        assert!(said.contains(expected), "{expected} is missing in {said}");
    }
    assert!(!folder.path().join("journal.db").exists());
    let good = configuration(folder.path(), "[access]\nloopback = \"read\"");
    let (code, said) = trisectd(&["check-config", "--config", good.to_str().unwrap()]).await;
    assert_eq!((code, said.contains("no mistakes")), (0, true), "{said}");
}

#[tokio::test]
async fn check_config_looks_for_everything_that_is_named() {
    let folder = tempfile::tempdir().unwrap();
    let rest = r#"
rulesets = ["/no/rules.toml"]
token_file = "/no/tokens.toml"
[access]
loopback = "manage"
[tls]
listen = "127.0.0.1:0"
certificate = "/no/certificate.pem"
key = "/no/key.pem"
[unix]
path = "/no/rpc.sock"
[[webhooks]]
webhook = "erp"
url = "https://erp.example/x"
secret_file = "/no/secret"
[[plugins]]
plugin = "gone"
command = ["no-such-program"]
[[bays]]
bay = "b"
[[bays.instruments]]
instrument = "a"
adapter = "http"
settings = { url = "http://x/", readings = [{ function = "pressure", value = "/v", unit = "psi" }], credentials = { bearer_file = "/no/token" } }
[[bays.instruments]]
instrument = "q"
adapter = "plugin"
settings = { plugin = "none" }
"#;
    let file = configuration(folder.path(), rest);
    let (code, said) = trisectd(&["check-config", "--config", file.to_str().unwrap()]).await;
    assert_eq!(code, 1, "{said}");
    for expected in [
        "`rulesets`",
        "`token_file`",
        "`tls`",
        "`unix.path`: there is no directory /no",
        "`webhooks.erp`: cannot read the secret in /no/secret",
        "`plugins.gone`: there is no program `no-such-program` in the PATH",
        "`bays[0].instruments[0].settings.credentials`: cannot read /no/token",
        "`bays[0].instruments[1].settings.plugin`",
    ] {
        assert!(said.contains(expected), "{expected} is missing in {said}");
    }
    assert_eq!(said.lines().count(), 8, "{said}");
}
