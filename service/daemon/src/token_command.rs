//! `trisectd token add|list|revoke`.

use std::path::{Path, PathBuf};

use clap::Subcommand;
use trisect_front::access::{TokenFileError, administer};
use trisect_wire::Role;

/// What can be done with tokens. A running service follows the file within a second.
#[derive(Debug, Subcommand)]
pub enum TokenCommand {
    /// Make a token and show it, once.
    Add {
        /// Who or what will have it.
        name: String,
        /// What it may do: read, measure or manage.
        #[arg(long, value_parser = role)]
        role: Role,
        /// Calls a second; the configuration's if left out.
        #[arg(long, value_name = "NUMBER")]
        calls_per_second: Option<f64>,
        /// The token file.
        #[arg(long, value_name = "FILE")]
        file: Option<PathBuf>,
    },
    /// List the tokens, without what only their holders know.
    List {
        /// The token file.
        #[arg(long, value_name = "FILE")]
        file: Option<PathBuf>,
    },
    /// Make a token worth nothing; what goes on with it is ended.
    Revoke {
        /// Its name.
        name: String,
        /// The token file.
        #[arg(long, value_name = "FILE")]
        file: Option<PathBuf>,
    },
}

impl TokenCommand {
    /// The token file, where the command names one.
    pub fn file(&self) -> Option<&Path> {
        let (TokenCommand::Add { file, .. }
        | TokenCommand::List { file }
        | TokenCommand::Revoke { file, .. }) = self;
        file.as_deref()
    }

    /// Carries it out on a token file; what to print.
    ///
    /// # Errors
    /// A file that cannot be used, or a name that is taken or is not there.
    pub fn run(&self, path: &Path) -> Result<String, TokenFileError> {
        match self {
            TokenCommand::Add {
                name,
                role,
                calls_per_second,
                ..
            } => administer::add(path, name, *role, *calls_per_second),
            TokenCommand::List { .. } => administer::list(path),
            TokenCommand::Revoke { name, .. } => administer::revoke(path, name),
        }
    }
}

/// Reads a role's word.
fn role(text: &str) -> Result<Role, String> {
    [Role::Read, Role::Measure, Role::Manage]
        .into_iter()
        .find(|role| role.to_string() == text)
        .ok_or_else(|| format!("`{text}` is no role: read, measure or manage"))
}
