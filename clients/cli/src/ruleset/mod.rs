//! `trisect ruleset …`: what needs no service.

mod examine;
mod junit;
mod source;
mod trial;

use crate::args::Ruleset;
use crate::ended::{Ended, Fault};
use crate::io::Io;

/// Carries out one of the rule set commands.
///
/// # Errors
/// Files that cannot be read, rule sets and cases with defects where sound ones are needed.
pub fn ruleset(json: bool, what: Ruleset, io: &mut Io<'_>) -> Result<Ended, Fault> {
    match what {
        Ruleset::Examine { files, prove } => examine::examine(json, &files, prove, io),
        Ruleset::Trial(what) => trial::trial(json, &what, io),
    }
}
