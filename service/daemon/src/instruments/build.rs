//! Adapters by name, and what they ask for.

use serde_json::{Map, Value};
use trisect_api::wire::AboutAdapter;
use trisect_api::{ErrorKind, WireError};
use trisect_kit::Adapter;
use trisect_multimeter::{MultimeterSettings, ScpiSettings};
use trisect_transducer::TransducerSettings;

use super::Accuracies;

/// An adapter made from settings, not running yet.
pub(crate) struct Built {
    pub(crate) adapter: Box<dyn Adapter>,
    pub(crate) accuracies: Accuracies,
}

/// A kind of adapter: the one list that names them all.
struct Kind {
    name: &'static str,
    title: &'static str,
    schema: fn() -> Value,
    make: fn(Value) -> Result<Box<dyn Adapter>, WireError>,
}

const KINDS: &[Kind] = &[
    Kind {
        name: "multimeter",
        title: "A multimeter on a serial port, by its chip's protocol",
        schema: MultimeterSettings::schema,
        make: |settings| {
            read::<MultimeterSettings>(settings)?
                .adapter()
                .map_err(|error| refused(&error))
        },
    },
    Kind {
        name: "scpi",
        title: "A bench multimeter that speaks SCPI, on a serial port or over TCP",
        schema: ScpiSettings::schema,
        make: |settings| {
            read::<ScpiSettings>(settings)?
                .adapter()
                .map_err(|error| refused(&error))
        },
    },
    Kind {
        name: "transducer",
        title: "Pressure transducers on a Modbus RTU line",
        schema: TransducerSettings::schema,
        make: |settings| {
            read::<TransducerSettings>(settings)?
                .adapter()
                .map_err(|error| refused(&error))
        },
    },
];

/// What can be attached through.
pub(crate) fn about() -> Vec<AboutAdapter> {
    KINDS.iter().map(Kind::about).collect()
}

/// Makes an adapter from the name and settings of `instrument.attach`.
///
/// # Errors
/// An unknown adapter, or settings that do not fit it.
pub(crate) fn build(name: &str, mut settings: Map<String, Value>) -> Result<Built, WireError> {
    let kind = KINDS.iter().find(|kind| kind.name == name).ok_or_else(|| {
        ErrorKind::UnknownAdapter
            .because(format!("there is no adapter `{name}`"))
            .at("adapter")
            .hint_nearest(name, KINDS.iter().map(|kind| kind.name))
    })?;
    let accuracies = Accuracies::take(&mut settings).map_err(|why| {
        ErrorKind::InvalidSettings
            .because(why)
            .at("settings.accuracy")
    })?;
    Ok(Built {
        adapter: (kind.make)(Value::Object(settings))?,
        accuracies,
    })
}

impl Kind {
    fn about(&self) -> AboutAdapter {
        let mut settings = match (self.schema)() {
            Value::Object(schema) => schema,
            _ => Map::new(),
        };
        // The service reads this one before the adapter sees its settings.
        if let Some(Value::Object(members)) = settings.get_mut("properties") {
            let text = "As on the data sheet, such as `0.5 % rdg + 3 dgt`; by function or for all.";
            let shape = serde_json::json!({"description": text, "type": ["string", "object"]});
            members.insert("accuracy".to_owned(), shape);
        }
        AboutAdapter {
            adapter: self.name.to_owned(),
            title: self.title.to_owned(),
            settings,
        }
    }
}

fn read<S: serde::de::DeserializeOwned>(settings: Value) -> Result<S, WireError> {
    serde_json::from_value(settings).map_err(|error| {
        ErrorKind::InvalidSettings
            .because(error.to_string())
            .at("settings")
            .hint("service.about has the schema of the adapter's settings")
    })
}

fn refused(error: &trisect_kit::SettingsError) -> WireError {
    ErrorKind::InvalidSettings
        .because(error.why.clone())
        .at(format!("settings.{}", error.field))
        .hint("service.about has the schema of the adapter's settings")
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use serde_json::json;

    fn refusal(name: &str, settings: Value) -> WireError {
        match build(name, settings.as_object().cloned().unwrap()) {
            Ok(_) => panic!("{name} was built"),
            Err(error) => error,
        }
    }

    #[test]
    fn what_does_not_fit_is_refused_with_the_field() {
        let unknown = refusal("multimetre", json!({}));
        assert_eq!(unknown.kind, ErrorKind::UnknownAdapter);
        assert!(unknown.hint.unwrap().contains("multimeter"));
        let protocol = refusal("multimeter", json!({"port": "/dev/x", "protocol": "morse"}));
        assert_eq!(protocol.field.as_deref(), Some("settings.protocol"));
        let accuracy = json!({"port": "/dev/x", "protocol": "fs9922", "accuracy": "good"});
        assert_eq!(
            refusal("multimeter", accuracy).field.as_deref(),
            Some("settings.accuracy")
        );
        assert_eq!(
            refusal("multimeter", json!({"prot": 1})).kind,
            ErrorKind::InvalidSettings
        );
    }

    #[test]
    fn every_kind_says_what_it_asks_for() {
        for adapter in about() {
            assert!(
                adapter.settings["properties"].get("port").is_some(),
                "{}",
                adapter.adapter
            );
            assert!(adapter.settings["properties"].get("accuracy").is_some());
        }
    }
}
