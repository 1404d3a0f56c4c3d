//! The examples of `deploy/` are what `trisectd check-config` lets pass, and what the units and rules
//! name is there.

use trisect_tests::repository::{files, text};

use super::{token, trisectd};

/// An example, with the files of a shop's machine in a folder of the test.
async fn check(name: &str, expected: &[&str]) {
    let folder = tempfile::tempdir().unwrap();
    token(&folder.path().join("tokens.toml"), "office", "manage").await;
    let here = folder.path().to_str().unwrap();
    let example = text(&format!("deploy/examples/{name}.toml"));
    let mut example = example.to_owned();
    for place in ["/var/lib/trisect", "/run/trisect", "/etc/trisect"] {
        example = example.replace(place, here);
    }
    let file = folder.path().join("trisectd.toml");
    std::fs::write(&file, example).unwrap();
    let (code, said) = trisectd(&["check-config", "--config", file.to_str().unwrap()]).await;
    let lines: Vec<&str> = said.lines().collect();
    if expected.is_empty() {
        assert_eq!(code, 0, "{name}: {said}");
    } else {
        assert_eq!(lines.len(), expected.len(), "{name}: {said}");
    }
    for expected in expected {
        assert!(
            said.contains(expected),
            "{name}: {expected} is missing in {said}"
        );
    }
}

#[tokio::test]
async fn every_example_has_no_mistakes() {
    let examples = files()
        .iter()
        .filter_map(|path| path.strip_prefix("deploy/examples/"));
    let examples: Vec<&str> = examples
        .filter_map(|name| name.strip_suffix(".toml"))
        .collect();
    assert_eq!(
        examples,
        [
            "container",
            "four-bays",
            "one-bay",
            "package",
            "practice-bay"
        ]
    );
    check("one-bay", &[]).await;
    check("practice-bay", &[]).await;
    check("package", &[]).await;
    check("container", &[]).await;
    // All of it but the certificate, which is nobody's to keep here: tests/outside/shop.sh makes one.
    check("four-bays", &["`tls`: cannot read the certificate"]).await;
}

#[test]
fn what_the_container_file_copies_is_there() {
    for line in text("deploy/Containerfile").lines() {
        let Some(copied) = line.strip_prefix("COPY ") else {
            continue;
        };
        if copied.starts_with("--from") {
            continue;
        }
        let mut names: Vec<&str> = copied.split(' ').collect();
        names.pop();
        for name in names {
            let there = |path: &String| path == name || path.starts_with(&format!("{name}/"));
            assert!(files().iter().any(there), "{line}: there is no {name}");
        }
    }
}
