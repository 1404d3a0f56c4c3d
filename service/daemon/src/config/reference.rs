//! `trisectd check-config --reference`: every key with its meaning, default and unit, from the schema that
//! refuses unknown ones.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use schemars::SchemaGenerator;
use serde_json::{Map, Value};

use super::Settings;

/// What comes before the keys.
const HEAD: &str = "## Every key

A TOML file, named with `--config`. The environment overrides the file: `TRISECT_` and the key in capitals, with two
underscores between a table and its key (`TRISECT_LISTEN`, `TRISECT_LOG__LEVEL`); flags override both. A length of time
is a number with `ms`, `s`, `min`, `h` or `days`. This is what `trisectd check-config --reference` prints.
";

/// What comes before the settings of the adapters.
const ADAPTERS: &str = "
## Settings of instruments

`bays[].instruments[].settings` are those of the instrument's adapter. Every adapter also takes what the measurement
chain asks for, which stands under the first of them; `service.about` has the whole schema of each.
";

/// The reference, in Markdown.
pub fn reference() -> String {
    let mut text = HEAD.to_owned();
    let schema = SchemaGenerator::default().into_root_schema_for::<Settings>();
    let tables = Tables {
        root: schema.as_value(),
    };
    tables.write(&mut text, "", schema.as_value());
    text.push_str(ADAPTERS);
    adapters(&mut text);
    text
}

/// The tables of a schema.
struct Tables<'a> {
    root: &'a Value,
}

impl<'a> Tables<'a> {
    /// A schema that is a reference, or one thing or nothing, as the one thing.
    fn plain(&self, schema: &'a Value) -> &'a Value {
        if let Some(name) = schema["$ref"].as_str() {
            let pointer = name.trim_start_matches('#');
            return self.root.pointer(pointer).unwrap_or(schema);
        }
        let choices = schema["anyOf"].as_array().or(schema["oneOf"].as_array());
        let one = choices.and_then(|all| all.iter().find(|one| one["type"] != "null"));
        match (one, schema["properties"].is_object()) {
            (Some(one), false) if schema["anyOf"].is_array() => self.plain(one),
            _ => schema,
        }
    }

    /// Writes the keys of a table, then its tables, each under a heading of its own.
    fn write(&self, text: &mut String, at: &str, schema: &'a Value) {
        let table = self.plain(schema);
        let (mut keys, mut inner) = (String::new(), Vec::new());
        for (name, member) in members(table) {
            let (path, below) = match at {
                "" => (name.clone(), self.table_of(member)),
                at => (format!("{at}.{name}"), self.table_of(member)),
            };
            match below {
                Some((list, below)) => inner.push((format!("{path}{list}"), member, below)),
                None => self.key(&mut keys, name, member),
            }
        }
        if !keys.is_empty() {
            let _ = match at {
                "" => writeln!(text, "\n### Outside any table\n"),
                at => writeln!(text, "\n### `{at}`\n"),
            };
            let about = table["description"].as_str().filter(|_| !at.is_empty());
            if let Some(about) = about {
                let _ = writeln!(text, "{}\n", one_line(about));
            }
            text.push_str(&keys);
        }
        for (path, _, below) in inner {
            self.write(text, &path, below);
        }
    }

    /// The table that a key holds, or holds many of (`[]`).
    fn table_of(&self, member: &'a Value) -> Option<(&'static str, &'a Value)> {
        let plain = self.plain(member);
        if plain["properties"].is_object() {
            return Some(("", plain));
        }
        let item = plain.get("items").map(|items| self.plain(items))?;
        item["properties"].is_object().then_some(("[]", item))
    }

    fn key(&self, text: &mut String, name: &str, member: &'a Value) {
        let plain = self.plain(member);
        let about = member["description"].as_str();
        let about = about.or(plain["description"].as_str()).unwrap_or_default();
        let _ = write!(text, "- `{name}`");
        if let Some(default) = member.get("default").and_then(shown) {
            let _ = write!(text, " = {default}");
        }
        let _ = writeln!(text, ": {}{}", one_line(about), self.words(plain));
    }

    /// The words there are to choose from.
    fn words(&self, schema: &'a Value) -> String {
        let schema = match schema.get("items") {
            Some(items) => self.plain(items),
            None => schema,
        };
        let mut words: Vec<&str> = Vec::new();
        for one in schema["oneOf"].as_array().into_iter().flatten() {
            words.extend(one["const"].as_str());
        }
        for one in schema["enum"].as_array().into_iter().flatten() {
            words.extend(one.as_str());
        }
        if words.is_empty() {
            return String::new();
        }
        format!(" One of `{}`.", words.join("`, `"))
    }
}

fn members(schema: &Value) -> impl Iterator<Item = (&String, &Value)> {
    schema["properties"]
        .as_object()
        .into_iter()
        .flat_map(Map::iter)
}

/// A default, where there is one to show.
fn shown(default: &Value) -> Option<String> {
    match default {
        Value::Null => None,
        Value::Array(list) if list.is_empty() => None,
        Value::Object(table) if table.is_empty() => None,
        other => Some(format!("`{other}`")),
    }
}

fn one_line(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The settings of each adapter: what only it takes, then what all take.
fn adapters(text: &mut String) {
    let all = trisect_bay::instruments::about();
    let mut of_every: BTreeMap<String, usize> = BTreeMap::new();
    for adapter in &all {
        for (name, _) in members(&Value::Object(adapter.settings.clone())) {
            *of_every.entry(name.clone()).or_default() += 1;
        }
    }
    for (place, adapter) in all.iter().enumerate() {
        let _ = writeln!(text, "\n### `{}`: {}\n", adapter.adapter, adapter.title);
        let schema = Value::Object(adapter.settings.clone());
        for (name, member) in members(&schema) {
            let everywhere = of_every.get(name).is_some_and(|count| *count == all.len());
            if everywhere && place > 0 {
                continue;
            }
            let about = one_line(member["description"].as_str().unwrap_or_default());
            let default = member.get("default").and_then(shown);
            let default = default.map_or(String::new(), |default| format!(" = {default}"));
            let mark = if everywhere { " (every adapter)" } else { "" };
            let _ = writeln!(text, "- `{name}`{default}{mark}: {about}");
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_key_is_there_with_a_meaning() {
        let text = reference();
        let schema = SchemaGenerator::default().into_root_schema_for::<Settings>();
        let mut names = Vec::new();
        collect(schema.as_value(), &mut names);
        assert!(names.len() > 60, "{names:?}");
        for name in names {
            let key = text
                .lines()
                .any(|line| line.starts_with(&format!("- `{name}`")));
            let heads = ["`", "[", "."].map(|end| format!("{name}{end}"));
            let table = |line: &str| {
                line.starts_with("### `") && heads.iter().any(|head| line.contains(head.as_str()))
            };
            assert!(key || text.lines().any(table), "{name} is missing");
        }
        for line in text.lines().filter(|line| line.starts_with("- `")) {
            let (_, about) = line.split_once(": ").unwrap_or_default();
            assert!(about.len() > 5, "no meaning: {line}");
        }
    }

    /// The names of all keys, wherever they stand.
    fn collect(schema: &Value, names: &mut Vec<String>) {
        names.extend(members(schema).map(|(name, _)| name.clone()));
        for (_, definition) in schema["$defs"].as_object().into_iter().flatten() {
            collect(definition, names);
        }
    }

    #[test]
    fn defaults_are_those_of_the_settings() {
        let text = reference();
        for line in [
            "- `listen` = `\"127.0.0.1:7474\"`",
            "- `connections` = `256`",
            "- `outside_jobs` = `\"7 days\"`",
            "- `head_within` = `\"10 s\"`",
            "- `calls_per_second` = `500.0`",
        ] {
            assert!(text.contains(line), "{line} is not in\n{text}");
        }
    }
}
