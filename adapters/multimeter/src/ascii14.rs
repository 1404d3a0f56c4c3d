//! The 14-byte ASCII meters: 600 to 9600 baud 7N2, polled with `D`.
//!
//! | byte | what |
//! |---|---|
//! | 0–1 | `DC` `AC` `OH` `CA` `DI` `FR` `TE`, `MN` and `MX` for what was recorded, or two spaces |
//! | 2–8 | sign and digits with their point, or `OL` with a point anywhere |
//! | 9–12 | unit with its prefix, such as `KOhm` |
//! | 13 | CR |
//!
//! There is no checksum, and nothing says which range a meter is on or how far it
//! counts: one digit is known, the end of the range is not. `OL` tells how many
//! digits stand before its point, and no meter's range of so many digits ends
//! before 2. A continuity test is not told from a resistance. A meter with several
//! displays sends a message for each, which nothing tells apart. Facts from
//! captured frames and from public descriptions of the protocol.

use std::time::Duration;

use trisect_kit::framing::Window;
use trisect_kit::{BadFrame, Codec, Decode, LineSettings, Parity, Poll};
use trisect_measure::{Amount, Coupling, Flags, Function, Sample};

use crate::shown::{Scale, Shown};

/// The protocol.
pub(crate) const CODEC: Codec = Codec {
    name: "ascii14",
    title: "14-byte ASCII multimeter, polled",
    line: LineSettings::new(600, 7, Parity::None, 2),
    gap: Duration::from_millis(200),
    optical: true,
    poll: Some(Poll {
        request: b"D",
        pause: Duration::from_millis(20),
        // 14 characters take 233 ms at 600 baud; some meters end a conversion first.
        patience: Duration::from_millis(750),
    }),
    framing: || Box::new(Window::new(LENGTH, has_shape)),
    decoding: || Box::new(Ascii14),
};

const LENGTH: usize = 14;
/// Seven data bits and two stop bits, read as eight, have the eighth set.
const SEVEN_BITS: u8 = 0x7F;
/// Digits before the point of an overload without one.
const DIGITS: usize = 4;
/// No range ends before this in its leading digit.
const LEAST: u32 = 2;

const MODES: &[&[u8; 2]] = &[
    b"DC", b"AC", b"OH", b"CA", b"DI", b"FR", b"TE", b"MN", b"MX", b"  ", b"AG", b"HF", b"DB",
    b"dB", b"WT", b"CO",
];

fn has_shape(frame: &[u8]) -> bool {
    let mut masked = frame.iter().map(|byte| byte & SEVEN_BITS);
    let (Some(first), Some(second)) = (masked.next(), masked.next()) else {
        return false;
    };
    MODES.contains(&&[first, second])
        && masked.next_back() == Some(b'\r')
        && masked.all(|byte| (b' '..=b'~').contains(&byte))
}

struct Ascii14;

impl Decode for Ascii14 {
    fn decode(&mut self, frame: &[u8]) -> Result<Sample, BadFrame> {
        let frame: &[u8; LENGTH] = frame
            .try_into()
            .map_err(|_| BadFrame::new("not 14 bytes long"))?;
        if !has_shape(frame) {
            return Err(BadFrame::new("not the shape of a 14-byte ASCII frame"));
        }
        let text = frame.map(|byte| char::from(byte & SEVEN_BITS));
        let part = |from: usize, to: usize| text[from..to].iter().collect::<String>();
        let (mode, value, unit) = (part(0, 2), part(2, 9), part(9, 13));
        let (quantity, prefix) = unit_of(unit.trim())?;
        let (function, coupling, flags) = function(&mode, quantity, prefix)?;
        let (negative, value) = parse(&value)?;
        let (counts, decimals) = match value {
            Value::Digits { counts, decimals } => (counts, decimals),
            Value::Beyond { before } => (LEAST, 1 - before),
        };
        let shown = Shown {
            function,
            scale: quantity.scale(),
            exponent: prefix - decimals,
            full: counts,
        };
        let exactly = matches!(value, Value::Digits { .. });
        Ok(Sample {
            channel: 0,
            function,
            amount: if exactly {
                Amount::Exactly(shown.si(negative, counts))
            } else {
                shown.overload(negative)?
            },
            digit: exactly.then(|| shown.digit()),
            span: None,
            coupling,
            flags,
        })
    }
}

enum Value {
    Digits {
        counts: u32,
        decimals: i32,
    },
    /// Beyond a range of so many digits before its point.
    Beyond {
        before: i32,
    },
}

/// Sign and value.
fn parse(text: &str) -> Result<(bool, Value), BadFrame> {
    let wrong = || BadFrame::new("neither a number nor an overload");
    let (text, negative) = match text.trim().strip_prefix('-') {
        Some(rest) => (rest.trim_start(), true),
        None => (text.trim().trim_start_matches('+').trim_start(), false),
    };
    let before = match text {
        ".OL" => Some(1),
        "O.L" => Some(2),
        "OL." => Some(3),
        "OL" => Some(4),
        _ => None,
    };
    if let Some(before) = before {
        return Ok((negative, Value::Beyond { before }));
    }
    let (whole, part) = text.split_once('.').unwrap_or((text, ""));
    let digits = format!("{whole}{part}");
    if digits.len() < DIGITS || !digits.bytes().all(|byte| byte.is_ascii_digit()) {
        return Err(wrong());
    }
    let counts = digits.parse().map_err(|_| wrong())?;
    let decimals = i32::try_from(part.len()).map_err(|_| wrong())?;
    Ok((negative, Value::Digits { counts, decimals }))
}

/// What a unit, without its prefix, is of.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Measured {
    Volts,
    Amperes,
    Ohms,
    Farads,
    Hertz,
    Celsius,
    Fahrenheit,
}

impl Measured {
    fn scale(self) -> Scale {
        match self {
            Measured::Celsius => Scale::Celsius,
            Measured::Fahrenheit => Scale::Fahrenheit,
            _ => Scale::Si,
        }
    }
}

/// A unit and the power of ten of its prefix.
fn unit_of(unit: &str) -> Result<(Measured, i32), BadFrame> {
    use Measured::{Amperes, Celsius, Fahrenheit, Farads, Hertz, Ohms, Volts};
    Ok(match unit {
        "V" => (Volts, 0),
        "mV" => (Volts, -3),
        "A" => (Amperes, 0),
        "mA" => (Amperes, -3),
        "uA" => (Amperes, -6),
        "Ohm" => (Ohms, 0),
        "KOhm" | "kOhm" => (Ohms, 3),
        "MOhm" => (Ohms, 6),
        "pF" => (Farads, -12),
        "nF" => (Farads, -9),
        "uF" => (Farads, -6),
        "mF" => (Farads, -3),
        "Hz" => (Hertz, 0),
        "KHz" | "kHz" => (Hertz, 3),
        "MHz" => (Hertz, 6),
        "C" => (Celsius, 0),
        "F" => (Fahrenheit, 0),
        _ => {
            return Err(BadFrame::new(
                "a unit that is no quantity of a bay, or none",
            ));
        }
    })
}

fn function(
    mode: &str,
    unit: Measured,
    prefix: i32,
) -> Result<(Function, Option<Coupling>, Flags), BadFrame> {
    let plain = match unit {
        Measured::Volts => Function::Voltage,
        Measured::Amperes => Function::Current,
        Measured::Ohms => Function::Resistance,
        Measured::Farads => Function::Capacitance,
        Measured::Hertz => Function::Frequency,
        Measured::Celsius | Measured::Fahrenheit => Function::Temperature,
    };
    let (coupling, flags) = match mode {
        "DC" => (Some(Coupling::Dc), Flags::empty()),
        "AC" => (Some(Coupling::Ac), Flags::empty()),
        "MN" => (None, Flags::MINIMUM),
        "MX" => (None, Flags::MAXIMUM),
        _ => (None, Flags::empty()),
    };
    let function = match (mode, plain) {
        ("DC" | "AC", Function::Voltage | Function::Current)
        | ("OH", Function::Resistance)
        | ("CA", Function::Capacitance)
        | ("FR", Function::Frequency)
        | ("TE", Function::Temperature)
        | ("MN" | "MX", _) => plain,
        // A bare `F` is no farad, and two spaces do not say that it is a degree.
        ("  ", _) if unit == Measured::Fahrenheit => {
            return Err(BadFrame::new("a unit that its mode does not have"));
        }
        ("DI", Function::Voltage) => Function::Diode,
        ("  ", Function::Voltage) if prefix == -3 => Function::Diode,
        ("  ", Function::Voltage | Function::Current) => {
            return Err(BadFrame::new("neither AC nor DC"));
        }
        ("  ", _) => plain,
        ("AG", _) => return Err(BadFrame::new("an average over a time that is not known")),
        ("HF" | "DB" | "dB" | "WT" | "CO", _) => {
            return Err(BadFrame::new("a mode that is no quantity of a bay"));
        }
        _ => return Err(BadFrame::new("a unit that its mode does not have")),
    };
    Ok((function, coupling, flags))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reading::words;

    fn decode(text: &str) -> Result<Sample, BadFrame> {
        Ascii14.decode(format!("{text}\r").as_bytes())
    }

    fn check(text: &str, expected: &str) {
        assert_eq!(words(decode(text)), expected, "{text}");
    }

    #[test]
    fn reads_every_function_and_prefix() {
        check("DC -01.52   V", "voltage -1.52 V");
        check("DC -133.7  mV", "voltage -0.1337 V");
        check("AC 1.2345   V", "voltage 1.2345 V");
        check("DC  02.00   A", "current 2.0 A");
        check("AC  123.4  mA", "current 0.1234 A");
        check("DC  0123   uA", "current 0.000123 A");
        check("OH  160.6 Ohm", "resistance 160.6 Ohm");
        check("OH  0.951KOhm", "resistance 951.0 Ohm");
        check("OH  0007 MOhm", "resistance 7000000.0 Ohm");
        check("    0.951KOhm", "resistance 951.0 Ohm");
        check("CA  1.234  nF", "capacitance 1.234e-9 F");
        check("CA  12.34  uF", "capacitance 0.00001234 F");
        check("DI  0650   mV", "diode 0.65 V");
        check("    0650   mV", "diode 0.65 V");
        check("FR  0.050 KHz", "frequency 50.0 Hz");
        check("TE  0021    C", "temperature 21.0 Cel");
        check("TE  0077    F", "temperature 25.0 Cel");
        check("MN  12.34   V", "voltage 12.34 V");
    }

    #[test]
    fn refuses_what_contradicts_itself() {
        check("DC  12.34 Ohm", "a unit that its mode does not have");
        check("CA  0077    F", "a unit that its mode does not have");
        check("    0077    F", "a unit that its mode does not have");
        check("    12.34   V", "neither AC nor DC");
        check("AG  12.34   V", "an average over a time that is not known");
        check("DB  12.34   V", "a mode that is no quantity of a bay");
        check(
            "HF  0123     ",
            "a unit that is no quantity of a bay, or none",
        );
        check("DC  1 .34   V", "neither a number nor an overload");
        check("DC  1.3.4   V", "neither a number nor an overload");
        check("DC    .     V", "neither a number nor an overload");
        check("DC  READY   V", "neither a number nor an overload");
        check("XX  12.34   V", "not the shape of a 14-byte ASCII frame");
        check("DC  12.34  V", "not 14 bytes long");
        check(
            "OH - .OL KOhm",
            "a negative overload of what cannot be negative",
        );
    }

    #[test]
    fn an_overload_tells_where_no_range_ends_before() {
        let check = |text, expected| {
            assert_eq!(decode(text).map(|s| s.amount), Ok(expected), "{text}");
        };
        check("OH   .OL KOhm", Amount::Above(2e3));
        check("OH   O.L MOhm", Amount::Above(20e6));
        check("OH   OL. Ohm ", Amount::Above(200.0));
        check("DC    OL    V", Amount::Above(600.0));
        check("DC  -.OL    V", Amount::Below(-2.0));
    }

    #[test]
    fn the_digit_is_known_and_the_span_is_not() {
        let sample = decode("DC -01.52   V").map(|s| (s.digit, s.span));
        assert_eq!(sample, Ok((Some(0.01), None)));
    }

    #[test]
    fn minimum_and_maximum_are_carried() {
        let flags = |text| decode(text).map(|s| s.flags);
        assert_eq!(flags("MN  12.34   V"), Ok(Flags::MINIMUM));
        assert_eq!(flags("MX  12.34   V"), Ok(Flags::MAXIMUM));
    }

    #[test]
    fn stop_bits_that_came_through_do_not_matter() {
        let frame = b"OH  0.951KOhm\r".map(|byte| byte | 0x80);
        assert_eq!(words(Ascii14.decode(&frame)), "resistance 951.0 Ohm");
    }
}
