//! A sensor that gives a part of its supply, such as 0.5 to 4.5 V of 5 V.

use trisect_kit::BadFrame;
use trisect_measure::{Amount, Flags};

use super::{Meaning, Wrong, check_range};

/// A sensor is specified for a supply within this part of the nominal one
/// (common practice, no source).
const SUPPLY_TOLERANCE: f64 = 0.1;
/// Below this part of the nominal supply there is none, and no ratio either.
const NO_SUPPLY: f64 = 0.1;

/// A ratiometric sensor whose signal and supply are both measured.
///
/// The value is `at_low + (signal ÷ supply − low ÷ nominal) ÷ ((high − low) ÷
/// nominal) × (at_high − at_low)`: the nominal supply cancels, and an error of
/// the measured one does not. [`Ratiometric::supply_effect`] is what it does.
#[derive(
    Clone, Copy, Debug, PartialEq, serde::Serialize, serde::Deserialize, schemars::JsonSchema,
)]
#[serde(deny_unknown_fields)]
pub struct Ratiometric {
    /// The register of the measured supply, of the same device, table and type
    /// as the signal's, at most 100 registers away: both are read at once.
    pub supply_register: u16,
    /// Factor on the supply's raw number, to volts; the signal's where not given.
    #[serde(default)]
    pub supply_scale: Option<f64>,
    /// Offset of the supply, in volts; the signal's where not given.
    #[serde(default)]
    pub supply_offset: Option<f64>,
    /// The supply for which `low` and `high` hold, in volts.
    #[serde(default = "five")]
    pub nominal: f64,
    /// The signal at the low end of the range, in volts at the nominal supply.
    #[serde(default = "half")]
    pub low: f64,
    /// The signal at the high end of the range, in volts at the nominal supply.
    #[serde(default = "four_and_a_half")]
    pub high: f64,
    /// The value at the low end, in the input's unit.
    pub at_low: f64,
    /// The value at the high end, in the input's unit.
    pub at_high: f64,
}

fn five() -> f64 {
    5.0
}
fn half() -> f64 {
    0.5
}
fn four_and_a_half() -> f64 {
    4.5
}

impl Ratiometric {
    pub(crate) fn check(&self) -> Result<(), Wrong> {
        let wrong = |why| Err(("ratiometric", why));
        if let Err(why) = check_range(self.at_low, self.at_high) {
            return wrong(why);
        }
        let ascending = 0.0 <= self.low && self.low < self.high && self.high <= self.nominal;
        if !ascending || !self.nominal.is_finite() {
            return wrong("volts must rise from 0 by low and high to nominal, such as 0.5, 4.5, 5");
        }
        match self.supply_scale {
            Some(scale) if !scale.is_finite() || scale == 0.0 => {
                wrong("supply_scale must be a number other than 0")
            }
            _ if self.supply_offset.is_some_and(|offset| !offset.is_finite()) => {
                wrong("supply_offset must be a number")
            }
            _ => Ok(()),
        }
    }

    /// The width of the range, in the input's unit.
    pub fn span(&self) -> f64 {
        (self.at_high - self.at_low).abs()
    }

    /// What a signal means at a supply, both in volts.
    ///
    /// It is `broken` when the signal is nearer to ground or supply than half
    /// way from the end of its range (an open or shorted wire), and when the
    /// supply is more than a tenth off (common practice, no source).
    ///
    /// # Errors
    /// There is no supply, so that no ratio says anything.
    pub fn read(&self, signal: f64, supply: f64) -> Result<Meaning, BadFrame> {
        if supply < self.nominal * NO_SUPPLY {
            return Err(BadFrame::new(format!(
                "the sensor's supply reads {supply:.2} V of {} V: check its fuse and wiring",
                self.nominal
            )));
        }
        let (low, high) = (self.low / self.nominal, self.high / self.nominal);
        let part = signal / supply;
        let per_part = (self.at_high - self.at_low) / (high - low);
        let open_or_shorted = part < low / 2.0 || part > (1.0 + high) / 2.0;
        let off = (supply / self.nominal - 1.0).abs() > SUPPLY_TOLERANCE + 1e-9;
        Ok(Meaning {
            amount: Amount::Exactly(self.at_low + (part - low) * per_part),
            slope: per_part / supply,
            flags: if open_or_shorted || off {
                Flags::BROKEN
            } else {
                Flags::empty()
            },
        })
    }

    /// How much a value changes, in its unit, when the measured supply changes
    /// by the whole of itself: times its relative uncertainty it is what the
    /// supply adds to the value's (GUM 5.1.3, the sensitivity coefficient).
    ///
    /// The service does this where an instrument's settings have
    /// `ratiometric_supply`. With `at_low` = 0 it is value + span × low ÷ (high − low), so a supply
    /// known to r % can be written into the instrument's accuracy: for 0.5 to
    /// 4.5 V, `r % rdg` and one eighth of r in `% FS`.
    pub fn supply_effect(&self, value: f64) -> f64 {
        let width = self.at_high - self.at_low;
        (value - self.at_low + width * self.low / (self.high - self.low)).abs()
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    const PSI: Ratiometric = Ratiometric {
        supply_register: 1,
        supply_scale: None,
        supply_offset: None,
        nominal: 5.0,
        low: 0.5,
        high: 4.5,
        at_low: 0.0,
        at_high: 100.0,
    };

    fn check(signal: f64, supply: f64, expected: f64, broken: bool) {
        let meaning = PSI.read(signal, supply).unwrap();
        assert!(
            (meaning.amount.edge() - expected).abs() < 1e-9,
            "{meaning:?}"
        );
        assert_eq!(
            meaning.flags.contains(Flags::BROKEN),
            broken,
            "{signal} V of {supply} V"
        );
    }

    #[test]
    fn the_supply_cancels() {
        check(0.5, 5.0, 0.0, false);
        check(2.5, 5.0, 50.0, false);
        check(4.5, 5.0, 100.0, false);
        check(2.4, 4.8, 50.0, false);
        check(0.49, 4.9, 0.0, false);
    }

    #[test]
    fn an_open_or_shorted_wire_and_a_wrong_supply_are_broken() {
        check(0.0, 5.0, -12.5, true);
        check(0.24, 5.0, -6.5, true);
        check(0.26, 5.0, -6.0, false);
        check(4.74, 5.0, 106.0, false);
        check(4.76, 5.0, 106.5, true);
        check(2.75, 5.5, 50.0, false);
        check(2.8, 5.6, 50.0, true);
        check(2.2, 4.4, 50.0, true);
        let error = PSI.read(0.2, 0.3).unwrap_err().to_string();
        assert!(error.contains("supply reads 0.30 V of 5 V"), "{error}");
    }

    /// The sensitivity is the derivative of the value by the supply.
    #[test]
    fn an_error_of_the_supply_is_propagated() {
        for signal in [0.5, 1.3, 2.5, 4.5] {
            let at = |supply| PSI.read(signal, supply).unwrap().amount.edge();
            let step = 1e-6;
            let relative = (at(5.0 * (1.0 - step)) - at(5.0 * (1.0 + step))) / (2.0 * step);
            let effect = PSI.supply_effect(at(5.0));
            assert!((effect - relative).abs() < 1e-3, "{effect} {relative}");
            // As it can be written into an accuracy: 1 % rdg + 0.125 % FS.
            assert!((effect - (at(5.0) + PSI.span() / 8.0)).abs() < 1e-9);
        }
    }

    #[test]
    fn the_volts_must_rise() {
        let check = |sensor: Ratiometric, expected: &str| {
            let why = sensor.check().unwrap_err().1;
            assert!(why.contains(expected), "{why}");
        };
        assert!(PSI.check().is_ok());
        check(Ratiometric { low: 4.6, ..PSI }, "must rise");
        check(Ratiometric { high: 5.1, ..PSI }, "must rise");
        check(
            Ratiometric {
                nominal: f64::INFINITY,
                ..PSI
            },
            "must rise",
        );
        check(
            Ratiometric {
                at_high: 0.0,
                ..PSI
            },
            "different numbers",
        );
        check(
            Ratiometric {
                supply_scale: Some(0.0),
                ..PSI
            },
            "supply_scale",
        );
    }
}
