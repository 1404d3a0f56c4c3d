//! Sixty-four instruments in sixteen bays, each a hundred samples a second, into jobs that are open: what that costs
//! one core, and how long a sample takes from its last byte to the subscriber that has the measurement, on disk by then.
//!
//! Goals: under 30 % of one core, none lost, 99 of 100 within 5 ms. Baselines in the same run: a durable commit of bare
//! SQLite, and what decoding the same bytes alone takes of a core. The service runs as a program on the first core, the
//! instruments and the subscribers here on the others.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    reason = "a bench fails by panicking"
)]

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::time::{Duration, Instant};

use rustix::thread::{CpuSet, sched_getaffinity, sched_setaffinity};
use trisect_kit::Decoded;
use trisect_tests::daemon::Daemon;
use trisect_tests::instrument::Cable;
use trisect_tests::programs::optimised;
use trisect_tests::service::client;
use trisect_tests::timing::{durable_commits, quantile};
use trisect_tests::wait::within;
use trisect_wire::client::{Client, Watch};
use trisect_wire::table::{JobOpen, ProbePlace, ReadingWatch};
use trisect_wire::types::{BayName, JobOpenParams, ProbePlaceParams, Reading, ReadingItem};

const BAYS: usize = 16;
/// One for each instrument of a bay.
const POINTS: [&str; 4] = [
    "battery",
    "positive-cable-drop",
    "ground-cable-drop",
    "pump-feed-drop",
];
const INSTRUMENTS: usize = BAYS * POINTS.len();
/// Samples of each instrument: a hundred a second.
const SAMPLES: usize = 1500;
const EVERY: Duration = Duration::from_millis(10);

/// An ES51922's frame of so many tenths of a millivolt, in its range of 2.2 V.
fn frame(number: usize) -> Vec<u8> {
    format!("0{number:05};000:0\r\n").into_bytes()
}

fn number(reading: &Reading) -> usize {
    (reading.value * 10_000.0).round() as usize
}

fn bay(index: usize) -> String {
    format!("bay-{index}")
}

/// A configuration with every instrument, each at the end of its cable.
fn configuration(cables: &[Cable]) -> String {
    let mut text = String::new();
    for (index, cables) in cables.chunks(POINTS.len()).enumerate() {
        writeln!(text, "[[bays]]\nbay = \"{}\"", bay(index)).unwrap();
        for (cable, point) in cables.iter().zip(POINTS) {
            let port = cable.path();
            writeln!(
                text,
                "[[bays.instruments]]\ninstrument = \"{point}\"\nadapter = \"multimeter\"\n\
                 settings = {{ protocol = \"es51922\", port = {port:?} }}"
            )
            .unwrap();
        }
    }
    text
}

async fn open(client: &Client, bay: &str) {
    let job = JobOpenParams {
        bay: bay.to_owned(),
        machine: "Unit 14".to_owned(),
        complaint: None,
        ruleset: None,
        by: None,
    };
    within("job.open", client.call::<JobOpen>(&job))
        .await
        .unwrap();
    for point in POINTS {
        let place = ProbePlaceParams {
            bay: bay.to_owned(),
            instrument: point.to_owned(),
            channel: "0".to_owned(),
            point: point.to_owned(),
        };
        within("probe.place", client.call::<ProbePlace>(&place))
            .await
            .unwrap();
    }
}

/// When each sample of each instrument of a bay was there; ends when all are, or none came for long.
async fn follow(mut watch: Watch<ReadingWatch>) -> BTreeMap<String, BTreeMap<usize, Instant>> {
    let mut seen: BTreeMap<String, BTreeMap<usize, Instant>> = BTreeMap::new();
    let mut count = 0;
    while count < SAMPLES * POINTS.len() {
        let Ok(Some(item)) = tokio::time::timeout(Duration::from_secs(5), watch.next()).await
        else {
            break;
        };
        match item.unwrap() {
            ReadingItem::Reading(reading) => {
                let instrument = reading.instrument.clone().expect("an instrument took it");
                seen.entry(instrument)
                    .or_default()
                    .insert(number(&reading), Instant::now());
                count += 1;
            }
            other => panic!("{other:?}"),
        }
    }
    seen
}

/// All instruments say all their samples, spread evenly; when each was said.
async fn say_all(cables: &[Cable]) -> Vec<Vec<Instant>> {
    let mut sent = vec![Vec::with_capacity(SAMPLES); cables.len()];
    let mut beat = tokio::time::interval(EVERY / 10);
    for turn in 0..SAMPLES * 10 {
        beat.tick().await;
        for (index, cable) in cables.iter().enumerate().skip(turn % 10).step_by(10) {
            let sent = &mut sent[index];
            let frame = frame(sent.len() + 1);
            sent.push(Instant::now());
            cable.say(&frame).await;
        }
    }
    sent
}

struct Measured {
    times: Vec<Duration>,
    lost: usize,
    load: f64,
}

async fn measure() -> Measured {
    let folder = tempfile::tempdir().unwrap();
    let cables: Vec<Cable> = (0..INSTRUMENTS).map(|_| Cable::new()).collect();
    let config = folder.path().join("trisect.toml");
    std::fs::write(&config, configuration(&cables)).unwrap();
    let program = optimised("trisectd");
    // A child runs where its parent may.
    let everywhere = sched_getaffinity(None).unwrap();
    let mut first = CpuSet::new();
    first.set(0);
    let mut others = everywhere;
    others.unset(0);
    sched_setaffinity(None, &first).unwrap();
    let daemon =
        Daemon::start_configured(&program, &folder.path().join("journal.db"), &config).await;
    sched_setaffinity(
        None,
        if others.count() > 0 {
            &others
        } else {
            &everywhere
        },
    )
    .unwrap();

    let mut following = Vec::new();
    let mut clients = Vec::new();
    for index in 0..BAYS {
        let client = client(daemon.address).await;
        open(&client, &bay(index)).await;
        let watch = client
            .watch::<ReadingWatch>(&BayName { bay: bay(index) })
            .await
            .unwrap();
        following.push(tokio::spawn(follow(watch)));
        clients.push(client);
    }
    let (before, begun) = (daemon.processor_time(), Instant::now());
    let sent = say_all(&cables).await;
    let load = (daemon.processor_time() - before).as_secs_f64() / begun.elapsed().as_secs_f64();
    let (mut times, mut lost) = (Vec::new(), 0);
    for (seen, sent) in following.into_iter().zip(sent.chunks(POINTS.len())) {
        let seen = seen.await.unwrap();
        for (point, sent) in POINTS.iter().zip(sent) {
            for (index, sent) in sent.iter().enumerate() {
                match seen.get(*point).and_then(|seen| seen.get(&(index + 1))) {
                    Some(seen) => times.push(*seen - *sent),
                    None => lost += 1,
                }
            }
        }
    }
    times.sort();
    drop(clients);
    assert!(daemon.terminate().await.success());
    Measured { times, lost, load }
}

/// What of one core decoding alone takes.
fn decoding() -> f64 {
    let bytes: Vec<u8> = (1..=SAMPLES).flat_map(frame).collect();
    let begun = Instant::now();
    for _ in 0..INSTRUMENTS {
        let mut decoder = trisect_multimeter::codec("es51922").unwrap().decoder();
        decoder.push(&bytes);
        let mut count = 0;
        while let Some(decoded) = decoder.next() {
            count += usize::from(matches!(decoded, Decoded::Sample(_)));
        }
        assert_eq!(count, SAMPLES);
    }
    begun.elapsed().as_secs_f64() / (EVERY * SAMPLES as u32).as_secs_f64()
}

fn main() {
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .unwrap();
    let mut commit = durable_commits();
    let measured = runtime.block_on(measure());
    commit.extend(durable_commits());
    commit.sort();
    println!(
        "{INSTRUMENTS} instruments, {} samples, {} lost",
        INSTRUMENTS * SAMPLES,
        measured.lost
    );
    println!(
        "load of one core {:.1} %; decoding alone {:.3} %",
        measured.load * 100.0,
        decoding() * 100.0
    );
    for (what, times) in [
        ("byte to subscriber", &measured.times),
        ("bare commit", &commit),
    ] {
        let [p50, p99, most] = [0.5, 0.99, 1.0].map(|part| quantile(times, part));
        println!("{what:<18} p50 {p50:>9.2?}  p99 {p99:>9.2?}  most {most:>9.2?}");
    }
    for part in [0.5, 0.99] {
        let ratio =
            quantile(&measured.times, part).as_secs_f64() / quantile(&commit, part).as_secs_f64();
        println!("ratio to the bare commit at {part}: {ratio:.1}");
    }
}
