//! What a SCPI meter's settings are, and the adapter made from them.

use std::path::PathBuf;
use std::time::Duration;

use trisect_kit::ports::{Port, TcpPort};
use trisect_kit::{Adapter, ChannelDescription, Description, LineSettings, Parity, SettingsError};
use trisect_measure::parse_value;

use super::ScpiFunction;
use super::conversation::Wanted;
use super::session::{Reading, ScpiAdapter};

/// A bench meter that speaks SCPI, on a serial port or over TCP.
#[derive(Clone, Debug, PartialEq, serde::Serialize, serde::Deserialize, schemars::JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ScpiSettings {
    /// The serial port, best a path under `/dev/serial/by-id`. Either this or
    /// `address`.
    #[serde(default)]
    pub port: Option<PathBuf>,
    /// The network address, such as `192.168.1.20:5025`.
    #[serde(default)]
    pub address: Option<String>,
    /// How the serial line is set; 9600 8N1 if not said.
    #[serde(default)]
    #[schemars(with = "Option<String>")]
    pub line: Option<LineSettings>,
    /// What it is to measure.
    pub function: ScpiFunction,
    /// The end of a fixed range, such as `10 V`; automatic if not said.
    #[serde(default)]
    pub range: Option<String>,
    /// What its answer to `*IDN?` has to contain, such as its serial number:
    /// another meter in its place is not read.
    #[serde(default)]
    pub identity: Option<String>,
    /// The number of the meter's input in the samples.
    #[serde(default)]
    pub channel: u16,
    /// The rest between two readings.
    #[serde(default = "tenth")]
    pub rest_ms: u64,
    /// How long an answer takes at most. An AC reading may take seconds.
    #[serde(default = "three_seconds")]
    pub answer_within_ms: u64,
    /// Without a reading for so long, the meter counts as silent.
    #[serde(default = "five_seconds")]
    pub silent_after_ms: u64,
}

fn tenth() -> u64 {
    100
}

fn three_seconds() -> u64 {
    3000
}

fn five_seconds() -> u64 {
    5000
}

const MINUTE_MS: u64 = 60_000;
const LINE: LineSettings = LineSettings::new(9600, 8, Parity::None, 1);

impl ScpiSettings {
    fn new(function: ScpiFunction) -> ScpiSettings {
        ScpiSettings {
            port: None,
            address: None,
            line: None,
            function,
            range: None,
            identity: None,
            channel: 0,
            rest_ms: tenth(),
            answer_within_ms: three_seconds(),
            silent_after_ms: five_seconds(),
        }
    }

    /// Settings with every default, for a meter on a serial port.
    pub fn on_port(port: impl Into<PathBuf>, function: ScpiFunction) -> ScpiSettings {
        ScpiSettings {
            port: Some(port.into()),
            ..ScpiSettings::new(function)
        }
    }

    /// Settings with every default, for a meter on the network.
    pub fn at_address(address: impl Into<String>, function: ScpiFunction) -> ScpiSettings {
        ScpiSettings {
            address: Some(address.into()),
            ..ScpiSettings::new(function)
        }
    }

    /// JSON Schema of these settings.
    pub fn schema() -> serde_json::Value {
        schemars::schema_for!(ScpiSettings).to_value()
    }

    /// The adapter, which opens the port only when it runs.
    ///
    /// # Errors
    /// Not exactly one of `port` and `address`, a line that no port can be set
    /// to, a range that is none of the function, or a time that is none.
    pub fn adapter(&self) -> Result<Box<dyn Adapter>, SettingsError> {
        let reading = Reading {
            wanted: Wanted {
                function: self.function,
                range: self.wanted_range()?,
                identity: self.identity.clone(),
                remote: self.port.is_some(),
            },
            channel: self.channel,
            rest: Duration::from_millis(checked("rest_ms", self.rest_ms, 0)?),
            patience: Duration::from_millis(checked("answer_within_ms", self.answer_within_ms, 1)?),
            silent_after: Duration::from_millis(checked(
                "silent_after_ms",
                self.silent_after_ms,
                1,
            )?),
        };
        match (&self.port, &self.address) {
            (Some(path), None) => {
                let line = self.line.unwrap_or(LINE);
                line.check()
                    .map_err(|error| wrong("line", error.to_string()))?;
                let place = Port {
                    path: path.clone(),
                    line,
                    optical: false,
                };
                let title = format!("SCPI meter on {}", path.display());
                Ok(Box::new(ScpiAdapter::new(
                    self.describe(title),
                    place,
                    reading,
                )))
            }
            (None, Some(address)) => {
                if !address
                    .rsplit_once(':')
                    .is_some_and(|(host, port)| !host.is_empty() && port.parse::<u16>().is_ok())
                {
                    return Err(wrong(
                        "address",
                        format!("`{address}` is no host:port, such as 192.168.1.20:5025"),
                    ));
                }
                if self.line.is_some() {
                    return Err(wrong("line", "only a serial port has one; leave it out"));
                }
                let place = TcpPort {
                    address: address.clone(),
                };
                let title = format!("SCPI meter at {address}");
                Ok(Box::new(ScpiAdapter::new(
                    self.describe(title),
                    place,
                    reading,
                )))
            }
            _ => Err(wrong("port", "give either `port` or `address`")),
        }
    }

    /// The end of the range in the unit that meters speak: the SI unit.
    fn wanted_range(&self) -> Result<Option<f64>, SettingsError> {
        let Some(text) = &self.range else {
            return Ok(None);
        };
        let words = self.function.words();
        if !words.ranged {
            return Err(wrong("range", "this function has no ranges; leave it out"));
        }
        match parse_value(text, words.function.quantity()) {
            Ok(end) if end > 0.0 => Ok(Some(end)),
            Ok(_) => Err(wrong("range", "the end of a range is above 0")),
            Err(error) => Err(wrong("range", error.to_string())),
        }
    }

    fn describe(&self, title: String) -> Description {
        Description {
            name: "scpi".to_owned(),
            version: env!("CARGO_PKG_VERSION").to_owned(),
            title,
            channels: vec![ChannelDescription {
                channel: self.channel,
                title: "what it is set to".to_owned(),
                function: Some(self.function.words().function),
            }],
            settings: ScpiSettings::schema(),
        }
    }
}

fn wrong(field: &'static str, why: impl Into<String>) -> SettingsError {
    SettingsError {
        field,
        why: why.into(),
    }
}

fn checked(field: &'static str, ms: u64, least: u64) -> Result<u64, SettingsError> {
    if (least..=MINUTE_MS).contains(&ms) {
        Ok(ms)
    } else {
        Err(wrong(field, format!("it must be {least} to {MINUTE_MS}")))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(json: &str, expected: Result<&str, &str>) {
        let made = serde_json::from_str::<ScpiSettings>(json)
            .map_err(|error| error.to_string())
            .and_then(|settings| settings.adapter().map_err(|error| error.to_string()));
        match (made, expected) {
            (Ok(adapter), Ok(title)) => assert_eq!(adapter.describe().title, title),
            (Err(error), Err(part)) => assert!(error.contains(part), "{error}"),
            (Ok(_), Err(part)) => panic!("{json} was taken; expected `{part}`"),
            (Err(error), Ok(_)) => panic!("{json}: {error}"),
        }
    }

    #[test]
    fn settings_make_an_adapter_or_say_what_to_write() {
        check(
            r#"{"port": "/dev/ttyS0", "function": "voltage-dc", "range": "10 V"}"#,
            Ok("SCPI meter on /dev/ttyS0"),
        );
        check(
            r#"{"address": "meter:5025", "function": "resistance", "range": "1 kOhm"}"#,
            Ok("SCPI meter at meter:5025"),
        );
        check(
            r#"{"function": "resistance"}"#,
            Err("either `port` or `address`"),
        );
        check(
            r#"{"port": "p", "address": "a:1", "function": "diode"}"#,
            Err("either `port` or `address`"),
        );
        check(
            r#"{"address": "meter", "function": "diode"}"#,
            Err("no host:port"),
        );
        check(
            r#"{"address": "a:1", "line": "9600 8N1", "function": "diode"}"#,
            Err("only a serial port has one"),
        );
        check(
            r#"{"port": "p", "function": "power"}"#,
            Err("unknown variant"),
        );
        check(
            r#"{"port": "p", "function": "diode", "range": "1 V"}"#,
            Err("no ranges"),
        );
        check(
            r#"{"port": "p", "function": "voltage-dc", "range": "10 psi"}"#,
            Err("psi"),
        );
        check(
            r#"{"port": "p", "function": "voltage-dc", "range": "-10 V"}"#,
            Err("above 0"),
        );
        check(
            r#"{"port": "p", "function": "diode", "silent_after_ms": 0}"#,
            Err("1 to 60000"),
        );
        check(
            r#"{"port": "p", "function": "diode", "baud": 1}"#,
            Err("unknown field"),
        );
    }
}
