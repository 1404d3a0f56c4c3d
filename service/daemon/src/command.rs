//! What can be said on the command line.

use std::path::PathBuf;

use clap::{Args, Parser, Subcommand};
#[cfg(feature = "simulation")]
use trisect_practice::{demo::DemoOptions, practice::PracticeOptions};
use trisectd::config::Flags;

use crate::token_command::TokenCommand;

/// Version, commit and day of this build.
const BUILD: &str = concat!(env!("CARGO_PKG_VERSION"), " (", env!("BUILT_FROM"), ")");

/// Supply, controller or pump? A service that isolates the fault of a machine
/// with an electronically controlled distributor pump.
#[derive(Parser)]
#[command(name = "trisectd", version = BUILD)]
pub struct CommandLine {
    #[command(subcommand)]
    pub command: Command,
}

#[derive(Subcommand)]
pub enum Command {
    /// Serve the configured bays.
    Serve(Configuration),
    /// Diagnose a simulated machine in a simulated bay, step by step.
    #[cfg(feature = "simulation")]
    Demo(DemoOptions),
    /// A practice bay: the service with a simulated machine and its instruments, for whoever builds a front
    /// end. Runs until Ctrl-C.
    #[cfg(feature = "simulation")]
    Practice(PracticeOptions),
    /// Find every mistake of a configuration without starting anything.
    CheckConfig {
        #[command(flatten)]
        configuration: Configuration,
        /// Print every key with its meaning, default and unit instead, in Markdown.
        #[arg(long)]
        reference: bool,
    },
    /// Make, list and revoke access tokens.
    Token {
        #[command(subcommand)]
        what: TokenCommand,
        /// Configuration file that names the token file, where --file does not.
        #[arg(long, global = true, value_name = "FILE")]
        config: Option<PathBuf>,
    },
    /// Copy the journal into a new file; the service may be running.
    Backup {
        /// The copy.
        copy: PathBuf,
        #[command(flatten)]
        configuration: Configuration,
    },
    /// Put a copy in the journal's place; the service must not be running.
    Restore {
        /// The copy.
        copy: PathBuf,
        #[command(flatten)]
        configuration: Configuration,
    },
}

#[derive(Args)]
pub struct Configuration {
    /// Configuration file (TOML). The environment (TRISECT_LISTEN, ...) overrides
    /// it, flags override both.
    #[arg(long, value_name = "FILE")]
    pub config: Option<PathBuf>,
    /// Address and port to listen on.
    #[arg(long, value_name = "ADDRESS")]
    pub listen: Option<String>,
    /// The journal's database file.
    #[arg(long, value_name = "FILE")]
    pub journal: Option<PathBuf>,
    /// What to log, such as `info` or `trisect=debug`.
    #[arg(long, value_name = "FILTER")]
    pub log: Option<String>,
    /// What programs of this machine may do without a token: read, measure or manage.
    #[arg(long, value_name = "ROLE")]
    pub loopback: Option<String>,
}

impl From<Configuration> for Flags {
    fn from(said: Configuration) -> Flags {
        Flags {
            file: said.config,
            listen: said.listen,
            journal: said.journal,
            log: said.log,
            loopback: said.loopback,
        }
    }
}
