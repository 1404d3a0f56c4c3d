//! The command line of the service.

use std::path::PathBuf;
use std::process::ExitCode;

use clap::{Args, Parser, Subcommand};
use tokio::signal::unix::{SignalKind, signal};
use trisectd::config::{self, Flags};
use trisectd::{Service, demo, log};

/// Supply, controller or pump? A service that isolates the fault of a machine
/// with an electronically controlled distributor pump.
#[derive(Parser)]
#[command(name = "trisectd", version)]
struct CommandLine {
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
    /// Serve the configured bays.
    Serve(Serve),
    /// Diagnose a simulated machine in a simulated bay, step by step.
    Demo(demo::Wishes),
}

#[derive(Args)]
struct Serve {
    /// Configuration file (TOML). The environment (TRISECT_LISTEN, ...) overrides
    /// it, flags override both.
    #[arg(long, value_name = "FILE")]
    config: Option<PathBuf>,
    /// Address and port to listen on.
    #[arg(long, value_name = "ADDRESS")]
    listen: Option<String>,
    /// The journal's database file.
    #[arg(long, value_name = "FILE")]
    journal: Option<PathBuf>,
    /// What to log, such as `info` or `trisectd=debug`.
    #[arg(long, value_name = "FILTER")]
    log: Option<String>,
}

/// Exit codes: 0 ended as wished, 1 it failed on the way, 2 the request was wrong.
const FAILED: u8 = 1;
const WRONG: u8 = 2;

fn main() -> ExitCode {
    let command = CommandLine::parse().command;
    // Two threads: one for the bays, one for the rest; a bay has few clients.
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build();
    let runtime = match runtime {
        Ok(runtime) => runtime,
        Err(error) => return complain("cannot start", &error, FAILED),
    };
    runtime.block_on(async {
        match command {
            Command::Serve(serve) => run(serve).await,
            Command::Demo(wishes) => match demo::run(wishes).await {
                Ok(()) => ExitCode::SUCCESS,
                Err(error) => {
                    let code = if error.is_wish() { WRONG } else { FAILED };
                    complain("the demo ended early", &error, code)
                }
            },
        }
    })
}

async fn run(serve: Serve) -> ExitCode {
    let flags = Flags {
        file: serve.config,
        listen: serve.listen,
        journal: serve.journal,
        log: serve.log,
    };
    let settings = match config::load(&flags) {
        Ok(settings) => settings,
        Err(error) => return complain("the configuration is refused", &error, WRONG),
    };
    if let Err(error) = log::start(&settings.log) {
        return complain("the configuration is refused", &error, WRONG);
    }
    let (interrupt, terminate) = match (
        signal(SignalKind::interrupt()),
        signal(SignalKind::terminate()),
    ) {
        (Ok(interrupt), Ok(terminate)) => (interrupt, terminate),
        (Err(error), _) | (_, Err(error)) => return complain("cannot start", &error, FAILED),
    };
    match Service::start(settings).await {
        Ok(service) => until_told(service, interrupt, terminate).await,
        Err(error) => complain("cannot start", &error, FAILED),
    }
}

async fn until_told(
    mut service: Service,
    mut interrupt: tokio::signal::unix::Signal,
    mut terminate: tokio::signal::unix::Signal,
) -> ExitCode {
    // The first line on standard output tells a program that started us where to call.
    println!(
        "listening on http://{}{}",
        service.address(),
        trisect_api::RPC_PATH
    );
    tokio::select! {
        _ = interrupt.recv() => {}
        _ = terminate.recv() => {}
        ended = service.ended() => {
            let code = match ended {
                Ok(()) => ExitCode::from(FAILED),
                Err(error) => complain("the service failed", &error, FAILED),
            };
            service.stop().await;
            return code;
        }
    }
    service.stop().await;
    ExitCode::SUCCESS
}

/// Says what is wrong, and what was behind it.
fn complain(what: &str, error: &dyn std::error::Error, code: u8) -> ExitCode {
    eprintln!("trisectd: {what}: {error}");
    let mut cause = error.source();
    while let Some(behind) = cause {
        eprintln!("  because: {behind}");
        cause = behind.source();
    }
    ExitCode::from(code)
}
