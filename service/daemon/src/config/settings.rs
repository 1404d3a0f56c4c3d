//! The settings themselves, with their defaults.

use std::net::SocketAddr;
use std::path::PathBuf;

use serde::Deserialize;

use super::{ConfigError, PluginSettings, WebhookSettings};

/// Everything that can be set.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Settings {
    /// Address and port to listen on.
    pub listen: SocketAddr,
    /// The journal's database file.
    pub journal: PathBuf,
    /// File with access tokens; needed to listen beyond loopback.
    pub token_file: Option<PathBuf>,
    /// Host names that the service answers to, besides loopback names.
    pub host_names: Vec<String>,
    /// Web origins that may call, besides the service's own.
    pub origins: Vec<String>,
    /// Rule-set files, besides those that are shipped.
    pub rulesets: Vec<PathBuf>,
    /// Programs that instruments can be read through.
    pub plugins: Vec<PluginSettings>,
    /// Who is told what happens.
    pub webhooks: Vec<WebhookSettings>,
    /// The bays.
    pub bays: Vec<BaySettings>,
    /// Logging.
    pub log: LogSettings,
}

/// One bay.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct BaySettings {
    /// Its name on the wire.
    pub bay: String,
    /// What it is called on the wall; its name if left out.
    pub title: Option<String>,
    /// The rule set that jobs use unless they say otherwise.
    #[serde(default = "shipped")]
    pub ruleset: String,
    /// The usual station pressure, taken off absolute pressures unless a newer one
    /// is said or measured.
    #[serde(default)]
    pub barometer: Option<BarometerSettings>,
    /// Instruments that are opened when the service starts.
    #[serde(default)]
    pub instruments: Vec<InstrumentSettings>,
}

/// The pressure of the air.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct BarometerSettings {
    /// The pressure with its unit, such as `1003 hPa`: not reduced to sea level.
    pub value: String,
    /// Its standard uncertainty, such as `10 hPa`: the weather is in it.
    pub uncertainty: String,
}

/// One instrument of a bay.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct InstrumentSettings {
    /// Its name in the bay.
    pub instrument: String,
    /// The adapter, such as `multimeter`.
    pub adapter: String,
    /// The adapter's own settings.
    #[serde(default)]
    pub settings: serde_json::Map<String, serde_json::Value>,
}

/// Logging.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct LogSettings {
    /// What to log, such as `info` or `trisectd=debug`.
    pub level: String,
    /// How: `text` for people, `json` for programs.
    pub format: LogFormat,
}

/// How log lines look.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum LogFormat {
    /// For people.
    Text,
    /// For programs: one object a line.
    Json,
}

impl Default for Settings {
    fn default() -> Settings {
        Settings {
            listen: SocketAddr::from(([127, 0, 0, 1], trisect_api::DEFAULT_PORT)),
            journal: PathBuf::from("trisect.db"),
            token_file: None,
            host_names: Vec::new(),
            origins: Vec::new(),
            rulesets: Vec::new(),
            plugins: Vec::new(),
            webhooks: Vec::new(),
            bays: vec![BaySettings {
                bay: "bay-1".to_owned(),
                title: None,
                ruleset: shipped(),
                barometer: None,
                instruments: Vec::new(),
            }],
            log: LogSettings::default(),
        }
    }
}

impl Default for LogSettings {
    fn default() -> LogSettings {
        LogSettings {
            level: "info".to_owned(),
            format: LogFormat::Text,
        }
    }
}

fn shipped() -> String {
    "distributor-pump-12v".to_owned()
}

impl Settings {
    /// What the types cannot say.
    ///
    /// # Errors
    /// The first rule broken, with the way out.
    pub fn check(&self) -> Result<(), ConfigError> {
        if !self.listen.ip().is_loopback() && self.token_file.is_none() {
            return Err(ConfigError::Exposed {
                listen: self.listen,
            });
        }
        if self.token_file.is_some() {
            return Err(ConfigError::TokensNotYet);
        }
        if self.bays.is_empty() {
            return Err(ConfigError::Value {
                key: "bays".to_owned(),
                what: "there is no bay: add a table [[bays]] with a `bay` name".to_owned(),
            });
        }
        unique(
            "plugins",
            self.plugins.iter().map(|one| one.plugin.as_str()),
        )?;
        self.plugins.iter().try_for_each(PluginSettings::check)?;
        unique(
            "webhooks",
            self.webhooks.iter().map(|one| one.webhook.as_str()),
        )?;
        self.webhooks.iter().try_for_each(WebhookSettings::check)?;
        let bays = self.bays.iter().map(|bay| bay.bay.as_str());
        unique("bays.bay", bays)?;
        for bay in &self.bays {
            let names = bay.instruments.iter().map(|i| i.instrument.as_str());
            unique(&format!("the instruments of {}", bay.bay), names)?;
        }
        Ok(())
    }
}

fn unique<'a>(key: &str, names: impl Iterator<Item = &'a str>) -> Result<(), ConfigError> {
    let mut seen = std::collections::HashSet::new();
    for name in names {
        let plain = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-';
        if name.is_empty() || !name.chars().all(plain) {
            let what = format!("`{name}` is no name: use small letters, digits and hyphens");
            return Err(ConfigError::Value {
                key: key.to_owned(),
                what,
            });
        }
        if !seen.insert(name) {
            let what = format!("`{name}` is there twice: give each its own name");
            return Err(ConfigError::Value {
                key: key.to_owned(),
                what,
            });
        }
    }
    Ok(())
}
