//! Logging to standard error, for people or programs.

use std::io::IsTerminal as _;
use std::sync::OnceLock;

use tracing_subscriber::layer::SubscriberExt as _;
use tracing_subscriber::util::SubscriberInitExt as _;
use tracing_subscriber::{EnvFilter, Layer, Registry, reload};

use crate::config::{ConfigError, LogFormat, LogSettings};

/// What is logged by this process, so that it can be changed while it runs.
static FILTER: OnceLock<reload::Handle<EnvFilter, Registry>> = OnceLock::new();

/// Starts logging for the whole process.
///
/// # Errors
/// A level that is none.
pub fn start(settings: &LogSettings) -> Result<(), ConfigError> {
    let (filter, handle) = reload::Layer::new(filter(&settings.level)?);
    let lines = tracing_subscriber::fmt::layer()
        .with_writer(std::io::stderr)
        .with_ansi(std::io::stderr().is_terminal());
    let lines = match settings.format {
        LogFormat::Text => lines.boxed(),
        LogFormat::Json => lines.json().boxed(),
    };
    // A second start in one process (tests) leaves the first in place.
    if Registry::default()
        .with(filter)
        .with(lines)
        .try_init()
        .is_ok()
    {
        let _ = FILTER.set(handle);
    }
    Ok(())
}

/// Logs something else from now on.
///
/// # Errors
/// A level that is none.
pub(crate) fn set_level(settings: &LogSettings) -> Result<(), ConfigError> {
    let filter = filter(&settings.level)?;
    if let Some(handle) = FILTER.get() {
        // Fails only once logging has ended.
        let _ = handle.reload(filter);
    }
    Ok(())
}

/// What to log, as it is written in the settings.
///
/// # Errors
/// A text that is no filter.
pub(crate) fn filter(level: &str) -> Result<EnvFilter, ConfigError> {
    EnvFilter::try_new(level).map_err(|error| ConfigError::Value {
        key: "log.level".to_owned(),
        what: format!("{error}: write `info`, `debug`, or `trisectd=debug`"),
    })
}
