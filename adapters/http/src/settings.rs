//! The settings of an instrument that answers over HTTP.

use std::path::PathBuf;
use std::time::Duration;

use serde::Deserialize;
use serde_json::{Value, json};
use trisect_kit::{ChannelDescription, Description, SettingsError};
use trisect_measure::{Function, Unit};

use crate::reading::{Place, UnitPlace};
use crate::{HttpAdapter, Tls, Url};

/// What is asked, how often, and where in the answer the readings stand.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct HttpSettings {
    url: String,
    #[serde(default = "one")]
    every: f64,
    #[serde(default = "two")]
    timeout: f64,
    #[serde(default = "five")]
    silent_after: f64,
    readings: Vec<ReadingSettings>,
    #[serde(default)]
    credentials: Option<Credentials>,
    #[serde(default)]
    ca_file: Option<PathBuf>,
}

#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct ReadingSettings {
    #[serde(default)]
    channel: Option<u16>,
    #[serde(default)]
    title: Option<String>,
    function: Function,
    value: String,
    #[serde(default)]
    unit: Option<String>,
    #[serde(default)]
    unit_at: Option<String>,
    #[serde(default)]
    time_at: Option<String>,
}

/// Who is asking; secrets stand in files.
#[derive(Clone, Debug, Deserialize)]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
pub(crate) enum Credentials {
    /// HTTP Basic (RFC 7617).
    Basic {
        /// The user.
        user: String,
        /// The file that holds the password.
        password_file: PathBuf,
    },
    /// The file that holds a bearer token (RFC 6750).
    BearerFile(PathBuf),
}

/// Asked more often, an instrument has no time to measure, and the service none for the others; in seconds.
const LEAST_EVERY: f64 = 0.01;

fn one() -> f64 {
    1.0
}

fn two() -> f64 {
    2.0
}

fn five() -> f64 {
    5.0
}

impl HttpSettings {
    /// JSON Schema of the settings.
    pub fn schema() -> Value {
        let pointer = json!({"type": "string", "pattern": "^(/.*)?$", "description": "A JSON Pointer (RFC 6901), such as `/inlet/value`."});
        let seconds =
            |text: &str| json!({"type": "number", "exclusiveMinimum": 0, "description": text});
        json!({
            "type": "object",
            "required": ["url", "readings"],
            "additionalProperties": false,
            "properties": {
                "url": {"type": "string", "description": "What is asked with GET, such as http://gauge.local/values."},
                "every": {"type": "number", "minimum": LEAST_EVERY, "description": "Seconds from one question to the next; 1 if left out."},
                "timeout": seconds("Seconds that an answer may take; 2 if left out."),
                "silent_after": seconds("Seconds without a reading that are silence; 5 if left out."),
                "ca_file": {"type": "string", "description": "Certificates (PEM) to trust instead of the system's."},
                "credentials": {
                    "description": "What to show the instrument, from a file; in the configuration alone.",
                    "oneOf": [
                        {"type": "object", "additionalProperties": false, "required": ["basic"], "properties": {
                            "basic": {"type": "object", "additionalProperties": false, "required": ["user", "password_file"],
                                "properties": {"user": {"type": "string"}, "password_file": {"type": "string"}}}}},
                        {"type": "object", "additionalProperties": false, "required": ["bearer_file"], "properties": {
                            "bearer_file": {"type": "string"}}},
                    ],
                },
                "readings": {
                    "type": "array",
                    "minItems": 1,
                    "description": "Where in the answer's JSON the readings stand.",
                    "items": {
                        "type": "object",
                        "required": ["function", "value"],
                        "additionalProperties": false,
                        "properties": {
                            "channel": {"type": "integer", "minimum": 0, "maximum": 65535, "description": "Its number; its place in this list, from 0, if left out."},
                            "title": {"type": "string"},
                            "function": {"enum": Function::ALL.map(Function::word)},
                            "value": pointer,
                            "unit": {"type": "string", "description": "The unit of the value, such as `psi`."},
                            "unit_at": pointer,
                            "time_at": pointer,
                        },
                    },
                },
            },
        })
    }

    /// The adapter, which has not asked anything yet.
    ///
    /// # Errors
    /// The first setting that cannot be used.
    pub fn adapter(&self) -> Result<HttpAdapter, SettingsError> {
        let refused = |field, why: String| SettingsError { field, why };
        let url = Url::parse(&self.url).map_err(|error| refused("url", error.to_string()))?;
        let tls =
            Tls::new(self.ca_file.as_deref()).map_err(|e| refused("ca_file", e.to_string()))?;
        let (mut places, mut channels) = (Vec::new(), Vec::new());
        for (index, reading) in self.readings.iter().enumerate() {
            let place = reading.place(index)?;
            if channels
                .iter()
                .any(|c: &ChannelDescription| c.channel == place.channel)
            {
                return Err(refused(
                    "readings",
                    format!("channel {} is there twice", place.channel),
                ));
            }
            channels.push(ChannelDescription {
                channel: place.channel,
                title: reading
                    .title
                    .clone()
                    .unwrap_or_else(|| reading.value.clone()),
                function: Some(place.function),
            });
            places.push(place);
        }
        if places.is_empty() {
            return Err(refused(
                "readings",
                "there is none: say where a value stands".to_owned(),
            ));
        }
        let description = Description {
            name: "http".to_owned(),
            version: env!("CARGO_PKG_VERSION").to_owned(),
            title: format!("JSON at {url}"),
            channels,
            settings: HttpSettings::schema(),
        };
        Ok(HttpAdapter {
            description,
            url,
            tls,
            places,
            credentials: self.credentials.clone(),
            every: every(self.every)?,
            timeout: seconds("timeout", self.timeout)?,
            silent_after: seconds("silent_after", self.silent_after)?,
        })
    }
}

/// From one question to the next.
fn every(given: f64) -> Result<Duration, SettingsError> {
    if given < LEAST_EVERY {
        return Err(SettingsError {
            field: "every",
            why: format!("it has to be at least {LEAST_EVERY} seconds"),
        });
    }
    seconds("every", given)
}

fn seconds(field: &'static str, given: f64) -> Result<Duration, SettingsError> {
    // A day is far more than makes sense, and far less than overflows.
    if given > 0.0 && given <= 86_400.0 {
        return Ok(Duration::from_secs_f64(given));
    }
    Err(SettingsError {
        field,
        why: "it has to be above 0 and at most 86400 seconds".to_owned(),
    })
}

impl ReadingSettings {
    fn place(&self, index: usize) -> Result<Place, SettingsError> {
        let refused = |why: String| SettingsError {
            field: "readings",
            why: format!("reading {index}: {why}"),
        };
        let pointers = [
            Some(&self.value),
            self.unit_at.as_ref(),
            self.time_at.as_ref(),
        ];
        if let Some(wrong) = pointers
            .into_iter()
            .flatten()
            .find(|p| !p.is_empty() && !p.starts_with('/'))
        {
            return Err(refused(format!(
                "`{wrong}` is no JSON Pointer: begin it with `/`"
            )));
        }
        let unit = match (&self.unit, &self.unit_at) {
            (Some(unit), None) => {
                let unit = Unit::parse(unit).map_err(|error| refused(error.to_string()))?;
                if unit.quantity() != self.function.quantity() {
                    return Err(refused(format!(
                        "`{unit}` is no unit of {}",
                        self.function.quantity()
                    )));
                }
                UnitPlace::Is(unit)
            }
            (None, Some(pointer)) => UnitPlace::At(pointer.clone()),
            _ => return Err(refused("give either `unit` or `unit_at`".to_owned())),
        };
        let place = u16::try_from(index).map_err(|_| refused("there are too many".to_owned()))?;
        Ok(Place {
            channel: self.channel.unwrap_or(place),
            function: self.function,
            value: self.value.clone(),
            unit,
            time: self.time_at.clone(),
        })
    }
}
