//! `trisect audit`.

use crate::args::Audit;
use crate::exit::{CliError, Ending};
use crate::io::Io;
use crate::job::tell;
use crate::server::{Server, call};
use crate::show;
use trisect_wire::{table, types as wire};

/// Shows who did what.
///
/// # Errors
/// That the service refused or could not be reached, or the answer could not be written.
pub fn audit(
    server: &Server,
    json: bool,
    what: Audit,
    io: &mut Io<'_>,
) -> Result<Ending, CliError> {
    let params = wire::AuditListParams {
        who: what.who,
        subject: what.subject,
        before: None,
        limit: what.limit,
    };
    let trail = call::<table::AuditList>(server, &params)?;
    tell(json, &trail, |trail| listed(&trail.entries), io)
}

fn listed(entries: &[wire::AuditEntry]) -> String {
    let rows: Vec<_> = entries
        .iter()
        .map(|entry| {
            let count = if entry.count > 1 {
                format!("{} x{}", entry.what, entry.count)
            } else {
                entry.what.clone()
            };
            [
                entry.time.to_string(),
                entry.who.clone(),
                entry.peer.clone().unwrap_or_default(),
                count,
                entry.subject.clone().unwrap_or_default(),
                entry.outcome.clone(),
            ]
        })
        .collect();
    show::columns(["when", "who", "from", "what", "about", "outcome"], &rows)
}
