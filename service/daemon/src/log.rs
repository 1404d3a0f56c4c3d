//! Logging to standard error, for people or programs.

use std::io::IsTerminal as _;

use tracing_subscriber::EnvFilter;

use crate::config::{ConfigError, LogFormat, LogSettings};

/// Starts logging for the whole process.
///
/// # Errors
/// A level that is none.
pub fn start(settings: &LogSettings) -> Result<(), ConfigError> {
    let filter = EnvFilter::try_new(&settings.level).map_err(|error| ConfigError::Value {
        key: "log.level".to_owned(),
        what: format!("{error}: write `info`, `debug`, or `trisectd=debug`"),
    })?;
    let builder = tracing_subscriber::fmt()
        .with_env_filter(filter)
        .with_writer(std::io::stderr)
        .with_ansi(std::io::stderr().is_terminal());
    // A second start in one process (tests) leaves the first in place.
    let _ = match settings.format {
        LogFormat::Text => builder.try_init(),
        LogFormat::Json => builder.json().try_init(),
    };
    Ok(())
}
