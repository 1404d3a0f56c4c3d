//! What is said to whoever supervises the service (sd_notify(3)), over a datagram socket as systemd's is.

use std::path::Path;
use std::time::{Duration, Instant};

use tokio::net::UnixDatagram;
use tokio::process::Command;
use trisect_tests::daemon::Daemon;
use trisect_tests::programs::program;
use trisect_tests::wait::within;

use super::configuration;

/// How often the supervisor wants to hear that all is well.
const WATCHDOG: Duration = Duration::from_millis(400);

/// The next message, a line an assignment.
async fn next(supervisor: &UnixDatagram) -> Vec<String> {
    let mut message = [0; 4096];
    let length = within("a message", supervisor.recv(&mut message))
        .await
        .unwrap();
    let text = std::str::from_utf8(&message[..length]).unwrap();
    text.lines().map(str::to_owned).collect()
}

/// The next message that is not about the watchdog.
async fn next_news(supervisor: &UnixDatagram) -> Vec<String> {
    loop {
        let message = next(supervisor).await;
        if message != ["WATCHDOG=1"] {
            return message;
        }
    }
}

async fn start(supervisor: &Path, config: &Path) -> Daemon {
    let mut command = Command::new(program("trisectd"));
    command
        .args(["serve", "--config"])
        .arg(config)
        .env("NOTIFY_SOCKET", supervisor)
        .env("WATCHDOG_USEC", WATCHDOG.as_micros().to_string())
        .env_remove("WATCHDOG_PID");
    Daemon::start_command(command).await
}

#[tokio::test]
async fn the_supervisor_is_told_ready_well_reloading_and_stopping() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("notify");
    let supervisor = UnixDatagram::bind(&path).unwrap();
    let rest = "[access]\nloopback = \"manage\"";
    let daemon = start(&path, &configuration(folder.path(), rest)).await;
    assert_eq!(next(&supervisor).await, ["READY=1"]);
    // All is well at half the interval, again and again.
    let before = Instant::now();
    for _ in 0..5 {
        assert_eq!(next(&supervisor).await, ["WATCHDOG=1"]);
    }
    let each = before.elapsed() / 5;
    assert!(each < WATCHDOG, "only every {each:?}");
    assert!(each >= WATCHDOG / 2 - Duration::from_millis(20), "{each:?}");

    // Type=notify-reload asks for the monotonic time with it, in microseconds.
    configuration(folder.path(), "[access]\nloopback = \"read\"");
    daemon.reload();
    let reloading = next_news(&supervisor).await;
    assert_eq!(reloading[0], "RELOADING=1", "{reloading:?}");
    let at = reloading[1].strip_prefix("MONOTONIC_USEC=").unwrap();
    let now = rustix::time::clock_gettime(rustix::time::ClockId::Monotonic);
    let passed = now.tv_sec * 1_000_000 + now.tv_nsec / 1000 - at.parse::<i64>().unwrap();
    assert!((0..30_000_000).contains(&passed), "{passed} µs ago");
    assert_eq!(next_news(&supervisor).await, ["READY=1"]);
    // It goes on saying that all is well.
    assert_eq!(next(&supervisor).await, ["WATCHDOG=1"]);

    // A configuration that is refused ends in READY as well: what was before goes on.
    configuration(folder.path(), "colour = \"red\"");
    daemon.reload();
    assert_eq!(next_news(&supervisor).await[0], "RELOADING=1");
    assert_eq!(next_news(&supervisor).await, ["READY=1"]);

    let (ended, stopping) = tokio::join!(daemon.terminate(), next_news(&supervisor));
    assert_eq!(stopping, ["STOPPING=1"]);
    assert!(ended.success());
}
