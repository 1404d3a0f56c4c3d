//! How a bay stands.

use jiff::Timestamp;
use trisect_rules::{Drive, Phase};

/// A bay as it stands.
#[derive(Clone, Debug, PartialEq)]
pub struct BayStatus {
    /// Its name.
    pub bay: String,
    /// What it is called.
    pub title: String,
    /// The phase said or detected; none without an open job.
    pub phase: Option<Phase>,
    /// The drive connected; none without an open job.
    pub drive: Option<Drive>,
    /// The open job.
    pub job: Option<String>,
    /// Its instruments, by name.
    pub instruments: Vec<String>,
    /// The barometric pressure, if one is known.
    pub barometer: Option<BarometerStatus>,
}

/// The pressure of the air in a bay.
#[derive(Clone, Debug, PartialEq)]
pub struct BarometerStatus {
    /// In pascals.
    pub pressure: f64,
    /// Standard uncertainty, in pascals.
    pub u: f64,
    /// Where it is from: the configuration, a person or an instrument.
    pub from: String,
    /// When it was said or measured; the configuration's has no time.
    pub time: Option<Timestamp>,
    /// Whether it is too old to be taken off absolute pressures.
    pub stale: bool,
}
