//! A service that a shop can depend on: who may come in, and what becomes of everything when the
//! world is unkind.

mod access;
mod copies;
mod disk;
mod examples;
mod faults;
mod idle;
mod killed;
mod notify;
mod observed;
mod outside;
mod reach;
mod reference;
mod reload;
mod reload_outward;
mod upgrade;

use std::path::{Path, PathBuf};

use serde_json::{Value, json};
use trisect_tests::programs::program;

/// Writes a configuration beside its journal, on a free port.
fn configuration(folder: &Path, rest: &str) -> PathBuf {
    let file = folder.join("trisectd.toml");
    let journal = folder.join("journal.db");
    let text = format!(
        "listen = \"127.0.0.1:0\"\njournal = {:?}\n{rest}\n",
        journal.display().to_string()
    );
    std::fs::write(&file, text).unwrap();
    file
}

/// Runs `trisectd` to its end: exit code and standard output; errors are added to that.
async fn trisectd(arguments: &[&str]) -> (i32, String) {
    let mut command = tokio::process::Command::new(program("trisectd"));
    let running = command.args(arguments).kill_on_drop(true).output();
    let ended = trisect_tests::wait::within("its end", running)
        .await
        .unwrap();
    let text = [ended.stdout, ended.stderr].concat();
    (
        ended.status.code().unwrap_or(-1),
        String::from_utf8(text).unwrap(),
    )
}

/// A token of a role, from a file that is made if need be.
async fn token(file: &Path, name: &str, role: &str) -> String {
    let file = file.to_str().unwrap();
    let (code, said) = trisectd(&["token", "add", name, "--role", role, "--file", file]).await;
    assert_eq!(code, 0, "{said}");
    said.trim().to_owned()
}

/// A call as a text.
fn call(method: &str, params: &Value) -> String {
    json!({"jsonrpc": "2.0", "id": 1, "method": method, "params": params}).to_string()
}
