//! Dependencies point one way: `measure ← rules ← diagnosis ← journal ← bay ← daemon`, and `wire ← front ← daemon`.

use std::collections::BTreeSet;

use serde_json::Value;
use trisect_tests::repository::{metadata, root};

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
    // Mirrors what it shows; the daemon converts.
    ("trisect-wire", &[]),
    // Knows no bay: methods and routes are handed to it.
    ("trisect-front", &["trisect-wire"]),
    // Knows no type of the wire, and nothing that serves.
    (
        "trisect-bay",
        &[
            "trisect-measure",
            "trisect-rules",
            "trisect-diagnosis",
            "trisect-journal",
            "trisect-kit",
            "trisect-multimeter",
            "trisect-transducer",
            "trisect-http",
        ],
    ),
    // Know no bay and no type of the wire: what an event says is put together for them.
    (
        "trisect-webhooks",
        &["trisect-journal", "trisect-kit", "trisect-http"],
    ),
    (
        "trisectd",
        &[
            "trisect-measure",
            "trisect-rules",
            "trisect-diagnosis",
            "trisect-journal",
            "trisect-wire",
            "trisect-front",
            "trisect-bay",
            "trisect-webhooks",
            "trisect-kit",
            "trisect-http",
            "trisect-practice",
        ],
    ),
    // The physics: reads no rule set.
    ("trisect-machine", &["trisect-measure"]),
    // How a test is done, as data.
    (
        "trisect-technician",
        &["trisect-measure", "trisect-machine"],
    ),
    // The only one that knows both the machine model and the reasoning: it holds one against the other.
    (
        "trisect-survey",
        &[
            "trisect-measure",
            "trisect-rules",
            "trisect-diagnosis",
            "trisect-machine",
            "trisect-technician",
        ],
    ),
    // A client of the service, which reaches into nothing of it.
    (
        "trisect-practice",
        &[
            "trisect-measure",
            "trisect-wire",
            "trisect-machine",
            "trisect-technician",
            "trisect-simulated",
        ],
    ),
    ("trisect-kit", &["trisect-measure"]),
    ("trisect-multimeter", &["trisect-measure", "trisect-kit"]),
    ("trisect-transducer", &["trisect-measure", "trisect-kit"]),
    ("trisect-http", &["trisect-measure", "trisect-kit"]),
    (
        "trisect-simulated",
        &["trisect-measure", "trisect-kit", "trisect-machine"],
    ),
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

/// The service that serves a real bay links no simulator: only a feature of the binary takes one in.
#[test]
fn without_its_feature_the_daemon_links_no_simulator() {
    let tree = std::process::Command::new(env!("CARGO"))
        .args(["tree", "--package", "trisectd", "--no-default-features"])
        .args([
            "--edges",
            "normal",
            "--prefix",
            "none",
            "--locked",
            "--offline",
        ])
        .current_dir(root())
        .output()
        .unwrap();
    assert!(tree.status.success(), "{tree:?}");
    let tree = String::from_utf8(tree.stdout).unwrap();
    assert!(tree.contains("trisect-bay "), "{tree}");
    let simulators = ["machine", "technician", "simulated", "survey", "practice"];
    let linked = simulators.map(|name| format!("trisect-{name} "));
    let linked = linked.iter().filter(|name| tree.contains(name.as_str()));
    none(&linked.cloned().collect::<Vec<_>>());
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

/// Versions, lints, the licence and what `cargo metadata` tells are said once, in the workspace; each says what it is.
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
        for key in [
            "version",
            "edition",
            "rust-version",
            "license",
            "authors",
            "readme",
            "keywords",
            "categories",
            "publish",
        ] {
            if !manifest["package"].get(key).is_some_and(inherits) {
                breaches.push(format!("{path}: {key}.workspace = true"));
            }
        }
        let about = manifest["package"].get("description");
        let about = about.and_then(toml::Value::as_str).unwrap_or_default();
        if about.trim().is_empty() {
            breaches.push(format!("{path}: description = \"what it is\""));
        }
    }
    none(&breaches);
}
