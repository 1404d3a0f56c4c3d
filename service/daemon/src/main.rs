//! The command line of the service.

mod command;
mod run;
mod signals;
#[cfg(feature = "simulation")]
mod simulated;
mod supervisor;
mod token_command;

use std::process::ExitCode;

use clap::Parser;

/// Exit codes: 0 ended as wished, 1 it failed on the way, 2 the request was wrong.
const FAILED: u8 = 1;
const WRONG: u8 = 2;

fn main() -> ExitCode {
    let line = command::CommandLine::parse();
    // Two threads: one for the bays, one for the rest; a bay has few clients.
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(workers())
        .enable_all()
        .build();
    match runtime {
        Ok(runtime) => runtime.block_on(run::carry_out(line.command)),
        Err(error) => complain("cannot start", &error, FAILED),
    }
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

/// Two threads carry a shop; where there is one processor, a second would only pass work to and fro.
fn workers() -> usize {
    std::thread::available_parallelism().map_or(1, |processors| processors.get().min(2))
}
