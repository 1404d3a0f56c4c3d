//! `trisect enter`.

use crate::args::Enter;
use crate::exit::{CliError, Ending};
use crate::io::Io;
use crate::job::tell;
use crate::server::{Server, call};
use crate::show;
use trisect_wire::{table, types as wire};

/// Enters a reading a person took.
///
/// # Errors
/// That the service refused or could not be reached, or the answer could not be written.
pub fn enter(
    server: &Server,
    json: bool,
    what: Enter,
    io: &mut Io<'_>,
) -> Result<Ending, CliError> {
    let reading = call::<table::ReadingEnter>(server, &what.into())?;
    tell(json, &reading, show::reading, io)
}

impl From<Enter> for wire::ReadingEnterParams {
    fn from(enter: Enter) -> Self {
        let Enter {
            bay,
            point,
            value,
            uncertainty,
            phase,
            by,
            instrument,
            key,
        } = enter;
        Self {
            bay,
            point,
            value,
            uncertainty,
            phase,
            by,
            instrument,
            key,
        }
    }
}
