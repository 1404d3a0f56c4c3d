//! How it ends: told to stop, it finishes what it has in hand; killed, it loses nothing it acknowledged; and
//! an open job goes on where it was.

use trisect_tests::daemon::Daemon;
use trisect_tests::raw::{Frame, WebSocket};
use trisect_tests::service::{BAY, client, open_job, readings, say, submit};
use trisect_tests::wait::within;
use trisect_wire::table::{JobList, JobShow, ReadingHistory, VerdictWatch};
use trisect_wire::types::{
    BayName, JobListParams, JobShowParams, JobState, Phase, ReadingHistoryParams, VerdictItem,
};

#[tokio::test]
async fn sigterm_ends_it_gracefully() {
    let folder = tempfile::tempdir().unwrap();
    let daemon = Daemon::start(&folder.path().join("journal.db")).await;
    let mut socket = WebSocket::open(daemon.address).await;
    socket
        .send(r#"{"jsonrpc":"2.0","method":"bay.list","id":1}"#)
        .await
        .unwrap();
    assert_eq!(socket.receive().await["id"], 1);
    let ended = daemon.terminate().await;
    assert_eq!(ended.code(), Some(0), "{ended:?}");
    assert_eq!(socket.rest().await, [Frame::Close(Some(1000))]);
}

#[tokio::test]
async fn an_open_job_goes_on_after_a_restart() {
    let folder = tempfile::tempdir().unwrap();
    let journal = folder.path().join("journal.db");
    let daemon = Daemon::start(&journal).await;
    let first = client(daemon.address).await;
    let job = open_job(&first, None).await.job;
    say(&first, Phase::Cranking).await;
    submit(&first, readings("pump-inlet-pressure", "psi", &[3.1, 3.0])).await;
    let before = first
        .call::<JobShow>(&JobShowParams::of(&job))
        .await
        .unwrap();
    assert!(daemon.terminate().await.success());

    let daemon = Daemon::start(&journal).await;
    let second = client(daemon.address).await;
    let after = second
        .call::<JobShow>(&JobShowParams::of(&job))
        .await
        .unwrap();
    assert_eq!(after, before);
    assert_eq!(after.job.state, JobState::Open);
    // It takes readings on, and its verdict moves with them. The phase is the one that was said.
    let bay = BayName {
        bay: BAY.to_owned(),
    };
    let mut watch = within("verdict.watch", second.watch::<VerdictWatch>(&bay))
        .await
        .unwrap();
    let VerdictItem::Verdict(stands) = within("the verdict", watch.next()).await.unwrap().unwrap()
    else {
        panic!("the first item is the verdict as it stands");
    };
    assert_eq!(
        (stands.job.as_str(), stands.verdict.phase),
        (job.as_str(), Phase::Cranking)
    );
    submit(&second, readings("positive-cable-drop", "V", &[1.4])).await;
    let moved = async {
        loop {
            if let VerdictItem::Verdict(moved) = watch.next().await.unwrap().unwrap()
                && moved
                    .verdict
                    .evidence
                    .iter()
                    .any(|piece| piece.check == "positive-cable")
            {
                return;
            }
        }
    };
    within("a verdict that has the new reading", moved).await;
    assert!(daemon.terminate().await.success());
}

/// Design, "What has to stay true", 1: no reading acknowledged is ever lost.
#[tokio::test]
async fn what_was_acknowledged_survives_a_kill() {
    let folder = tempfile::tempdir().unwrap();
    let journal = folder.path().join("journal.db");
    let daemon = Daemon::start(&journal).await;
    let first = client(daemon.address).await;
    let job = open_job(&first, None).await.job;
    let mut acknowledged = 0;
    for round in 0..20 {
        acknowledged += submit(
            &first,
            readings("battery", "V", &[12.0 + f64::from(round) / 100.0; 50]),
        )
        .await;
    }
    daemon.kill().await;

    let daemon = Daemon::start(&journal).await;
    let second = client(daemon.address).await;
    let open = JobListParams {
        state: Some(JobState::Open),
        ..JobListParams::default()
    };
    assert_eq!(
        second.call::<JobList>(&open).await.unwrap().jobs[0].job,
        job
    );
    let shown = second
        .call::<JobShow>(&JobShowParams::of(job))
        .await
        .unwrap();
    assert_eq!(shown.readings, acknowledged);
    let page = ReadingHistoryParams {
        bay: Some(BAY.to_owned()),
        limit: Some(1000),
        ..Default::default()
    };
    let page = second.call::<ReadingHistory>(&page).await.unwrap();
    assert_eq!(
        (page.readings.len() as u64, page.more),
        (acknowledged, false)
    );
    assert!(daemon.terminate().await.success());
}

#[tokio::test]
async fn a_wrong_configuration_ends_with_2_and_a_way_out() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("trisectd.toml");
    std::fs::write(&file, "lisen = \"127.0.0.1:0\"\n").unwrap();
    let check = async |arguments: &[&str], says: &str| {
        let mut command =
            tokio::process::Command::new(trisect_tests::programs::program("trisectd"));
        let ended = within(
            "its end",
            command.args(arguments).kill_on_drop(true).output(),
        )
        .await
        .unwrap();
        let err = String::from_utf8(ended.stderr).unwrap();
        assert_eq!(ended.status.code(), Some(2), "{arguments:?}: {err}");
        assert!(err.contains(says), "{err}");
    };
    check(&["serve", "--config", file.to_str().unwrap()], "listen").await;
    check(&["serve", "--listen", "0.0.0.0:0"], "token").await;
    check(
        &["serve", "--config", "no-such-file.toml"],
        "no-such-file.toml",
    )
    .await;
}
