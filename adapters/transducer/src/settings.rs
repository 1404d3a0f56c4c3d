//! What a transducer's settings are, and the adapter made from them.

use std::path::PathBuf;
use std::time::Duration;

use trisect_kit::ports::Port;
use trisect_kit::{Adapter, ChannelDescription, Description, LineSettings, Parity, SettingsError};
use trisect_measure::{Function, Quantity, Unit};

use crate::adapter::{Polling, TransducerAdapter};
use crate::line::Timing;
use crate::{Request, Table, WordOrder, frame_pause};

/// A transducer with a float in two Modbus registers, on a serial line.
#[derive(Clone, Debug, PartialEq, serde::Serialize, serde::Deserialize, schemars::JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct TransducerSettings {
    /// The port, best a path under `/dev/serial/by-id`.
    pub port: PathBuf,
    /// The line. The default is that of the specification (from memory).
    #[serde(default = "default_line")]
    #[schemars(with = "String")]
    pub line: LineSettings,
    /// The device's address on the line, 1 to 247.
    #[serde(default = "first")]
    pub device: u8,
    /// Which registers: `input` (function 04) or `holding` (function 03).
    #[serde(default)]
    pub table: Table,
    /// The first of the two registers, as on the wire: from 0.
    pub register: u16,
    /// How the float lies in them.
    #[serde(default)]
    pub order: WordOrder,
    /// What is measured, such as `pressure`.
    #[schemars(with = "String")]
    pub quantity: Quantity,
    /// The unit of value = raw × scale + offset, such as `psi`.
    pub unit: String,
    /// Factor on the raw float.
    #[serde(default = "one")]
    pub scale: f64,
    /// Offset, in the unit.
    #[serde(default)]
    pub offset: f64,
    /// The end of the transducer's range, in the unit, for accuracies in percent
    /// of full scale.
    #[serde(default)]
    pub full_scale: Option<f64>,
    /// The number of the input in the samples.
    #[serde(default)]
    pub channel: u16,
    /// How often it is asked.
    #[serde(default = "tenth")]
    pub period_ms: u64,
    /// How long a reply is waited for.
    #[serde(default = "fifth")]
    pub reply_timeout_ms: u64,
    /// The longest that the device may ever take to reply. After a reply failed,
    /// the line is held so long from the request on, lest a late reply be taken
    /// for the next one's; so it is when the port was opened.
    #[serde(default = "half")]
    pub longest_reply_ms: u64,
    /// Without a valid reply for so long, the transducer counts as silent.
    #[serde(default = "second")]
    pub silent_after_ms: u64,
}

fn default_line() -> LineSettings {
    LineSettings::new(19_200, 8, Parity::Even, 1)
}
fn first() -> u8 {
    1
}
fn one() -> f64 {
    1.0
}
fn tenth() -> u64 {
    100
}
fn fifth() -> u64 {
    200
}
fn half() -> u64 {
    500
}
fn second() -> u64 {
    1000
}

fn wrong(field: &'static str, why: impl ToString) -> SettingsError {
    SettingsError {
        field,
        why: why.to_string(),
    }
}

impl TransducerSettings {
    /// Settings with every default for a pressure transducer in psi whose float
    /// begins at `register`.
    pub fn pressure(port: impl Into<PathBuf>, register: u16) -> TransducerSettings {
        TransducerSettings {
            port: port.into(),
            line: default_line(),
            device: first(),
            table: Table::default(),
            register,
            order: WordOrder::default(),
            quantity: Quantity::Pressure,
            unit: "psi".to_owned(),
            scale: one(),
            offset: 0.0,
            full_scale: None,
            channel: 0,
            period_ms: tenth(),
            reply_timeout_ms: fifth(),
            longest_reply_ms: half(),
            silent_after_ms: second(),
        }
    }

    /// JSON Schema of these settings.
    pub fn schema() -> serde_json::Value {
        schemars::schema_for!(TransducerSettings).to_value()
    }

    /// The adapter, which opens the port only when it runs.
    ///
    /// # Errors
    /// The first setting that cannot be used, and what to write instead.
    pub fn adapter(&self) -> Result<Box<dyn Adapter>, SettingsError> {
        let function = function(self.quantity)?;
        let unit = self.checked_unit()?;
        self.check_numbers()?;
        self.check_times()?;
        Ok(Box::new(TransducerAdapter {
            description: self.describe(function),
            port: Port {
                path: self.port.clone(),
                line: self.line,
                optical: false,
            },
            polling: Polling {
                request: Request {
                    device: self.device,
                    table: self.table,
                    register: self.register,
                    count: 2,
                },
                order: self.order,
                function,
                unit,
                scale: self.scale,
                offset: self.offset,
                span: self.full_scale.map(|end| unit.to_si(end)),
                channel: self.channel,
                period: Duration::from_millis(self.period_ms),
                silent_after: Duration::from_millis(self.silent_after_ms),
                timing: Timing {
                    pause: frame_pause(&self.line),
                    reply_timeout: Duration::from_millis(self.reply_timeout_ms),
                    longest_reply: Duration::from_millis(self.longest_reply_ms),
                },
            },
        }))
    }

    fn checked_unit(&self) -> Result<Unit, SettingsError> {
        let unit = Unit::parse(&self.unit).map_err(|error| wrong("unit", error))?;
        if unit.quantity() != self.quantity {
            return Err(wrong(
                "unit",
                format!(
                    "`{}` is a unit of {}, not of {}",
                    self.unit,
                    unit.quantity(),
                    self.quantity
                ),
            ));
        }
        Ok(unit)
    }

    fn check_numbers(&self) -> Result<(), SettingsError> {
        self.line.check().map_err(|error| wrong("line", error))?;
        if !(1..=247).contains(&self.device) {
            return Err(wrong("device", "addresses are 1 to 247"));
        }
        if self.register == u16::MAX {
            return Err(wrong(
                "register",
                "a float needs two registers: at most 65534",
            ));
        }
        if !self.scale.is_finite() || self.scale == 0.0 {
            return Err(wrong("scale", "it must be a number other than 0"));
        }
        if !self.offset.is_finite() {
            return Err(wrong("offset", "it must be a number"));
        }
        if self.full_scale.is_some_and(|end| !end.is_finite()) {
            return Err(wrong("full_scale", "it must be a number"));
        }
        Ok(())
    }

    fn check_times(&self) -> Result<(), SettingsError> {
        const HOUR: u64 = 3_600_000;
        for (field, millis) in [
            ("period_ms", self.period_ms),
            ("reply_timeout_ms", self.reply_timeout_ms),
            ("longest_reply_ms", self.longest_reply_ms),
            ("silent_after_ms", self.silent_after_ms),
        ] {
            if !(1..=HOUR).contains(&millis) {
                return Err(wrong(field, "it must be 1 to 3600000"));
            }
        }
        if self.longest_reply_ms < self.reply_timeout_ms {
            return Err(wrong(
                "longest_reply_ms",
                "it must be at least reply_timeout_ms, or a late reply would be taken for the next one's",
            ));
        }
        if self.silent_after_ms < self.period_ms {
            return Err(wrong(
                "silent_after_ms",
                "it must be at least period_ms, or the transducer would count as silent between two replies",
            ));
        }
        Ok(())
    }

    fn describe(&self, function: Function) -> Description {
        Description {
            name: "transducer".to_owned(),
            version: env!("CARGO_PKG_VERSION").to_owned(),
            title: format!(
                "Modbus RTU transducer {} on {}",
                self.device,
                self.port.display()
            ),
            channels: vec![ChannelDescription {
                channel: self.channel,
                title: format!(
                    "{} in registers {} and the next",
                    self.quantity, self.register
                ),
                function: Some(function),
            }],
            settings: TransducerSettings::schema(),
        }
    }
}

fn function(quantity: Quantity) -> Result<Function, SettingsError> {
    Ok(match quantity {
        Quantity::Voltage => Function::Voltage,
        Quantity::Current => Function::Current,
        Quantity::Resistance => Function::Resistance,
        Quantity::Pressure => Function::Pressure,
        Quantity::Temperature => Function::Temperature,
        Quantity::RotationalSpeed => Function::RotationalSpeed,
        Quantity::Frequency => Function::Frequency,
        Quantity::Capacitance => Function::Capacitance,
        Quantity::Time | Quantity::Ratio => {
            return Err(wrong(
                "quantity",
                format!(
                    "no transducer of a bay measures {quantity}; use pressure, temperature, rotational-speed, voltage or current"
                ),
            ));
        }
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(more: &str, expected: Result<(), &str>) {
        let json = format!(
            r#"{{"port": "/dev/ttyUSB0", "register": 12, "quantity": "pressure", "unit": "psi"{more}}}"#
        );
        let made = serde_json::from_str::<TransducerSettings>(&json)
            .map_err(|error| error.to_string())
            .and_then(|settings| settings.adapter().map_err(|error| error.to_string()));
        match (made.map(|_| ()), expected) {
            (Err(error), Err(part)) => assert!(error.contains(part), "{error}"),
            (made, expected) => assert_eq!(made, expected.map_err(str::to_owned), "{json}"),
        }
    }

    #[test]
    fn settings_make_an_adapter_or_say_what_to_write() {
        check("", Ok(()));
        check(
            r#", "order": "swapped-words", "table": "holding", "line": "9600 8N1""#,
            Ok(()),
        );
        check(r#", "order": "mixed""#, Err("unknown variant `mixed`"));
        check(r#", "baud": 9600"#, Err("unknown field `baud`"));
        check(r#", "device": 0"#, Err("`device`: addresses are 1 to 247"));
        check(r#", "scale": 0"#, Err("`scale`"));
        check(r#", "period_ms": 0"#, Err("`period_ms`"));
        check(r#", "reply_timeout_ms": 900"#, Err("`longest_reply_ms`"));
        check(r#", "period_ms": 2000"#, Err("`silent_after_ms`"));
    }

    #[test]
    fn a_unit_of_another_quantity_is_refused() {
        let mut settings = TransducerSettings::pressure("p", 0);
        settings.unit = "V".to_owned();
        let error = settings.adapter().err().map(|error| error.to_string());
        assert_eq!(
            error.as_deref(),
            Some("cannot use the setting `unit`: `V` is a unit of voltage, not of pressure")
        );
    }
}
