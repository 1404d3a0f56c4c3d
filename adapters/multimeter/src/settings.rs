//! What a multimeter's settings are, and the adapter made from them.

use std::path::PathBuf;
use std::time::Duration;

use trisect_kit::{
    Adapter, ChannelDescription, Description, LineSettings, SerialAdapter, SettingsError,
};

use crate::{codec, codecs};

/// A multimeter on a serial port, by the protocol of its chip.
#[derive(Clone, Debug, PartialEq, serde::Serialize, serde::Deserialize, schemars::JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct MultimeterSettings {
    /// The chip's protocol, such as `fs9922`.
    pub protocol: String,
    /// The port, best a path under `/dev/serial/by-id`.
    pub port: PathBuf,
    /// The line, where the cable changes it, such as `19200 8N1`.
    #[serde(default)]
    #[schemars(with = "Option<String>")]
    pub line: Option<LineSettings>,
    /// The number of the meter's input in the samples.
    #[serde(default)]
    pub channel: u16,
    /// Without a valid frame for so long, the meter counts as silent.
    #[serde(default = "second")]
    pub silent_after_ms: u64,
}

fn second() -> u64 {
    1000
}

impl MultimeterSettings {
    /// Settings with every default, for a protocol and a port.
    pub fn new(protocol: impl Into<String>, port: impl Into<PathBuf>) -> MultimeterSettings {
        MultimeterSettings {
            protocol: protocol.into(),
            port: port.into(),
            line: None,
            channel: 0,
            silent_after_ms: second(),
        }
    }

    /// JSON Schema of these settings.
    pub fn schema() -> serde_json::Value {
        schemars::schema_for!(MultimeterSettings).to_value()
    }

    /// The adapter, which opens the port only when it runs.
    ///
    /// # Errors
    /// An unknown protocol, or a line that no port can be set to.
    pub fn adapter(&self) -> Result<Box<dyn Adapter>, SettingsError> {
        let codec = codec(&self.protocol).ok_or_else(|| SettingsError {
            field: "protocol",
            why: format!(
                "there is no protocol `{}`; use one of {}",
                self.protocol,
                codecs()
                    .iter()
                    .map(|c| c.name)
                    .collect::<Vec<_>>()
                    .join(", ")
            ),
        })?;
        let line = self.line.unwrap_or(codec.line);
        line.check().map_err(|error| SettingsError {
            field: "line",
            why: error.to_string(),
        })?;
        if self.silent_after_ms == 0 {
            return Err(SettingsError {
                field: "silent_after_ms",
                why: "it must be at least 1; a meter sends 2 to 5 frames a second".to_owned(),
            });
        }
        let description = Description {
            name: "multimeter".to_owned(),
            version: env!("CARGO_PKG_VERSION").to_owned(),
            title: format!("{} on {}", codec.title, self.port.display()),
            channels: vec![ChannelDescription {
                channel: self.channel,
                title: "what the dial is set to".to_owned(),
                function: None,
            }],
            settings: MultimeterSettings::schema(),
        };
        Ok(Box::new(
            SerialAdapter::new(description, self.port.clone(), *codec)
                .line(line)
                .channel(self.channel)
                .silent_after(Duration::from_millis(self.silent_after_ms)),
        ))
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn check(json: &str, expected: Result<&str, &str>) {
        let made = serde_json::from_str::<MultimeterSettings>(json)
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
            r#"{"protocol": "fs9922", "port": "/dev/ttyUSB0"}"#,
            Ok("FS9922-DMM3/DMM4 multimeter on /dev/ttyUSB0"),
        );
        check(
            r#"{"protocol": "fs9923", "port": "p"}"#,
            Err("use one of fs9922, fs9721, es51922"),
        );
        check(
            r#"{"protocol": "fs9922", "prot": "p"}"#,
            Err("unknown field `prot`"),
        );
        check(
            r#"{"protocol": "fs9922", "port": "p", "line": "9600 9N1"}"#,
            Err("5 to 8 data bits"),
        );
        check(
            r#"{"protocol": "fs9922", "port": "p", "silent_after_ms": 0}"#,
            Err("at least 1"),
        );
    }
}
