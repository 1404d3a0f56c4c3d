//! Values in a JSON document. No I/O.

use serde_json::Value;
use trisect_measure::{Amount, Flags, Function, Sample, Unit};

/// Where one reading stands.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Place {
    pub channel: u16,
    pub function: Function,
    /// JSON Pointer to its value.
    pub value: String,
    pub unit: UnitPlace,
    /// JSON Pointer to its time, if it has one.
    pub time: Option<String>,
}

/// What its unit is.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum UnitPlace {
    /// Always this one.
    Is(Unit),
    /// What the document says there (JSON Pointer).
    At(String),
}

/// A reading, and the time it says it is of, as it is written.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Found {
    pub sample: Sample,
    pub time: Option<String>,
}

impl Place {
    /// Reads it; or says why it cannot be read.
    pub(crate) fn read(&self, document: &Value) -> Result<Found, String> {
        let value = at(document, &self.value)?;
        let value = match value {
            Value::Number(number) => number.as_f64(),
            // Many devices write numbers as texts; a text that is none is refused.
            Value::String(text) => text.trim().parse().ok(),
            _ => None,
        };
        let value = value
            .filter(|value: &f64| value.is_finite())
            .ok_or_else(|| format!("what stands at `{}` is no number", self.value))?;
        let unit = self.unit(document)?;
        let amount = unit.to_si(value);
        if !amount.is_finite() {
            return Err(format!(
                "what stands at `{}` is beyond what can be measured",
                self.value
            ));
        }
        let time = self
            .time
            .as_ref()
            .map(|pointer| at(document, pointer).map(Value::to_string));
        Ok(Found {
            sample: Sample {
                channel: self.channel,
                function: self.function,
                amount: Amount::Exactly(amount),
                digit: None,
                span: None,
                coupling: None,
                flags: Flags::empty(),
            },
            time: time.transpose()?,
        })
    }

    fn unit(&self, document: &Value) -> Result<Unit, String> {
        let pointer = match &self.unit {
            UnitPlace::Is(unit) => return Ok(*unit),
            UnitPlace::At(pointer) => pointer,
        };
        let text = at(document, pointer)?;
        let text = text
            .as_str()
            .ok_or_else(|| format!("the unit at `{pointer}` is no text"))?;
        // Not what stands there: whoever reads the error may not be who may see the answer.
        let unit = Unit::parse(text)
            .map_err(|_| format!("what stands at `{pointer}` is no unit that is known"))?;
        if unit.quantity() != self.function.quantity() {
            return Err(format!(
                "the unit at `{pointer}` is no unit of {}",
                self.function.quantity()
            ));
        }
        Ok(unit)
    }
}

fn at<'a>(document: &'a Value, pointer: &str) -> Result<&'a Value, String> {
    document
        .pointer(pointer)
        .ok_or_else(|| format!("nothing stands at `{pointer}`"))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use serde_json::json;

    fn place(unit: UnitPlace) -> Place {
        Place {
            channel: 0,
            function: Function::Pressure,
            value: "/inlet/value".to_owned(),
            unit,
            time: Some("/time".to_owned()),
        }
    }

    fn check(document: &Value, expected: Result<f64, &str>) {
        let found = place(UnitPlace::At("/inlet/unit".to_owned())).read(document);
        match expected {
            Ok(pascals) => assert_eq!(found.unwrap().sample.amount, Amount::Exactly(pascals)),
            Err(why) => assert!(found.clone().unwrap_err().contains(why), "{found:?}"),
        }
    }

    #[test]
    fn values_are_read_where_they_stand_or_refused_in_words() {
        let with =
            |value: Value, unit: Value| json!({"inlet": {"value": value, "unit": unit}, "time": 1});
        check(&with(json!(2), json!("kPa")), Ok(2000.0));
        check(&with(json!(" 2.5 "), json!("kPa")), Ok(2500.0));
        check(&with(json!(null), json!("kPa")), Err("is no number"));
        check(&with(json!("NaN"), json!("kPa")), Err("is no number"));
        check(&with(json!(2), json!("V")), Err("no unit of pressure"));
        check(
            &with(json!(2), json!("stone")),
            Err("no unit that is known"),
        );
        check(&with(json!(2), json!(2)), Err("is no text"));
        check(
            &json!({"inlet": {"value": 1}}),
            Err("nothing stands at `/inlet/unit`"),
        );
        check(&json!([]), Err("nothing stands at `/inlet/value`"));
        let timeless = json!({"inlet": {"value": 1, "unit": "Pa"}});
        check(&timeless, Err("nothing stands at `/time`"));
        let found = place(UnitPlace::Is(Unit::PSI))
            .read(&with(json!(1), json!(null)))
            .unwrap();
        assert_eq!(found.time.as_deref(), Some("1"));
    }
}
