//! The programs of the workspace, as they are started.

use std::collections::BTreeSet;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::{Mutex, PoisonError};

use crate::repository::root;

/// How a program ended.
#[derive(Debug)]
pub struct Ended {
    /// Its exit code; −1 if a signal ended it.
    pub code: i32,
    /// What it said on standard output.
    pub out: String,
    /// What it said on standard error.
    pub err: String,
}

/// The path of a program. `tests/run` has built all of them; otherwise cargo is asked to, once.
pub fn program(name: &str) -> PathBuf {
    static BUILT: Mutex<BTreeSet<String>> = Mutex::new(BTreeSet::new());
    if let Some(directory) = std::env::var_os("TESTED_PROGRAMS") {
        return Path::new(&directory).join(name);
    }
    // Two tests of one process do not both build it; a failed build fails both.
    let mut built = BUILT.lock().unwrap_or_else(PoisonError::into_inner);
    if !built.contains(name) {
        build(name, &[]);
        built.insert(name.to_owned());
    }
    beside_this_test().join(name)
}

/// The optimised program of a package, built now: what benches measure.
pub fn optimised(name: &str) -> PathBuf {
    build(name, &["--release"]);
    beside_this_test().with_file_name("release").join(name)
}

fn build(package: &str, more: &[&str]) {
    let cargo = std::env::var("CARGO").unwrap_or_else(|_| "cargo".to_owned());
    let arguments = ["build", "--quiet", "--locked", "--package", package];
    let built = Command::new(cargo)
        .args(arguments)
        .args(more)
        .current_dir(root())
        .output()
        .unwrap();
    assert!(
        built.status.success(),
        "{}",
        String::from_utf8_lossy(&built.stderr)
    );
}

/// A test runs in `target/debug/deps`, the programs lie in `target/debug`. Cargo was asked without a
/// profile, so they are there even if this is an optimised bench.
fn beside_this_test() -> PathBuf {
    let this = std::env::current_exe().unwrap();
    let profile = this
        .parent()
        .and_then(Path::parent)
        .expect("a test lies in target/…/deps");
    profile.with_file_name("debug")
}

/// Runs `trisect` from the top of the repository, with a text on its standard input.
pub fn trisect(arguments: &[&str], input: &str) -> Ended {
    let mut child = Command::new(program("trisect"))
        .args(arguments)
        .current_dir(root())
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut stdin = child.stdin.take().unwrap();
    let input = input.to_owned();
    // A program that ends early leaves the rest unread: that is its own affair.
    let feeder = std::thread::spawn(move || drop(stdin.write_all(input.as_bytes())));
    let output = child.wait_with_output().unwrap();
    feeder.join().unwrap();
    Ended {
        code: output.status.code().unwrap_or(-1),
        out: String::from_utf8(output.stdout).unwrap(),
        err: String::from_utf8(output.stderr).unwrap(),
    }
}
