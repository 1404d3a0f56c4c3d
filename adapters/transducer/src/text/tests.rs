//! Settings, and what comes out of a device's lines.

#![allow(clippy::unwrap_used)]

use trisect_measure::{Amount, Unit};

use super::resolve::reader;
use super::{FieldSettings, TextSettings};

/// What lines give: value and digit in a unit of the quantity, or the error.
fn check(json: &str, lines: &[(&str, i64)], expected: &[&str]) {
    let settings: TextSettings = serde_json::from_str(json).unwrap();
    let mut reader = reader(&settings).unwrap();
    let mut said = Vec::new();
    for (line, millis) in lines {
        match reader.read(line.as_bytes(), millis * 1_000_000) {
            Ok(read) => {
                said.extend(read.samples.iter().map(|sample| {
                    let unit = match sample.function.word() {
                        "pressure" => Unit::PSI,
                        "rotational-speed" => Unit::RPM,
                        _ => sample.function.quantity().si_unit(),
                    };
                    let side = match sample.amount {
                        Amount::Exactly(_) => "",
                        Amount::Above(_) => "> ",
                        Amount::Below(_) => "< ",
                    };
                    let digit = sample.digit.map(|digit| unit.span_from_si(digit));
                    let digit = digit.map(|digit| format!(" ±{digit}"));
                    format!(
                        "{}: {side}{}{} {unit}",
                        sample.channel,
                        unit.from_si(sample.amount.edge()),
                        digit.unwrap_or_default()
                    )
                }));
                said.extend(read.errors.iter().map(|error| error.why.to_string()));
            }
            Err(error) => said.push(error.why.to_string()),
        }
    }
    assert_eq!(said, expected, "{json}");
}

#[test]
fn each_field_is_a_channel_and_a_missing_number_costs_only_its_own() {
    check(
        r##"{"patterns": ["P1={pressure:inlet} psi;P2={pressure:return}", "V={voltage}", "#{skip}"]}"##,
        &[
            ("P1=12.4 psi;P2=0.5 psi", 0),
            ("P1=12.40 psi;P2=nan", 1),
            ("# booted", 2),
            ("V=12600 mV", 3),
            ("P1=12.4 bar", 4),
        ],
        &[
            "0: 12.4 ±0.1 psi",
            "1: 0.5 ±0.1 psi",
            "0: 12.4 ±0.01 psi",
            "return: there is no number: the sensor may be broken or not connected",
            "2: 12.6 ±0.001 V",
            "the line `P1=12.4 bar` fits no pattern",
        ],
    );
}

#[test]
fn fields_are_scaled_and_have_a_range() {
    check(
        r#"{"patterns": ["{pressure:p};{voltage:v}"], "fields": {
            "p": {"unit": "psi", "scale": 0.5, "offset": -1, "full_scale": "60 psi", "channel": 7},
            "v": {"unit": "V"}}}"#,
        &[("20;1", 0), ("OL;2", 1), ("-OL;OL", 2)],
        &[
            "7: 9 ±0.5 psi",
            "1: 1 ±1 V",
            "7: > 60 psi",
            "1: 2 ±1 V",
            "p: it is below the range, whose end is not known",
            "v: it is above the range, whose end is not known: set full_scale",
        ],
    );
}

#[test]
fn pulses_are_timed_by_the_devices_clock_where_it_prints_one() {
    let timed = r#"{"patterns": ["{clock|ms} {pulses:engine}"],
        "fields": {"engine": {"tachometer": {"pulses_per_turn": 60}, "wraps_at": 65536}}}"#;
    // The lines come late and in a bunch: the clock they bring is what counts.
    check(
        timed,
        &[("1000 65500", 0), ("1500 364", 5000), ("2000 764", 5001)],
        &["0: 800 ±2 rpm", "0: 800 ±2 rpm"],
    );
    let untimed = r#"{"patterns": ["n={pulses}"],
        "fields": {"pulses": {"tachometer": {"pulses_per_turn": 2}}}}"#;
    check(untimed, &[("n=0", 0), ("n=20", 1000)], &["0: 600 ±30 rpm"]);
    let frequency = r#"{"patterns": ["f={frequency:engine}"],
        "fields": {"engine": {"tachometer": {"pulses_per_turn": 2}}}}"#;
    check(frequency, &[("f=0.02 kHz", 0)], &["0: 600 ±300 rpm"]);
}

fn refused(json: &str, expected: &str) {
    let made = serde_json::from_str::<TextSettings>(json)
        .map_err(|error| error.to_string())
        .and_then(|settings| settings.adapter().map_err(|error| error.to_string()));
    match made {
        Ok(_) => panic!("{json} was taken"),
        Err(error) => assert!(error.contains(expected), "{error}"),
    }
}

#[test]
fn settings_say_what_to_write() {
    let refused = |rest: &str, expected| refused(&format!(r#"{{"port": "p", {rest}}}"#), expected);
    refused(r#""patterns": []"#, "no pattern has a field");
    refused(r##""patterns": ["#{skip}"]"##, "no pattern has a field");
    refused(
        r#""patterns": ["{speed}"]"#,
        "`patterns`: `{speed}`: there is no field",
    );
    refused(
        r#""patterns": ["{pressure}"], "baud": 1"#,
        "unknown field `baud`",
    );
    refused(
        r#""patterns": ["{pressure}"], "address": "a:1""#,
        "either a serial `port`",
    );
    refused(
        r#""patterns": ["{pressure}"], "longest_line": 2"#,
        "8 to 4096",
    );
    refused(
        r#""patterns": ["{pressure}"], "silent_after_ms": 0"#,
        "`silent_after_ms`",
    );
    refused(
        r#""patterns": ["{pressure}"], "fields": {"p": {}}"#,
        "no pattern has a field `p`",
    );
    refused(
        r#""patterns": ["{pressure} psi"], "fields": {"pressure": {"unit": "psi"}}"#,
        "leave `unit` out",
    );
    refused(
        r#""patterns": ["{pressure}"], "fields": {"pressure": {"unit": "V"}}"#,
        "`V` is a unit of voltage",
    );
    refused(
        r#""patterns": ["{pressure}"], "fields": {"pressure": {"full_scale": "60"}}"#,
        "has no unit",
    );
    refused(r#""patterns": ["{pulses:n}"]"#, "needs `tachometer`");
    refused(
        r#""patterns": ["{pressure}"], "fields": {"pressure": {"tachometer": {"pulses_per_turn": 2}}}"#,
        "`{frequency:…}` or `{pulses:…}`",
    );
    refused(
        r#""patterns": ["a{pulses:n}", "b{clock|s}{pulses:n}"], "fields": {"n": {"tachometer": {"pulses_per_turn": 2}}}"#,
        "both or neither",
    );
    refused(
        r#""patterns": ["a{pressure:x}", "b{voltage:x}"]"#,
        "another quantity in another pattern",
    );
    refused(
        r#""patterns": ["{pressure:a} {pressure:b}"], "fields": {"a": {"channel": 1}}"#,
        "the same channel",
    );
    refused(
        r#""patterns": ["{time:a}"]"#,
        "no transducer of a bay measures time",
    );
}

#[test]
fn an_adapter_describes_its_channels() {
    let mut settings = TextSettings::new("/dev/ttyACM0", &["P={pressure:inlet} psi", "{pulses:n}"]);
    let tachometer = Some(crate::TachometerSettings::new(2.0));
    let field = FieldSettings {
        tachometer,
        ..FieldSettings::default()
    };
    settings.fields.insert("n".to_owned(), field);
    let description = settings.adapter().unwrap().describe();
    let shown: Vec<String> = description
        .channels
        .iter()
        .map(|c| format!("{} {} {}", c.channel, c.title, c.function.unwrap().word()))
        .collect();
    assert_eq!(shown, ["0 inlet pressure", "1 n rotational-speed"]);
    assert_eq!(description.title, "Lines of text on /dev/ttyACM0");
}
