//! Programs of other languages as instruments: the examples, held against the contract and read by a service.

use std::path::Path;

use serde_json::{Value, json};
use trisect_tests::instrument::{METER, place, until, watch};
use trisect_tests::programs::trisect;
use trisect_tests::repository::{files, root, text};
use trisect_tests::service::{BAY, Served, open_job};
use trisect_tests::wait::within;
use trisect_wire::ErrorKind;
use trisect_wire::client::{Client, ClientError};
use trisect_wire::table::{InstrumentAttach, ReadingWatch};
use trisect_wire::types::{
    BayName, Instrument, InstrumentAttachParams, InstrumentState, ReadingItem,
};
use trisectd::config::Settings;

const PYTHON: [&str; 2] = ["python3", "adapters/plugins/boost_gauge.py"];
const NODE: [&str; 2] = ["node", "adapters/plugins/tachometer.mjs"];

/// Runs `trisect adapter check` on a program; its exit code and what it said.
fn checked(settings: &Value, command: &[&str]) -> (i32, String) {
    let settings = settings.to_string();
    let arguments = [
        "adapter",
        "check",
        "--wait",
        "1000",
        "--settings",
        &settings,
    ];
    let ended = trisect(&[&arguments[..], command].concat(), "");
    (ended.code, ended.out + &ended.err)
}

#[test]
fn the_examples_keep_the_contract_and_are_short() {
    let folder = tempfile::tempdir().unwrap();
    let (gauge, lines) = (folder.path().join("gauge"), folder.path().join("lines"));
    std::fs::write(&gauge, "14.2\n").unwrap();
    std::fs::write(&lines, "rpm=1520\nrpm=15").unwrap();
    for (command, settings) in [
        (PYTHON, json!({"file": gauge})),
        (NODE, json!({"file": lines})),
    ] {
        let (code, said) = checked(&settings, &command);
        assert!(
            code == 0 && said.contains("10 of 10 kept"),
            "{command:?}: {said}"
        );
    }
    for path in files()
        .iter()
        .filter(|path| path.starts_with("adapters/plugins/"))
    {
        assert!(text(path).lines().count() < 80, "{path}");
    }
}

#[test]
fn what_a_program_breaks_is_said_in_words() {
    let (code, said) = checked(&json!({}), &["cat"]);
    assert!(
        code == 1 && said.contains("broken   it describes itself"),
        "{said}"
    );
    let (code, said) = checked(&json!({}), &["no-such-program"]);
    assert!(
        code == 1 && said.contains("there is no program `no-such-program`"),
        "{said}"
    );
    let (code, said) = checked(&json!({"file": 7}), &PYTHON);
    assert!(
        code == 1 && said.contains("untried  it starts") && said.contains("--settings"),
        "{said}"
    );
    let ended = trisect(&["adapter", "check", "--settings", "{", "cat"], "");
    assert!(
        ended.code == 2 && ended.err.contains("no JSON"),
        "{ended:?}"
    );
}

/// A service that knows the example in Python.
async fn served() -> Served {
    served_as("a-test").await
}

/// The same; its process has this word in its command line, which the example does not look at.
async fn served_as(word: &str) -> Served {
    let command = [PYTHON[0], PYTHON[1], word];
    let plugin = json!({"plugin": "gauge", "command": command, "directory": root()});
    let plugins = vec![serde_json::from_value(plugin).unwrap()];
    Served::start_set(tempfile::tempdir().unwrap(), |settings: &mut Settings| {
        settings.plugins = plugins
    })
    .await
}

async fn attach(client: &Client, settings: Value) -> Result<Instrument, ClientError> {
    let params = InstrumentAttachParams {
        bay: BAY.to_owned(),
        instrument: METER.to_owned(),
        adapter: "plugin".to_owned(),
        settings: settings.as_object().unwrap().clone(),
    };
    within(
        "instrument.attach",
        client.call::<InstrumentAttach>(&params),
    )
    .await
}

fn write(path: &Path, text: &str) {
    // In one step: half a number is another number.
    let new = path.with_extension("new");
    std::fs::write(&new, text).unwrap();
    std::fs::rename(new, path).unwrap();
}

#[tokio::test(flavor = "multi_thread")]
async fn a_plugin_is_an_instrument_like_any_other() {
    let folder = tempfile::tempdir().unwrap();
    let gauge = folder.path().join("gauge");
    write(&gauge, "14.2");
    let served = served().await;
    let client = served.client().await;
    open_job(&client, None).await;
    let settings =
        json!({"plugin": "gauge", "settings": {"file": gauge, "rate": 100}, "accuracy": "0.5 psi"});
    let attached = attach(&client, settings).await.unwrap();
    assert_eq!(
        attached.identity.as_deref(),
        Some("Boost gauge that writes into a file")
    );
    assert_eq!(attached.channels[0].quantity.as_deref(), Some("pressure"));
    place(&client, "pump-inlet-pressure").await;
    let bay = BayName {
        bay: BAY.to_owned(),
    };
    let mut readings = client.watch::<ReadingWatch>(&bay).await.unwrap();
    let ReadingItem::Reading(reading) =
        within("a reading", readings.next()).await.unwrap().unwrap()
    else {
        panic!("a gap");
    };
    assert!(
        (reading.value - 14.2).abs() < 1e-9 && reading.unit == "psi",
        "{reading:?}"
    );
    assert!(
        (reading.uncertainty - 0.5 / 3f64.sqrt()).abs() < 1e-9,
        "{reading:?}"
    );
    let mut instruments = watch(&client).await;
    std::fs::remove_file(&gauge).unwrap();
    let silent = until(&mut instruments, "silence", |one| {
        one.state == InstrumentState::Silent
    })
    .await;
    assert!(silent.note.unwrap().contains("is the gauge on?"));
    write(&gauge, "3");
    until(&mut instruments, "back", |one| {
        one.state == InstrumentState::Running
    })
    .await;
    served.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn what_cannot_be_attached_is_refused_with_its_place() {
    let served = served().await;
    let client = served.client().await;
    for (settings, kind, field) in [
        (
            json!({"plugin": "guage"}),
            ErrorKind::InvalidSettings,
            "settings.plugin",
        ),
        (
            json!({"command": ["sh"]}),
            ErrorKind::InvalidSettings,
            "settings",
        ),
        (
            json!({"plugin": "gauge", "settings": {"file": "x", "rate": 0}}),
            ErrorKind::InvalidSettings,
            "settings.settings.rate",
        ),
        (
            json!({"plugin": "gauge", "settings": {}}),
            ErrorKind::InvalidSettings,
            "settings.settings",
        ),
    ] {
        let error = attach(&client, settings.clone()).await.unwrap_err();
        let ClientError::Refused(error) = error else {
            panic!("{error}");
        };
        assert_eq!(
            (error.kind, error.field.as_deref()),
            (kind, Some(field)),
            "{settings}: {error}"
        );
    }
    served.stop().await;
}

/// Processes with this word in their command line.
fn processes(word: &str) -> Vec<rustix::process::Pid> {
    let of = |id: &i32| {
        std::fs::read(format!("/proc/{id}/cmdline")).is_ok_and(|line| {
            line.split(|byte| *byte == 0)
                .any(|part| part == word.as_bytes())
        })
    };
    let all = std::fs::read_dir("/proc").unwrap().flatten();
    all.filter_map(|entry| entry.file_name().to_str()?.parse().ok())
        .filter(of)
        .filter_map(rustix::process::Pid::from_raw)
        .collect()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_plugin_that_is_killed_is_told_of_at_once_and_comes_back() {
    let folder = tempfile::tempdir().unwrap();
    let gauge = folder.path().join("gauge");
    write(&gauge, "14.2");
    let word = format!("to-be-killed-{}", std::process::id());
    let served = served_as(&word).await;
    let client = served.client().await;
    let mut instruments = watch(&client).await;
    let settings = json!({"plugin": "gauge", "settings": {"file": gauge, "rate": 100}});
    attach(&client, settings).await.unwrap();
    for round in 0..3 {
        until(&mut instruments, "running", |one| {
            one.state == InstrumentState::Running
        })
        .await;
        let ids = processes(&word);
        assert_eq!(ids.len(), 1, "round {round}");
        rustix::process::kill_process(ids[0], rustix::process::Signal::KILL).unwrap();
        let silent = until(&mut instruments, "silence", |one| {
            one.state == InstrumentState::Silent
        })
        .await;
        let note = silent.note.unwrap();
        assert!(
            note.contains("signal 9") && note.contains("started again in"),
            "{note}"
        );
    }
    until(&mut instruments, "back", |one| {
        one.state == InstrumentState::Running
    })
    .await;
    served.stop().await;
    // Nothing of it is left behind.
    within("its end", async {
        while !processes(&word).is_empty() {
            tokio::task::yield_now().await;
        }
    })
    .await;
}
