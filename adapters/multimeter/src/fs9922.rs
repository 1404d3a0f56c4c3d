//! FS9922-DMM3 and FS9922-DMM4: 2400 8N1, 14 bytes.
//!
//! | byte | what |
//! |---|---|
//! | 0 | sign, `+` or `-` |
//! | 1–4 | digits; `?0:?` beyond the range |
//! | 5 | space |
//! | 6 | decimal point: `0` none, `1` after the first digit, `2` the second, `4` the third |
//! | 7–10 | what is lit on the display, a bit each: the tables below |
//! | 11 | bar graph: sign and 7 bits |
//! | 12–13 | CR LF |
//!
//! There is no checksum. What protects is the fixed shape, which bytes that
//! straddle two frames cannot meet, and that few sets of lit signs make sense.
//! Facts from captured frames and from public descriptions of the chip; the
//! points' codes 0, 1, 2, 4 are what chips send (a data sheet prints 3 for 4).

use std::time::Duration;

use trisect_kit::framing::Window;
use trisect_kit::{BadFrame, Codec, Decode, LineSettings, Parity};
use trisect_measure::{Amount, Flags, Function, Sample};

use crate::shown::{self, Scale, Shown};

/// The protocol.
pub(crate) const CODEC: Codec = Codec {
    name: "fs9922",
    title: "FS9922-DMM3/DMM4 multimeter",
    line: LineSettings::new(2400, 8, Parity::None, 1),
    gap: Duration::from_millis(100),
    optical: true,
    poll: None,
    framing: || Box::new(Window::new(LENGTH, has_shape)),
    decoding: || Box::new(Fs9922),
};

const LENGTH: usize = 14;

/// DMM3 counts to 4000, DMM4 to 6000; a frame does not say which chip it is. An
/// overload is put beyond the lower of the two unless its bar graph, which goes
/// one past its end, shows the higher.
const FULL_DMM3: u32 = 4000;
const FULL_DMM4: u32 = 6000;
const BAR_BEYOND_DMM4: u8 = 61;

// Byte 7.
const AUTO: u8 = 1 << 5;
const DC: u8 = 1 << 4;
const AC: u8 = 1 << 3;
const RELATIVE: u8 = 1 << 2;
const HOLD: u8 = 1 << 1;
const BAR: u8 = 1;
// Byte 8; the others are signs that the maker of the meter chose, and automatic
// power-off.
const MAXIMUM: u8 = 1 << 5;
const MINIMUM: u8 = 1 << 4;
const LOW_BATTERY: u8 = 1 << 2;
const NANO: u8 = 1 << 1;
// Byte 9.
const MICRO: u8 = 1 << 7;
const MILLI: u8 = 1 << 6;
const KILO: u8 = 1 << 5;
const MEGA: u8 = 1 << 4;
const SOUNDER: u8 = 1 << 3;
const DIODE: u8 = 1 << 2;
const PERCENT: u8 = 1 << 1;
// Byte 10.
const VOLT: u8 = 1 << 7;
const AMPERE: u8 = 1 << 6;
const OHM: u8 = 1 << 5;
const GAIN: u8 = 1 << 4;
const HERTZ: u8 = 1 << 3;
const FARAD: u8 = 1 << 2;
const CELSIUS: u8 = 1 << 1;
const FAHRENHEIT: u8 = 1;

fn has_shape(frame: &[u8]) -> bool {
    matches!(
        frame,
        [
            b'+' | b'-',
            b'0'..=b'?',
            b'0'..=b'?',
            b'0'..=b'?',
            b'0'..=b'?',
            b' ',
            b'0' | b'1' | b'2' | b'4',
            0..=0x3F,
            _,
            _,
            _,
            _,
            b'\r',
            b'\n'
        ]
    )
}

struct Fs9922;

impl Decode for Fs9922 {
    fn decode(&mut self, frame: &[u8]) -> Result<Sample, BadFrame> {
        let &[sign, d1, d2, d3, d4, _, point, b7, b8, b9, b10, bar, _, _] = frame else {
            return Err(BadFrame::new("not 14 bytes long"));
        };
        if !has_shape(frame) {
            return Err(BadFrame::new("not the shape of an FS9922 frame"));
        }
        let (function, scale) = function(b9, b10)?;
        let mut shown = Shown {
            function,
            scale,
            exponent: prefix(b8, b9, scale)? - decimals(point),
            full: FULL_DMM4,
        };
        let negative = sign == b'-';
        let amount = match counts([d1, d2, d3, d4])? {
            Some(counts) => Amount::Exactly(shown.si(negative, counts)),
            None => {
                let dmm4 = b7 & BAR != 0 && bar & 0x7F == BAR_BEYOND_DMM4;
                shown.full = if dmm4 { FULL_DMM4 } else { FULL_DMM3 };
                shown.overload(negative)?
            }
        };
        Ok(Sample {
            channel: 0,
            function,
            amount,
            digit: Some(shown.digit()),
            span: Some(shown.end()),
            coupling: shown::coupling(function, b7 & DC != 0, b7 & AC != 0)?,
            flags: flags(b7, b8),
        })
    }
}

/// The digits, or `None` beyond the range.
fn counts(digits: [u8; 4]) -> Result<Option<u32>, BadFrame> {
    if digits == *b"?0:?" {
        return Ok(None);
    }
    shown::counts(&digits.map(|digit| digit & 0x0F))
        .map(Some)
        .ok_or_else(|| BadFrame::new("neither four digits nor an overload"))
}

fn decimals(point: u8) -> i32 {
    match point {
        b'1' => 3,
        b'2' => 2,
        b'4' => 1,
        _ => 0,
    }
}

/// The power of ten of the prefix that is lit.
fn prefix(b8: u8, b9: u8, scale: Scale) -> Result<i32, BadFrame> {
    let exponent = match (b8 & NANO, b9 & (MICRO | MILLI | KILO | MEGA)) {
        (0, 0) => return Ok(0),
        (NANO, 0) => -9,
        (0, MICRO) => -6,
        (0, MILLI) => -3,
        (0, KILO) => 3,
        (0, MEGA) => 6,
        _ => return Err(BadFrame::new("two prefixes at once")),
    };
    if scale == Scale::Si {
        Ok(exponent)
    } else {
        Err(BadFrame::new("a prefix before degrees or percent"))
    }
}

/// What is measured: exactly one unit is lit, and the signs of diode and sounder
/// go with volts and ohms only.
fn function(b9: u8, b10: u8) -> Result<(Function, Scale), BadFrame> {
    let function = match (b9 & PERCENT, b10) {
        (0, VOLT) => (Function::Voltage, Scale::Si),
        (0, AMPERE) => (Function::Current, Scale::Si),
        (0, OHM) => (Function::Resistance, Scale::Si),
        (0, HERTZ) => (Function::Frequency, Scale::Si),
        (0, FARAD) => (Function::Capacitance, Scale::Si),
        (0, CELSIUS) => (Function::Temperature, Scale::Celsius),
        (0, FAHRENHEIT) => (Function::Temperature, Scale::Fahrenheit),
        (PERCENT, 0) => (Function::Duty, Scale::Percent),
        (0, GAIN) => return Err(BadFrame::new("transistor gain is no quantity of a bay")),
        (0, 0) if b9 & DIODE != 0 => (Function::Voltage, Scale::Si),
        (0, 0) => return Err(BadFrame::new("no unit is lit")),
        _ => return Err(BadFrame::new("two units at once")),
    };
    match (b9 & (DIODE | SOUNDER), function.0) {
        (0, _) => Ok(function),
        (DIODE, Function::Voltage) => Ok((Function::Diode, Scale::Si)),
        (SOUNDER, Function::Resistance) => Ok((Function::Continuity, Scale::Si)),
        (DIODE, _) => Err(BadFrame::new("a diode test that is not in volts")),
        (SOUNDER, _) => Err(BadFrame::new("a continuity test that is not in ohms")),
        _ => Err(BadFrame::new("diode test and continuity test at once")),
    }
}

fn flags(b7: u8, b8: u8) -> Flags {
    shown::flags(
        b7 & AUTO != 0,
        &[
            (b7 & RELATIVE, Flags::RELATIVE),
            (b7 & HOLD, Flags::HOLD),
            (b7 & BAR, Flags::BARGRAPH),
            (b8 & MAXIMUM, Flags::MAXIMUM),
            (b8 & MINIMUM, Flags::MINIMUM),
            (b8 & LOW_BATTERY, Flags::LOW_BATTERY),
        ],
    )
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use trisect_kit::sample_json;

    fn frame(digits: &str, lit: [u8; 5]) -> Vec<u8> {
        let mut frame = digits.as_bytes().to_vec();
        frame.extend(lit);
        frame.extend(b"\r\n");
        frame
    }

    /// `digits` are sign, digits, space and point; `lit` the bytes 7 to 11.
    fn check(digits: &str, lit: [u8; 5], expected: &str) {
        let said = match Fs9922.decode(&frame(digits, lit)) {
            Ok(sample) => {
                let json = sample_json(&sample);
                format!("{} {} {}", json["function"], json["value"], json["unit"]).replace('"', "")
            }
            Err(error) => error.why.into_owned(),
        };
        assert_eq!(said, expected);
    }

    #[test]
    fn reads_every_function_and_prefix() {
        check("+1234 2", [AUTO | DC, 0, 0, VOLT, 12], "voltage 12.34 V");
        check("-5000 1", [DC, 0, 0, VOLT, 0], "voltage -5.0 V");
        check("+0005 4", [AC, 0, MICRO, AMPERE, 0], "current 5e-7 A");
        check("+1999 4", [AC, 0, MILLI, AMPERE, 0], "current 0.1999 A");
        check("+5678 1", [AUTO, 0, KILO, OHM, 0], "resistance 5678.0 Ohm");
        check(
            "+1500 2",
            [AUTO, 0, MEGA, OHM, 0],
            "resistance 15000000.0 Ohm",
        );
        check("+0012 4", [0, 0, SOUNDER, OHM, 0], "continuity 1.2 Ohm");
        check("+0573 1", [DC, 0, DIODE, VOLT, 0], "diode 0.573 V");
        check(
            "+0042 1",
            [AUTO, NANO, 0, FARAD, 0],
            "capacitance 4.2e-11 F",
        );
        check(
            "+2200 2",
            [AUTO, 0, MICRO, FARAD, 0],
            "capacitance 0.000022 F",
        );
        check("+0500 4", [AUTO, 0, KILO, HERTZ, 0], "frequency 50000.0 Hz");
        check("+0494 4", [0, 0, PERCENT, 0, 0], "duty 49.4 %");
        check("-0012 0", [0, 0, 0, CELSIUS, 0], "temperature -12.0 Cel");
        check("+0077 0", [0, 0, 0, FAHRENHEIT, 0], "temperature 25.0 Cel");
    }

    #[test]
    fn refuses_what_contradicts_itself() {
        check("+1234 2", [DC, 0, 0, VOLT | OHM, 0], "two units at once");
        check("+1234 2", [DC, 0, PERCENT, VOLT, 0], "two units at once");
        check("+1234 2", [DC, 0, 0, 0, 0], "no unit is lit");
        check(
            "+1234 2",
            [DC, 0, KILO | MILLI, VOLT, 0],
            "two prefixes at once",
        );
        check(
            "+1234 2",
            [DC, NANO, MILLI, VOLT, 0],
            "two prefixes at once",
        );
        check("+1234 2", [DC | AC, 0, 0, VOLT, 0], "AC and DC at once");
        check(
            "+1234 2",
            [AC, 0, 0, OHM, 0],
            "AC of what does not alternate",
        );
        check(
            "+0025 0",
            [0, 0, KILO, CELSIUS, 0],
            "a prefix before degrees or percent",
        );
        check(
            "+0025 0",
            [0, 0, SOUNDER, VOLT, 0],
            "a continuity test that is not in ohms",
        );
        check(
            "+0025 0",
            [0, 0, DIODE, OHM, 0],
            "a diode test that is not in volts",
        );
        check(
            "+0025 0",
            [0, 0, 0, GAIN, 0],
            "transistor gain is no quantity of a bay",
        );
        check(
            "+0:25 0",
            [DC, 0, 0, VOLT, 0],
            "neither four digits nor an overload",
        );
        check(
            "-?0:? 2",
            [0, 0, MEGA, OHM, 0],
            "a negative overload of what cannot be negative",
        );
        check(
            "+1234 3",
            [DC, 0, 0, VOLT, 0],
            "not the shape of an FS9922 frame",
        );
        check("+1234 ", [DC, 0, 0, VOLT, 0], "not 14 bytes long");
    }

    #[test]
    fn an_overload_lies_beyond_the_end_of_its_range() {
        fn check(digits: &str, lit: [u8; 5], expected: Amount) {
            let sample = Fs9922.decode(&frame(digits, lit)).unwrap();
            assert_eq!(sample.amount, expected);
            assert_eq!(sample.span, Some(expected.edge().abs()));
        }
        check("+?0:? 2", [BAR, 0, MEGA, OHM, 41], Amount::Above(40e6));
        check("+?0:? 2", [BAR, 0, MEGA, OHM, 61], Amount::Above(60e6));
        check(
            "-?0:? 1",
            [BAR | DC, 0, 0, VOLT, 0x80 | 61],
            Amount::Below(-6.0),
        );
        check("+?0:? 1", [DC, 0, 0, VOLT, 61], Amount::Above(4.0));
    }

    #[test]
    fn every_flag_is_carried() {
        let lit = [
            AUTO | RELATIVE | HOLD | BAR,
            MAXIMUM | MINIMUM | LOW_BATTERY,
            0,
            VOLT,
            0,
        ];
        let sample = Fs9922.decode(&frame("+0000 0", lit)).unwrap();
        let expected = Flags::AUTO
            | Flags::RELATIVE
            | Flags::HOLD
            | Flags::BARGRAPH
            | Flags::MAXIMUM
            | Flags::MINIMUM
            | Flags::LOW_BATTERY;
        assert_eq!(sample.flags, expected);
        assert_eq!((sample.digit, sample.span), (Some(1.0), Some(6000.0)));
    }
}
