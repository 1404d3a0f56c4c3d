//! `reading.*`: values with their unit and standard uncertainty.

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
        /// The person who entered it.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub by: Option<String>,
        /// Whether a person entered it: it then stands for a check's whole window.
        pub entered: bool,
        /// What was said about its quality: `hold`, `low-battery`, `stale`, …
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        pub flags: Vec<String>,
    }

    /// Parameters of `reading.submit`: readings or SenML, not both.
    #[serde(deny_unknown_fields)]
    pub struct ReadingSubmitParams {
        /// The bay, which must have an open job.
        pub bay: String,
        /// The readings.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub readings: Option<Vec<SubmittedReading>>,
        /// A SenML pack (RFC 8428); names are test points.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub senml: Option<Vec<Map<String, Value>>>,
        /// The submitter's own key of this submission: the same key twice is stored once.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub key: Option<String>,
    }

    /// One reading of a submission.
    #[serde(deny_unknown_fields)]
    pub struct SubmittedReading {
        /// The test point.
        pub point: String,
        /// The value.
        pub value: f64,
        /// The unit of value and uncertainty.
        pub unit: String,
        /// Standard uncertainty; zero if left out.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub uncertainty: Option<f64>,
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
        pub bay: String,
        /// The test point.
        pub point: String,
        /// The value with its unit as a person writes it: `12.4 V`, `-3 inHg`, `OL`.
        pub value: String,
        /// Standard uncertainty with its unit, such as `0.2 psi`; from the digits written if left out.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub uncertainty: Option<String>,
        /// The phase it was taken in, if the engine has left it since.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub phase: Option<Phase>,
        /// Who took it.
        pub by: String,
        /// What it was taken with.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub instrument: Option<String>,
    }

    /// Parameters of `reading.history`: a job, or a bay for its open job.
    #[derive(Default)]
    #[serde(deny_unknown_fields)]
    pub struct ReadingHistoryParams {
        /// The job.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub job: Option<String>,
        /// The bay whose open job is meant.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub bay: Option<String>,
        /// One test point only.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub point: Option<String>,
        /// Only readings after this place in the journal.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub after_seq: Option<u64>,
        /// At most so many; 1000 if left out.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub limit: Option<u32>,
    }

    /// A page of readings.
    pub struct Readings {
        /// Oldest first.
        pub readings: Vec<Reading>,
        /// Whether there are more: ask again with `after_seq` of the last one.
        pub more: bool,
    }
}
