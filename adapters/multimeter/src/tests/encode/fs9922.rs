//! FS9922: digits as characters, signs as bits.

use super::scene::{
    AMPERES, CELSIUS, DIODE, FAHRENHEIT, FARADS, HERTZ, OHMS, PERCENT, SOUNDER, Scene, VOLTS,
    scenes,
};
use crate::tests::generated::Generated;

/// Signs by name: the byte, counted from 0, and the bit, counted from 0.
const SIGNS: &[(&str, usize, u8)] = &[
    ("auto", 7, 5),
    ("DC", 7, 4),
    ("AC", 7, 3),
    ("relative", 7, 2),
    ("hold", 7, 1),
    ("bargraph", 7, 0),
    ("maximum", 8, 5),
    ("minimum", 8, 4),
    ("low-battery", 8, 2),
    ("n", 8, 1),
    ("u", 9, 7),
    ("m", 9, 6),
    ("k", 9, 5),
    ("M", 9, 4),
    ("continuity", 9, 3),
    ("diode", 9, 2),
    ("%", 9, 1),
    ("V", 10, 7),
    ("A", 10, 6),
    ("Ohm", 10, 5),
    ("Hz", 10, 3),
    ("F", 10, 2),
    ("C", 10, 1),
    ("degF", 10, 0),
];

fn encode(scene: &Scene) -> Vec<u8> {
    let sign = if scene.minus { '-' } else { '+' };
    let digits = match scene.digits {
        Some(digits) => digits
            .map(|digit| char::from(b'0' + digit))
            .iter()
            .collect(),
        None => "?0:?".to_owned(),
    };
    let point = ['0', '1', '2', '4'][scene.point];
    let mut frame = format!("{sign}{digits} {point}").into_bytes();
    frame.extend([0; 5]);
    let lit = [scene.unit.symbol, scene.unit.function, scene.prefix];
    for (name, byte, bit) in SIGNS {
        if lit.contains(name) || scene.coupling == Some(*name) || scene.lit(name) {
            frame[*byte] |= 1 << bit;
        }
    }
    frame.extend(b"\r\n");
    frame
}

pub(crate) fn frames() -> Vec<Generated> {
    let units = [
        VOLTS, AMPERES, OHMS, SOUNDER, DIODE, FARADS, HERTZ, PERCENT, CELSIUS, FAHRENHEIT,
    ];
    let flags = [
        "auto",
        "hold",
        "relative",
        "bargraph",
        "maximum",
        "minimum",
        "low-battery",
    ];
    scenes(&units, &flags, &["manual-range"])
        .iter()
        .map(|scene| scene.generated("fs9922", encode(scene)))
        .collect()
}
