//! What a caller can name: every text of a request, and of an instrument's settings, is in the table of
//! deploy/SECURITY.md, so that a new path, address or pattern is looked at before it can be called.

use std::collections::BTreeSet;

use serde_json::{Map, Value};
use trisect_tests::repository::text;

/// The schema that a reference leads to, within the document.
fn resolved<'a>(schema: &'a Value, document: &'a Value) -> &'a Value {
    match schema.get("$ref").and_then(Value::as_str) {
        Some(to) => document.pointer(to.trim_start_matches('#')).unwrap(),
        None => schema,
    }
}

/// The names of all free texts in a schema: what is one of a list, or has a form of its own, is no name of
/// anything.
fn texts(name: &str, schema: &Value, document: &Value, depth: usize, found: &mut BTreeSet<String>) {
    let schema = resolved(schema, document);
    if depth == 0 || schema.get("enum").is_some() || schema.get("const").is_some() {
        return;
    }
    for key in ["anyOf", "oneOf", "allOf"] {
        for one in schema
            .get(key)
            .and_then(Value::as_array)
            .into_iter()
            .flatten()
        {
            texts(name, one, document, depth - 1, found);
        }
    }
    for key in ["items", "additionalProperties"] {
        if let Some(inner) = schema.get(key).filter(|inner| inner.is_object()) {
            texts(name, inner, document, depth - 1, found);
        }
    }
    let types = schema.get("type");
    let is_text = types.is_some_and(|types| {
        types == "string"
            || types
                .as_array()
                .is_some_and(|all| all.contains(&"string".into()))
    });
    if is_text {
        found.insert(name.to_owned());
    }
    if let Some(properties) = schema.get("properties").and_then(Value::as_object) {
        for (name, schema) in properties {
            texts(name, schema, document, depth - 1, found);
        }
    }
}

/// What stands between backticks in the lines of a section.
fn listed(document: &str, heading: &str) -> BTreeSet<String> {
    let section = document.split(heading).nth(1);
    let section = section.unwrap_or_else(|| panic!("no `{heading}`"));
    let section = section.split("\n## ").next().unwrap();
    // In a table the names stand in the first column.
    let names = section.lines().map(|line| match line.strip_prefix('|') {
        Some(row) => row.split('|').next().unwrap(),
        None => line,
    });
    let quoted = names.flat_map(|line| line.split('`').skip(1).step_by(2));
    quoted.map(str::to_owned).collect()
}

#[test]
fn every_text_that_a_caller_gives_is_in_the_table() {
    let mut found = BTreeSet::new();
    let document = Value::Object(trisect_wire::openrpc());
    for method in document["methods"].as_array().unwrap() {
        for param in method["params"].as_array().unwrap() {
            let name = param["name"].as_str().unwrap();
            texts(name, &param["schema"], &document, 12, &mut found);
        }
    }
    for adapter in trisect_bay::instruments::about() {
        let schema = Value::Object(adapter.settings);
        texts("", &schema, &schema, 12, &mut found);
    }
    let document = text("deploy/SECURITY.md");
    let named = listed(&document, "\n## What callers can name\n");
    let plain = listed(&document, "\n## Plain texts\n");
    let both: BTreeSet<String> = named.union(&plain).cloned().collect();
    let missing: Vec<_> = found.difference(&both).collect();
    assert!(missing.is_empty(), "not in deploy/SECURITY.md: {missing:?}");
    let unknown: Vec<_> = both.difference(&found).collect();
    assert!(unknown.is_empty(), "nobody can give these: {unknown:?}");
    let twice: Vec<_> = named.intersection(&plain).collect();
    assert!(twice.is_empty(), "in both lists: {twice:?}");
    // What looks for texts finds them.
    let schema: Map<String, Value> = serde_json::from_str(
        r##"{"properties": {"a": {"anyOf": [{"$ref": "#/definitions/x"}, {"type": "null"}]},
            "b": {"enum": ["c"]}, "d": {"items": {"type": ["string", "null"]}}},
            "definitions": {"x": {"type": "string"}}}"##,
    )
    .unwrap();
    let (schema, mut some) = (Value::Object(schema), BTreeSet::new());
    texts("", &schema, &schema, 12, &mut some);
    assert_eq!(some.into_iter().collect::<Vec<_>>(), ["a", "d"]);
}
