//! What a bay can be asked for.

use serde::Serialize;
use serde_json::{Map, Value};
use trisect_kit::Networks;
use trisect_rules::Phase;

/// Opens a job.
#[derive(Clone, Debug)]
pub struct OpenJobRequest {
    /// The machine, as the shop calls it.
    pub machine: String,
    /// What is complained of, by the rule set's id.
    pub complaint: Option<String>,
    /// The rule set; the bay's own if left out.
    pub ruleset: Option<String>,
    /// Who opens it.
    pub by: Option<String>,
}

/// Answers an asked check.
#[derive(Clone, Debug)]
pub struct AnswerRequest {
    /// The job.
    pub job: String,
    /// The check.
    pub check: String,
    /// One of its answers.
    pub answer: String,
    /// Who answers.
    pub by: Option<String>,
}

/// Closes a job.
#[derive(Clone, Debug)]
pub struct CloseJobRequest {
    /// The job.
    pub job: String,
    /// What it really was, by the rule set's suspects, if that is known.
    pub confirmed: Option<Vec<String>>,
    /// Anything worth keeping.
    pub note: Option<String>,
}

/// On which side of a value the true value lies, when an instrument was driven out of its range.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Beyond {
    /// The true value is greater: overload.
    Above,
    /// The true value is less.
    Below,
}

/// One reading of a submission.
#[derive(Clone, Debug, Serialize)]
pub struct SubmittedReading {
    /// The test point.
    pub point: String,
    /// The value; with `beyond`, the end of the range it lies beyond.
    pub value: f64,
    /// The unit of value and uncertainty.
    pub unit: String,
    /// Standard uncertainty; zero if left out.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub uncertainty: Option<f64>,
    /// The true value lies beyond `value`, on this side.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub beyond: Option<Beyond>,
    /// When it was taken, RFC 3339; when it arrived if left out.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub time: Option<String>,
}

/// Stores readings: all, or none.
#[derive(Clone, Debug)]
pub struct SubmitRequest {
    /// The readings, or
    pub readings: Option<Vec<SubmittedReading>>,
    /// a SenML pack (RFC 8428).
    pub senml: Option<Vec<Map<String, Value>>>,
    /// The submitter's own key: the same key twice is stored once.
    pub key: Option<String>,
}

/// What became of a submission: everything is on disk.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Submitted {
    /// How many readings it holds.
    pub accepted: u64,
    /// The key was known: they had been stored before.
    pub repeated: bool,
}

/// Stores a reading that a person took.
#[derive(Clone, Debug)]
pub struct EnterRequest {
    /// The test point.
    pub point: String,
    /// The value as people write it: `12.4 psi`.
    pub value: String,
    /// Standard uncertainty with its unit, if it is known.
    pub uncertainty: Option<String>,
    /// The phase it was taken in, if that is not the one now.
    pub phase: Option<Phase>,
    /// Who took it.
    pub by: String,
    /// What it was read off.
    pub instrument: Option<String>,
    /// The sender's own key: the same key twice is stored once.
    pub key: Option<String>,
}

/// Attaches an instrument.
#[derive(Clone, Debug, PartialEq)]
pub struct AttachRequest {
    /// The bay.
    pub bay: String,
    /// The name it shall have there.
    pub instrument: String,
    /// The adapter it is read through.
    pub adapter: String,
    /// The adapter's settings.
    pub settings: Map<String, Value>,
    /// What it may connect to.
    pub networks: Networks,
}

/// Says that a channel now measures at a test point.
#[derive(Clone, Debug)]
pub struct PlaceProbeRequest {
    /// The instrument.
    pub instrument: String,
    /// Its channel.
    pub channel: String,
    /// The test point.
    pub point: String,
}

/// Says the barometric pressure.
#[derive(Clone, Debug)]
pub struct BarometerRequest {
    /// The station pressure with its unit: `1003 hPa`.
    pub value: String,
    /// Standard uncertainty with its unit; from the digits written if left out.
    pub uncertainty: Option<String>,
    /// Who read it.
    pub by: String,
}
