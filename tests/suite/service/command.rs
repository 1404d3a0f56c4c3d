//! The `trisect` command against a running service: a small job from opening to closing.

use std::process::Stdio;

use serde_json::Value;
use tokio::io::{AsyncBufReadExt, BufReader};
use tokio::process::Command;
use trisect_tests::programs::{Ended, program, trisect};
use trisect_tests::service::{Served, open_job, readings, submit};
use trisect_tests::wait::within;

/// Runs the command while the service runs.
pub(super) async fn run(served: &Served, arguments: &[&str]) -> Ended {
    let url = format!("ws://{}/rpc", served.address);
    let mut all = vec!["--server".to_owned(), url];
    all.extend(arguments.iter().map(|argument| (*argument).to_owned()));
    let running = tokio::task::spawn_blocking(move || {
        let all: Vec<&str> = all.iter().map(String::as_str).collect();
        trisect(&all, "")
    });
    running.await.unwrap()
}

async fn json(served: &Served, arguments: &[&str]) -> Value {
    let ended = run(served, &[arguments, &["--json"]].concat()).await;
    assert_eq!(ended.code, 0, "{arguments:?}: {ended:?}");
    serde_json::from_str(&ended.out).unwrap_or_else(|error| panic!("{error}: {ended:?}"))
}

#[tokio::test(flavor = "multi_thread")]
async fn a_job_from_opening_to_closing() {
    let served = Served::start().await;
    let opened = json(
        &served,
        &[
            "job",
            "open",
            "bay-1",
            "Unit 14",
            "--complaint",
            "cranks-no-start",
            "--by",
            "R.",
        ],
    )
    .await;
    let job = opened["job"].as_str().unwrap().to_owned();
    let entered = json(
        &served,
        &["enter", "bay-1", "tank-suction", "-3 inHg", "--by", "R."],
    )
    .await;
    assert_eq!(
        (&entered["point"], &entered["entered"]),
        (&"tank-suction".into(), &true.into())
    );
    json(
        &served,
        &["job", "answer", &job, "fuel-seen", "not-seen", "--by", "R."],
    )
    .await;
    let shown = json(&served, &["job", "show", &job]).await;
    assert_eq!(shown["verdict"]["suspects"][0]["id"], "tank-empty");
    assert_eq!(shown["answers"][0]["answer"], "not-seen");
    let people = run(&served, &["job", "show", &job]).await;
    assert!(
        people.code == 0 && people.out.contains("supply"),
        "{people:?}"
    );
    let closed = json(
        &served,
        &["job", "close", &job, "--confirmed", "tank-empty"],
    )
    .await;
    assert_eq!(closed["state"], "closed");
    let list = json(&served, &["job", "list", "--state", "closed"]).await;
    assert_eq!(list["jobs"][0]["job"], job.as_str());
    served.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_refusal_ends_with_2_and_says_the_way_out() {
    let served = Served::start().await;
    let wrong = run(&served, &["job", "open", "bay-7", "Unit 14"]).await;
    assert_eq!((wrong.code, wrong.out.as_str()), (2, ""), "{wrong:?}");
    assert!(wrong.err.contains("bay-1"), "{wrong:?}");
    let folder = served.stop().await;
    drop(folder);
    let gone = trisect(&["--server", "ws://127.0.0.1:1/rpc", "job", "list"], "");
    assert!(
        gone.code == 2 && gone.err.contains("127.0.0.1:1"),
        "{gone:?}"
    );
}

/// What `trisect watch` prints while it runs: first the verdict as it stands, then what happens.
#[tokio::test(flavor = "multi_thread")]
async fn watch_tells_readings_and_verdicts_as_they_come() {
    let served = Served::start().await;
    let client = served.client().await;
    open_job(&client, None).await;
    let mut child = Command::new(program("trisect"))
        .args(["watch", "--json", "--server"])
        .arg(format!("ws://{}/rpc", served.address))
        .stdout(Stdio::piped())
        .kill_on_drop(true)
        .spawn()
        .unwrap();
    let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
    let mut next = async || -> Value {
        let line = within("a line", lines.next_line())
            .await
            .unwrap()
            .expect("it runs");
        serde_json::from_str(&line).unwrap()
    };
    assert_eq!(next().await["watch"], "verdict.watch");
    submit(&client, readings("battery", "V", &[12.61])).await;
    let (mut reading, mut verdict) = (false, false);
    while !(reading && verdict) {
        let line = next().await;
        reading |= line["watch"] == "reading.watch" && line["value"] == 12.61;
        let evidence = line["evidence"].as_array();
        verdict |=
            evidence.is_some_and(|all| all.iter().any(|piece| piece["check"] == "battery-rest"));
    }
    // When the service goes, so does it, and says why.
    served.stop().await;
    let ended = within("its end", child.wait()).await.unwrap();
    assert_eq!(ended.code(), Some(2));
}
