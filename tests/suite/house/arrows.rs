//! Dependencies point one way: `measure ← rules ← diagnosis ← journal ← daemon`.

use std::collections::BTreeSet;

use serde_json::Value;
use trisect_tests::repository::metadata;

use super::none;

/// Whom each package of ours may know, of ours. An arrow that is not here does not exist.
const MAY_KNOW: &[(&str, &[&str])] = &[
    ("trisect-measure", &[]),
    ("trisect-rules", &["trisect-measure"]),
    ("trisect-diagnosis", &["trisect-measure", "trisect-rules"]),
    (
        "trisect-journal",
        &["trisect-measure", "trisect-rules", "trisect-diagnosis"],
    ),
    // The only one that knows both the machine model and the reasoning: it holds one against the other.
    (
        "trisect-survey",
        &[
            "trisect-measure",
            "trisect-rules",
            "trisect-diagnosis",
            "trisect-simulated",
        ],
    ),
    // Mirrors what it shows; the daemon converts.
    ("trisect-wire", &[]),
    (
        "trisectd",
        &[
            "trisect-measure",
            "trisect-rules",
            "trisect-diagnosis",
            "trisect-journal",
            "trisect-wire",
            "trisect-kit",
            "trisect-multimeter",
            "trisect-transducer",
            "trisect-http",
            "trisect-simulated",
        ],
    ),
    ("trisect-kit", &["trisect-measure"]),
    ("trisect-multimeter", &["trisect-measure", "trisect-kit"]),
    ("trisect-transducer", &["trisect-measure", "trisect-kit"]),
    ("trisect-http", &["trisect-measure", "trisect-kit"]),
    ("trisect-simulated", &["trisect-measure", "trisect-kit"]),
    // A client knows the wire and what is pure, reads instrument bytes, and surveys rule sets; never the daemon.
    (
        "trisect",
        &[
            "trisect-wire",
            "trisect-measure",
            "trisect-rules",
            "trisect-diagnosis",
            "trisect-survey",
            "trisect-kit",
            "trisect-multimeter",
            "trisect-transducer",
        ],
    ),
];

/// The packages of the workspace, as `cargo metadata` has them.
pub(super) fn ours() -> Vec<&'static Value> {
    let members: BTreeSet<&str> = strings(&metadata()["workspace_members"]).collect();
    let packages = metadata()["packages"].as_array().unwrap();
    packages
        .iter()
        .filter(|package| members.contains(package["id"].as_str().unwrap()))
        .collect()
}

/// The texts in a JSON array.
pub(super) fn strings(array: &'static Value) -> impl Iterator<Item = &'static str> {
    array
        .as_array()
        .unwrap()
        .iter()
        .map(|text| text.as_str().unwrap())
}

#[test]
fn dependencies_point_one_way() {
    let names: BTreeSet<&str> = ours()
        .iter()
        .map(|package| package["name"].as_str().unwrap())
        .collect();
    let mut breaches = Vec::new();
    for package in ours() {
        let name = package["name"].as_str().unwrap();
        if name == "trisect-tests" {
            continue;
        }
        let Some((_, may)) = MAY_KNOW.iter().find(|(known, _)| *known == name) else {
            breaches.push(format!(
                "{name} is new: say in {} whom it may know",
                file!()
            ));
            continue;
        };
        // Dev-dependencies too: a test that needs more belongs into this package.
        for dependency in package["dependencies"].as_array().unwrap() {
            let on = dependency["name"].as_str().unwrap();
            if names.contains(on) && !may.contains(&on) {
                breaches.push(format!(
                    "{}: {name} must not know {on}",
                    package["manifest_path"]
                ));
            }
        }
    }
    none(&breaches);
}

#[test]
fn nobody_knows_the_tests_or_the_clients() {
    let mut breaches = Vec::new();
    for package in ours() {
        for dependency in package["dependencies"].as_array().unwrap() {
            let on = dependency["name"].as_str().unwrap();
            if matches!(on, "trisect-tests" | "trisect") {
                breaches.push(format!("{} must not know {on}", package["manifest_path"]));
            }
        }
    }
    none(&breaches);
}

/// Versions, lints and the licence are said once, in the workspace.
#[test]
fn every_package_inherits_what_the_workspace_says() {
    let mut breaches = Vec::new();
    for package in ours() {
        let path = package["manifest_path"].as_str().unwrap();
        let manifest: toml::Table = std::fs::read_to_string(path).unwrap().parse().unwrap();
        let inherits = |table: &toml::Value| {
            table.get("workspace").and_then(toml::Value::as_bool) == Some(true)
        };
        if !manifest.get("lints").is_some_and(inherits) {
            breaches.push(format!("{path}: [lints] workspace = true"));
        }
        for key in ["version", "edition", "rust-version", "license", "publish"] {
            if !manifest["package"].get(key).is_some_and(inherits) {
                breaches.push(format!("{path}: {key}.workspace = true"));
            }
        }
    }
    none(&breaches);
}
