//! The settings themselves, with their defaults.

use std::net::SocketAddr;
use std::path::PathBuf;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use trisect_front::SocketSettings;
use trisect_kit::Network;

use super::access::{
    AccessSettings, KeepSettings, LimitSettings, TlsSettings, TraceSettings, UnixSettings,
};
use super::{ConfigError, PluginSettings, WebhookSettings};

/// Everything that can be set. The default is for a program that starts the service itself, on
/// loopback, for itself; a configuration file has to say who may come in.
#[derive(Clone, Debug, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Settings {
    /// Address and port to listen on, without TLS.
    #[schemars(with = "String")]
    pub listen: SocketAddr,
    /// The journal's database file.
    pub journal: PathBuf,
    /// File with access tokens (`trisectd token`); needed to listen beyond loopback.
    /// Taken up anew when it changes.
    pub token_file: Option<PathBuf>,
    /// Who may come in besides. A file that does not say it lets nobody in.
    #[serde(default)]
    pub access: AccessSettings,
    /// Listening with TLS.
    pub tls: Option<TlsSettings>,
    /// Listening on a Unix socket.
    pub unix: Option<UnixSettings>,
    /// How much at once.
    pub limits: LimitSettings,
    /// How long what is kept is kept.
    pub keep: KeepSettings,
    /// Traces of calls.
    pub traces: TraceSettings,
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
    /// Instruments that are attached over the wire.
    pub attach: AttachSettings,
    /// The bays.
    pub bays: Vec<BaySettings>,
    /// Logging.
    pub log: LogSettings,
}

/// One bay.
#[derive(Clone, Debug, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct BaySettings {
    /// Its name on the wire.
    pub bay: String,
    /// What people call it; its name if left out.
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
#[derive(Clone, Debug, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct BarometerSettings {
    /// The pressure with its unit, such as `1003 hPa`: not reduced to sea level.
    pub value: String,
    /// Its standard uncertainty, such as `10 hPa`: the weather is in it.
    pub uncertainty: String,
}

/// One instrument of a bay.
#[derive(Clone, Debug, PartialEq, Deserialize, Serialize, JsonSchema)]
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

/// Instruments that are attached over the wire.
#[derive(Clone, Debug, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct AttachSettings {
    /// Which networks of one's own they may lead to; none if left out. Those of the configuration may lead anywhere.
    pub networks: Vec<Network>,
    /// Instruments of one bay at once, those of the configuration included.
    pub per_bay: usize,
    /// Instruments of all bays at once.
    pub in_all: usize,
}

impl Default for AttachSettings {
    fn default() -> AttachSettings {
        AttachSettings {
            networks: Vec::new(),
            per_bay: 32,
            in_all: 256,
        }
    }
}

/// Logging.
#[derive(Clone, Debug, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct LogSettings {
    /// What to log, by level and module, such as `info` or `trisect=debug`.
    pub level: String,
    /// How: `text` for people, `json` for programs.
    pub format: LogFormat,
}

/// How log lines look.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, Serialize, JsonSchema)]
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
            listen: SocketAddr::from(([127, 0, 0, 1], trisect_wire::DEFAULT_PORT)),
            journal: PathBuf::from("trisect.db"),
            token_file: None,
            access: AccessSettings::here(),
            tls: None,
            unix: None,
            limits: LimitSettings::default(),
            keep: KeepSettings::default(),
            traces: TraceSettings::default(),
            host_names: Vec::new(),
            origins: Vec::new(),
            rulesets: Vec::new(),
            plugins: Vec::new(),
            webhooks: Vec::new(),
            attach: AttachSettings::default(),
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
    /// What is listened on.
    pub(crate) fn sockets(&self) -> SocketSettings {
        SocketSettings {
            plain: self.listen,
            tls: self.tls.as_ref().map(|tls| tls.listen),
            unix: self.unix.as_ref().map(UnixSettings::socket),
        }
    }

    /// What the types cannot say.
    ///
    /// # Errors
    /// What is wrong, with the way out.
    pub fn check(&self) -> Result<(), ConfigError> {
        match self.breaches().into_iter().next() {
            None => Ok(()),
            Some(first) => Err(first),
        }
    }

    /// Everything that the types cannot say.
    pub(super) fn breaches(&self) -> Vec<ConfigError> {
        let mut found = Vec::new();
        let value = |key: &str, what: String| ConfigError::Value {
            key: key.to_owned(),
            what,
        };
        self.who_may_come(&mut found);
        for (index, text) in self.origins.iter().enumerate() {
            if let Err(what) = super::origin(text) {
                let what = format!("`{text}`: {what}");
                found.push(value(&format!("origins[{index}]"), what));
            }
        }
        if let Some(unix) = &self.unix
            && let Err(what) = unix.bits()
        {
            found.push(value("unix.mode", what));
        }
        if let Some(name) = self.limits.none_of() {
            let what = "this leaves nothing: give a limit above 0".to_owned();
            found.push(value(&format!("limits.{name}"), what));
        }
        let rate = self.access.calls_per_second;
        if rate <= 0.0 || rate.is_nan() {
            let what = "nobody could call: give a rate above 0".to_owned();
            found.push(value("access.calls_per_second", what));
        }
        if let Some(endpoint) = &self.traces.endpoint
            && let Err(what) = crate::observe::traces::address(endpoint)
        {
            found.push(value("traces.endpoint", what));
        }
        if self.bays.is_empty() {
            let what = "there is no bay: add a table [[bays]] with a `bay` name".to_owned();
            found.push(value("bays", what));
        }
        let plugins = self.plugins.iter().map(|one| one.plugin.as_str());
        found.extend(unique("plugins", plugins).err());
        let wrong = |key: String| move |what: String| ConfigError::Value { key, what };
        found.extend(self.plugins.iter().filter_map(|one| {
            let key = format!("plugins.{}", one.plugin);
            one.check().map_err(wrong(key)).err()
        }));
        let webhooks = self.webhooks.iter().map(|one| one.webhook.as_str());
        found.extend(unique("webhooks", webhooks).err());
        found.extend(self.webhooks.iter().filter_map(|one| {
            let key = format!("webhooks.{}", one.webhook);
            one.check().map_err(wrong(key)).err()
        }));
        let bays = self.bays.iter().map(|bay| bay.bay.as_str());
        found.extend(unique("bays.bay", bays).err());
        for bay in &self.bays {
            let names = bay.instruments.iter().map(|i| i.instrument.as_str());
            let key = format!("the instruments of {}", bay.bay);
            found.extend(unique(&key, names).err());
        }
        found
    }

    fn who_may_come(&self, found: &mut Vec<ConfigError>) {
        let tls = self.tls.as_ref().map(|tls| tls.listen);
        for listen in [Some(self.listen), tls].into_iter().flatten() {
            if !listen.ip().is_loopback() && self.token_file.is_none() {
                found.push(ConfigError::Exposed { listen });
            }
        }
        if !self.listen.ip().is_loopback() && !self.access.plain && self.token_file.is_some() {
            found.push(ConfigError::Readable {
                listen: self.listen,
            });
        }
        let by_socket = self.unix.as_ref().is_some_and(|unix| unix.role.is_some());
        if self.token_file.is_none() && self.access.loopback.is_none() && !by_socket {
            found.push(ConfigError::Closed);
        }
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
