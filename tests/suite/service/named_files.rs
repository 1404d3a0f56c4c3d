//! What a caller may name: no file of the service's machine, no device that is no port, no network that is not allowed.

use std::path::Path;
use std::time::Duration;

use serde_json::{Value, json};
use trisect_tests::daemon::Daemon;
use trisect_tests::service::{BAY, client};
use trisect_tests::wait::within;
use trisect_wire::client::{Client, ClientError};
use trisect_wire::table::{InstrumentAttach, InstrumentList, InstrumentProbe};
use trisect_wire::types::{
    InstrumentAttachParams, InstrumentListParams, InstrumentProbeParams, InstrumentState,
};
use trisect_wire::{ErrorKind, WireError};

use super::http::attaching;

async fn attach(
    client: &Client,
    name: &str,
    adapter: &str,
    settings: Value,
) -> Result<(), WireError> {
    let params = InstrumentAttachParams {
        bay: BAY.to_owned(),
        instrument: name.to_owned(),
        adapter: adapter.to_owned(),
        settings: settings.as_object().unwrap().clone(),
    };
    match within("the attaching", client.call::<InstrumentAttach>(&params)).await {
        Ok(_) => Ok(()),
        Err(ClientError::Refused(error)) => Err(error),
        Err(other) => panic!("{other}"),
    }
}

fn gauge(url: &str, ca_file: Option<&Path>) -> Value {
    let mut settings = json!({"url": url, "silent_after": 0.2,
        "readings": [{"function": "pressure", "value": "/v", "unit": "psi"}]});
    if let Some(path) = ca_file {
        settings["ca_file"] = json!(path);
    }
    settings
}

fn fifo(path: &Path) {
    let made = std::process::Command::new("mkfifo")
        .arg(path)
        .status()
        .unwrap();
    assert!(made.success());
}

/// Nobody writes to the pipe: whoever reads it waits for ever.
#[tokio::test(flavor = "multi_thread")]
async fn a_pipe_that_a_caller_names_holds_nothing_up() {
    let folder = tempfile::tempdir().unwrap();
    let pipe = folder.path().join("pipe");
    fifo(&pipe);
    let daemon = Daemon::serve(&attaching(folder.path(), "")).await;
    let client = client(daemon.address).await;
    let none = folder.path().join("none");
    let mut said = Vec::new();
    for file in [
        pipe.as_path(),
        Path::new("/dev/zero"),
        Path::new("/etc/passwd"),
        &none,
    ] {
        let settings = gauge("https://127.0.0.1:9/", Some(file));
        let error = attach(&client, "gauge", "http", settings)
            .await
            .unwrap_err();
        assert_eq!(error.kind, ErrorKind::InvalidSettings);
        assert_eq!(error.field.as_deref(), Some("settings.ca_file"));
        said.push(error.to_string());
    }
    // Nor does it tell what files there are.
    said.dedup();
    assert_eq!(said.len(), 1, "{said:?}");
    let all = InstrumentListParams::default();
    let listed = client.call::<InstrumentList>(&all);
    within("another call", listed).await.unwrap();
    assert!(within("the end", daemon.terminate()).await.success());
}

/// In the configuration a file may be named, and is found wanting at once.
#[tokio::test(flavor = "multi_thread")]
async fn a_pipe_in_the_configuration_is_a_mistake() {
    let folder = tempfile::tempdir().unwrap();
    let pipe = folder.path().join("pipe");
    fifo(&pipe);
    let instrument = format!(
        "[[bays]]\nbay = \"other\"\n[[bays.instruments]]\ninstrument = \"gauge\"\nadapter = \"http\"\n\
         settings = {{ url = \"https://127.0.0.1:9/\", ca_file = {pipe:?}, \
         readings = [{{ function = \"pressure\", value = \"/v\", unit = \"psi\" }}] }}\n"
    );
    let file = attaching(folder.path(), &instrument);
    let mut command = tokio::process::Command::new(trisect_tests::programs::program("trisectd"));
    command.args(["check-config", "--config"]).arg(&file);
    let checked = within("the check", command.output()).await.unwrap();
    let said =
        String::from_utf8(checked.stdout).unwrap() + &String::from_utf8(checked.stderr).unwrap();
    assert!(!checked.status.success(), "{said}");
    assert!(said.contains("no regular file"), "{said}");
}

#[tokio::test(flavor = "multi_thread")]
async fn only_a_port_may_be_opened_as_one() {
    let folder = tempfile::tempdir().unwrap();
    let pipe = folder.path().join("pipe");
    fifo(&pipe);
    let daemon = Daemon::serve(&attaching(folder.path(), "")).await;
    let client = client(daemon.address).await;
    let mut said = Vec::new();
    for path in [
        pipe.to_str().unwrap(),
        "/etc/passwd",
        "/etc/none",
        "/dev/zero",
        "/dev/../etc/none",
    ] {
        let settings = json!({"port": path, "protocol": "fs9922"});
        let error = attach(&client, "meter", "multimeter", settings)
            .await
            .unwrap_err();
        assert_eq!(error.kind, ErrorKind::PortRefused, "{path}");
        said.push(error.to_string());
        let params = InstrumentProbeParams {
            port: path.to_owned(),
            allow_writing: false,
        };
        let probed = within("the probe", client.call::<InstrumentProbe>(&params)).await;
        let Err(ClientError::Refused(error)) = probed else {
            panic!("{path} was probed");
        };
        assert_eq!(error.kind, ErrorKind::PortRefused, "{path}");
    }
    said.dedup();
    assert_eq!(said.len(), 1, "{said:?}");
    // What is not plugged in yet is waited for.
    let later = json!({"port": "/dev/serial/by-id/usb-none", "protocol": "fs9922"});
    attach(&client, "meter", "multimeter", later).await.unwrap();
    assert!(daemon.terminate().await.success());
}

#[tokio::test(flavor = "multi_thread")]
async fn networks_of_ones_own_need_an_allowance() {
    let folder = tempfile::tempdir().unwrap();
    let daemon = Daemon::start(&folder.path().join("journal.db")).await;
    let client = client(daemon.address).await;
    // Its own front would answer there.
    let (here, port) = (daemon.address, daemon.address.port());
    let text = json!({"address": here.to_string(), "patterns": ["{pressure|psi}"]});
    let modbus = json!({"address": format!("localhost:{port}"), "quantity": "pressure", "unit": "psi",
        "device": 1, "register": 0, "silent_after_ms": 500});
    let scpi = json!({"address": format!("[::ffff:127.0.0.1]:{port}"), "function": "diode"});
    for (name, adapter, settings) in [
        (
            "http",
            "http",
            gauge(&format!("http://{here}/health/live"), None),
        ),
        ("text", "text", text),
        ("modbus", "transducer", modbus),
        ("scpi", "scpi", scpi),
    ] {
        attach(&client, name, adapter, settings).await.unwrap();
    }
    let all = InstrumentListParams::default();
    let silent = async {
        loop {
            let listed = client
                .call::<InstrumentList>(&all)
                .await
                .unwrap()
                .instruments;
            if listed
                .iter()
                .all(|one| one.state == InstrumentState::Silent)
            {
                return listed;
            }
            tokio::time::sleep(Duration::from_millis(20)).await;
        }
    };
    for one in within("silence", silent).await {
        let note = one.note.unwrap();
        assert!(note.contains("networks"), "{}: {note}", one.instrument);
    }
    assert!(daemon.terminate().await.success());
}

#[tokio::test(flavor = "multi_thread")]
async fn so_many_instruments_and_no_more() {
    let folder = tempfile::tempdir().unwrap();
    let file = attaching(folder.path(), "per_bay = 2");
    let daemon = Daemon::serve(&file).await;
    let client = client(daemon.address).await;
    let manual = || json!({"quantity": "pressure", "full_scale": "60 psi"});
    for name in ["one", "two"] {
        attach(&client, name, "manual", manual()).await.unwrap();
    }
    let error = attach(&client, "three", "manual", manual())
        .await
        .unwrap_err();
    assert_eq!(error.kind, ErrorKind::TooBusy);
    assert!(error.hint.unwrap().contains("detach"));
    // Too often is refused as well.
    let settings = json!({"url": "http://127.0.0.1:9/", "every": 0.0001,
        "readings": [{"function": "pressure", "value": "/v", "unit": "psi"}]});
    let error = attach(&client, "three", "http", settings)
        .await
        .unwrap_err();
    assert_eq!(error.kind, ErrorKind::TooBusy);
    assert!(daemon.terminate().await.success());
}
