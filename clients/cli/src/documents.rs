//! Completions for shells, and man pages: made from the command line as it is read.

use crate::args::{Command, Completions, Man};
use crate::exit::{CliError, Ending};
use crate::io::Io;
use clap::CommandFactory as _;

/// `trisect completions`.
pub fn completions(what: &Completions, io: &mut Io<'_>) -> Result<Ending, CliError> {
    let mut script = Vec::new();
    clap_complete::generate(what.shell, &mut Command::command(), "trisect", &mut script);
    io.say(&String::from_utf8_lossy(&script))?;
    Ok(Ending::AsWished)
}

/// `trisect man`: a page for the command, and one for each of its subjects.
pub fn man(what: &Man, io: &mut Io<'_>) -> Result<Ending, CliError> {
    clap_mangen::generate_to(Command::command(), &what.directory).map_err(|source| {
        CliError::File {
            what: "write",
            path: what.directory.display().to_string(),
            source,
        }
    })?;
    io.say(&format!("man pages are in {}\n", what.directory.display()))?;
    Ok(Ending::AsWished)
}
