//! Standard input, output and error, passed in so that a test can stand in for them.

use crate::exit::CliError;
use serde::Serialize;
use std::io::{Read, Write};

/// The three streams of a command.
pub struct Io<'a> {
    /// Standard input.
    pub input: &'a mut dyn Read,
    out: &'a mut dyn Write,
    err: &'a mut dyn Write,
}

impl<'a> Io<'a> {
    /// Over these streams.
    pub fn new(input: &'a mut dyn Read, out: &'a mut dyn Write, err: &'a mut dyn Write) -> Self {
        Self { input, out, err }
    }

    /// Writes text for people, line ends as given.
    ///
    /// # Errors
    /// [`CliError::Output`].
    pub fn say(&mut self, text: &str) -> Result<(), CliError> {
        write_plain(self.out, text)
    }

    /// Writes a value as one line of JSON.
    ///
    /// # Errors
    /// [`CliError::Output`].
    pub fn json(&mut self, value: &impl Serialize) -> Result<(), CliError> {
        let mut line = serde_json::to_vec(value).map_err(|e| CliError::Output(e.into()))?;
        line.push(b'\n');
        self.out
            .write_all(&line)
            .and_then(|()| self.out.flush())
            .map_err(CliError::Output)
    }

    /// Writes text to standard error.
    ///
    /// # Errors
    /// [`CliError::Output`].
    pub fn warn(&mut self, text: &str) -> Result<(), CliError> {
        write_plain(self.err, text)
    }
}

/// Names and notes come from elsewhere: what would steer a terminal is shown as U+FFFD instead.
fn write_plain(out: &mut dyn Write, text: &str) -> Result<(), CliError> {
    let plain: String = text
        .chars()
        .map(|c| {
            if c.is_control() && c != '\n' {
                '\u{fffd}'
            } else {
                c
            }
        })
        .collect();
    out.write_all(plain.as_bytes())
        .and_then(|()| out.flush())
        .map_err(CliError::Output)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn a_name_does_not_steer_the_terminal() {
        let mut out = Vec::new();
        write_plain(&mut out, "Unit \u{1b}[2J14\n").unwrap();
        assert_eq!(String::from_utf8(out).unwrap(), "Unit \u{fffd}[2J14\n");
    }
}
