//! The kinds of quantity that a bay measures.

use std::fmt;
use std::str::FromStr;

use crate::Unit;

/// A kind of quantity in the sense of the VIM (JCGM 200, 1.2).
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Quantity {
    /// Electric potential difference, in volts.
    Voltage,
    /// Electric current, in amperes.
    Current,
    /// Electric resistance, in ohms.
    Resistance,
    /// Gauge pressure, in pascals; below zero is suction.
    Pressure,
    /// Thermodynamic temperature, in kelvins.
    Temperature,
    /// Angular velocity of a shaft, in radians per second.
    RotationalSpeed,
    /// Frequency of a signal, in hertz.
    Frequency,
    /// Capacitance, in farads.
    Capacitance,
    /// Volume, in cubic metres.
    Volume,
    /// Volume in a time, in cubic metres per second.
    VolumeFlow,
    /// Duration, in seconds.
    Time,
    /// A plain number: a fraction, where 1 is the whole.
    Ratio,
}

impl Quantity {
    /// Every quantity, in the order of the documentation.
    pub const ALL: [Quantity; 12] = [
        Quantity::Voltage,
        Quantity::Current,
        Quantity::Resistance,
        Quantity::Pressure,
        Quantity::Temperature,
        Quantity::RotationalSpeed,
        Quantity::Frequency,
        Quantity::Capacitance,
        Quantity::Volume,
        Quantity::VolumeFlow,
        Quantity::Time,
        Quantity::Ratio,
    ];

    /// The word used in rule sets and on the wire, such as `rotational-speed`.
    pub const fn word(self) -> &'static str {
        match self {
            Quantity::Voltage => "voltage",
            Quantity::Current => "current",
            Quantity::Resistance => "resistance",
            Quantity::Pressure => "pressure",
            Quantity::Temperature => "temperature",
            Quantity::RotationalSpeed => "rotational-speed",
            Quantity::Frequency => "frequency",
            Quantity::Capacitance => "capacitance",
            Quantity::Volume => "volume",
            Quantity::VolumeFlow => "volume-flow",
            Quantity::Time => "time",
            Quantity::Ratio => "ratio",
        }
    }

    /// The unit in which values of this quantity are kept.
    pub const fn si_unit(self) -> Unit {
        match self {
            Quantity::Voltage => Unit::VOLT,
            Quantity::Current => Unit::AMPERE,
            Quantity::Resistance => Unit::OHM,
            Quantity::Pressure => Unit::PASCAL,
            Quantity::Temperature => Unit::KELVIN,
            Quantity::RotationalSpeed => Unit::RADIAN_PER_SECOND,
            Quantity::Frequency => Unit::HERTZ,
            Quantity::Capacitance => Unit::FARAD,
            Quantity::Volume => Unit::CUBIC_METRE,
            Quantity::VolumeFlow => Unit::CUBIC_METRE_PER_SECOND,
            Quantity::Time => Unit::SECOND,
            Quantity::Ratio => Unit::RATIO,
        }
    }
}

impl fmt::Display for Quantity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.word())
    }
}

/// A word that names no quantity.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error(
    "`{0}` is no quantity: use one of voltage, current, resistance, pressure, temperature, rotational-speed, frequency, capacitance, volume, volume-flow, time, ratio"
)]
pub struct UnknownQuantity(pub String);

impl FromStr for Quantity {
    type Err = UnknownQuantity;

    fn from_str(text: &str) -> Result<Self, UnknownQuantity> {
        Quantity::ALL
            .into_iter()
            .find(|q| q.word() == text)
            .ok_or_else(|| UnknownQuantity(text.to_owned()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_word_parses_back_and_has_an_si_unit_of_its_own() {
        for quantity in Quantity::ALL {
            assert_eq!(quantity.word().parse(), Ok(quantity));
            assert_eq!(quantity.si_unit().quantity(), quantity);
            assert_eq!(quantity.si_unit().to_si(3.5), 3.5);
        }
        assert!("volts".parse::<Quantity>().is_err());
    }
}
