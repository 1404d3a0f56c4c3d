//! `trisectd check-config`: every mistake of a configuration, without starting anything.

use std::collections::HashMap;
use std::path::Path;

use schemars::SchemaGenerator;
use trisect_bay::Barometer;
use trisect_bay::catalog::{Catalog, CatalogError};
use trisect_bay::instruments::{self, Plugins};
use trisect_front::TlsFiles;
use trisect_front::access::read_tokens;
use trisect_kit::read_file;
use trisect_webhooks::Webhook;

use super::structure::{self, Mistake};
use super::{ConfigError, Flags, LONGEST_FILE, Settings, unchecked};

/// Every mistake of a configuration: of its text, its values, the files it names
/// and the instruments it sets up. Opens no port and no socket, changes nothing.
pub fn mistakes(flags: &Flags) -> Vec<Mistake> {
    let mut found = Vec::new();
    if let Some(path) = &flags.file {
        let text = match super::read(path) {
            Ok(text) => text,
            Err(error) => return vec![Mistake::of("", &error)],
        };
        let schema = SchemaGenerator::default().into_root_schema_for::<Settings>();
        found = structure::mistakes(&text, schema.as_value());
    }
    match unchecked(flags) {
        Ok(settings) => found.extend(of_settings(&settings)),
        // What is wrong with one value keeps the others from being looked at; the text
        // has been looked at as a whole already.
        Err(error) if found.is_empty() => found.push(Mistake::of("", &error)),
        Err(_) => {}
    }
    found
}

/// What is wrong with settings that can be read.
pub(crate) fn of_settings(settings: &Settings) -> Vec<Mistake> {
    let mut found: Vec<Mistake> = settings.breaches().iter().map(of_config).collect();
    if let Some(path) = &settings.token_file
        && let Err(error) = read_tokens(path)
    {
        found.push(Mistake::of("token_file", &error));
    }
    if let Some(tls) = &settings.tls {
        let files = TlsFiles {
            certificate: tls.certificate.clone(),
            key: tls.key.clone(),
        };
        if let Err(error) = files.load() {
            found.push(Mistake::of("tls", &error));
        }
    }
    if let Err(error) = trisect_journal::SqliteJournal::examine(&settings.journal) {
        found.push(Mistake::of("journal", &error));
    }
    if let Err(error) = crate::observe::log::filter(&settings.log.level) {
        found.push(of_config(&error));
    }
    found.extend(of_rule_sets(settings));
    found.extend(of_instruments(settings));
    found.extend(of_what_is_reached(settings));
    found
}

/// Files, folders and programs that are looked for when the service runs, or when it starts.
fn of_what_is_reached(settings: &Settings) -> Vec<Mistake> {
    let mut found = Vec::new();
    let mut mistake = |key: String, what: String| {
        found.push(Mistake {
            line: None,
            key,
            what,
        });
    };
    if let Some(unix) = &settings.unix
        && let Some(folder) = unix.path.parent()
        && !folder.as_os_str().is_empty()
        && !folder.is_dir()
    {
        let what = format!("there is no directory {}: make it first", folder.display());
        mistake("unix.path".to_owned(), what);
    }
    for webhook in &settings.webhooks {
        if let Err(what) = Webhook::new(webhook) {
            mistake(format!("webhooks.{}", webhook.webhook), what);
        }
    }
    for plugin in settings
        .plugins
        .iter()
        .filter(|one| !one.command.is_empty())
    {
        if let Err(error) = plugin.program().look_for() {
            mistake(format!("plugins.{}", plugin.plugin), error.to_string());
        }
    }
    for (index, bay) in settings.bays.iter().enumerate() {
        for (place, instrument) in bay.instruments.iter().enumerate() {
            let Some(credentials) = instrument.settings.get("credentials") else {
                continue;
            };
            let files = ["/bearer_file", "/basic/password_file"].map(|at| credentials.pointer(at));
            for file in files.into_iter().flatten().filter_map(|file| file.as_str()) {
                if let Err(error) = read_file(Path::new(file), LONGEST_FILE) {
                    let key = format!("bays[{index}].instruments[{place}].settings.credentials");
                    mistake(key, format!("cannot read {file}: {error}"));
                }
            }
        }
    }
    found
}

fn of_config(error: &ConfigError) -> Mistake {
    match error {
        ConfigError::Value { key, what } => Mistake {
            line: None,
            key: key.clone(),
            what: what.clone(),
        },
        other => Mistake::of("", other),
    }
}

fn of_rule_sets(settings: &Settings) -> Vec<Mistake> {
    let mut found = Vec::new();
    let mut usable = Vec::new();
    for path in &settings.rulesets {
        match Catalog::load(std::slice::from_ref(path)) {
            Ok(_) => usable.push(path.clone()),
            Err(CatalogError::Defects { defects, .. }) => {
                found.extend(defects.iter().map(|defect| Mistake {
                    line: None,
                    key: "rulesets".to_owned(),
                    what: format!(
                        "{}:{}:{}: {}",
                        path.display(),
                        defect.line,
                        defect.column,
                        defect.message
                    ),
                }));
            }
            Err(error) => found.push(Mistake::of("rulesets", &error)),
        }
    }
    let catalog = match Catalog::load(&usable) {
        Ok(catalog) => catalog,
        Err(error) => {
            found.push(Mistake::of("rulesets", &error));
            return found;
        }
    };
    // One with defects is there, if not to be used: it is not missing as well.
    let complete = usable.len() == settings.rulesets.len();
    for (index, bay) in settings.bays.iter().enumerate() {
        if complete && catalog.get(&bay.ruleset).is_none() {
            found.push(Mistake {
                line: None,
                key: format!("bays[{index}].ruleset"),
                what: format!(
                    "there is no rule set `{}`: name its file in `rulesets`",
                    bay.ruleset
                ),
            });
        }
    }
    found
}

fn of_instruments(settings: &Settings) -> Vec<Mistake> {
    let mut found = Vec::new();
    let mut ports: HashMap<String, String> = HashMap::new();
    let plugins = Plugins::new(&settings.plugins);
    for (index, bay) in settings.bays.iter().enumerate() {
        if let Some(air) = &bay.barometer
            && let Err(what) = Barometer::configured(&air.value, &air.uncertainty)
        {
            let key = format!("bays[{index}].barometer");
            found.push(Mistake {
                line: None,
                key,
                what,
            });
        }
        for (place, instrument) in bay.instruments.iter().enumerate() {
            let key = format!("bays[{index}].instruments[{place}]");
            let given = instrument.settings.clone();
            if let Err(error) = instruments::check(&instrument.adapter, given, &plugins)
                .map_err(crate::convert::refused)
            {
                let field = error.field.as_deref();
                let key = field.map_or(key.clone(), |field| format!("{key}.{field}"));
                let hint = error
                    .hint
                    .as_deref()
                    .map_or(String::new(), |hint| format!("; {hint}"));
                found.push(Mistake {
                    line: None,
                    key,
                    what: format!("{}{hint}", error.message),
                });
            }
            let port = instrument
                .settings
                .get("port")
                .and_then(|port| port.as_str());
            let name = format!("{} of {}", instrument.instrument, bay.bay);
            if let Some(port) = port
                && let Some(other) = ports.insert(port.to_owned(), name)
            {
                found.push(Mistake {
                    line: None,
                    key: format!("{key}.settings.port"),
                    what: format!("{port} is that of {other} already: one line has one owner"),
                });
            }
        }
    }
    found
}
