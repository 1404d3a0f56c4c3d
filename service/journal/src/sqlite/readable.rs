//! Lists of rows: one that cannot be read is left out and named in the log, and does not take the others with it.
//! `job.verify` says what is wrong with a job.

use rusqlite::types::ValueRef;
use rusqlite::{Row, Rows};

use crate::JournalError;

/// The rows that can be read; `what` is what one of them is, and its first column names it.
pub(super) fn readable<T>(
    mut rows: Rows<'_>,
    what: &'static str,
    read: impl Fn(&Row<'_>) -> rusqlite::Result<T>,
) -> rusqlite::Result<Vec<T>> {
    let mut list = Vec::new();
    while let Some(row) = rows.next()? {
        match read(row) {
            Ok(item) => list.push(item),
            Err(error) if is_of_the_file(&error) => return Err(error),
            Err(error) => tracing::error!(
                what,
                name = name(row),
                %error,
                "left out a row of the journal that cannot be read"
            ),
        }
    }
    Ok(list)
}

/// An event that could be read; `None` for one that is left out.
pub(super) fn event<T>(read: Result<T, JournalError>) -> Result<Option<T>, JournalError> {
    match read {
        Ok(event) => Ok(Some(event)),
        Err(JournalError::Storage { source, .. }) if !is_of_the_file(&source) => {
            tracing::error!(error = %source, "left out an event of the journal that cannot be read");
            Ok(None)
        }
        Err(error @ JournalError::UnreadableRow { .. }) => {
            tracing::error!(%error, "left out an event of the journal that cannot be read");
            Ok(None)
        }
        Err(error) => Err(error),
    }
}

/// Whether an error is one of the file rather than of what a row says.
fn is_of_the_file(error: &rusqlite::Error) -> bool {
    error.sqlite_error_code().is_some()
}

fn name(row: &Row<'_>) -> String {
    match row.get_ref(0) {
        Ok(ValueRef::Integer(number)) => number.to_string(),
        Ok(ValueRef::Text(text)) => String::from_utf8_lossy(text).into_owned(),
        _ => "unknown".to_owned(),
    }
}
