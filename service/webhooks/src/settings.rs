//! The settings of one webhook, as a configuration has them.

use std::path::PathBuf;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use trisect_kit::Network;

/// Somebody who is told what happens.
#[derive(Clone, Debug, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct WebhookSettings {
    /// Its name.
    pub webhook: String,
    /// Where it is told.
    pub url: String,
    /// The file that holds its secret: `whsec_` and base64; several lines while one is exchanged for another.
    pub secret_file: PathBuf,
    /// What it is told about; all of it if left out.
    #[serde(default = "everything")]
    pub about: Vec<Subject>,
    /// Which addresses of the own network it may lead to; none if left out.
    #[serde(default)]
    pub allow: Vec<Network>,
    /// The `source` of its events, a URI reference.
    #[serde(default = "source")]
    pub source: String,
    /// Certificates (PEM) to trust instead of the system's.
    #[serde(default)]
    pub ca_file: Option<PathBuf>,
    /// Seconds that an answer may take.
    #[serde(default = "twenty")]
    pub timeout: f64,
    /// Seconds between attempts; those of Standard Webhooks if left out.
    #[serde(default)]
    pub retries: Option<Vec<f64>>,
}

/// What can be told.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Subject {
    /// Jobs that are opened and closed.
    Job,
    /// Verdicts whose standing, side or outcomes change.
    Verdict,
    /// Instruments that come and go.
    Instrument,
}

impl Subject {
    /// The word used in the journal and in event types.
    pub fn word(self) -> &'static str {
        match self {
            Subject::Job => "job",
            Subject::Verdict => "verdict",
            Subject::Instrument => "instrument",
        }
    }
}

fn everything() -> Vec<Subject> {
    vec![Subject::Job, Subject::Verdict, Subject::Instrument]
}

fn source() -> String {
    "trisectd".to_owned()
}

fn twenty() -> f64 {
    20.0
}

impl WebhookSettings {
    /// What the types cannot say: the first value that cannot be used, in words.
    ///
    /// # Errors
    /// What is wrong, and how to mend it.
    pub fn check(&self) -> Result<(), String> {
        if !(0.01..=300.0).contains(&self.timeout) {
            return Err("`timeout` is 0.01 to 300 seconds".to_owned());
        }
        let waits = self.retries.iter().flatten();
        if waits.clone().any(|wait| !(0.0..=1e6).contains(wait)) || waits.count() > 100 {
            return Err("`retries` has up to 100 waits of 0 to 1000000 seconds".to_owned());
        }
        if self.source.is_empty() || self.source.contains(char::is_whitespace) {
            return Err(
                "`source` is a URI reference, such as https://shop.example/bays".to_owned(),
            );
        }
        Ok(())
    }
}
