//! Frames captured from real meters, with the reading noted from the display.
//!
//! They lie beside the repository, not in it; each names its own source.

#![allow(clippy::unwrap_used)]

use std::path::Path;

use serde_json::Value;
use trisect_kit::{Decoded, sample_json};

use crate::codec;

fn bytes(hex: &str) -> Vec<u8> {
    hex.split_whitespace()
        .map(|byte| u8::from_str_radix(byte, 16).unwrap())
        .collect()
}

fn decode(protocol: &str, bytes: &[u8]) -> Value {
    let mut decoder = codec(protocol).unwrap().decoder();
    decoder.push(bytes);
    let Some(Decoded::Sample(sample)) = decoder.next() else {
        panic!("{bytes:02X?} is no sample");
    };
    sample_json(&sample)
}

/// The words of the display's signs, where the protocol carries them. An
/// ES51922 frame does not say whether the bar graph is lit.
fn flag_word(protocol: &str, noted: &str) -> Option<&'static str> {
    match noted {
        "AUTO" => Some("auto"),
        "MANUAL" => Some("manual-range"),
        "REL" => Some("relative"),
        "MAX" => Some("maximum"),
        "LowBat" => Some("low-battery"),
        "BARGRAPH" if protocol == "fs9922" => Some("bargraph"),
        "BARGRAPH" | "OL" | "CONT" => None,
        other => panic!("a sign nobody knows: {other}"),
    }
}

fn check(protocol: &str, noted: &Value) {
    let said = decode(protocol, &bytes(noted["hex"].as_str().unwrap()));
    let (mut value, mut unit) = (noted["value"].as_f64(), noted["unit_si"].as_str().unwrap());
    if unit == "degF" {
        value = value.map(|fahrenheit| (fahrenheit - 32.0) / 1.8);
        unit = "Cel";
    }
    match (said["value"].as_f64(), value) {
        (Some(said), Some(value)) => {
            assert!(
                (said - value).abs() <= 1e-12 * value.abs(),
                "{said}: {noted}"
            );
        }
        (said, value) => assert_eq!(said, value, "{noted}"),
    }
    assert_eq!(said["unit"], unit, "{noted}");
    assert_eq!(said["overload"], noted["overload"], "{noted}");
    // Not every coupling on the display was noted down.
    if !noted["coupling"].is_null() {
        assert_eq!(said["coupling"], noted["coupling"], "{noted}");
    }
    let mut flags: Vec<_> = noted["flags"]
        .as_array()
        .unwrap()
        .iter()
        .filter_map(|flag| flag_word(protocol, flag.as_str().unwrap()))
        .collect();
    flags.sort_unstable();
    let mut said_flags: Vec<_> = said["flags"]
        .as_array()
        .unwrap()
        .iter()
        .map(|flag| flag.as_str().unwrap())
        .collect();
    said_flags.sort_unstable();
    assert_eq!(said_flags, flags, "{noted}");
    let continuity = noted["flags"].as_array().unwrap().contains(&"CONT".into());
    assert_eq!(said["function"] == "continuity", continuity, "{noted}");
}

fn check_all(protocol: &str, expected: usize) {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../../shared/frames");
    let Ok(text) = std::fs::read_to_string(folder.join(format!("{protocol}.json"))) else {
        println!("skipped: no captured frames in {}", folder.display());
        return;
    };
    let frames: Vec<Value> = serde_json::from_str(&text).unwrap();
    assert_eq!(frames.len(), expected, "frames of {protocol}");
    for noted in &frames {
        check(protocol, noted);
    }
}

#[test]
fn every_captured_fs9922_frame_reads_as_its_display() {
    check_all("fs9922", 8);
}

#[test]
fn every_captured_es51922_frame_reads_as_its_display() {
    check_all("es51922", 23);
}

/// Generated frames on which libsigrok, a general signal library, agreed.
#[test]
fn generated_frames_read_as_libsigrok_reads_them() {
    fn check(protocol: &str, hex: &str, expected: &str) {
        let said = decode(protocol, &bytes(hex));
        assert_eq!(said.to_string(), expected);
    }
    check(
        "fs9922",
        "2B 31 32 33 34 20 32 31 00 00 80 0C 0D 0A",
        r#"{"coupling":"DC","flags":["auto","bargraph"],"function":"voltage","overload":false,"unit":"V","value":12.34}"#,
    );
    check(
        "fs9922",
        "2D 35 30 30 30 20 31 13 00 00 80 94 0D 0A",
        r#"{"coupling":"DC","flags":["hold","bargraph","manual-range"],"function":"voltage","overload":false,"unit":"V","value":-5.0}"#,
    );
    check(
        "es51922",
        "31 31 32 33 34 35 3B 30 30 30 3A 30 0D 0A",
        r#"{"coupling":"DC","flags":["auto"],"function":"voltage","overload":false,"unit":"V","value":12.345}"#,
    );
    check(
        "es51922",
        "30 30 35 30 30 30 3B 34 30 30 38 32 0D 0A",
        r#"{"coupling":"DC","flags":["hold","manual-range"],"function":"voltage","overload":false,"unit":"V","value":-0.5}"#,
    );
    check(
        "es51922",
        "31 31 35 30 30 30 33 30 30 30 32 30 0D 0A",
        r#"{"coupling":null,"flags":["auto"],"function":"resistance","overload":false,"unit":"Ohm","value":1500.0}"#,
    );
}
