//! SIGKILL at random moments under load, two hundred times: every acknowledged reading and answer is
//! there, no verdict differs from its replay, the chain and the database are sound.

use std::path::Path;
use std::time::Duration;

use serde_json::json;
use trisect_journal::{Journal, SqliteJournal};
use trisect_tests::daemon::Daemon;
use trisect_tests::service::{BAY, client, open_job, readings};
use trisect_tests::wait::within;
use trisect_wire::client::Client;
use trisect_wire::table::{
    JobAnswer, JobClose, JobReplay, JobShow, JobVerify, ReadingHistory, ReadingSubmit,
};
use trisect_wire::types::{
    JobAnswerParams, JobName, JobShowParams, ReadingHistoryParams, ReadingSubmitParams,
};

/// How often it is killed, and after how many kills the job is held against what was acknowledged.
const KILLS: usize = 200;
const A_JOB: usize = 20;
/// The longest it lives after its first acknowledgement, in microseconds.
const LIFE: u64 = 40_000;

/// What clients were told is stored.
#[derive(Default)]
struct Acknowledged {
    readings: Vec<f64>,
    answers: usize,
    /// A submission that was sent and not answered: its key and value.
    unanswered: Option<(String, f64)>,
}

/// A small generator (Marsaglia's xorshift64), so that a failure can be made again.
struct Random(u64);

impl Random {
    fn below(&mut self, end: u64) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        self.0 % end
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn two_hundred_kills_lose_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let journal = folder.path().join("journal.db");
    let mut random = Random(0x2545_F491_4F6C_DD1D);
    let mut number = 0;
    for _ in 0..KILLS / A_JOB {
        let daemon = Daemon::start(&journal).await;
        let job = open_job(&client(daemon.address).await, None).await.job;
        let mut told = Acknowledged::default();
        let mut daemon = Some(daemon);
        for _ in 0..A_JOB {
            let running = match daemon.take() {
                Some(running) => running,
                None => Daemon::start(&journal).await,
            };
            let life = Duration::from_micros(random.below(LIFE));
            live_and_die(running, life, &job, &mut told, &mut number).await;
        }
        hold_against(&journal, &job, &told).await;
    }
    let journal = SqliteJournal::open(&journal).unwrap();
    assert_eq!(journal.integrity().await.unwrap(), [""; 0]);
}

/// Loads the service until it is killed, a while after the first acknowledgement.
async fn live_and_die(
    daemon: Daemon,
    life: Duration,
    job: &str,
    told: &mut Acknowledged,
    number: &mut u64,
) {
    let client = client(daemon.address).await;
    // What was sent before the last kill and not answered is sent again, under its key.
    if let Some((key, value)) = told.unanswered.take() {
        submit(&client, &key, value).await.unwrap();
        told.readings.push(value);
    }
    let load = async {
        loop {
            *number += 1;
            // Every value once, well within what is plausible.
            let (key, value) = (format!("key-{number}"), 10.0 + *number as f64 * 1e-5);
            told.unanswered = Some((key.clone(), value));
            if submit(&client, &key, value).await.is_err() {
                return;
            }
            told.unanswered = None;
            told.readings.push(value);
            if number.is_multiple_of(7) {
                let answer = if number.is_multiple_of(2) {
                    "seen"
                } else {
                    "not-seen"
                };
                let params: JobAnswerParams = serde_json::from_value(
                    json!({"job": job, "check": "fuel-seen", "answer": answer}),
                )
                .unwrap();
                if client.call::<JobAnswer>(&params).await.is_err() {
                    return;
                }
                told.answers += 1;
            }
        }
    };
    let dying = async {
        tokio::time::sleep(life).await;
        daemon.kill().await;
    };
    within("the kill", async { tokio::join!(load, dying) }).await;
}

async fn submit(client: &Client, key: &str, value: f64) -> Result<(), String> {
    let params = ReadingSubmitParams {
        bay: BAY.to_owned(),
        readings: Some(readings("battery", "V", &[value])),
        senml: None,
        key: Some(key.to_owned()),
    };
    let answer = client.call::<ReadingSubmit>(&params).await;
    answer.map(|_| ()).map_err(|error| error.to_string())
}

/// Holds a job against what was acknowledged, and closes it.
async fn hold_against(journal: &Path, job: &str, told: &Acknowledged) {
    let daemon = Daemon::start(journal).await;
    let client = client(daemon.address).await;
    let name = JobName {
        job: job.to_owned(),
    };
    let params = ReadingHistoryParams {
        job: Some(job.to_owned()),
        limit: Some(10_000),
        ..ReadingHistoryParams::default()
    };
    let page = client.call::<ReadingHistory>(&params).await.unwrap();
    assert!(!page.more);
    let stored: Vec<f64> = page.readings.iter().map(|reading| reading.value).collect();
    // In the order they were acknowledged, each once; the last may be there unanswered.
    let extra = stored.len() - told.readings.len();
    assert!(
        extra <= usize::from(told.unanswered.is_some()),
        "{extra} more than acknowledged"
    );
    for (stored, acknowledged) in stored.iter().zip(&told.readings) {
        assert!(
            (stored - acknowledged).abs() < 1e-9,
            "{stored} for {acknowledged}"
        );
    }
    let shown = client
        .call::<JobShow>(&JobShowParams::of(job))
        .await
        .unwrap();
    let answers = shown.answers.len();
    assert!(
        answers >= told.answers,
        "{answers} of {} answers",
        told.answers
    );
    let replay = serde_json::from_value(json!({"job": job})).unwrap();
    let replay = client.call::<JobReplay>(&replay).await.unwrap();
    assert!(replay.same, "{:?}", replay.differences);
    let verified = client.call::<JobVerify>(&name).await.unwrap();
    assert_eq!(verified.findings, [""; 0]);
    let close = serde_json::from_value(json!({"job": job})).unwrap();
    client.call::<JobClose>(&close).await.unwrap();
    assert!(daemon.terminate().await.success());
}
