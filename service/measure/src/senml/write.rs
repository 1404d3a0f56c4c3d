//! Writing packs. What all records share goes into base fields; resolving gives
//! the same records again, bit for bit.

use std::cmp::Reverse;
use std::collections::BTreeMap;

use serde_json::{Map, Number, Value as Json};

use super::{Record, SECONDARY, SenmlError, VERSIONS, Value, check_name, check_unit};

/// Writes records as a pack, in the order given: the common beginning of their
/// names as base name, the commonest unit as base unit, times after a base time.
///
/// # Errors
/// A name or unit that SenML does not have, a number that is not finite, or a
/// record without value and sum.
pub fn write(records: &[Record]) -> Result<Vec<Map<String, Json>>, SenmlError> {
    let secondary = |r: &Record| r.unit.as_deref().is_some_and(|u| SECONDARY.contains(&u));
    let version = VERSIONS[usize::from(records.iter().any(secondary))];
    let mut writer = Writer {
        name: common_beginning(records),
        unit: commonest_unit(records),
        time: 0.0,
    };
    let mut pack = Vec::with_capacity(records.len());
    for (index, record) in records.iter().enumerate() {
        let breach = |what: String| SenmlError::Record {
            record: index + 1,
            what,
        };
        check_name(&record.name).map_err(breach)?;
        check_unit(record, version, &[])?;
        let mut fields = Map::new();
        if index == 0 {
            writer.begin(&mut fields, version);
        }
        writer.put(record, &mut fields).map_err(breach)?;
        pack.push(fields);
    }
    Ok(pack)
}

/// The base fields in force.
struct Writer<'a> {
    name: &'a str,
    unit: Option<&'a str>,
    time: f64,
}

impl Writer<'_> {
    fn begin(&self, fields: &mut Map<String, Json>, version: f64) {
        if version > VERSIONS[0] {
            fields.insert("bver".to_owned(), Json::from(version as i64));
        }
        if !self.name.is_empty() {
            fields.insert("bn".to_owned(), Json::from(self.name));
        }
        if let Some(unit) = self.unit {
            fields.insert("bu".to_owned(), Json::from(unit));
        }
    }

    fn put(&mut self, record: &Record, fields: &mut Map<String, Json>) -> Result<(), String> {
        if record.value.is_none() && record.sum.is_none() {
            return Err("it has neither value nor sum".to_owned());
        }
        self.put_time(record.time, fields)?;
        let own = record.name.strip_prefix(self.name).unwrap_or(&record.name);
        if !own.is_empty() {
            fields.insert("n".to_owned(), Json::from(own));
        }
        if record.unit.as_deref() != self.unit
            && let Some(unit) = &record.unit
        {
            fields.insert("u".to_owned(), Json::from(unit.as_str()));
        }
        match &record.value {
            Some(Value::Number(x)) => fields.insert("v".to_owned(), number(*x)?),
            Some(Value::Text(text)) => fields.insert("vs".to_owned(), Json::from(text.as_str())),
            Some(Value::Bool(truth)) => fields.insert("vb".to_owned(), Json::from(*truth)),
            Some(Value::Data(data)) => fields.insert("vd".to_owned(), Json::from(data.as_str())),
            None => None,
        };
        if let Some(sum) = record.sum {
            fields.insert("s".to_owned(), number(sum)?);
        }
        Ok(())
    }

    /// The time after the base time, in microseconds if that is exact; where no
    /// difference gives the time back, the base time is set anew.
    fn put_time(&mut self, time: f64, fields: &mut Map<String, Json>) -> Result<(), String> {
        let after = time - self.time;
        let exact = [(after * 1e6).round() / 1e6, after]
            .into_iter()
            .find(|t| self.time != 0.0 && self.time + t == time);
        match exact {
            Some(after) if after != 0.0 => {
                fields.insert("t".to_owned(), number(after)?);
            }
            Some(_) => {}
            None if time == self.time => {}
            None => {
                fields.insert("bt".to_owned(), number(time)?);
                self.time = time;
            }
        }
        Ok(())
    }
}

/// A number, whole ones without a point.
fn number(x: f64) -> Result<Json, String> {
    // Up to 2^53 every whole double is that integer.
    if x.fract() == 0.0 && x.abs() < 9_007_199_254_740_992.0 {
        return Ok(Json::from(x as i64));
    }
    Number::from_f64(x)
        .map(Json::Number)
        .ok_or_else(|| format!("{x} cannot be written: it is no finite number"))
}

fn common_beginning(records: &[Record]) -> &str {
    let mut records = records.iter();
    let Some(first) = records.next() else {
        return "";
    };
    let mut common = first.name.as_str();
    for record in records {
        let same = common
            .char_indices()
            .zip(record.name.chars())
            .find(|((_, a), b)| a != b)
            .map_or(common.len().min(record.name.len()), |((at, _), _)| at);
        common = common.get(..same).unwrap_or("");
    }
    common
}

/// The unit most records have, the first of several. A base unit holds for every
/// record without a unit of its own, so there is none where one has no unit at all.
fn commonest_unit(records: &[Record]) -> Option<&str> {
    let mut counts: BTreeMap<&str, (usize, Reverse<usize>)> = BTreeMap::new();
    for (index, record) in records.iter().enumerate() {
        let first = (0, Reverse(index));
        counts.entry(record.unit.as_deref()?).or_insert(first).0 += 1;
    }
    let most = counts.into_iter().max_by_key(|(_, count)| *count);
    most.map(|(unit, _)| unit)
}
