//! Adapters by name, and what they ask for.

use std::path::{Path, PathBuf};

use crate::error::{BayError, ErrorKind};
use serde_json::{Map, Value};
use trisect_http::HttpSettings;
use trisect_kit::ports::Ports;
use trisect_kit::{Adapter, PulsesPerTurn, Tachometer};
use trisect_multimeter::{MultimeterSettings, ScpiSettings};
use trisect_transducer::{TextSettings, TransducerSettings};

use super::Chain;
use super::chain::schemas;
use super::manual::ManualSettings;
use super::plugin::Plugins;

/// An adapter made from settings, not running yet.
pub(crate) struct Built {
    pub(crate) adapter: Box<dyn Adapter>,
    pub(crate) chain: Chain,
    /// The serial port it will open, by the path that stays.
    pub(crate) port: Option<PathBuf>,
}

/// A kind of adapter: the one list that names them all.
struct Kind {
    name: &'static str,
    title: &'static str,
    schema: fn() -> Value,
    /// How much older than the time their bytes were read its values are, in
    /// nanoseconds, where the settings do not say it.
    latency: Option<i64>,
    make: Make,
}

/// How an adapter of a kind is made.
enum Make {
    /// From its settings alone.
    Here(fn(Value) -> Result<Made, BayError>),
    /// By a program of its own, which is asked first.
    Plugin,
}

/// An adapter, and the end of its only range where samples do not say it.
type Made = (Box<dyn Adapter>, Option<f64>);

/// A hand-held meter shows 2 to 5 values a second: one is half a display old on
/// average, after a display's time of measuring (engineering estimate, no source).
const DISPLAY: i64 = 400_000_000;

/// Channels of one instrument: all of them stand in every list of instruments.
const CHANNELS: usize = 256;

const KINDS: &[Kind] = &[
    Kind {
        name: "multimeter",
        title: "A multimeter on a serial port, by its chip's protocol",
        schema: MultimeterSettings::schema,
        latency: Some(DISPLAY),
        make: Make::Here(|settings| {
            let adapter = read::<MultimeterSettings>(settings)?.adapter();
            Ok((adapter.map_err(|error| refused(&error))?, None))
        }),
    },
    Kind {
        name: "scpi",
        title: "A bench multimeter that speaks SCPI, on a serial port or over TCP",
        schema: ScpiSettings::schema,
        latency: None,
        make: Make::Here(|settings| {
            let adapter = read::<ScpiSettings>(settings)?.adapter();
            Ok((adapter.map_err(|error| refused(&error))?, None))
        }),
    },
    Kind {
        name: "transducer",
        title: "Transducers on a Modbus RTU line or over Modbus TCP",
        schema: TransducerSettings::schema,
        latency: None,
        make: Make::Here(|settings| {
            let adapter = read::<TransducerSettings>(settings)?.adapter();
            Ok((adapter.map_err(|error| refused(&error))?, None))
        }),
    },
    Kind {
        name: "manual",
        title: "A gauge that a person reads: it lends its accuracy to what is entered with it",
        schema: ManualSettings::schema,
        latency: None,
        make: Make::Here(|settings| {
            let settings = read::<ManualSettings>(settings)?;
            let adapter = settings.adapter().map_err(|error| refused(&error))?;
            let span = settings.span().map_err(|error| refused(&error))?;
            Ok((Box::new(adapter), span))
        }),
    },
    Kind {
        name: "text",
        title: "A device that prints lines of text on a serial port or over TCP",
        schema: TextSettings::schema,
        latency: None,
        make: Make::Here(|settings| {
            let adapter = read::<TextSettings>(settings)?.adapter();
            Ok((adapter.map_err(|error| refused(&error))?, None))
        }),
    },
    Kind {
        name: "http",
        title: "An instrument that answers with JSON over HTTP(S)",
        schema: HttpSettings::schema,
        latency: None,
        make: Make::Here(|settings| {
            let adapter = read::<HttpSettings>(settings)?.adapter();
            let adapter = adapter.map_err(|error| refused(&error))?;
            Ok((Box::new(adapter), None))
        }),
    },
    Kind {
        name: "plugin",
        title: "A program of its own, named in the configuration's `plugins`",
        schema: super::plugin::schema,
        latency: None,
        make: Make::Plugin,
    },
];

/// An adapter that instruments can be attached through.
#[derive(Clone, Debug)]
pub struct AdapterDescription {
    /// Its name.
    pub adapter: String,
    /// What it is for.
    pub title: String,
    /// The JSON Schema of its settings.
    pub settings: Map<String, Value>,
}

/// The adapters that instruments can be attached through.
pub fn about() -> Vec<AdapterDescription> {
    KINDS.iter().map(Kind::about).collect()
}

/// What the settings say, before an adapter is made of those that are left.
struct Taken {
    kind: &'static Kind,
    chain: Chain,
    port: Option<PathBuf>,
    pulses: Option<PulsesPerTurn>,
    left: Value,
}

impl Taken {
    fn of(name: &str, mut settings: Map<String, Value>) -> Result<Taken, BayError> {
        let kind = KINDS.iter().find(|kind| kind.name == name).ok_or_else(|| {
            ErrorKind::UnknownAdapter
                .because(format!("there is no adapter `{name}`"))
                .at("adapter")
                .hint_nearest(name, KINDS.iter().map(|kind| kind.name))
        })?;
        let chain = Chain::take(&mut settings, kind.latency).map_err(|error| {
            ErrorKind::InvalidSettings
                .because(error.why)
                .at(format!("settings.{}", error.field))
        })?;
        let port = keep_port(&mut settings, &Ports::system());
        let pulses = pulses_per_turn(&mut settings)?;
        let left = Value::Object(settings);
        Ok(Taken {
            kind,
            chain,
            port,
            pulses,
            left,
        })
    }
}

/// Makes an adapter from the name and settings of `instrument.attach`.
///
/// # Errors
/// An unknown adapter, settings that do not fit it, or a plugin that fails.
pub(crate) async fn build(
    name: &str,
    settings: Map<String, Value>,
    plugins: &Plugins,
) -> Result<Built, BayError> {
    let taken = Taken::of(name, settings)?;
    let (adapter, span) = match taken.kind.make {
        // Certificates may be read from a slow disk: nothing else waits for it.
        Make::Here(make) => {
            let made = tokio::task::spawn_blocking(move || make(taken.left)).await;
            made.map_err(|error| ErrorKind::Internal.because(error.to_string()))??
        }
        Make::Plugin => (plugins.adapter(taken.left).await?, None),
    };
    let channels = adapter.describe().channels.len();
    if channels > CHANNELS {
        return Err(ErrorKind::InvalidSettings
            .because(format!("the instrument has {channels} channels"))
            .at("settings")
            .hint(format!(
                "attach those that are needed, {CHANNELS} at the most"
            )));
    }
    Ok(Built {
        adapter: match taken.pulses {
            Some(pulses) => Box::new(Tachometer::new(adapter, pulses)),
            None => adapter,
        },
        chain: taken.chain.span(span),
        port: taken.port,
    })
}

/// Whether an adapter can be made. A plugin is not started: what it says of its own settings is
/// only known when the service runs.
///
/// # Errors
/// As [`build`].
pub fn check(name: &str, settings: Map<String, Value>, plugins: &Plugins) -> Result<(), BayError> {
    let taken = Taken::of(name, settings)?;
    match taken.kind.make {
        Make::Here(make) => make(taken.left).map(drop),
        Make::Plugin => plugins.knows(taken.left),
    }
}

/// Takes the member `pulses_per_turn` out of an instrument's settings: every
/// frequency it gives is then the speed of a shaft.
fn pulses_per_turn(settings: &mut Map<String, Value>) -> Result<Option<PulsesPerTurn>, BayError> {
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

/// Puts the path that stays in place of a node whose number may change, so that
/// an instrument is found again after it was unplugged; gives the path used.
fn keep_port(settings: &mut Map<String, Value>, ports: &Ports) -> Option<PathBuf> {
    let given = PathBuf::from(settings.get("port")?.as_str()?);
    let kept = ports.stable(Path::new(&given)).unwrap_or(given);
    let text = Value::from(kept.to_string_lossy().into_owned());
    settings.insert("port".to_owned(), text);
    Some(kept)
}

impl Kind {
    fn about(&self) -> AdapterDescription {
        let mut settings = match (self.schema)() {
            Value::Object(schema) => schema,
            _ => Map::new(),
        };
        // The service reads these before the adapter sees its settings.
        if let Some(Value::Object(members)) = settings.get_mut("properties") {
            for (member, schema) in schemas() {
                members.insert(member.to_owned(), schema);
            }
            let text =
                "Frequencies are pulses, so many for one turn: they are shown as shaft speed.";
            let shape =
                serde_json::json!({"description": text, "type": "number", "exclusiveMinimum": 0});
            members.insert("pulses_per_turn".to_owned(), shape);
        }
        AdapterDescription {
            adapter: self.name.to_owned(),
            title: self.title.to_owned(),
            settings,
        }
    }
}

fn read<S: serde::de::DeserializeOwned>(settings: Value) -> Result<S, BayError> {
    serde_json::from_value(settings).map_err(|error| {
        ErrorKind::InvalidSettings
            .because(error.to_string())
            .at("settings")
            .hint("service.about has the schema of the adapter's settings")
    })
}

fn refused(error: &trisect_kit::SettingsError) -> BayError {
    ErrorKind::InvalidSettings
        .because(error.why.clone())
        .at(format!("settings.{}", error.field))
        .hint("service.about has the schema of the adapter's settings")
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::error::Hint;
    use serde_json::json;

    async fn built(name: &str, settings: Value) -> Result<Built, BayError> {
        let settings = settings.as_object().cloned().unwrap();
        build(name, settings, &Plugins::default()).await
    }

    async fn refusal(name: &str, settings: Value) -> BayError {
        match built(name, settings).await {
            Ok(_) => panic!("{name} was built"),
            Err(error) => error,
        }
    }

    #[tokio::test]
    async fn what_does_not_fit_is_refused_with_the_field() {
        let unknown = refusal("multimetre", json!({})).await;
        assert_eq!(unknown.kind, ErrorKind::UnknownAdapter);
        assert!(
            matches!(unknown.hint, Some(Hint::OneOf { known, .. }) if known.contains(&"multimeter".to_owned()))
        );
        let protocol = refusal("multimeter", json!({"port": "/dev/x", "protocol": "morse"})).await;
        assert_eq!(protocol.field.as_deref(), Some("settings.protocol"));
        let accuracy = json!({"port": "/dev/x", "protocol": "fs9922", "accuracy": "good"});
        assert_eq!(
            refusal("multimeter", accuracy).await.field.as_deref(),
            Some("settings.accuracy")
        );
        assert_eq!(
            refusal("multimeter", json!({"prot": 1})).await.kind,
            ErrorKind::InvalidSettings
        );
    }

    #[tokio::test]
    async fn pulses_a_turn_make_any_frequency_a_speed() {
        let shown = async |more: Value| {
            let mut settings = json!({"port": "/dev/x", "patterns": ["f={frequency|Hz}"]});
            settings["pulses_per_turn"] = more;
            let built = built("text", settings).await;
            built
                .map(|built| built.adapter.describe().channels[0].function)
                .map_err(|error| error.field.unwrap_or_default())
        };
        let speed = trisect_measure::Function::RotationalSpeed;
        assert_eq!(shown(json!(2)).await, Ok(Some(speed)));
        let field = "settings.pulses_per_turn".to_owned();
        assert_eq!(shown(json!(0)).await, Err(field.clone()));
        assert_eq!(shown(json!("two")).await, Err(field));
    }

    #[test]
    fn every_kind_says_what_it_asks_for() {
        for adapter in about() {
            let properties = &adapter.settings["properties"];
            let place = ["port", "quantity", "url", "plugin"]
                .iter()
                .any(|p| properties.get(p).is_some());
            assert!(place, "{}", adapter.adapter);
            assert!(
                properties.get("accuracy").is_some() && properties.get("calibration").is_some()
            );
        }
    }

    #[test]
    fn a_node_is_opened_by_the_path_that_stays() {
        let folder = tempfile::tempdir().unwrap();
        let dev = std::fs::canonicalize(folder.path()).unwrap();
        std::fs::create_dir_all(dev.join("serial/by-id")).unwrap();
        std::fs::write(dev.join("ttyUSB3"), "").unwrap();
        let cable = dev.join("serial/by-id/usb-cable");
        std::os::unix::fs::symlink("../../ttyUSB3", &cable).unwrap();
        let ports = Ports::under(&dev);
        let kept = |path: PathBuf| {
            let mut settings = Map::new();
            settings.insert("port".to_owned(), json!(path));
            let kept = keep_port(&mut settings, &ports).unwrap();
            assert_eq!(settings["port"], json!(kept));
            kept
        };
        assert_eq!(kept(dev.join("ttyUSB3")), cable);
        assert_eq!(kept(cable.clone()), cable);
        assert_eq!(kept(dev.join("ttyUSB4")), dev.join("ttyUSB4"));
        assert_eq!(keep_port(&mut Map::new(), &ports), None);
    }

    #[tokio::test]
    async fn a_gauge_is_an_instrument() {
        let gauge = json!({"quantity": "pressure", "full_scale": "60 psi", "accuracy": "1.6 % FS"});
        let built = built("manual", gauge).await.unwrap();
        let function = built.adapter.describe().channels[0].function;
        assert_eq!(function, Some(trisect_measure::Function::Pressure));
        let field = async |settings| refusal("manual", settings).await.field.unwrap();
        assert_eq!(
            field(json!({"quantity": "time"})).await,
            "settings.quantity"
        );
        let wrong = json!({"quantity": "pressure", "full_scale": "60 V"});
        assert_eq!(field(wrong).await, "settings.full_scale");
    }
}
