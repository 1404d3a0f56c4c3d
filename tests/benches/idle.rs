//! What the idle service costs, and how soon it answers: the optimised program, on its own.
//!
//! Goals: under 16 MB resident; the first request answered within 50 ms of starting. Baseline: the same
//! program asked for its version.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    reason = "a bench fails by panicking"
)]

use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::{Duration, Instant};

use tempfile::TempDir;
use trisect_tests::daemon::Daemon;
use trisect_tests::raw::post;
use trisect_tests::repository::root;

/// Builds the optimised program and says where it is.
fn optimised() -> PathBuf {
    let cargo = std::env::var("CARGO").unwrap_or_else(|_| "cargo".to_owned());
    let arguments = [
        "build",
        "--release",
        "--quiet",
        "--locked",
        "-p",
        "trisectd",
    ];
    assert!(
        Command::new(cargo)
            .args(arguments)
            .current_dir(root())
            .status()
            .unwrap()
            .success()
    );
    let this = std::env::current_exe().unwrap();
    // A bench runs in `target/release/deps`.
    this.parent().unwrap().with_file_name("trisectd")
}

async fn first_answer(program: &Path) -> (Duration, Daemon, TempDir) {
    let folder = tempfile::tempdir().unwrap();
    let begun = Instant::now();
    let daemon = Daemon::start_program(program, &folder.path().join("journal.db")).await;
    let answer = post(
        daemon.address,
        r#"{"jsonrpc":"2.0","method":"service.about","id":1}"#,
    )
    .await;
    assert_eq!(answer.status, 200);
    (begun.elapsed(), daemon, folder)
}

fn median(mut times: Vec<Duration>) -> Duration {
    times.sort();
    times[times.len() / 2]
}

fn main() {
    let program = optimised();
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .unwrap();
    let version = (0..15).map(|_| {
        let begun = Instant::now();
        assert!(
            Command::new(&program)
                .arg("--version")
                .output()
                .unwrap()
                .status
                .success()
        );
        begun.elapsed()
    });
    let version = median(version.collect());
    let mut times = Vec::new();
    let mut resident = Vec::new();
    runtime.block_on(async {
        for _ in 0..15 {
            let (time, daemon, _folder) = first_answer(&program).await;
            times.push(time);
            resident.push(daemon.resident());
            assert!(daemon.terminate().await.success());
        }
    });
    resident.sort_unstable();
    let first = median(times);
    println!("first answer     {first:>9.2?} after starting (median of 15)");
    println!(
        "version only     {version:>9.2?}, ratio {:.1}",
        first.as_secs_f64() / version.as_secs_f64()
    );
    println!(
        "resident         {:>9.2} MB (most of 15)",
        resident[resident.len() - 1] as f64 / 1e6
    );
    let size = std::fs::metadata(&program).unwrap().len();
    println!("program          {:>9.2} MB", size as f64 / 1e6);
}
