//! `reading.*`: values with their unit and standard uncertainty.

use super::text::{Name, OptionalName, OptionalSenml};
use super::{Phase, Time, common::words, wire};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value};

words! {
    /// On which side of `value` the true value lies, when the instrument was driven out of its range.
    Beyond {
        /// The true value is greater: overload.
        Above = "above",
        /// The true value is less.
        Below = "below",
    }
}

words! {
    /// How `reading.history` tells readings.
    HistoryFormat {
        /// With everything that is known of them.
        Readings = "readings",
        /// As a SenML pack, which `reading.submit` takes.
        Senml = "senml",
    }
}

wire! {
    /// A reading as it was stored.
    pub struct Reading {
        /// Its place in the journal, which is that of no other event.
        pub seq: u64,
        /// The job it belongs to.
        pub job: String,
        /// The bay it was taken in.
        pub bay: String,
        /// The test point.
        pub point: String,
        /// When it was taken.
        pub time: Time,
        /// Seconds on the bay's clock since the job was opened.
        pub at: f64,
        /// The value; with `beyond`, the end of the range it lies beyond.
        pub value: f64,
        /// The unit of value and uncertainty.
        pub unit: String,
        /// Standard uncertainty.
        pub uncertainty: f64,
        /// The true value lies beyond `value`, on this side.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub beyond: Option<Beyond>,
        /// The instrument that took it.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub instrument: Option<String>,
        /// The instrument's channel.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub channel: Option<String>,
        /// The calibration that was applied; `calibration.show` has it.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub calibration: Option<String>,
        /// How much older than `time` the value is, in seconds, estimated.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub latency: Option<f64>,
        /// The barometric pressure that was taken off an absolute pressure, in the unit of the value.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub barometer: Option<f64>,
        /// The person who entered it.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub by: Option<String>,
        /// Whether a person entered it: it then stands for a check's whole window.
        pub entered: bool,
        /// What was said about its quality: `hold`, `low-battery`, `stale`, …
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        pub flags: Vec<String>,
        /// In the answer to `reading.enter`: the key was known, so that this reading had been stored before and
        /// was not stored again.
        #[serde(default, skip_serializing_if = "std::ops::Not::not")]
        pub repeated: bool,
    }

    /// Parameters of `reading.submit`: readings or SenML, not both.
    #[serde(deny_unknown_fields)]
    pub struct ReadingSubmitParams {
        /// The bay, which must have an open job.
        #[serde(with = "Name")]
        pub bay: String,
        /// The readings.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub readings: Option<Vec<SubmittedReading>>,
        /// A SenML pack (RFC 8428); names are test points, a text such as `> 40 MOhm` is an overload.
        #[serde(default, skip_serializing_if = "Option::is_none", with = "OptionalSenml")]
        pub senml: Option<Vec<Map<String, Value>>>,
        /// The submitter's own key of this submission: the same key twice is stored once.
        #[serde(default, skip_serializing_if = "Option::is_none", with = "OptionalName")]
        pub key: Option<String>,
    }

    /// One reading of a submission.
    #[serde(deny_unknown_fields)]
    pub struct SubmittedReading {
        /// The test point.
        #[serde(with = "Name")]
        pub point: String,
        /// The value; with `beyond`, the end of the range it lies beyond.
        pub value: f64,
        /// The unit of value and uncertainty; pressures may say what they count from: `psig`, `psia`.
        #[serde(with = "Name")]
        pub unit: String,
        /// Standard uncertainty; zero if left out.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub uncertainty: Option<f64>,
        /// The true value lies beyond `value`, on this side: an overload.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub beyond: Option<Beyond>,
        /// When it was taken; when it arrived if left out.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub time: Option<Time>,
    }

    /// The answer to `reading.submit`: everything is on disk.
    #[derive(Copy, Eq)]
    pub struct ReadingSubmitted {
        /// How many readings the submission holds.
        pub accepted: u64,
        /// The key was known: they had been stored before, and were not stored again.
        pub repeated: bool,
    }

    /// Parameters of `reading.enter`.
    #[serde(deny_unknown_fields)]
    pub struct ReadingEnterParams {
        /// The bay, which must have an open job.
        #[serde(with = "Name")]
        pub bay: String,
        /// The test point.
        #[serde(with = "Name")]
        pub point: String,
        /// The value with its unit as a person writes it: `12.4 V`, `-3 inHg`, `19.7 psia`, `OL`.
        #[serde(with = "Name")]
        pub value: String,
        /// Standard uncertainty with its unit, such as `0.2 psi`; from the digits written, and the accuracy of
        /// the instrument if the bay knows it, if left out.
        #[serde(default, skip_serializing_if = "Option::is_none", with = "OptionalName")]
        pub uncertainty: Option<String>,
        /// The phase it was taken in, if the engine has left it since.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub phase: Option<Phase>,
        /// Who took it.
        #[serde(with = "Name")]
        pub by: String,
        /// What it was taken with: one that the bay knows lends its accuracy and calibration.
        #[serde(default, skip_serializing_if = "Option::is_none", with = "OptionalName")]
        pub instrument: Option<String>,
        /// The sender's own key of this entry: the same key twice is stored once, with its phase. Entries and
        /// submissions of a bay share their keys.
        #[serde(default, skip_serializing_if = "Option::is_none", with = "OptionalName")]
        pub key: Option<String>,
    }

    /// Parameters of `reading.history`: a job, a bay for its open job, or a bay for what is `outside` any job.
    #[derive(Default)]
    #[serde(deny_unknown_fields)]
    pub struct ReadingHistoryParams {
        /// The job.
        #[serde(default, skip_serializing_if = "Option::is_none", with = "OptionalName")]
        pub job: Option<String>,
        /// The bay whose open job is meant, or with `outside` what its instruments said outside any job.
        #[serde(default, skip_serializing_if = "Option::is_none", with = "OptionalName")]
        pub bay: Option<String>,
        /// One test point only; readings outside any job have none.
        #[serde(default, skip_serializing_if = "Option::is_none", with = "OptionalName")]
        pub point: Option<String>,
        /// Only readings after this place in the journal.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub after_seq: Option<u64>,
        /// At most so many; 1000 if left out.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub limit: Option<u32>,
        /// How they are told; as readings if left out.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub format: Option<HistoryFormat>,
        /// Readings outside any job: what the bay's instruments said between jobs, or with their probes nowhere,
        /// for as long as `keep.outside_jobs` keeps it.
        #[serde(default, skip_serializing_if = "std::ops::Not::not")]
        pub outside: bool,
        /// One instrument only; with `outside`. It may have been detached since.
        #[serde(default, skip_serializing_if = "Option::is_none", with = "OptionalName")]
        pub instrument: Option<String>,
        /// One channel only; with `outside`.
        #[serde(default, skip_serializing_if = "Option::is_none", with = "OptionalName")]
        pub channel: Option<String>,
        /// One quantity only, such as `pressure`; with `outside`.
        #[serde(default, skip_serializing_if = "Option::is_none", with = "OptionalName")]
        pub quantity: Option<String>,
        /// Only what was taken at this time or later.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub from: Option<Time>,
        /// Only what was taken before this time.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub until: Option<Time>,
    }

    /// A reading outside any job: of an instrument and a quantity, as no rule set says of which point.
    pub struct OutsideReading {
        /// Its place in the journal, which is that of no other event.
        pub seq: u64,
        /// The bay it was taken in.
        pub bay: String,
        /// The instrument that took it.
        pub instrument: String,
        /// The instrument's channel.
        pub channel: String,
        /// What was measured, such as `pressure`.
        pub quantity: String,
        /// When it was taken.
        pub time: Time,
        /// The value; with `beyond`, the end of the range it lies beyond.
        pub value: f64,
        /// The unit of value and uncertainty: one for each quantity (`V`, `A`, `Ohm`, `Pa`, `degC`, `rpm`, …).
        pub unit: String,
        /// Standard uncertainty.
        pub uncertainty: f64,
        /// The true value lies beyond `value`, on this side.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub beyond: Option<Beyond>,
        /// The calibration that was applied; `calibration.show` has it.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub calibration: Option<String>,
        /// How much older than `time` the value is, in seconds, estimated.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub latency: Option<f64>,
        /// The barometric pressure that was taken off an absolute pressure, in the unit of the value.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub barometer: Option<f64>,
        /// What was said about its quality: `hold`, `low-battery`, `stale`, …
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        pub flags: Vec<String>,
    }

    /// A page of readings.
    pub struct Readings {
        /// Oldest first; empty if they were asked for as SenML, or outside any job.
        pub readings: Vec<Reading>,
        /// The readings outside any job, if these were asked for; oldest first.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub outside: Option<Vec<OutsideReading>>,
        /// The readings as a SenML pack (RFC 8428), if they were asked for so: names are test points, or
        /// `instrument/channel/quantity` outside any job; an overload is a text such as `> 40000000 Ohm`. SenML
        /// has no word for uncertainty and flags.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub senml: Option<Vec<Map<String, Value>>>,
        /// The place in the journal of the last one.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub last_seq: Option<u64>,
        /// Whether there are more: ask again with `after_seq` of the last one.
        pub more: bool,
    }
}
