//! Readings.

use trisect_bay::{EnteredReading, StoredReading};
use trisect_journal::{Happened, StoredEvent};
use trisect_rules::RuleSet;
use trisect_wire::types as wire;

use super::{beyond, internal};

/// A stored reading; `None` for other events.
pub(crate) fn stored_reading(rules: &RuleSet, event: &StoredEvent) -> Option<wire::Reading> {
    reading(&StoredReading {
        bay: &event.bay,
        job: event.job.as_deref().unwrap_or_default(),
        rules,
        seq: event.seq,
        row: &event.row,
    })
}

/// A reading that a person entered.
pub(crate) fn entered_reading(
    entered: &EnteredReading,
) -> Result<wire::Reading, trisect_wire::WireError> {
    let reading = stored_reading(&entered.rules, &entered.event);
    let reading = reading.ok_or_else(|| internal(&NoReading))?;
    Ok(wire::Reading {
        repeated: entered.repeated,
        ..reading
    })
}

/// What was stored as a reading is none.
#[derive(Debug, thiserror::Error)]
#[error("a reading that was just stored is none")]
struct NoReading;

/// A reading in the unit of its point; `None` for other events, and for a point that the rule set does not have.
pub(crate) fn reading(stored: &StoredReading<'_>) -> Option<wire::Reading> {
    let Happened::Reading(reading) = &stored.row.what else {
        return None;
    };
    let point = stored.rules.point_index(&reading.point)?;
    let unit = stored.rules.point_unit(point);
    let wall = jiff::Timestamp::from_microsecond(stored.row.wall).ok()?;
    let words = reading.flags.words();
    Some(wire::Reading {
        seq: stored.seq.unsigned_abs(),
        job: stored.job.to_owned(),
        bay: stored.bay.to_owned(),
        point: reading.point.to_string(),
        time: wire::Time(wall.to_string()),
        at: stored.row.at as f64 / 1e9,
        value: unit.from_si(reading.amount.edge()),
        unit: unit.symbol().to_owned(),
        uncertainty: unit.span_from_si(reading.uncertainty),
        beyond: beyond(reading.amount),
        instrument: reading.instrument.as_ref().map(ToString::to_string),
        channel: reading.channel.map(|channel| channel.to_string()),
        calibration: reading.calibration.as_ref().map(ToString::to_string),
        latency: reading.latency.map(|nanos| nanos as f64 / 1e9),
        barometer: reading.barometer.map(|pressure| unit.from_si(pressure)),
        by: stored.row.by.as_ref().map(ToString::to_string),
        entered: reading.entered,
        flags: words.into_iter().map(str::to_owned).collect(),
        repeated: false,
    })
}
