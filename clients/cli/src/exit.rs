//! How a command ends.

use trisect_wire::client::ClientError;

/// A command that was carried out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ending {
    /// As wished: exit code 0.
    AsWished,
    /// Cases or rules fell short: exit code 1.
    FellShort,
}

/// A command that was not, or not to its end: exit code 2.
#[derive(Debug, thiserror::Error)]
pub enum CliError {
    /// The service refused, or could not be reached.
    #[error(transparent)]
    Client(#[from] ClientError),
    /// What was asked for cannot be done; the text says what to do.
    #[error("{0}")]
    Wrong(String),
    /// A file could not be read or written.
    #[error("cannot {what} {path}: {source}")]
    File {
        /// What was tried: `read`, `write`.
        what: &'static str,
        /// The file.
        path: String,
        /// Why not.
        #[source]
        source: std::io::Error,
    },
    /// Standard input could not be read.
    #[error("cannot read standard input: {0}")]
    Input(#[source] std::io::Error),
    /// Standard output or error could not be written.
    #[error("cannot write the answer: {0}")]
    Output(#[source] std::io::Error),
}

impl CliError {
    /// Whether the reader of the answer has simply gone, as `head` does.
    pub fn reader_left(&self) -> bool {
        matches!(self, Self::Output(error) if error.kind() == std::io::ErrorKind::BrokenPipe)
    }
}
