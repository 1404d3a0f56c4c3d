//! Carrying a command out.

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use trisectd::config::{self, ConfigError, Flags};
use trisectd::observe::log;
use trisectd::{Service, reload};

use crate::command::{Command, Configuration};
use crate::signals::Signals;
use crate::supervisor::Supervisor;
use crate::token_command::TokenCommand;
use crate::{FAILED, WRONG, complain};

/// Carries a command out; how the process ends.
pub async fn carry_out(command: Command) -> ExitCode {
    match command {
        Command::Serve(said) => serve(said.into()).await,
        #[cfg(feature = "simulation")]
        Command::Demo(options) => crate::simulated::run_demo(options).await,
        #[cfg(feature = "simulation")]
        Command::Practice(options) => crate::simulated::run_practice(options).await,
        Command::CheckConfig {
            reference: true, ..
        } => {
            print!("{}", config::reference());
            ExitCode::SUCCESS
        }
        Command::CheckConfig { configuration, .. } => check_config(&configuration.into()),
        Command::Token { what, config } => token(&what, config),
        Command::Backup {
            copy,
            configuration,
        } => with_journal(configuration, |journal| {
            let bytes = trisect_journal::backup(journal, &copy)?;
            Ok(format!("{}: {bytes} bytes, checked", copy.display()))
        }),
        Command::Restore {
            copy,
            configuration,
        } => with_journal(configuration, |journal| {
            let before = trisect_journal::restore(&copy, journal)?;
            let before = before.map_or(String::new(), |before| {
                format!("; what was there is {}", before.display())
            });
            Ok(format!(
                "{} is {} now{before}",
                journal.display(),
                copy.display()
            ))
        }),
    }
}

fn check_config(flags: &Flags) -> ExitCode {
    let found = config::check::mistakes(flags);
    let file = flags
        .file
        .as_deref()
        .map_or("the configuration".into(), Path::to_string_lossy);
    if found.is_empty() {
        println!("{file}: no mistakes");
        return ExitCode::SUCCESS;
    }
    for mistake in &found {
        println!("{file}: {mistake}");
    }
    ExitCode::from(FAILED)
}

fn token(what: &TokenCommand, config: Option<PathBuf>) -> ExitCode {
    let flags = Flags {
        file: config,
        ..Flags::default()
    };
    let file = match what.file() {
        Some(file) => Ok(file.to_owned()),
        None => config::token_file(&flags),
    };
    let done = match file {
        Ok(file) => what.run(&file),
        Err(error) => return complain("which token file?", &error, WRONG),
    };
    match done {
        Ok(text) => {
            print!("{text}");
            ExitCode::SUCCESS
        }
        Err(error) => complain("no", &error, WRONG),
    }
}

fn with_journal(
    said: Configuration,
    doing: impl FnOnce(&Path) -> Result<String, trisect_journal::JournalError>,
) -> ExitCode {
    let journal = match config::journal(&said.into()) {
        Ok(journal) => journal,
        Err(error) => return complain("which journal?", &error, WRONG),
    };
    match doing(&journal) {
        Ok(text) => {
            println!("{text}");
            ExitCode::SUCCESS
        }
        Err(error) => complain("nothing was changed", &error, FAILED),
    }
}

async fn serve(flags: Flags) -> ExitCode {
    let settings = match config::load(&flags) {
        Ok(settings) => settings,
        Err(error) => return complain("the configuration is refused", &error, WRONG),
    };
    if let Err(error) = log::start(&settings.log) {
        return complain("the configuration is refused", &error, WRONG);
    }
    raise_file_limit();
    let signals = match Signals::new() {
        Ok(signals) => signals,
        Err(error) => return complain("cannot start", &error, FAILED),
    };
    match Service::start(settings).await {
        Ok(service) => until_told(service, signals, &flags).await,
        Err(error) => complain("cannot start", &error, FAILED),
    }
}

/// Has as many file descriptors as the system grants: a connection is one, and the usual limit is
/// one for programs that use select(), which this one does not.
fn raise_file_limit() {
    use rustix::process::{Resource, getrlimit, setrlimit};
    let mut limit = getrlimit(Resource::Nofile);
    limit.current = limit.maximum;
    if let Err(error) = setrlimit(Resource::Nofile, limit) {
        tracing::warn!(%error, "the limit on open files stays as it is");
    }
}

async fn until_told(mut service: Service, mut signals: Signals, flags: &Flags) -> ExitCode {
    let supervisor = Supervisor::of_this_process();
    // The first line on standard output tells a program that started us where to call.
    println!(
        "listening on http://{}{}",
        service.address(),
        trisect_wire::RPC_PATH
    );
    if let Some(address) = service.tls_address() {
        println!("listening on https://{address}{}", trisect_wire::RPC_PATH);
    }
    supervisor.ready();
    loop {
        tokio::select! {
            _ = signals.interrupt.recv() => break,
            _ = signals.terminate.recv() => break,
            _ = signals.hang_up.recv() => {
                supervisor.reloading();
                take_up(&mut service, flags).await;
                supervisor.ready();
            }
            () = supervisor.due() => supervisor.well(&service).await,
            ended = service.ended() => {
                let code = match ended {
                    Ok(()) => ExitCode::from(FAILED),
                    Err(error) => complain("the service failed", &error, FAILED),
                };
                service.stop().await;
                return code;
            }
        }
    }
    supervisor.stopping();
    service.stop().await;
    ExitCode::SUCCESS
}

async fn take_up(service: &mut Service, flags: &Flags) {
    let mistakes = config::check::mistakes(flags);
    let outcome = match config::load(flags) {
        Ok(settings) if mistakes.is_empty() => service.reload(settings).await,
        Ok(_) => Err(ConfigError::Several { all: mistakes }.into()),
        Err(error) => Err(error.into()),
    };
    reload::told(flags.file.as_deref(), &outcome);
}
