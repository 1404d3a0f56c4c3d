//! The token file: TOML, one table a token, holding hashes alone.

use std::io::Write;
use std::os::unix::fs::{OpenOptionsExt, PermissionsExt};
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};
use trisect_wire::Role;

use super::token::{self, Hash};

/// The longest file that is read: thousands of tokens.
const LONGEST: u64 = 4 << 20;

/// What can be wrong with a token file.
#[derive(Debug, thiserror::Error)]
pub enum TokenFileError {
    /// It cannot be read or written.
    #[error("cannot {doing} the token file {path}; it must exist, and belong to whoever runs the service", path = path.display())]
    File {
        /// What was being done.
        doing: &'static str,
        /// The file.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
    /// Others than its owner and group may read or change it.
    #[error("the token file {path} may be read or changed by everyone: chmod o-rwx it", path = path.display())]
    Open {
        /// The file.
        path: PathBuf,
    },
    /// It is not what `trisectd token` writes.
    #[error("the token file {path} cannot be understood: {what}; make it with `trisectd token add`", path = path.display())]
    Content {
        /// The file.
        path: PathBuf,
        /// What is wrong.
        what: String,
    },
    /// A name that is taken, or is none.
    #[error("{what}")]
    Name {
        /// What is wrong, and what would be right.
        what: String,
    },
    /// The system gives no random bits.
    #[error("no token can be made: the system gives no random bits")]
    Random {
        /// What the system said.
        source: getrandom::Error,
    },
}

/// One token as the file has it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Entry {
    /// What it is called: who or what has it.
    pub name: String,
    /// What it may do.
    pub role: Role,
    /// `sha256:` and the digits of its hash.
    pub hash: String,
    /// When it was made, RFC 3339 in UTC.
    pub created: String,
    /// Calls a second; the configuration's where it is left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub calls_per_second: Option<f64>,
}

#[derive(Debug, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Content {
    #[serde(default, rename = "token")]
    tokens: Vec<Entry>,
}

/// Reads the tokens of a file.
///
/// # Errors
/// A file that cannot be read, is open to everyone, or is not a token file.
pub fn read(path: &Path) -> Result<Vec<Entry>, TokenFileError> {
    let reading = |source| TokenFileError::File {
        doing: "read",
        path: path.to_owned(),
        source,
    };
    let found = std::fs::metadata(path).map_err(reading)?;
    // A pipe would be waited for, by every caller.
    if !found.is_file() || found.len() > LONGEST {
        let why = std::io::Error::other("it is no regular file, or far too long");
        return Err(reading(why));
    }
    let mode = found.permissions().mode();
    if mode & 0o007 != 0 {
        return Err(TokenFileError::Open {
            path: path.to_owned(),
        });
    }
    let text = std::fs::read_to_string(path).map_err(reading)?;
    let content = |what: String| TokenFileError::Content {
        path: path.to_owned(),
        what,
    };
    let read: Content = toml::from_str(&text).map_err(|error| content(error.to_string()))?;
    let mut names = std::collections::BTreeSet::new();
    for entry in &read.tokens {
        if !names.insert(&entry.name) {
            return Err(content(format!("the name `{}` is there twice", entry.name)));
        }
        if hash_of(entry).is_none() {
            return Err(content(format!("the hash of `{}` is none", entry.name)));
        }
        if entry
            .calls_per_second
            .is_some_and(|rate| rate <= 0.0 || rate.is_nan())
        {
            return Err(content(format!(
                "the rate of `{}` is not above 0",
                entry.name
            )));
        }
    }
    Ok(read.tokens)
}

/// The hash of an entry.
pub(super) fn hash_of(entry: &Entry) -> Option<Hash> {
    token::read_hash(&entry.hash)
}

/// Writes the tokens: a new file in the old one's place, so that whoever reads
/// sees the one or the other.
pub(super) fn write(path: &Path, tokens: Vec<Entry>) -> Result<(), TokenFileError> {
    let writing = |source| TokenFileError::File {
        doing: "write",
        path: path.to_owned(),
        source,
    };
    let text = toml::to_string(&Content { tokens }).map_err(|error| TokenFileError::Content {
        path: path.to_owned(),
        what: error.to_string(),
    })?;
    let mut name = path.as_os_str().to_owned();
    name.push(".new");
    let new = PathBuf::from(name);
    let mut options = std::fs::OpenOptions::new();
    // From the first byte on: a file that is made and then closed to others was open in between.
    options.write(true).create(true).truncate(true).mode(0o600);
    let mut file = options.open(&new).map_err(writing)?;
    // Who may read the old one may read the new one.
    if let Ok(old) = std::fs::metadata(path) {
        use std::os::unix::fs::MetadataExt;
        file.set_permissions(old.permissions()).map_err(writing)?;
        // Only root may give a file away; nobody else needs to.
        let _ = std::os::unix::fs::chown(&new, Some(old.uid()), Some(old.gid()));
    }
    file.write_all(text.as_bytes()).map_err(writing)?;
    // Before the rename: after a loss of power the new name could otherwise stand for an empty file, and nobody be let in.
    file.sync_all().map_err(writing)?;
    std::fs::rename(&new, path).map_err(writing)
}
