//! What the service starts and whom it writes to: plugins and webhooks.

use std::collections::BTreeMap;
use std::path::PathBuf;

use serde::Deserialize;

use super::ConfigError;

/// A program that speaks the contract of plugins.
#[derive(Clone, Debug, Deserialize)]
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
