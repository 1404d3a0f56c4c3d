//! The `trisect` command: watch, enter and answer over a service's JSON-RPC; examine and try rule sets,
//! and decode instrument bytes, without one.
//!
//! Exit codes: 0 as wished, 1 cases or rules fell short, 2 the request was wrong or could not be carried
//! out; what went wrong, and what to do, on standard error.

mod adapter;
mod args;
mod audit;
mod bay;
mod connect;
mod decode;
mod documents;
mod exit;
mod hex;
mod io;
mod job;
mod reading;
mod ruleset;
mod run;
mod server;
mod show;
mod watch;

#[cfg(test)]
mod service_test;

use clap::Parser;

fn main() -> std::process::ExitCode {
    // clap itself ends a command line it cannot read with 2, and its help with 0.
    let command = args::Command::parse();
    let (mut input, mut out, mut err) = (std::io::stdin(), std::io::stdout(), std::io::stderr());
    let mut io = io::Io::new(&mut input, &mut out, &mut err);
    run::run(command, &mut io)
}
