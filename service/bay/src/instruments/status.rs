//! How an instrument stands.

use std::path::PathBuf;
use std::sync::Arc;

use jiff::Timestamp;
use trisect_kit::State;
use trisect_measure::Quantity;

use super::chain::{CalibrationRecord, PressureReference};

/// An instrument as it stands.
#[derive(Clone, Debug)]
pub struct InstrumentStatus {
    /// The bay it is in.
    pub bay: String,
    /// Its name there.
    pub instrument: String,
    /// The adapter it is read through.
    pub adapter: String,
    /// How it is doing.
    pub state: State,
    /// Since when.
    pub since: Timestamp,
    /// When the newest sample was read.
    pub last_sample: Option<Timestamp>,
    /// Seconds since then, on the bay's clock.
    pub age: Option<f64>,
    /// What last went wrong, in words.
    pub note: Option<String>,
    /// When that was.
    pub noted: Option<Timestamp>,
    /// The serial port it opens, by the path that stays.
    pub port: Option<PathBuf>,
    /// What it says it is.
    pub identity: String,
    /// What it can measure.
    pub channels: Vec<ChannelStatus>,
    /// Samples decoded.
    pub samples: u64,
    /// Frames refused: wrong length, check sum or content.
    pub bad_frames: u64,
    /// Bytes that belonged to no frame.
    pub skipped_bytes: u64,
    /// Samples that did not fit their test point.
    pub refused_samples: u64,
}

/// A channel of an instrument.
#[derive(Clone, Debug)]
pub struct ChannelStatus {
    /// Its number.
    pub channel: u16,
    /// What it is called on the instrument.
    pub title: String,
    /// The quantity it measures, if it is always the same one.
    pub quantity: Option<Quantity>,
    /// The test point its probe is at.
    pub point: Option<Arc<str>>,
    /// What its pressures count from; none for other quantities.
    pub reference: Option<PressureReference>,
    /// How much older than their time its values are, in nanoseconds.
    pub latency: Option<i64>,
    /// The calibrations applied to what it shows.
    pub calibrations: Vec<ChannelCalibration>,
}

/// A calibration in use on a channel.
#[derive(Clone, Debug, PartialEq)]
pub struct ChannelCalibration {
    /// The function it is for; every one of its quantity if there is none.
    pub function: Option<String>,
    /// Whether its day has passed.
    pub overdue: bool,
    /// The calibration.
    pub record: CalibrationRecord,
}
