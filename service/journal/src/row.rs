//! What happened in a bay, as it is kept.

use std::sync::Arc;

use trisect_measure::{Amount, Flags};
use trisect_rules::{Drive, Outcome, Phase};

/// One thing that happened. Ids are shared texts: a batch of readings from one
/// point costs no allocation a row.
#[derive(Debug, Clone, PartialEq)]
pub struct EventRow {
    /// Nanoseconds on the bay's clock: since the job opened, within a job.
    pub at: i64,
    /// Microseconds since 1970-01-01T00:00:00Z, by the service's clock.
    pub wall: i64,
    /// Who said it, where a person or a named caller did.
    pub by: Option<Arc<str>>,
    /// What it was.
    pub what: Happened,
}

/// What can happen.
#[derive(Debug, Clone, PartialEq)]
pub enum Happened {
    /// A reading at a test point.
    Reading(Reading),
    /// Somebody said which phase the engine is in.
    Phase(Phase),
    /// Somebody said what drives the pump.
    Drive(Drive),
    /// An asked check was answered.
    Answer {
        /// The check's id.
        check: Arc<str>,
        /// The answer's word.
        answer: Arc<str>,
    },
    /// A check was settled elsewhere.
    Outcome {
        /// The check's id.
        check: Arc<str>,
        /// What came of it.
        outcome: Outcome,
    },
    /// A probe was placed on a point, whose windows start again.
    Window(Probe),
    /// A probe was taken off a point.
    Lifted(Probe),
}

/// Which channel of which instrument is at a point. Events of schema 1 do not
/// say the instrument.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Probe {
    /// The point's id.
    pub point: Arc<str>,
    /// The instrument's name.
    pub instrument: Option<Arc<str>>,
    /// The instrument's channel, from 0.
    pub channel: Option<u16>,
}

/// A reading with everything that traces it.
#[derive(Debug, Clone, PartialEq)]
pub struct Reading {
    /// The test point's id.
    pub point: Arc<str>,
    /// The amount, in SI; finite.
    pub amount: Amount,
    /// Standard uncertainty, in SI; finite and not negative.
    pub uncertainty: f64,
    /// What was said about it.
    pub flags: Flags,
    /// Entered by a person rather than streamed by an instrument.
    pub entered: bool,
    /// The instrument's name, if one measured it.
    pub instrument: Option<Arc<str>>,
    /// The instrument's channel, from 0.
    pub channel: Option<u16>,
    /// The id of the calibration that was applied.
    pub calibration: Option<Arc<str>>,
    /// How much older the value is than its time, in nanoseconds, estimated.
    pub latency: Option<i64>,
    /// The barometric pressure that was taken off an absolute pressure, in SI;
    /// finite.
    pub barometer: Option<f64>,
}

/// Rows that are kept together or not at all.
#[derive(Debug, Clone)]
pub struct Batch {
    /// The job they belong to; readings outside any job are kept as well.
    pub job: Option<Arc<str>>,
    /// The bay they come from.
    pub bay: Arc<str>,
    /// The key the sender gave, so that sending again stores nothing twice.
    pub key: Option<SubmissionKey>,
    /// The rows, in the order they happened.
    pub events: Vec<EventRow>,
}

/// A sender's own key for what it submits; one key names one content in one bay.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SubmissionKey {
    /// The key.
    pub key: String,
    /// SHA-256 of what was submitted, as the sender wrote it: the same key with
    /// another content is refused.
    pub content: [u8; 32],
}

/// What became of a batch.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Appended {
    /// It is on disk now.
    Stored {
        /// Sequence number of its first row; the others follow it.
        first: i64,
        /// How many rows.
        count: u32,
    },
    /// It was on disk already: its key is known.
    Repeated {
        /// Sequence number of its first row.
        first: i64,
        /// How many rows.
        count: u32,
    },
}

/// A row with its place in the journal.
#[derive(Debug, Clone, PartialEq)]
pub struct StoredEvent {
    /// Its place: greater than that of everything stored before it.
    pub seq: i64,
    /// The job it belongs to, if any.
    pub job: Option<Arc<str>>,
    /// The bay it comes from.
    pub bay: Arc<str>,
    /// The row.
    pub row: EventRow,
}

/// Which readings are wanted; every part left out is every one.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct ReadingFilter {
    /// Of this bay.
    pub bay: Option<String>,
    /// Of this job.
    pub job: Option<String>,
    /// At this test point.
    pub point: Option<String>,
    /// Not before this time, in microseconds since 1970.
    pub from: Option<i64>,
    /// Before this time, in microseconds since 1970.
    pub until: Option<i64>,
    /// Outside any job only, and of these.
    pub outside: Option<Outside>,
}

/// Which readings outside any job are wanted, by the parts of their subject
/// (`instrument/channel/quantity`); every part left out is every one.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Outside {
    /// Of this instrument.
    pub instrument: Option<String>,
    /// Of this channel.
    pub channel: Option<u16>,
    /// Of this quantity.
    pub quantity: Option<trisect_measure::Quantity>,
}

impl Outside {
    /// The subjects that fit, as a pattern of SQLite's `GLOB`.
    pub(crate) fn pattern(&self) -> String {
        let any = || "*".to_owned();
        // What would be a wildcard stands for itself.
        let literal = |text: &String| {
            let mut plain = String::new();
            for character in text.chars() {
                match character {
                    '*' | '?' | '[' => plain.extend(['[', character, ']']),
                    _ => plain.push(character),
                }
            }
            plain
        };
        let instrument = self.instrument.as_ref().map_or_else(any, literal);
        let channel = self.channel.map_or_else(any, |channel| channel.to_string());
        let quantity = self.quantity.map_or_else(any, |one| one.word().to_owned());
        format!("{instrument}/{channel}/{quantity}")
    }
}
