//! Runs of events of one bay and one job.
//!
//! An index of events by job, or by bay and time, would more than halve the
//! speed of appending; a stretch says for thousands of rows at once what they
//! all share.

use rusqlite::{Connection, OptionalExtension, Row, params};

/// Longest run, in events, so that a search by time stays narrow.
const LONGEST: i64 = 10_000;

/// One run, first and last event included.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Stretch {
    pub first: i64,
    pub last: i64,
    pub job: Option<i64>,
    pub bay: i64,
    pub wall_from: i64,
    pub wall_to: i64,
}

impl Stretch {
    /// Columns in the order [`Self::of`] reads them.
    pub(super) const COLUMNS: &'static str = "first, last, job, bay, wall_from, wall_to";

    /// Where the stretches of the job `?2` lie; everywhere, if that is none. Stretches of jobs that were
    /// open at the same time lie there as well.
    pub(super) const OF_JOB: &'static str = "first
         BETWEEN coalesce((SELECT job.first FROM job WHERE key = ?2), 0)
         AND coalesce((SELECT job.last FROM job WHERE key = ?2), 9223372036854775807)";

    /// Reads one from a row.
    pub(super) fn of(row: &Row<'_>) -> rusqlite::Result<Self> {
        Ok(Self {
            first: row.get(0)?,
            last: row.get(1)?,
            job: row.get(2)?,
            bay: row.get(3)?,
            wall_from: row.get(4)?,
            wall_to: row.get(5)?,
        })
    }

    /// The newest one.
    pub(super) fn newest(connection: &Connection) -> rusqlite::Result<Option<Self>> {
        let columns = Self::COLUMNS;
        let newest = format!("SELECT {columns} FROM stretch ORDER BY first DESC LIMIT 1");
        connection.query_row(&newest, [], Self::of).optional()
    }

    /// Takes a run that follows directly into this one, if it is of the same
    /// job and bay and this one does not get too long.
    pub(super) fn take_in(&mut self, next: &Self) -> bool {
        let fits = (self.job, self.bay, self.last + 1) == (next.job, next.bay, next.first)
            && next.last - self.first < LONGEST;
        if fits {
            self.last = next.last;
            // The wall clock may have been set back within the run, so neither end is the first or last row's.
            self.wall_from = self.wall_from.min(next.wall_from);
            self.wall_to = self.wall_to.max(next.wall_to);
        }
        fits
    }

    /// Stores it, or what it has become.
    pub(super) fn put(&self, connection: &Connection) -> rusqlite::Result<()> {
        let mut put = connection.prepare_cached(
            "INSERT INTO stretch (first, last, job, bay, wall_from, wall_to)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6)
             ON CONFLICT (first) DO UPDATE SET last = excluded.last,
                 wall_from = excluded.wall_from, wall_to = excluded.wall_to",
        )?;
        put.execute(params![
            self.first,
            self.last,
            self.job,
            self.bay,
            self.wall_from,
            self.wall_to
        ])?;
        Ok(())
    }
}
