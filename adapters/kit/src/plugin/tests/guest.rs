//! A Rust adapter as a plugin keeps both contracts: that of adapters, and that of plugins.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use serde_json::{Value, json};
use tokio::io::{AsyncBufReadExt as _, AsyncWriteExt as _, BufReader};

use super::super::{Finding, Limits, Offer, PluginAdapter, Program, Trial, check, serve_on};
use super::LONGEST;
use crate::conformance::{Instrument, conform};
use crate::{Adapter, Description};

/// The example `toy-plugin`, which cargo builds with the tests.
fn toy() -> Program {
    let this = std::env::current_exe().unwrap();
    let profile: &Path = this.parent().and_then(Path::parent).unwrap();
    Program {
        name: "toy".to_owned(),
        command: vec![profile.join("examples/toy-plugin").display().to_string()],
        directory: None,
        environment: Default::default(),
        limits: Limits::default(),
    }
}

struct Toy(Description);

impl Instrument for Toy {
    fn adapter(&self, path: &Path) -> Box<dyn Adapter> {
        Box::new(PluginAdapter {
            program: toy(),
            settings: settings(path),
            description: self.0.clone(),
        })
    }

    fn says(&self, _turn: u64) -> Vec<u8> {
        b"<12.5>".to_vec()
    }
}

fn settings(path: &Path) -> Value {
    json!({"port": path, "silent_after": 300})
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_rust_adapter_as_a_plugin_keeps_the_contract_of_adapters() {
    let prepared =
        PluginAdapter::prepare(toy(), settings(&PathBuf::from("/dev/no-such-port"))).await;
    let description = prepared.unwrap().describe();
    let breaches = conform(Arc::new(Toy(description))).await;
    assert!(breaches.is_empty(), "{breaches:#?}");
}

#[tokio::test]
async fn a_rust_adapter_as_a_plugin_keeps_the_contract_of_plugins() {
    let trial = Trial {
        program: toy(),
        settings: settings(&PathBuf::from("/dev/no-such-port")),
        wait: Duration::from_secs(2),
    };
    let report = check(&trial).await;
    assert!(
        report.iter().all(|one| one.finding == Finding::Kept),
        "{report:#?}"
    );
}

#[tokio::test]
async fn settings_that_no_adapter_can_be_made_from_are_an_error_and_nothing_ends() {
    let (mut ours, theirs) = tokio::io::duplex(4096);
    let (read, write) = tokio::io::split(theirs);
    let description = Description {
        name: "none".to_owned(),
        version: "1".to_owned(),
        title: "none".to_owned(),
        channels: Vec::new(),
        settings: json!({}),
    };
    let refused = |_| {
        Err(crate::SettingsError {
            field: "port",
            why: "there is none".to_owned(),
        })
    };
    let serving = tokio::spawn(serve_on(Offer::new(description, refused), read, write));
    let asked = "nonsense\n{\"jsonrpc\":\"2.0\",\"id\":1,\"method\":\"start\",\"params\":{\"settings\":{}}}\n\
                 {\"jsonrpc\":\"2.0\",\"id\":2,\"method\":\"stop\"}\n";
    ours.write_all(asked.as_bytes()).await.unwrap();
    let mut lines = BufReader::new(ours).lines();
    let mut next = async || {
        tokio::time::timeout(LONGEST, lines.next_line())
            .await
            .unwrap()
            .unwrap()
    };
    let first = next().await.unwrap();
    assert!(
        first.contains("-32602") && first.contains("there is none"),
        "{first}"
    );
    assert_eq!(
        next().await.unwrap(),
        "{\"jsonrpc\":\"2.0\",\"id\":2,\"result\":null}"
    );
    serving.await.unwrap().unwrap();
}
