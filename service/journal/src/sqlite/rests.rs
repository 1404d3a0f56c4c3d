//! What a job rests on besides its events: its rule set's text, and where and when its stretches lie.
//!
//! The rule set is bound by its digest, which the job's chain begins with. A stretch repeats what the job and the
//! events say, so it is held against them.

use rusqlite::{Connection, OptionalExtension, params};
use sha2::{Digest, Sha256};

use super::stretch::Stretch;
use crate::{JournalError, NewJob};

/// What of it was altered, each thing with its row.
pub(super) fn altered(
    connection: &Connection,
    key: i64,
    job: &NewJob,
) -> Result<Vec<String>, JournalError> {
    let reading = JournalError::storage("read what a job rests on");
    let mut found = Vec::new();
    let text = "SELECT text FROM rule_set WHERE digest = ?1";
    let text = connection.query_row(text, params![job.rule_set], |row| row.get(0));
    let text: Option<String> = text.optional().map_err(&reading)?;
    match text {
        None => found.push(format!("its rule set {} is missing", job.rule_set)),
        Some(text) if !is_of(&job.rule_set, &text) => found.push(format!(
            "the text of its rule set {} is not the one that was stored",
            job.rule_set
        )),
        Some(_) => {}
    }
    stretches(connection, key, job, &mut found).map_err(&reading)?;
    Ok(found)
}

/// Whether a text has a digest. One that is written otherwise says nothing of a text.
pub(super) fn is_of(digest: &str, text: &str) -> bool {
    let Some(hex) = digest.strip_prefix("sha256:").filter(|hex| hex.len() == 64) else {
        return true;
    };
    let own = Sha256::digest(text.as_bytes());
    let own: String = own.iter().map(|byte| format!("{byte:02x}")).collect();
    own == hex
}

fn stretches(
    connection: &Connection,
    key: i64,
    job: &NewJob,
    found: &mut Vec<String>,
) -> rusqlite::Result<()> {
    let list = format!(
        "SELECT first, last, (SELECT text FROM word WHERE id = stretch.bay), wall_from, wall_to,
             (SELECT min(wall) FROM event WHERE seq BETWEEN stretch.first AND stretch.last),
             (SELECT max(wall) FROM event WHERE seq BETWEEN stretch.first AND stretch.last)
         FROM stretch WHERE job = ?2 AND {} AND first > ?1 ORDER BY first",
        Stretch::OF_JOB
    );
    let mut list = connection.prepare_cached(&list)?;
    let mut rows = list.query(params![0, key])?;
    while let Some(row) = rows.next()? {
        let (first, last): (i64, i64) = (row.get(0)?, row.get(1)?);
        let bay: Option<String> = row.get(2)?;
        if bay.as_deref() != Some(&*job.bay) {
            found.push(format!(
                "the bay of events {first} to {last} is not that of the job"
            ));
        }
        let said: (i64, i64) = (row.get(3)?, row.get(4)?);
        let are: (Option<i64>, Option<i64>) = (row.get(5)?, row.get(6)?);
        if (Some(said.0), Some(said.1)) != are {
            found.push(format!(
                "the times of events {first} to {last} are not theirs"
            ));
        }
    }
    Ok(())
}
