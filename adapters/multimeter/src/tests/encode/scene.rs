//! What a four-digit display shows: the same scenes for every chip that sends
//! its display.

use std::collections::BTreeSet;

use crate::tests::generated::Generated;

/// A unit of the display with what goes with it.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Unit {
    pub symbol: &'static str,
    pub function: &'static str,
    pub prefixes: &'static [&'static str],
    pub couplings: &'static [Option<&'static str>],
    pub may_be_negative: bool,
}

const PASSIVE: &[Option<&str>] = &[None];
const ELECTRIC: &[Option<&str>] = &[Some("DC"), Some("AC")];

const fn unit(
    symbol: &'static str,
    function: &'static str,
    prefixes: &'static [&'static str],
) -> Unit {
    Unit {
        symbol,
        function,
        prefixes,
        couplings: PASSIVE,
        may_be_negative: false,
    }
}

const fn electric(
    symbol: &'static str,
    function: &'static str,
    prefixes: &'static [&'static str],
) -> Unit {
    Unit {
        couplings: ELECTRIC,
        may_be_negative: true,
        ..unit(symbol, function, prefixes)
    }
}

const fn degrees(symbol: &'static str) -> Unit {
    Unit {
        may_be_negative: true,
        ..unit(symbol, "temperature", &[""])
    }
}

pub(crate) const VOLTS: Unit = electric("V", "voltage", &["m", ""]);
pub(crate) const AMPERES: Unit = electric("A", "current", &["u", "m", ""]);
pub(crate) const OHMS: Unit = unit("Ohm", "resistance", &["", "k", "M"]);
pub(crate) const SOUNDER: Unit = unit("Ohm", "continuity", &[""]);
pub(crate) const DIODE: Unit = Unit {
    couplings: &[Some("DC")],
    ..unit("V", "diode", &[""])
};
pub(crate) const FARADS: Unit = unit("F", "capacitance", &["n", "u", "m"]);
pub(crate) const HERTZ: Unit = unit("Hz", "frequency", &["", "k", "M"]);
pub(crate) const PERCENT: Unit = unit("%", "duty", &[""]);
pub(crate) const CELSIUS: Unit = degrees("C");
pub(crate) const FAHRENHEIT: Unit = degrees("degF");

/// What is on the display.
#[derive(Clone, Debug)]
pub(crate) struct Scene {
    pub minus: bool,
    /// Four digits; none beyond the range.
    pub digits: Option<[u8; 4]>,
    /// After which digit the point stands, 1 to 3; 0 for none.
    pub point: usize,
    pub prefix: &'static str,
    pub unit: Unit,
    pub coupling: Option<&'static str>,
    /// As [`trisect_kit::sample_json`] names them.
    pub flags: BTreeSet<&'static str>,
}

impl Scene {
    /// The value as the number that stands there, in base units.
    pub fn value(&self) -> Option<f64> {
        let digits = self.digits?;
        let mut text = if self.minus { "-" } else { "" }.to_owned();
        for (at, digit) in digits.into_iter().enumerate() {
            if at == self.point && self.point > 0 {
                text.push('.');
            }
            text.push(char::from(b'0' + digit));
        }
        text.push_str(match self.prefix {
            "n" => "e-9",
            "u" => "e-6",
            "m" => "e-3",
            "k" => "e3",
            "M" => "e6",
            _ => "e0",
        });
        let value: f64 = text.parse().unwrap_or(f64::NAN);
        if self.unit.symbol == "degF" {
            return Some((value - 32.0) / 1.8);
        }
        Some(value)
    }

    /// The same with a flag; an automatic range is no manual one.
    fn with(&self, flag: &'static str) -> Scene {
        let mut lit = self.clone();
        if flag == "auto" {
            lit.flags.clear();
        }
        lit.flags.insert(flag);
        lit
    }

    pub fn lit(&self, flag: &str) -> bool {
        self.flags.contains(flag)
    }

    pub fn generated(&self, protocol: &'static str, frame: Vec<u8>) -> Generated {
        Generated {
            protocol,
            frame,
            function: self.unit.function,
            value: self.value(),
            coupling: self.coupling,
            flags: self.flags.clone(),
        }
    }
}

const DIGITS: [[u8; 4]; 4] = [[0, 0, 0, 0], [1, 2, 3, 4], [0, 9, 8, 7], [3, 6, 5, 0]];

/// Every unit, prefix, coupling, point and sign, and beyond each range; then
/// every flag by itself. `manual` is what the chip says of a range that is not
/// automatic.
pub(crate) fn scenes(
    units: &[Unit],
    flags: &[&'static str],
    manual: &[&'static str],
) -> Vec<Scene> {
    let mut scenes = Vec::new();
    for unit in units {
        for (&prefix, &coupling) in unit.prefixes.iter().flat_map(|prefix| {
            unit.couplings
                .iter()
                .map(move |coupling| (prefix, coupling))
        }) {
            for point in 0..=3 {
                let shown = DIGITS.iter().map(|digits| Some(*digits)).chain([None]);
                for digits in shown {
                    for minus in [false, true] {
                        if minus && !unit.may_be_negative {
                            continue;
                        }
                        scenes.push(Scene {
                            minus,
                            digits,
                            point,
                            prefix,
                            unit: *unit,
                            coupling,
                            flags: manual.iter().copied().collect(),
                        });
                    }
                }
            }
        }
    }
    let plain = |scene: &&Scene| scene.digits == Some(DIGITS[1]);
    let lit: Vec<Scene> = scenes
        .iter()
        .find(plain)
        .into_iter()
        .flat_map(|scene| flags.iter().map(|flag| scene.with(flag)))
        .collect();
    scenes.extend(lit);
    scenes
}
