//! An instrument that answers with JSON over HTTP, in the configuration of a service that runs as a program.

use std::path::{Path, PathBuf};
use std::time::Duration;

use serde_json::{Value, json};
use trisect_tests::daemon::Daemon;
use trisect_tests::instrument::{METER, place, until, watch};
use trisect_tests::service::{BAY, client, open_job};
use trisect_tests::wait::within;
use trisect_wire::ErrorKind;
use trisect_wire::client::{ClientError, Watch};
use trisect_wire::table::{InstrumentAttach, InstrumentList, ReadingWatch};
use trisect_wire::types::{
    BayName, Instrument, InstrumentAttachParams, InstrumentListParams, InstrumentState, Reading,
    ReadingItem,
};
use wiremock::matchers::{header, method, path};
use wiremock::{Mock, MockServer, ResponseTemplate};

/// What the gauge answers with.
fn inlet(value: f64, unit: &str, time: u32) -> Value {
    json!({"inlet": {"value": value, "unit": unit}, "time": time})
}

/// From now on the gauge answers so.
async fn answers(gauge: &MockServer, answer: ResponseTemplate) {
    gauge.reset().await;
    // Whoever does not show the token gets 404, as wiremock answers what it does not expect.
    Mock::given(method("GET"))
        .and(path("/values"))
        .and(header("authorization", "Bearer open sesame"))
        .respond_with(answer)
        .mount(gauge)
        .await;
}

/// A service at which instruments on loopback may be attached over the wire.
pub(super) fn attaching(folder: &Path, more: &str) -> PathBuf {
    let (file, journal) = (folder.join("trisect.toml"), folder.join("journal.db"));
    let text = format!(
        r#"
listen = "127.0.0.1:0"
journal = {journal:?}
log = {{ level = "warn" }}
[access]
loopback = "manage"
[attach]
networks = ["loopback"]
{more}
[[bays]]
bay = "{BAY}"
"#
    );
    std::fs::write(&file, text).unwrap();
    file
}

fn configuration(folder: &Path, gauge: &str) -> PathBuf {
    let (journal, token) = (folder.join("journal.db"), folder.join("gauge.token"));
    std::fs::write(&token, "open sesame\n").unwrap();
    let text = format!(
        r#"
listen = "127.0.0.1:0"
journal = {journal:?}
log = {{ level = "warn" }}
[access]
loopback = "manage"
[[bays]]
bay = "{BAY}"
[[bays.instruments]]
instrument = "{METER}"
adapter = "http"
[bays.instruments.settings]
url = "{gauge}/values"
every = 0.02
timeout = 1
silent_after = 0.3
readings = [{{ function = "pressure", value = "/inlet/value", unit_at = "/inlet/unit", time_at = "/time" }}]
credentials = {{ bearer_file = {token:?} }}
accuracy = "0.5 psi"
"#
    );
    let file = folder.join("trisectd.toml");
    std::fs::write(&file, text).unwrap();
    file
}

/// The next reading of a value, in psi; those of the value before it may still come.
async fn reading_of(readings: &mut Watch<ReadingWatch>, psi: f64) -> Reading {
    within(&format!("a reading of {psi} psi"), async {
        loop {
            let ReadingItem::Reading(reading) = readings.next().await.unwrap().unwrap() else {
                panic!("a gap");
            };
            if (reading.value - psi).abs() < 1e-6 {
                return reading;
            }
        }
    })
    .await
}

fn silent(one: &Instrument) -> bool {
    one.state == InstrumentState::Silent
}

#[tokio::test(flavor = "multi_thread")]
async fn a_gauge_over_http_is_an_instrument_like_any_other() {
    let gauge = MockServer::start().await;
    answers(
        &gauge,
        ResponseTemplate::new(200).set_body_json(inlet(14.2, "psi", 1)),
    )
    .await;
    let folder = tempfile::tempdir().unwrap();
    let daemon = Daemon::serve(&configuration(folder.path(), &gauge.uri())).await;
    let client = client(daemon.address).await;
    let mut instruments = watch(&client).await;
    let running = until(&mut instruments, "the gauge", |one| {
        one.state == InstrumentState::Running
    })
    .await;
    assert_eq!(running.channels[0].quantity.as_deref(), Some("pressure"));

    // In a job its values are readings, in the unit of the point, with the accuracy of the settings.
    let job = open_job(&client, None).await;
    place(&client, "pump-inlet-pressure").await;
    let bay = BayName {
        bay: BAY.to_owned(),
    };
    let mut readings = client.watch::<ReadingWatch>(&bay).await.unwrap();
    answers(
        &gauge,
        ResponseTemplate::new(200).set_body_json(inlet(103.421_359_4, "kPa", 2)),
    )
    .await;
    let reading = reading_of(&mut readings, 15.0).await;
    assert_eq!(
        (
            reading.job.as_str(),
            reading.point.as_str(),
            reading.unit.as_str(),
            reading.instrument.as_deref()
        ),
        (job.job.as_str(), "pump-inlet-pressure", "psi", Some(METER))
    );
    assert!(
        (reading.uncertainty - 0.5 / 3f64.sqrt()).abs() < 1e-9,
        "{reading:?}"
    );
    // The same time once more is the same reading once more: it is not stored again.
    tokio::time::sleep(Duration::from_millis(100)).await;
    answers(
        &gauge,
        ResponseTemplate::new(200).set_body_json(inlet(2.0, "psi", 2)),
    )
    .await;
    tokio::time::sleep(Duration::from_millis(100)).await;
    answers(
        &gauge,
        ResponseTemplate::new(200).set_body_json(inlet(9.0, "psi", 3)),
    )
    .await;
    let ReadingItem::Reading(next) = within("the next", readings.next()).await.unwrap().unwrap()
    else {
        panic!("a gap");
    };
    assert!((next.value - 9.0).abs() < 1e-9, "{next:?}");

    // It fails in each of these ways; the list says which, and it comes back by itself.
    for (number, (failing, said)) in [
        (ResponseTemplate::new(503), "answered 503"),
        (
            ResponseTemplate::new(200).set_body_string("out of order"),
            "what is no JSON",
        ),
        (
            ResponseTemplate::new(200).set_body_json(json!({"time": 9})),
            "nothing stands at `/inlet/value`",
        ),
        (
            ResponseTemplate::new(200).set_body_json(inlet(1.0, "V", 9)),
            "is no unit of pressure",
        ),
        (
            ResponseTemplate::new(302).insert_header("location", "/elsewhere"),
            "redirects to another address",
        ),
    ]
    .into_iter()
    .enumerate()
    {
        answers(&gauge, failing).await;
        until(&mut instruments, said, silent).await;
        let all = InstrumentListParams::default();
        let listed = client.call::<InstrumentList>(&all).await.unwrap();
        let note = listed.instruments[0].note.clone().unwrap();
        assert!(note.contains(said), "{said}: {note}");
        let value = 3.0 + number as f64;
        answers(
            &gauge,
            ResponseTemplate::new(200).set_body_json(inlet(value, "psi", 100 + number as u32)),
        )
        .await;
        until(&mut instruments, "back", |one| {
            one.state == InstrumentState::Running
        })
        .await;
        reading_of(&mut readings, value).await;
    }
    // Gone altogether: nobody listens there any more.
    let address = gauge.address().to_string();
    drop(gauge);
    let gone = until(&mut instruments, "nobody there", silent).await;
    assert!(gone.note.unwrap().contains(&address));
    assert!(daemon.terminate().await.success());
}

#[tokio::test(flavor = "multi_thread")]
async fn a_token_that_is_not_taken_is_said_in_the_list() {
    let gauge = MockServer::start().await;
    Mock::given(method("GET"))
        .respond_with(ResponseTemplate::new(401))
        .mount(&gauge)
        .await;
    let folder = tempfile::tempdir().unwrap();
    let daemon = Daemon::serve(&attaching(folder.path(), "")).await;
    let client = client(daemon.address).await;
    let mut instruments = watch(&client).await;
    let settings = json!({"url": gauge.uri(), "every": 0.02, "silent_after": 0.1,
        "readings": [{"function": "pressure", "value": "/v", "unit": "psi"}]});
    let mut params = InstrumentAttachParams {
        bay: BAY.to_owned(),
        instrument: METER.to_owned(),
        adapter: "http".to_owned(),
        settings: settings.as_object().unwrap().clone(),
    };
    within("the attaching", client.call::<InstrumentAttach>(&params))
        .await
        .unwrap();
    // A caller does not choose a file of the service's machine and where it is sent.
    let secret = json!({"bearer_file": "/etc/hostname"});
    params.settings.insert("credentials".to_owned(), secret);
    params.instrument = "other".to_owned();
    let error = client.call::<InstrumentAttach>(&params).await.unwrap_err();
    let ClientError::Refused(error) = error else {
        panic!("{error}");
    };
    assert_eq!(
        (error.kind, error.field.as_deref()),
        (ErrorKind::InvalidSettings, Some("settings.credentials"))
    );
    let refused = until(&mut instruments, "the refusal", silent).await;
    assert!(
        refused
            .note
            .as_deref()
            .unwrap()
            .contains("refuses the credentials (401)"),
        "{refused:?}"
    );
    assert!(daemon.terminate().await.success());
}
