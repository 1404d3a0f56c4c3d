//! Between an event and the columns of its row.

use std::sync::Arc;

use rusqlite::{CachedStatement, Connection, Row, params};
use trisect_measure::{Amount, Flags};
use trisect_rules::{Drive, Outcome, Phase};

use super::words::{Texts, Words};
use crate::{EventRow, Happened, JournalError, Probe, Reading};

const READING: u8 = 0;
const PHASE: u8 = 1;
const DRIVE: u8 = 2;
const ANSWER: u8 = 3;
const OUTCOME: u8 = 4;
const WINDOW: u8 = 5;
const LIFTED: u8 = 6;

/// Kind of the rows that are readings, for queries.
pub(super) const READING_KIND: i64 = READING as i64;

/// The statement [`insert`] binds.
pub(super) const INSERT: &str = "INSERT INTO event (seq, at, wall, kind, subject, object, bound, \
     value, uncertainty, flags, entered, instrument, channel, by, calibration, latency, barometer) \
     VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15, ?16, ?17)";

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
    if reading
        .barometer
        .is_some_and(|pressure| !pressure.is_finite())
    {
        return Some("the barometric pressure must be a finite number");
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
    let (kind, subject, object) = subject_of(&row.what);
    let subject = word(subject)?;
    let object = object.map(&mut word).transpose()?;
    let (instrument, channel) = match &row.what {
        Happened::Reading(Reading {
            instrument,
            channel,
            ..
        })
        | Happened::Window(Probe {
            instrument,
            channel,
            ..
        })
        | Happened::Lifted(Probe {
            instrument,
            channel,
            ..
        }) => (instrument.as_deref(), *channel),
        _ => (None, None),
    };
    let instrument = instrument.map(&mut word).transpose()?;
    let reading = match &row.what {
        Happened::Reading(reading) => Some(reading),
        _ => None,
    };
    let calibration = reading.and_then(|r| r.calibration.as_deref());
    let calibration = calibration.map(word).transpose()?;
    insert.execute(params![
        seq,
        row.at,
        row.wall,
        kind,
        subject,
        object,
        reading.map(|r| bound_of(r.amount)),
        reading.map(|r| r.amount.edge()),
        reading.map(|r| r.uncertainty),
        reading.map(|r| r.flags.bits()),
        reading.map(|r| r.entered),
        instrument,
        channel,
        by,
        calibration,
        reading.and_then(|r| r.latency),
        reading.and_then(|r| r.barometer),
    ])?;
    Ok(())
}

/// The kind of an event with its subject and object.
fn subject_of(what: &Happened) -> (u8, &str, Option<&str>) {
    match what {
        Happened::Reading(reading) => (READING, &reading.point, None),
        Happened::Phase(phase) => (PHASE, phase.word(), None),
        Happened::Drive(drive) => (DRIVE, drive.word(), None),
        Happened::Answer { check, answer } => (ANSWER, check, Some(answer)),
        Happened::Outcome { check, outcome } => (OUTCOME, check, Some(outcome.word())),
        Happened::Window(probe) => (WINDOW, &probe.point, None),
        Happened::Lifted(probe) => (LIFTED, &probe.point, None),
    }
}

const fn bound_of(amount: Amount) -> u8 {
    match amount {
        Amount::Exactly(_) => 0,
        Amount::Above(_) => 1,
        Amount::Below(_) => 2,
    }
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
    let named = Named {
        instrument: text(event.instrument)?,
        calibration: text(event.calibration)?,
    };
    let what = event
        .happened(subject, object, named)
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
    calibration: Option<i64>,
    latency: Option<i64>,
    barometer: Option<f64>,
}

/// What a row names by word beside its subject and object.
struct Named {
    instrument: Option<Arc<str>>,
    calibration: Option<Arc<str>>,
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
            calibration: row.get(14)?,
            latency: row.get(15)?,
            barometer: row.get(16)?,
        })
    }

    fn happened(
        &self,
        subject: Option<Arc<str>>,
        object: Option<Arc<str>>,
        named: Named,
    ) -> Result<Happened, &'static str> {
        let subject = subject.ok_or("its subject is not among the words")?;
        let object = object.ok_or("its object is not among the words");
        Ok(match self.kind {
            READING => Happened::Reading(self.reading(subject, named)?),
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
            WINDOW => Happened::Window(self.probe(subject, named)),
            LIFTED => Happened::Lifted(self.probe(subject, named)),
            _ => return Err("its kind is unknown"),
        })
    }

    fn probe(&self, point: Arc<str>, named: Named) -> Probe {
        Probe {
            point,
            instrument: named.instrument,
            channel: self.channel,
        }
    }

    fn reading(&self, point: Arc<str>, named: Named) -> Result<Reading, &'static str> {
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
            instrument: named.instrument,
            channel: self.channel,
            calibration: named.calibration,
            latency: self.latency,
            barometer: self.barometer,
        })
    }
}
