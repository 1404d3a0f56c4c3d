//! The audit trail, and what is removed when it is old.

use rusqlite::{Connection, OptionalExtension, Row, params};

use super::readable::readable;
use crate::{AuditFilter, AuditRow, JournalError, StoredAudit};

/// Runs of readings outside any job that one write removes: up to 10 000 events each.
const RUNS: usize = 4;

/// Writes rows of the trail.
pub(super) fn put(connection: &Connection, rows: &[AuditRow]) -> Result<(), JournalError> {
    let writing = JournalError::storage("write the audit trail");
    let put = "INSERT INTO audit (wall, until, count, who, peer, what, subject, outcome)
               VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)";
    let mut put = connection.prepare_cached(put).map_err(&writing)?;
    for row in rows {
        let count = i64::try_from(row.count).unwrap_or(i64::MAX);
        put.execute(params![
            row.wall,
            row.until,
            count,
            row.who,
            row.peer,
            row.what,
            row.subject,
            row.outcome
        ])
        .map_err(&writing)?;
    }
    Ok(())
}

/// Reads rows of the trail, newest first.
pub(super) fn read(
    connection: &Connection,
    filter: &AuditFilter,
    limit: usize,
) -> Result<Vec<StoredAudit>, JournalError> {
    let reading = JournalError::storage("read the audit trail");
    let find = "SELECT seq, wall, until, count, who, peer, what, subject, outcome FROM audit
                WHERE (?1 IS NULL OR who = ?1) AND (?2 IS NULL OR subject = ?2)
                  AND (?3 IS NULL OR seq < ?3) ORDER BY seq DESC LIMIT ?4";
    let mut find = connection.prepare_cached(find).map_err(&reading)?;
    let limit = i64::try_from(limit).unwrap_or(i64::MAX);
    let values = params![filter.who, filter.subject, filter.before, limit];
    let rows = find.query(values).map_err(&reading)?;
    let read = |row: &Row<'_>| {
        Ok(StoredAudit {
            seq: row.get(0)?,
            row: AuditRow {
                wall: row.get(1)?,
                until: row.get(2)?,
                count: row.get::<_, i64>(3)?.unsigned_abs(),
                who: row.get(4)?,
                peer: row.get(5)?,
                what: row.get(6)?,
                subject: row.get(7)?,
                outcome: row.get(8)?,
            },
        })
    };
    readable(rows, "an entry of the audit trail", read).map_err(&reading)
}

/// Removes readings outside any job and rows of the trail from before two wall times, some at a
/// time; how many. The newest run stays, so that no number is ever given twice.
pub(super) fn prune(
    connection: &Connection,
    outside: i64,
    audit: i64,
) -> Result<u64, JournalError> {
    let removing = JournalError::storage("remove what was kept long enough");
    let find = "SELECT first, last FROM stretch WHERE job IS NULL AND wall_to < ?1
                AND first < (SELECT max(first) FROM stretch) ORDER BY first LIMIT 1";
    let mut removed = 0;
    for _ in 0..RUNS {
        let mut find = connection.prepare_cached(find).map_err(&removing)?;
        let run = find.query_row(params![outside], |row| Ok((row.get(0)?, row.get(1)?)));
        let Some::<(i64, i64)>((first, last)) = run.optional().map_err(&removing)? else {
            break;
        };
        let events = "DELETE FROM event WHERE seq BETWEEN ?1 AND ?2";
        removed += connection
            .execute(events, params![first, last])
            .map_err(&removing)?;
        let run = "DELETE FROM stretch WHERE first = ?1";
        connection.execute(run, params![first]).map_err(&removing)?;
    }
    let trail =
        "DELETE FROM audit WHERE seq IN (SELECT seq FROM audit WHERE until < ?1 LIMIT 10000)";
    removed += connection
        .execute(trail, params![audit])
        .map_err(&removing)?;
    Ok(removed as u64)
}
