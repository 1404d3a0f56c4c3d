//! The measurement chain, end to end: calibration, the air, a gauge read by eye, SenML.

use serde_json::{Value, json};
use trisect_measure::Unit;
use trisect_tests::instrument::{Cable, counted, place, until, watch};
use trisect_tests::service::{BAY, Served, open_job, readings, submit};
use trisect_tests::wait::within;
use trisect_wire::ErrorKind;
use trisect_wire::client::{Client, ClientError};
use trisect_wire::table::{
    BarometerSay, CalibrationShow, InstrumentAttach, ReadingEnter, ReadingHistory, ReadingSubmit,
    ReadingWatch,
};
use trisect_wire::types::{
    BarometerSayParams, BayName, Beyond, CalibrationName, HistoryFormat, InstrumentAttachParams,
    Reading, ReadingEnterParams, ReadingHistoryParams, ReadingItem, ReadingSubmitParams, Readings,
    SubmittedReading,
};

/// 12.345 V DC by an ES51922 (generated, and read so by libsigrok).
const FRAME: &[u8] = b"112345;000:0\r\n";

fn near(found: f64, expected: f64) {
    assert!((found - expected).abs() < 1e-9, "{found} for {expected}");
}

async fn history(client: &Client, format: Option<HistoryFormat>) -> Readings {
    let all = ReadingHistoryParams {
        bay: Some(BAY.to_owned()),
        format,
        ..ReadingHistoryParams::default()
    };
    client.call::<ReadingHistory>(&all).await.unwrap()
}

async fn attach(client: &Client, adapter: &str, settings: Value) {
    let params = InstrumentAttachParams {
        bay: BAY.to_owned(),
        instrument: "gauge".to_owned(),
        adapter: adapter.to_owned(),
        settings: settings.as_object().unwrap().clone(),
    };
    within(
        "instrument.attach",
        client.call::<InstrumentAttach>(&params),
    )
    .await
    .unwrap();
}

async fn enter(client: &Client, value: &str) -> Result<Reading, ErrorKind> {
    let params = ReadingEnterParams {
        bay: BAY.to_owned(),
        point: "pump-inlet-pressure".to_owned(),
        value: value.to_owned(),
        uncertainty: None,
        phase: None,
        by: "M. Aldous".to_owned(),
        instrument: Some("gauge".to_owned()),
        key: None,
    };
    match client.call::<ReadingEnter>(&params).await {
        Ok(reading) => Ok(reading),
        Err(ClientError::Refused(refusal)) => Err(refusal.kind),
        Err(other) => panic!("{other}"),
    }
}

#[tokio::test]
async fn an_overdue_calibration_corrects_is_named_and_shown() {
    let served = Served::start().await;
    let client = served.client().await;
    open_job(&client, None).await;
    let cable = Cable::new();
    let calibration = json!({
        "kind": "offset",
        "points": [["0 V", "0.1 V"], ["10 V", "10.1 V"], ["20 V", "20.1 V"]],
        "due": "2020-01-01",
        "certificate": "NIR 7",
    });
    let settings = json!({"protocol": "es51922", "calibration": calibration, "accuracy": "0.01 V"});
    let attached = cable.attach(&client, "multimeter", settings).await;
    let shown = &attached.channels[0].calibrations[0];
    assert!(shown.overdue, "{shown:?}");
    assert_eq!(attached.channels[0].latency, Some(0.4));
    place(&client, "battery").await;
    let bay = BayName {
        bay: BAY.to_owned(),
    };
    let mut told = within("reading.watch", client.watch::<ReadingWatch>(&bay))
        .await
        .unwrap();
    cable.say(FRAME).await;
    let item = within("a reading", told.next()).await.unwrap().unwrap();
    let ReadingItem::Reading(reading) = item else {
        panic!("{item:?}")
    };
    near(reading.value, 12.245);
    assert_eq!(reading.flags, ["auto", "out-of-calibration"]);
    assert_eq!(reading.latency, Some(0.4));
    // Twice the 0.01 V, half wide, and the digit of 0.001 V as it is.
    let step = 0.001 / 12f64.sqrt();
    near(reading.uncertainty, (2.0 * 0.01 / 3f64.sqrt()).hypot(step));
    let name = CalibrationName {
        calibration: reading.calibration.unwrap(),
    };
    let kept = client.call::<CalibrationShow>(&name).await.unwrap();
    assert_eq!(kept, shown.calibration);
    assert_eq!(kept.certificate.as_deref(), Some("NIR 7"));
    served.stop().await;
}

#[tokio::test]
async fn a_sample_of_the_wrong_quantity_is_refused_and_shown() {
    let served = Served::start().await;
    let client = served.client().await;
    open_job(&client, None).await;
    let cable = Cable::new();
    let mut states = watch(&client).await;
    cable.attach_meter(&client, "es51922").await;
    // What a multimeter measures is on its dial: it may be placed anywhere.
    place(&client, "pump-inlet-pressure").await;
    cable.say(FRAME).await;
    let refused = until(&mut states, "a refusal", |meter| {
        meter
            .note
            .as_deref()
            .is_some_and(|note| note.contains("turn the dial"))
    })
    .await;
    assert!(refused.noted.is_some(), "{refused:?}");
    counted(&client, "one is refused", |meter| {
        meter.counters.refused_samples == 1
    })
    .await;
    assert_eq!(history(&client, None).await.readings, []);
    served.stop().await;
}

#[tokio::test]
async fn an_absolute_gauge_needs_the_air_and_lends_what_is_known_of_it() {
    let served = Served::start().await;
    let client = served.client().await;
    open_job(&client, None).await;
    let settings = json!({
        "quantity": "pressure", "full_scale": "60 psi", "reference": "absolute", "accuracy": "1 % FS",
        "calibration": {"kind": "offset", "points": [["15 psi", "15.2 psi"]], "uncertainty": "0.1 psi"},
    });
    attach(&client, "manual", settings).await;
    assert_eq!(
        enter(&client, "19.9 psi").await,
        Err(ErrorKind::NoBarometer)
    );
    assert_eq!(
        enter(&client, "19.9 psia").await,
        Err(ErrorKind::NoBarometer)
    );
    let air = BarometerSayParams {
        bay: BAY.to_owned(),
        value: "1003 hPa".to_owned(),
        uncertainty: Some("2 hPa".to_owned()),
        by: "M. Aldous".to_owned(),
    };
    let bay = client.call::<BarometerSay>(&air).await.unwrap();
    assert_eq!(
        bay.barometer.map(|b| (b.value, b.stale)),
        Some((1003.0, false))
    );

    let reading = enter(&client, "19.9 psi").await.unwrap();
    let air = Unit::PSI.from_si(100_300.0);
    near(reading.value, 19.9 - 0.2 - air);
    near(reading.barometer.unwrap(), air);
    let parts: [f64; 5] = [
        0.6 / 3f64.sqrt(),
        0.1 / 12f64.sqrt(),
        // One point leaves no residual: its own uncertainty stands for that.
        0.1,
        0.1,
        Unit::PSI.span_from_si(200.0),
    ];
    let expected = parts.iter().map(|u| u * u).sum::<f64>().sqrt();
    near(reading.uncertainty, expected);
    assert!(
        reading.calibration.is_some() && reading.entered,
        "{reading:?}"
    );
    assert_eq!(reading.channel.as_deref(), Some("0"));
    // What is written with the value counts before what the gauge is set up as.
    let gauge = enter(&client, "5.0 psig").await.unwrap();
    near(gauge.value, 4.8);
    assert_eq!(gauge.barometer, None);
    served.stop().await;
}

#[tokio::test]
async fn what_goes_out_as_senml_comes_in_again() {
    let served = Served::start().await;
    let client = served.client().await;
    open_job(&client, None).await;
    submit(&client, readings("battery", "V", &[12.4, 12.5])).await;
    submit(&client, readings("pump-inlet-pressure", "psi", &[-3.25])).await;
    submit(&client, readings("engine-speed", "rpm", &[120.0])).await;
    let open = SubmittedReading {
        point: "harness-continuity".to_owned(),
        value: 40.0,
        unit: "MOhm".to_owned(),
        uncertainty: None,
        beyond: Some(Beyond::Above),
        time: None,
    };
    submit(&client, vec![open]).await;

    let page = history(&client, Some(HistoryFormat::Senml)).await;
    assert_eq!(page.readings, []);
    let again = ReadingSubmitParams {
        bay: BAY.to_owned(),
        readings: None,
        senml: page.senml,
        key: None,
    };
    let again = client.call::<ReadingSubmit>(&again).await.unwrap();
    assert_eq!(again.accepted, 5);
    let all = history(&client, None).await;
    assert_eq!(all.last_seq, all.readings.last().map(|r| r.seq));
    let said = |reading: &Reading| {
        (
            reading.point.clone(),
            reading.time.clone(),
            reading.value.to_string(),
            reading.unit.clone(),
            reading.beyond,
        )
    };
    let (first, second) = all.readings.split_at(5);
    let mut second: Vec<_> = second.iter().map(said).collect();
    let mut first: Vec<_> = first.iter().map(said).collect();
    first.sort();
    second.sort();
    assert_eq!(first, second);
    served.stop().await;
}
