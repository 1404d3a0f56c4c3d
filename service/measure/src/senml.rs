//! SenML packs (RFC 8428, JSON form), resolved: base fields applied, times
//! absolute, records in order of time. Secondary units (RFC 8798) need the
//! feature bit of RFC 9100, so `bver` 26.

use serde_json::{Map, Value as Json};

use crate::{Unit, UnitError};

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
const PRIMARY: [&str; 12] = [
    "V", "A", "Ohm", "Pa", "Hz", "Cel", "K", "s", "F", "/", "1/min", "rad/s",
];
const SECONDARY: [&str; 8] = ["ms", "min", "h", "mV", "mA", "hPa", "kHz", "MHz"];

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

/// [`resolve`], for a pack that is parsed already.
///
/// # Errors
/// As [`resolve`].
pub fn resolve_values(pack: &Json, now: f64) -> Result<Vec<Record>, SenmlError> {
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
            check_unit(&record, base.version)?;
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

fn check_unit(record: &Record, version: f64) -> Result<(), SenmlError> {
    let Some(unit) = &record.unit else {
        return Ok(());
    };
    let known = PRIMARY.contains(&unit.as_str())
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

#[cfg(test)]
mod tests {
    use super::*;

    fn numbers(json: &str) -> Vec<(String, f64, f64)> {
        let records = resolve(json, 0.0).unwrap_or_default();
        let value = |r: &Record| r.number().map_or(f64::NAN, |(x, _)| x);
        records
            .iter()
            .map(|r| (r.name.clone(), r.time, value(r)))
            .collect()
    }

    /// RFC 8428, 5.1.2 and 5.1.3: the current of 1.2 … 1.7 A over five seconds.
    #[test]
    fn multiple_measurements_of_rfc_8428() {
        let pack = r#"[{"bn":"urn:dev:ow:10e2073a0108006:","bt":1.276020076001e+09,"bu":"A","bver":5,
            "n":"voltage","u":"V","v":120.1},{"n":"current","t":-5,"v":1.2},{"n":"current","t":-4,"v":1.3},
            {"n":"current","t":-3,"v":1.4},{"n":"current","t":-2,"v":1.5},{"n":"current","t":-1,"v":1.6},
            {"n":"current","v":1.7}]"#;
        let got = numbers(pack);
        let name = |s: &str| format!("urn:dev:ow:10e2073a0108006:{s}");
        assert_eq!(got.len(), 7);
        assert_eq!(got[0], (name("current"), 1_276_020_071.001, 1.2));
        assert_eq!(got[4], (name("current"), 1_276_020_075.001, 1.6));
        assert!(got[5..].contains(&(name("voltage"), 1_276_020_076.001, 120.1)));
        assert!(got[5..].contains(&(name("current"), 1_276_020_076.001, 1.7)));
    }

    #[test]
    fn base_values_and_sums_add_and_relative_times_follow_now() {
        let pack = r#"[{"bn":"a","bv":10,"bs":1},{"u":"V","v":2,"t":-3},{"u":"V","v":1,"s":4}]"#;
        let got = resolve(pack, 1e9).unwrap_or_default();
        assert_eq!(got[0].number(), Some((12.0, Unit::VOLT)));
        assert_eq!((got[0].time, got[0].sum), (1e9 - 3.0, Some(1.0)));
        assert_eq!((got[1].time, got[1].sum), (1e9, Some(5.0)));
    }

    fn refused(json: &str, word: &str) {
        let error = resolve(json, 0.0).map_err(|e| e.to_string());
        assert!(
            matches!(&error, Err(m) if m.contains(word)),
            "{json}: {error:?}"
        );
    }

    #[test]
    fn breaches_are_refused_with_the_record_and_the_way_out() {
        refused("{", "JSON");
        refused("{}", "array");
        refused(
            r#"[{"n":"a","u":"V","v":1},{"n":"a","mandatory_":1,"v":1}]"#,
            "record 2: `mandatory_`",
        );
        refused(r#"[{"n":"a","u":"V","v":1,"bver":27}]"#, "`bver` 27");
        refused(
            r#"[{"n":"a","u":"V","v":1,"vs":"x"}]"#,
            "more than one value",
        );
        refused(r#"[{"n":"a","u":"V"}]"#, "no value");
        refused(r#"[{"n":"_a","u":"V","v":1}]"#, "is no name");
        refused(r#"[{"u":"V","v":1}]"#, "is no name");
        refused(r#"[{"n":"a","u":"V","v":"1"}]"#, "`v` is a number");
    }

    #[test]
    fn psi_is_no_senml_unit_and_millivolts_need_the_feature() {
        refused(r#"[{"n":"a","u":"psi","v":1}]"#, "unknown unit `psi`");
        refused(r#"[{"n":"a","u":"mV","v":1}]"#, "unknown unit `mV`");
        let got = resolve(r#"[{"bver":26,"n":"a","u":"mV","v":1500}]"#, 0.0).unwrap_or_default();
        assert_eq!(got[0].number().map(|(x, u)| u.to_si(x)), Some(1.5));
    }
}
