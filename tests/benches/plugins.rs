//! Readings of a plugin through its pipe into the queue that a bay takes from: a Python program, in batches of 100 and
//! singly; and how soon a killed one is noticed and back.
//!
//! Goals: 150 000 readings a second in batches of 100, 30 000 singly, nothing lost, memory bounded; a kill noticed
//! within 20 ms, and the first reading of the program that is started again after the back-off (50 to 100 ms at first)
//! and what a start takes, which is measured beside it. Baseline in the same run: the same lines read from the same
//! program and thrown away.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    reason = "a bench fails by panicking"
)]

use std::io::{BufRead, BufReader, Write};
use std::process::{Command, Stdio};
use std::sync::Arc;
use std::time::Instant;

use serde_json::json;
use tokio::sync::mpsc;
use tokio_util::sync::CancellationToken;
use trisect_kit::plugin::{Limits, PluginAdapter, Program};
use trisect_kit::{Adapter, Context, Emission, Health, State};

/// Writes its process number, then numbered readings as fast as it may.
const SOURCE: &str = r#"
import sys, json, os
count, batch = int(sys.argv[1]), int(sys.argv[2])
out = sys.stdout
def say(m):
    out.write(json.dumps({"jsonrpc": "2.0", **m}) + "\n"); out.flush()
for line in sys.stdin:
    m = json.loads(line)
    if m["method"] == "describe":
        say({"id": m["id"], "result": {"contract": 1, "name": "fast", "version": "1", "settings": {},
            "title": str(os.getpid()), "channels": [{"channel": 0, "title": "volts", "function": "voltage"}]}})
    elif m["method"] == "stop":
        say({"id": m["id"], "result": None}); sys.exit(0)
    elif m["method"] == "start":
        say({"id": m["id"], "result": None})
        n = 0
        while n < count:
            s = ",".join('{"channel":0,"function":"voltage","value":%d,"unit":"V"}' % k for k in range(n, n + batch))
            out.write('{"jsonrpc":"2.0","method":"samples","params":{"samples":[' + s + ']}}\n')
            n += batch
        out.flush()
"#;

fn program(count: usize, batch: usize) -> Program {
    Program {
        name: "fast".to_owned(),
        command: [
            "python3",
            "-c",
            SOURCE,
            &count.to_string(),
            &batch.to_string(),
        ]
        .map(str::to_owned)
        .to_vec(),
        directory: None,
        environment: Default::default(),
        limits: Limits::default(),
    }
}

/// The same program, its lines read and thrown away: readings a second.
fn baseline(count: usize, batch: usize) -> f64 {
    let mut child = Command::new("python3")
        .args(["-c", SOURCE, &count.to_string(), &batch.to_string()])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut stdin = child.stdin.take().unwrap();
    let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
    writeln!(stdin, r#"{{"id":1,"method":"start"}}"#).unwrap();
    lines.next().unwrap().unwrap();
    let begun = Instant::now();
    for _ in 0..count / batch {
        lines.next().unwrap().unwrap();
    }
    let rate = count as f64 / begun.elapsed().as_secs_f64();
    drop(stdin);
    child.wait().unwrap();
    rate
}

struct Ran {
    samples: mpsc::Receiver<Emission>,
    health: Health,
    stop: CancellationToken,
    running: tokio::task::JoinHandle<()>,
}

async fn start(program: Program) -> Ran {
    let mut adapter = PluginAdapter::prepare(program, json!({})).await.unwrap();
    let (sender, samples) = mpsc::channel(256);
    let (health, stop, begun) = (Health::new(), CancellationToken::new(), Instant::now());
    let context = Context {
        samples: sender,
        health: health.clone(),
        stop: stop.clone(),
        clock: Arc::new(move || i64::try_from(begun.elapsed().as_nanos()).unwrap()),
        networks: trisect_kit::Networks::all(),
    };
    let running = tokio::spawn(async move { adapter.run(context).await.unwrap() });
    Ran {
        samples,
        health,
        stop,
        running,
    }
}

/// Memory of this process, in MiB.
fn resident() -> f64 {
    let statm = std::fs::read_to_string("/proc/self/statm").unwrap();
    let pages: u64 = statm.split_whitespace().nth(1).unwrap().parse().unwrap();
    (pages * rustix::param::page_size() as u64) as f64 / f64::from(1 << 20)
}

async fn rate(count: usize, batch: usize) {
    let bare = baseline(count, batch);
    let before = resident();
    let mut ran = start(program(count, batch)).await;
    let first = ran.samples.recv().await.unwrap();
    assert_eq!(first.sample.amount.edge(), 0.0);
    let begun = Instant::now();
    for number in 1..count {
        let one = ran.samples.recv().await.unwrap();
        assert_eq!(
            one.sample.amount.edge(),
            number as f64,
            "lost or out of order"
        );
    }
    let rate = count as f64 / begun.elapsed().as_secs_f64();
    let grown = resident() - before;
    println!(
        "batches of {batch:>3}: {rate:>8.0} readings/s, {:.2} of the bare pipe ({bare:.0}/s), none of {count} lost, {grown:.1} MiB more",
        rate / bare
    );
    ran.stop.cancel();
    ran.running.await.unwrap();
}

/// Finds the plugin's process by its command, which names the count.
fn process(mark: &str) -> Option<rustix::process::Pid> {
    let of = |id: i32| {
        std::fs::read(format!("/proc/{id}/cmdline")).is_ok_and(|line| {
            let parts: Vec<_> = line.split(|byte| *byte == 0).collect();
            parts.first().is_some_and(|name| name.ends_with(b"python3"))
                && parts.contains(&mark.as_bytes())
        })
    };
    let ids = std::fs::read_dir("/proc").unwrap().flatten();
    let found = ids
        .filter_map(|entry| entry.file_name().to_str()?.parse().ok())
        .find(|id| of(*id));
    found.and_then(rustix::process::Pid::from_raw)
}

async fn killed() {
    let mark = 100 + usize::try_from(std::process::id()).unwrap();
    let (mut started, mut noticed, mut back) = (Vec::new(), Vec::new(), Vec::new());
    for _ in 0..9 {
        // To be attached it is started once before.
        let mut ran = start(program(mark, 1)).await;
        let begun = Instant::now();
        ran.samples.recv().await.unwrap();
        started.push(begun.elapsed());
        for _ in 1..mark {
            ran.samples.recv().await.unwrap();
        }
        let mut news = ran.health.watch();
        let id = process(&mark.to_string()).unwrap();
        let begun = Instant::now();
        rustix::process::kill_process(id, rustix::process::Signal::KILL).unwrap();
        news.wait_for(|vitals| vitals.state == State::Silent)
            .await
            .unwrap();
        noticed.push(begun.elapsed());
        ran.samples.recv().await.unwrap();
        back.push(begun.elapsed());
        ran.stop.cancel();
        drop(ran.samples);
        ran.running.await.unwrap();
    }
    for times in [&mut started, &mut noticed, &mut back] {
        times.sort();
    }
    println!(
        "killed: noticed p50 {:.2?}, most {:.2?}; back p50 {:.0?}, most {:.0?}, of which a start takes p50 {:.0?}, most {:.0?}",
        noticed[4], noticed[8], back[4], back[8], started[4], started[8]
    );
}

fn main() {
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()
        .unwrap();
    runtime.block_on(async {
        rate(1_000_000, 100).await;
        rate(300_000, 1).await;
        killed().await;
    });
}
