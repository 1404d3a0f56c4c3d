//! Frames of the ES51922: 19 200 baud 7O1, 14 bytes, all ASCII.
//!
//! range · five digits · function · status · four option bytes · CR LF. The
//! layout was taken from captured frames and from the description of the
//! protocol in a general signal library; the encoder is our own. A
//! pseudo-terminal has no parity, so the bytes are sent with seven bits.

use super::function::{Function, Ranged, range};

/// Counts of the display.
const COUNTS: i64 = 22_000;
/// What the display's counter stands at when it is beyond its range, as captured.
const BEYOND: u64 = 22_580;

const OVERLOAD: u8 = 1;
const NEGATIVE: u8 = 4;

/// One frame before it becomes bytes; all but `counts` are low nibbles.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Frame {
    /// Position of the range switch.
    pub range: u8,
    /// Digits, without sign.
    pub counts: u64,
    /// Function: 0xB volts, 3 ohms, 0 amperes.
    pub function: u8,
    /// Flags: judge 8, negative 4, low battery 2, overload 1.
    pub status: u8,
    /// Flags of the third option byte: DC 8, AC 4, auto 2.
    pub coupling: u8,
    /// Flags of the fourth option byte: hold 2.
    pub hold: u8,
}

impl Frame {
    pub(crate) fn bytes(self) -> [u8; 14] {
        let [a, b, c, d, e] =
            [10_000, 1000, 100, 10, 1].map(|place| b'0' + (self.counts / place % 10) as u8);
        let nibble = |value: u8| 0x30 | value & 0x0F;
        let (range, function, status) = (
            nibble(self.range),
            nibble(self.function),
            nibble(self.status),
        );
        [
            range,
            a,
            b,
            c,
            d,
            e,
            function,
            status,
            b'0',
            b'0',
            nibble(self.coupling),
            nibble(self.hold),
            b'\r',
            b'\n',
        ]
    }
}

/// Size of a count in SI and position of the range switch.
type Ranges = &'static [(f64, u8)];
const VOLTS: Ranges = &[(1e-4, 0), (1e-3, 1), (1e-2, 2), (1e-1, 3)];
const AMPERES: Ranges = &[(1e-3, 0)];
const OHMS: Ranges = &[
    (1e-2, 0),
    (1e-1, 1),
    (1.0, 2),
    (1e1, 3),
    (1e2, 4),
    (1e3, 5),
    (1e4, 6),
];

/// The frame of a value in SI; `jitter` is the display's own noise, in counts.
pub(crate) fn frame(function: Function, value: f64, jitter: f64) -> Option<[u8; 14]> {
    let (ranges, code, coupling) = match function {
        Function::Voltage => (VOLTS, 0xB, 8 | 2),
        Function::Current => (AMPERES, 0, 8),
        Function::Resistance => (OHMS, 3, 2),
    };
    let (range, counts, status) = match range(ranges, COUNTS, value, jitter)? {
        Ranged::Counts(range, counts) => (
            range,
            counts.unsigned_abs(),
            if counts < 0 { NEGATIVE } else { 0 },
        ),
        Ranged::Beyond(range) => (
            range,
            BEYOND,
            OVERLOAD | if value < 0.0 { NEGATIVE } else { 0 },
        ),
    };
    Some(
        Frame {
            range,
            counts,
            function: code,
            status,
            coupling,
            hold: 0,
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
            12.345,
            "31 31 32 33 34 35 3B 30 30 30 3A 30 0D 0A",
        );
        let held = Frame {
            range: 0,
            counts: 5000,
            function: 0xB,
            status: NEGATIVE,
            coupling: 8,
            hold: 2,
        };
        assert_eq!(
            hex(&held.bytes()),
            "30 30 35 30 30 30 3B 34 30 30 38 32 0D 0A"
        );
        // A range higher than the meter itself would pick: 1.5000 kΩ in its 2.2 kΩ range.
        check(
            Function::Resistance,
            1500.0,
            "31 31 35 30 30 30 33 30 30 30 32 30 0D 0A",
        );
    }

    /// As captured from a real meter with the leads open, but auto-ranged.
    #[test]
    fn an_open_circuit_reads_overload() {
        let manual = Frame {
            range: 1,
            counts: BEYOND,
            function: 3,
            status: OVERLOAD,
            coupling: 0,
            hold: 0,
        };
        assert_eq!(
            hex(&manual.bytes()),
            "31 32 32 35 38 30 33 31 30 30 30 30 0D 0A"
        );
        check(
            Function::Resistance,
            f64::INFINITY,
            "36 32 32 35 38 30 33 31 30 30 32 30 0D 0A",
        );
    }

    #[test]
    fn ranges() {
        check(
            Function::Voltage,
            -0.0205,
            "30 30 30 32 30 35 3B 34 30 30 3A 30 0D 0A",
        );
        check(
            Function::Current,
            3.1,
            "30 30 33 31 30 30 30 30 30 30 38 30 0D 0A",
        );
        check(
            Function::Resistance,
            60.21,
            "30 30 36 30 32 31 33 30 30 30 32 30 0D 0A",
        );
        check(
            Function::Resistance,
            12.34e6,
            "35 31 32 33 34 30 33 30 30 30 32 30 0D 0A",
        );
    }
}
