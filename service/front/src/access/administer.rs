//! Tokens made, listed and revoked, in the token file.

use std::fmt::Write as _;
use std::path::Path;

use jiff::Timestamp;
use trisect_wire::Role;

use super::token::{self, Token};
use super::token_file::{self, Entry, TokenFileError};

/// Makes a token and writes its hash into the file; the token, which is shown once.
///
/// # Errors
/// A file that cannot be used, or a name that is none or is taken.
pub fn add(
    path: &Path,
    name: &str,
    role: Role,
    rate: Option<f64>,
) -> Result<String, TokenFileError> {
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
        token_file::read(path)?
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
    token_file::write(path, tokens)?;
    Ok(format!("{}\n", token.reveal()))
}

/// Takes a token out of the file; what was done, in words.
///
/// # Errors
/// A file that cannot be used, or a name that is not there.
pub fn revoke(path: &Path, name: &str) -> Result<String, TokenFileError> {
    let mut tokens = token_file::read(path)?;
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
    token_file::write(path, tokens)?;
    Ok(format!("revoked {name}\n"))
}

/// The tokens of the file, a line each, without what only their holders know.
///
/// # Errors
/// A file that cannot be used.
pub fn list(path: &Path) -> Result<String, TokenFileError> {
    let tokens = token_file::read(path)?;
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
    Ok(text)
}
