//! What the service starts and whom it writes to: plugins and webhooks.

use std::collections::BTreeMap;
use std::path::PathBuf;

use schemars::JsonSchema;
use serde::Deserialize;

use super::ConfigError;

/// A program that speaks the contract of plugins.
#[derive(Clone, Debug, PartialEq, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct PluginSettings {
    /// The name that instruments choose it by.
    pub plugin: String,
    /// The program and its arguments.
    pub command: Vec<String>,
    /// Where it runs; the service's own folder if left out.
    #[serde(default)]
    pub directory: Option<PathBuf>,
    /// Variables added to the few it is given.
    #[serde(default)]
    pub environment: BTreeMap<String, String>,
    /// Memory of each of its processes, in MiB; 512 if left out.
    #[serde(default)]
    pub memory_mib: Option<u64>,
    /// Processor time of each of its processes in a minute, in seconds; 30 if left out.
    #[serde(default)]
    pub cpu_seconds: Option<u64>,
    /// Processes at once; 64 if left out.
    #[serde(default)]
    pub processes: Option<usize>,
    /// Seconds without a sample that are silence; 5 if left out.
    #[serde(default)]
    pub silent_after: Option<f64>,
}

impl PluginSettings {
    /// What the types cannot say.
    pub(super) fn check(&self) -> Result<(), ConfigError> {
        let refused = |what: String| ConfigError::Value {
            key: format!("plugins.{}", self.plugin),
            what,
        };
        if self.command.is_empty() {
            return Err(refused(
                "`command` is empty: name a program and its arguments".to_owned(),
            ));
        }
        if self
            .memory_mib
            .is_some_and(|mib| !(1..=1 << 20).contains(&mib))
        {
            return Err(refused("`memory_mib` is 1 to 1048576".to_owned()));
        }
        if self
            .cpu_seconds
            .is_some_and(|seconds| !(1..=3600).contains(&seconds))
        {
            return Err(refused("`cpu_seconds` is 1 to 3600".to_owned()));
        }
        if self
            .silent_after
            .is_some_and(|seconds| !(0.1..=86_400.0).contains(&seconds))
        {
            return Err(refused("`silent_after` is 0.1 to 86400 seconds".to_owned()));
        }
        Ok(())
    }
}

/// Somebody who is told what happens.
#[derive(Clone, Debug, PartialEq, Deserialize, JsonSchema)]
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
    pub about: Vec<News>,
    /// Which addresses within the house it may lead to; none if left out.
    #[serde(default)]
    pub allow: Vec<Within>,
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
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum News {
    /// Jobs that are opened and closed.
    Job,
    /// Verdicts whose standing, side or outcomes change.
    Verdict,
    /// Instruments that come and go.
    Instrument,
}

impl News {
    /// The word used in the journal and in event types.
    pub fn word(self) -> &'static str {
        match self {
            News::Job => "job",
            News::Verdict => "verdict",
            News::Instrument => "instrument",
        }
    }
}

/// Addresses within the house.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Within {
    /// This machine.
    Loopback,
    /// The same cable.
    LinkLocal,
    /// The same site: private and shared addresses.
    Private,
}

fn everything() -> Vec<News> {
    vec![News::Job, News::Verdict, News::Instrument]
}

fn source() -> String {
    "trisectd".to_owned()
}

fn twenty() -> f64 {
    20.0
}

impl WebhookSettings {
    /// What the types cannot say.
    pub(super) fn check(&self) -> Result<(), ConfigError> {
        let refused = |what: &str| ConfigError::Value {
            key: format!("webhooks.{}", self.webhook),
            what: what.to_owned(),
        };
        if !(0.01..=300.0).contains(&self.timeout) {
            return Err(refused("`timeout` is 0.01 to 300 seconds"));
        }
        let waits = self.retries.iter().flatten();
        if waits.clone().any(|wait| !(0.0..=1e6).contains(wait)) || waits.count() > 100 {
            return Err(refused(
                "`retries` has up to 100 waits of 0 to 1000000 seconds",
            ));
        }
        if self.source.is_empty() || self.source.contains(char::is_whitespace) {
            return Err(refused(
                "`source` is a URI reference, such as https://shop.example/bays",
            ));
        }
        Ok(())
    }
}
