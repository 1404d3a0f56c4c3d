//! What people read: it is there and read in one sitting, links and paths lead somewhere, and no text names the
//! machine it was written on.

use std::collections::BTreeMap;

use trisect_tests::repository::{files, root, text};

use super::none;

/// The targets of `[text](target)` in a Markdown line.
fn targets(line: &str) -> impl Iterator<Item = &str> {
    line.split("](")
        .skip(1)
        .filter_map(|rest| rest.split(')').next())
}

#[test]
fn links_in_documents_lead_somewhere() {
    let mut breaches = Vec::new();
    for path in files().iter().filter(|path| path.ends_with(".md")) {
        let folder = root().join(path).parent().unwrap().to_owned();
        for (index, line) in text(path).lines().enumerate() {
            for target in targets(line) {
                let file = target.split('#').next().unwrap();
                let outside = target.contains("://");
                if !outside && !file.is_empty() && !folder.join(file).exists() {
                    breaches.push(format!("{path}:{}: there is no {target}", index + 1));
                }
            }
        }
    }
    none(&breaches);
}

/// The documents, each beside what it speaks of.
const DOCUMENTS: &[&str] = &[
    "README.md",
    "DEVELOPERS.md",
    "adapters/kit/PLUGINS.md",
    "clients/python/README.md",
    "deploy/FAILURES.md",
    "deploy/INSTRUMENTS.md",
    "deploy/OPERATING.md",
    "deploy/SECURITY.md",
    "service/CHANGELOG.md",
    "service/DECISIONS.md",
    "service/bay/MEASUREMENT.md",
    "service/diagnosis/DECISIONS.md",
    "service/front/DECISIONS.md",
    "service/rules/AUTHORING.md",
    "service/simulation/SURVEY.md",
    "service/wire/INTEGRATING.md",
];

/// The two that everybody begins with have fewer bytes than this.
const FIRST_READ: usize = 9_000;
/// Any other document has at most so many.
const ONE_SITTING: usize = 12_000;

#[test]
fn every_document_is_there() {
    let missing = DOCUMENTS
        .iter()
        .filter(|path| !files().iter().any(|file| file == *path));
    none(
        &missing
            .map(|path| format!("{path} is missing"))
            .collect::<Vec<_>>(),
    );
}

#[test]
fn no_document_is_longer_than_one_sitting() {
    let mut breaches = Vec::new();
    for path in files().iter().filter(|path| path.ends_with(".md")) {
        let most = match path.as_str() {
            "README.md" | "DEVELOPERS.md" => FIRST_READ - 1,
            _ => ONE_SITTING,
        };
        let bytes = text(path).len();
        if bytes > most {
            breaches.push(format!("{path}: {bytes} bytes, {most} at most"));
        }
    }
    none(&breaches);
}

/// The numbers that decisions begin with, `**12. …`.
#[test]
fn no_two_decisions_have_one_number() {
    let mut seen = BTreeMap::new();
    let mut breaches = Vec::new();
    for path in DOCUMENTS
        .iter()
        .filter(|path| path.ends_with("DECISIONS.md"))
    {
        let text = text(path);
        let numbers = text.lines().filter_map(|line| {
            let (number, _) = line.strip_prefix("**")?.split_once(". ")?;
            number.parse::<u32>().ok()
        });
        for number in numbers {
            if let Some(other) = seen.insert(number, path) {
                breaches.push(format!("{path}: {number} is a decision of {other} as well"));
            }
        }
    }
    assert!(!seen.is_empty(), "decisions begin with their number");
    none(&breaches);
}

/// Paths in backquotes that begin with a folder of the tree.
#[test]
fn paths_named_in_documents_exist() {
    let folders = ["service/", "adapters/", "clients/", "tests/", "deploy/"];
    let mut breaches = Vec::new();
    for path in files().iter().filter(|path| path.ends_with(".md")) {
        for (index, line) in text(path).lines().enumerate() {
            for quoted in line.split('`').skip(1).step_by(2) {
                let first = quoted.split_whitespace().next().unwrap_or_default();
                let plain = !first.contains(['*', '<', '{', '…']);
                let named = folders.iter().any(|folder| first.starts_with(folder));
                if named && plain && !root().join(first.trim_end_matches(['.', ','])).exists() {
                    breaches.push(format!("{path}:{}: there is no `{first}`", index + 1));
                }
            }
        }
    }
    none(&breaches);
}

/// Folders that exist on no machine but the writer's; put together here so that this file is clean.
fn foreign() -> [String; 3] {
    [("/wo", "rk/"), ("/root", "/"), ("../sha", "red")].map(|(head, tail)| format!("{head}{tail}"))
}

/// Tests may read captured frames that lie beside the repository, where they are there.
fn may_look_outside(path: &str) -> bool {
    path.starts_with("tests/suite/") || path == "adapters/multimeter/src/captured.rs"
}

#[test]
fn no_text_names_the_machine_it_was_written_on() {
    let words = foreign();
    let mut breaches = Vec::new();
    for path in files().iter().filter(|path| !may_look_outside(path)) {
        // What is not text names nothing.
        let Ok(text) = std::fs::read_to_string(root().join(path)) else {
            continue;
        };
        for (index, line) in text.lines().enumerate() {
            if let Some(word) = words.iter().find(|word| line.contains(*word)) {
                breaches.push(format!("{path}:{}: names `{word}`", index + 1));
            }
        }
    }
    none(&breaches);
}
