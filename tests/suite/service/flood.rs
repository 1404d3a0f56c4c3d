//! A client that floods the WebSocket and never reads: cut within seconds, and under 20 MB.

use std::time::{Duration, Instant};

use trisect_tests::daemon::Daemon;
use trisect_tests::raw::WebSocket;
use trisect_tests::wait::within;

/// The most it may cost, and the longest it may go on.
const MEMORY: u64 = 20 * 1024 * 1024;
const PATIENCE: Duration = Duration::from_secs(10);

/// Sends calls with long answers until the connection is cut.
async fn flood(daemon: &Daemon) -> u64 {
    let mut socket = WebSocket::open(daemon.address).await;
    let call = r#"{"jsonrpc":"2.0","method":"ruleset.show","params":{"ruleset":"distributor-pump-12v"},"id":1}"#;
    let mut most = daemon.resident();
    let cut = async {
        // A write that waits goes on being measured: the cost may come while nothing more is taken.
        let mut measure = tokio::time::interval(Duration::from_millis(20));
        loop {
            let mut sending = std::pin::pin!(socket.send(call));
            loop {
                tokio::select! {
                    sent = &mut sending => match sent {
                        Ok(()) => break,
                        Err(_) => return,
                    },
                    _ = measure.tick() => most = most.max(daemon.resident()),
                }
            }
        }
    };
    within("the cut", cut).await;
    most.max(daemon.resident())
}

#[tokio::test]
async fn a_flood_is_cut_within_seconds_and_costs_little() {
    let folder = tempfile::tempdir().unwrap();
    let daemon = Daemon::start(&folder.path().join("journal.db")).await;
    // What it needs for a well-behaved client is not the flood's.
    let mut polite = WebSocket::open(daemon.address).await;
    polite
        .send(r#"{"jsonrpc":"2.0","method":"rpc.discover","id":1}"#)
        .await
        .unwrap();
    polite.receive().await;
    let before = daemon.resident();
    let begun = Instant::now();
    let most = flood(&daemon).await;
    assert!(
        begun.elapsed() < PATIENCE,
        "cut after {:?}",
        begun.elapsed()
    );
    let cost = most.saturating_sub(before);
    println!(
        "cut after {:?}, at a cost of {} KiB",
        begun.elapsed(),
        cost / 1024
    );
    assert!(cost < MEMORY, "it cost {cost} bytes");
    // The others are served as before.
    polite
        .send(r#"{"jsonrpc":"2.0","method":"bay.list","id":2}"#)
        .await
        .unwrap();
    assert_eq!(polite.receive().await["id"], 2);
    assert!(daemon.terminate().await.success());
}
