//! A sample as a plugin writes it, and the sample that it is.

use std::borrow::Cow;

use serde::{Deserialize, Serialize};
use trisect_measure::{Amount, Coupling, Flags, Function, Sample, Unit};

/// How old a value may be when it is told, in seconds.
const OLDEST: f64 = 3600.0;

/// One member of `samples`.
#[derive(Debug, Deserialize, Serialize)]
#[serde(deny_unknown_fields)]
pub(super) struct SampleSaid<'a> {
    #[serde(default)]
    pub channel: u16,
    pub function: Function,
    pub value: f64,
    #[serde(borrow)]
    pub unit: Cow<'a, str>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub overload: Option<Overload>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub digit: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub span: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub coupling: Option<Coupling>,
    #[serde(default, borrow, skip_serializing_if = "Vec::is_empty")]
    pub flags: Vec<Cow<'a, str>>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub age: Option<f64>,
}

/// On which side of `value` the true one lies.
#[derive(Clone, Copy, Debug, Deserialize, Serialize)]
#[serde(rename_all = "kebab-case")]
pub(super) enum Overload {
    Above,
    Below,
}

impl SampleSaid<'_> {
    /// The sample, and how old its value is in nanoseconds; or why it cannot be
    /// taken, in words.
    pub(super) fn sample(&self) -> Result<(Sample, i64), String> {
        let unit = Unit::parse(&self.unit).map_err(|error| error.to_string())?;
        let quantity = self.function.quantity();
        if unit.quantity() != quantity {
            return Err(format!(
                "`{}` is a unit of {}, and {} is measured in one of {quantity}",
                self.unit,
                unit.quantity(),
                self.function.word()
            ));
        }
        let value = finite("value", unit.to_si(self.value))?;
        let positive = |what, x: f64| match finite(what, x)? {
            x if x > 0.0 => Ok(x),
            _ => Err(format!("`{what}` is above zero, or left out")),
        };
        let sample = Sample {
            channel: self.channel,
            function: self.function,
            amount: match self.overload {
                None => Amount::Exactly(value),
                Some(Overload::Above) => Amount::Above(value),
                Some(Overload::Below) => Amount::Below(value),
            },
            digit: self
                .digit
                .map(|digit| positive("digit", unit.span_to_si(digit)))
                .transpose()?,
            span: self
                .span
                .map(|span| finite("span", unit.to_si(span)))
                .transpose()?,
            coupling: self.coupling,
            flags: flags(&self.flags)?,
        };
        Ok((sample, nanoseconds(self.age)?))
    }
}

impl From<&Sample> for SampleSaid<'static> {
    /// In the base unit, so that nothing is rounded.
    fn from(sample: &Sample) -> SampleSaid<'static> {
        let unit = sample.function.quantity().si_unit();
        SampleSaid {
            channel: sample.channel,
            function: sample.function,
            value: sample.amount.edge(),
            unit: Cow::Borrowed(unit.symbol()),
            overload: match sample.amount {
                Amount::Exactly(_) => None,
                Amount::Above(_) => Some(Overload::Above),
                Amount::Below(_) => Some(Overload::Below),
            },
            digit: sample.digit,
            span: sample.span,
            coupling: sample.coupling,
            flags: sample
                .flags
                .words()
                .into_iter()
                .map(Cow::Borrowed)
                .collect(),
            age: None,
        }
    }
}

fn finite(what: &str, x: f64) -> Result<f64, String> {
    if x.is_finite() {
        Ok(x)
    } else {
        Err(format!("`{what}` is beyond what can be measured"))
    }
}

fn flags(words: &[Cow<'_, str>]) -> Result<Flags, String> {
    let mut flags = Flags::empty();
    for word in words {
        let known = Flags::from_word(word);
        flags |= known.ok_or_else(|| {
            format!(
                "there is no flag `{word}`: use {}",
                Flags::all().words().join(", ")
            )
        })?;
    }
    Ok(flags)
}

fn nanoseconds(age: Option<f64>) -> Result<i64, String> {
    match age {
        None => Ok(0),
        // At most 3.6e12 here: no cast loses anything.
        Some(age) if (0.0..=OLDEST).contains(&age) => Ok((age * 1e9) as i64),
        Some(_) => Err(format!("`age` is 0 to {OLDEST} seconds")),
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn read(text: &str) -> Result<(Sample, i64), String> {
        let said: SampleSaid<'_> = serde_json::from_str(text).map_err(|e| e.to_string())?;
        said.sample()
    }

    fn refused(text: &str, why: &str) {
        let error = read(text).unwrap_err();
        assert!(error.contains(why), "{error}");
    }

    #[test]
    fn a_sample_is_taken_in_any_unit_of_its_quantity() {
        let (sample, age) =
            read(r#"{"function":"pressure","value":60,"unit":"psi","overload":"above","digit":0.1,"age":0.25,"flags":["hold"]}"#).unwrap();
        assert_eq!(sample.amount, Amount::Above(Unit::PSI.to_si(60.0)));
        assert_eq!(sample.digit, Some(Unit::PSI.span_to_si(0.1)));
        assert_eq!(
            (sample.flags, age, sample.channel),
            (Flags::HOLD, 250_000_000, 0)
        );
    }

    #[test]
    fn what_does_not_fit_is_refused_in_words() {
        refused(
            r#"{"function":"pressure","value":1,"unit":"V"}"#,
            "`V` is a unit of voltage",
        );
        refused(
            r#"{"function":"pressure","value":1,"unit":"stone"}"#,
            "unknown unit `stone`",
        );
        refused(
            r#"{"function":"voltage","value":1e308,"unit":"kV"}"#,
            "unknown unit",
        );
        refused(
            r#"{"function":"pressure","value":1e308,"unit":"MPa"}"#,
            "`value` is beyond",
        );
        refused(
            r#"{"function":"voltage","value":1,"unit":"V","flags":["odd"]}"#,
            "no flag `odd`",
        );
        refused(
            r#"{"function":"voltage","value":1,"unit":"V","age":-1}"#,
            "`age` is 0 to",
        );
        refused(
            r#"{"function":"voltage","value":1,"unit":"V","digit":0}"#,
            "`digit` is above zero",
        );
        refused(
            r#"{"function":"voltage","value":1,"unit":"V","valu":2}"#,
            "unknown field `valu`",
        );
        refused(
            r#"{"function":"voltage","unit":"V"}"#,
            "missing field `value`",
        );
        refused(
            r#"{"function":"voltage","value":"1","unit":"V"}"#,
            "invalid type",
        );
    }

    #[test]
    fn every_sample_comes_back_as_it_was() {
        for function in Function::ALL {
            for amount in [
                Amount::Exactly(293.15),
                Amount::Above(4e7),
                Amount::Below(-0.3),
            ] {
                let sample = Sample {
                    channel: 3,
                    function,
                    amount,
                    digit: Some(0.01),
                    span: Some(60.0),
                    coupling: Some(Coupling::AcDc),
                    flags: Flags::AUTO | Flags::LOW_BATTERY,
                };
                let text = serde_json::to_string(&SampleSaid::from(&sample)).unwrap();
                assert_eq!(read(&text), Ok((sample, 0)), "{text}");
            }
        }
    }
}
