//! Against programs that know nothing of ours: reference libraries of other languages, as real peers.

mod client;
mod modbus;
mod traces;
mod webhooks;

use std::process::Stdio;

use tokio::io::{AsyncBufReadExt, AsyncReadExt, BufReader};
use tokio::process::{Child, Command};
use trisect_tests::repository::root;
use trisect_tests::wait::within;

/// A Python that has the libraries of `tests/outside/requirements.txt`. `tests/run` says where; a test run
/// by hand is passed over without, and says so.
fn python(script: &str) -> Option<Command> {
    let Some(program) = std::env::var_os("REFERENCE_PYTHON") else {
        eprintln!(
            "passed over: REFERENCE_PYTHON does not name a Python with the reference libraries"
        );
        return None;
    };
    let mut command = Command::new(program);
    command
        .arg(root().join("tests/outside").join(script))
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .kill_on_drop(true);
    Some(command)
}

/// What a script says in its first line of JSON; it goes on running.
async fn said(mut command: Command) -> (Child, serde_json::Value) {
    let mut child = command.spawn().unwrap();
    let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
    match within("a line of the peer", lines.next_line())
        .await
        .unwrap()
    {
        Some(line) => (child, serde_json::from_str(&line).unwrap()),
        None => {
            let mut error = String::new();
            let mut stderr = child.stderr.take().unwrap();
            within("its error", stderr.read_to_string(&mut error))
                .await
                .unwrap();
            panic!("{error}");
        }
    }
}
