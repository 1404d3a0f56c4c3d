//! What the heaviest questions of many callers cost the bays: the optimised program, on its own.
//!
//! Goals: while 64 callers ask the heaviest things there are (an examination with proof, the verification, export,
//! replay and look at a job of 230 000 readings, its readings page by page), p99 of a reading submitted, of an answer
//! and of the verdict at a subscriber within twice that of the quiet service; under 256 MB resident; a stop within
//! `stop_within`. Baseline: the quiet service, in the same run.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    reason = "a bench fails by panicking"
)]

use std::net::SocketAddr;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{Duration, Instant};

use tokio_util::sync::CancellationToken;
use trisect_tests::daemon::Daemon;
use trisect_tests::programs::optimised;
use trisect_tests::service::{BAY, client, open_job, readings, say, submit};
use trisect_tests::timing::quantile;
use trisect_wire::client::Client;
use trisect_wire::table::{
    JobAnswer, JobClose, JobExport, JobReplay, JobShow, JobVerify, ReadingHistory, RulesetExamine,
    VerdictWatch,
};
use trisect_wire::types::{BayName, Phase, VerdictItem};

/// Callers at once.
const CALLERS: u64 = 64;
/// Readings of the job that they ask about.
const LONG_JOB: usize = 230_000;
/// Of each kind so many are timed.
const TIMED: usize = 400;

/// A job of many readings, closed.
async fn long_job(client: &Client) -> String {
    let job = open_job(client, None).await.job;
    say(client, Phase::Idle).await;
    for from in (0..LONG_JOB).step_by(1000) {
        let values: Vec<f64> = (from..from + 1000)
            .map(|i| 8.0 + (i % 97) as f64 / 97.0)
            .collect();
        submit(client, readings("pump-inlet-pressure", "psi", &values)).await;
    }
    let closing = serde_json::from_value(serde_json::json!({"job": job})).unwrap();
    client.call::<JobClose>(&closing).await.unwrap();
    job
}

/// Asks the heaviest things again and again; how often it was answered, a refusal included.
async fn ask(
    address: SocketAddr,
    job: String,
    number: u64,
    answered: Arc<AtomicU64>,
    stop: CancellationToken,
) {
    let client = client(address).await;
    let (_, text) = trisect_rules::shipped()[0];
    let of = |value: serde_json::Value| value;
    let asking = async {
        loop {
            match number % 6 {
                0 => {
                    let params = of(serde_json::json!({"text": text, "prove": true}));
                    let _ = client
                        .call::<RulesetExamine>(&serde_json::from_value(params).unwrap())
                        .await;
                }
                1 => {
                    let params = of(serde_json::json!({"job": job}));
                    let _ = client
                        .call::<JobVerify>(&serde_json::from_value(params).unwrap())
                        .await;
                }
                2 => {
                    let params = of(serde_json::json!({"job": job}));
                    let _ = client
                        .call::<JobExport>(&serde_json::from_value(params).unwrap())
                        .await;
                }
                3 => {
                    let params = of(serde_json::json!({"job": job}));
                    let _ = client
                        .call::<JobReplay>(&serde_json::from_value(params).unwrap())
                        .await;
                }
                4 => {
                    let params = of(serde_json::json!({"job": job}));
                    let _ = client
                        .call::<JobShow>(&serde_json::from_value(params).unwrap())
                        .await;
                }
                _ => {
                    let params = of(serde_json::json!({"job": job, "limit": 1000}));
                    let _ = client
                        .call::<ReadingHistory>(&serde_json::from_value(params).unwrap())
                        .await;
                }
            }
            answered.fetch_add(1, Ordering::Relaxed);
            // A caller of a person's pace, not a flood: floods are held off by the front.
            tokio::time::sleep(Duration::from_millis(20)).await;
        }
    };
    tokio::select! {
        () = stop.cancelled() => {}
        () = asking => {}
    }
}

/// Times of submissions, of answers, and of verdicts at a subscriber.
async fn bay(client: &Client, job: &str) -> [Vec<Duration>; 3] {
    let name = BayName {
        bay: BAY.to_owned(),
    };
    let mut watch = client.watch::<VerdictWatch>(&name).await.unwrap();
    let mut times = [Vec::new(), Vec::new(), Vec::new()];
    let answers = ["seen", "not-seen"];
    for number in 0..TIMED {
        let begun = Instant::now();
        let value = 8.0 + number as f64 / 1e3;
        submit(client, readings("pump-inlet-pressure", "psi", &[value])).await;
        times[0].push(begun.elapsed());
        let answer =
            serde_json::json!({"job": job, "check": "fuel-seen", "answer": answers[number % 2]});
        let answer = serde_json::from_value(answer).unwrap();
        let begun = Instant::now();
        let said = client.call::<JobAnswer>(&answer).await.unwrap();
        times[1].push(begun.elapsed());
        loop {
            if let VerdictItem::Verdict(item) = watch.next().await.unwrap().unwrap()
                && item.seq >= said.seq
            {
                break;
            }
        }
        times[2].push(begun.elapsed());
        tokio::time::sleep(Duration::from_millis(5)).await;
    }
    for kind in &mut times {
        kind.sort();
    }
    times
}

async fn measure() {
    let program = optimised("trisectd");
    let folder = tempfile::tempdir().unwrap();
    let daemon = Daemon::start_program(&program, &folder.path().join("journal.db")).await;
    let ours = client(daemon.address).await;
    let long = long_job(&ours).await;
    let job = open_job(&ours, None).await.job;
    say(&ours, Phase::Idle).await;
    let quiet = bay(&ours, &job).await;
    let (answered, stop) = (Arc::new(AtomicU64::new(0)), CancellationToken::new());
    let callers: Vec<_> = (0..CALLERS)
        .map(|number| {
            let asking = ask(
                daemon.address,
                long.clone(),
                number,
                Arc::clone(&answered),
                stop.clone(),
            );
            tokio::spawn(asking)
        })
        .collect();
    tokio::time::sleep(Duration::from_secs(2)).await;
    let begun = Instant::now();
    let mut most = 0;
    let busy = {
        let watching = async {
            loop {
                most = most.max(daemon.resident());
                tokio::time::sleep(Duration::from_millis(50)).await;
            }
        };
        tokio::select! {
            busy = bay(&ours, &job) => busy,
            () = watching => unreachable!("it watches for ever"),
        }
    };
    let asked = answered.load(Ordering::Relaxed) as f64 / begun.elapsed().as_secs_f64();
    println!(
        "{CALLERS} callers, {asked:.0} answers a second; {} MB resident (goal: 256)",
        most >> 20
    );
    let stopping = Instant::now();
    assert!(daemon.terminate().await.success());
    println!(
        "stopped within {:.2} s, all of it under way",
        stopping.elapsed().as_secs_f64()
    );
    stop.cancel();
    for caller in callers {
        caller.await.unwrap();
    }
    for (what, (quiet, busy)) in ["reading.submit", "job.answer", "verdict.watch"]
        .iter()
        .zip(quiet.iter().zip(&busy))
    {
        let at = |times: &[Duration], part| quantile(times, part).as_secs_f64() * 1e3;
        println!(
            "{what:15} p50 {:.2} ms, p99 {:.2} ms quiet; {:.2}, {:.2} beside them: p99 x {:.2} (goal: 2)",
            at(quiet, 0.5),
            at(quiet, 0.99),
            at(busy, 0.5),
            at(busy, 0.99),
            at(busy, 0.99) / at(quiet, 0.99)
        );
    }
}

fn main() {
    let runtime = tokio::runtime::Runtime::new().unwrap();
    runtime.block_on(measure());
}
