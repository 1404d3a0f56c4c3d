//! The 14-byte ASCII meters: a line of text.

use super::scene::{
    AMPERES, CELSIUS, DIODE, FAHRENHEIT, FARADS, HERTZ, OHMS, Scene, Unit, VOLTS, scenes,
};
use crate::tests::generated::Generated;

/// A value right after its sign, a unit at the end.
fn encode(scene: &Scene) -> Vec<u8> {
    let mode = match (scene.coupling, scene.unit.function) {
        _ if scene.lit("minimum") => "MN",
        _ if scene.lit("maximum") => "MX",
        (_, "diode") => "DI",
        (Some(coupling), _) => coupling,
        (_, "resistance") => "OH",
        (_, "capacitance") => "CA",
        (_, "frequency") => "FR",
        (_, "temperature") => "TE",
        _ => "??",
    };
    let mut value = match scene.digits {
        Some(digits) => digits
            .map(|digit| char::from(b'0' + digit))
            .iter()
            .collect(),
        None => " OL ".to_owned(),
    };
    if scene.point > 0 {
        value.insert(scene.point, '.');
    }
    let sign = if scene.minus { '-' } else { ' ' };
    let unit = match (scene.unit.symbol, scene.prefix) {
        ("degF", _) => "F".to_owned(),
        (symbol, "k") => format!("K{symbol}"),
        (symbol, prefix) => format!("{prefix}{symbol}"),
    };
    format!("{mode} {sign}{value:<5}{unit:>4}\r").into_bytes()
}

pub(crate) fn frames() -> Vec<Generated> {
    let plain = |unit: Unit| Unit {
        couplings: &[None],
        ..unit
    };
    let units = [
        VOLTS,
        AMPERES,
        OHMS,
        plain(DIODE),
        FARADS,
        HERTZ,
        CELSIUS,
        FAHRENHEIT,
    ];
    let mut frames: Vec<Generated> = scenes(&units, &[], &[])
        .iter()
        .map(|scene| scene.generated("ascii14", encode(scene)))
        .collect();
    for scene in scenes(&[plain(VOLTS)], &["minimum", "maximum"], &[]) {
        // Volts without AC or DC are there only as what was recorded.
        if !scene.flags.is_empty() {
            frames.push(scene.generated("ascii14", encode(&scene)));
        }
    }
    frames
}
