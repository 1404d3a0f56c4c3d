//! Logging to standard error, for people or programs.

use std::io::IsTerminal as _;
use std::sync::OnceLock;
use std::sync::atomic::{AtomicBool, Ordering};

use tracing_subscriber::field::MakeExt as _;
use tracing_subscriber::filter::{Targets, dynamic_filter_fn};
use tracing_subscriber::fmt::FormatFields;
use tracing_subscriber::fmt::format;
use tracing_subscriber::layer::SubscriberExt as _;
use tracing_subscriber::util::SubscriberInitExt as _;
use tracing_subscriber::{Layer, Registry, reload};
use trisect_wire::escape;

use crate::config::{ConfigError, LogFormat, LogSettings};

/// What is logged by this process, so that it can be changed while it runs.
static FILTER: OnceLock<reload::Handle<Targets, Registry>> = OnceLock::new();

/// Whether lines are for programs. There is a layer for each format, of which one is heard: a layer
/// that were exchanged would not know the spans that are open, whose fields the other one wrote.
static FOR_PROGRAMS: AtomicBool = AtomicBool::new(false);

/// Starts logging for the whole process.
///
/// # Errors
/// A level that is none.
pub fn start(settings: &LogSettings) -> Result<(), ConfigError> {
    let (filter, handle) = reload::Layer::new(filter(&settings.level)?);
    let text = tracing_subscriber::fmt::layer()
        .fmt_fields(for_people())
        .with_writer(std::io::stderr)
        .with_ansi(std::io::stderr().is_terminal())
        .with_filter(dynamic_filter_fn(|_, _| !for_programs()));
    let json = tracing_subscriber::fmt::layer()
        .json()
        .with_writer(std::io::stderr)
        .with_filter(dynamic_filter_fn(|_, _| for_programs()));
    // A second start in one process (tests) leaves the first in place.
    if Registry::default()
        .with(filter)
        .with(text)
        .with(json)
        .try_init()
        .is_ok()
    {
        set_format(settings.format);
        let _ = FILTER.set(handle);
    }
    Ok(())
}

/// Logs something else, or otherwise, from now on.
///
/// # Errors
/// A level that is none.
pub(crate) fn set(settings: &LogSettings) -> Result<(), ConfigError> {
    let filter = filter(&settings.level)?;
    if let Some(handle) = FILTER.get() {
        // Fails only once logging has ended.
        let _ = handle.reload(filter);
        set_format(settings.format);
    }
    Ok(())
}

/// How fields are written for people: what callers and instruments say stands in them, and must not look like lines of
/// the log or steer a terminal. In JSON they are escaped as it is.
fn for_people() -> impl for<'writer> FormatFields<'writer> + Send + Sync + 'static {
    format::debug_fn(|writer, field, value| {
        let text = format!("{value:?}");
        match field.name() {
            "message" => write!(writer, "{}", escape(&text)),
            name => write!(writer, "{name}={}", escape(&text)),
        }
    })
    .delimited(" ")
}

fn for_programs() -> bool {
    FOR_PROGRAMS.load(Ordering::Relaxed)
}

fn set_format(format: LogFormat) {
    FOR_PROGRAMS.store(format == LogFormat::Json, Ordering::Relaxed);
}

/// What to log, as it is written in the settings: levels by module, without patterns, which would bring three
/// crates of regular expressions into the build for a filter that nobody writes.
///
/// # Errors
/// A text that is no filter.
pub(crate) fn filter(level: &str) -> Result<Targets, ConfigError> {
    // The service is several crates, whose names begin alike.
    let level = level.replace("trisectd", "trisect");
    level.parse().map_err(|error| ConfigError::Value {
        key: "log.level".to_owned(),
        what: format!("{error}: write `info`, `debug`, or `trisect=debug`"),
    })
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use std::io;
    use std::sync::{Arc, Mutex};

    #[derive(Clone, Default)]
    struct Kept(Arc<Mutex<Vec<u8>>>);

    impl io::Write for Kept {
        fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
            self.0.lock().unwrap().extend_from_slice(bytes);
            Ok(bytes.len())
        }

        fn flush(&mut self) -> io::Result<()> {
            Ok(())
        }
    }

    #[test]
    fn a_text_of_others_stays_in_its_line() {
        let kept = Kept::default();
        let writer = kept.clone();
        let layer = tracing_subscriber::fmt::layer()
            .fmt_fields(for_people())
            .without_time()
            .with_ansi(false)
            .with_writer(move || writer.clone());
        let hostile = "Unit 14\n2026-11-24 ERROR all is lost\u{1b}[2J\u{202e}";
        tracing::subscriber::with_default(Registry::default().with(layer), || {
            let span = tracing::info_span!("job", machine = %hostile);
            span.in_scope(|| tracing::warn!(by = hostile, note = %hostile, "refused {hostile}"));
        });
        let text = String::from_utf8(kept.0.lock().unwrap().clone()).unwrap();
        assert_eq!(text.matches('\n').count(), 1, "{text}");
        assert!(!text.contains(['\u{1b}', '\u{202e}']), "{text}");
        let escaped = "Unit 14\\n2026-11-24 ERROR all is lost\\u{1b}[2J\\u{202e}";
        assert_eq!(text.matches(escaped).count(), 4, "{text}");
        assert!(text.contains(&format!("refused {escaped} by=")), "{text}");
    }
}
