//! The practice bay: a service full of live instruments with nothing real attached, worked as a front end would.

use std::collections::BTreeSet;
use std::process::Stdio;
use std::time::Duration;

use tokio::io::{AsyncBufReadExt, AsyncWriteExt, BufReader};
use tokio::process::Command;
use trisect_tests::daemon::Daemon;
use trisect_tests::programs::program;
use trisect_tests::repository::text;
use trisect_tests::service::client;
use trisect_tests::wait::within;
use trisect_wire::client::{Client, Watch};
use trisect_wire::table::{
    InstrumentList, JobClose, JobOpen, PhaseSay, ProbePlace, ReadingHistory, ReadingWatch,
};
use trisect_wire::types::{
    BayName, Drive, Instrument, InstrumentListParams, InstrumentState, Phase, PhaseSayParams,
    ProbePlaceParams, Reading, ReadingHistoryParams, ReadingItem,
};

/// Three times as fast as the world: a round of the engine takes seconds, and the instruments keep up.
const SPEED: &str = "3";

fn practice(more: &[&str]) -> Command {
    let mut command = Command::new(program("trisectd"));
    command
        .args(["practice", "--listen", "127.0.0.1:0", "--speed", SPEED])
        .args(more)
        .kill_on_drop(true);
    command
}

async fn instruments(client: &Client) -> Vec<Instrument> {
    let all = InstrumentListParams::default();
    client
        .call::<InstrumentList>(&all)
        .await
        .unwrap()
        .instruments
}

async fn readings(client: &Client, bay: &str) -> Watch<ReadingWatch> {
    let bay = BayName {
        bay: bay.to_owned(),
    };
    client.watch::<ReadingWatch>(&bay).await.unwrap()
}

async fn next(readings: &mut Watch<ReadingWatch>) -> Reading {
    loop {
        match readings.next().await.unwrap().unwrap() {
            ReadingItem::Reading(reading) => return reading,
            ReadingItem::Gap { .. } => {}
        }
    }
}

/// Waits for a reading of a point that is as is wished.
async fn until(
    readings: &mut Watch<ReadingWatch>,
    point: &str,
    wish: impl Fn(f64) -> bool,
) -> Reading {
    within(point, async {
        loop {
            let reading = next(readings).await;
            if reading.point == point && wish(reading.value) {
                return reading;
            }
        }
    })
    .await
}

fn placing(instrument: &str, point: &str) -> ProbePlaceParams {
    ProbePlaceParams {
        bay: "bay-1".to_owned(),
        instrument: instrument.to_owned(),
        channel: "0".to_owned(),
        point: point.to_owned(),
    }
}

#[tokio::test]
async fn a_healthy_machine_can_be_asked_for() {
    let mut child = practice(&["--fault", "none", "--origin", "http://localhost:5173"])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut said = BufReader::new(child.stdout.take().unwrap()).lines();
    within("the fault", async {
        while let Some(line) = said.next_line().await.unwrap() {
            if line.contains("none (the service is not told)") {
                return;
            }
        }
        panic!("it has ended");
    })
    .await;
    child
        .stdin
        .take()
        .unwrap()
        .write_all(b"quit\n")
        .await
        .unwrap();
    let ended = within("the end", child.wait()).await.unwrap();
    assert!(ended.success());
}

#[tokio::test]
async fn every_instrument_is_live_and_the_engine_is_worked_in_a_round() {
    let daemon = Daemon::start_command(practice(&["--seed", "3"])).await;
    let client = client(daemon.address).await;
    let mut readings = readings(&client, "bay-1").await;
    within("all instruments", async {
        while instruments(&client)
            .await
            .iter()
            .any(|one| one.state != InstrumentState::Running)
        {}
    })
    .await;
    assert_eq!(instruments(&client).await.len(), 6);
    let mut points = BTreeSet::new();
    within("readings of all", async {
        while points.len() < 6 {
            points.insert(next(&mut readings).await.point);
        }
    })
    .await;
    // It stands, is cranked, runs, and stands again; a healthy machine starts.
    until(&mut readings, "engine-speed", |rpm| {
        (60.0..350.0).contains(&rpm)
    })
    .await;
    until(&mut readings, "engine-speed", |rpm| rpm > 600.0).await;
    until(&mut readings, "pump-inlet-pressure", |psi| psi > 5.0).await;
    until(&mut readings, "engine-speed", |rpm| rpm < 10.0).await;
    assert!(daemon.terminate().await.success());
}

#[tokio::test]
async fn leads_and_drive_follow_what_is_said_and_faults_show() {
    let faults = [
        "--fault",
        "suction-restricted:1",
        "--fault",
        "pump-control-unit-dead",
    ];
    let daemon = Daemon::start_command(practice(&faults)).await;
    let client = client(daemon.address).await;
    let bay = || "bay-1".to_owned();
    let mut readings = readings(&client, "bay-1").await;
    // A lead follows its probe: in a restricted line the lift pump draws a vacuum that no healthy one has.
    client
        .call::<ProbePlace>(&placing("gauge-2", "tank-suction"))
        .await
        .unwrap();
    until(&mut readings, "tank-suction", |inches| inches < -6.0).await;
    // The drive follows as well. On the bypass drive a dead pump control unit draws nothing, and nothing starts.
    let saying = PhaseSayParams {
        bay: bay(),
        phase: None,
        drive: Some(Drive::Bypass),
    };
    let shown = client.call::<PhaseSay>(&saying).await.unwrap();
    assert_eq!(shown.drive, Some(Drive::Bypass));
    client
        .call::<ProbePlace>(&placing("meter-1", "bypass-current"))
        .await
        .unwrap();
    until(&mut readings, "bypass-current", |amperes| amperes < 0.3).await;
    // The job is as any other: closed, and another one opened by the front end.
    let job = next(&mut readings).await.job;
    let closing = serde_json::from_value(serde_json::json!({"job": job})).unwrap();
    client.call::<JobClose>(&closing).await.unwrap();
    let opening =
        serde_json::from_value(serde_json::json!({"bay": "bay-1", "machine": "Unit 9"})).unwrap();
    let other = client.call::<JobOpen>(&opening).await.unwrap().job;
    client
        .call::<ProbePlace>(&placing("gauge-1", "pump-inlet-pressure"))
        .await
        .unwrap();
    assert_ne!(other, job);
    // What was read in the job before may still be on its way.
    let of_other = async { while next(&mut readings).await.job != other {} };
    within("a reading of the other job", of_other).await;
    until(&mut readings, "pump-inlet-pressure", |_| true).await;
    assert!(daemon.terminate().await.success());
}

#[tokio::test]
async fn what_is_typed_is_done() {
    let mut child = practice(&["--fault", "tank-empty", "--no-job"])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut said = BufReader::new(child.stdout.take().unwrap()).lines();
    let mut stdin = child.stdin.take().unwrap();
    let mut until_said = async |wanted: &str| -> String {
        within(wanted, async {
            loop {
                let line = said.next_line().await.unwrap().expect("it has ended");
                if line.contains(wanted) {
                    return line;
                }
            }
        })
        .await
    };
    let first = until_said("listening on http://").await;
    let address = first.trim_start_matches("listening on http://");
    let address = address.trim_end_matches("/rpc").parse().unwrap();
    until_said("tank-empty (the service is not told)").await;
    until_said("none: trisect job open bay-1").await;
    until_said("trisect watch --server ws://127.0.0.1:").await;
    let client = client(address).await;
    let mut type_ = async |line: &str| stdin.write_all(line.as_bytes()).await.unwrap();
    type_("see fuel-seen\n").await;
    until_said("fuel-seen: not-seen").await;
    type_("unplug gauge-1\n").await;
    until_said("gauge-1 is unplugged").await;
    let stands = async |wish: InstrumentState| {
        within("gauge-1", async {
            loop {
                let all = instruments(&client).await;
                let gauge = all.iter().find(|one| one.instrument == "gauge-1").unwrap();
                if gauge.state == wish {
                    return;
                }
            }
        })
        .await;
    };
    stands(InstrumentState::Silent).await;
    type_("plug gauge-1\n").await;
    stands(InstrumentState::Running).await;
    type_("jump\n").await;
    until_said("not understood").await;
    // The key is turned as is said, and the service hears of it.
    let opening =
        serde_json::from_value(serde_json::json!({"bay": "bay-1", "machine": "Unit 9"})).unwrap();
    let job = client.call::<JobOpen>(&opening).await.unwrap().job;
    type_("on\n").await;
    within("key-on", async {
        loop {
            let name = serde_json::from_value(serde_json::json!({"job": job})).unwrap();
            let verdict = client
                .call::<trisect_wire::table::JobVerdictNow>(&name)
                .await
                .unwrap();
            if verdict.verdict.phase == Phase::KeyOn {
                return;
            }
        }
    })
    .await;
    type_("quit\n").await;
    let ended = within("the end", child.wait()).await.unwrap();
    assert!(ended.success());
}

#[tokio::test]
async fn the_example_configuration_is_a_practice_bay() {
    let folder = tempfile::tempdir().unwrap();
    let here = folder.path().to_str().unwrap();
    let example = text("deploy/examples/practice-bay.toml").replace("/var/lib/trisect", here);
    let file = folder.path().join("practice-bay.toml");
    std::fs::write(&file, example).unwrap();
    let daemon = Daemon::start_command(practice(&["--config", file.to_str().unwrap()])).await;
    let client = client(daemon.address).await;
    let mut readings = readings(&client, "practice").await;
    until(&mut readings, "battery", |volts| volts > 8.0).await;
    // Its own instruments stand beside the simulated ones, and its journal is kept.
    let there: BTreeSet<String> = instruments(&client)
        .await
        .into_iter()
        .map(|one| one.instrument)
        .collect();
    assert!(
        there.contains("dial") && there.contains("gauge-1"),
        "{there:?}"
    );
    let history = ReadingHistoryParams {
        bay: Some("practice".to_owned()),
        ..ReadingHistoryParams::default()
    };
    let kept = client.call::<ReadingHistory>(&history).await.unwrap();
    assert!(!kept.readings.is_empty());
    assert!(daemon.terminate().await.success());
    assert!(folder.path().join("practice.db").exists());
}

#[tokio::test]
async fn a_wish_that_cannot_be_had_is_said_and_ends_with_2() {
    let twice = "tank-empty+tank-empty:0.5";
    for (wish, said) in [
        (&["--fault", "lift-pump-tired"][..], "lift-pump-weak"),
        (&["--fault", "lift-pump-weak:2"], "lift-pump-weak"),
        (
            &["--fault", "tank-empty", "--fault", "tank-empty"],
            "`tank-empty` is there twice",
        ),
        (&["--fault", twice], "`tank-empty` is there twice"),
        (&["--fault", ""], "write `none`"),
        (&["--fault", "none", "--fault", "tank-empty"], "`none` is a"),
        (&["--speed", "0"], "choose a speed"),
        (&["--config", "/no/such/file"], "/no/such/file"),
        (&["--listen", "0.0.0.0:0"], "token"),
        (&["--origin", "junk"], "http://localhost:5173"),
        (&["--origin", "http://localhost:5173/app"], "the origin"),
    ] {
        let mut command = Command::new(program("trisectd"));
        command.arg("practice").args(wish).kill_on_drop(true);
        let running = tokio::time::timeout(Duration::from_secs(20), command.output());
        let ended = running.await.unwrap().unwrap();
        let err = String::from_utf8(ended.stderr).unwrap();
        assert_eq!(ended.status.code(), Some(2), "{wish:?}: {err}");
        assert!(err.contains(said), "{wish:?}: {err}");
    }
}
