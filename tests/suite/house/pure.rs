//! The three pure crates read no clock, file, socket, environment or random source, and start no thread.

use std::collections::{BTreeMap, BTreeSet};

use serde_json::Value;
use trisect_tests::repository::metadata;

use super::{lines, none, rust_files};

const PURE: [(&str, &str); 3] = [
    ("trisect-measure", "service/measure/"),
    ("trisect-rules", "service/rules/"),
    ("trisect-diagnosis", "service/diagnosis/"),
];

/// What would let the world in, and what it would be.
const DOORS: &[(&str, &str)] = &[
    ("SystemTime", "a clock"),
    ("Instant", "a clock"),
    ("std::time", "a clock"),
    ("std::fs", "files"),
    ("File::open", "files"),
    ("std::io", "files and streams"),
    ("stdin()", "streams"),
    ("println!", "streams"),
    ("eprintln!", "streams"),
    ("std::net", "sockets"),
    ("std::os", "the operating system"),
    ("std::env", "the environment"),
    ("env::var", "the environment"),
    ("std::process", "processes"),
    ("std::thread", "threads"),
    ("thread::spawn", "threads"),
    ("tokio", "a run time"),
    ("rand::", "a random source"),
    ("getrandom", "a random source"),
    ("RandomState", "a random source"),
];

/// Packages that let the world in, whoever brings them.
const WORLDLY: &[&str] = &[
    "tokio",
    "mio",
    "socket2",
    "async-std",
    "smol",
    "rand",
    "rand_core",
    "getrandom",
    "fastrand",
    "uuid",
    "chrono",
    "time",
    "jiff",
    "tempfile",
    "rusqlite",
    "tracing",
    "log",
    "rayon",
    "crossbeam-channel",
];

#[test]
fn pure_sources_open_no_door_to_the_world() {
    let mut breaches = Vec::new();
    for (_, folder) in PURE {
        let sources: Vec<&str> = rust_files(folder).collect();
        assert!(sources.len() > 5, "{folder} has only {sources:?}");
        for line in sources.into_iter().flat_map(lines) {
            for (door, what) in DOORS.iter().filter(|(door, _)| line.code.contains(door)) {
                breaches.push(format!("{line}: `{door}` opens {what} to a pure crate"));
            }
        }
    }
    none(&breaches);
}

/// What a package is built from at run time: neither build scripts nor macros nor tests.
fn closure(name: &str) -> BTreeSet<&'static str> {
    let packages = metadata()["packages"].as_array().unwrap();
    let by_id: BTreeMap<&str, &Value> = packages
        .iter()
        .map(|p| (p["id"].as_str().unwrap(), p))
        .collect();
    let nodes = metadata()["resolve"]["nodes"].as_array().unwrap();
    let needs: BTreeMap<&str, &Value> = nodes
        .iter()
        .map(|n| (n["id"].as_str().unwrap(), &n["deps"]))
        .collect();
    let start = packages.iter().find(|p| p["name"] == name).unwrap()["id"]
        .as_str()
        .unwrap();
    let mut open = vec![start];
    let mut seen = BTreeSet::from([start]);
    while let Some(id) = open.pop() {
        for dependency in needs[id].as_array().unwrap() {
            let kinds = dependency["dep_kinds"].as_array().unwrap();
            let on = dependency["pkg"].as_str().unwrap();
            let macros = by_id[on]["targets"][0]["kind"][0] == "proc-macro";
            if kinds.iter().any(|kind| kind["kind"].is_null()) && !macros && seen.insert(on) {
                open.push(on);
            }
        }
    }
    seen.iter()
        .map(|id| by_id[id]["name"].as_str().unwrap())
        .collect()
}

#[test]
fn pure_crates_are_built_from_nothing_worldly() {
    let mut breaches = Vec::new();
    for (name, folder) in PURE {
        let built_from = closure(name);
        assert!(
            built_from.contains("serde"),
            "{name} is built from {built_from:?}"
        );
        for worldly in WORLDLY
            .iter()
            .filter(|worldly| built_from.contains(*worldly))
        {
            breaches.push(format!(
                "{folder}Cargo.toml: {name} is built from `{worldly}`"
            ));
        }
    }
    none(&breaches);
}

/// The search must be able to find something.
#[test]
fn a_worldly_crate_is_seen_to_be_one() {
    assert!(closure("trisect-kit").contains("tokio"));
}
