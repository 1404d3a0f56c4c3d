//! Adapters by name, and what they ask for.

use serde_json::{Map, Value};
use trisect_api::wire::AboutAdapter;
use trisect_api::{ErrorKind, WireError};
use trisect_kit::{Adapter, PulsesPerTurn, Tachometer};
use trisect_multimeter::{MultimeterSettings, ScpiSettings};
use trisect_transducer::{TextSettings, TransducerSettings};

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
        title: "Transducers on a Modbus RTU line or over Modbus TCP",
        schema: TransducerSettings::schema,
        make: |settings| {
            read::<TransducerSettings>(settings)?
                .adapter()
                .map_err(|error| refused(&error))
        },
    },
    Kind {
        name: "text",
        title: "A device that prints lines of text on a serial port or over TCP",
        schema: TextSettings::schema,
        make: |settings| {
            read::<TextSettings>(settings)?
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
    let pulses = pulses_per_turn(&mut settings)?;
    let adapter = (kind.make)(Value::Object(settings))?;
    Ok(Built {
        adapter: match pulses {
            Some(pulses) => Box::new(Tachometer::new(adapter, pulses)),
            None => adapter,
        },
        accuracies,
    })
}

/// Takes the member `pulses_per_turn` out of an instrument's settings: every
/// frequency it gives is then the speed of a shaft.
fn pulses_per_turn(settings: &mut Map<String, Value>) -> Result<Option<PulsesPerTurn>, WireError> {
    let Some(given) = settings.remove("pulses_per_turn") else {
        return Ok(None);
    };
    let number = given.as_f64().unwrap_or(f64::NAN);
    PulsesPerTurn::new(number).map(Some).map_err(|why| {
        ErrorKind::InvalidSettings
            .because(why)
            .at("settings.pulses_per_turn")
    })
}

impl Kind {
    fn about(&self) -> AboutAdapter {
        let mut settings = match (self.schema)() {
            Value::Object(schema) => schema,
            _ => Map::new(),
        };
        // The service reads these before the adapter sees its settings.
        if let Some(Value::Object(members)) = settings.get_mut("properties") {
            let text = "As on the data sheet, such as `0.5 % rdg + 3 dgt`; by function or for all.";
            let shape = serde_json::json!({"description": text, "type": ["string", "object"]});
            members.insert("accuracy".to_owned(), shape);
            let text =
                "Frequencies are pulses, so many for one turn: they are shown as shaft speed.";
            let shape =
                serde_json::json!({"description": text, "type": "number", "exclusiveMinimum": 0});
            members.insert("pulses_per_turn".to_owned(), shape);
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
    fn pulses_a_turn_make_any_frequency_a_speed() {
        let shown = |more: Value| {
            let mut settings = json!({"port": "/dev/x", "patterns": ["f={frequency|Hz}"]});
            settings["pulses_per_turn"] = more;
            build("text", settings.as_object().cloned().unwrap())
                .map(|built| built.adapter.describe().channels[0].function)
                .map_err(|error| error.field.unwrap_or_default())
        };
        let speed = trisect_measure::Function::RotationalSpeed;
        assert_eq!(shown(json!(2)), Ok(Some(speed)));
        let field = "settings.pulses_per_turn".to_owned();
        assert_eq!(shown(json!(0)), Err(field.clone()));
        assert_eq!(shown(json!("two")), Err(field));
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
