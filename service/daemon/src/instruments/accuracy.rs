//! What an instrument's data sheet says about its accuracy, by function.

use std::collections::BTreeMap;

use serde_json::{Map, Value};
use trisect_measure::{
    Accuracy, AccuracyError, Amount, Function, Sample, combine, resolution_uncertainty,
};

/// One accuracy for everything, one for each function, or none.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Accuracies {
    all: Option<Accuracy>,
    by_function: BTreeMap<String, Accuracy>,
}

impl Accuracies {
    /// Takes the member `accuracy` out of an instrument's settings: a text such
    /// as `0.5 % rdg + 3 dgt`, or an object of function and text.
    pub(crate) fn take(settings: &mut Map<String, Value>) -> Result<Accuracies, String> {
        let read = |text: &str| Accuracy::parse(text).map_err(|error| error.to_string());
        match settings.remove("accuracy") {
            None => Ok(Accuracies::default()),
            Some(Value::String(text)) => Ok(Accuracies {
                all: Some(read(&text)?),
                by_function: BTreeMap::new(),
            }),
            Some(Value::Object(by_function)) => {
                let mut accuracies = Accuracies::default();
                for (function, text) in by_function {
                    let known = Function::ALL.iter().any(|f| f.word() == function);
                    let text = text.as_str().filter(|_| known).ok_or_else(|| {
                        let words: Vec<&str> = Function::ALL.iter().map(|f| f.word()).collect();
                        format!(
                            "give an accuracy as text for a function out of {}, not `{function}`",
                            words.join(", ")
                        )
                    })?;
                    accuracies.by_function.insert(function, read(text)?);
                }
                Ok(accuracies)
            }
            Some(other) => Err(format!(
                "{other} is no accuracy: write it as on the data sheet, such as `0.5 % rdg + 3 dgt`"
            )),
        }
    }

    /// The standard uncertainty of a sample, in SI: accuracy (type B) and
    /// resolution combined (GUM 5.1.2). An overload has none of its own.
    pub(crate) fn uncertainty(&self, sample: &Sample) -> Result<f64, AccuracyError> {
        let Amount::Exactly(value) = sample.amount else {
            return Ok(0.0);
        };
        let resolution = sample.digit.map_or(0.0, resolution_uncertainty);
        let accuracy = self
            .by_function
            .get(sample.function.word())
            .or(self.all.as_ref());
        let Some(accuracy) = accuracy else {
            return Ok(resolution);
        };
        let of_range = accuracy.standard_uncertainty(value, sample.digit, sample.span)?;
        Ok(combine(&[of_range, resolution]))
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use serde_json::json;
    use trisect_measure::{Coupling, Flags};

    fn accuracies(settings: Value) -> Result<Accuracies, String> {
        let mut settings = settings.as_object().cloned().unwrap();
        let accuracies = Accuracies::take(&mut settings)?;
        assert!(
            !settings.contains_key("accuracy"),
            "the adapter must not see it"
        );
        Ok(accuracies)
    }

    fn volts(value: f64) -> Sample {
        Sample {
            channel: 0,
            function: Function::Voltage,
            amount: Amount::Exactly(value),
            digit: Some(0.01),
            span: Some(40.0),
            coupling: Some(Coupling::Dc),
            flags: Flags::empty(),
        }
    }

    /// Recomputed with `GTC`: 12.34 V at 0.8 % of reading + 1 digit of 0.01 V
    /// is 0.062769521 V, the half-digit resolution 0.002886751 V.
    #[test]
    fn accuracy_and_resolution_combine() {
        let meter = accuracies(json!({"accuracy": {"voltage": "0.8 % rdg + 1 dgt"}})).unwrap();
        let u = meter.uncertainty(&volts(12.34)).unwrap();
        assert!(
            (u - combine(&[0.062_769_521, 0.002_886_751])).abs() < 1e-9,
            "{u}"
        );
        let bare = accuracies(json!({}))
            .unwrap()
            .uncertainty(&volts(12.34))
            .unwrap();
        assert!((bare - 0.002_886_751).abs() < 1e-9, "{bare}");
    }

    #[test]
    fn mistakes_say_what_to_write() {
        let refused = |settings, part: &str| {
            let error = accuracies(settings).unwrap_err();
            assert!(error.contains(part), "{error}");
        };
        refused(json!({"accuracy": 3}), "as on the data sheet");
        refused(json!({"accuracy": "rather good"}), "rather good");
        refused(json!({"accuracy": {"volts": "1 V"}}), "voltage, current");
    }
}
