//! `pymodbus` serving, read by our adapter in every type and order, over a pseudo-terminal and TCP; our
//! simulated transducer, read by `minimalmodbus`.

use std::collections::BTreeMap;
use std::sync::Arc;

use serde_json::{Value, json};
use tokio::sync::mpsc;
use trisect_kit::conformance::Pty;
use trisect_kit::{Context, Health};
use trisect_measure::{Amount, Unit};
use trisect_simulated::bay::{Options, SimulatedBay};
use trisect_simulated::instruments::WordOrder;
use trisect_tests::wait::within;
use trisect_transducer::TransducerSettings;

use super::{python, said};

/// What the server says it holds, as inputs in volts: a unit of factor one.
fn inputs(held: &Value) -> Value {
    let input = |held: &Value| {
        let mut input = held.as_object().unwrap().clone();
        input.remove("value");
        Value::Object(input)
    };
    let held = held["inputs"].as_array().unwrap();
    json!({
        "quantity": "voltage", "unit": "V", "period_ms": 10, "silent_after_ms": 20_000,
        "reply_timeout_ms": 2000, "longest_reply_ms": 2000,
        "inputs": held.iter().map(input).collect::<Vec<_>>(),
    })
}

/// Runs an adapter until every channel gave a sample; the first of each.
async fn first_samples(settings: &TransducerSettings, channels: usize) -> BTreeMap<u16, f64> {
    let mut adapter = settings.adapter().unwrap();
    let (samples, mut taken) = mpsc::channel(16);
    let stop = tokio_util::sync::CancellationToken::new();
    let health = Health::new();
    let context = Context {
        samples,
        health: health.clone(),
        stop: stop.clone(),
        clock: Arc::new(|| 0),
        networks: trisect_kit::Networks::all(),
    };
    let running = tokio::spawn(async move { adapter.run(context).await });
    let mut first = BTreeMap::new();
    while first.len() < channels {
        let emission = within("a sample", taken.recv()).await.unwrap();
        let Amount::Exactly(value) = emission.sample.amount else {
            panic!("{emission:?}")
        };
        first.entry(emission.sample.channel).or_insert(value);
    }
    stop.cancel();
    within("the end", running).await.unwrap().unwrap();
    let vitals = health.vitals();
    assert_eq!(
        (vitals.frames_bad, vitals.bytes_skipped),
        (0, 0),
        "{vitals:?}"
    );
    first
}

/// Every number that the server holds comes out as it holds it.
async fn check(settings: Value, held: &Value) {
    let settings: TransducerSettings = serde_json::from_value(settings).unwrap();
    let held = held["inputs"].as_array().unwrap();
    // Six types in four orders in two tables of two devices.
    assert_eq!(held.len(), 96);
    let first = first_samples(&settings, held.len()).await;
    for (channel, found) in first {
        let held = &held[usize::from(channel)];
        assert_eq!(Some(found), held["value"].as_f64(), "{held}");
    }
}

#[tokio::test]
async fn pymodbus_over_tcp_in_every_type_and_order() {
    let Some(mut command) = python("modbus_server.py") else {
        return;
    };
    command.arg("tcp");
    let (_server, held) = said(command).await;
    let mut settings = inputs(&held);
    settings["address"] = held["address"].clone();
    check(settings, &held).await;
}

/// Carries bytes from one pseudo-terminal to another, as a cable does.
async fn carry(from: &Pty, to: &Pty) {
    let mut chunk = [0; 256];
    loop {
        let count = from.read(&mut chunk).await.unwrap();
        to.write_all(&chunk[..count]).await.unwrap();
    }
}

#[tokio::test]
async fn pymodbus_on_a_line_in_every_type_and_order() {
    let Some(mut command) = python("modbus_server.py") else {
        return;
    };
    let (ours, theirs) = (Pty::open().unwrap(), Pty::open().unwrap());
    command.arg("rtu").arg(theirs.path());
    let (_server, held) = said(command).await;
    let mut settings = inputs(&held);
    settings["port"] = json!(ours.path());
    settings["line"] = json!("115200 8N1");
    tokio::select! {
        () = check(settings, &held) => {}
        () = carry(&ours, &theirs) => {}
        () = carry(&theirs, &ours) => {}
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn minimalmodbus_reads_our_simulated_transducer() {
    for (order, word) in [
        (WordOrder::Big, "big"),
        (WordOrder::SwappedWords, "swapped-words"),
        (WordOrder::SwappedBytes, "swapped-bytes"),
        (WordOrder::Little, "little"),
    ] {
        let Some(mut command) = python("modbus_reader.py") else {
            return;
        };
        let folder = tempfile::tempdir().unwrap();
        let options = Options {
            meters: Vec::new(),
            transducers: vec![("gauge".to_owned(), vec![Unit::CELSIUS, Unit::PSI])],
            address: 17,
            order,
            perfect: true,
            lossy: false,
        };
        let bay = SimulatedBay::start(folder.path(), 3, &[], 1.0, options)
            .await
            .unwrap();
        bay.place("gauge", 0, "fuel-temperature").unwrap();
        bay.place("gauge", 1, "tank-suction").unwrap();
        command.arg(&bay.instruments()[0].path);
        command.args(["17", word, "2"]);
        let (_, read) = said(command).await;
        for function in ["3", "4"] {
            let floats = &read["floats"][function];
            let near = |place: usize, unit: Unit, point: &str| {
                let found = floats[place].as_f64().unwrap();
                let expected = unit.from_si(bay.true_value(point).unwrap());
                // What a single holds of it, and what it moved by meanwhile.
                let allowed = 1e-3 * expected.abs().max(1.0);
                assert!(
                    (found - expected).abs() < allowed,
                    "{found}, not {expected}"
                );
            };
            near(0, Unit::CELSIUS, "fuel-temperature");
            near(1, Unit::PSI, "tank-suction");
        }
        assert_eq!(read["refused"], "IllegalRequestError", "{read}");
        bay.stop().await;
    }
}
