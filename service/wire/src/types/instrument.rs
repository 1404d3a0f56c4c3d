//! `instrument.*` and `probe.*`.

use super::text::{Name, OptionalName, Settings};
use super::{ChannelCalibration, Time, common::words, wire};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value};

words! {
    /// How an instrument is doing.
    InstrumentState {
        /// It is being opened.
        Starting = "starting",
        /// It is open and samples arrive.
        Running = "running",
        /// It cannot be opened, was lost, or nothing arrives; `note` says why, and it is tried again.
        Silent = "silent",
        /// It was closed.
        Stopped = "stopped",
    }
}

words! {
    /// What a pressure counts from.
    PressureReference {
        /// The air outside: below zero is suction.
        Gauge = "gauge",
        /// No pressure at all; the barometric pressure is taken off.
        Absolute = "absolute",
        /// It is the barometric pressure itself, of the whole bay.
        Barometric = "barometric",
    }
}

wire! {
    /// Parameters of `instrument.list` and `instrument.watch`.
    #[derive(Default)]
    #[serde(deny_unknown_fields)]
    pub struct InstrumentListParams {
        /// One bay only; all bays if left out.
        #[serde(default, skip_serializing_if = "Option::is_none", with = "OptionalName")]
        pub bay: Option<String>,
    }

    /// Instruments.
    pub struct Instruments {
        /// By bay, then by name.
        pub instruments: Vec<Instrument>,
    }

    /// An instrument as it stands.
    pub struct Instrument {
        /// The bay it is in.
        pub bay: String,
        /// Its name in the bay.
        pub instrument: String,
        /// The adapter it is read through.
        pub adapter: String,
        /// How it is doing.
        pub state: InstrumentState,
        /// Since when.
        pub since: Time,
        /// When the newest sample was read.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub last_sample: Option<Time>,
        /// Seconds since then, on the bay's clock.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub age: Option<f64>,
        /// What last went wrong, in words, with the way out where one is known.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub note: Option<String>,
        /// When that was.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub noted: Option<Time>,
        /// The port it is opened at: the path that stays, where the one given had one.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub port: Option<String>,
        /// What it says it is, if it says so.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub identity: Option<String>,
        /// What it can measure.
        pub channels: Vec<Channel>,
        /// What was counted since it was attached.
        pub counters: Counters,
    }

    /// A channel of an instrument.
    pub struct Channel {
        /// Its name.
        pub channel: String,
        /// What it is called on the instrument.
        pub title: String,
        /// The quantity it measures, if it is always the same one.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub quantity: Option<String>,
        /// The test point its probe is placed at, or null.
        pub point: Option<String>,
        /// What its pressures count from; left out for other quantities.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub reference: Option<PressureReference>,
        /// How much older than their time its values are, in seconds, estimated.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub latency: Option<f64>,
        /// The calibrations applied to what it shows.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        pub calibrations: Vec<ChannelCalibration>,
    }

    /// Counts since an instrument was attached.
    #[derive(Copy, Default, Eq)]
    pub struct Counters {
        /// Samples decoded.
        pub samples: u64,
        /// Frames refused: wrong length, check sum or content.
        pub bad_frames: u64,
        /// Bytes that belonged to no frame.
        pub skipped_bytes: u64,
        /// Samples that did not fit their test point, `note` says why; left out if there were none.
        #[serde(default, skip_serializing_if = "is_none")]
        pub refused_samples: u64,
    }

    /// Parameters of `instrument.attach`.
    #[serde(deny_unknown_fields)]
    pub struct InstrumentAttachParams {
        /// The bay.
        #[serde(with = "Name")]
        pub bay: String,
        /// The name it shall have there.
        #[serde(with = "Name")]
        pub instrument: String,
        /// The adapter, by the name `service.about` lists; `auto` attaches what speaks on the port.
        #[serde(with = "Name")]
        pub adapter: String,
        /// The adapter's settings; `service.about` has their schema. Of `auto`: `port`, and
        /// `allow_writing` where requests may be written to find out.
        #[serde(default, with = "Settings")]
        pub settings: Map<String, Value>,
    }

    /// Names an instrument of a bay.
    #[serde(deny_unknown_fields)]
    pub struct InstrumentName {
        /// The bay.
        #[serde(with = "Name")]
        pub bay: String,
        /// The instrument.
        #[serde(with = "Name")]
        pub instrument: String,
    }

    /// Parameters of `probe.place`.
    #[serde(deny_unknown_fields)]
    pub struct ProbePlaceParams {
        /// The bay.
        #[serde(with = "Name")]
        pub bay: String,
        /// The instrument.
        #[serde(with = "Name")]
        pub instrument: String,
        /// Its channel.
        #[serde(with = "Name")]
        pub channel: String,
        /// The test point the probe is at.
        #[serde(with = "Name")]
        pub point: String,
    }

    /// Parameters of `probe.lift`.
    #[serde(deny_unknown_fields)]
    pub struct ProbeLiftParams {
        /// The bay.
        #[serde(with = "Name")]
        pub bay: String,
        /// The instrument.
        #[serde(with = "Name")]
        pub instrument: String,
        /// Its channel.
        #[serde(with = "Name")]
        pub channel: String,
    }
}

fn is_none(count: &u64) -> bool {
    *count == 0
}
