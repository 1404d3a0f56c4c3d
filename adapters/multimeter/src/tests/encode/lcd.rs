//! FS9721 and DTM0660: which segments and signs of the display are lit.

use super::scene::{
    AMPERES, CELSIUS, DIODE, FAHRENHEIT, FARADS, HERTZ, OHMS, PERCENT, SOUNDER, Scene, Unit, VOLTS,
    scenes,
};
use crate::tests::generated::Generated;

/// The segments of a digit, as everybody names them: `a` on top, clockwise, `g`
/// in the middle.
const SEGMENTS: [&str; 10] = [
    "abcdef", "bc", "abdeg", "abcdg", "bcfg", "acdfg", "acdefg", "abc", "abcdefg", "abcdfg",
];
const LETTER_L: &str = "def";

/// Where everything is: the byte, counted from 0, and the bit.
struct Layout {
    length: usize,
    /// In the first and the second byte of a digit.
    segments: [(char, usize, u8); 7],
    /// Minus and points, in the first byte of each digit.
    mark: u8,
    /// Signs by name.
    signs: &'static [(&'static str, usize, u8)],
}

const FS9721: Layout = Layout {
    length: 14,
    segments: [
        ('a', 0, 1),
        ('f', 0, 2),
        ('e', 0, 4),
        ('b', 1, 1),
        ('g', 1, 2),
        ('c', 1, 4),
        ('d', 1, 8),
    ],
    mark: 8,
    signs: &[
        ("AC", 0, 8),
        ("DC", 0, 4),
        ("auto", 0, 2),
        ("output", 0, 1),
        ("u", 9, 8),
        ("n", 9, 4),
        ("k", 9, 2),
        ("diode", 9, 1),
        ("m", 10, 8),
        ("%", 10, 4),
        ("M", 10, 2),
        ("continuity", 10, 1),
        ("F", 11, 8),
        ("Ohm", 11, 4),
        ("relative", 11, 2),
        ("hold", 11, 1),
        ("A", 12, 8),
        ("V", 12, 4),
        ("Hz", 12, 2),
        ("low-battery", 12, 1),
        ("C", 13, 4),
    ],
};

const DTM0660: Layout = Layout {
    length: 15,
    segments: [
        ('a', 0, 8),
        ('f', 0, 4),
        ('e', 0, 2),
        ('b', 1, 8),
        ('g', 1, 4),
        ('c', 1, 2),
        ('d', 1, 1),
    ],
    mark: 1,
    signs: &[
        ("AC", 0, 1),
        ("DC", 0, 2),
        ("auto", 0, 4),
        ("output", 0, 8),
        ("u", 9, 1),
        ("n", 9, 2),
        ("k", 9, 4),
        ("diode", 9, 8),
        ("m", 10, 1),
        ("%", 10, 2),
        ("M", 10, 4),
        ("continuity", 10, 8),
        ("F", 11, 1),
        ("Ohm", 11, 2),
        ("relative", 11, 4),
        ("hold", 11, 8),
        ("A", 12, 1),
        ("V", 12, 2),
        ("Hz", 12, 4),
        ("low-battery", 12, 8),
        ("degF", 13, 1),
        ("C", 13, 2),
        ("minimum", 14, 2),
        ("maximum", 14, 8),
    ],
};

impl Layout {
    fn encode(&self, scene: &Scene) -> Vec<u8> {
        let mut frame: Vec<u8> = (1_u8..).take(self.length).map(|at| at << 4).collect();
        let texts = match scene.digits {
            Some(digits) => digits.map(|digit| SEGMENTS[usize::from(digit)]),
            None => ["", SEGMENTS[0], LETTER_L, ""],
        };
        for (at, text) in texts.into_iter().enumerate() {
            for (name, byte, bit) in self.segments {
                if text.contains(name) {
                    frame[1 + 2 * at + byte] |= bit;
                }
            }
        }
        if scene.minus {
            frame[1] |= self.mark;
        }
        if scene.point > 0 {
            frame[1 + 2 * scene.point] |= self.mark;
        }
        let lit = [
            "output",
            scene.unit.symbol,
            scene.unit.function,
            scene.prefix,
        ];
        for (name, byte, bit) in self.signs {
            if lit.contains(name) || scene.coupling == Some(*name) || scene.lit(name) {
                frame[*byte] |= bit;
            }
        }
        frame
    }
}

const UNITS: &[Unit] = &[
    VOLTS, AMPERES, OHMS, SOUNDER, DIODE, FARADS, HERTZ, PERCENT, CELSIUS, FAHRENHEIT,
];

pub(crate) fn fs9721() -> Vec<Generated> {
    let units: Vec<Unit> = UNITS
        .iter()
        .filter(|unit| unit.symbol != "degF")
        .copied()
        .collect();
    let flags = ["auto", "hold", "relative", "low-battery"];
    scenes(&units, &flags, &["manual-range"])
        .iter()
        .map(|scene| scene.generated("fs9721", FS9721.encode(scene)))
        .collect()
}

pub(crate) fn dtm0660() -> Vec<Generated> {
    let flags = [
        "auto",
        "hold",
        "relative",
        "low-battery",
        "minimum",
        "maximum",
    ];
    scenes(UNITS, &flags, &["manual-range"])
        .iter()
        .map(|scene| scene.generated("dtm0660", DTM0660.encode(scene)))
        .collect()
}
