//! A length of time as the configuration has it: `500 ms`, `10 s`, `5 min`, `12 h`, `7 days`.

use std::borrow::Cow;
use std::time::Duration;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::{Deserialize, Serialize};

/// A length of time.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Deserialize)]
#[serde(try_from = "String")]
pub struct Span(pub Duration);

const UNITS: &[(&str, f64)] = &[
    ("ms", 0.001),
    ("s", 1.0),
    ("min", 60.0),
    ("h", 3600.0),
    ("d", 86_400.0),
    ("day", 86_400.0),
    ("days", 86_400.0),
];

/// The longest there is: a hundred years.
const LONGEST: f64 = 100.0 * 366.0 * 86_400.0;

impl Span {
    /// So many days.
    pub const fn days(days: u64) -> Span {
        Span(Duration::from_secs(days * 86_400))
    }

    /// Whether it is none.
    pub const fn is_none(self) -> bool {
        self.0.is_zero()
    }
}

impl std::fmt::Display for Span {
    /// In the largest unit that leaves a whole number.
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let millis = self.0.as_millis();
        let units = [
            (86_400_000, "days"),
            (3_600_000, "h"),
            (60_000, "min"),
            (1000, "s"),
        ];
        let whole = units
            .iter()
            .find(|(unit, _)| millis != 0 && millis.is_multiple_of(*unit));
        match whole {
            Some((unit, word)) => write!(f, "{} {word}", millis / unit),
            None if millis == 0 => f.write_str("0 s"),
            None => write!(f, "{millis} ms"),
        }
    }
}

impl Serialize for Span {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl TryFrom<String> for Span {
    type Error = String;

    fn try_from(text: String) -> Result<Span, String> {
        let trimmed = text.trim();
        let digits = trimmed.find(|c: char| !(c.is_ascii_digit() || c == '.'));
        let (number, unit) = trimmed.split_at(digits.unwrap_or(trimmed.len()));
        let scale = UNITS.iter().find(|(word, _)| *word == unit.trim());
        let seconds = number
            .parse::<f64>()
            .ok()
            .zip(scale)
            .map(|(n, (_, s))| n * s);
        match seconds.filter(|seconds| *seconds <= LONGEST) {
            Some(seconds) => Ok(Span(Duration::from_secs_f64(seconds))),
            None => Err(format!(
                "`{text}` is no length of time: write `500 ms`, `10 s`, `5 min`, `12 h` or `7 days`"
            )),
        }
    }
}

impl JsonSchema for Span {
    fn schema_name() -> Cow<'static, str> {
        "Span".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({"type": "string"})
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lengths_of_time_are_read_and_others_refused() {
        let check = |text: &str, expected: Option<f64>| {
            let read = Span::try_from(text.to_owned()).ok();
            assert_eq!(read.map(|span| span.0.as_secs_f64()), expected, "{text}");
        };
        check("500 ms", Some(0.5));
        check("10s", Some(10.0));
        check("1.5 h", Some(5400.0));
        check(" 7 days ", Some(604_800.0));
        check("0 s", Some(0.0));
        for none in [
            "",
            "7",
            "s",
            "-1 s",
            "1 week",
            "1e9 days",
            "99999999 days",
            "1 s s",
            ". s",
        ] {
            check(none, None);
        }
    }
}
