//! What a meter is asked to measure.

use trisect_measure::{Coupling, Function};

/// What a SCPI meter is set to measure.
#[derive(
    Clone,
    Copy,
    Debug,
    PartialEq,
    Eq,
    Hash,
    serde::Serialize,
    serde::Deserialize,
    schemars::JsonSchema,
)]
#[serde(rename_all = "kebab-case")]
pub enum ScpiFunction {
    /// Direct voltage.
    VoltageDc,
    /// Alternating voltage, effective.
    VoltageAc,
    /// Direct current.
    CurrentDc,
    /// Alternating current, effective.
    CurrentAc,
    /// Resistance, two wires.
    Resistance,
    /// Resistance, four wires: the leads do not count.
    ResistanceFourWire,
    /// Resistance with a sounder.
    Continuity,
    /// Forward voltage of a diode.
    Diode,
    /// Capacitance.
    Capacitance,
    /// Frequency of a voltage.
    Frequency,
    /// Temperature, by the probe that the meter is set to.
    Temperature,
}

/// The words for a function.
pub(crate) struct Words {
    /// What is measured.
    pub function: Function,
    pub coupling: Option<Coupling>,
    /// After `CONF:`.
    pub configure: &'static str,
    /// What `CONF?` says, in any of the ways in which meters say it.
    pub configured: &'static [&'static str],
    /// Whether a range can be asked for.
    pub ranged: bool,
    /// No meter's highest range ends before this, in SI: common practice, no
    /// source. An overload lies beyond it where the meter does not tell its range.
    pub least_end: f64,
}

impl ScpiFunction {
    /// Every function, in the order of the documentation.
    pub const ALL: [ScpiFunction; 11] = [
        ScpiFunction::VoltageDc,
        ScpiFunction::VoltageAc,
        ScpiFunction::CurrentDc,
        ScpiFunction::CurrentAc,
        ScpiFunction::Resistance,
        ScpiFunction::ResistanceFourWire,
        ScpiFunction::Continuity,
        ScpiFunction::Diode,
        ScpiFunction::Capacitance,
        ScpiFunction::Frequency,
        ScpiFunction::Temperature,
    ];

    pub(crate) fn words(self) -> Words {
        let words = |function, configure, configured, least_end| Words {
            function,
            coupling: None,
            configure,
            configured,
            ranged: true,
            least_end,
        };
        let electric = |function, coupling, configure, configured, least_end| Words {
            coupling: Some(coupling),
            ..words(function, configure, configured, least_end)
        };
        use {Coupling::Ac, Coupling::Dc, Function as F};
        match self {
            ScpiFunction::VoltageDc => {
                electric(F::Voltage, Dc, "VOLT:DC", &["VOLT", "VOLT:DC"], 600.0)
            }
            ScpiFunction::VoltageAc => {
                electric(F::Voltage, Ac, "VOLT:AC", &["VOLT:AC", "VOLT AC"], 600.0)
            }
            ScpiFunction::CurrentDc => {
                electric(F::Current, Dc, "CURR:DC", &["CURR", "CURR:DC"], 1.0)
            }
            ScpiFunction::CurrentAc => {
                electric(F::Current, Ac, "CURR:AC", &["CURR:AC", "CURR AC"], 1.0)
            }
            ScpiFunction::Resistance => words(F::Resistance, "RES", &["RES"], 10e6),
            ScpiFunction::ResistanceFourWire => words(F::Resistance, "FRES", &["FRES"], 10e6),
            ScpiFunction::Continuity => Words {
                ranged: false,
                ..words(F::Continuity, "CONT", &["CONT"], 1e3)
            },
            ScpiFunction::Diode => Words {
                ranged: false,
                ..words(F::Diode, "DIOD", &["DIOD"], 1.0)
            },
            ScpiFunction::Capacitance => words(F::Capacitance, "CAP", &["CAP"], 10e-6),
            ScpiFunction::Frequency => Words {
                ranged: false,
                ..words(F::Frequency, "FREQ", &["FREQ", "FREQ:VOLT"], 100e3)
            },
            ScpiFunction::Temperature => Words {
                ranged: false,
                ..words(F::Temperature, "TEMP", &["TEMP"], 373.15)
            },
        }
    }
}
