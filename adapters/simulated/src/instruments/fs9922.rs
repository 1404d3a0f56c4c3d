//! Frames of the FS9922 family: 2400 baud 8N1, 14 bytes, mostly ASCII.
//!
//! sign · four digits · space · decimal point · four bytes of flags · bar
//! graph · CR LF. The layout was taken from captured frames and from the
//! description of the protocol in a general signal library; the encoder is
//! our own.

use super::function::{Function, Ranged, range};

/// Counts of the display: the 4 000-count member of the family.
const COUNTS: i64 = 4000;

const AUTO: u8 = 0x20;
const DC: u8 = 0x10;
const BAR: u8 = 0x01;
const MILLI: u8 = 0x40;
const KILO: u8 = 0x20;
const MEGA: u8 = 0x10;

/// One frame before it becomes bytes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Frame {
    /// Shown digits with their sign, or overload.
    pub digits: Option<i64>,
    /// `0` none, `1` after the first digit, `2` after the second, `4` after the third.
    pub point: u8,
    /// Flags: auto 0x20, DC 0x10, AC 8, relative 4, hold 2, bar graph 1.
    pub status: u8,
    /// Flags: milli 0x40, kilo 0x20, mega 0x10.
    pub prefix: u8,
    /// Flags: volt 0x80, ampere 0x40, ohm 0x20.
    pub unit: u8,
    /// Segments of the bar graph.
    pub bar: u8,
}

impl Frame {
    pub(crate) fn bytes(self) -> [u8; 14] {
        let digits = match self.digits {
            Some(counts) => {
                let shown = counts.unsigned_abs();
                [1000, 100, 10, 1].map(|place| b'0' + (shown / place % 10) as u8)
            }
            None => *b"?0:?",
        };
        let negative = self.digits.is_some_and(|counts| counts < 0);
        let sign = if negative { b'-' } else { b'+' };
        let bar = self.bar & 0x7F | if negative { 0x80 } else { 0 };
        let [a, b, c, d] = digits;
        [
            sign,
            a,
            b,
            c,
            d,
            b' ',
            self.point,
            self.status,
            0,
            self.prefix,
            self.unit,
            bar,
            b'\r',
            b'\n',
        ]
    }
}

/// Size of a count in SI, decimal point, prefix flag.
type Ranges = &'static [(f64, (u8, u8))];
const VOLTS: Ranges = &[
    (1e-4, (b'4', MILLI)),
    (1e-3, (b'1', 0)),
    (1e-2, (b'2', 0)),
    (1e-1, (b'4', 0)),
    (1.0, (b'0', 0)),
];
const AMPERES: Ranges = &[(1e-3, (b'1', 0)), (1e-2, (b'2', 0))];
const OHMS: Ranges = &[
    (1e-1, (b'4', 0)),
    (1.0, (b'1', KILO)),
    (1e1, (b'2', KILO)),
    (1e2, (b'4', KILO)),
    (1e3, (b'1', MEGA)),
    (1e4, (b'2', MEGA)),
];

/// The frame of a value in SI; `jitter` is the display's own noise, in counts.
pub(crate) fn frame(function: Function, value: f64, jitter: f64) -> Option<[u8; 14]> {
    let (ranges, status, unit) = match function {
        Function::Voltage => (VOLTS, AUTO | DC | BAR, 0x80),
        Function::Current => (AMPERES, AUTO | DC | BAR, 0x40),
        Function::Resistance => (OHMS, AUTO | BAR, 0x20),
    };
    let full = (COUNTS / 100) as u8;
    let (point, prefix, digits, bar) = match range(ranges, COUNTS, value, jitter)? {
        Ranged::Counts((point, prefix), counts) => (
            point,
            prefix,
            Some(counts),
            (counts.unsigned_abs() / 100) as u8,
        ),
        Ranged::Beyond((point, prefix)) => (point, prefix, None, full + 1),
    };
    Some(
        Frame {
            digits,
            point,
            status,
            prefix,
            unit,
            bar,
        }
        .bytes(),
    )
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::expect_used)]
    use super::*;
    use crate::instruments::hex;

    fn check(function: Function, value: f64, expected: &str) {
        assert_eq!(
            hex(&frame(function, value, 0.0).unwrap()),
            expected,
            "{function:?} {value}"
        );
    }

    /// Frames generated for, and agreed with, a general signal library.
    #[test]
    fn frames_agreed_with_an_independent_decoder() {
        check(
            Function::Voltage,
            12.34,
            "2B 31 32 33 34 20 32 31 00 00 80 0C 0D 0A",
        );
        let held = Frame {
            digits: Some(-5000),
            point: b'1',
            status: 0x13,
            prefix: 0,
            unit: 0x80,
            bar: 20,
        };
        assert_eq!(
            hex(&held.bytes()),
            "2D 35 30 30 30 20 31 13 00 00 80 94 0D 0A"
        );
    }

    /// Frames captured from real meters, the reading noted from the display.
    #[test]
    fn frames_like_captured_ones() {
        let kilohms = Frame {
            digits: Some(15),
            point: b'1',
            status: BAR,
            prefix: KILO,
            unit: 0x20,
            bar: 0,
        };
        assert_eq!(
            hex(&kilohms.bytes()),
            "2B 30 30 31 35 20 31 01 00 20 20 00 0D 0A"
        );
        let open = Frame {
            digits: None,
            point: b'2',
            status: BAR,
            prefix: MEGA,
            unit: 0x20,
            bar: 41,
        };
        assert_eq!(
            hex(&open.bytes()),
            "2B 3F 30 3A 3F 20 32 01 00 10 20 29 0D 0A"
        );
    }

    #[test]
    fn ranges_and_overload() {
        check(
            Function::Voltage,
            0.02345,
            "2B 30 32 33 34 20 34 31 00 40 80 02 0D 0A",
        );
        check(
            Function::Voltage,
            -0.5,
            "2D 30 35 30 30 20 31 31 00 00 80 85 0D 0A",
        );
        check(
            Function::Current,
            3.05,
            "2B 33 30 35 30 20 31 31 00 00 40 1E 0D 0A",
        );
        check(
            Function::Resistance,
            60.2,
            "2B 30 36 30 32 20 34 21 00 00 20 06 0D 0A",
        );
        check(
            Function::Resistance,
            12.3e6,
            "2B 31 32 33 30 20 32 21 00 10 20 0C 0D 0A",
        );
        check(
            Function::Resistance,
            f64::INFINITY,
            "2B 3F 30 3A 3F 20 32 21 00 10 20 29 0D 0A",
        );
        check(
            Function::Current,
            55.0,
            "2B 3F 30 3A 3F 20 32 31 00 00 40 29 0D 0A",
        );
    }
}
