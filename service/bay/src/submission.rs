//! Readings that a program submits: all stored, or none.

use std::sync::Arc;

use crate::error::{BayError, ErrorKind};
use jiff::Timestamp;
use serde::Serialize;
use sha2::{Digest, Sha256};
use trisect_journal::{Appended, EventRow, Happened, Reading, SubmissionKey};
use trisect_measure::{Amount, Entered, Flags, Reference, Unit, combine, parse_entry, senml};
use trisect_rules::RuleSet;

use super::entry::{check_plausible, test_point, unmeasured, wrong_quantity};
use super::record::{internal, refusal};
use super::state::Bay;
use crate::instruments::{Air, ChainError};
use crate::request::{Beyond, SubmitRequest, Submitted, SubmittedReading};

/// How far ahead of the bay's clock another clock may be, in nanoseconds.
const AHEAD: i64 = 5_000_000_000;

impl Bay {
    /// Stores readings that a program sends: all, or none. Under a known key they are said to be there, whatever would
    /// be said of them now.
    ///
    /// # Errors
    /// The first reading that cannot be one, no open job, or a journal that does not store them.
    pub async fn submit(&mut self, params: SubmitRequest) -> Result<Submitted, BayError> {
        let key = submission_key(params.key.as_deref(), &(&params.readings, &params.senml))?;
        let appended = match self.submitted(params) {
            Ok(rows) if rows.is_empty() => {
                return Ok(Submitted {
                    accepted: 0,
                    repeated: false,
                });
            }
            Ok(rows) => self.record(rows, key).await?,
            Err(refused) => self.stored_before(key, refused).await?,
        };
        let (count, repeated) = match appended {
            Appended::Stored { count, .. } => (count, false),
            Appended::Repeated { count, .. } => (count, true),
        };
        Ok(Submitted {
            accepted: u64::from(count),
            repeated,
        })
    }

    /// What was stored under a key; or, if nothing was, the refusal of what came with it. Its sender may not have heard
    /// that it was stored, and by now the job may be closed or the clock set.
    pub(super) async fn stored_before(
        &self,
        key: Option<SubmissionKey>,
        refused: BayError,
    ) -> Result<Appended, BayError> {
        let Some(key) = key else {
            return Err(refused);
        };
        let found = self.journal.submitted(&self.name, key).await;
        found.map_err(|error| refusal(&error))?.ok_or(refused)
    }

    /// A submission as rows.
    fn submitted(&mut self, params: SubmitRequest) -> Result<Vec<EventRow>, BayError> {
        let (rules, now) = self.moment()?;
        match (params.readings, params.senml) {
            (Some(readings), None) => self.rows(&rules, &readings, now),
            (None, Some(pack)) => {
                let readings = self.unpack(pack, now)?;
                self.rows(&rules, &readings, now)
            }
            _ => Err(ErrorKind::InvalidRequest
                .because("a submission is either readings or senml")
                .at("readings")
                .hint("give one of `readings` and `senml`")),
        }
    }

    fn rows(
        &self,
        rules: &RuleSet,
        readings: &[SubmittedReading],
        now: i64,
    ) -> Result<Vec<EventRow>, BayError> {
        // A submission is mostly of one point: its id is looked up and shared once.
        let mut last: Option<Arc<str>> = None;
        let air = self.air();
        let mut rows = Vec::with_capacity(readings.len());
        for (index, submitted) in readings.iter().enumerate() {
            let at = match &submitted.time {
                None => now,
                Some(time) => self.job_time(time, now, index)?,
            };
            let id = match &last {
                Some(id) if **id == *submitted.point => Arc::clone(id),
                _ => Arc::from(submitted.point.as_str()),
            };
            last = Some(Arc::clone(&id));
            let reading = read(rules, submitted, id, air, index)?;
            let what = Happened::Reading(reading);
            rows.push(EventRow {
                at,
                wall: self.wall_of(at),
                by: None,
                what,
            });
        }
        Ok(rows)
    }

    /// A time in RFC 3339 as nanoseconds since the job was opened.
    fn job_time(&self, time: &str, now: i64, index: usize) -> Result<i64, BayError> {
        let field = format!("readings[{index}].time");
        let wall: Timestamp = time.parse().map_err(|_| {
            ErrorKind::InvalidTime
                .because(format!("`{time}` is no time"))
                .at(field.as_str())
                .hint("write RFC 3339 in UTC: 2026-01-31T07:31:05.250Z")
        })?;
        let opened = self.job.as_ref().map_or(0, |open| open.opened);
        let at = self.clock.at(wall).saturating_sub(opened);
        if at < 0 || at > now.saturating_add(AHEAD) {
            let when = if at < 0 {
                "before the job was opened"
            } else {
                "in the future"
            };
            return Err(ErrorKind::InvalidTime
                .because(format!("{time} is {when}"))
                .at(field)
                .hint("set the clocks alike, or leave the time out"));
        }
        Ok(at)
    }

    /// A SenML pack as submitted readings.
    fn unpack(
        &self,
        pack: Vec<serde_json::Map<String, serde_json::Value>>,
        now: i64,
    ) -> Result<Vec<SubmittedReading>, BayError> {
        let refused = |why: String| {
            ErrorKind::InvalidValue
                .because(why)
                .at("senml")
                .hint("RFC 8428 has the rules")
        };
        let wall = Timestamp::from_microsecond(self.wall_of(now)).map_err(|e| internal(&e))?;
        let seconds = wall.as_microsecond() as f64 / 1e6;
        let pack = pack.into_iter().map(serde_json::Value::Object).collect();
        let records = senml::resolve_values(&serde_json::Value::Array(pack), seconds)
            .map_err(|error| refused(error.to_string()))?;
        let reading = |record: senml::Record| {
            let (value, unit, beyond) = said(&record).map_err(refused)?;
            // Doubles hold microseconds of this century; no more is claimed.
            let time = Timestamp::from_microsecond((record.time * 1e6).round() as i64)
                .map_err(|error| refused(error.to_string()))?;
            Ok(SubmittedReading {
                point: record.name,
                value,
                unit: unit.symbol().to_owned(),
                uncertainty: None,
                beyond,
                time: Some(time.to_string()),
            })
        };
        records.into_iter().map(reading).collect()
    }
}

/// What a SenML record says: a number, or a text that is an overload.
fn said(record: &senml::Record) -> Result<(f64, Unit, Option<Beyond>), String> {
    let name = &record.name;
    if let Some((value, unit)) = record.number() {
        return Ok((value, unit, None));
    }
    let Some(senml::Value::Text(text)) = &record.value else {
        return Err(format!(
            "`{name}` has no number with a unit that is known here"
        ));
    };
    let entry = parse_entry(text).map_err(|error| format!("`{name}`: {error}"))?;
    match (entry.amount, entry.unit) {
        (Entered::Exactly(value), Some(unit)) => Ok((value, unit, None)),
        (Entered::Above(value), Some(unit)) => Ok((value, unit, Some(Beyond::Above))),
        (Entered::Below(value), Some(unit)) => Ok((value, unit, Some(Beyond::Below))),
        _ => Err(format!(
            "`{name}`: `{text}` does not say where the range ends: write it as `> 40 MOhm`"
        )),
    }
}

fn read(
    rules: &RuleSet,
    submitted: &SubmittedReading,
    id: Arc<str>,
    air: Option<Air>,
    index: usize,
) -> Result<Reading, BayError> {
    let field = |name: &str| format!("readings[{index}].{name}");
    let refused = |kind: ErrorKind, why: String, name: &str, hint: &str| {
        kind.because(why).at(field(name)).hint(hint)
    };
    // The paths of errors are made only when there is one: this runs for every reading.
    let point = match rules.test_points.iter().find(|p| p.id == submitted.point) {
        Some(point) => point,
        None => {
            return Err(test_point(rules, &submitted.point, &field("point"))
                .err()
                .unwrap_or_else(|| {
                    ErrorKind::UnknownPoint.because("there is no such test point")
                }));
        }
    };
    let (unit, reference) = Unit::parse_referenced(&submitted.unit).map_err(|error| {
        let hint = format!("use {}", point.unit);
        refused(ErrorKind::UnknownUnit, error.to_string(), "unit", &hint)
    })?;
    if unit.quantity() != point.quantity {
        return Err(wrong_quantity(
            point,
            &submitted.unit,
            unit.quantity(),
            &field("unit"),
        ));
    }
    let u = submitted.uncertainty.unwrap_or(0.0);
    if !(submitted.value.is_finite() && u.is_finite() && u >= 0.0) {
        let why = "value and uncertainty are numbers, and an uncertainty is not below zero";
        let hint = "leave the uncertainty out if it is not known";
        return Err(refused(
            ErrorKind::InvalidValue,
            why.to_owned(),
            "uncertainty",
            hint,
        ));
    }
    let absolute = reference == Some(Reference::Absolute);
    let air = match (absolute, air) {
        (false, _) => None,
        (true, Some(air)) => Some(air),
        (true, None) => return Err(unmeasured(&ChainError::NoBarometer).at(field("unit"))),
    };
    let value = unit.to_si(submitted.value) - air.map_or(0.0, |air| air.pressure);
    let amount = match submitted.beyond {
        None => Amount::Exactly(value),
        Some(Beyond::Above) => Amount::Above(value),
        Some(Beyond::Below) => Amount::Below(value),
    };
    let u = match air {
        Some(air) => combine(&[unit.span_to_si(u), air.u]),
        None => unit.span_to_si(u),
    };
    if point.implausible(amount, u) {
        let written = format!("{} {}", submitted.value, submitted.unit);
        check_plausible(point, amount, u, &written, &field("value"))?;
    }
    Ok(Reading {
        point: id,
        amount,
        uncertainty: u,
        flags: Flags::empty(),
        entered: false,
        instrument: None,
        channel: None,
        calibration: None,
        latency: None,
        barometer: air.map(|air| air.pressure),
    })
}

/// The sender's key with what it stands for.
pub(super) fn submission_key(
    key: Option<&str>,
    content: &impl Serialize,
) -> Result<Option<SubmissionKey>, BayError> {
    let Some(key) = key else {
        return Ok(None);
    };
    if key.is_empty() || key.len() > 256 {
        return Err(ErrorKind::InvalidValue
            .because("a key has 1 to 256 characters")
            .at("key")
            .hint("use a UUID, or a counter of your own"));
    }
    let content = serde_json::to_vec(content).map_err(|error| internal(&error))?;
    Ok(Some(SubmissionKey {
        key: key.to_owned(),
        content: Sha256::digest(content).into(),
    }))
}
