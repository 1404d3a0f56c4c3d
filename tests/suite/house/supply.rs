//! Where everything else comes from: one registry, with checksums, under licences we may use.

use std::collections::{BTreeMap, BTreeSet};

use trisect_tests::repository::{metadata, text};

use super::arrows::ours;
use super::none;

const REGISTRY: &str = "registry+https://github.com/rust-lang/crates.io-index";

/// Licences that ask for no more than their text being kept. MPL-2.0 asks for changes to its own files,
/// of which we make none (`serialport`).
const ALLOWED: &[&str] = &[
    "0BSD",
    "Apache-2.0",
    "Apache-2.0 WITH LLVM-exception",
    "BSD-2-Clause",
    "BSD-3-Clause",
    "BSL-1.0",
    "CC0-1.0",
    "ISC",
    "MIT",
    "MIT-0",
    "MPL-2.0",
    "Unicode-3.0",
    "Unlicense",
    "Zlib",
];

/// Packages of which a second version would cost build time or split types: how many there may be.
const VERSIONS: &[(&str, usize)] = &[
    ("axum", 1),
    ("bytes", 1),
    ("clap", 1),
    ("http", 1),
    ("hyper", 1),
    ("jsonrpsee", 1),
    ("rusqlite", 1),
    ("schemars", 1),
    ("serde", 1),
    ("serde_json", 1),
    ("syn", 2),
    ("tokio", 1),
    ("tower", 1),
    ("uom", 1),
];

#[test]
fn every_foreign_package_comes_from_the_registry_with_a_checksum() {
    let lock: toml::Table = text("Cargo.lock").parse().unwrap();
    let our_names: BTreeSet<&str> = ours().iter().map(|p| p["name"].as_str().unwrap()).collect();
    let mut breaches = Vec::new();
    let packages = lock["package"].as_array().unwrap();
    assert!(
        packages.len() > 50,
        "Cargo.lock names {} packages",
        packages.len()
    );
    for package in packages {
        let name = package["name"].as_str().unwrap();
        let source = package.get("source").and_then(toml::Value::as_str);
        let checksum = package.get("checksum").and_then(toml::Value::as_str);
        match (our_names.contains(name), source) {
            (true, None) => {}
            (false, Some(REGISTRY)) if checksum.is_some_and(|sum| sum.len() == 64) => {}
            _ => breaches.push(format!(
                "Cargo.lock: {name} from {source:?}, checksum {checksum:?}"
            )),
        }
    }
    none(&breaches);
}

/// Whether an SPDX expression lets us use a package: one choice of every part.
fn may_be_used(expression: &str) -> bool {
    let plain = expression.replace(['(', ')'], "").replace('/', " OR ");
    plain.split(" AND ").all(|part| {
        part.split(" OR ")
            .any(|licence| ALLOWED.contains(&licence.trim()))
    })
}

#[test]
fn every_licence_lets_us_use_it() {
    let packages = metadata()["packages"].as_array().unwrap();
    let unusable = |licence: &str| !may_be_used(licence);
    let breaches: Vec<String> = packages
        .iter()
        .filter(|package| package["license"].as_str().is_none_or(unusable))
        .map(|package| format!("{}: licence {}", package["name"], package["license"]))
        .collect();
    none(&breaches);
}

#[test]
fn a_licence_is_read_as_it_is_written() {
    let check =
        |expression, expected| assert_eq!(may_be_used(expression), expected, "{expression}");
    check("MIT OR Apache-2.0", true);
    check("MIT/Apache-2.0", true);
    check("(MIT OR Apache-2.0) AND Unicode-3.0", true);
    check("GPL-3.0-only OR MIT", true);
    check("GPL-3.0-only", false);
    check("MIT AND GPL-3.0-only", false);
}

#[test]
fn no_costly_package_is_there_twice() {
    let mut versions: BTreeMap<&str, BTreeSet<&str>> = BTreeMap::new();
    for package in metadata()["packages"].as_array().unwrap() {
        let name = package["name"].as_str().unwrap();
        versions
            .entry(name)
            .or_default()
            .insert(package["version"].as_str().unwrap());
    }
    let breaches: Vec<String> = VERSIONS
        .iter()
        .filter_map(|(name, most)| Some((name, most, versions.get(name)?)))
        .filter(|(_, most, found)| found.len() > **most)
        .map(|(name, most, found)| format!("{name}: {found:?}, at most {most}"))
        .collect();
    none(&breaches);
}
