//! What can be wrong with a configuration.

use std::net::SocketAddr;
use std::path::PathBuf;

/// A configuration that cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum ConfigError {
    /// The file cannot be read.
    #[error("cannot read the configuration file {}", path.display())]
    Read {
        /// Which file.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
    /// A key that is not known.
    #[error("unknown key `{key}` in the configuration{}", nearest.as_ref().map_or(String::new(), |n| format!(": did you mean `{n}`?")))]
    UnknownKey {
        /// The key.
        key: String,
        /// The nearest known one, if one is near.
        nearest: Option<String>,
    },
    /// A value that does not fit.
    #[error("`{key}` in the configuration: {what}")]
    Value {
        /// The key.
        key: String,
        /// What is wrong, and how to mend it.
        what: String,
    },
    /// The file is not TOML, or a value has the wrong type.
    #[error("the configuration cannot be read: {what}")]
    Unreadable {
        /// What the reader said.
        what: String,
    },
    /// Listening beyond loopback without tokens.
    #[error(
        "refusing to listen on {listen} without a token file: anyone on the network could \
         change jobs. Make one with `trisectd token add` and name it as `token_file`, or listen on \
         127.0.0.1"
    )]
    Exposed {
        /// The address.
        listen: SocketAddr,
    },
    /// Listening beyond loopback without TLS.
    #[error(
        "refusing to listen on {listen} without TLS: tokens would be there for the network to read. \
         Set that address up under [tls], or say `plain = true` under [access] where a proxy does TLS"
    )]
    Readable {
        /// The address.
        listen: SocketAddr,
    },
    /// Nobody could call.
    #[error(
        "nobody could call: name a `token_file` (trisectd token add makes one), or say who needs no \
         token: `loopback = \"manage\"` under [access], or `role` under [unix]"
    )]
    Closed,
    /// Several things at once.
    #[error("there are {} mistakes: {}", all.len(), all.iter().map(ToString::to_string).collect::<Vec<_>>().join("; "))]
    Several {
        /// All of them.
        all: Vec<super::Mistake>,
    },
}

impl ConfigError {
    /// Finds the unknown key in what the reader says, and the nearest known one.
    pub(super) fn of(error: config::ConfigError) -> ConfigError {
        let said = error.to_string();
        let mut quoted = said.split('`').skip(1).step_by(2);
        if said.contains("unknown field")
            && let Some(key) = quoted.next()
        {
            let known: Vec<&str> = quoted.collect();
            return ConfigError::UnknownKey {
                key: key.to_owned(),
                nearest: nearest(key, &known).map(str::to_owned),
            };
        }
        ConfigError::Unreadable { what: said }
    }
}

/// The nearest of `known`, if it is near enough to be what was meant.
pub(super) fn nearest<'a>(key: &str, known: &[&'a str]) -> Option<&'a str> {
    let scored = known.iter().map(|k| (strsim::jaro_winkler(key, k), *k));
    scored
        .filter(|(score, _)| *score > 0.7)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, k)| k)
}
