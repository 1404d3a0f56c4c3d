//! What an instrument's data sheet says about its accuracy, by range.

use serde_json::Value;
use trisect_measure::{Accuracy, Function, Quantity, parse_value};

/// A meter counts a little past the end that its range is named after.
const PAST_THE_END: f64 = 1.1;
/// 0 °C, from which the ranges of thermometers are named.
const ICE: f64 = 273.15;

/// The accuracy of each range of one function, or one for all of them.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Ranges {
    /// By the end of the range, in SI, the smallest first.
    by_range: Vec<(f64, Accuracy)>,
    otherwise: Option<Accuracy>,
}

/// The range is not among those an accuracy is given for.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("no accuracy is given for the range up to {0}: add it to `accuracy`, or `otherwise`")]
pub(crate) struct NoSuchRange(String);

impl Ranges {
    /// A text such as `0.5 % rdg + 3 dgt`, or an object of range end and text:
    /// `{"4 V": "0.5 % rdg + 3 dgt", "otherwise": "1 % rdg + 3 dgt"}`.
    pub(crate) fn read(value: &Value, function: Option<Function>) -> Result<Ranges, String> {
        match (value, function) {
            (Value::String(text), _) => Ok(Ranges {
                by_range: Vec::new(),
                otherwise: Some(accuracy(text)?),
            }),
            (Value::Object(ranges), Some(function)) => {
                let mut found = Ranges {
                    by_range: Vec::new(),
                    otherwise: None,
                };
                for (end, text) in ranges {
                    let text = text.as_str().ok_or_else(|| shape(value))?;
                    if end == "otherwise" {
                        found.otherwise = Some(accuracy(text)?);
                        continue;
                    }
                    let end = parse_value(end, function.quantity());
                    let end = end.map_err(|error| format!("the end of a range: {error}"))?;
                    found.by_range.push((end, accuracy(text)?));
                }
                found.by_range.sort_by(|a, b| a.0.total_cmp(&b.0));
                Ok(found)
            }
            _ => Err(shape(value)),
        }
    }

    /// The accuracy of the range that ends at `span`, or where the instrument
    /// does not say its range, of the smallest that holds the reading: the first
    /// whose end, and a tenth more, is not below it.
    pub(crate) fn of(
        &self,
        quantity: Quantity,
        reading: f64,
        span: Option<f64>,
    ) -> Result<&Accuracy, NoSuchRange> {
        let scale = |x: f64| match quantity {
            Quantity::Temperature => x - ICE,
            _ => x,
        };
        let size = scale(span.unwrap_or(reading)).abs();
        self.by_range
            .iter()
            .find(|(end, _)| scale(*end).abs() * PAST_THE_END >= size)
            .map(|(_, accuracy)| accuracy)
            .or(self.otherwise.as_ref())
            .ok_or_else(|| {
                let unit = quantity.si_unit();
                NoSuchRange(format!("{} {unit}", unit.from_si(span.unwrap_or(reading))))
            })
    }
}

fn accuracy(text: &str) -> Result<Accuracy, String> {
    Accuracy::parse(text).map_err(|error| error.to_string())
}

fn shape(value: &Value) -> String {
    format!(
        "{value} is no accuracy: write it as on the data sheet, such as `0.5 % rdg + 3 dgt`; for a function also by range"
    )
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use serde_json::json;

    fn half_width(ranges: &Value, reading: f64, span: Option<f64>) -> Result<f64, String> {
        let ranges = Ranges::read(ranges, Some(Function::Voltage))?;
        let accuracy = ranges.of(Quantity::Voltage, reading, span);
        let accuracy = accuracy.map_err(|error| error.to_string())?;
        Ok(accuracy.half_width(reading, Some(0.01), span).unwrap())
    }

    #[test]
    fn a_reading_has_the_accuracy_of_its_range() {
        let ranges = json!({"400 mV": "1 mV", "4 V": "10 mV", "40 V": "100 mV"});
        let check = |reading, span, expected| {
            assert_eq!(
                half_width(&ranges, reading, span),
                Ok(expected),
                "{reading} {span:?}"
            );
        };
        check(0.3, Some(0.4), 0.001);
        check(0.3, Some(4.0), 0.01);
        // A chip of 4200 counts in the 4 V range.
        check(4.1, Some(4.2), 0.01);
        check(-12.0, Some(40.0), 0.1);
        check(-12.0, None, 0.1);
        let beyond = half_width(&ranges, 100.0, Some(400.0)).unwrap_err();
        assert!(
            beyond.contains("400 V") && beyond.contains("otherwise"),
            "{beyond}"
        );
    }

    #[test]
    fn what_is_not_given_is_as_otherwise() {
        let ranges = json!({"4 V": "10 mV", "otherwise": "1 V"});
        assert_eq!(half_width(&ranges, 100.0, Some(400.0)), Ok(1.0));
        assert_eq!(half_width(&json!("1 V"), 100.0, None), Ok(1.0));
    }

    #[test]
    fn mistakes_say_what_to_write() {
        let check = |ranges: Value, part: &str| {
            let error = half_width(&ranges, 1.0, None).unwrap_err();
            assert!(error.contains(part), "{error}");
        };
        check(json!(3), "as on the data sheet");
        check(json!("rather good"), "rather good");
        check(json!({"4 psi": "1 V"}), "the end of a range");
        check(json!({"4 V": 1}), "as on the data sheet");
        let all = Ranges::read(&json!({"4 V": "1 V"}), None).unwrap_err();
        assert!(all.contains("for a function also by range"), "{all}");
    }
}
