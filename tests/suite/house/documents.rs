//! What people read: links lead somewhere, and no text names the machine it was written on.

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

/// Paths in backquotes that begin with a room of the house.
#[test]
fn paths_named_in_documents_exist() {
    let rooms = ["service/", "adapters/", "clients/", "tests/"];
    let mut breaches = Vec::new();
    for path in ["README.md", "DEVELOPERS.md"] {
        for (index, line) in text(path).lines().enumerate() {
            for quoted in line.split('`').skip(1).step_by(2) {
                let first = quoted.split_whitespace().next().unwrap_or_default();
                let plain = !first.contains(['*', '<', '{', '…']);
                let named = rooms.iter().any(|room| first.starts_with(room));
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
