//! Generated frames, what their display shows, and the round trip.

#![allow(clippy::unwrap_used)]

use std::collections::BTreeSet;
use std::io::Write as _;

use proptest::prelude::*;
use serde_json::{Value, json};
use trisect_kit::{Decoded, sample_json};

use super::encode;
use crate::{codec, codecs};

/// A frame, and what it says, in the words of [`sample_json`].
#[derive(Clone, Debug)]
pub(crate) struct Generated {
    pub protocol: &'static str,
    pub frame: Vec<u8>,
    pub function: &'static str,
    /// In base units, degrees Celsius or percent; none beyond the range.
    pub value: Option<f64>,
    pub coupling: Option<&'static str>,
    pub flags: BTreeSet<&'static str>,
}

/// Frames for every function, range, sign and flag of every protocol.
pub(crate) fn all() -> Vec<Generated> {
    let mut all = Vec::new();
    all.extend(encode::lcd::fs9721());
    all.extend(encode::lcd::dtm0660());
    all.extend(encode::fs9922::frames());
    all.extend(encode::es519xx::es51922());
    all.extend(encode::es519xx::es51962());
    all.extend(encode::es519xx::es51986());
    all.extend(encode::ascii14::frames());
    all
}

/// One whole sample and nothing else.
fn decode(protocol: &str, frame: &[u8]) -> Value {
    let mut decoder = codec(protocol).unwrap().decoder();
    decoder.push(frame);
    match decoder.next() {
        Some(Decoded::Sample(sample)) => {
            assert_eq!(decoder.next(), None);
            assert!(!decoder.is_waiting());
            sample_json(&sample)
        }
        other => panic!("{protocol} {frame:02X?}: {other:?}"),
    }
}

fn check(generated: &Generated) {
    let said = decode(generated.protocol, &generated.frame);
    let words = generated.frame.escape_ascii();
    let shown = format!("{} `{words}`: {said}", generated.protocol);
    assert_eq!(said["function"], generated.function, "{shown}");
    let said_degrees = said["unit"] == "Cel";
    match (said["value"].as_f64(), generated.value) {
        (Some(said), Some(value)) => {
            // Twelve digits are shown, degrees after a way through kelvin.
            let degrees = f64::from(u8::from(said_degrees)) * 300.0;
            let error = (said - value).abs();
            assert!(
                error <= 1e-11 * value.abs().max(degrees),
                "{shown}: {value}"
            );
        }
        (said, value) => assert_eq!(said, value, "{shown}"),
    }
    assert_eq!(said["overload"], generated.value.is_none(), "{shown}");
    assert_eq!(said["coupling"], json!(generated.coupling), "{shown}");
    let flags = said["flags"].as_array().unwrap().iter();
    let flags: BTreeSet<&str> = flags.map(|flag| flag.as_str().unwrap()).collect();
    assert_eq!(flags, generated.flags, "{shown}");
}

#[test]
fn every_generated_frame_reads_as_it_was_shown() {
    let all = all();
    for generated in &all {
        check(generated);
    }
    for codec in codecs() {
        let of: Vec<_> = all.iter().filter(|g| g.protocol == codec.name).collect();
        assert!(of.len() > 50, "{}: only {} frames", codec.name, of.len());
    }
    write(&all);
}

/// Where `GENERATED_FRAMES` names a file, the frames and what we say of them are
/// written there, a JSON object a line, for the comparison with libsigrok.
fn write(all: &[Generated]) {
    let Some(path) = std::env::var_os("GENERATED_FRAMES") else {
        return;
    };
    let mut file = std::io::BufWriter::new(std::fs::File::create(path).unwrap());
    for generated in all {
        let hex: Vec<String> = generated.frame.iter().map(|b| format!("{b:02X}")).collect();
        let said = decode(generated.protocol, &generated.frame);
        let line = json!({"protocol": generated.protocol, "hex": hex.join(" "), "said": said});
        writeln!(file, "{line}").unwrap();
    }
    file.flush().unwrap();
}

/// The functions that a protocol's frames say.
fn check_functions(protocol: &str, expected: &str) {
    let all = all();
    let of = all.iter().filter(|g| g.protocol == protocol);
    let functions: BTreeSet<&str> = of.map(|g| g.function).collect();
    let words: Vec<&str> = functions.into_iter().collect();
    assert_eq!(words.join(" "), expected, "{protocol}");
}

#[test]
fn every_function_of_a_chip_is_generated() {
    let lcd = "capacitance continuity current diode duty frequency resistance temperature voltage";
    check_functions("fs9721", lcd);
    check_functions("dtm0660", lcd);
    check_functions("fs9922", lcd);
    check_functions(
        "es51922",
        "capacitance continuity current diode duty frequency resistance voltage",
    );
    check_functions(
        "es51962",
        "capacitance continuity current diode frequency resistance rotational-speed temperature voltage",
    );
    check_functions(
        "es51986",
        "capacitance continuity current diode frequency resistance temperature voltage",
    );
    check_functions(
        "ascii14",
        "capacitance current diode frequency resistance temperature voltage",
    );
}

proptest! {
    /// Whatever noise came before, of a generated frame sent twice the second is
    /// read as it was shown.
    #[test]
    fn any_garbage_then_a_frame_yields_that_frame(
        garbage in prop::collection::vec(any::<u8>(), 0..60),
        pick in any::<prop::sample::Index>(),
    ) {
        let all = all();
        let generated = pick.get(&all);
        let mut decoder = codec(generated.protocol).unwrap().decoder();
        decoder.push(&[&garbage[..], &generated.frame, &generated.frame].concat());
        let mut last = None;
        while let Some(found) = decoder.next() {
            last = Some(found);
        }
        let Some(Decoded::Sample(sample)) = last else {
            return Err(TestCaseError::fail(format!("{last:?}")));
        };
        let said = decode(generated.protocol, &generated.frame);
        prop_assert_eq!(sample_json(&sample), said);
    }
}
