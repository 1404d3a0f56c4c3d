//! `trisect ruleset list` and `install`: the rule sets of a service.

use super::source::read;
use crate::exit::{CliError, Ending};
use crate::io::Io;
use crate::job::tell;
use crate::server::{Server, call};
use std::fmt::Write;
use std::path::Path;
use trisect_wire::client::ClientError;
use trisect_wire::escape;
use trisect_wire::table;
use trisect_wire::types::{
    Defect, NoParams, RulesetInstallParams, RulesetInstalled, RulesetSummary, Rulesets,
};

/// Lists the rule sets of the service.
///
/// # Errors
/// That the service could not be reached, or the answer could not be written.
pub fn list(server: &Server, json: bool, io: &mut Io<'_>) -> Result<Ending, CliError> {
    let all = call::<table::RulesetList>(server, &NoParams {})?;
    let text = |all: &Rulesets| all.rulesets.iter().map(line).collect();
    tell(json, &all, text, io)
}

fn line(summary: &RulesetSummary) -> String {
    let set = &summary.ruleset;
    let mark = if summary.current { "*" } else { " " };
    let origin = summary.origin.map_or("", |origin| origin.word());
    let mut line = format!(
        "{mark} {}  {}  {}  {origin}",
        set.id, set.version, set.digest
    );
    if let Some(at) = &summary.installed {
        // Writing to a String cannot fail.
        let _ = write!(line, " {at}");
    }
    line + "\n"
}

/// Installs a rule set in the service.
///
/// # Errors
/// That the file cannot be read, the service refused it, or could not be reached. Every defect of a text
/// that was refused is told on standard error.
pub fn install(
    server: &Server,
    json: bool,
    file: &Path,
    by: Option<String>,
    io: &mut Io<'_>,
) -> Result<Ending, CliError> {
    let params = RulesetInstallParams {
        text: read(file)?,
        by,
    };
    let installed = match call::<table::RulesetInstall>(server, &params) {
        Ok(installed) => installed,
        Err(fault) => {
            if let CliError::Client(ClientError::Refused(refusal)) = &fault {
                io.warn(&listed(file, &refusal.defects))?;
            }
            return Err(fault);
        }
    };
    tell(json, &installed, |installed| text(file, installed), io)
}

fn text(file: &Path, installed: &RulesetInstalled) -> String {
    let set = &installed.ruleset;
    let mut text = listed(file, &installed.defects);
    let _ = writeln!(
        text,
        "installed {} {} ({})",
        set.id, set.version, set.digest
    );
    let _ = match &installed.before {
        Some(before) if *before == set.digest => writeln!(text, "new jobs used it already"),
        Some(before) => writeln!(text, "new jobs use it from now on, and no longer {before}"),
        None => writeln!(text, "new jobs can use it from now on"),
    };
    text
}

/// Defects as `file:line:column: …`, as `examine` tells them.
fn listed(file: &Path, defects: &[Defect]) -> String {
    let line = |d: &Defect| {
        let file = file.display();
        let (message, hint) = (escape(&d.message), escape(&d.hint));
        format!(
            "{file}:{}:{}: {}: {}: {message}; {hint}\n",
            d.line, d.column, d.severity, d.kind
        )
    };
    defects.iter().map(line).collect()
}
