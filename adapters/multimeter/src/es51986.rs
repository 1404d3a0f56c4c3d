//! ES51986 (and ES51981 to ES51984): 19200 7O1, 11 bytes, 6000 counts.
//!
//! | byte | low four bits |
//! |---|---|
//! | 0 | range |
//! | 1–4 | digits; 6000 beyond the range |
//! | 5 | function |
//! | 6 | judge (°C), minus, low battery, overload |
//! | 7 | hold, maximum, minimum, 0 |
//! | 8 | DC, AC, automatic range, 0 |
//! | 9–10 | CR LF |
//!
//! Every byte but the last two is `0` to `?`; each block is sent twice. There is
//! no checksum. The held value is on the display only: the chip goes on sending
//! what it measures. A tenth of a degree that a meter shows is not sent, nor that
//! a meter shows AC and DC together: it says AC. ES51981 counts to 2000 with the
//! same frames. Facts from the chips' data sheets and from captured frames.

use std::time::Duration;

use trisect_kit::{BadFrame, Codec, Decode, LineSettings, Parity};
use trisect_measure::{Flags, Function, Sample};

use crate::es519xx::{Fields, LOW_BATTERY, PAYLOAD, no_quantity};
use crate::line_framing::Lines;
use crate::shown::{self, Scale};

/// The protocol.
pub(crate) const CODEC: Codec = Codec {
    name: "es51986",
    title: "ES51986 multimeter",
    line: LineSettings::new(19_200, 7, Parity::Odd, 1),
    gap: Duration::from_millis(100),
    optical: true,
    poll: None,
    framing: || Box::new(Lines::new(PAYLOAD)),
    decoding: || Box::new(Es51986),
};

const FULL: u32 = 6000;

// Byte 7.
const HOLD: u8 = 1 << 3;
const MAXIMUM: u8 = 1 << 2;
const MINIMUM: u8 = 1 << 1;
/// Of both options.
const ALWAYS_0: u8 = 1;

// The power of ten of one count in each range, by function.
const VOLTS: &[i32] = &[-3, -2, -1, 0, -4];
const MICROAMPERES: &[i32] = &[-7, -6];
const MILLIAMPERES: &[i32] = &[-5, -4];
const AMPERES: &[i32] = &[-3, -2];
const AMPERES_FIXED: &[i32] = &[-2];
const OHMS: &[i32] = &[-1, 0, 1, 2, 3, 4];
const SOUNDER: &[i32] = &[-1];
const DIODE: &[i32] = &[-3];
const DEGREES: &[i32] = &[0];
const HERTZ: &[i32] = &[0, 1, 2, 3, 4];
const FARADS: &[i32] = &[-12, -11, -10, -9, -8, -7, -6];

struct Es51986;

impl Decode for Es51986 {
    fn decode(&mut self, frame: &[u8]) -> Result<Sample, BadFrame> {
        let fields = Fields::of(frame)?;
        if (fields.option1 | fields.option2) & ALWAYS_0 != 0 {
            return Err(BadFrame::new(
                "a bit is set that this chip leaves 0: is it an ES51962?",
            ));
        }
        let sample = fields.sample(function(&fields)?, FULL)?;
        let flags = shown::flags(
            fields.auto(),
            &[
                (fields.status & LOW_BATTERY, Flags::LOW_BATTERY),
                (fields.option1 & HOLD, Flags::HOLD),
                (fields.option1 & MAXIMUM, Flags::MAXIMUM),
                (fields.option1 & MINIMUM, Flags::MINIMUM),
            ],
        );
        Ok(Sample { flags, ..sample })
    }
}

fn function(fields: &Fields) -> Result<(Function, Scale, &'static [i32]), BadFrame> {
    Ok(match fields.function {
        0xB => (Function::Voltage, Scale::Si, VOLTS),
        0xD => (Function::Current, Scale::Si, MICROAMPERES),
        0xF => (Function::Current, Scale::Si, MILLIAMPERES),
        0x0 => (Function::Current, Scale::Si, AMPERES),
        0x9 => (Function::Current, Scale::Si, AMPERES_FIXED),
        0x3 => (Function::Resistance, Scale::Si, OHMS),
        0x5 => (Function::Continuity, Scale::Si, SOUNDER),
        0x1 => (Function::Diode, Scale::Si, DIODE),
        0x2 => (Function::Frequency, Scale::Si, HERTZ),
        0x6 => (Function::Capacitance, Scale::Si, FARADS),
        0x4 if fields.judge() => (Function::Temperature, Scale::Celsius, DEGREES),
        0x4 => (Function::Temperature, Scale::Fahrenheit, DEGREES),
        other => return Err(no_quantity(other)),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reading::{decoded, read};
    use trisect_measure::Amount;

    fn check(payload: &str, expected: &str) {
        assert_eq!(read(&CODEC, payload), expected, "{payload}");
    }

    #[test]
    fn reads_every_function_and_the_ends_of_its_ranges() {
        check("01234;808", "voltage 1.234 V");
        check("31234;<08", "voltage -1234.0 V");
        check("41234;808", "voltage 0.1234 V");
        check("01234=808", "current 0.0001234 A");
        check("11234=808", "current 0.001234 A");
        check("01234?808", "current 0.01234 A");
        check("11234?804", "current 0.1234 A");
        check("012340808", "current 1.234 A");
        check("112340808", "current 12.34 A");
        check("000239804", "current 0.23 A");
        check("012343800", "resistance 123.4 Ohm");
        check("512343800", "resistance 12340000.0 Ohm");
        check("001405800", "continuity 14.0 Ohm");
        check("005671800", "diode 0.567 V");
        check("012342800", "frequency 1234.0 Hz");
        check("412342800", "frequency 12340000.0 Hz");
        check("000516800", "capacitance 5.1e-11 F");
        check("612346800", "capacitance 0.001234 F");
        check("000174800", "temperature 17.0 Cel");
        check("000774000", "temperature 25.0 Cel");
        check("000054<00", "temperature -5.0 Cel");
    }

    #[test]
    fn refuses_what_contradicts_itself() {
        check("51234;808", "a range that the function does not have");
        check("512342800", "a range that the function does not have");
        check("01234;80<", "AC and DC at once");
        check("0;234;808", "a digit above nine");
        check("01234>808", "an adapter input, whose quantity is not known");
        check("012347808", "no such function");
        check("012342<00", "a negative frequency or speed");
        check(
            "01234;818",
            "a bit is set that this chip leaves 0: is it an ES51962?",
        );
        check(
            "01234;809",
            "a bit is set that this chip leaves 0: is it an ES51962?",
        );
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
        check("560003902", Amount::Above(60e6));
        check("060005900", Amount::Above(600.0));
        check("16000;=08", Amount::Below(-60.0));
        check("36000;908", Amount::Above(600.0));
        check("028211900", Amount::Above(1.0));
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
        check("00000;:8:", Flags::AUTO | Flags::LOW_BATTERY | Flags::HOLD);
        check(
            "00000;8<8",
            Flags::MANUAL_RANGE | Flags::HOLD | Flags::MAXIMUM,
        );
        check("00000;828", Flags::MANUAL_RANGE | Flags::MINIMUM);
    }
}
