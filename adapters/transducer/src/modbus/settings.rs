//! What the settings of Modbus transducers are, and the adapter made from them.

use std::path::PathBuf;
use std::time::Duration;

use trisect_kit::ports::{Port, TcpPort};
use trisect_kit::{Adapter, ChannelDescription, Description, LineSettings, Parity, SettingsError};
use trisect_measure::Quantity;

use super::fields::with_input_fields;
use super::input::Input;
use super::polling::{Carrier, Place, Polling, TransducerAdapter};
use super::resolve::inputs;
use super::{InputSettings, frame_pause};
use crate::shown::{check_millis, wrong};

with_input_fields! {
    /// Modbus transducers on one serial line or behind one TCP address: one
    /// input, given beside the port, or several in `inputs`, on one or several
    /// devices.
    pub struct TransducerSettings {
        /// The serial port of an RTU line, best a path under
        /// `/dev/serial/by-id`. Either this or `address`.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub port: Option<PathBuf>,
        /// Host and port of a Modbus TCP device or gateway, such as
        /// `192.168.1.20:502`.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub address: Option<String>,
        /// The serial line; `19200 8E1`, the specification's (from memory), where
        /// not given.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        #[schemars(with = "Option<String>")]
        pub line: Option<LineSettings>,
        /// The least pause between a reply and the next request, for devices that
        /// need longer to turn the line around; on a serial line it is never
        /// shorter than t3.5.
        #[serde(default)]
        pub turnaround_ms: u64,
        /// Without a valid reply from any device for so long, the instrument
        /// counts as silent; 1000 where not given.
        #[serde(default = "second")]
        pub silent_after_ms: u64,
        /// The inputs, where there are several. What one does not say, the fields
        /// beside this list say for all.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        pub inputs: Vec<InputSettings>,
    }
}

/// The longest that an adapter pauses between messages.
const LONGEST_TURNAROUND_MS: u64 = 1_000;

fn default_line() -> LineSettings {
    LineSettings::new(19_200, 8, Parity::Even, 1)
}
fn second() -> u64 {
    1000
}

impl TransducerSettings {
    /// Settings with every default for a pressure transducer in psi whose float
    /// begins at `register`.
    pub fn pressure(port: impl Into<PathBuf>, register: u16) -> TransducerSettings {
        TransducerSettings {
            port: Some(port.into()),
            silent_after_ms: second(),
            register: Some(register),
            quantity: Some(Quantity::Pressure),
            unit: Some("psi".to_owned()),
            ..TransducerSettings::default()
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
        let (place, carrier) = self.place()?;
        check_millis("silent_after_ms", self.silent_after_ms)?;
        let inputs = inputs(self, matches!(place, Place::Tcp(_)))?;
        Ok(Box::new(TransducerAdapter {
            description: self.describe(&place, &inputs),
            place,
            polling: Polling {
                inputs,
                carrier,
                silent_after: Duration::from_millis(self.silent_after_ms),
            },
        }))
    }

    fn place(&self) -> Result<(Place, Carrier), SettingsError> {
        if self.turnaround_ms > LONGEST_TURNAROUND_MS {
            return Err(wrong("turnaround_ms", "it must be 0 to 1000"));
        }
        let turnaround = Duration::from_millis(self.turnaround_ms);
        match (&self.port, &self.address) {
            (Some(path), None) => {
                let line = self.line.unwrap_or_else(default_line);
                line.check().map_err(|error| wrong("line", error))?;
                let port = Port {
                    path: path.clone(),
                    line,
                    optical: false,
                };
                let pause = frame_pause(&line).max(turnaround);
                Ok((Place::Serial(port), Carrier::Rtu { pause }))
            }
            (None, Some(address)) => {
                if self.line.is_some() {
                    return Err(wrong("line", "a TCP connection has none: leave it out"));
                }
                let address = address.clone();
                let place = Place::Tcp(TcpPort { address });
                Ok((place, Carrier::Tcp { pause: turnaround }))
            }
            _ => Err(wrong(
                "port",
                "give either a serial `port` or a TCP `address`, such as 192.168.1.20:502",
            )),
        }
    }

    fn describe(&self, place: &Place, inputs: &[Input]) -> Description {
        let mut devices: Vec<u8> = inputs.iter().map(|input| input.request.device).collect();
        devices.sort_unstable();
        devices.dedup();
        let devices: Vec<String> = devices.iter().map(u8::to_string).collect();
        let (carrier, name) = match place {
            Place::Serial(port) => ("RTU", port.path.display().to_string()),
            Place::Tcp(tcp) => ("TCP", tcp.address.clone()),
        };
        let channel = |input: &Input| ChannelDescription {
            channel: input.shown.channel,
            title: input.title.clone(),
            function: Some(input.shown.function),
        };
        Description {
            name: "transducer".to_owned(),
            version: env!("CARGO_PKG_VERSION").to_owned(),
            title: format!(
                "Modbus {carrier} transducer {} on {name}",
                devices.join(", ")
            ),
            channels: inputs.iter().map(channel).collect(),
            settings: TransducerSettings::schema(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn made(json: &str) -> Result<Description, String> {
        serde_json::from_str::<TransducerSettings>(json)
            .map_err(|error| error.to_string())
            .and_then(|settings| settings.adapter().map_err(|error| error.to_string()))
            .map(|adapter| adapter.describe())
    }

    fn check(json: &str, expected: Result<(), &str>) {
        match (made(json).map(|_| ()), expected) {
            (Err(error), Err(part)) => assert!(error.contains(part), "{json}: {error}"),
            (made, expected) => assert_eq!(made, expected.map_err(str::to_owned), "{json}"),
        }
    }

    /// The single-input form, with more behind it.
    fn check_single(more: &str, expected: Result<(), &str>) {
        check(
            &format!(
                r#"{{"port": "/dev/ttyUSB0", "register": 12, "quantity": "pressure", "unit": "psi"{more}}}"#
            ),
            expected,
        );
    }

    /// Two inputs, the second with more behind it.
    fn check_second(more: &str, expected: Result<(), &str>) {
        check(
            &format!(
                r#"{{"port": "/dev/ttyUSB0", "quantity": "pressure", "unit": "psi",
                    "inputs": [{{"register": 0}}, {{"register": 2{more}}}]}}"#
            ),
            expected,
        );
    }

    #[test]
    fn settings_make_an_adapter_or_say_what_to_write() {
        check_single("", Ok(()));
        check_single(
            r#", "order": "swapped-words", "table": "holding", "line": "9600 8N1""#,
            Ok(()),
        );
        check_single(r#", "order": "mixed""#, Err("unknown variant `mixed`"));
        check_single(r#", "type": "u8""#, Err("unknown variant `u8`"));
        check_single(r#", "baud": 9600"#, Err("unknown field `baud`"));
        check_single(r#", "device": 0"#, Err("`device`: addresses are 1 to 247"));
        check_single(r#", "scale": 0"#, Err("`scale`"));
        check_single(r#", "period_ms": 0"#, Err("`period_ms`"));
        check_single(r#", "turnaround_ms": 5000"#, Err("`turnaround_ms`"));
        check_single(r#", "reply_timeout_ms": 900"#, Err("`longest_reply_ms`"));
        check_single(r#", "period_ms": 2000"#, Err("`period_ms`"));
        check_single(r#", "address": "a:502""#, Err("either a serial `port`"));
        check(r#"{"register": 1}"#, Err("either a serial `port`"));
        check(
            r#"{"port": "p", "quantity": "pressure", "unit": "psi"}"#,
            Err("`register`"),
        );
        check(
            r#"{"port": "p", "register": 1, "unit": "psi"}"#,
            Err("`quantity`"),
        );
        check(
            r#"{"port": "p", "register": 1, "quantity": "pressure"}"#,
            Err("`unit`"),
        );
    }

    #[test]
    fn tcp_has_other_addresses_and_no_line() {
        let tcp = |more: &str| {
            format!(
                r#"{{"address": "192.0.2.7:502", "register": 0, "quantity": "pressure", "unit": "bar"{more}}}"#
            )
        };
        check(&tcp(r#", "device": 255"#), Ok(()));
        check(
            &tcp(r#", "line": "9600 8N1""#),
            Err("a TCP connection has none"),
        );
        let title = made(&tcp("")).map(|description| description.title);
        assert_eq!(
            title.as_deref(),
            Ok("Modbus TCP transducer 1 on 192.0.2.7:502")
        );
    }

    #[test]
    fn several_inputs_share_what_they_do_not_say() {
        check_second("", Ok(()));
        check_second(r#", "device": 2, "type": "i16", "scale": 0.01"#, Ok(()));
        check_second(
            r#", "channel": 0"#,
            Err("`inputs`: number 2, `channel`: 0 is taken"),
        );
        check_second(
            r#", "unit": "V""#,
            Err("number 2, `unit`: `V` is a unit of voltage"),
        );
        check_second(r#", "speed": 1"#, Err("unknown field `speed`"));
        check_second(r#", "device": 250"#, Err("number 2, `device`"));
        let json = r#"{"port": "p", "quantity": "pressure", "unit": "psi", "inputs": [
            {"register": 0, "title": "inlet"}, {"register": 0, "device": 2, "quantity": "temperature", "unit": "degC"}]}"#;
        let channels = made(json).map(|description| description.channels);
        let titles: Vec<String> = channels
            .unwrap_or_default()
            .into_iter()
            .map(|channel| format!("{} {}", channel.channel, channel.title))
            .collect();
        assert_eq!(
            titles,
            ["0 inlet", "1 temperature in register 0 of device 2"]
        );
    }

    #[test]
    fn sensors_behind_modules_are_checked() {
        let ma = r#", "current_loop": {"at_4_ma": 0, "at_20_ma": 60}"#;
        let volts = r#", "ratiometric": {"supply_register": 4, "at_low": 0, "at_high": 60}"#;
        check_second(ma, Ok(()));
        check_second(volts, Ok(()));
        check_second(&format!("{ma}{volts}"), Err("only one of"));
        check_second(
            &format!("{ma}, \"full_scale\": 60"),
            Err("`full_scale`: leave it out"),
        );
        check_second(
            r#", "ratiometric": {"supply_register": 200, "at_low": 0, "at_high": 60}"#,
            Err("at most 100 registers"),
        );
        check_second(
            r#", "ratiometric": {"supply_register": 3, "at_low": 0, "at_high": 60}"#,
            Err("one of the signal's own"),
        );
        check_second(
            r#", "current_loop": {"at_4_ma": 0, "at_20_ma": 0}"#,
            Err("`current_loop`: the two ends"),
        );
        check_second(
            r#", "tachometer": {"pulses_per_turn": 2}"#,
            Err("`tachometer`: it gives rotational-speed"),
        );
        let rpm = r#", "quantity": "rotational-speed", "unit": "rpm""#;
        let counter = |kind: &str, gate: u32| {
            format!(
                r#"{rpm}, "type": "{kind}", "tachometer": {{"pulses_per_turn": 60, "counts": "pulses", "gate_ms": {gate}}}"#
            )
        };
        check_second(&counter("u16", 500), Ok(()));
        check_second(&counter("f32", 500), Err("u16 or u32"));
        check_second(&counter("u16", 4000), Err("more than once"));
        check_second(
            &format!(r#"{rpm}, "tachometer": {{"pulses_per_turn": 0}}"#),
            Err("`tachometer`: pulses_per_turn"),
        );
    }

    #[test]
    fn the_schema_names_every_field() {
        let schema = TransducerSettings::schema();
        for field in [
            "port",
            "address",
            "inputs",
            "type",
            "ratiometric",
            "register",
        ] {
            assert!(schema["properties"].get(field).is_some(), "{field}");
        }
        assert_eq!(schema["additionalProperties"], false);
    }
}
