//! From a reading on the wire (a multimeter's frame on a pseudo-terminal) to the verdict that has it, at a
//! subscriber over the WebSocket, at a thousand readings a second; each is on disk by then.
//!
//! Goal: 99 of 100 within 10 ms. Baselines in the same run: what the disk takes for one durable commit of
//! bare SQLite (one row, WAL, `synchronous=FULL`), just before and just after; a call of `bay.list`, there
//! and back.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    reason = "a bench fails by panicking"
)]

use std::time::{Duration, Instant};

use trisect_tests::instrument::{Cable, place};
use trisect_tests::service::{BAY, Served, open_job, say};
use trisect_tests::timing::{durable_commits, quantile};
use trisect_wire::client::{Client, Watch};
use trisect_wire::table::{BayList, VerdictWatch};
use trisect_wire::types::{BayName, NoParams, Phase, VerdictItem};

/// Readings sent: each shows a voltage of its own, a millivolt above the one before.
const COUNT: usize = 10_000;

/// An ES51922's frame of so many millivolts, in its range of 22 V.
fn frame(millivolts: usize) -> Vec<u8> {
    format!("1{millivolts:05};000:0\r\n").into_bytes()
}

/// The millivolts of the newest reading a verdict has.
async fn newest(watch: &mut Watch<VerdictWatch>) -> Option<usize> {
    let VerdictItem::Verdict(item) = watch.next().await?.unwrap() else {
        return Some(0);
    };
    let piece = item
        .verdict
        .evidence
        .iter()
        .find(|piece| piece.check == "battery-rest");
    Some(
        piece
            .and_then(|piece| piece.value)
            .map_or(0, |volts| (volts * 1000.0).round() as usize),
    )
}

async fn there_and_back(client: &Client) -> Vec<Duration> {
    let mut times = Vec::new();
    for _ in 0..1000 {
        let begun = Instant::now();
        client.call::<BayList>(&NoParams {}).await.unwrap();
        times.push(begun.elapsed());
    }
    times.sort();
    times
}

async fn measure() -> (Vec<Duration>, Vec<Duration>) {
    let served = Served::start().await;
    let client = served.client().await;
    open_job(&client, None).await;
    say(&client, Phase::Off).await;
    let cable = Cable::new();
    cable.attach_meter(&client, "es51922").await;
    place(&client, "battery").await;
    let bay = BayName {
        bay: BAY.to_owned(),
    };
    let mut watch = client.watch::<VerdictWatch>(&bay).await.unwrap();
    let following = tokio::spawn(async move {
        let mut seen = Vec::with_capacity(COUNT);
        while seen.len() < COUNT {
            let newest = newest(&mut watch).await.expect("the service is there");
            // A verdict that has a reading has all before it.
            let now = Instant::now();
            while seen.len() < newest {
                seen.push(now);
            }
        }
        seen
    });
    let mut sent = Vec::with_capacity(COUNT);
    let mut beat = tokio::time::interval(Duration::from_millis(1));
    for number in 1..=COUNT {
        beat.tick().await;
        sent.push(Instant::now());
        cable.say(&frame(number)).await;
    }
    let seen = trisect_tests::wait::within("the last verdict", following)
        .await
        .unwrap();
    let mut times: Vec<Duration> = sent
        .iter()
        .zip(&seen)
        .map(|(sent, seen)| *seen - *sent)
        .collect();
    times.sort();
    let calls = there_and_back(&client).await;
    served.stop().await;
    (times, calls)
}

fn main() {
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()
        .unwrap();
    let mut commit = durable_commits();
    let (times, calls) = runtime.block_on(measure());
    commit.extend(durable_commits());
    commit.sort();
    let rows = [
        ("wire to verdict", &times),
        ("bare commit", &commit),
        ("bay.list", &calls),
    ];
    for (what, times) in rows {
        let [p50, p99, most] = [0.5, 0.99, 1.0].map(|part| quantile(times, part));
        println!(
            "{what:<16} p50 {p50:>9.2?}  p99 {p99:>9.2?}  most {most:>9.2?}  ({} times)",
            times.len()
        );
    }
    for part in [0.5, 0.99] {
        let ratio = quantile(&times, part).as_secs_f64() / quantile(&commit, part).as_secs_f64();
        println!("ratio to the bare commit at {part}: {ratio:.1}");
    }
}
