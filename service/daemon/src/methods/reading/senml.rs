//! Stored readings as a SenML pack (RFC 8428).

use serde_json::{Map, Value};
use trisect_journal::{Happened, Reading, StoredEvent};
use trisect_measure::senml::{self, Record};
use trisect_measure::{Amount, Quantity};
use trisect_wire::WireError;

use crate::convert::internal;

/// The readings of a page as a pack: names are what they are kept under (test points, or
/// instrument, channel and quantity), whose quantity is told by the caller, values in SenML's
/// own units. An overload is a text that says the end of the range, such as
/// `> 40000000 Ohm`: SenML has no word for it.
pub(crate) fn pack(
    page: &[StoredEvent],
    quantity_of: impl Fn(&str) -> Option<Quantity>,
) -> Result<Vec<Map<String, Value>>, WireError> {
    let record = |event: &StoredEvent| match &event.row.what {
        Happened::Reading(reading) => Some(told(event, reading, quantity_of(&reading.point)?)),
        _ => None,
    };
    let records: Vec<Record> = page.iter().filter_map(record).collect();
    senml::write(&records).map_err(|error| internal(&error))
}

fn told(event: &StoredEvent, reading: &Reading, quantity: Quantity) -> Record {
    let (code, value) = value(reading, quantity);
    Record {
        name: reading.point.to_string(),
        unit: Some(code.to_owned()),
        value: Some(value),
        sum: None,
        time: event.row.wall as f64 / 1e6,
    }
}

fn value(reading: &Reading, quantity: Quantity) -> (&'static str, senml::Value) {
    let (code, unit) = senml::unit_of(quantity);
    let end = unit.from_si(reading.amount.edge());
    let value = match reading.amount {
        Amount::Exactly(_) => senml::Value::Number(end),
        Amount::Above(_) => senml::Value::Text(format!("> {end} {unit}")),
        Amount::Below(_) => senml::Value::Text(format!("< {end} {unit}")),
    };
    (code, value)
}
