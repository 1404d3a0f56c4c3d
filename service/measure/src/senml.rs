//! SenML packs (RFC 8428, JSON form), read and written. Read, a pack is resolved:
//! base fields applied, times absolute, records in order of time. Secondary units
//! (RFC 8798) need the feature bit of RFC 9100, so `bver` 26.

mod registry;
#[cfg(test)]
mod tests;
mod write;

use serde_json::{Map, Value as Json};

use crate::{Unit, UnitError};
use registry::{PRIMARY, SECONDARY};

pub use registry::unit_of;
pub use write::write;

/// A resolved record.
#[derive(Clone, Debug, PartialEq)]
pub struct Record {
    /// The full name: base name and name.
    pub name: String,
    /// The unit as written, if any.
    pub unit: Option<String>,
    /// The value; a record may carry a sum alone.
    pub value: Option<Value>,
    /// The integral over time, if given.
    pub sum: Option<f64>,
    /// Seconds since the epoch of Unix.
    pub time: f64,
}

/// The value of a record.
#[derive(Clone, Debug, PartialEq)]
pub enum Value {
    /// A number, in the record's unit.
    Number(f64),
    /// A text.
    Text(String),
    /// A truth value.
    Bool(bool),
    /// Base64url data, as written.
    Data(String),
}

/// A pack that breaks RFC 8428. `record` counts from 1.
#[derive(Debug, thiserror::Error)]
pub enum SenmlError {
    /// Not JSON at all.
    #[error("the SenML pack is not JSON: {0}")]
    Json(#[from] serde_json::Error),
    /// Not an array of objects.
    #[error("a SenML pack is an array of records, each an object")]
    Shape,
    /// A record that breaks a rule.
    #[error("SenML record {record}: {what}")]
    Record {
        /// Which record, from 1.
        record: usize,
        /// The rule it breaks, and how to mend it.
        what: String,
    },
    /// A unit that SenML does not register, or not under this version.
    #[error("SenML name `{name}`: {source}")]
    Unit {
        /// The record's full name.
        name: String,
        /// What is wrong with the unit.
        source: UnitError,
    },
}

/// Times below this are relative to now (RFC 8428, 4.5.3).
const RELATIVE_BELOW: f64 = 268_435_456.0;
/// The version without features, and the one with secondary units.
const VERSIONS: [f64; 2] = [10.0, 26.0];

#[derive(Default)]
struct Base {
    name: String,
    time: f64,
    unit: Option<String>,
    value: Option<f64>,
    sum: Option<f64>,
    version: f64,
}

/// Resolves a pack. `now` is in seconds since the epoch; records whose time is
/// relative are placed against it.
///
/// # Errors
/// The first breach of RFC 8428, with the record's number.
pub fn resolve(json: &str, now: f64) -> Result<Vec<Record>, SenmlError> {
    resolve_values(&serde_json::from_str(json)?, now)
}

/// [`resolve`], with units besides the registered ones: what we write for ourselves
/// to the last bit needs radians per second, for which the registry has no code.
///
/// # Errors
/// As [`resolve`].
pub fn resolve_with(json: &str, now: f64, also: &[&str]) -> Result<Vec<Record>, SenmlError> {
    resolve_all(&serde_json::from_str(json)?, now, also)
}

/// [`resolve`], for a pack that is parsed already.
///
/// # Errors
/// As [`resolve`].
pub fn resolve_values(pack: &Json, now: f64) -> Result<Vec<Record>, SenmlError> {
    resolve_all(pack, now, &[])
}

fn resolve_all(pack: &Json, now: f64, also: &[&str]) -> Result<Vec<Record>, SenmlError> {
    let records = pack.as_array().ok_or(SenmlError::Shape)?;
    let mut base = Base {
        version: VERSIONS[0],
        ..Base::default()
    };
    let mut resolved = Vec::with_capacity(records.len());
    for (index, record) in records.iter().enumerate() {
        let fields = record.as_object().ok_or(SenmlError::Shape)?;
        let breach = |what: String| SenmlError::Record {
            record: index + 1,
            what,
        };
        base.read(fields).map_err(breach)?;
        if let Some(record) = base.record(fields, now).map_err(breach)? {
            check_unit(&record, base.version, also)?;
            resolved.push(record);
        }
    }
    resolved.sort_by(|a, b| a.time.total_cmp(&b.time));
    Ok(resolved)
}

impl Record {
    /// The number and its unit, if the record has both.
    pub fn number(&self) -> Option<(f64, Unit)> {
        match (&self.value, &self.unit) {
            (Some(Value::Number(x)), Some(unit)) => Some((*x, Unit::parse(unit).ok()?)),
            _ => None,
        }
    }
}

impl Base {
    fn read(&mut self, fields: &Map<String, Json>) -> Result<(), String> {
        for (label, value) in fields {
            match label.as_str() {
                "bn" => self.name = text(label, value)?,
                "bt" => self.time = number(label, value)?,
                "bu" => self.unit = Some(text(label, value)?),
                "bv" => self.value = Some(number(label, value)?),
                "bs" => self.sum = Some(number(label, value)?),
                "bver" => {
                    self.version = number(label, value)?;
                    if self.version > VERSIONS[0] && !VERSIONS.contains(&self.version) {
                        return Err(format!(
                            "`bver` {value} is above what is understood (10 and 26)"
                        ));
                    }
                }
                other if other.ends_with('_') => {
                    return Err(format!("`{other}` must be understood, and is not"));
                }
                _ => {}
            }
        }
        Ok(())
    }

    fn record(&self, fields: &Map<String, Json>, now: f64) -> Result<Option<Record>, String> {
        let own = ["n", "u", "v", "vs", "vb", "vd", "s", "t", "ut"];
        if !own.iter().any(|label| fields.contains_key(*label)) {
            // A record of base fields alone sets the stage for those that follow.
            return Ok(None);
        }
        let get = |label: &str| {
            fields
                .get(label)
                .map(|value| number(label, value))
                .transpose()
        };
        let name = match fields.get("n") {
            Some(name) => self.name.clone() + &text("n", name)?,
            None => self.name.clone(),
        };
        check_name(&name)?;
        let sum = match (self.sum, get("s")?) {
            (None, None) => None,
            (base, own) => Some(base.unwrap_or(0.0) + own.unwrap_or(0.0)),
        };
        let value = self.value_of(fields)?;
        if value.is_none() && sum.is_none() {
            return Err("no value: give one of `v`, `vs`, `vb`, `vd`, or a sum `s`".to_owned());
        }
        let time = self.time + get("t")?.unwrap_or(0.0);
        let unit = fields.get("u").map(|unit| text("u", unit)).transpose()?;
        Ok(Some(Record {
            name,
            unit: unit.or_else(|| self.unit.clone()),
            value,
            sum,
            time: if time < RELATIVE_BELOW {
                now + time
            } else {
                time
            },
        }))
    }

    fn value_of(&self, fields: &Map<String, Json>) -> Result<Option<Value>, String> {
        let mut given = Vec::new();
        for label in ["v", "vs", "vb", "vd"] {
            let Some(value) = fields.get(label) else {
                continue;
            };
            given.push(match label {
                "v" => Value::Number(number(label, value)? + self.value.unwrap_or(0.0)),
                "vs" => Value::Text(text(label, value)?),
                "vb" => Value::Bool(value.as_bool().ok_or("`vb` is true or false")?),
                _ => Value::Data(text(label, value)?),
            });
        }
        if given.len() > 1 {
            return Err("more than one value: keep one of `v`, `vs`, `vb`, `vd`".to_owned());
        }
        Ok(given.pop().or(self.value.map(Value::Number)))
    }
}

fn check_unit(record: &Record, version: f64, also: &[&str]) -> Result<(), SenmlError> {
    let Some(unit) = &record.unit else {
        return Ok(());
    };
    let known = PRIMARY.contains(&unit.as_str())
        || also.contains(&unit.as_str())
        || version >= VERSIONS[1] && SECONDARY.contains(&unit.as_str());
    if known {
        return Ok(());
    }
    let mut allowed = PRIMARY.join(" ");
    if version >= VERSIONS[1] {
        allowed = format!("{allowed} {}", SECONDARY.join(" "));
    }
    Err(SenmlError::Unit {
        name: record.name.clone(),
        source: UnitError::among(unit.clone(), allowed),
    })
}

fn check_name(name: &str) -> Result<(), String> {
    let allowed = |c: char| c.is_ascii_alphanumeric() || "-:./_".contains(c);
    if name
        .chars()
        .next()
        .is_some_and(|c| c.is_ascii_alphanumeric())
        && name.chars().all(allowed)
    {
        return Ok(());
    }
    Err(format!(
        "`{name}` is no name: use letters, digits and - : . / _, a letter or digit first"
    ))
}

fn number(label: &str, value: &Json) -> Result<f64, String> {
    let number = value.as_f64().filter(|x| x.is_finite());
    number.ok_or_else(|| format!("`{label}` is a number, not {value}"))
}

fn text(label: &str, value: &Json) -> Result<String, String> {
    value
        .as_str()
        .map(str::to_owned)
        .ok_or_else(|| format!("`{label}` is a text, not {value}"))
}
