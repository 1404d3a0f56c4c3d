//! The tree as DEVELOPERS.md draws it: nothing stands beside it.

use std::collections::BTreeSet;

use trisect_tests::repository::files;

use super::none;

/// What lies in a folder: what must be there, and what may be there once it has real content.
struct Folder {
    path: &'static str,
    must: &'static [&'static str],
    may: &'static [&'static str],
}

const TREE: &[Folder] = &[
    Folder {
        path: "",
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
            "deploy",
            "service",
            "tests",
        ],
        may: &["clippy.toml", "rustfmt.toml"],
    },
    Folder {
        path: ".cargo/",
        must: &["config.toml"],
        may: &[],
    },
    Folder {
        path: ".ci/",
        must: &["run"],
        may: &[],
    },
    Folder {
        path: "service/",
        must: &[
            "CHANGELOG.md",
            "DECISIONS.md",
            "bay",
            "daemon",
            "diagnosis",
            "front",
            "journal",
            "measure",
            "rules",
            "simulation",
            "webhooks",
            "wire",
        ],
        may: &[],
    },
    Folder {
        path: "service/simulation/",
        must: &["SURVEY.md", "machine", "practice", "survey", "technician"],
        may: &[],
    },
    Folder {
        path: "adapters/",
        must: &[
            "http",
            "kit",
            "multimeter",
            "plugins",
            "simulated",
            "transducer",
        ],
        may: &[],
    },
    Folder {
        path: "clients/",
        must: &["cli"],
        may: &["python", "web"],
    },
    Folder {
        path: "tests/",
        must: &[
            "Cargo.toml",
            "benches",
            "cases",
            "outside",
            "rulesets",
            "run",
            "runs",
            "src",
            "suite",
        ],
        may: &["fuzz"],
    },
];

#[test]
fn the_tree_is_laid_out_as_agreed() {
    let mut breaches = Vec::new();
    for Folder { path, must, may } in TREE {
        let inside = files().iter().filter_map(|file| file.strip_prefix(path));
        let there: BTreeSet<&str> = inside.filter_map(|file| file.split('/').next()).collect();
        let missing = must.iter().filter(|name| !there.contains(*name));
        breaches.extend(missing.map(|name| format!("{path}{name} is missing")));
        let stray = there
            .iter()
            .filter(|name| !must.contains(name) && !may.contains(name));
        breaches.extend(stray.map(|name| format!("{path}{name} is not part of the tree")));
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
