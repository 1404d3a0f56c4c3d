//! The repository as it lies on disk.

use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::OnceLock;

use serde_json::Value;

/// The top of the repository.
pub fn root() -> &'static Path {
    static ROOT: OnceLock<PathBuf> = OnceLock::new();
    ROOT.get_or_init(|| {
        let tests = Path::new(env!("CARGO_MANIFEST_DIR"));
        tests
            .parent()
            .expect("the tests lie in the repository")
            .to_owned()
    })
}

/// Every file that is tracked, or would be: paths from the top, `/` between names.
pub fn files() -> &'static [String] {
    static FILES: OnceLock<Vec<String>> = OnceLock::new();
    FILES.get_or_init(|| {
        let listed = run(
            "git",
            &[
                "ls-files",
                "-z",
                "--cached",
                "--others",
                "--exclude-standard",
            ],
        );
        let mut files: Vec<String> = listed
            .split('\0')
            .filter(|path| !path.is_empty() && root().join(path).is_file())
            .map(str::to_owned)
            .collect();
        files.sort();
        files.dedup();
        files
    })
}

/// The text of a file of the repository.
pub fn text(path: &str) -> String {
    std::fs::read_to_string(root().join(path)).unwrap_or_else(|error| panic!("{path}: {error}"))
}

/// What `cargo metadata` says of the workspace and everything it is built from.
pub fn metadata() -> &'static Value {
    static METADATA: OnceLock<Value> = OnceLock::new();
    METADATA.get_or_init(|| {
        let cargo = std::env::var("CARGO").unwrap_or_else(|_| "cargo".to_owned());
        let said = run(&cargo, &["metadata", "--format-version", "1", "--locked"]);
        serde_json::from_str(&said).expect("cargo metadata is JSON")
    })
}

fn run(program: &str, arguments: &[&str]) -> String {
    let output = Command::new(program)
        .args(arguments)
        .current_dir(root())
        .output();
    let output = output.unwrap_or_else(|error| panic!("{program}: {error}"));
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{program} {arguments:?}: {said}");
    String::from_utf8(output.stdout).expect("paths and JSON are UTF-8")
}
