//! DTM0660: 2400 8N1, 15 bytes; what is lit on the lcd.
//!
//! Bytes 0 to 12 are as [`crate::lcd`] says, their low four bits turned round.
//! Byte 13, from the lowest bit: °F, °C, and two signs that the maker of the meter
//! chose; byte 14: automatic power-off, minimum, recording, maximum.
//!
//! There is no checksum; the counted bytes make a frame that cannot be mistaken.
//! Facts from public descriptions of the chip; no captured frame was at hand.

use std::time::Duration;

use trisect_kit::framing::Window;
use trisect_kit::{BadFrame, Codec, Decode, LineSettings, Parity};
use trisect_measure::{Flags, Sample};

use crate::lcd::{COMMON, Ends, Lcd, is_counted};
use crate::shown::Scale;

/// The protocol.
pub(crate) const CODEC: Codec = Codec {
    name: "dtm0660",
    title: "DTM0660 multimeter",
    line: LineSettings::new(2400, 8, Parity::None, 1),
    gap: Duration::from_millis(100),
    optical: true,
    poll: None,
    framing: || Box::new(Window::new(LENGTH, is_counted)),
    decoding: || Box::new(Dtm0660),
};

const LENGTH: usize = 15;

/// The maker of the meter has it count to 4000, 6000 or 8000; a frame does not
/// say which.
const ENDS: Ends = Ends {
    usual: 6000,
    least: 4000,
};

// Byte 13.
const FAHRENHEIT: u8 = 1;
const CELSIUS: u8 = 1 << 1;
// Byte 14.
const MINIMUM: u8 = 1 << 1;
const MAXIMUM: u8 = 1 << 3;

struct Dtm0660;

impl Decode for Dtm0660 {
    fn decode(&mut self, frame: &[u8]) -> Result<Sample, BadFrame> {
        let frame: &[u8; LENGTH] = frame
            .try_into()
            .map_err(|_| BadFrame::new("not 15 bytes long"))?;
        if !is_counted(frame) {
            return Err(BadFrame::new("bytes that are not counted from 1 to 15"));
        }
        let mut common = [0; COMMON];
        for (turned, byte) in common.iter_mut().zip(frame) {
            *turned = (byte & 0x0F).reverse_bits() >> 4;
        }
        let [.., own, recording] = *frame;
        let degrees = match own & (FAHRENHEIT | CELSIUS) {
            0 => None,
            FAHRENHEIT => Some(Scale::Fahrenheit),
            CELSIUS => Some(Scale::Celsius),
            _ => return Err(BadFrame::new("two units at once")),
        };
        let mut more = Flags::empty();
        more.set(Flags::MINIMUM, recording & MINIMUM != 0);
        more.set(Flags::MAXIMUM, recording & MAXIMUM != 0);
        Lcd(common).sample(degrees, ENDS, more)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reading::words;
    use trisect_measure::Amount;

    const ZERO: [u8; 15] = [
        0x1E, 0x2E, 0x3B, 0x4E, 0x5B, 0x6E, 0x7B, 0x8E, 0x9B, 0xA0, 0xB0, 0xC0, 0xD2, 0xE0, 0xF0,
    ];

    /// Zero volts DC with these bytes instead.
    fn with(bytes: &[u8]) -> Vec<u8> {
        let mut frame = ZERO.to_vec();
        for byte in bytes {
            frame[usize::from(byte >> 4) - 1] = *byte;
        }
        frame
    }

    fn check(bytes: &[u8], expected: &str) {
        let said = words(Dtm0660.decode(&with(bytes)));
        assert_eq!(said, expected, "{bytes:02X?}");
    }

    #[test]
    fn reads_every_function_and_prefix() {
        check(&[], "voltage 0.0 V");
        check(
            &[0x20, 0x3A, 0x4B, 0x5D, 0x68, 0x7F, 0x84, 0x9E],
            "voltage 1.234 V",
        );
        check(&[0x2B, 0x3D, 0xB1], "voltage -2.0 V");
        check(&[0x28, 0x3F, 0xA1, 0xD1], "current 0.003 A");
        check(&[0x24, 0x3E, 0xC2, 0xD0, 0xA4], "resistance 4000000.0 Ohm");
        check(
            &[0x2C, 0x37, 0xC2, 0xD0, 0xB4],
            "resistance 5000000000.0 Ohm",
        );
        check(
            &[0x2E, 0x37, 0xB8, 0xC2, 0xD0, 0x1C],
            "continuity 6000.0 Ohm",
        );
        check(&[0x28, 0x3A, 0xA8], "diode 7000.0 V");
        check(
            &[0x2E, 0x3F, 0x4A, 0x5D, 0xA2, 0xC1, 0xD0],
            "capacitance 8.2e-6 F",
        );
        check(&[0x2C, 0x3F, 0xD4, 0xA4], "frequency 9000000.0 Hz");
        check(&[0x8A, 0x9D, 0x1C, 0xB2, 0xD0], "duty 2.0 %");
        check(&[0x8A, 0x9D, 0xD0, 0xE2], "temperature 2.0 Cel");
        check(
            &[0x6E, 0x7B, 0x88, 0x9A, 0xD0, 0xE1, 0x68, 0x7A],
            "temperature 25.0 Cel",
        );
    }

    #[test]
    fn refuses_what_contradicts_itself() {
        check(&[0xE2], "two units at once");
        check(&[0xD0, 0xE3], "two units at once");
        check(&[0xD0], "no unit is lit");
        check(&[0x1F], "AC and DC at once");
        check(&[0x16], "the sign of the data output is not lit");
        assert_eq!(words(Dtm0660.decode(&ZERO[..14])), "not 15 bytes long");
        assert_eq!(
            words(Dtm0660.decode(&[0; 15])),
            "bytes that are not counted from 1 to 15"
        );
    }

    #[test]
    fn an_overload_lies_beyond_the_least_end() {
        let frame = with(&[
            0x20, 0x30, 0x4E, 0x5B, 0x67, 0x71, 0x80, 0x90, 0xB4, 0xC2, 0xD0, 0x1C,
        ]);
        assert_eq!(
            Dtm0660.decode(&frame).map(|s| s.amount),
            Ok(Amount::Above(40e6))
        );
    }

    #[test]
    fn every_flag_is_carried() {
        let sample = Dtm0660.decode(&with(&[0x1A, 0xCC, 0xDA, 0xFA]));
        let expected = Flags::MANUAL_RANGE
            | Flags::RELATIVE
            | Flags::HOLD
            | Flags::LOW_BATTERY
            | Flags::MINIMUM
            | Flags::MAXIMUM;
        assert_eq!(sample.map(|s| s.flags), Ok(expected));
    }
}
