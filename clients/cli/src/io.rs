//! Standard input, output and error, passed in so that a test can stand in for them.

use crate::exit::CliError;
use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::Value;
use std::io::{Read, Write};
use trisect_wire::escape;

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

/// The same value with every text of it escaped: names and notes come from elsewhere, and a line end in one would
/// look like the next line of ours.
///
/// # Errors
/// [`CliError::Output`] for what does not travel as JSON, which everything does that came so.
pub fn plain<T: Serialize + DeserializeOwned>(value: &T) -> Result<T, CliError> {
    fn escaped(value: &mut Value) {
        match value {
            Value::String(text) => *text = escape(text).into_owned(),
            Value::Array(items) => items.iter_mut().for_each(escaped),
            Value::Object(members) => members.values_mut().for_each(escaped),
            Value::Null | Value::Bool(_) | Value::Number(_) => {}
        }
    }
    let mut shown = serde_json::to_value(value).map_err(|e| CliError::Output(e.into()))?;
    escaped(&mut shown);
    serde_json::from_value(shown).map_err(|e| CliError::Output(e.into()))
}

/// Whatever it is made of, a line does not steer the terminal.
fn write_plain(out: &mut dyn Write, text: &str) -> Result<(), CliError> {
    let lines = text.split('\n').map(escape);
    let plain = lines.collect::<Vec<_>>().join("\n");
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
        assert_eq!(String::from_utf8(out).unwrap(), "Unit \\u{1b}[2J14\n");
    }
}
