//! `bay.list`, `phase.say` and `barometer.say`.

use super::text::{Name, OptionalName};
use super::{Drive, Phase, Time, wire};

wire! {
    /// All bays.
    pub struct Bays {
        /// In the order of the configuration.
        pub bays: Vec<Bay>,
    }

    /// A bay as it stands.
    pub struct Bay {
        /// Its name.
        pub bay: String,
        /// What it is called on the wall.
        pub title: String,
        /// The phase said or detected; null without an open job.
        pub phase: Option<Phase>,
        /// The drive connected; null without an open job.
        pub drive: Option<Drive>,
        /// The open job, or null.
        pub job: Option<String>,
        /// Its instruments, by name.
        pub instruments: Vec<String>,
        /// The barometric pressure that is taken off absolute pressures, if one is known.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub barometer: Option<Barometer>,
    }

    /// The pressure of the air in a bay.
    pub struct Barometer {
        /// The pressure.
        pub value: f64,
        /// The unit of value and uncertainty.
        pub unit: String,
        /// Standard uncertainty.
        pub uncertainty: f64,
        /// Where it is from: the configuration, a person or an instrument.
        pub from: String,
        /// When it was said or measured; left out for the configuration's.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub time: Option<Time>,
        /// Whether it is too old to be taken off.
        pub stale: bool,
    }

    /// Parameters of `barometer.say`.
    #[serde(deny_unknown_fields)]
    pub struct BarometerSayParams {
        /// The bay.
        #[serde(with = "Name")]
        pub bay: String,
        /// The station pressure (not reduced to sea level) with its unit: `1003 hPa`.
        #[serde(with = "Name")]
        pub value: String,
        /// Standard uncertainty with its unit; from the digits written if left out.
        #[serde(default, skip_serializing_if = "Option::is_none", with = "OptionalName")]
        pub uncertainty: Option<String>,
        /// Who read it.
        #[serde(with = "Name")]
        pub by: String,
    }

    /// Parameters of `phase.say`: at least one of phase and drive.
    #[serde(deny_unknown_fields)]
    pub struct PhaseSayParams {
        /// The bay.
        #[serde(with = "Name")]
        pub bay: String,
        /// The phase the engine is in.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub phase: Option<Phase>,
        /// The drive that is connected.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub drive: Option<Drive>,
    }
}
