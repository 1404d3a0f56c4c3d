//! The house as DEVELOPERS.md draws it: nothing stands beside it.

use std::collections::BTreeSet;

use trisect_tests::repository::files;

use super::none;

/// What lies in a folder: what must be there, and what may be there once it has real content.
struct Room {
    folder: &'static str,
    must: &'static [&'static str],
    may: &'static [&'static str],
}

const HOUSE: &[Room] = &[
    Room {
        folder: "",
        must: &[
            ".cargo",
            ".ci",
            ".gitignore",
            "Cargo.lock",
            "Cargo.toml",
            "DEVELOPERS.md",
            "LICENSE-APACHE",
            "LICENSE-MIT",
            "README.md",
            "adapters",
            "clients",
            "service",
            "tests",
        ],
        may: &["clippy.toml", "deploy", "rustfmt.toml"],
    },
    Room {
        folder: ".cargo/",
        must: &["config.toml"],
        may: &[],
    },
    Room {
        folder: ".ci/",
        must: &["run"],
        may: &[],
    },
    Room {
        folder: "service/",
        must: &[
            "front",
            "bay",
            "webhooks",
            "simulation",
            "wire",
            "daemon",
            "diagnosis",
            "journal",
            "measure",
            "rules",
            "survey",
        ],
        may: &[],
    },
    Room {
        folder: "adapters/",
        must: &["bench", "kit", "multimeter", "transducer"],
        may: &["network", "plugins"],
    },
    Room {
        folder: "clients/",
        must: &["cli"],
        may: &["python", "web"],
    },
    Room {
        folder: "tests/",
        must: &[
            "Cargo.toml",
            "benches",
            "cases",
            "outside",
            "rulesets",
            "run",
            "src",
            "suite",
        ],
        may: &["fuzz"],
    },
];

#[test]
fn the_house_is_laid_out_as_agreed() {
    let mut breaches = Vec::new();
    for Room { folder, must, may } in HOUSE {
        let inside = files().iter().filter_map(|path| path.strip_prefix(folder));
        let there: BTreeSet<&str> = inside.filter_map(|path| path.split('/').next()).collect();
        let missing = must.iter().filter(|name| !there.contains(*name));
        breaches.extend(missing.map(|name| format!("{folder}{name} is missing")));
        let stray = there
            .iter()
            .filter(|name| !must.contains(name) && !may.contains(name));
        breaches.extend(stray.map(|name| format!("{folder}{name} is not part of the house")));
    }
    none(&breaches);
}

#[test]
fn no_artefact_is_kept() {
    let endings = [
        ".db", ".db-wal", ".db-shm", ".orig", ".rej", ".swp", ".log", ".profraw", ".pyc",
    ];
    let is_artefact = |path: &&String| endings.iter().any(|ending| path.ends_with(ending));
    let breaches: Vec<String> = files().iter().filter(is_artefact).cloned().collect();
    none(&breaches);
}
