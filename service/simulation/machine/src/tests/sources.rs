//! What the machine model's sources must not say.
#![allow(clippy::unwrap_used, clippy::expect_used)]
use std::fs;
use std::path::{Path, PathBuf};

fn sources(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            sources(&path, found);
        } else {
            found.push(path);
        }
    }
}

/// What is measured and observed comes from the parts' state, never from the
/// name of what is wrong with them.
#[test]
fn no_fault_is_known_outside_damage() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut found = Vec::new();
    sources(&folder, &mut found);
    assert!(found.len() > 25, "{found:?}");
    let mut knowing: Vec<String> = Vec::new();
    for path in found {
        let name = path.strip_prefix(&folder).unwrap().display().to_string();
        let text = fs::read_to_string(&path).unwrap();
        if !name.starts_with("tests") && text.contains("FaultKind") {
            knowing.push(name);
        }
    }
    knowing.sort();
    // The table of kinds, what they do, and the crate's door.
    assert_eq!(knowing, ["damage.rs", "fault.rs", "lib.rs"]);
}
