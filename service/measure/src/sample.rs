//! What an instrument said, before the bay knows what it is connected to.

use crate::{Amount, Flags, Quantity};

/// What an instrument is set to measure.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Function {
    /// Voltage.
    Voltage,
    /// Current.
    Current,
    /// Resistance.
    Resistance,
    /// Resistance with a sounder below a threshold.
    Continuity,
    /// Forward voltage of a diode.
    Diode,
    /// Capacitance.
    Capacitance,
    /// Frequency.
    Frequency,
    /// Duty cycle of a pulse train.
    Duty,
    /// Temperature.
    Temperature,
    /// Pressure.
    Pressure,
    /// Shaft speed.
    RotationalSpeed,
}

impl Function {
    /// Every function, in the order of the documentation.
    pub const ALL: [Function; 11] = [
        Function::Voltage,
        Function::Current,
        Function::Resistance,
        Function::Continuity,
        Function::Diode,
        Function::Capacitance,
        Function::Frequency,
        Function::Duty,
        Function::Temperature,
        Function::Pressure,
        Function::RotationalSpeed,
    ];

    /// What the value is a quantity of.
    pub const fn quantity(self) -> Quantity {
        match self {
            Function::Voltage | Function::Diode => Quantity::Voltage,
            Function::Current => Quantity::Current,
            Function::Resistance | Function::Continuity => Quantity::Resistance,
            Function::Capacitance => Quantity::Capacitance,
            Function::Frequency => Quantity::Frequency,
            Function::Duty => Quantity::Ratio,
            Function::Temperature => Quantity::Temperature,
            Function::Pressure => Quantity::Pressure,
            Function::RotationalSpeed => Quantity::RotationalSpeed,
        }
    }

    /// The word used on the wire.
    pub const fn word(self) -> &'static str {
        match self {
            Function::Voltage => "voltage",
            Function::Current => "current",
            Function::Resistance => "resistance",
            Function::Continuity => "continuity",
            Function::Diode => "diode",
            Function::Capacitance => "capacitance",
            Function::Frequency => "frequency",
            Function::Duty => "duty",
            Function::Temperature => "temperature",
            Function::Pressure => "pressure",
            Function::RotationalSpeed => "rotational-speed",
        }
    }
}

/// Which part of a voltage or current the instrument shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, serde::Serialize, serde::Deserialize)]
pub enum Coupling {
    /// The direct part.
    #[serde(rename = "DC")]
    Dc,
    /// The alternating part, as an effective value.
    #[serde(rename = "AC")]
    Ac,
    /// Both together, as an effective value.
    #[serde(rename = "AC+DC")]
    AcDc,
}

/// One value as an instrument said it, in SI.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sample {
    /// Which of the instrument's inputs, from 0.
    pub channel: u16,
    /// What was measured.
    pub function: Function,
    /// The value, or the end of the range it lies beyond, in SI.
    pub amount: Amount,
    /// One count of the display, as a difference in SI, where it is known.
    pub digit: Option<f64>,
    /// The end of the range the instrument was on, in SI, where it is known.
    pub span: Option<f64>,
    /// Direct or alternating, where the instrument says so.
    pub coupling: Option<Coupling>,
    /// What the instrument said about the value.
    pub flags: Flags,
}
