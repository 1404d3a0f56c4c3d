//! The chain of hashes through a job: what was altered afterwards does not fit it.
//!
//! It begins with what the job was opened with and takes in every event in its order; the
//! closing comes last. A link is kept after a thousand events, so that an alteration is found
//! to within so many. Whoever can write the file can write a new chain as well: the digest of a
//! closed job is worth noting elsewhere, as on its report.

use std::collections::{BTreeSet, HashMap};

use rusqlite::{Connection, OptionalExtension, params};
use sha2::{Digest, Sha256};

use super::chain_encoding::{Hash, hex, opening, sealed, written};
use super::columns;
use super::query::{EVENTS, JOB_COLUMNS, new_job};
use super::reader::Wanted;
use super::rests;
use super::stretch::Stretch;
use super::words::Texts;
use crate::{Closing, EventRow, Happened, JournalError, NewJob, Verified};

/// Events of one link.
const SPAN: i64 = 1000;

/// The newest link of a job.
#[derive(Debug, Clone, Copy)]
struct Link {
    place: i64,
    last: i64,
    count: i64,
    digest: Hash,
    /// The file does not have it yet.
    dirty: bool,
}

impl Link {
    fn take(&mut self, seq: i64, row: &EventRow) {
        self.digest = Sha256::new()
            .chain_update(self.digest)
            .chain_update(written(seq, row))
            .finalize()
            .into();
        (self.last, self.count, self.dirty) = (seq, self.count + 1, true);
    }

    fn next(&self) -> Link {
        Link {
            place: self.place + 1,
            count: 0,
            ..*self
        }
    }

    fn put(&self, connection: &Connection, job: i64) -> rusqlite::Result<()> {
        let put = "INSERT INTO link (job, place, last, count, digest) VALUES (?1, ?2, ?3, ?4, ?5)
                   ON CONFLICT (job, place) DO UPDATE SET last = excluded.last,
                       count = excluded.count, digest = excluded.digest";
        let mut put = connection.prepare_cached(put)?;
        put.execute(params![job, self.place, self.last, self.count, self.digest])?;
        Ok(())
    }
}

/// The newest links of the jobs that are written to.
#[derive(Debug, Default)]
pub(super) struct Chains(HashMap<i64, Link>);

impl Chains {
    /// Forgets what a rolled-back commit may have made of them.
    pub(super) fn forget(&mut self) {
        self.0.clear();
    }

    /// Begins the chain of a job.
    pub(super) fn open(&mut self, key: i64, job: &NewJob) {
        let link = Link {
            place: 0,
            last: 0,
            count: 0,
            digest: opening(job),
            dirty: true,
        };
        self.0.insert(key, link);
    }

    /// Takes an event in.
    pub(super) fn take(
        &mut self,
        connection: &Connection,
        key: i64,
        seq: i64,
        row: &EventRow,
    ) -> rusqlite::Result<()> {
        let link = self.newest(connection, key)?;
        // Put before it is left: only the newest link of a job is in memory when the commit comes.
        if link.count >= SPAN {
            link.put(connection, key)?;
            *link = link.next();
        }
        link.take(seq, row);
        Ok(())
    }

    /// Seals the chain of a job that ends.
    pub(super) fn close(
        &mut self,
        connection: &Connection,
        key: i64,
        closing: &Closing,
    ) -> rusqlite::Result<()> {
        let link = self.newest(connection, key)?;
        link.put(connection, key)?;
        // A link of no events: by that a seal is told from the others when the chain is verified.
        let mut seal = link.next();
        seal.digest = sealed(&seal.digest, closing);
        seal.put(connection, key)?;
        self.0.remove(&key);
        Ok(())
    }

    /// Puts what has changed into the file.
    pub(super) fn put(&mut self, connection: &Connection) -> rusqlite::Result<()> {
        for (key, link) in &mut self.0 {
            if std::mem::take(&mut link.dirty) {
                link.put(connection, *key)?;
            }
        }
        Ok(())
    }

    fn newest(&mut self, connection: &Connection, key: i64) -> rusqlite::Result<&mut Link> {
        match self.0.entry(key) {
            std::collections::hash_map::Entry::Occupied(known) => Ok(known.into_mut()),
            std::collections::hash_map::Entry::Vacant(unknown) => {
                let find = "SELECT place, last, count, digest FROM link WHERE job = ?1
                            ORDER BY place DESC LIMIT 1";
                let mut find = connection.prepare_cached(find)?;
                let link = find.query_row(params![key], of_row)?;
                Ok(unknown.insert(link))
            }
        }
    }
}

fn of_row(row: &rusqlite::Row<'_>) -> rusqlite::Result<Link> {
    Ok(Link {
        place: row.get(0)?,
        last: row.get(1)?,
        count: row.get(2)?,
        digest: row.get(3)?,
        dirty: false,
    })
}

/// Begins the chains of jobs that are older than chains are: what is there is taken as it is.
pub(super) fn adopt(connection: &Connection) -> Result<(), JournalError> {
    let adopting = JournalError::storage("begin the chains of older jobs");
    let unchained = "SELECT key FROM job WHERE key NOT IN (SELECT job FROM link)";
    let mut unchained = connection.prepare(unchained).map_err(&adopting)?;
    let keys = unchained
        .query_map([], |row| row.get::<_, i64>(0))
        .map_err(&adopting)?;
    let keys = keys.collect::<Result<Vec<_>, _>>().map_err(&adopting)?;
    let mut texts = Texts::default();
    for key in keys {
        let (job, closing) = job(connection, key).map_err(&adopting)?;
        let mut chains = Chains::default();
        chains.open(key, &job);
        let mut newest = 0;
        events(connection, &mut texts, key, &mut |seq, row| {
            newest = seq;
            chains.take(connection, key, seq, &row).map_err(&adopting)
        })?;
        if let Some(closing) = closing {
            chains.close(connection, key, &closing).map_err(&adopting)?;
        }
        chains.put(connection).map_err(&adopting)?;
        let mark = "UPDATE job SET adopted = ?2 WHERE key = ?1";
        connection
            .execute(mark, params![key, newest])
            .map_err(&adopting)?;
    }
    Ok(())
}

/// Holds a job against its chain.
pub(super) fn verify(
    connection: &Connection,
    texts: &mut Texts,
    key: i64,
    wanted: &Wanted,
) -> Result<Verified, JournalError> {
    let reading = JournalError::storage("read a job's chain");
    let (job, closing) = job(connection, key).map_err(&reading)?;
    let links = "SELECT place, last, count, digest FROM link WHERE job = ?1 ORDER BY place";
    let mut links = connection.prepare_cached(links).map_err(&reading)?;
    let links = links.query_map(params![key], of_row).map_err(&reading)?;
    let links = links.collect::<Result<Vec<_>, _>>().map_err(&reading)?;
    let adopted = "SELECT adopted FROM job WHERE key = ?1";
    let adopted = connection.query_row(adopted, params![key], |row| row.get(0));
    let mut holding = Holding::new(&links, opening(&job));
    let mut calibrations = BTreeSet::new();
    let read = events(connection, texts, key, &mut |seq, row| {
        holding.take(seq, &row);
        if let Happened::Reading(reading) = &row.what
            && let Some(calibration) = &reading.calibration
            && !calibrations.contains(&**calibration)
        {
            calibrations.insert(calibration.to_string());
        }
        wanted.go_on()
    });
    // An altered row may well be unreadable: that is a finding, not a reason to find nothing.
    match read {
        Err(error) if is_of_a_row(&error) => holding.findings.push(error.to_string()),
        read => read?,
    }
    holding.end(closing.as_ref());
    holding
        .findings
        .extend(rests::altered(connection, key, &job)?);
    Ok(Verified {
        events: holding.events,
        links: links.len() as u64,
        digest: hex(&holding.now.digest),
        adopted: adopted.map_err(&reading)?,
        findings: holding.findings,
        calibrations: calibrations.into_iter().collect(),
    })
}

/// Whether an error is one of what a row says, and not of the file.
fn is_of_a_row(error: &JournalError) -> bool {
    match error {
        JournalError::UnreadableRow { .. } => true,
        JournalError::Storage { source, .. } => source.sqlite_error_code().is_none(),
        _ => false,
    }
}

/// A job's events held against the links that are kept.
struct Holding<'a> {
    links: std::iter::Peekable<std::slice::Iter<'a, Link>>,
    now: Link,
    events: u64,
    findings: Vec<String>,
}

impl<'a> Holding<'a> {
    fn new(links: &'a [Link], opening: Hash) -> Holding<'a> {
        let now = Link {
            place: 0,
            last: 0,
            count: 0,
            digest: opening,
            dirty: false,
        };
        let mut holding = Holding {
            links: links.iter().peekable(),
            now,
            events: 0,
            findings: Vec::new(),
        };
        if holding.links.peek().is_none() {
            holding.findings.push("its chain is missing".to_owned());
        }
        holding
    }

    fn take(&mut self, seq: i64, row: &EventRow) {
        // The last link of events waits for the end, so that events added behind it are found by it.
        while let Some(link) = self.links.peek()
            && link.last < seq
            && self.links.clone().nth(1).is_some_and(|next| next.count > 0)
        {
            self.compare();
        }
        self.now.take(seq, row);
        self.events += 1;
    }

    /// Holds what was read against the link that ends here, and goes on from that: what comes
    /// after an alteration is not blamed for it.
    fn compare(&mut self) {
        let Some(link) = self.links.next() else {
            return;
        };
        if link.digest != self.now.digest || link.last != self.now.last {
            self.findings.push(format!(
                "the {} events up to number {} are not those that were stored, or what the job was opened with is not",
                link.count, link.last
            ));
        }
        self.now = *link;
    }

    fn end(&mut self, closing: Option<&Closing>) {
        // A job without events has one link of none at place 0, and that is no seal.
        while self
            .links
            .peek()
            .is_some_and(|link| link.count > 0 || link.place == 0)
        {
            self.compare();
        }
        match (closing, self.links.next()) {
            (None, None) => {}
            (None, Some(_)) => self
                .findings
                .push("it was closed, and is open again".to_owned()),
            (Some(_), None) => self
                .findings
                .push("its closing is not in the chain".to_owned()),
            (Some(closing), Some(seal)) => {
                let expected = sealed(&self.now.digest, closing);
                if seal.digest != expected {
                    self.findings
                        .push("its closing is not the one that was stored".to_owned());
                }
                self.now = *seal;
            }
        }
    }
}

/// The events of a job in order.
fn events(
    connection: &Connection,
    texts: &mut Texts,
    key: i64,
    take: &mut dyn FnMut(i64, EventRow) -> Result<(), JournalError>,
) -> Result<(), JournalError> {
    let reading = JournalError::storage("read the events of a job");
    let runs = format!(
        "SELECT first, last FROM stretch WHERE job = ?2 AND {} AND first > ?1 ORDER BY first",
        Stretch::OF_JOB
    );
    let mut runs = connection.prepare_cached(&runs).map_err(&reading)?;
    let runs = runs.query_map(params![0, key], |row| Ok((row.get(0)?, row.get(1)?)));
    let runs = runs
        .map_err(&reading)?
        .collect::<Result<Vec<(i64, i64)>, _>>();
    let mut find = connection.prepare_cached(EVENTS).map_err(&reading)?;
    let none: Option<i64> = None;
    for (first, last) in runs.map_err(&reading)? {
        let values = params![first, last, none, none, none, none];
        let mut rows = find.query(values).map_err(&reading)?;
        while let Some(row) = rows.next().map_err(&reading)? {
            let (seq, row) = columns::read(connection, texts, row)?;
            take(seq, row)?;
        }
    }
    Ok(())
}

/// What a job was opened and closed with.
fn job(connection: &Connection, key: i64) -> rusqlite::Result<(NewJob, Option<Closing>)> {
    let find = format!("SELECT {JOB_COLUMNS}, verdict FROM job WHERE key = ?1");
    let mut find = connection.prepare_cached(&find)?;
    let found = find.query_row(params![key], |row| {
        let job = new_job(row)?;
        let closed_at: Option<String> = row.get(7)?;
        let confirmed: Option<String> = row.get(8)?;
        let (note, verdict): (_, Option<Vec<u8>>) = (row.get(9)?, row.get(10)?);
        let confirmed = confirmed.and_then(|text| serde_json::from_str(&text).ok());
        let closing = closed_at.map(|closed_at| Closing {
            closed_at,
            confirmed: confirmed.unwrap_or_default(),
            note,
            verdict: verdict.unwrap_or_default(),
        });
        Ok((job, closing))
    });
    found
        .optional()?
        .ok_or(rusqlite::Error::QueryReturnedNoRows)
}
