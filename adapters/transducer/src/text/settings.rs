//! What the settings of a device that prints lines are, and the adapter made
//! from them.

use std::collections::{BTreeMap, BTreeSet};
use std::path::PathBuf;
use std::time::Duration;

use trisect_kit::ports::{Port, TcpPort};
use trisect_kit::{Adapter, ChannelDescription, Description, LineSettings, Parity, SettingsError};

use super::adapter::{Listening, Place, TextAdapter};
use super::resolve::reader;
use crate::shown::{check_millis, wrong};
use crate::speed::TachometerSettings;

/// A device that prints lines of text on a serial port or a TCP connection.
#[derive(
    Clone, Debug, Default, PartialEq, serde::Serialize, serde::Deserialize, schemars::JsonSchema,
)]
#[serde(deny_unknown_fields)]
pub struct TextSettings {
    /// The serial port, best a path under `/dev/serial/by-id`. Either this or
    /// `address`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub port: Option<PathBuf>,
    /// Host and port of a TCP connection, such as `192.168.1.20:3000`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub address: Option<String>,
    /// The serial line; `115200 8N1` where not given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(with = "Option<String>")]
    pub line: Option<LineSettings>,
    /// The lines as they are printed, with a field in braces for each number,
    /// such as `P1={pressure:inlet} psi;T={temperature|degC}`. A line is read by
    /// the first pattern that it fits. A pattern without fields of its own, such
    /// as `#{skip}`, names lines that are passed over.
    pub patterns: Vec<String>,
    /// More about the fields, by their names.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub fields: BTreeMap<String, FieldSettings>,
    /// Longer lines are skipped; in bytes.
    #[serde(default = "default_longest")]
    pub longest_line: usize,
    /// Without a line that can be used for so long, the device counts as silent.
    #[serde(default = "two_seconds")]
    pub silent_after_ms: u64,
}

/// More about a field of a pattern.
#[derive(
    Clone, Debug, Default, PartialEq, serde::Serialize, serde::Deserialize, schemars::JsonSchema,
)]
#[serde(deny_unknown_fields)]
pub struct FieldSettings {
    /// The number of the input in the samples; the field's place among all
    /// fields, from 0, where not given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub channel: Option<u16>,
    /// The unit of its numbers, where neither the pattern nor the line says it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unit: Option<String>,
    /// Factor on the number: number × scale + offset is the value; 1 where not
    /// given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub scale: Option<f64>,
    /// Offset to number × scale; 0 where not given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub offset: Option<f64>,
    /// The end of the range with its unit, such as `60 psi`, for accuracies in
    /// percent of full scale, and for what is printed as beyond the range.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub full_scale: Option<String>,
    /// The number is a frequency or a count of pulses, and engine speed is what
    /// is wanted.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tachometer: Option<TachometerSettings>,
    /// After how many pulses a count of pulses is back at 0; 4294967296 (32
    /// bits) where not given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub wraps_at: Option<u64>,
}

fn default_line() -> LineSettings {
    LineSettings::new(115_200, 8, Parity::None, 1)
}
fn default_longest() -> usize {
    256
}
fn two_seconds() -> u64 {
    2000
}

impl TextSettings {
    /// Settings with every default for a device on a serial port.
    pub fn new(port: impl Into<PathBuf>, patterns: &[&str]) -> TextSettings {
        TextSettings {
            port: Some(port.into()),
            patterns: patterns.iter().map(ToString::to_string).collect(),
            longest_line: default_longest(),
            silent_after_ms: two_seconds(),
            ..TextSettings::default()
        }
    }

    /// JSON Schema of these settings.
    pub fn schema() -> serde_json::Value {
        schemars::schema_for!(TextSettings).to_value()
    }

    /// The adapter, which opens the port only when it runs.
    ///
    /// # Errors
    /// The first setting that cannot be used, and what to write instead.
    pub fn adapter(&self) -> Result<Box<dyn Adapter>, SettingsError> {
        let place = self.place()?;
        check_millis("silent_after_ms", self.silent_after_ms)?;
        if !(8..=4096).contains(&self.longest_line) {
            return Err(wrong("longest_line", "it must be 8 to 4096"));
        }
        let reader = reader(self)?;
        let named = match &place {
            Place::Serial(port) => port.path.display().to_string(),
            Place::Tcp(tcp) => tcp.address.clone(),
        };
        let mut seen = BTreeSet::new();
        let channels = reader.channels.iter().map(|channel| {
            seen.insert(channel.shown.channel);
            ChannelDescription {
                channel: channel.shown.channel,
                title: channel.name.clone(),
                function: Some(channel.shown.function),
            }
        });
        let description = Description {
            name: "text".to_owned(),
            version: env!("CARGO_PKG_VERSION").to_owned(),
            title: format!("Lines of text on {named}"),
            channels: channels.collect(),
            settings: TextSettings::schema(),
        };
        if seen.len() < description.channels.len() {
            return Err(wrong("fields", "two fields have the same channel"));
        }
        Ok(Box::new(TextAdapter {
            description,
            listening: Listening {
                reader,
                longest: self.longest_line,
                // A TCP connection begins with a line, a serial port anywhere.
                joined: matches!(place, Place::Serial(_)),
                silent_after: Duration::from_millis(self.silent_after_ms),
            },
            place,
        }))
    }

    fn place(&self) -> Result<Place, SettingsError> {
        match (&self.port, &self.address) {
            (Some(path), None) => {
                let line = self.line.unwrap_or_else(default_line);
                line.check().map_err(|error| wrong("line", error))?;
                Ok(Place::Serial(Port {
                    path: path.clone(),
                    line,
                    optical: false,
                }))
            }
            (None, Some(address)) => {
                if self.line.is_some() {
                    return Err(wrong("line", "a TCP connection has none: leave it out"));
                }
                let address = address.clone();
                Ok(Place::Tcp(TcpPort { address }))
            }
            _ => Err(wrong(
                "port",
                "give either a serial `port` or a TCP `address`, such as 192.168.1.20:3000",
            )),
        }
    }
}
