//! Real meter bytes through a pseudo-terminal: every captured frame of the two chips, until it comes out of
//! `reading.watch` as its display had it.

use serde_json::Value;
use trisect_measure::Unit;
use trisect_tests::instrument::{Cable, place};
use trisect_tests::repository::root;
use trisect_tests::service::{BAY, Served, open_job};
use trisect_tests::wait::within;
use trisect_wire::table::ReadingWatch;
use trisect_wire::types::{BayName, Beyond, Reading, ReadingItem};

use crate::published::meters::{captured, noted_value};

fn bytes(hex: &str) -> Vec<u8> {
    hex.split_whitespace()
        .map(|byte| u8::from_str_radix(byte, 16).unwrap())
        .collect()
}

/// The test point of the rule set `every-quantity` that takes a unit.
fn point_for(unit: &str) -> &'static str {
    match unit {
        "V" => "voltage",
        "A" => "current",
        "Ohm" => "resistance",
        "F" => "capacitance",
        "Hz" => "frequency",
        "Cel" => "temperature",
        "%" => "ratio",
        other => panic!("no test point takes {other}"),
    }
}

fn check(reading: &Reading, noted: &Value) {
    let (value, unit) = noted_value(noted);
    let shown = Unit::parse(&reading.unit).unwrap();
    let noted_unit = Unit::parse(unit).unwrap();
    assert_eq!(reading.instrument.as_deref(), Some("meter"), "{reading:?}");
    match value {
        Some(value) => {
            let found = noted_unit.from_si(shown.to_si(reading.value));
            assert!(
                (found - value).abs() <= 1e-9 * value.abs() + 1e-12,
                "{reading:?}: {noted}"
            );
            assert_eq!(reading.beyond, None, "{noted}");
        }
        None => {
            // `UL.` on the display: below the range, where `OL` is above it.
            let below = noted["display"].as_str().unwrap().contains("UL");
            let beyond = if below { Beyond::Below } else { Beyond::Above };
            assert_eq!(reading.beyond, Some(beyond), "{reading:?}: {noted}");
        }
    }
    let noted_low = noted["flags"]
        .as_array()
        .unwrap()
        .contains(&"LowBat".into());
    assert_eq!(
        reading.flags.iter().any(|flag| flag == "low-battery"),
        noted_low,
        "{reading:?}: {noted}"
    );
}

async fn every_frame(protocol: &str) {
    let Some(frames) = captured(protocol) else {
        return;
    };
    let rules = root().join("tests/rulesets/every-quantity.toml");
    let served = Served::start_with(tempfile::tempdir().unwrap(), vec![rules]).await;
    let client = served.client().await;
    open_job(&client, Some("every-quantity")).await;
    let cable = Cable::new();
    cable.attach_meter(&client, protocol).await;
    let bay = BayName {
        bay: BAY.to_owned(),
    };
    let mut watch = within("reading.watch", client.watch::<ReadingWatch>(&bay))
        .await
        .unwrap();
    for noted in &frames {
        place(&client, point_for(noted_value(noted).1)).await;
        cable.say(&bytes(noted["hex"].as_str().unwrap())).await;
        let item = within(&noted.to_string(), watch.next())
            .await
            .unwrap()
            .unwrap();
        let ReadingItem::Reading(reading) = item else {
            panic!("{item:?}")
        };
        check(&reading, noted);
    }
    served.stop().await;
}

#[tokio::test]
async fn every_captured_fs9922_frame_comes_out_of_reading_watch() {
    every_frame("fs9922").await;
}

#[tokio::test]
async fn every_captured_es51922_frame_comes_out_of_reading_watch() {
    every_frame("es51922").await;
}
