//! One write each, within the writer's transaction.
//!
//! A write that is refused has changed nothing: everything that may refuse it
//! is looked at first. A database error ends the whole transaction.

use std::collections::HashMap;
use std::sync::Arc;

use rusqlite::{Connection, OptionalExtension, params};

use super::chain::Chains;
use super::outbox::Mail;
use super::stretch::Stretch;
use super::words::Words;
use super::{columns, trail};
use crate::{
    Appended, AuditRow, Batch, CalibrationText, Closing, Installed, JournalError, NewJob,
    RuleSetText, SubmissionKey,
};

/// What can be written.
#[derive(Debug)]
pub(super) enum Write {
    RuleSet(RuleSetText),
    Calibration(CalibrationText),
    Install(Installed),
    Open(NewJob),
    Append(Batch),
    Verdict {
        job: Arc<str>,
        seq: i64,
        bytes: Vec<u8>,
    },
    Close {
        job: Arc<str>,
        closing: Closing,
    },
    Mail(Mail),
    Audit(Vec<AuditRow>),
    Prune {
        outside: i64,
        audit: i64,
    },
}

impl Write {
    /// Roughly how much work it is, in rows.
    pub(super) fn rows(&self) -> usize {
        match self {
            Write::Append(batch) => batch.events.len().max(1),
            _ => 1,
        }
    }

    /// Whether there may be news to be sent after it.
    pub(super) fn may_post(&self) -> bool {
        matches!(
            self,
            Write::Open(_)
                | Write::Close { .. }
                | Write::Verdict { .. }
                | Write::Mail(Mail::Post { .. } | Mail::Revive { .. })
        )
    }
}

/// What came of a write.
#[derive(Debug, Clone, Copy)]
pub(super) enum Done {
    Plain,
    Appended(Appended),
    Counted(u64),
    Removed(u64),
}

/// The writing connection and what it knows about the file.
#[derive(Debug)]
pub(super) struct Store {
    connection: Connection,
    words: Words,
    chains: Chains,
    next: i64,
    /// The keys of open jobs that were written to.
    open: HashMap<String, i64>,
    stretch: Option<Stretch>,
    /// The stretch is longer than the file says.
    longer: bool,
}

impl Store {
    pub(super) fn new(connection: Connection) -> Result<Self, JournalError> {
        let mut store = Self {
            connection,
            words: Words::default(),
            chains: Chains::default(),
            next: 1,
            open: HashMap::new(),
            stretch: None,
            longer: false,
        };
        store
            .look_again()
            .map_err(JournalError::storage("read the journal's end"))?;
        Ok(store)
    }

    pub(super) fn begin(&self) -> Result<(), JournalError> {
        // Prepared once: there may be hundreds of commits a second.
        let begun = self.connection.prepare_cached("BEGIN IMMEDIATE");
        let begun = begun.and_then(|mut begin| begin.execute([]));
        begun
            .map(|_| ())
            .map_err(JournalError::storage("begin to write"))
    }

    /// Commits everything since [`Self::begin`]: it is on disk then.
    pub(super) fn commit(&mut self) -> Result<(), JournalError> {
        let committing = JournalError::storage("commit to the journal");
        // Once a commit, not once a batch: stretch and link grow with every batch in it.
        self.put_stretch().map_err(&committing)?;
        self.chains.put(&self.connection).map_err(&committing)?;
        let committed = self.connection.prepare_cached("COMMIT");
        let committed = committed.and_then(|mut commit| commit.execute([]));
        committed.map(|_| ()).map_err(&committing)
    }

    /// Takes everything since [`Self::begin`] back, and what was learnt with it.
    pub(super) fn roll_back(&mut self) {
        // SQLite may have rolled back by itself; a second time is an error that means nothing.
        let _ = self.connection.execute_batch("ROLLBACK");
        self.words.forget();
        self.chains.forget();
        self.open.clear();
        if let Err(error) = self.look_again() {
            tracing::error!(%error, "could not read the journal's end after a failed write");
        }
    }

    /// Reads from the file where the journal ends.
    fn look_again(&mut self) -> rusqlite::Result<()> {
        let last = "SELECT coalesce(max(seq), 0) FROM event";
        let last: i64 = self.connection.query_row(last, [], |row| row.get(0))?;
        self.next = last + 1;
        self.stretch = Stretch::newest(&self.connection)?;
        self.longer = false;
        Ok(())
    }

    pub(super) fn carry_out(&mut self, write: Write) -> Result<Done, JournalError> {
        match write {
            Write::RuleSet(rule_set) => self.put_rule_set(&rule_set)?,
            Write::Calibration(calibration) => self.put_calibration(&calibration)?,
            Write::Install(installed) => self.install(&installed)?,
            Write::Open(job) => self.open_job(&job)?,
            Write::Append(batch) => return self.append(&batch).map(Done::Appended),
            Write::Verdict { job, seq, bytes } => self.record_verdict(&job, seq, &bytes)?,
            Write::Close { job, closing } => self.close_job(&job, &closing)?,
            Write::Mail(mail) => return mail.carry_out(&self.connection).map(Done::Counted),
            Write::Audit(rows) => trail::put(&self.connection, &rows)?,
            Write::Prune { outside, audit } => {
                return trail::prune(&self.connection, outside, audit).map(Done::Removed);
            }
        }
        Ok(Done::Plain)
    }

    fn put_rule_set(&self, rule_set: &RuleSetText) -> Result<(), JournalError> {
        let storing = JournalError::storage("store a rule set");
        let put = "INSERT INTO rule_set (digest, id, version, text) VALUES (?1, ?2, ?3, ?4)
                   ON CONFLICT (digest) DO NOTHING";
        let RuleSetText {
            digest,
            id,
            version,
            text,
        } = rule_set;
        let put = self
            .connection
            .execute(put, params![digest, id, version, text]);
        put.map(|_| ()).map_err(storing)
    }

    fn put_calibration(&self, calibration: &CalibrationText) -> Result<(), JournalError> {
        let storing = JournalError::storage("store a calibration");
        let put =
            "INSERT INTO calibration (id, record) VALUES (?1, ?2) ON CONFLICT (id) DO NOTHING";
        let put = self
            .connection
            .execute(put, params![calibration.id, calibration.record]);
        put.map(|_| ()).map_err(storing)
    }

    fn install(&self, installed: &Installed) -> Result<(), JournalError> {
        self.put_rule_set(&installed.rule_set)?;
        let install = "INSERT OR REPLACE INTO installed (place, digest, wall, by)
                       VALUES ((SELECT coalesce(max(place), 0) + 1 FROM installed), ?1, ?2, ?3)";
        let values = params![installed.rule_set.digest, installed.at, installed.by];
        let done = self.connection.execute(install, values);
        done.map(|_| ())
            .map_err(JournalError::storage("install a rule set"))
    }

    fn open_job(&mut self, job: &NewJob) -> Result<(), JournalError> {
        let opening = JournalError::storage("open a job");
        let id = || job.id.clone();
        let find = |sql: &str, value: &str| {
            let found = self
                .connection
                .query_row(sql, params![value], |row| row.get(0));
            found.optional().map_err(&opening)
        };
        let taken: Option<String> = find("SELECT id FROM job WHERE id = ?1", &job.id)?;
        if taken.is_some() {
            return Err(JournalError::JobExists { job: id() });
        }
        let open = "SELECT id FROM job WHERE bay = ?1 AND closed_at IS NULL";
        if let Some(open) = find(open, &job.bay)? {
            return Err(JournalError::BayBusy {
                bay: job.bay.clone(),
                job: open,
            });
        }
        let rule_set = "SELECT digest FROM rule_set WHERE digest = ?1";
        if find(rule_set, &job.rule_set)?.is_none() {
            return Err(JournalError::UnknownRuleSet {
                digest: job.rule_set.clone(),
            });
        }
        let open =
            "INSERT INTO job (id, bay, machine, complaint, rule_set, opened_at, opened_by, first)
                    VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)";
        let values = params![
            job.id,
            job.bay,
            job.machine,
            job.complaint,
            job.rule_set,
            job.opened_at,
            job.opened_by,
            self.next
        ];
        self.connection.execute(open, values).map_err(&opening)?;
        self.chains.open(self.connection.last_insert_rowid(), job);
        Ok(())
    }

    /// The key of a job that is open.
    fn open_key(&mut self, job: &str) -> Result<i64, JournalError> {
        if let Some(key) = self.open.get(job) {
            return Ok(*key);
        }
        let key = self.find_open(job)?;
        self.open.insert(job.to_owned(), key);
        Ok(key)
    }

    fn find_open(&self, job: &str) -> Result<i64, JournalError> {
        let finding = JournalError::storage("find a job");
        let find = "SELECT key, closed_at IS NULL FROM job WHERE id = ?1";
        let mut find = self.connection.prepare_cached(find).map_err(&finding)?;
        let found = find.query_row(params![job], |row| Ok((row.get(0)?, row.get(1)?)));
        match found.optional().map_err(&finding)? {
            Some((key, true)) => Ok(key),
            Some((_, false)) => Err(JournalError::JobClosed {
                job: job.to_owned(),
            }),
            None => Err(JournalError::UnknownJob {
                job: job.to_owned(),
            }),
        }
    }

    fn append(&mut self, batch: &Batch) -> Result<Appended, JournalError> {
        let faults = batch.events.iter().map(columns::fault).enumerate();
        for (index, fault) in faults {
            if let Some(why) = fault {
                return Err(JournalError::BadRow { index, why });
            }
        }
        let count = u32::try_from(batch.events.len()).map_err(|_| JournalError::BadRow {
            index: 0,
            why: "a batch has less than four thousand million events",
        })?;
        // Before the job is looked at: a sender that repeats itself gets its answer, though the job may
        // have been closed since.
        let repeated = self.repeated(batch)?;
        if let Some(repeated) = repeated {
            return Ok(repeated);
        }
        let job = batch
            .job
            .as_deref()
            .map(|job| self.open_key(job))
            .transpose()?;
        let storing = JournalError::storage("store events");
        let first = self.next;
        self.insert_all(batch, job).map_err(&storing)?;
        self.put_key(batch, first, count).map_err(&storing)?;
        Ok(Appended::Stored { first, count })
    }

    fn put_key(&mut self, batch: &Batch, first: i64, count: u32) -> rusqlite::Result<()> {
        let Some(SubmissionKey { key, content }) = &batch.key else {
            return Ok(());
        };
        let bay = self.words.number(&self.connection, &batch.bay)?;
        let put = "INSERT INTO submission (bay, key, first, count, content)
                   VALUES (?1, ?2, ?3, ?4, ?5)";
        let mut put = self.connection.prepare_cached(put)?;
        put.execute(params![bay, key, first, count, content])?;
        Ok(())
    }

    /// What is there already under a batch's key.
    fn repeated(&mut self, batch: &Batch) -> Result<Option<Appended>, JournalError> {
        let Some(key) = &batch.key else {
            return Ok(None);
        };
        let finding = JournalError::storage("look up a submission key");
        let bay = self
            .words
            .number(&self.connection, &batch.bay)
            .map_err(&finding)?;
        let find = "SELECT first, count, content FROM submission WHERE bay = ?1 AND key = ?2";
        let mut find = self.connection.prepare_cached(find).map_err(&finding)?;
        let found = find.query_row(params![bay, key.key], |row| {
            Ok((row.get(0)?, row.get(1)?, row.get::<_, [u8; 32]>(2)?))
        });
        match found.optional().map_err(&finding)? {
            None => Ok(None),
            Some((first, count, content)) if content == key.content => {
                Ok(Some(Appended::Repeated { first, count }))
            }
            Some(_) => Err(JournalError::KeyReused {
                bay: batch.bay.to_string(),
                key: key.key.clone(),
            }),
        }
    }

    fn insert_all(&mut self, batch: &Batch, job: Option<i64>) -> rusqlite::Result<()> {
        let bay = self.words.number(&self.connection, &batch.bay)?;
        let mut run: Option<Stretch> = None;
        let mut insert = self.connection.prepare_cached(columns::INSERT)?;
        for row in &batch.events {
            let seq = self.next;
            columns::insert(&self.connection, &mut insert, &mut self.words, seq, row)?;
            if let Some(job) = job {
                self.chains.take(&self.connection, job, seq, row)?;
            }
            self.next += 1;
            let grown = run.get_or_insert(Stretch {
                first: seq,
                last: seq,
                job,
                bay,
                wall_from: row.wall,
                wall_to: row.wall,
            });
            grown.last = seq;
            grown.wall_from = grown.wall_from.min(row.wall);
            grown.wall_to = grown.wall_to.max(row.wall);
        }
        drop(insert);
        match run {
            Some(run) => self.note(run),
            None => Ok(()),
        }
    }

    /// Notes a run: into the newest stretch where it fits, else as a new one.
    fn note(&mut self, run: Stretch) -> rusqlite::Result<()> {
        let fits = self
            .stretch
            .as_mut()
            .is_some_and(|stretch| stretch.take_in(&run));
        if !fits {
            self.put_stretch()?;
            self.stretch = Some(run);
        }
        self.longer = true;
        Ok(())
    }

    fn put_stretch(&mut self) -> rusqlite::Result<()> {
        if let (true, Some(stretch)) = (self.longer, &self.stretch) {
            stretch.put(&self.connection)?;
        }
        self.longer = false;
        Ok(())
    }

    fn record_verdict(&mut self, job: &str, seq: i64, bytes: &[u8]) -> Result<(), JournalError> {
        let storing = JournalError::storage("store a verdict");
        let key = self.open_key(job)?;
        let put = "INSERT INTO verdict (job, seq, bytes) VALUES (?1, ?2, ?3)
                   ON CONFLICT (job, seq) DO UPDATE SET bytes = excluded.bytes";
        let mut put = self.connection.prepare_cached(put).map_err(&storing)?;
        put.execute(params![key, seq, bytes])
            .map(|_| ())
            .map_err(&storing)
    }

    fn close_job(&mut self, job: &str, closing: &Closing) -> Result<(), JournalError> {
        let storing = JournalError::storage("close a job");
        let key = self.open_key(job)?;
        self.open.remove(job);
        // Strings alone, which always serialise.
        let confirmed = serde_json::to_string(&closing.confirmed).unwrap_or_default();
        let close = "UPDATE job SET closed_at = ?2, confirmed = ?3, note = ?4, verdict = ?5,
                     last = ?6 WHERE key = ?1";
        let values = params![
            key,
            closing.closed_at,
            confirmed,
            closing.note,
            closing.verdict,
            self.next - 1
        ];
        self.connection.execute(close, values).map_err(&storing)?;
        let sealed = self.chains.close(&self.connection, key, closing);
        sealed.map_err(&storing)
    }
}
