//! ES51922 (and ES51921): 19200 7O1, 14 bytes, 22 000 counts.
//!
//! | byte | low four bits |
//! |---|---|
//! | 0 | range |
//! | 1–5 | digits |
//! | 6 | function |
//! | 7 | judge, minus, low battery, overload |
//! | 8 | maximum, minimum, relative, present value while recording |
//! | 9 | under-range, peak maximum, peak minimum, 0 |
//! | 10 | DC, AC, automatic range, frequency of a voltage or current |
//! | 11 | 0, clamp input, hold, low-pass filter |
//! | 12–13 | CR LF |
//!
//! Every byte but the last two is `0` to `?`. There is no checksum; the parity
//! bit is checked by the port, if at all. The held value is on the display only:
//! the chip goes on sending what it measures. Facts from captured frames and
//! from public descriptions of the chip.

use std::time::Duration;

use trisect_kit::{BadFrame, Codec, Decode, LineSettings, Parity};
use trisect_measure::{Amount, Flags, Function, Sample};

use crate::line_framing::Lines;
use crate::shown::{self, Scale, Shown};

/// The protocol.
pub(crate) const CODEC: Codec = Codec {
    name: "es51922",
    title: "ES51922 multimeter",
    line: LineSettings::new(19_200, 7, Parity::Odd, 1),
    gap: Duration::from_millis(100),
    optical: true,
    poll: None,
    framing: || Box::new(Lines::new(PAYLOAD)),
    decoding: || Box::new(Es51922),
};

const PAYLOAD: usize = 12;
const FULL: u32 = 22_000;
/// A duty cycle is shown in tenths of a percent, whatever the range.
const FULL_DUTY: u32 = 1000;
/// Below these, duty cycle and the lowest frequency range are under-range (from
/// a public description of the chip's frames).
const LEAST_DUTY: u32 = 100;
const LEAST_HERTZ_PART: u32 = 11;

// Byte 7.
const JUDGE: u8 = 1 << 3;
const MINUS: u8 = 1 << 2;
const LOW_BATTERY: u8 = 1 << 1;
const OVERLOAD: u8 = 1;
// Byte 8.
const MAXIMUM: u8 = 1 << 3;
const MINIMUM: u8 = 1 << 2;
const RELATIVE: u8 = 1 << 1;
// Byte 9.
const UNDER: u8 = 1 << 3;
const PEAK_MAXIMUM: u8 = 1 << 2;
const PEAK_MINIMUM: u8 = 1 << 1;
// Byte 10.
const DC: u8 = 1 << 3;
const AC: u8 = 1 << 2;
const AUTO: u8 = 1 << 1;
const PULSES: u8 = 1;
// Byte 11.
const CLAMP: u8 = 1 << 2;
const HOLD: u8 = 1 << 1;

/// The power of ten of one count in each range, by function.
type Ranges = [Option<i32>; 8];
const VOLTS: Ranges = [
    Some(-4),
    Some(-3),
    Some(-2),
    Some(-1),
    Some(-5),
    None,
    None,
    None,
];
const MICROAMPERES: Ranges = [Some(-8), Some(-7), None, None, None, None, None, None];
const MILLIAMPERES: Ranges = [Some(-6), Some(-5), None, None, None, None, None, None];
const AMPERES: Ranges = [Some(-3), None, None, None, None, None, None, None];
const CLAMPED: Ranges = [
    Some(-4),
    Some(-3),
    Some(-2),
    Some(-1),
    Some(0),
    None,
    None,
    None,
];
const OHMS: Ranges = [
    Some(-2),
    Some(-1),
    Some(0),
    Some(1),
    Some(2),
    Some(3),
    Some(4),
    None,
];
const SOUNDER: Ranges = [Some(-2), None, None, None, None, None, None, None];
const DIODE: Ranges = [Some(-4), None, None, None, None, None, None, None];
const HERTZ: Ranges = [
    Some(-2),
    Some(-1),
    None,
    Some(0),
    Some(1),
    Some(2),
    Some(3),
    Some(4),
];
const FARADS: Ranges = [
    Some(-12),
    Some(-11),
    Some(-10),
    Some(-9),
    Some(-8),
    Some(-7),
    Some(-6),
    Some(-5),
];

struct Es51922;

impl Decode for Es51922 {
    fn decode(&mut self, frame: &[u8]) -> Result<Sample, BadFrame> {
        let frame: &[u8; PAYLOAD + 2] = frame
            .try_into()
            .map_err(|_| BadFrame::new("not 14 bytes long"))?;
        if !frame[..PAYLOAD].iter().all(|b| (b'0'..=b'?').contains(b)) {
            return Err(BadFrame::new("not the shape of an ES51922 frame"));
        }
        let [
            range,
            d1,
            d2,
            d3,
            d4,
            d5,
            function,
            b7,
            b8,
            b9,
            b10,
            b11,
            _,
            _,
        ] = frame.map(|byte| byte & 0x0F);
        if b9 & 1 != 0 || b11 & 8 != 0 {
            return Err(BadFrame::new(
                "a bit is set that this chip leaves 0: is it an ES51932?",
            ));
        }
        let shown = showing(function, range, b7, b10, b11)?;
        let negative = b7 & MINUS != 0;
        let amount = match (b7 & OVERLOAD, b9 & UNDER) {
            (0, 0) => exactly(&shown, negative, b8, [d1, d2, d3, d4, d5])?,
            (_, 0) => shown.overload(negative)?,
            (0, _) => under_range(&shown, range)?,
            _ => return Err(BadFrame::new("overload and under-range at once")),
        };
        Ok(Sample {
            channel: 0,
            function: shown.function,
            amount,
            digit: Some(shown.digit()),
            span: Some(shown.end()),
            coupling: shown::coupling(shown.function, b10 & DC != 0, b10 & AC != 0)?,
            flags: flags([b7, b8, b9, b10, b11]),
        })
    }
}

fn exactly(shown: &Shown, negative: bool, b8: u8, digits: [u8; 5]) -> Result<Amount, BadFrame> {
    let counts = shown::counts(&digits)
        .ok_or_else(|| BadFrame::new("a digit above nine without an overload"))?;
    let pulses = matches!(shown.function, Function::Frequency | Function::Duty);
    if pulses && negative && b8 & RELATIVE == 0 {
        return Err(BadFrame::new("a negative frequency or duty cycle"));
    }
    if shown.function == Function::Duty && counts > FULL_DUTY {
        return Err(BadFrame::new("a duty cycle beyond 100 %"));
    }
    Ok(Amount::Exactly(shown.si(negative, counts)))
}

/// Too slow or too short to be measured: below the least that is shown.
fn under_range(shown: &Shown, range: u8) -> Result<Amount, BadFrame> {
    let least = match (shown.function, range) {
        (Function::Duty, _) => LEAST_DUTY,
        (Function::Frequency, 0) => shown.full / LEAST_HERTZ_PART,
        // Where the least is not known, the end of the range is safe to say.
        (Function::Frequency, _) => shown.full,
        _ => return Err(BadFrame::new("under-range of what has no least value")),
    };
    Ok(Amount::Below(shown.si(false, least)))
}

fn showing(function: u8, range: u8, b7: u8, b10: u8, b11: u8) -> Result<Shown, BadFrame> {
    let (function, ranges) = match function {
        0xB => (Function::Voltage, VOLTS),
        0xD => (Function::Current, MICROAMPERES),
        0xF => (Function::Current, MILLIAMPERES),
        0x0 => (Function::Current, AMPERES),
        0x9 => (Function::Current, CLAMPED),
        0x3 => (Function::Resistance, OHMS),
        0x5 => (Function::Continuity, SOUNDER),
        0x1 => (Function::Diode, DIODE),
        0x2 => (Function::Frequency, HERTZ),
        0x6 => (Function::Capacitance, FARADS),
        0x4 => return Err(BadFrame::new("temperature, whose ranges are not published")),
        0x8 | 0xA | 0xC | 0xE => {
            return Err(BadFrame::new(
                "an adapter input, whose quantity is not known",
            ));
        }
        _ => return Err(BadFrame::new("no such function")),
    };
    let electric = matches!(function, Function::Voltage | Function::Current);
    let pulses = function == Function::Frequency || electric && b10 & PULSES != 0;
    if pulses && b7 & JUDGE != 0 {
        return Ok(Shown {
            function: Function::Duty,
            scale: Scale::Percent,
            exponent: -1,
            full: FULL_DUTY,
        });
    }
    if function == Function::Current && !pulses && b11 & CLAMP != 0 {
        return Err(BadFrame::new(
            "a clamp on the current input, whose factor is not known",
        ));
    }
    let (function, ranges) = if pulses {
        (Function::Frequency, HERTZ)
    } else {
        (function, ranges)
    };
    let exponent = ranges
        .get(usize::from(range))
        .copied()
        .flatten()
        .ok_or_else(|| BadFrame::new("a range that the function does not have"))?;
    Ok(Shown {
        function,
        scale: Scale::Si,
        exponent,
        full: FULL,
    })
}

fn flags([b7, b8, b9, b10, b11]: [u8; 5]) -> Flags {
    shown::flags(
        b10 & AUTO != 0,
        &[
            (b7 & LOW_BATTERY, Flags::LOW_BATTERY),
            (b8 & MAXIMUM, Flags::MAXIMUM),
            (b8 & MINIMUM, Flags::MINIMUM),
            (b8 & RELATIVE, Flags::RELATIVE),
            (b9 & (PEAK_MAXIMUM | PEAK_MINIMUM), Flags::PEAK),
            (b11 & HOLD, Flags::HOLD),
        ],
    )
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use trisect_kit::sample_json;

    fn decode(payload: &str) -> Result<Sample, BadFrame> {
        Es51922.decode(format!("{payload}\r\n").as_bytes())
    }

    fn check(payload: &str, expected: &str) {
        let said = match decode(payload) {
            Ok(sample) => {
                let json = sample_json(&sample);
                format!("{} {} {}", json["function"], json["value"], json["unit"]).replace('"', "")
            }
            Err(error) => error.why.into_owned(),
        };
        assert_eq!(said, expected, "{payload}");
    }

    #[test]
    fn reads_every_function_and_the_ends_of_its_ranges() {
        check("012345;000:0", "voltage 1.2345 V");
        check("312345;00080", "voltage 1234.5 V");
        check("412345;40080", "voltage -0.12345 V");
        check("012345=00080", "current 0.00012345 A");
        check("112345=00080", "current 0.0012345 A");
        check("012345?00080", "current 0.012345 A");
        check("112345?00080", "current 0.12345 A");
        check("012345000040", "current 12.345 A");
        check("212345900080", "current 123.45 A");
        check("412345900080", "current 12345.0 A");
        check("012345300000", "resistance 123.45 Ohm");
        check("612345300000", "resistance 123450000.0 Ohm");
        check("001234500000", "continuity 12.34 Ohm");
        check("005678100000", "diode 0.5678 V");
        check("012345200000", "frequency 123.45 Hz");
        check("712345200000", "frequency 123450000.0 Hz");
        check("000494280000", "duty 49.4 %");
        check("012345;00090", "frequency 123.45 Hz");
        check("400163=80090", "duty 16.3 %");
        check("012345600000", "capacitance 1.2345e-8 F");
        check("712345600000", "capacitance 0.12345 F");
    }

    #[test]
    fn refuses_what_contradicts_itself() {
        check("512345;00080", "a range that the function does not have");
        check("912345;00080", "a range that the function does not have");
        check("212345200000", "a range that the function does not have");
        check("112345000080", "a range that the function does not have");
        check("012345;000<0", "AC and DC at once");
        check("012345300040", "AC of what does not alternate");
        check("01234:;00080", "a digit above nine without an overload");
        check("012345;10880", "overload and under-range at once");
        check("012345;00880", "under-range of what has no least value");
        check(
            "012345400020",
            "temperature, whose ranges are not published",
        );
        check(
            "012345>00080",
            "an adapter input, whose quantity is not known",
        );
        check("012345700080", "no such function");
        check(
            "012345=00084",
            "a clamp on the current input, whose factor is not known",
        );
        check("012345240000", "a negative frequency or duty cycle");
        check("001001280000", "a duty cycle beyond 100 %");
        check(
            "022580350000",
            "a negative overload of what cannot be negative",
        );
        check(
            "012345;00088",
            "a bit is set that this chip leaves 0: is it an ES51932?",
        );
        check("012345;0008 ", "not the shape of an ES51922 frame");
        check("012345;0008", "not 14 bytes long");
    }

    #[test]
    fn what_is_beyond_the_range_tells_its_end() {
        let check = |payload: &str, expected| {
            assert_eq!(decode(payload).unwrap().amount, expected, "{payload}");
        };
        check("622580310000", Amount::Above(220e6));
        check("022580510000", Amount::Above(220.0));
        check("022580;10080", Amount::Above(2.2));
        check("022580;50080", Amount::Below(-2.2));
        check("000000;80890", Amount::Below(0.1));
        check("000000200800", Amount::Below(20.0));
    }

    #[test]
    fn every_flag_is_carried() {
        let check = |payload: &str, expected| {
            assert_eq!(decode(payload).unwrap().flags, expected, "{payload}");
        };
        check(
            "000000;200:2",
            Flags::LOW_BATTERY | Flags::AUTO | Flags::HOLD,
        );
        check(
            "000000;0>080",
            Flags::MAXIMUM | Flags::MINIMUM | Flags::RELATIVE | Flags::MANUAL_RANGE,
        );
        check("000000;00480", Flags::PEAK | Flags::MANUAL_RANGE);
        check("000000;00280", Flags::PEAK | Flags::MANUAL_RANGE);
    }
}
