//! What the idle service costs, and how soon it answers: the optimised program, on its own.
//!
//! Goals: under 16 MB resident; the first request answered within 50 ms of starting. Baseline: the same
//! program asked for its version. A new journal costs the disk several commits before anything is answered.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    reason = "a bench fails by panicking"
)]

use std::path::Path;
use std::process::Command;
use std::time::{Duration, Instant};

use trisect_tests::daemon::Daemon;
use trisect_tests::programs::optimised;
use trisect_tests::raw::post;

/// Starts of each kind; medians are told.
const RUNS: usize = 15;

/// Starts it on a journal and asks; how long that took, and the memory it then holds.
async fn first_answer(program: &Path, journal: &Path) -> (Duration, u64) {
    let begun = Instant::now();
    let daemon = Daemon::start_program(program, journal).await;
    let about = r#"{"jsonrpc":"2.0","method":"service.about","id":1}"#;
    let answer = post(daemon.address, about).await;
    let taken = begun.elapsed();
    assert_eq!(answer.status, 200);
    let resident = daemon.resident();
    assert!(daemon.terminate().await.success());
    (taken, resident)
}

fn median(mut times: Vec<Duration>) -> Duration {
    times.sort();
    times[times.len() / 2]
}

fn version(program: &Path) -> Duration {
    let begun = Instant::now();
    let output = Command::new(program).arg("--version").output().unwrap();
    assert!(output.status.success());
    begun.elapsed()
}

fn main() {
    let program = optimised("trisectd");
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .unwrap();
    let version = median((0..RUNS).map(|_| version(&program)).collect());
    let (mut fresh, mut again, mut most) = (Vec::new(), Vec::new(), 0);
    runtime.block_on(async {
        for _ in 0..RUNS {
            let folder = tempfile::tempdir().unwrap();
            let journal = folder.path().join("journal.db");
            for times in [&mut fresh, &mut again] {
                let (time, resident) = first_answer(&program, &journal).await;
                times.push(time);
                most = most.max(resident);
            }
        }
    });
    println!("version only                     {version:>9.2?}");
    for (what, times) in [("a new journal", fresh), ("a journal that is there", again)] {
        let time = median(times);
        let ratio = time.as_secs_f64() / version.as_secs_f64();
        println!("first answer, {what:<23} {time:>8.2?}, ratio {ratio:.1}");
    }
    println!(
        "resident, at most                {:>9.2} MB",
        most as f64 / 1e6
    );
    let size = std::fs::metadata(&program).unwrap().len();
    println!(
        "program                          {:>9.2} MB",
        size as f64 / 1e6
    );
}
