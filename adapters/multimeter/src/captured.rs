//! Frames captured from real meters, with the reading noted from the display.
//!
//! They lie beside the repository, not in it; each names its own source.

#![allow(clippy::unwrap_used)]

use std::collections::BTreeSet;
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

/// What a frame cannot say, although it was on the display.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Unsaid {
    /// The value that was noted.
    Value,
    /// AC and DC together.
    Coupling,
    /// A sign.
    Flag(&'static str),
}

/// The frames that cannot be met in everything, and why.
const UNSAID: &[(&str, &str, Unsaid)] = &[
    // 21 counts of 1 µA (data sheet: the second range is 6000 µA in 6000 counts;
    // the same log reads `31 30 30 33 37` as 37 µA); noted were five digits,
    // `00210`, of a display that has four: a slip of the pen.
    ("es51986", "31 30 30 32 31 3D 38 30 34 0D 0A", Unsaid::Value),
    // One count of 10 Ω (data sheet: the third range is 40.00 kΩ, whose point
    // stands after the second digit); noted was `0.001` of the range before it.
    ("es51962", "32 30 30 30 31 33 30 30 30 0D 0A", Unsaid::Value),
    // The chip measures AC; that the meter adds DC is its own doing and not sent.
    (
        "es51986",
        "30 30 30 31 32 3B 38 30 36 0D 0A",
        Unsaid::Coupling,
    ),
    (
        "es51986",
        "31 30 30 32 31 3D 38 30 34 0D 0A",
        Unsaid::Coupling,
    ),
    (
        "es51986",
        "31 30 30 33 32 3F 38 30 34 0D 0A",
        Unsaid::Coupling,
    ),
    (
        "es51986",
        "30 30 30 32 33 39 38 30 34 0D 0A",
        Unsaid::Coupling,
    ),
    // ES51962 has no bits for these three (data sheet); the log says so too.
    (
        "es51962",
        "30 30 33 33 38 3B 30 30 34 0D 0A",
        Unsaid::Flag("HOLD"),
    ),
    (
        "es51962",
        "30 30 34 30 33 3B 30 30 34 0D 0A",
        Unsaid::Flag("MAX"),
    ),
    (
        "es51962",
        "30 30 34 30 39 3B 30 30 34 0D 0A",
        Unsaid::Flag("DELTA"),
    ),
];

fn unsaid(noted: &Value) -> impl Iterator<Item = Unsaid> {
    let (protocol, hex) = (noted["protocol"].clone(), noted["hex"].clone());
    UNSAID
        .iter()
        .filter(move |(name, frame, _)| protocol == *name && hex == *frame)
        .map(|(_, _, unsaid)| *unsaid)
}

/// The words of the display's signs. Not flags are units, functions, ranges,
/// that data are put out, and, but for an FS9922, whether the bar graph is lit.
fn flag_word(protocol: &str, noted: &str) -> Option<&'static str> {
    match noted {
        "AUTO" => Some("auto"),
        "MANUAL" => Some("manual-range"),
        "REL" | "DELTA" => Some("relative"),
        "HOLD" => Some("hold"),
        "MAX" => Some("maximum"),
        "LowBat" => Some("low-battery"),
        "BARGRAPH" if protocol == "fs9922" => Some("bargraph"),
        "BARGRAPH" | "OL" | "CONT" | "DIODE" | "FIX" | "RS232" => None,
        "V" | "A" | "ohm" | "F" | "C" | "DC" | "diode" => None,
        range if range.starts_with(|first: char| first.is_ascii_digit()) => None,
        other => panic!("a sign nobody knows: {other}"),
    }
}

/// The signs noted; `dito+HOLD` is the line before it with one more.
fn signs(noted: &Value) -> Vec<&str> {
    let flags = noted["flags"].as_array().unwrap();
    let words = flags.iter().map(|flag| flag.as_str().unwrap());
    words
        .map(|word| word.strip_prefix("dito+").unwrap_or(word))
        .collect()
}

fn check_value(said: &Value, noted: &Value) {
    let (mut value, mut unit) = (noted["value"].as_f64(), noted["unit_si"].as_str().unwrap());
    if unit == "degF" {
        value = value.map(|fahrenheit| (fahrenheit - 32.0) / 1.8);
    }
    if unit.starts_with("deg") {
        unit = "Cel";
    }
    match (said["value"].as_f64(), value) {
        (Some(said), Some(value)) => {
            let close = (said - value).abs() <= 1e-12 * value.abs();
            let meets = !unsaid(noted).any(|unsaid| unsaid == Unsaid::Value);
            assert_eq!(close, meets, "{said}: {noted}");
        }
        (said, value) => assert_eq!(said, value, "{noted}"),
    }
    assert_eq!(said["unit"], unit, "{noted}");
    assert_eq!(said["overload"], noted["overload"], "{noted}");
}

fn check_flags(said: &Value, noted: &Value) {
    let protocol = noted["protocol"].as_str().unwrap();
    let signs = signs(noted);
    let carried = |sign: &&str| {
        !unsaid(noted).any(|unsaid| matches!(unsaid, Unsaid::Flag(flag) if flag == *sign))
    };
    let expected: BTreeSet<&str> = signs
        .iter()
        .copied()
        .filter(carried)
        .filter_map(|sign| flag_word(protocol, sign))
        .collect();
    let range_noted = signs.contains(&"AUTO") || signs.contains(&"MANUAL");
    let said: BTreeSet<&str> = said["flags"]
        .as_array()
        .unwrap()
        .iter()
        .map(|flag| flag.as_str().unwrap())
        // Not every choice of the range was noted down.
        .filter(|flag| range_noted || !["auto", "manual-range"].contains(flag))
        .collect();
    assert_eq!(said, expected, "{noted}");
}

fn check(protocol: &str, noted: &Value) {
    let said = decode(protocol, &bytes(noted["hex"].as_str().unwrap()));
    check_value(&said, noted);
    // Not every coupling on the display was noted down.
    if !noted["coupling"].is_null() {
        let carried = !unsaid(noted).any(|unsaid| unsaid == Unsaid::Coupling);
        assert_eq!(said["coupling"] == noted["coupling"], carried, "{noted}");
    }
    check_flags(&said, noted);
    let signs = signs(noted);
    let continuity = signs.contains(&"CONT");
    assert_eq!(said["function"] == "continuity", continuity, "{noted}");
    if signs.contains(&"DIODE") || signs.contains(&"diode") {
        assert_eq!(said["function"], "diode", "{noted}");
    }
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
fn every_captured_fs9721_frame_reads_as_its_display() {
    check_all("fs9721", 59);
}

#[test]
fn every_captured_fs9922_frame_reads_as_its_display() {
    check_all("fs9922", 8);
}

#[test]
fn every_captured_es51922_frame_reads_as_its_display() {
    check_all("es51922", 23);
}

#[test]
fn every_captured_es51962_frame_reads_as_its_display() {
    check_all("es51962", 30);
}

#[test]
fn every_captured_es51986_frame_reads_as_its_display() {
    check_all("es51986", 18);
}

#[test]
fn every_captured_ascii_frame_reads_as_its_display() {
    check_all("ascii14", 54);
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
    check(
        "fs9721",
        "17 28 35 45 5B 69 7F 82 97 A0 B0 C0 D4 E8",
        r#"{"coupling":"DC","flags":["auto"],"function":"voltage","overload":false,"unit":"V","value":-12.34}"#,
    );
    check(
        "fs9721",
        "19 25 3B 41 5F 63 7E 8F 9E A0 B0 C1 D4 E8",
        r#"{"coupling":"AC","flags":["hold","manual-range"],"function":"voltage","overload":false,"unit":"V","value":235.6}"#,
    );
    check(
        "fs9721",
        "13 20 35 4D 5B 61 7F 82 97 A2 B0 C4 D0 E8",
        r#"{"coupling":null,"flags":["auto"],"function":"resistance","overload":false,"unit":"Ohm","value":1234.0}"#,
    );
    check(
        "fs9721",
        "15 27 3D 43 5E 6F 7E 81 95 A0 B0 C0 D8 E8",
        r#"{"coupling":"DC","flags":["manual-range"],"function":"current","overload":false,"unit":"A","value":5.67}"#,
    );
    check(
        "ascii14",
        "44 43 20 2D 30 31 2E 35 32 20 20 20 56 0D",
        r#"{"coupling":"DC","flags":[],"function":"voltage","overload":false,"unit":"V","value":-1.52}"#,
    );
    check(
        "ascii14",
        "4F 48 20 20 30 2E 39 35 31 4B 4F 68 6D 0D",
        r#"{"coupling":null,"flags":[],"function":"resistance","overload":false,"unit":"Ohm","value":951.0}"#,
    );
}
