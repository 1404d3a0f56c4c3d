//! Ten thousand connections that say nothing: what they cost, and that others are still served; and
//! what becomes of those that say too little.

use std::net::SocketAddr;
use std::time::{Duration, Instant};

use rustix::process::{Resource, getrlimit, setrlimit};
use serde_json::json;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;
use trisect_tests::daemon::Daemon;
use trisect_tests::raw::{get_with, post};
use trisect_tests::wait::within;

use super::{call, configuration};

const IDLE: usize = 10_000;

/// As many files as this process may have.
fn raise_file_limit() -> u64 {
    let mut limit = getrlimit(Resource::Nofile);
    limit.current = limit.maximum;
    setrlimit(Resource::Nofile, limit).unwrap();
    limit.current.unwrap_or(u64::MAX)
}

async fn about(address: SocketAddr) -> (u16, Duration) {
    let before = Instant::now();
    let answer = post(address, &call("service.about", &json!({}))).await;
    (answer.status, before.elapsed())
}

#[tokio::test]
async fn ten_thousand_idle_connections_are_held_and_others_are_served() {
    if raise_file_limit() < IDLE as u64 + 1000 {
        eprintln!("passed over: this machine does not grant {IDLE} open files");
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    let rest =
        "[access]\nloopback = \"manage\"\n[limits]\nconnections = 12000\nhead_within = \"10 min\"";
    let daemon = Daemon::serve(&configuration(folder.path(), rest)).await;
    let before = daemon.resident();
    let mut idle = Vec::with_capacity(IDLE);
    for _ in 0..IDLE {
        idle.push(
            within("a connection", TcpStream::connect(daemon.address))
                .await
                .unwrap(),
        );
    }
    let (status, _) = about(daemon.address).await;
    assert_eq!(status, 200);
    let metrics = get_with(daemon.address, "/metrics", "host: localhost\r\n").await;
    let open = metrics
        .body
        .lines()
        .find_map(|line| line.strip_prefix("trisect_connections_open{listener=\"tcp\"} "));
    assert!(open.unwrap().parse::<usize>().unwrap() >= IDLE, "{open:?}");
    let each = (daemon.resident() - before) / IDLE as u64;
    eprintln!("{each} bytes a connection");
    assert!(each < 64 * 1024, "{each} bytes a connection");
    drop(idle);
    assert!(daemon.terminate().await.success());
}

#[tokio::test]
async fn beyond_the_limit_connections_are_told_so_and_room_comes_back_by_itself() {
    let folder = tempfile::tempdir().unwrap();
    let rest = "[access]\nloopback = \"manage\"\n[limits]\nconnections = 20\nhead_within = \"1 s\"";
    let daemon = Daemon::serve(&configuration(folder.path(), rest)).await;
    let mut idle = Vec::new();
    for _ in 0..20 {
        idle.push(TcpStream::connect(daemon.address).await.unwrap());
    }
    // One of them begins a head and never ends it: that is no more than saying nothing.
    idle[0]
        .write_all(b"POST /rpc HTTP/1.1\r\nhost: local")
        .await
        .unwrap();
    within("being turned away", async {
        while about(daemon.address).await.0 != 503 {}
    })
    .await;
    within("room", async {
        while about(daemon.address).await.0 != 200 {}
    })
    .await;
    let mut rest = Vec::new();
    within("the end of the slow one", idle[0].read_to_end(&mut rest))
        .await
        .unwrap();
}
