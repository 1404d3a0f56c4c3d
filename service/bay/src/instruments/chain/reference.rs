//! What the pressures of a channel count from.

use std::str::FromStr;

/// What a pressure counts from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PressureReference {
    /// The air outside: below zero is suction.
    Gauge,
    /// No pressure at all; the barometric pressure is taken off.
    Absolute,
    /// It is the barometric pressure itself, of the whole bay.
    Barometric,
}

/// A word that is none of them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct NoSuchReference;

impl FromStr for PressureReference {
    type Err = NoSuchReference;

    fn from_str(word: &str) -> Result<PressureReference, NoSuchReference> {
        match word {
            "gauge" => Ok(PressureReference::Gauge),
            "absolute" => Ok(PressureReference::Absolute),
            "barometric" => Ok(PressureReference::Barometric),
            _ => Err(NoSuchReference),
        }
    }
}
