//! Settings: a TOML file, then the environment, then flags, each overriding
//! what came before.

mod access;
pub mod check;
mod error;
mod origin;
mod reference;
mod settings;
mod span;
mod structure;

pub use access::{
    AccessSettings, KeepSettings, LimitSettings, TlsSettings, TraceSettings, UnixSettings,
};
pub use error::ConfigError;
pub use origin::origin;
pub use reference::reference;
pub use settings::{
    AttachSettings, BarometerSettings, BaySettings, InstrumentSettings, LogFormat, LogSettings,
    Settings,
};
pub use span::Span;
pub use structure::Mistake;
pub use trisect_bay::instruments::PluginSettings;
pub use trisect_webhooks::WebhookSettings;

use std::path::{Path, PathBuf};

use trisect_kit::read_text;

use config::{Config, Environment, File, FileFormat};

/// What the command line says over file and environment.
#[derive(Clone, Debug, Default)]
pub struct Flags {
    /// The configuration file.
    pub file: Option<PathBuf>,
    /// Where to listen.
    pub listen: Option<String>,
    /// Where the journal is kept.
    pub journal: Option<PathBuf>,
    /// What to log.
    pub log: Option<String>,
    /// What programs of this machine may do without a token.
    pub loopback: Option<String>,
}

/// Reads the settings from all three sources.
///
/// # Errors
/// A file that cannot be read, a key that is not known (with the nearest one
/// that is), or a value that does not fit.
pub fn load(flags: &Flags) -> Result<Settings, ConfigError> {
    let settings = unchecked(flags)?;
    settings.check()?;
    Ok(settings)
}

fn unchecked(flags: &Flags) -> Result<Settings, ConfigError> {
    let file = flags.file.as_deref().map(read).transpose()?;
    // The command-line client's own variables are no settings of the service.
    let client = ["TRISECT_SERVER", "TRISECT_TOKEN", "TRISECT_CA"];
    let variables = std::env::vars_os().filter(|(key, _)| client.iter().all(|one| key != one));
    let text = |text: std::ffi::OsString| text.to_string_lossy().into_owned();
    let variables = variables
        .map(|(key, value)| (text(key), text(value)))
        .collect();
    let environment = Environment::with_prefix("TRISECT").source(Some(variables));
    from_sources(flags, file, environment)
}

/// The token file that the settings name, whatever else is wrong with them.
///
/// # Errors
/// Settings that cannot be read, or name none.
pub fn token_file(flags: &Flags) -> Result<PathBuf, ConfigError> {
    unchecked(flags)?
        .token_file
        .ok_or_else(|| ConfigError::Value {
            key: "token_file".to_owned(),
            what: "it is not set: name it in the configuration (--config), or with --file"
                .to_owned(),
        })
}

/// The journal that the settings name, whatever else is wrong with them.
///
/// # Errors
/// Settings that cannot be read.
pub fn journal(flags: &Flags) -> Result<PathBuf, ConfigError> {
    Ok(unchecked(flags)?.journal)
}

/// The longest configuration that is read.
pub(crate) const LONGEST_FILE: u64 = 4 << 20;

fn read(path: &Path) -> Result<String, ConfigError> {
    read_text(path, LONGEST_FILE).map_err(|source| ConfigError::Read {
        path: path.to_owned(),
        source,
    })
}

fn from_sources(
    flags: &Flags,
    file: Option<String>,
    environment: Environment,
) -> Result<Settings, ConfigError> {
    // `TRISECT_LOG__LEVEL` is `log.level`: one underscore stays part of a name.
    let environment = environment
        .prefix_separator("_")
        .separator("__")
        .ignore_empty(true);
    let mut builder = Config::builder();
    if let Some(text) = &file {
        builder = builder.add_source(File::from_str(text, FileFormat::Toml));
    }
    builder = builder.add_source(environment);
    let path = |path: &PathBuf| path.to_string_lossy().into_owned();
    for (key, value) in [
        ("listen", flags.listen.clone()),
        ("journal", flags.journal.as_ref().map(path)),
        ("log.level", flags.log.clone()),
        ("access.loopback", flags.loopback.clone()),
    ] {
        builder = builder
            .set_override_option(key, value)
            .map_err(ConfigError::of)?;
    }
    let merged = builder.build().map_err(ConfigError::of)?;
    merged.try_deserialize().map_err(ConfigError::of)
}

#[cfg(test)]
mod tests;
