//! The text of a configuration held against the schema of the settings: every unknown key,
//! missing key and wrong type at once, with its line.

use serde_json::Value;
use toml::de::{DeTable, DeValue};
use trisect_kit::error_chain;

use super::error::nearest;

/// One mistake.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Mistake {
    /// The line of the file, where it is of one.
    pub line: Option<usize>,
    /// The key, as a path such as `bays[0].instruments[1].settings.port`; empty for the whole.
    pub key: String,
    /// What is wrong, and how to mend it.
    pub what: String,
}

impl Mistake {
    /// An error of a key, with what is behind it.
    pub(super) fn of(key: &str, error: &dyn std::error::Error) -> Mistake {
        Mistake {
            line: None,
            key: key.to_owned(),
            what: error_chain(error),
        }
    }
}

impl std::fmt::Display for Mistake {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        if let Some(line) = self.line {
            write!(f, "line {line}: ")?;
        }
        if !self.key.is_empty() {
            write!(f, "`{}`: ", self.key)?;
        }
        f.write_str(&self.what)
    }
}

/// Every mistake of a text against a JSON Schema of the kind that serde types have.
pub(super) fn mistakes(text: &str, schema: &Value) -> Vec<Mistake> {
    let mut reader = Reader {
        text,
        root: schema,
        found: Vec::new(),
    };
    match DeTable::parse(text) {
        Ok(table) => reader.table(table.get_ref(), schema, ""),
        Err(error) => {
            let line = error.span().map(|span| reader.line(span.start));
            reader.found.push(Mistake {
                line,
                key: String::new(),
                what: format!("this is not TOML: {}", error.message()),
            });
        }
    }
    reader.found
}

struct Reader<'a> {
    text: &'a str,
    root: &'a Value,
    found: Vec<Mistake>,
}

impl<'a> Reader<'a> {
    fn line(&self, at: usize) -> usize {
        let before = self.text.as_bytes().get(..at).unwrap_or_default();
        before.iter().filter(|byte| **byte == b'\n').count() + 1
    }

    fn say(&mut self, at: usize, key: &str, what: String) {
        let line = Some(self.line(at));
        let key = key.to_owned();
        self.found.push(Mistake { line, key, what });
    }

    /// A schema that is a reference, or one thing or nothing, as the one thing.
    fn plain(&self, schema: &'a Value) -> &'a Value {
        if let Some(name) = schema["$ref"].as_str() {
            let pointer = name.trim_start_matches('#');
            return self.root.pointer(pointer).unwrap_or(schema);
        }
        let is_null = |choice: &&Value| choice["type"] != "null";
        match schema["anyOf"].as_array() {
            Some(choices) if choices.len() == 2 => {
                let one = choices.iter().find(is_null);
                one.map_or(schema, |one| self.plain(one))
            }
            _ => schema,
        }
    }

    fn table(&mut self, table: &DeTable<'_>, schema: &'a Value, at: &str) {
        let schema = self.plain(schema);
        let Some(known) = schema["properties"].as_object() else {
            // Whatever is set here is an adapter's affair.
            return;
        };
        let begins = table
            .iter()
            .map(|(key, _)| key.span().start)
            .min()
            .unwrap_or(0);
        for (key, value) in table {
            let name: &str = key.get_ref();
            let path = path(at, name);
            match known.get(name) {
                Some(schema) => self.value(value.get_ref(), value.span().start, schema, &path),
                None => {
                    let names: Vec<&str> = known.keys().map(String::as_str).collect();
                    let hint = nearest(name, &names).map_or_else(
                        || format!("known: {}", names.join(", ")),
                        |n| format!("did you mean `{n}`?"),
                    );
                    self.say(key.span().start, &path, format!("unknown key: {hint}"));
                }
            }
        }
        let required = schema["required"].as_array().into_iter().flatten();
        for name in required.filter_map(Value::as_str) {
            if !table.contains_key(name) {
                self.say(begins, &path(at, name), "it is missing".to_owned());
            }
        }
    }

    fn value(&mut self, value: &DeValue<'_>, begins: usize, schema: &'a Value, at: &str) {
        let schema = self.plain(schema);
        let wanted = wanted(schema);
        match value {
            DeValue::Table(table) if wanted == "table" => self.table(table, schema, at),
            DeValue::Array(array) if wanted == "array" => {
                for (index, item) in array.iter().enumerate() {
                    let begins = item.span().start;
                    let at = format!("{at}[{index}]");
                    self.value(item.get_ref(), begins, &schema["items"], &at);
                }
            }
            DeValue::String(text) if wanted == "string" => self.word(text, begins, schema, at),
            other => {
                let fits = match other.type_str() {
                    "integer" => wanted == "integer" || wanted == "float",
                    kind => kind == wanted,
                };
                if !fits && !wanted.is_empty() {
                    let what = format!(
                        "this is to be of the type {wanted}, and is of the type {}",
                        other.type_str()
                    );
                    self.say(begins, at, what);
                }
            }
        }
    }

    /// A string, which may have to be one of some words.
    fn word(&mut self, text: &str, begins: usize, schema: &'a Value, at: &str) {
        let listed = schema["enum"].as_array().cloned().unwrap_or_default();
        let constants = schema["oneOf"].as_array().cloned().unwrap_or_default();
        let constants = constants.iter().map(|one| one["const"].clone());
        let words: Vec<String> = listed
            .into_iter()
            .chain(constants)
            .filter_map(|word| word.as_str().map(str::to_owned))
            .collect();
        if !words.is_empty() && !words.iter().any(|word| word == text) {
            self.say(
                begins,
                at,
                format!("`{text}` is not one of {}", words.join(", ")),
            );
        }
    }
}

fn path(at: &str, name: &str) -> String {
    if at.is_empty() {
        name.to_owned()
    } else {
        format!("{at}.{name}")
    }
}

/// The TOML type a schema asks for; empty where it leaves it open.
fn wanted(schema: &Value) -> &'static str {
    let named = match &schema["type"] {
        Value::String(one) => one.as_str(),
        Value::Array(several) => several
            .iter()
            .filter_map(Value::as_str)
            .find(|one| *one != "null")
            .unwrap_or_default(),
        _ if schema["oneOf"].is_array() || schema["enum"].is_array() => "string",
        _ => "",
    };
    match named {
        "object" => "table",
        "array" => "array",
        "string" => "string",
        "integer" => "integer",
        "number" => "float",
        "boolean" => "boolean",
        _ => "",
    }
}
