//! The measurement chain in an instrument's settings.
//!
//! | member | what it says |
//! |---|---|
//! | `accuracy` | as on the data sheet; by function, and there by range |
//! | `resolution` | one step of the display, where the instrument does not say it |
//! | `temperature_coefficient` | `0.1 % rdg/K over 2 K` |
//! | `ratiometric_supply` | how well a ratiometric sensor's supply is known |
//! | `calibration` | as-found points and when it is due |
//! | `overdue_factor` | by how much an overdue calibration widens; 2 if left out |
//! | `reference` | `gauge`, `absolute` or `barometric` |
//! | `latency` | how much older than their time the values are |
//! | `by_channel` | any of these again, for one channel |
//!
//! They are taken out before the adapter sees its settings.

use std::collections::BTreeMap;

use serde::Deserialize;
use serde_json::{Map, Value};
use trisect_measure::{
    Function, Quantity, Ratiometric, TemperatureCoefficient, Unit, parse_duration, parse_entry,
    parse_span, parse_value,
};

use super::accuracy::Ranges;
use super::calibration::{Calibrated, is_one};
use super::choice::Choice;
use super::{Link, OVERDUE_FACTOR, PressureReference};

/// The members, without `by_channel`.
const MEMBERS: [&str; 8] = [
    "accuracy",
    "resolution",
    "temperature_coefficient",
    "ratiometric_supply",
    "calibration",
    "overdue_factor",
    "reference",
    "latency",
];

/// What is known of an instrument's channels.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Chain {
    all: Link,
    by_channel: BTreeMap<u16, Link>,
}

/// A member that cannot be used.
#[derive(Debug)]
pub(crate) struct Unusable {
    /// Its path in the settings.
    pub(crate) field: String,
    /// What is wrong with it, and what to write.
    pub(crate) why: String,
}

impl Chain {
    /// Takes the chain's members out of an instrument's settings. `latency` is
    /// the estimate where they say none, in nanoseconds.
    pub(crate) fn take(
        settings: &mut Map<String, Value>,
        latency: Option<i64>,
    ) -> Result<Chain, Unusable> {
        let mut own = Map::new();
        for member in MEMBERS {
            if let Some(value) = settings.remove(member) {
                own.insert(member.to_owned(), value);
            }
        }
        let all = link(&own, latency).map_err(|(field, why)| Unusable { field, why })?;
        let mut by_channel = BTreeMap::new();
        for (channel, value) in channels(settings)? {
            let at = |member: &str| format!("by_channel.{channel}.{member}");
            let mut merged = own.clone();
            for (member, value) in value {
                if !MEMBERS.contains(&member.as_str()) {
                    return Err(Unusable {
                        field: at(&member),
                        why: format!("it is none of {}", MEMBERS.join(", ")),
                    });
                }
                merged.insert(member, value);
            }
            let link = link(&merged, latency);
            let link = link.map_err(|(member, why)| Unusable {
                field: at(&member),
                why,
            })?;
            by_channel.insert(channel, link);
        }
        Ok(Chain { all, by_channel })
    }

    /// What is known of a channel.
    pub(crate) fn channel(&self, channel: u16) -> &Link {
        self.by_channel.get(&channel).unwrap_or(&self.all)
    }

    /// All calibrations there are, for whichever channel.
    pub(crate) fn calibrations(&self) -> impl Iterator<Item = &Calibrated> {
        let links = std::iter::once(&self.all).chain(self.by_channel.values());
        links.flat_map(|link| link.calibrations().map(|(_, one)| one))
    }

    /// Says the end of the only range, where samples do not.
    pub(crate) fn span(mut self, span: Option<f64>) -> Chain {
        self.all.span = span;
        for link in self.by_channel.values_mut() {
            link.span = span;
        }
        self
    }
}

type Channels = Vec<(u16, Map<String, Value>)>;

fn channels(settings: &mut Map<String, Value>) -> Result<Channels, Unusable> {
    let wrong = || Unusable {
        field: "by_channel".to_owned(),
        why: "give an object of channel numbers: { \"1\": { \"reference\": \"absolute\" } }"
            .to_owned(),
    };
    let by_channel = match settings.remove("by_channel") {
        None => return Ok(Vec::new()),
        Some(Value::Object(by_channel)) => by_channel,
        Some(_) => return Err(wrong()),
    };
    let one = |(channel, value): (String, Value)| match value {
        Value::Object(members) => Ok((channel.parse().map_err(|_| wrong())?, members)),
        _ => Err(wrong()),
    };
    by_channel.into_iter().map(one).collect()
}

fn link(settings: &Map<String, Value>, latency: Option<i64>) -> Result<Link, (String, String)> {
    fn at<T>(member: &str, read: Result<T, String>) -> Result<T, (String, String)> {
        read.map_err(|why| (member.to_owned(), why))
    }
    let never = |_: &Value| false;
    Ok(Link {
        accuracies: at(
            "accuracy",
            Choice::read(settings, "accuracy", never, Ranges::read),
        )?,
        resolutions: at(
            "resolution",
            Choice::read(settings, "resolution", never, resolution),
        )?,
        temperature: at(
            "temperature_coefficient",
            Choice::read(settings, "temperature_coefficient", never, coefficient),
        )?,
        supply: at(
            "ratiometric_supply",
            settings.get("ratiometric_supply").map(supply).transpose(),
        )?,
        calibrations: at(
            "calibration",
            Choice::read(settings, "calibration", is_one, Calibrated::read),
        )?,
        reference: at("reference", reference(settings.get("reference")))?,
        latency: match settings.get("latency") {
            Some(value) => Some(at("latency", duration(value))?),
            None => latency,
        },
        overdue_factor: at("overdue_factor", factor(settings.get("overdue_factor")))?,
        span: None,
    })
}

fn text(value: &Value) -> Result<&str, String> {
    value
        .as_str()
        .ok_or_else(|| format!("{value} is no text: write a number with its unit in quotes"))
}

fn said(error: impl ToString) -> String {
    error.to_string()
}

fn resolution(value: &Value, function: Option<Function>) -> Result<(Quantity, f64), String> {
    let written = text(value)?;
    let unit = parse_entry(written).map_err(said)?.unit;
    let unit = unit.ok_or_else(|| format!("`{written}` has no unit"))?;
    let quantity = function.map_or(unit.quantity(), Function::quantity);
    Ok((quantity, parse_span(written, quantity).map_err(said)?))
}

fn coefficient(value: &Value, _: Option<Function>) -> Result<TemperatureCoefficient, String> {
    TemperatureCoefficient::parse(text(value)?).map_err(said)
}

fn duration(value: &Value) -> Result<i64, String> {
    parse_duration(text(value)?).map_err(said)
}

fn factor(value: Option<&Value>) -> Result<f64, String> {
    let Some(value) = value else {
        return Ok(OVERDUE_FACTOR);
    };
    value
        .as_f64()
        .filter(|factor| (1.0..=100.0).contains(factor))
        .ok_or_else(|| format!("{value} is no factor: give a number from 1 to 100"))
}

fn reference(value: Option<&Value>) -> Result<PressureReference, String> {
    match value.map(text).transpose()? {
        None => Ok(PressureReference::Gauge),
        Some(word) => word.parse().map_err(|_| {
            format!("`{word}` is nothing a pressure counts from: use `gauge`, `absolute` or `barometric`")
        }),
    }
}

/// How the supply of a ratiometric sensor is written in settings.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Supply {
    supply: String,
    uncertainty: String,
    output: [String; 2],
    range: [String; 2],
}

fn supply(value: &Value) -> Result<(Quantity, Ratiometric), String> {
    let written: Supply = serde_json::from_value(value.clone()).map_err(|error| {
        format!(
            "{error}: write {{ supply = \"5 V\", uncertainty = \"10 mV\", output = [\"0.5 V\", \"4.5 V\"], range = [\"0 psi\", \"100 psi\"] }}"
        )
    })?;
    let volts = |text: &str| parse_value(text, Quantity::Voltage).map_err(said);
    let unit: Option<Unit> = parse_entry(&written.range[0]).map_err(said)?.unit;
    let unit = unit.ok_or_else(|| format!("`{}` has no unit", written.range[0]))?;
    let value = |text: &str| parse_value(text, unit.quantity()).map_err(said);
    let supply = volts(&written.supply)?;
    let u = parse_span(&written.uncertainty, Quantity::Voltage).map_err(said)?;
    let sensor = Ratiometric::new(
        (value(&written.range[0])?, value(&written.range[1])?),
        (
            volts(&written.output[0])? / supply,
            volts(&written.output[1])? / supply,
        ),
        u / supply,
    );
    Ok((unit.quantity(), sensor.map_err(said)?))
}

/// The schemas of the members, for `service.about`.
pub(crate) fn schemas() -> Vec<(&'static str, Value)> {
    let one = |text: &str, kinds: Value| serde_json::json!({"description": text, "type": kinds});
    let either = serde_json::json!(["string", "object"]);
    let (object, string, number) = ("object".into(), Value::from("string"), "number".into());
    vec![
        (
            "accuracy",
            one(
                "As on the data sheet, such as `0.5 % rdg + 3 dgt`; for everything, by function (`voltage AC`), or there by range: { \"voltage\": { \"4 V\": \"…\", \"otherwise\": \"…\" } }.",
                either.clone(),
            ),
        ),
        (
            "resolution",
            one(
                "One step of the display, such as `0.01 psi`, where the instrument does not say it; by function or for everything.",
                either.clone(),
            ),
        ),
        (
            "temperature_coefficient",
            one(
                "Such as `0.1 % rdg/K over 2 K` or `0.1 x accuracy/K over 5 K`; by function or for everything.",
                either,
            ),
        ),
        (
            "ratiometric_supply",
            one(
                "How well the supply of a ratiometric sensor is known: { supply, uncertainty, output: [from, to], range: [from, to] }.",
                Value::clone(&object),
            ),
        ),
        (
            "calibration",
            one(
                "{ kind: offset|line|table, points: [[reference, shown], …], uncertainty, due, by, certificate }, or one for each function.",
                object.clone(),
            ),
        ),
        (
            "overdue_factor",
            one(
                "By how much an overdue calibration widens accuracy, temperature and calibration; 2 if left out.",
                number,
            ),
        ),
        (
            "reference",
            one(
                "What pressures count from: gauge (if left out), absolute, or barometric for the bay's barometer.",
                string.clone(),
            ),
        ),
        (
            "latency",
            one(
                "How much older than their time the values are, such as `300 ms`.",
                string,
            ),
        ),
        (
            "by_channel",
            one(
                "Any of accuracy, calibration and so on again, for one channel: { \"1\": { … } }.",
                object,
            ),
        ),
    ]
}
