//! `trisect ruleset …`.

mod examine;
mod install;
mod junit;
mod output_files;
mod progress;
mod source;
mod survey;
mod trial;

use crate::args::Ruleset;
use crate::exit::{CliError, Ending};
use crate::io::Io;
use crate::server::Server;

/// Carries out one of the rule set commands.
///
/// # Errors
/// Files that cannot be read, rule sets and cases with defects where sound ones are needed; for those that
/// need the service, that it refused or could not be reached.
pub fn ruleset(
    server: &Server,
    json: bool,
    what: Ruleset,
    io: &mut Io<'_>,
) -> Result<Ending, CliError> {
    match what {
        Ruleset::Examine { files, prove } => examine::examine(json, &files, prove, io),
        Ruleset::Trial(what) => trial::trial(json, &what, io),
        Ruleset::Survey(what) => survey::survey(json, &what, io),
        Ruleset::List => install::list(server, json, io),
        Ruleset::Install { file, by } => install::install(server, json, &file, by, io),
    }
}
