//! `trisectd demo` and `trisectd practice`: a service for a simulated machine. The service is the one that serves
//! a real bay; whoever simulates is its client, and gets nothing of it but its address.

use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use tempfile::TempDir;
use trisect_kit::Network;
use trisect_practice::PracticeError;
use trisect_practice::demo::{self, DemoOptions};
use trisect_practice::practice::{self, PracticeOptions};
use trisectd::config::{
    self, AccessSettings, AttachSettings, BaySettings, ConfigError, Flags, KeepSettings, LogFormat,
    LogSettings, Settings, Span,
};
use trisectd::observe::log;
use trisectd::{Service, StartError};

use crate::signals::Signals;
use crate::{FAILED, WRONG, complain};

/// Diagnoses a simulated machine, step by step.
pub async fn run_demo(options: DemoOptions) -> ExitCode {
    match diagnose(&options).await {
        Ok(last) => {
            println!("{last}");
            ExitCode::SUCCESS
        }
        Err(error) => {
            let code = if error.is_request() { WRONG } else { FAILED };
            complain("the demo ended early", &error, code)
        }
    }
}

/// Why there is no demo, or no practice bay, or no more.
#[derive(Debug, thiserror::Error)]
enum SimulatedError {
    #[error(transparent)]
    Practice(#[from] PracticeError),
    #[error(transparent)]
    Config(#[from] ConfigError),
    #[error("reading the origin `{origin}`: {what}")]
    Origin { origin: String, what: String },
    #[error("cannot make a directory for the journal")]
    Directory(#[source] std::io::Error),
    #[error(transparent)]
    Start(#[from] StartError),
    #[error(transparent)]
    Ended(#[from] trisect_front::TransportError),
}

impl SimulatedError {
    /// Whether what was asked for is at fault.
    fn is_request(&self) -> bool {
        match self {
            SimulatedError::Practice(error) => error.is_request(),
            SimulatedError::Config(_) | SimulatedError::Origin { .. } => true,
            SimulatedError::Directory(_) | SimulatedError::Start(_) | SimulatedError::Ended(_) => {
                false
            }
        }
    }
}

async fn diagnose(options: &DemoOptions) -> Result<String, SimulatedError> {
    demo::check(options)?;
    let directory = temporary("trisect-demo-")?;
    let kept = options.journal.clone();
    let journal = kept.unwrap_or_else(|| directory.path().join("demo.db"));
    let settings = demo_settings(&journal);
    log::start(&settings.log)?;
    let service = Service::start_at_speed(settings, options.speed).await?;
    let last = demo::run(options, service.address()).await;
    service.stop().await;
    throw_away(directory);
    Ok(last?)
}

fn demo_settings(journal: &Path) -> Settings {
    Settings {
        listen: SocketAddr::from(([127, 0, 0, 1], 0)),
        journal: journal.to_owned(),
        bays: vec![BaySettings {
            bay: demo::BAY.to_owned(),
            title: Some(demo::BAY_TITLE.to_owned()),
            ruleset: demo::RULESET.to_owned(),
            barometer: None,
            instruments: Vec::new(),
        }],
        log: LogSettings {
            level: "warn".to_owned(),
            format: LogFormat::Text,
        },
        keep: KeepSettings {
            // The machine is simulated: what it does between jobs is of no use.
            outside_jobs: Span::days(0),
            ..KeepSettings::default()
        },
        access: AccessSettings::here(),
        attach: simulated_lines(),
        ..Settings::default()
    }
}

/// Some of the simulated instruments listen on loopback.
fn simulated_lines() -> AttachSettings {
    AttachSettings {
        networks: vec![Network::Loopback],
        ..AttachSettings::default()
    }
}

/// A practice bay until Ctrl-C.
pub async fn run_practice(options: PracticeOptions) -> ExitCode {
    match serve_practice(options).await {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            let code = if error.is_request() { WRONG } else { FAILED };
            complain("no practice bay", &error, code)
        }
    }
}

async fn serve_practice(options: PracticeOptions) -> Result<(), SimulatedError> {
    let mut signals = Signals::new().map_err(SimulatedError::Directory)?;
    practice::check(&options)?;
    for origin in &options.origin {
        config::origin(origin).map_err(|what| SimulatedError::Origin {
            origin: origin.clone(),
            what,
        })?;
    }
    let directory = temporary("trisect-practice-")?;
    let mut settings = config::load(&practice_flags(&options, directory.path()))?;
    settings.origins.extend(options.origin.iter().cloned());
    settings.attach.networks.push(Network::Loopback);
    settings.check()?;
    log::start(&settings.log)?;
    let mut service = Service::start_at_speed(settings, options.speed).await?;
    let (address, tls) = (service.address(), service.tls_address());
    let outcome = tokio::select! {
        done = practice::run(&options, address, tls, signals.ended()) => done.map_err(SimulatedError::from),
        ended = service.ended() => ended.map_err(SimulatedError::from),
    };
    service.stop().await;
    throw_away(directory);
    outcome
}

/// The command line as flags of `serve`: without a configuration the service is for this machine alone, and
/// its journal is thrown away.
fn practice_flags(options: &PracticeOptions, directory: &Path) -> Flags {
    let alone = options.config.is_none();
    let thrown_away = || -> Option<PathBuf> { alone.then(|| directory.join("practice.db")) };
    Flags {
        file: options.config.clone(),
        listen: options.listen.clone(),
        journal: options.journal.clone().or_else(thrown_away),
        log: options
            .log
            .clone()
            .or_else(|| alone.then(|| "warn".to_owned())),
        loopback: alone.then(|| "manage".to_owned()),
    }
}

fn temporary(prefix: &str) -> Result<TempDir, SimulatedError> {
    TempDir::with_prefix(prefix).map_err(SimulatedError::Directory)
}

fn throw_away(directory: TempDir) {
    if let Err(error) = directory.close() {
        tracing::warn!(%error, "the directory of the journal could not be removed");
    }
}
