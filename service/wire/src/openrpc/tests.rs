#![allow(clippy::unwrap_used, clippy::expect_used)]
use super::*;
use std::collections::BTreeSet;
use std::path::Path;

/// The committed document. `TRISECT_BLESS=1 cargo test -p trisect-wire` writes it anew.
#[test]
fn the_committed_document_is_this_table() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("openrpc.json");
    let made = serde_json::to_string_pretty(&openrpc()).unwrap() + "\n";
    if std::env::var_os("TRISECT_BLESS").is_some() {
        std::fs::write(&path, &made).unwrap();
    }
    let kept = std::fs::read_to_string(&path).expect("openrpc.json can be read");
    assert!(
        kept == made,
        "openrpc.json is not what the table says; look at the change and run TRISECT_BLESS=1 cargo test -p trisect-wire"
    );
}

#[test]
fn every_reference_resolves() {
    let document = Value::Object(openrpc());
    let mut stack = vec![&document];
    let mut seen = 0;
    while let Some(value) = stack.pop() {
        match value {
            Value::Object(members) => {
                if let Some(Value::String(reference)) = members.get("$ref") {
                    let pointer = reference.strip_prefix('#').expect("references are local");
                    assert!(
                        document.pointer(pointer).is_some(),
                        "{reference} points nowhere"
                    );
                    seen += 1;
                }
                stack.extend(members.values());
            }
            Value::Array(elements) => stack.extend(elements),
            _ => {}
        }
    }
    assert!(seen > 50, "only {seen} references");
}

#[test]
fn names_are_noun_verb_and_unique() {
    let document = openrpc();
    let methods = document["methods"].as_array().unwrap();
    let names: Vec<&str> = methods.iter().filter_map(|m| m["name"].as_str()).collect();
    let unique: BTreeSet<_> = names.iter().collect();
    assert_eq!(unique.len(), names.len());
    for name in names {
        let (noun, verb) = name.split_once('.').expect(name);
        assert!(
            noun.chars()
                .chain(verb.chars())
                .all(|c| c.is_ascii_lowercase()),
            "{name}"
        );
    }
}

#[test]
fn required_parameters_come_first_and_unknown_ones_are_refused() {
    for entry in crate::methods() {
        let mut schemas = Schemas::new().asked;
        let object = (entry.params)(&mut schemas);
        assert_eq!(
            object.get("additionalProperties"),
            Some(&json!(false)),
            "{}",
            entry.name
        );
        let optional: Vec<bool> = params(&entry, &mut schemas)
            .iter()
            .map(|p| p["required"] == json!(false))
            .collect();
        assert!(optional.is_sorted(), "{}", entry.name);
    }
}

#[test]
fn error_codes_are_unique_within_a_method() {
    for entry in crate::methods() {
        let kinds: Vec<_> = ErrorKind::COMMON.iter().chain(entry.errors).collect();
        let unique: BTreeSet<_> = kinds.iter().collect();
        assert_eq!(unique.len(), kinds.len(), "{}", entry.name);
    }
}

#[test]
fn what_is_asked_for_and_told_is_described_once() {
    let mut schemas = Schemas::new();
    for entry in crate::methods() {
        method(&entry, &mut schemas);
    }
    let told = schemas.told.definitions();
    let both: Vec<_> = schemas
        .asked
        .definitions()
        .iter()
        .filter(|(name, schema)| told.get(*name).is_some_and(|t| t != *schema))
        .collect();
    assert!(both.is_empty(), "described in two ways: {both:?}");
}
