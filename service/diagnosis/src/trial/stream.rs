//! The SenML stream of a case, as events.

use trisect_measure::senml::{self, Record, SenmlError, Value};
use trisect_measure::{Amount, Flags, NANOS_PER_SECOND, Unit};
use trisect_rules::{RuleSet, TestPoint};

use super::recording::index;
use crate::{Event, What};

/// Times from here on are since the epoch, before it since the job opened (RFC 8428, 4.5.3).
const ABSOLUTE_FROM: f64 = 268_435_456.0;

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

/// The readings of a stream, in the order of their times.
pub(super) fn events(stream: &str, rules: &RuleSet) -> Result<Vec<Event>, StreamError> {
    // An export writes SI, so that what it wrote comes back to the same bits.
    let records = senml::resolve_with(stream, 0.0, &[Unit::RADIAN_PER_SECOND.symbol()])?;
    let start = start(&records)?;
    let mut manners = Manners::new(rules);
    let mut events = Vec::with_capacity(records.len());
    for record in &records {
        events.extend(manners.reading(record, start)?);
    }
    Ok(events)
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

/// How the readings of a point are to be taken.
#[derive(Clone, Copy, Debug)]
struct Manner {
    u: f64,
    flags: Flags,
    beyond: fn(f64) -> Amount,
}

/// That of every test point, as the stream has said so far.
struct Manners<'a> {
    rules: &'a RuleSet,
    by_point: Vec<Manner>,
}

impl<'a> Manners<'a> {
    fn new(rules: &'a RuleSet) -> Manners<'a> {
        let plain = Manner {
            u: 0.0,
            flags: Flags::empty(),
            beyond: Amount::Exactly,
        };
        Manners {
            rules,
            by_point: vec![plain; rules.test_points.len()],
        }
    }

    /// The reading of a record, unless it only says how those that follow are to be taken.
    fn reading(&mut self, record: &Record, start: f64) -> Result<Option<Event>, StreamError> {
        let refused = |what: String| StreamError::Record {
            name: record.name.clone(),
            time: record.time,
            what,
        };
        let (id, manner) = match record.name.split_once('/') {
            Some((id, manner)) => (id, Some(manner)),
            None => (record.name.as_str(), None),
        };
        let place = self
            .rules
            .test_points
            .iter()
            .position(|point| point.id == id);
        let known = place.and_then(|place| {
            let manner = self.by_point.get_mut(place)?;
            Some((place, self.rules.test_points.get(place)?, manner))
        });
        let Some((place, point, how)) = known else {
            return Err(refused(
                "the rule set has no such test point: names are test points".into(),
            ));
        };
        if let Some(manner) = manner {
            how.say(manner, record, point).map_err(refused)?;
            return Ok(None);
        }
        let (value, unit) = of_point(record, point).map_err(refused)?;
        let at = (record.time - start) * NANOS_PER_SECOND as f64;
        if !(0.0..9e18).contains(&at) {
            return Err(refused(
                "its time is before the job opened, or centuries after".into(),
            ));
        }
        let value = unit.to_si(value);
        let amount = (how.beyond)(value);
        let mut flags = how.flags;
        if point.implausible(amount, how.u) {
            flags |= Flags::IMPLAUSIBLE;
        }
        let what = What::Reading {
            point: index(place),
            amount,
            u: how.u,
            flags,
            entered: false,
        };
        Ok(Some(Event {
            at: at.round() as i64,
            what,
        }))
    }
}

impl Manner {
    fn say(&mut self, manner: &str, record: &Record, point: &TestPoint) -> Result<(), String> {
        let text = match &record.value {
            Some(Value::Text(text)) => Ok(text.as_str()),
            _ => Err("it has no text: add `vs`".to_owned()),
        };
        match manner {
            "uncertainty" => {
                let (u, unit) = of_point(record, point)?;
                if u < 0.0 {
                    return Err("an uncertainty is not below zero".to_owned());
                }
                self.u = unit.span_to_si(u);
            }
            "flags" => {
                self.flags = Flags::empty();
                for word in text?.split_whitespace() {
                    let flag = Flags::from_word(word);
                    self.flags |= flag.ok_or_else(|| format!("`{word}` is no flag"))?;
                }
            }
            "beyond" => {
                self.beyond = match text? {
                    "" => Amount::Exactly,
                    "above" => Amount::Above,
                    "below" => Amount::Below,
                    other => return Err(format!("`{other}` is neither `above` nor `below`")),
                }
            }
            other => {
                return Err(format!(
                    "`{other}` says nothing of a reading: use `uncertainty`, `flags` or `beyond`"
                ));
            }
        }
        Ok(())
    }
}

/// A number in a unit of the point's quantity.
fn of_point(record: &Record, point: &TestPoint) -> Result<(f64, Unit), String> {
    let (value, unit) = number(record)?;
    if unit.quantity() == point.quantity {
        return Ok((value, unit));
    }
    let (has, wants) = (unit.quantity(), point.quantity);
    Err(format!(
        "its unit is one of {has}, the test point's of {wants}"
    ))
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
