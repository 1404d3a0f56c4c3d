//! FS9721_LP3 (and FS9721B): 2400 8N1, 14 bytes; what is lit on the lcd.
//!
//! Bytes 0 to 12 are as [`crate::lcd`] says. Byte 13 has four signs that the
//! maker of the meter chose: 1 and 4 are °C where no unit is lit; 2 is °C on some
//! meters and °F on others, which no frame tells, so it is refused; 8 is lit on
//! most meters whatever they measure. Minimum and maximum have no sign.
//!
//! There is no checksum; the counted bytes make a frame that cannot be mistaken.
//! Facts from captured frames and from public descriptions of the chip.

use std::time::Duration;

use trisect_kit::framing::Window;
use trisect_kit::{BadFrame, Codec, Decode, LineSettings, Parity};
use trisect_measure::{Flags, Sample};

use crate::lcd::{COMMON, Ends, Lcd, is_counted};
use crate::shown::Scale;

/// The protocol.
pub(crate) const CODEC: Codec = Codec {
    name: "fs9721",
    title: "FS9721_LP3 multimeter",
    line: LineSettings::new(2400, 8, Parity::None, 1),
    gap: Duration::from_millis(100),
    optical: true,
    poll: None,
    framing: || Box::new(Window::new(LENGTH, is_counted)),
    decoding: || Box::new(Fs9721),
};

const LENGTH: usize = 14;

/// LP3 counts to 4000, the B to 2400; a frame does not say which chip it is.
const ENDS: Ends = Ends {
    usual: 4000,
    least: 2400,
};

// Byte 13.
const CELSIUS: u8 = 1 << 2 | 1;
const CELSIUS_OR_FAHRENHEIT: u8 = 1 << 1;

struct Fs9721;

impl Decode for Fs9721 {
    fn decode(&mut self, frame: &[u8]) -> Result<Sample, BadFrame> {
        let frame: &[u8; LENGTH] = frame
            .try_into()
            .map_err(|_| BadFrame::new("not 14 bytes long"))?;
        if !is_counted(frame) {
            return Err(BadFrame::new("bytes that are not counted from 1 to 14"));
        }
        let lit = frame.map(|byte| byte & 0x0F);
        let mut common = [0; COMMON];
        common.copy_from_slice(&lit[..COMMON]);
        let lcd = Lcd(common);
        let own = lit[COMMON];
        let degrees = if lcd.has_unit() {
            None
        } else if own & CELSIUS_OR_FAHRENHEIT != 0 {
            return Err(BadFrame::new(
                "degrees that are Celsius on some meters and Fahrenheit on others",
            ));
        } else {
            (own & CELSIUS != 0).then_some(Scale::Celsius)
        };
        lcd.sample(degrees, ENDS, Flags::empty())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reading::words;
    use trisect_measure::Amount;

    const ZERO: [u8; 14] = [
        0x17, 0x27, 0x3D, 0x47, 0x5D, 0x67, 0x7D, 0x87, 0x9D, 0xA0, 0xB0, 0xC0, 0xD4, 0xE8,
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
        assert_eq!(words(Fs9721.decode(&with(bytes))), expected, "{bytes:02X?}");
    }

    #[test]
    fn reads_every_function_and_prefix() {
        check(&[], "voltage 0.0 V");
        check(&[0x20, 0x35, 0x4D, 0x5B], "voltage 1.2 V");
        check(&[0x2D, 0x3B, 0xB8], "voltage -2.0 V");
        check(&[0x21, 0x3F, 0xA8, 0xD8], "current 0.003 A");
        check(&[0x22, 0x37, 0xC4, 0xD0, 0xA2], "resistance 4000000.0 Ohm");
        check(
            &[0x23, 0x3E, 0xC4, 0xD0, 0xB2],
            "resistance 5000000000.0 Ohm",
        );
        check(
            &[0x27, 0x3E, 0x8F, 0xB1, 0xC4, 0xD0, 0x13],
            "continuity 600.0 Ohm",
        );
        check(&[0x21, 0x35, 0xA1], "diode 7000.0 V");
        check(
            &[0x27, 0x3F, 0x45, 0x5B, 0xA4, 0xC8, 0xD0],
            "capacitance 8.2e-6 F",
        );
        check(&[0x23, 0x3F, 0xD2, 0xA2], "frequency 9000000.0 Hz");
        check(&[0x85, 0x9B, 0x67, 0x7D, 0x13, 0xB4, 0xD0], "duty 2.0 %");
        check(&[0x85, 0x9B, 0xD0, 0xE1], "temperature 2.0 Cel");
        check(&[0x85, 0x9B, 0xD0, 0xE4], "temperature 2.0 Cel");
    }

    #[test]
    fn refuses_what_contradicts_itself() {
        check(&[0xDC], "two units at once");
        check(&[0xC4], "two units at once");
        check(&[0xD0, 0xE8], "no unit is lit");
        check(&[0xA2, 0xB8], "two prefixes at once");
        check(&[0xA6], "two prefixes at once");
        check(&[0x1F], "AC and DC at once");
        check(&[0x1B, 0xC4, 0xD0], "AC of what does not alternate");
        check(&[0xA2, 0xD0, 0xE1], "a prefix before degrees or percent");
        check(&[0xB1], "a continuity test that is not in ohms");
        check(&[0xA1, 0xC4, 0xD0], "a diode test that is not in volts");
        check(&[0xA1, 0xB1], "diode test and continuity test at once");
        check(&[0x4F, 0x6F], "two points at once");
        check(&[0x3C], "neither four digits nor an overload");
        check(&[0x16], "the sign of the data output is not lit");
        check(
            &[0xD0, 0xE2],
            "degrees that are Celsius on some meters and Fahrenheit on others",
        );
    }

    #[test]
    fn an_overload_lies_beyond_the_end_of_its_range() {
        let overload = [0x20, 0x30, 0x47, 0x5D, 0x66, 0x78, 0x80, 0x90];
        let check = |more: &[u8], expected| {
            let frame = with(&[&overload[..], more].concat());
            assert_eq!(Fs9721.decode(&frame).map(|s| s.amount), Ok(expected));
        };
        check(&[0x6E, 0xB2, 0xC4, 0xD0, 0x13], Amount::Above(24e6));
        check(&[0x28, 0x4F], Amount::Below(-2.4));
        check(&[0x4F, 0xA1], Amount::Above(1.0));
    }

    #[test]
    fn every_flag_is_carried() {
        let sample = Fs9721.decode(&with(&[0x15, 0xC3, 0xD5]));
        let expected = Flags::MANUAL_RANGE | Flags::RELATIVE | Flags::HOLD | Flags::LOW_BATTERY;
        assert_eq!(sample.map(|s| s.flags), Ok(expected));
    }
}
