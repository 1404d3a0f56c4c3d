//! Plugins by name: programs are named in the configuration alone, so that nobody who may attach an
//! instrument can start a program of their own choice.

use std::collections::{BTreeMap, BTreeSet};
use std::path::PathBuf;
use std::sync::{Arc, PoisonError, RwLock};
use std::time::Duration;

use crate::error::{BayError, ErrorKind};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value, json};
use trisect_kit::Adapter;
use trisect_kit::plugin::{Limits, PluginAdapter, PluginError, Program};

/// The plugins of the configuration; what a reload changes of them, every holder sees.
#[derive(Clone, Debug, Default)]
pub struct Plugins(Arc<RwLock<Arc<[PluginSettings]>>>);

/// An instrument's settings.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Chosen {
    plugin: String,
    #[serde(default)]
    settings: Map<String, Value>,
}

/// JSON Schema of an instrument's settings.
pub(super) fn schema() -> Value {
    json!({
        "type": "object",
        "required": ["plugin"],
        "additionalProperties": false,
        "properties": {
            "plugin": {"type": "string", "description": "The plugin, by its name in the configuration."},
            "settings": {"type": "object", "description": "The plugin's own settings, which it is asked about first."},
        },
    })
}

impl Plugins {
    /// These plugins.
    pub fn new(settings: &[PluginSettings]) -> Plugins {
        Plugins(Arc::new(RwLock::new(settings.into())))
    }

    fn all(&self) -> Arc<[PluginSettings]> {
        Arc::clone(&self.0.read().unwrap_or_else(PoisonError::into_inner))
    }

    /// Has these from now on.
    pub fn take_up(&self, settings: &[PluginSettings]) {
        *self.0.write().unwrap_or_else(PoisonError::into_inner) = settings.into();
    }

    /// The names of those that these settings change, add or leave out.
    pub fn changed(&self, settings: &[PluginSettings]) -> BTreeSet<String> {
        let all = self.all();
        let differs = |a: &[PluginSettings], b: &[PluginSettings]| {
            let only: Vec<_> = a.iter().filter(|one| !b.contains(one)).collect();
            only.into_iter().map(|one| one.plugin.clone()).collect()
        };
        let (mut old, new): (BTreeSet<String>, BTreeSet<String>) =
            (differs(&all, settings), differs(settings, &all));
        old.extend(new);
        old
    }

    /// Whether the plugin that an instrument's settings choose is there.
    pub fn has(&self, settings: &Map<String, Value>) -> bool {
        let chosen = settings.get("plugin").and_then(Value::as_str);
        chosen.is_some_and(|name| self.all().iter().any(|one| one.plugin == name))
    }

    /// Whether the plugin that settings choose is in the configuration.
    pub(super) fn knows(&self, settings: Value) -> Result<(), BayError> {
        self.chosen(settings).map(drop)
    }

    /// Has a plugin describe itself, and holds the settings against its schema.
    pub(super) async fn adapter(&self, settings: Value) -> Result<Box<dyn Adapter>, BayError> {
        let (program, settings) = self.chosen(settings)?;
        let prepared = PluginAdapter::prepare(program, settings).await;
        let adapter = prepared.map_err(|error| refused(&error))?;
        Ok(Box::new(adapter))
    }

    fn chosen(&self, settings: Value) -> Result<(Program, Value), BayError> {
        let chosen: Chosen = serde_json::from_value(settings).map_err(|error| {
            ErrorKind::InvalidSettings
                .because(error.to_string())
                .at("settings")
                .hint("service.about has the schema of the adapter's settings")
        })?;
        let all = self.all();
        let known = all.iter().find(|one| one.plugin == chosen.plugin);
        let known = known.ok_or_else(|| {
            ErrorKind::InvalidSettings
                .because(format!("there is no plugin `{}`", chosen.plugin))
                .at("settings.plugin")
                .hint_nearest(&chosen.plugin, all.iter().map(|one| one.plugin.as_str()))
        })?;
        Ok((known.program(), Value::Object(chosen.settings)))
    }
}

/// A program that speaks the contract of plugins.
#[derive(Clone, Debug, PartialEq, Deserialize, Serialize, JsonSchema)]
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
    /// What the types cannot say: the first value that cannot be used, in words.
    ///
    /// # Errors
    /// What is wrong, and how to mend it.
    pub fn check(&self) -> Result<(), String> {
        if self.command.is_empty() {
            return Err("`command` is empty: name a program and its arguments".to_owned());
        }
        let memory = self.memory_mib;
        if memory.is_some_and(|mib| !(1..=1 << 20).contains(&mib)) {
            return Err("`memory_mib` is 1 to 1048576".to_owned());
        }
        let cpu = self.cpu_seconds;
        if cpu.is_some_and(|seconds| !(1..=3600).contains(&seconds)) {
            return Err("`cpu_seconds` is 1 to 3600".to_owned());
        }
        let silent = self.silent_after;
        if silent.is_some_and(|seconds| !(0.1..=86_400.0).contains(&seconds)) {
            return Err("`silent_after` is 0.1 to 86400 seconds".to_owned());
        }
        Ok(())
    }

    /// Its program, as the kit starts it.
    pub fn program(&self) -> Program {
        let usual = Limits::default();
        Program {
            name: self.plugin.clone(),
            command: self.command.clone(),
            directory: self.directory.clone(),
            environment: self.environment.clone(),
            limits: Limits {
                memory: self.memory_mib.map_or(usual.memory, |mib| mib << 20),
                cpu: self.cpu_seconds.unwrap_or(usual.cpu),
                processes: self.processes.unwrap_or(usual.processes),
                silent_after: self
                    .silent_after
                    .map_or(usual.silent_after, Duration::from_secs_f64),
                ..usual
            },
        }
    }
}

fn refused(error: &PluginError) -> BayError {
    if let PluginError::Settings(unfit) = error {
        let first = unfit
            .defects
            .first()
            .map_or("", |(place, _)| place.as_str());
        return ErrorKind::InvalidSettings
            .because(error.to_string())
            .at(format!("settings.settings{}", first.replace('/', ".")))
            .hint("the plugin's own documentation says what it asks for");
    }
    let mut said = error.to_string();
    if let Some(source) = std::error::Error::source(error) {
        said = format!("{said} ({source})");
    }
    ErrorKind::PluginFailed
        .because(said)
        .at("settings.plugin")
        .hint("`trisect adapter check COMMAND` holds it against the contract")
}
