//! An upgrade loses no reading: the socket is held by whoever starts the service, so that no
//! connection is refused in between, and what was not answered is sent again under its key.

use std::net::{SocketAddr, TcpListener};
use std::os::fd::AsRawFd;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};

use rustix::io::{FdFlags, fcntl_setfd};
use tokio::process::Command;
use trisect_tests::daemon::Daemon;
use trisect_tests::programs::program;
use trisect_tests::service::{BAY, client, open_job, readings};
use trisect_tests::wait::within;
use trisect_wire::client::Client;
use trisect_wire::table::{JobShow, ReadingSubmit};
use trisect_wire::types::{JobShowParams, ReadingSubmitParams};

/// Starts the service on a socket that this process holds, as systemd does.
async fn start(socket: &TcpListener, journal: &Path) -> Daemon {
    let mut command = Command::new("bash");
    // What is handed over is number 3 (plain sh takes numbers of one digit alone), and the process that takes it is named.
    let script = format!(
        "exec 3<&{}; LISTEN_FDS=1 LISTEN_PID=$$ exec \"$0\" serve --loopback manage --log warn --journal \"$1\"",
        socket.as_raw_fd()
    );
    command
        .arg("-c")
        .arg(script)
        .arg(program("trisectd"))
        .arg(journal);
    Daemon::start_command(command).await
}

/// Submits one reading after the other until told to stop, each until it is answered.
async fn submit_all(address: SocketAddr, stop: Arc<AtomicBool>, sent: Arc<AtomicU64>) -> u64 {
    let url = format!("ws://{address}/rpc");
    let mut connected: Option<Client> = None;
    let mut refused = 0;
    while !stop.load(Ordering::Relaxed) {
        let client = match connected.take() {
            Some(client) => client,
            // Held by the socket's queue until the next service takes it.
            None => match Client::connect(&url).await {
                Ok(client) => client,
                Err(error) => {
                    refused += u64::from(error.to_string().contains("nothing listens"));
                    continue;
                }
            },
        };
        let number = sent.load(Ordering::Relaxed) + 1;
        let params = ReadingSubmitParams {
            bay: BAY.to_owned(),
            readings: Some(readings("battery", "V", &[12.0])),
            senml: None,
            key: Some(format!("key-{number}")),
        };
        if client.call::<ReadingSubmit>(&params).await.is_ok() {
            sent.store(number, Ordering::Relaxed);
            connected = Some(client);
        }
    }
    refused
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn three_upgrades_under_load_lose_no_reading_and_refuse_no_connection() {
    let folder = tempfile::tempdir().unwrap();
    let journal = folder.path().join("journal.db");
    let socket = TcpListener::bind("127.0.0.1:0").unwrap();
    fcntl_setfd(&socket, FdFlags::empty()).unwrap();
    let address = socket.local_addr().unwrap();
    let mut daemon = start(&socket, &journal).await;
    assert_eq!(daemon.address, address);
    let job = open_job(&client(address).await, None).await.job;
    let (stop, sent) = (
        Arc::new(AtomicBool::new(false)),
        Arc::new(AtomicU64::new(0)),
    );
    let loading = tokio::spawn(submit_all(address, Arc::clone(&stop), Arc::clone(&sent)));
    for _ in 0..3 {
        let before = sent.load(Ordering::Relaxed);
        within("some load", async {
            while sent.load(Ordering::Relaxed) < before + 20 {
                tokio::task::yield_now().await;
            }
        })
        .await;
        assert!(daemon.terminate().await.success());
        daemon = start(&socket, &journal).await;
    }
    stop.store(true, Ordering::Relaxed);
    let refused = within("the end of the load", loading).await.unwrap();
    assert_eq!(refused, 0, "connections were refused");
    let name = JobShowParams::of(job);
    let shown = client(address).await.call::<JobShow>(&name).await.unwrap();
    assert_eq!(shown.readings, sent.load(Ordering::Relaxed));
    assert!(daemon.terminate().await.success());
}
