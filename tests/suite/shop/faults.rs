//! A full disk, a directory that cannot be written, a database that somebody else holds, a clock that
//! is set: each has an outcome, and none loses what was acknowledged.

use std::os::unix::process::CommandExt;
use std::path::Path;
use std::sync::atomic::{AtomicI64, Ordering};

use jiff::{SignedDuration, Timestamp};
use rustix::process::{Resource, Rlimit, prlimit};
use serde_json::json;
use trisect_bay::clock::BayClock;
use trisect_journal::{Journal, SqliteJournal};
use trisect_tests::daemon::Daemon;
use trisect_tests::programs::program;
use trisect_tests::raw::post;
use trisect_tests::service::{BAY, client, open_job, readings, submit};
use trisect_tests::wait::within;
use trisect_wire::client::{Client, ClientError};
use trisect_wire::table::{
    JobAnswer, JobReplay, JobShow, JobVerify, ReadingHistory, ReadingSubmit,
};
use trisect_wire::types::{
    JobAnswerParams, JobName, JobShowParams, ReadingHistoryParams, ReadingSubmitParams,
};
use trisect_wire::{ErrorKind, WireError};
use trisectd::Service;
use trisectd::config::Settings;

use super::{call, trisectd};

pub(super) async fn try_submit(client: &Client, count: usize) -> Result<u64, WireError> {
    let params = ReadingSubmitParams {
        bay: BAY.to_owned(),
        readings: Some(readings("battery", "V", &vec![12.5; count])),
        senml: None,
        key: None,
    };
    let answer = within("an answer", client.call::<ReadingSubmit>(&params)).await;
    match answer {
        Ok(stored) => Ok(stored.accepted),
        Err(ClientError::Refused(refused)) => Err(refused),
        Err(other) => panic!("{other}"),
    }
}

pub(super) async fn stored(client: &Client, job: &str) -> u64 {
    let name = JobShowParams::of(job);
    client.call::<JobShow>(&name).await.unwrap().readings
}

pub(super) async fn sound(journal: &Path, job: &str) {
    let journal = SqliteJournal::open(journal).unwrap();
    assert_eq!(journal.integrity().await.unwrap(), [""; 0]);
    assert_eq!(journal.verify(job).await.unwrap().findings, [""; 0]);
}

#[tokio::test]
async fn a_full_disk_refuses_what_it_cannot_store_and_goes_on_when_there_is_room() {
    let folder = tempfile::tempdir().unwrap();
    let journal = folder.path().join("journal.db");
    let daemon = Daemon::start(&journal).await;
    let client = client(daemon.address).await;
    let job = open_job(&client, None).await.job;
    submit(&client, readings("battery", "V", &[12.5; 10])).await;
    // No file may grow any more: writing fails as it does on a full disk.
    let largest = std::fs::metadata(folder.path().join("journal.db-wal"))
        .unwrap()
        .len();
    let limit = |current| Rlimit {
        current,
        maximum: None,
    };
    prlimit(
        Some(daemon.process()),
        Resource::Fsize,
        limit(Some(largest)),
    )
    .unwrap();
    let mut acknowledged = 10;
    let refused = loop {
        match try_submit(&client, 100).await {
            Ok(count) => acknowledged += count,
            Err(refused) => break refused,
        }
        assert!(acknowledged < 100_000, "the limit was never met");
    };
    assert_eq!(refused.kind, ErrorKind::Storage, "{refused}");
    // It still answers what it can, and nothing refused is half stored.
    assert_eq!(stored(&client, &job).await, acknowledged);
    prlimit(Some(daemon.process()), Resource::Fsize, limit(None)).unwrap();
    acknowledged += try_submit(&client, 100).await.unwrap();
    assert_eq!(stored(&client, &job).await, acknowledged);
    let replay = serde_json::from_value(json!({"job": job})).unwrap();
    assert!(client.call::<JobReplay>(&replay).await.unwrap().same);
    let name = JobName { job: job.clone() };
    assert!(client.call::<JobVerify>(&name).await.unwrap().sound);
    assert!(daemon.terminate().await.success());
    sound(&journal, &job).await;
}

#[tokio::test]
async fn a_directory_that_cannot_be_written_is_named_at_the_start() {
    use std::os::unix::fs::PermissionsExt;
    let folder = tempfile::tempdir().unwrap();
    std::fs::set_permissions(folder.path(), std::fs::Permissions::from_mode(0o555)).unwrap();
    let journal = folder.path().join("journal.db");
    // The program itself may lie where only its owner comes: a copy everyone reaches.
    let open = tempfile::tempdir().unwrap();
    std::fs::set_permissions(open.path(), std::fs::Permissions::from_mode(0o755)).unwrap();
    let copy = open.path().join("trisectd");
    std::fs::copy(program("trisectd"), &copy).unwrap();
    let mut command = std::process::Command::new(&copy);
    command.args([
        "serve",
        "--listen",
        "127.0.0.1:0",
        "--loopback",
        "manage",
        "--journal",
    ]);
    command.arg(&journal).current_dir("/");
    if rustix::process::geteuid().is_root() {
        // Nothing is forbidden to root: nobody in particular tries.
        command.uid(65_534).gid(65_534);
    }
    let mut command = tokio::process::Command::from(command);
    let ended = within("its end", command.kill_on_drop(true).output())
        .await
        .unwrap();
    let said = String::from_utf8(ended.stderr).unwrap();
    assert_eq!(ended.status.code(), Some(1), "{said}");
    assert!(
        said.contains("could not lock the journal") && said.contains("writable"),
        "{said}"
    );
}

#[tokio::test]
async fn a_database_that_somebody_holds_refuses_and_then_goes_on() {
    let folder = tempfile::tempdir().unwrap();
    let journal = folder.path().join("journal.db");
    let daemon = Daemon::start(&journal).await;
    let client = client(daemon.address).await;
    let job = open_job(&client, None).await.job;
    submit(&client, readings("battery", "V", &[12.5])).await;
    let holder = rusqlite::Connection::open(&journal).unwrap();
    holder.execute_batch("BEGIN IMMEDIATE").unwrap();
    let refused = try_submit(&client, 1).await.unwrap_err();
    assert_eq!(refused.kind, ErrorKind::Storage);
    assert!(
        refused.message.contains("another program holds the file"),
        "{refused}"
    );
    // Reading is not held up.
    assert_eq!(stored(&client, &job).await, 1);
    holder.execute_batch("ROLLBACK").unwrap();
    assert_eq!(try_submit(&client, 1).await.unwrap(), 1);
    assert_eq!(stored(&client, &job).await, 2);
    // And a second service on the same file is refused at once.
    let path = journal.to_str().unwrap();
    let (code, said) = trisectd(&[
        "serve",
        "--listen",
        "127.0.0.1:0",
        "--loopback",
        "manage",
        "--journal",
        path,
    ])
    .await;
    assert_eq!((code, said.contains("is in use")), (1, true), "{said}");
    drop(holder);
    assert!(daemon.terminate().await.success());
    sound(&journal, &job).await;
}

#[tokio::test]
async fn what_is_stored_is_acknowledged_though_its_verdict_is_not() {
    let folder = tempfile::tempdir().unwrap();
    let journal = folder.path().join("journal.db");
    let daemon = Daemon::start(&journal).await;
    let client = client(daemon.address).await;
    // A disk whose last room the readings take: from now on no verdict can be stored.
    let holder = rusqlite::Connection::open(&journal).unwrap();
    let refuse =
        "CREATE TRIGGER full BEFORE INSERT ON verdict BEGIN SELECT RAISE(FAIL, 'no room'); END";
    holder.execute_batch(refuse).unwrap();
    let kept = "SELECT count(*) FROM verdict";
    let kept = || holder.query_row(kept, [], |row| row.get::<_, i64>(0));
    let job = open_job(&client, None).await.job;
    assert_eq!(try_submit(&client, 1).await.unwrap(), 1);
    let answering: JobAnswerParams =
        serde_json::from_value(json!({"job": job, "check": "fuel-seen", "answer": "seen"}))
            .unwrap();
    client.call::<JobAnswer>(&answering).await.unwrap();
    assert_eq!((stored(&client, &job).await, kept()), (1, Ok(0)));
    // With room again it is stored when the job is judged next.
    holder.execute_batch("DROP TRIGGER full").unwrap();
    assert_eq!(try_submit(&client, 1).await.unwrap(), 1);
    assert_eq!((stored(&client, &job).await, kept()), (2, Ok(1)));
    drop(holder);
    assert!(daemon.terminate().await.success());
    sound(&journal, &job).await;
}

static SET: AtomicI64 = AtomicI64::new(0);

/// A wall clock that can be set.
fn wall() -> Timestamp {
    let set = SignedDuration::from_secs(SET.load(Ordering::Relaxed));
    Timestamp::now().checked_add(set).unwrap()
}

/// The service with the wall clock set by so many seconds since it last ran.
async fn start(journal: &Path) -> Service {
    start_by(journal, wall).await
}

async fn start_by(journal: &Path, wall: fn() -> Timestamp) -> Service {
    let settings = Settings {
        listen: ([127, 0, 0, 1], 0).into(),
        journal: journal.to_owned(),
        ..Settings::default()
    };
    let starting = Service::start_by(settings, BayClock::start_by(1.0, wall));
    within("the start", starting).await.unwrap()
}

#[tokio::test]
async fn a_clock_that_is_set_dates_new_readings_and_moves_nothing_else() {
    let folder = tempfile::tempdir().unwrap();
    let journal = folder.path().join("journal.db");
    let mut service = start(&journal).await;
    let mut client_now = client(service.address()).await;
    let job = open_job(&client_now, None).await.job;
    submit(&client_now, readings("battery", "V", &[12.0])).await;
    for (set, restarted) in [(3600, false), (0, false), (-3600, true), (3600, true)] {
        SET.store(set, Ordering::Relaxed);
        if restarted {
            service.stop().await;
            service = start(&journal).await;
            client_now = client(service.address()).await;
        } else {
            // It is noticed within seconds; the metrics tell.
            within("the step", async {
                loop {
                    let now = trisect_tests::raw::get_with(
                        service.address(),
                        "/metrics",
                        "host: localhost\r\n",
                    )
                    .await;
                    let stepped = now
                        .body
                        .lines()
                        .find_map(|l| l.strip_prefix("trisect_clock_stepped_seconds "));
                    let stepped: f64 = stepped.unwrap().parse().unwrap();
                    if (stepped - set as f64).abs() < 1.0 {
                        return;
                    }
                    tokio::time::sleep(std::time::Duration::from_millis(50)).await;
                }
            })
            .await;
        }
        submit(&client_now, readings("battery", "V", &[12.0])).await;
    }
    let params = ReadingHistoryParams {
        job: Some(job.clone()),
        ..ReadingHistoryParams::default()
    };
    let page = client_now
        .call::<ReadingHistory>(&params)
        .await
        .unwrap()
        .readings;
    assert_eq!(page.len(), 5);
    // The job's own time never goes back; the wall time is as the clock was set.
    assert!(page.is_sorted_by(|a, b| a.at <= b.at), "{page:?}");
    let hours: Vec<i64> = page
        .iter()
        .map(|reading| {
            let time: Timestamp = reading.time.0.parse().unwrap();
            (time.duration_since(Timestamp::now()).as_secs_f64() / 3600.0).round() as i64
        })
        .collect();
    assert_eq!(hours[..3], [0, 1, 0]);
    let replay = serde_json::from_value(json!({"job": job})).unwrap();
    assert!(client_now.call::<JobReplay>(&replay).await.unwrap().same);
    service.stop().await;
    sound(&journal, &job).await;
}

static SET_BACK: AtomicI64 = AtomicI64::new(0);

/// A wall clock of its own: tests run side by side.
fn wall_set_back() -> Timestamp {
    let back = SignedDuration::from_secs(SET_BACK.load(Ordering::Relaxed));
    Timestamp::now().checked_sub(back).unwrap()
}

/// What was stored last may be older than what was stored before it, by the time that was said with it.
#[tokio::test]
async fn a_jobs_time_goes_on_from_its_newest_reading_though_an_older_one_came_last() {
    let folder = tempfile::tempdir().unwrap();
    let journal = folder.path().join("journal.db");
    let mut service = start_by(&journal, wall_set_back).await;
    let mut client_now = client(service.address()).await;
    let job = open_job(&client_now, None).await;
    submit(&client_now, readings("battery", "V", &[12.0])).await;
    let mut old = readings("battery", "V", &[12.1]);
    old[0].time = Some(job.opened.clone());
    submit(&client_now, old).await;
    SET_BACK.store(3600, Ordering::Relaxed);
    service.stop().await;
    service = start_by(&journal, wall_set_back).await;
    client_now = client(service.address()).await;
    submit(&client_now, readings("battery", "V", &[12.2])).await;
    let params = ReadingHistoryParams {
        job: Some(job.job.clone()),
        ..ReadingHistoryParams::default()
    };
    let page = client_now.call::<ReadingHistory>(&params).await.unwrap();
    let at: Vec<f64> = page.readings.iter().map(|reading| reading.at).collect();
    assert!(at[1] < at[0] && at[0] <= at[2], "{at:?}");
    service.stop().await;
    sound(&journal, &job.job).await;
}

#[tokio::test]
async fn a_batch_of_a_hundred_thousand_is_refused_whole() {
    let folder = tempfile::tempdir().unwrap();
    let daemon = Daemon::start(&folder.path().join("journal.db")).await;
    let one = r#"{"jsonrpc":"2.0","method":"m","id":1}"#;
    let batch = format!("[{}]", vec![one; 100_000].join(","));
    let answer = within("an answer", post(daemon.address, &batch)).await;
    assert_eq!(
        (answer.status, answer.kind().as_deref()),
        (413, Some("too-large"))
    );
    // So are readings, with nothing of them stored.
    let client = client(daemon.address).await;
    let job = open_job(&client, None).await.job;
    let refused = post(
        daemon.address,
        &call(
            "reading.submit",
            &json!({"bay": BAY, "readings": readings("battery", "V", &[12.5; 100_000])}),
        ),
    )
    .await;
    assert_eq!(
        refused.kind().as_deref(),
        Some("too-large"),
        "{}",
        &refused.body[..300.min(refused.body.len())]
    );
    assert_eq!(stored(&client, &job).await, 0);
}
