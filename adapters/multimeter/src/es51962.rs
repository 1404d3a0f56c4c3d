//! ES51962 (and ES51971, ES51972, ES51978, ES51989): 2400 7O1, 11 bytes, 4000
//! counts.
//!
//! | byte | low four bits |
//! |---|---|
//! | 0 | range |
//! | 1–4 | digits; 4000 beyond the range |
//! | 5 | function |
//! | 6 | judge (°C, or revolutions per minute), minus, low battery, overload |
//! | 7 | peak maximum, peak minimum, 0, frequency of a voltage or current |
//! | 8 | DC, AC, automatic range, automatic power-off |
//! | 9–10 | CR LF |
//!
//! Every byte but the last two is `0` to `?`; each block is sent twice. There is
//! no checksum. Hold, maximum, minimum and relative are on the display only: the
//! chip goes on sending what it measures. Facts from the chip's data sheet and
//! from captured frames. Some cables run at 19200 baud: set the line then.

use std::time::Duration;

use trisect_kit::{BadFrame, Codec, Decode, LineSettings, Parity};
use trisect_measure::{Flags, Function, Sample};

use crate::es519xx::{Fields, LOW_BATTERY, PAYLOAD, no_quantity};
use crate::line_framing::Lines;
use crate::shown::{self, Scale};

/// The protocol.
pub(crate) const CODEC: Codec = Codec {
    name: "es51962",
    title: "ES51962 multimeter",
    line: LineSettings::new(2400, 7, Parity::Odd, 1),
    gap: Duration::from_millis(100),
    optical: true,
    poll: None,
    framing: || Box::new(Lines::new(PAYLOAD)),
    decoding: || Box::new(Es51962),
};

const FULL: u32 = 4000;

// Byte 7.
const PEAK_MAXIMUM: u8 = 1 << 3;
const PEAK_MINIMUM: u8 = 1 << 2;
const ALWAYS_0: u8 = 1 << 1;
const PULSES: u8 = 1;

// The power of ten of one count in each range, by function.
const VOLTS: &[i32] = &[-4, -3, -2, -1, 0];
const MICROAMPERES: &[i32] = &[-7, -6];
const MILLIAMPERES: &[i32] = &[-5, -4];
const AMPERES: &[i32] = &[-2];
const OHMS: &[i32] = &[-1, 0, 1, 2, 3, 4];
const SOUNDER: &[i32] = &[-1];
const DIODE: &[i32] = &[-3];
const DEGREES: &[i32] = &[0];
const HERTZ: &[i32] = &[0, 1, 2, 3, 4, 5];
const TURNS_PER_MINUTE: &[i32] = &[1, 2, 3, 4, 5, 6];
const FARADS: &[i32] = &[-12, -11, -10, -9, -8, -7, -6, -5];

struct Es51962;

impl Decode for Es51962 {
    fn decode(&mut self, frame: &[u8]) -> Result<Sample, BadFrame> {
        let fields = Fields::of(frame)?;
        if fields.option1 & ALWAYS_0 != 0 {
            return Err(BadFrame::new(
                "a bit is set that this chip leaves 0: is it an ES51986?",
            ));
        }
        let sample = fields.sample(function(&fields)?, FULL)?;
        let flags = shown::flags(
            fields.auto(),
            &[
                (fields.status & LOW_BATTERY, Flags::LOW_BATTERY),
                (fields.option1 & (PEAK_MAXIMUM | PEAK_MINIMUM), Flags::PEAK),
            ],
        );
        Ok(Sample { flags, ..sample })
    }
}

fn function(fields: &Fields) -> Result<(Function, Scale, &'static [i32]), BadFrame> {
    let pulses = if fields.judge() {
        (
            Function::RotationalSpeed,
            Scale::TurnsPerMinute,
            TURNS_PER_MINUTE,
        )
    } else {
        (Function::Frequency, Scale::Si, HERTZ)
    };
    let of_pulses = fields.option1 & PULSES != 0;
    Ok(match fields.function {
        0xB | 0xD | 0x9 | 0xF if of_pulses => pulses,
        0x2 => pulses,
        0xB => (Function::Voltage, Scale::Si, VOLTS),
        0xD => (Function::Current, Scale::Si, MICROAMPERES),
        0x9 => (Function::Current, Scale::Si, MILLIAMPERES),
        0xF => (Function::Current, Scale::Si, AMPERES),
        0x3 => (Function::Resistance, Scale::Si, OHMS),
        0x5 => (Function::Continuity, Scale::Si, SOUNDER),
        0x1 => (Function::Diode, Scale::Si, DIODE),
        0x6 => (Function::Capacitance, Scale::Si, FARADS),
        0x4 if fields.judge() => (Function::Temperature, Scale::Celsius, DEGREES),
        0x4 => (Function::Temperature, Scale::Fahrenheit, DEGREES),
        other => return Err(no_quantity(other)),
    })
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::reading::{decoded, read};
    use trisect_measure::Amount;

    fn check(payload: &str, expected: &str) {
        assert_eq!(read(&CODEC, payload), expected, "{payload}");
    }

    #[test]
    fn reads_every_function_and_the_ends_of_its_ranges() {
        check("01234;008", "voltage 0.1234 V");
        check("41234;40:", "voltage -1234.0 V");
        check("01234=008", "current 0.0001234 A");
        check("11234=008", "current 0.001234 A");
        check("012349008", "current 0.01234 A");
        check("112349008", "current 0.1234 A");
        check("01234?008", "current 12.34 A");
        check("012343002", "resistance 123.4 Ohm");
        check("512343002", "resistance 12340000.0 Ohm");
        check("001405000", "continuity 14.0 Ohm");
        check("000261000", "diode 0.026 V");
        check("012342000", "frequency 1234.0 Hz");
        check("512342000", "frequency 123400000.0 Hz");
        check("01234;014", "frequency 1234.0 Hz");
        check("012346000", "capacitance 1.234e-9 F");
        check("712346000", "capacitance 0.01234 F");
        check("000204800", "temperature 20.0 Cel");
        check("000684000", "temperature 20.0 Cel");
    }

    /// 10 rpm a count in the lowest range.
    #[test]
    fn revolutions_per_minute_become_radians_per_second() {
        let sample = decoded(&CODEC, "000062800");
        let turns = sample.map(|s| (s.function, s.amount.edge() / std::f64::consts::TAU));
        let (function, turns) = turns.unwrap();
        assert_eq!(function, Function::RotationalSpeed);
        assert!((turns - 1.0).abs() < 1e-12, "{turns}");
    }

    #[test]
    fn refuses_what_contradicts_itself() {
        check("51234;008", "a range that the function does not have");
        check("21234=008", "a range that the function does not have");
        check("11234?008", "a range that the function does not have");
        check("01234;00<", "AC and DC at once");
        check("012343004", "AC of what does not alternate");
        check("0123:;008", "a digit above nine");
        check("01234>008", "an adapter input, whose quantity is not known");
        check("012347008", "no such function");
        check("012340008", "no such function");
        check("012342400", "a negative frequency or speed");
        check(
            "040003500",
            "a negative overload of what cannot be negative",
        );
        check(
            "01234;028",
            "a bit is set that this chip leaves 0: is it an ES51986?",
        );
        check("01234;00 ", "a byte that is not `0` to `?`");
        check("01234;00", "not 11 bytes long with CR LF at the end");
    }

    #[test]
    fn what_is_beyond_the_range_tells_its_end() {
        let check = |payload, expected| {
            assert_eq!(
                decoded(&CODEC, payload).map(|s| s.amount),
                Ok(expected),
                "{payload}"
            );
        };
        check("540003100", Amount::Above(40e6));
        check("040005100", Amount::Above(400.0));
        check("14000;508", Amount::Below(-4.0));
        check("029191100", Amount::Above(1.0));
        // A chip of 2000 counts with the same frames.
        check("020003100", Amount::Above(200.0));
    }

    #[test]
    fn every_flag_is_carried() {
        let check = |payload, expected| {
            assert_eq!(
                decoded(&CODEC, payload).map(|s| s.flags),
                Ok(expected),
                "{payload}"
            );
        };
        check("00000;20;", Flags::AUTO | Flags::LOW_BATTERY);
        check("00000;088", Flags::MANUAL_RANGE | Flags::PEAK);
        check("00000;048", Flags::MANUAL_RANGE | Flags::PEAK);
    }
}
