//! Frozen messages: every file in `examples/` was said on the wire by some version, and must keep being
//! understood. Add to them; do not change them.

#![allow(clippy::unwrap_used, clippy::expect_used)]

use crate::WireError;
use jsonrpsee_types::ErrorObjectOwned;
use serde_json::Value;
use std::path::{Path, PathBuf};

fn files() -> Vec<PathBuf> {
    let directory = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples");
    std::fs::read_dir(directory)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .collect()
}

fn read(path: &Path) -> Value {
    serde_json::from_str(&std::fs::read_to_string(path).unwrap()).expect("an example is JSON")
}

/// `reading.submit.senml.json` is an example of `reading.submit`.
fn method_of(path: &Path) -> Option<String> {
    let name = path.file_name()?.to_str()?;
    let mut words = name.split('.');
    Some(format!("{}.{}", words.next()?, words.next()?))
}

/// Whether everything in `old` is still in `new`; `new` may have gained members.
fn keeps(old: &Value, new: &Value) -> bool {
    match (old, new) {
        (Value::Object(old), Value::Object(new)) => old
            .iter()
            .all(|(name, value)| new.get(name).is_some_and(|n| keeps(value, n))),
        (Value::Array(old), Value::Array(new)) => {
            old.len() == new.len() && old.iter().zip(new).all(|(o, n)| keeps(o, n))
        }
        (Value::Number(old), Value::Number(new)) => old.as_f64() == new.as_f64(),
        _ => old == new,
    }
}

#[test]
fn every_row_of_the_table_has_an_example_that_is_understood() {
    let files = files();
    for entry in crate::methods() {
        let own: Vec<_> = files
            .iter()
            .filter(|p| method_of(p).as_deref() == Some(entry.name))
            .collect();
        assert!(!own.is_empty(), "examples/{}.json is missing", entry.name);
        for path in own {
            let example = read(path);
            let check = |what: &str, old: &Value, reread: crate::method::Reread| {
                let new =
                    reread(&old.to_string()).unwrap_or_else(|e| panic!("{what} of {path:?}: {e}"));
                assert!(
                    keeps(old, &new),
                    "{what} of {path:?}: {old}\nwas understood as\n{new}"
                );
            };
            check("params", &example["params"], entry.reread_params);
            let results = example["items"]
                .as_array()
                .cloned()
                .unwrap_or_else(|| vec![example["result"].clone()]);
            for result in &results {
                check("result", result, entry.reread_result);
            }
        }
    }
}

#[test]
fn errors_are_understood() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/errors.json");
    for old in read(&path)["errors"].as_array().unwrap() {
        let object: ErrorObjectOwned = serde_json::from_value(old.clone()).unwrap();
        let refusal = WireError::from_error_object(&object).expect("its data is a WireError");
        let new = serde_json::to_value(ErrorObjectOwned::from(refusal)).unwrap();
        assert_eq!(*old, new);
    }
}
