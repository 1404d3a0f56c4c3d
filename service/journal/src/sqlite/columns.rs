//! Between an event and the columns of its row.

use std::sync::Arc;

use rusqlite::{CachedStatement, Connection, Row, params};
use trisect_measure::{Amount, Flags};
use trisect_rules::{Drive, Outcome, Phase};

use super::words::{Texts, Words};
use crate::{EventRow, Happened, JournalError, Reading};

const READING: u8 = 0;
const PHASE: u8 = 1;
const DRIVE: u8 = 2;
const ANSWER: u8 = 3;
const OUTCOME: u8 = 4;
const WINDOW: u8 = 5;

/// Kind of the rows that are readings, for queries.
pub(super) const READING_KIND: i64 = READING as i64;

/// The statement [`insert`] binds.
pub(super) const INSERT: &str = "INSERT INTO event (seq, at, wall, kind, subject, object, bound, \
     value, uncertainty, flags, entered, instrument, channel, by) \
     VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14)";

/// What a row would not give back as it was: SQLite keeps NaN as NULL.
pub(super) fn fault(row: &EventRow) -> Option<&'static str> {
    let Happened::Reading(reading) = &row.what else {
        return None;
    };
    if !reading.amount.edge().is_finite() {
        return Some("the value must be a finite number");
    }
    if !(reading.uncertainty.is_finite() && reading.uncertainty >= 0.0) {
        return Some("the uncertainty must be a finite number, zero or more");
    }
    None
}

/// Inserts one row.
pub(super) fn insert(
    connection: &Connection,
    insert: &mut CachedStatement<'_>,
    words: &mut Words,
    seq: i64,
    row: &EventRow,
) -> rusqlite::Result<()> {
    let mut word = |text: &str| words.number(connection, text);
    let by = row.by.as_deref().map(&mut word).transpose()?;
    let (kind, subject, object) = match &row.what {
        Happened::Reading(reading) => {
            let subject = word(&reading.point)?;
            let instrument = reading.instrument.as_deref().map(word).transpose()?;
            let (bound, value) = match reading.amount {
                Amount::Exactly(value) => (0, value),
                Amount::Above(value) => (1, value),
                Amount::Below(value) => (2, value),
            };
            let (u, flags) = (reading.uncertainty, reading.flags.bits());
            insert.execute(params![
                seq,
                row.at,
                row.wall,
                READING,
                subject,
                None::<i64>,
                bound,
                value,
                u,
                flags,
                reading.entered,
                instrument,
                reading.channel,
                by
            ])?;
            return Ok(());
        }
        Happened::Phase(phase) => (PHASE, phase.word(), None),
        Happened::Drive(drive) => (DRIVE, drive.word(), None),
        Happened::Answer { check, answer } => (ANSWER, &**check, Some(&**answer)),
        Happened::Outcome { check, outcome } => (OUTCOME, &**check, Some(outcome.word())),
        Happened::Window { point } => (WINDOW, &**point, None),
    };
    let subject = word(subject)?;
    let object = object.map(word).transpose()?;
    let none = None::<i64>;
    insert.execute(params![
        seq, row.at, row.wall, kind, subject, object, none, none, none, none, none, none, none, by
    ])?;
    Ok(())
}

/// Reads one row, with its sequence number.
pub(super) fn read(
    connection: &Connection,
    texts: &mut Texts,
    row: &Row<'_>,
) -> Result<(i64, EventRow), JournalError> {
    let reading = JournalError::storage("read an event");
    let seq = row.get(0).map_err(&reading)?;
    let event = Raw::of(row).map_err(&reading)?;
    let mut text = |number: Option<i64>| match number {
        None => Ok(None),
        Some(number) => texts.text(connection, number).map_err(&reading),
    };
    let by = text(event.by)?;
    let (subject, object) = (text(event.subject)?, text(event.object)?);
    let instrument = text(event.instrument)?;
    let what = event
        .happened(subject, object, instrument)
        .map_err(|why| JournalError::UnreadableRow { seq, why })?;
    let (at, wall) = (event.at, event.wall);
    Ok((seq, EventRow { at, wall, by, what }))
}

/// A row's columns as they are stored.
struct Raw {
    at: i64,
    wall: i64,
    kind: u8,
    subject: Option<i64>,
    object: Option<i64>,
    bound: Option<u8>,
    value: Option<f64>,
    uncertainty: Option<f64>,
    flags: Option<u32>,
    entered: Option<bool>,
    instrument: Option<i64>,
    channel: Option<u16>,
    by: Option<i64>,
}

impl Raw {
    fn of(row: &Row<'_>) -> rusqlite::Result<Self> {
        Ok(Self {
            at: row.get(1)?,
            wall: row.get(2)?,
            kind: row.get(3)?,
            subject: row.get(4)?,
            object: row.get(5)?,
            bound: row.get(6)?,
            value: row.get(7)?,
            uncertainty: row.get(8)?,
            flags: row.get(9)?,
            entered: row.get(10)?,
            instrument: row.get(11)?,
            channel: row.get(12)?,
            by: row.get(13)?,
        })
    }

    fn happened(
        &self,
        subject: Option<Arc<str>>,
        object: Option<Arc<str>>,
        instrument: Option<Arc<str>>,
    ) -> Result<Happened, &'static str> {
        let subject = subject.ok_or("its subject is not among the words")?;
        let object = object.ok_or("its object is not among the words");
        Ok(match self.kind {
            READING => Happened::Reading(self.reading(subject, instrument)?),
            PHASE => Happened::Phase(Phase::from_word(&subject).ok_or("its phase is unknown")?),
            DRIVE => Happened::Drive(Drive::from_word(&subject).ok_or("its drive is unknown")?),
            ANSWER => Happened::Answer {
                check: subject,
                answer: object?,
            },
            OUTCOME => Happened::Outcome {
                check: subject,
                outcome: Outcome::from_word(&object?).ok_or("its outcome is unknown")?,
            },
            WINDOW => Happened::Window { point: subject },
            _ => return Err("its kind is unknown"),
        })
    }

    fn reading(
        &self,
        point: Arc<str>,
        instrument: Option<Arc<str>>,
    ) -> Result<Reading, &'static str> {
        let value = self.value.ok_or("it has no value")?;
        let amount = match self.bound {
            Some(0) => Amount::Exactly(value),
            Some(1) => Amount::Above(value),
            Some(2) => Amount::Below(value),
            _ => return Err("its bound is unknown"),
        };
        let flags = self.flags.and_then(Flags::from_bits);
        Ok(Reading {
            point,
            amount,
            uncertainty: self.uncertainty.ok_or("it has no uncertainty")?,
            flags: flags.ok_or("it has an unknown flag")?,
            entered: self
                .entered
                .ok_or("it does not say whether it was entered")?,
            instrument,
            channel: self.channel,
        })
    }
}
