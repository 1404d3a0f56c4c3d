//! A case held against a rule set: its events and its stream, on one timeline.

use std::sync::Arc;

use trisect_measure::senml::{self, Record, SenmlError, Value};
use trisect_measure::{Amount, Flags, NANOS_PER_SECOND, Unit};
use trisect_rules::case::{Case, Expect, ResolvedEvent, ResolvedWhat};
use trisect_rules::{Defect, RuleSet};

use crate::{Diagnosis, Event, Model, Verdict, What};

/// Times from here on are since the epoch, before it since the job opened (RFC 8428, 4.5.3).
const ABSOLUTE_FROM: f64 = 268_435_456.0;

/// What happened in a case, ready to be folded, and what should come of it.
#[derive(Clone, Debug)]
pub struct Recording {
    pub(super) events: Vec<Event>,
    pub(super) complaint: Option<usize>,
    /// What should come of it.
    pub expect: Expect,
}

/// A stream that does not fit its case.
#[derive(Debug, thiserror::Error)]
pub enum StreamError {
    /// It is no SenML pack.
    #[error(transparent)]
    Senml(#[from] SenmlError),
    /// A record that does not fit the rule set.
    #[error("SenML name `{name}` at {time} s: {what}")]
    Record {
        /// The record's full name.
        name: String,
        /// Its time, as resolved.
        time: f64,
        /// What is wrong, and how to mend it.
        what: String,
    },
    /// Times that cannot be on one clock.
    #[error(
        "some SenML times are since the job opened and some since the epoch: \
         give all of them below or all above 2^28"
    )]
    Clocks,
}

impl Recording {
    /// Holds a case against a rule set. `stream` is the text of the SenML file that the case names.
    /// Its times count from the job's opening if they are below 2^28, else from its first record.
    ///
    /// # Errors
    /// Every defect of the case; the stream is added with [`Recording::with_stream`].
    pub fn of(case: &Case, rules: &RuleSet) -> Result<Recording, Vec<Defect>> {
        let events = case.resolve(rules)?.iter().map(event).collect();
        let complaint = case
            .complaint
            .as_ref()
            .and_then(|id| rules.complaint_index(id));
        Ok(Recording {
            events,
            complaint,
            expect: case.expect.clone(),
        })
    }

    /// Merges a SenML stream in; what was said at the same moment comes before what was read.
    ///
    /// # Errors
    /// The first record that breaks RFC 8428 or does not fit the rule set.
    pub fn with_stream(mut self, stream: &str, rules: &RuleSet) -> Result<Recording, StreamError> {
        let records = senml::resolve(stream, 0.0)?;
        let start = start(&records)?;
        for record in &records {
            self.events.push(reading(record, start, rules)?);
        }
        self.events.sort_by_key(|event| event.at);
        Ok(self)
    }

    /// The verdict on all of it. The recording is over: no window waits for more.
    pub fn verdict(&self, model: &Arc<Model>) -> Arc<Verdict> {
        let mut diagnosis = Diagnosis::new(Arc::clone(model), self.complaint);
        for event in &self.events {
            diagnosis.push(event);
        }
        // The clock goes on to where every window is full; no point has this number.
        diagnosis.push(&Event {
            at: i64::MAX / 2,
            what: What::Window { point: u16::MAX },
        });
        diagnosis.verdict()
    }
}

fn event(event: &ResolvedEvent) -> Event {
    let what = match event.what {
        ResolvedWhat::Phase(phase) => What::Phase(phase),
        ResolvedWhat::Drive(drive) => What::Drive(drive),
        ResolvedWhat::Reading {
            point,
            amount,
            uncertainty,
            flags,
        } => What::Reading {
            point: index(point),
            amount,
            u: uncertainty,
            flags,
            // Written down one by one: each stands for its window, unlike a stream.
            entered: true,
        },
        ResolvedWhat::Answer { check, answer } => What::Answer {
            check: index(check),
            answer: index(answer),
        },
        ResolvedWhat::Outcome { check, outcome } => What::Outcome {
            check: index(check),
            outcome,
        },
    };
    Event { at: event.at, what }
}

/// The fold counts in 16 bits and ignores a number that nothing has.
fn index(place: usize) -> u16 {
    u16::try_from(place).unwrap_or(u16::MAX)
}

/// When the job opened, on the stream's clock.
fn start(records: &[Record]) -> Result<f64, StreamError> {
    let absolute = records
        .iter()
        .filter(|record| record.time >= ABSOLUTE_FROM)
        .count();
    match records.first() {
        // Resolved records are in the order of time.
        Some(first) if absolute == records.len() => Ok(first.time),
        _ if absolute == 0 => Ok(0.0),
        _ => Err(StreamError::Clocks),
    }
}

fn reading(record: &Record, start: f64, rules: &RuleSet) -> Result<Event, StreamError> {
    let refused = |what: String| StreamError::Record {
        name: record.name.clone(),
        time: record.time,
        what,
    };
    let place = rules
        .test_points
        .iter()
        .position(|point| point.id == record.name);
    let Some((place, point)) = place.and_then(|i| rules.test_points.get(i).map(|p| (i, p))) else {
        return Err(refused(
            "the rule set has no such test point: names are test points".into(),
        ));
    };
    let (value, unit) = number(record).map_err(refused)?;
    if unit.quantity() != point.quantity {
        let (has, wants) = (unit.quantity(), point.quantity);
        return Err(refused(format!(
            "its unit is one of {has}, the test point's of {wants}"
        )));
    }
    let at = (record.time - start) * NANOS_PER_SECOND as f64;
    if !(0.0..9e18).contains(&at) {
        return Err(refused(
            "its time is before the job opened, or centuries after".into(),
        ));
    }
    let value = unit.to_si(value);
    let amount = Amount::Exactly(value);
    let flags = if point.implausible(amount, 0.0) {
        Flags::IMPLAUSIBLE
    } else {
        Flags::empty()
    };
    // SenML has no place for an uncertainty.
    let what = What::Reading {
        point: index(place),
        amount,
        u: 0.0,
        flags,
        entered: false,
    };
    Ok(Event {
        at: at.round() as i64,
        what,
    })
}

fn number(record: &Record) -> Result<(f64, Unit), String> {
    match (&record.value, &record.unit) {
        (Some(Value::Number(value)), Some(unit)) => {
            let unit = Unit::parse(unit).map_err(|error| error.to_string())?;
            Ok((*value, unit))
        }
        (Some(Value::Number(_)), None) => Err("it has no unit: add `u`".to_owned()),
        _ => Err("it has no number: add `v`".to_owned()),
    }
}
