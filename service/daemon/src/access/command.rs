//! `trisectd token add|list|revoke`.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use clap::Subcommand;
use jiff::Timestamp;
use trisect_api::Role;

use super::file::{self, Entry, TokenFileError};
use super::token::{self, Token};

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
            } => add(path, name, *role, *calls_per_second),
            TokenCommand::List { .. } => Ok(listed(&file::read(path)?)),
            TokenCommand::Revoke { name, .. } => revoke(path, name),
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

fn add(path: &Path, name: &str, role: Role, rate: Option<f64>) -> Result<String, TokenFileError> {
    let plain = |c: char| c.is_ascii_alphanumeric() || "-_.@".contains(c);
    if name.is_empty() || name.len() > 100 || !name.chars().all(plain) {
        return Err(TokenFileError::Name {
            what: format!("`{name}` is no name: use letters, digits, and - _ . @"),
        });
    }
    if rate.is_some_and(|rate| rate <= 0.0 || rate.is_nan()) {
        return Err(TokenFileError::Name {
            what: "a token that may not call is none: give a rate above 0".to_owned(),
        });
    }
    let mut tokens = if path.exists() {
        file::read(path)?
    } else {
        Vec::new()
    };
    if tokens.iter().any(|entry| entry.name == name) {
        return Err(TokenFileError::Name {
            what: format!(
                "there is a token `{name}` already: revoke it first, or give another name"
            ),
        });
    }
    let token = Token::random().map_err(|source| TokenFileError::Random { source })?;
    tokens.push(Entry {
        name: name.to_owned(),
        role,
        hash: token::written(&token.hash()),
        created: Timestamp::now().strftime("%Y-%m-%dT%H:%M:%SZ").to_string(),
        calls_per_second: rate,
    });
    file::write(path, tokens)?;
    Ok(format!("{}\n", token.reveal()))
}

fn revoke(path: &Path, name: &str) -> Result<String, TokenFileError> {
    let mut tokens = file::read(path)?;
    let before = tokens.len();
    tokens.retain(|entry| entry.name != name);
    if tokens.len() == before {
        let names: Vec<&str> = tokens.iter().map(|entry| entry.name.as_str()).collect();
        return Err(TokenFileError::Name {
            what: format!(
                "there is no token `{name}`; there are: {}",
                names.join(", ")
            ),
        });
    }
    file::write(path, tokens)?;
    Ok(format!("revoked {name}\n"))
}

fn listed(tokens: &[Entry]) -> String {
    let mut text = String::new();
    for entry in tokens {
        let rate = entry.calls_per_second;
        let rate = rate.map_or(String::new(), |rate| format!("  {rate} calls/s"));
        // Writing to a text cannot fail.
        let _ = writeln!(
            text,
            "{:<8} {}  {}{rate}",
            entry.role.to_string(),
            entry.created,
            entry.name
        );
    }
    text
}
