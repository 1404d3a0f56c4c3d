//! One read each.

use std::sync::Arc;

use rusqlite::{Connection, OptionalExtension, Row, ToSql, params};

use super::readable::{self, readable};
use super::reader::Wanted;
use super::stretch::Stretch;
use super::words::{self, Texts};
use super::{chain, columns, trail};
use crate::{
    Appended, AuditFilter, CalibrationText, Installed, Job, JobFilter, JobState, JournalError,
    NewJob, Outside, ReadingFilter, RuleSetText, StoredAudit, StoredEvent, SubmissionKey,
    VerdictRow, Verified,
};

/// Most rows of one page, whatever was asked for: one more than is told of at once, which says whether
/// there are more.
const LONGEST_PAGE: usize = 10_001;

pub(super) const JOB_COLUMNS: &str = "id, bay, machine, complaint, rule_set, opened_at, opened_by, \
     closed_at, confirmed, note";

/// The events of a run, of one kind, subject and time where these are given.
pub(super) const EVENTS: &str = "SELECT seq, at, wall, kind, subject, object, bound, value, uncertainty, \
     flags, entered, instrument, channel, by, calibration, latency, barometer FROM event \
     WHERE seq BETWEEN ?1 AND ?2 AND (?3 IS NULL OR kind = ?3) \
     AND (?4 IS NULL OR subject = ?4) AND (?5 IS NULL OR wall >= ?5) \
     AND (?6 IS NULL OR wall < ?6) ORDER BY seq";

/// The readings of a run outside any job, whose subject fits a pattern.
const OUTSIDE: &str = "SELECT seq, at, wall, kind, subject, object, bound, value, uncertainty, \
     flags, entered, instrument, channel, by, calibration, latency, barometer FROM event \
     WHERE seq BETWEEN ?1 AND ?2 AND kind = ?3 \
     AND subject IN (SELECT id FROM word WHERE text GLOB ?4) \
     AND (?5 IS NULL OR wall >= ?5) AND (?6 IS NULL OR wall < ?6) ORDER BY seq";

/// A reading connection.
#[derive(Debug)]
pub(super) struct Reader {
    connection: Connection,
    texts: Texts,
}

/// Which events of a run are wanted.
#[derive(Default)]
struct Within {
    after: i64,
    readings_only: bool,
    point: Option<i64>,
    from: Option<i64>,
    until: Option<i64>,
    /// Of which subjects, outside any job.
    outside: Option<String>,
}

impl Reader {
    pub(super) fn new(connection: Connection) -> Self {
        Self {
            connection,
            texts: Texts::default(),
        }
    }

    pub(super) fn connection(&self) -> &Connection {
        &self.connection
    }

    pub(super) fn rule_set(&self, digest: &str) -> Result<Option<RuleSetText>, JournalError> {
        let find = "SELECT digest, id, version, text FROM rule_set WHERE digest = ?1";
        let found = self.connection.query_row(find, params![digest], |row| {
            Ok(RuleSetText {
                digest: row.get(0)?,
                id: row.get(1)?,
                version: row.get(2)?,
                text: row.get(3)?,
            })
        });
        found
            .optional()
            .map_err(JournalError::storage("read a rule set"))
    }

    pub(super) fn calibration(&self, id: &str) -> Result<Option<CalibrationText>, JournalError> {
        let find = "SELECT id, record FROM calibration WHERE id = ?1";
        let found = self.connection.query_row(find, params![id], |row| {
            Ok(CalibrationText {
                id: row.get(0)?,
                record: row.get(1)?,
            })
        });
        found
            .optional()
            .map_err(JournalError::storage("read a calibration"))
    }

    pub(super) fn installed(&self) -> Result<Vec<Installed>, JournalError> {
        let reading = JournalError::storage("list the installed rule sets");
        let list = "SELECT digest, id, version, text, wall, by FROM installed
                    JOIN rule_set USING (digest) ORDER BY place";
        let mut list = self.connection.prepare_cached(list).map_err(&reading)?;
        let found = list.query([]).map_err(&reading)?;
        let read = |row: &Row<'_>| {
            Ok(Installed {
                rule_set: RuleSetText {
                    digest: row.get(0)?,
                    id: row.get(1)?,
                    version: row.get(2)?,
                    text: row.get(3)?,
                },
                at: row.get(4)?,
                by: row.get(5)?,
            })
        };
        readable(found, "an installed rule set", read).map_err(&reading)
    }

    pub(super) fn job(&self, id: &str) -> Result<Option<Job>, JournalError> {
        let find = format!("SELECT {JOB_COLUMNS} FROM job WHERE id = ?1");
        let found = self.connection.query_row(&find, params![id], job);
        found
            .optional()
            .map_err(JournalError::storage("read a job"))
    }

    pub(super) fn jobs(&self, filter: &JobFilter, limit: usize) -> Result<Vec<Job>, JournalError> {
        let reading = JournalError::storage("list jobs");
        let list = format!(
            "SELECT {JOB_COLUMNS} FROM job
             WHERE (?1 IS NULL OR bay = ?1) AND (?2 IS NULL OR machine = ?2)
               AND (?3 IS NULL OR (closed_at IS NULL) = ?3)
               AND (?4 IS NULL OR key < (SELECT key FROM job WHERE id = ?4))
             ORDER BY key DESC LIMIT ?5"
        );
        let mut list = self.connection.prepare_cached(&list).map_err(&reading)?;
        let open = filter.state.map(|state| state == JobState::Open);
        let limit = i64::try_from(limit.min(LONGEST_PAGE)).unwrap_or(i64::MAX);
        let values = params![filter.bay, filter.machine, open, filter.before, limit];
        let jobs = list.query(values).map_err(&reading)?;
        readable(jobs, "a job", job).map_err(&reading)
    }

    pub(super) fn verdict(&self, job: &str) -> Result<Option<VerdictRow>, JournalError> {
        let reading = JournalError::storage("read a verdict");
        let key = self.key(job)?;
        let find = "SELECT NULL, verdict FROM job WHERE key = ?1 AND closed_at IS NOT NULL
                    UNION ALL
                    SELECT * FROM (SELECT seq, bytes FROM verdict WHERE job = ?1
                                   ORDER BY seq DESC LIMIT 1)
                    LIMIT 1";
        let mut find = self.connection.prepare_cached(find).map_err(&reading)?;
        let found = find.query_row(params![key], |row| {
            Ok(VerdictRow {
                seq: row.get(0)?,
                bytes: row.get(1)?,
            })
        });
        found.optional().map_err(&reading)
    }

    pub(super) fn submitted(
        &self,
        bay: &str,
        key: &SubmissionKey,
    ) -> Result<Option<Appended>, JournalError> {
        let reading = JournalError::storage("look up a submission key");
        let find = "SELECT first, count FROM submission
                    WHERE bay = (SELECT id FROM word WHERE text = ?1) AND key = ?2 AND content = ?3";
        let mut find = self.connection.prepare_cached(find).map_err(&reading)?;
        let found = find.query_row(params![bay, key.key, key.content], |row| {
            Ok(Appended::Repeated {
                first: row.get(0)?,
                count: row.get(1)?,
            })
        });
        found.optional().map_err(&reading)
    }

    pub(super) fn events(
        &mut self,
        job: &str,
        after: i64,
        limit: usize,
    ) -> Result<Vec<StoredEvent>, JournalError> {
        let key = self.key(job)?;
        let within = Within {
            after,
            ..Within::default()
        };
        let wanted = format!("job = ?2 AND {}", Stretch::OF_JOB);
        self.page(&wanted, params![after, key], &within, limit)
    }

    pub(super) fn readings(
        &mut self,
        filter: &ReadingFilter,
        after: i64,
        limit: usize,
    ) -> Result<Vec<StoredEvent>, JournalError> {
        let job = filter.job.as_deref().map(|job| self.key(job)).transpose()?;
        let word = |text: &Option<String>| match text {
            None => Ok(Some(None)),
            Some(text) => self.word(text).map(|number| number.map(Some)),
        };
        // A bay or point that no row names has no readings.
        let (Some(bay), Some(point)) = (word(&filter.bay)?, word(&filter.point)?) else {
            return Ok(Vec::new());
        };
        let within = Within {
            after,
            readings_only: true,
            point,
            from: filter.from,
            until: filter.until,
            outside: filter.outside.as_ref().map(Outside::pattern),
        };
        let wanted = format!(
            "(?2 IS NULL OR job = ?2) AND {} AND (?3 IS NULL OR bay = ?3)
             AND (?4 IS NULL OR wall_to >= ?4) AND (?5 IS NULL OR wall_from < ?5)
             AND (?6 IS FALSE OR job IS NULL)",
            Stretch::OF_JOB
        );
        let outside = filter.outside.is_some();
        let values = params![after, job, bay, filter.from, filter.until, outside];
        self.page(&wanted, values, &within, limit)
    }

    pub(super) fn audit_trail(
        &self,
        filter: &AuditFilter,
        limit: usize,
    ) -> Result<Vec<StoredAudit>, JournalError> {
        trail::read(&self.connection, filter, limit.min(LONGEST_PAGE))
    }

    /// Holds a job against its chain, as everything stands at one moment.
    pub(super) fn verify(&mut self, job: &str, wanted: &Wanted) -> Result<Verified, JournalError> {
        let verifying = JournalError::storage("verify a job");
        let moment = self.connection.unchecked_transaction().map_err(verifying)?;
        let key = self.key(job)?;
        chain::verify(&moment, &mut self.texts, key, wanted)
    }

    /// What is wrong with the file, if anything.
    pub(super) fn integrity(&self) -> Result<Vec<String>, JournalError> {
        let checking = JournalError::storage("check the journal's integrity");
        let mut findings = Vec::new();
        let mut check = |sql: &str, sound: &str| {
            let mut statement = self.connection.prepare(sql)?;
            let mut rows = statement.query([])?;
            while let Some(row) = rows.next()? {
                let finding: String = row.get(0)?;
                if finding != sound {
                    findings.push(finding);
                }
            }
            Ok(())
        };
        check("PRAGMA integrity_check", "ok").map_err(&checking)?;
        check(
            "SELECT 'a row of ' || \"table\" || ' refers to a missing row of ' || parent
             FROM pragma_foreign_key_check",
            "",
        )
        .map_err(&checking)?;
        check(
            "SELECT (SELECT coalesce(sum(last - first + 1), 0) FROM stretch) || ' events in
              stretches, ' || (SELECT count(*) FROM event) || ' events in all'
             WHERE (SELECT coalesce(sum(last - first + 1), 0) FROM stretch)
                <> (SELECT count(*) FROM event)",
            "",
        )
        .map_err(&checking)?;
        Ok(findings)
    }

    fn key(&self, job: &str) -> Result<i64, JournalError> {
        let finding = JournalError::storage("find a job");
        let find = "SELECT key FROM job WHERE id = ?1";
        let mut find = self.connection.prepare_cached(find).map_err(&finding)?;
        let found = find.query_row(params![job], |row| row.get(0)).optional();
        let unknown = || JournalError::UnknownJob {
            job: job.to_owned(),
        };
        found.map_err(&finding)?.ok_or_else(unknown)
    }

    fn word(&self, text: &str) -> Result<Option<i64>, JournalError> {
        let found = words::find(&self.connection, text);
        found.map_err(JournalError::storage("find a name"))
    }

    /// The wanted events of the wanted stretches, in order, up to a page. The
    /// first of the values is the sequence number to go on after.
    fn page(
        &mut self,
        wanted: &str,
        values: &[&dyn ToSql],
        within: &Within,
        limit: usize,
    ) -> Result<Vec<StoredEvent>, JournalError> {
        let reading = JournalError::storage("find the events of a job or time");
        // Stretches do not overlap: the one to go on in is the last that begins before.
        let find = format!(
            "SELECT {} FROM stretch WHERE {wanted} AND first >=
             coalesce((SELECT max(first) FROM stretch WHERE first <= ?1), 0) ORDER BY first",
            Stretch::COLUMNS
        );
        let limit = limit.min(LONGEST_PAGE);
        let mut events = Vec::new();
        let mut find = self.connection.prepare_cached(&find).map_err(&reading)?;
        let mut stretches = find.query(values).map_err(&reading)?;
        while events.len() < limit
            && let Some(row) = stretches.next().map_err(&reading)?
        {
            let stretch = Stretch::of(row).map_err(&reading)?;
            collect(
                &self.connection,
                &mut self.texts,
                &stretch,
                within,
                limit,
                &mut events,
            )?;
        }
        Ok(events)
    }
}

/// Takes the wanted events of one stretch in, until there is a page of them.
fn collect(
    connection: &Connection,
    texts: &mut Texts,
    stretch: &Stretch,
    within: &Within,
    limit: usize,
    events: &mut Vec<StoredEvent>,
) -> Result<(), JournalError> {
    let reading = JournalError::storage("read events");
    let bay = texts.text(connection, stretch.bay).map_err(&reading)?;
    let bay = bay.ok_or(JournalError::UnreadableRow {
        seq: stretch.first,
        why: "its bay is not among the words",
    });
    let Some(bay) = readable::event(bay)? else {
        return Ok(());
    };
    let job = job_id(connection, stretch.job).map_err(&reading)?;
    let kind = within.readings_only.then_some(columns::READING_KIND);
    let first = stretch.first.max(within.after.saturating_add(1));
    let (find, subject): (_, &dyn ToSql) = match &within.outside {
        None => (EVENTS, &within.point),
        Some(pattern) => (OUTSIDE, pattern),
    };
    let mut find = connection.prepare_cached(find).map_err(&reading)?;
    let values = params![
        first,
        stretch.last,
        kind,
        subject,
        within.from,
        within.until
    ];
    let mut rows = find.query(values).map_err(&reading)?;
    while events.len() < limit
        && let Some(row) = rows.next().map_err(&reading)?
    {
        let Some((seq, row)) = readable::event(columns::read(connection, texts, row))? else {
            continue;
        };
        events.push(StoredEvent {
            seq,
            job: job.clone(),
            bay: bay.clone(),
            row,
        });
    }
    Ok(())
}

fn job_id(connection: &Connection, key: Option<i64>) -> rusqlite::Result<Option<Arc<str>>> {
    let Some(key) = key else {
        return Ok(None);
    };
    let mut find = connection.prepare_cached("SELECT id FROM job WHERE key = ?1")?;
    find.query_row(params![key], |row| row.get(0)).optional()
}

/// Reads what a job was opened with from a row of [`JOB_COLUMNS`].
pub(super) fn new_job(row: &Row<'_>) -> rusqlite::Result<NewJob> {
    Ok(NewJob {
        id: row.get(0)?,
        bay: row.get(1)?,
        machine: row.get(2)?,
        complaint: row.get(3)?,
        rule_set: row.get(4)?,
        opened_at: row.get(5)?,
        opened_by: row.get(6)?,
    })
}

/// Reads a job from a row of [`JOB_COLUMNS`].
fn job(row: &Row<'_>) -> rusqlite::Result<Job> {
    let confirmed: Option<String> = row.get(8)?;
    let confirmed = confirmed
        .map(|text| serde_json::from_str(&text))
        .transpose();
    let broken = |error: serde_json::Error| {
        rusqlite::Error::FromSqlConversionFailure(8, rusqlite::types::Type::Text, Box::new(error))
    };
    Ok(Job {
        opened: new_job(row)?,
        closed_at: row.get(7)?,
        confirmed: confirmed.map_err(broken)?.unwrap_or_default(),
        note: row.get(9)?,
    })
}
