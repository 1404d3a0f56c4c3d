//! The contract suite finds what it is there to find.

use std::time::Duration;

use serde_json::json;

use super::super::{Finding, Trial, check};
use super::program;

/// What a mood of the tests' plugin breaks, by a word of each check.
async fn breaks(mode: &str, expected: &[&str]) {
    let mut program = program(&[mode]);
    program.limits.patience = Duration::from_secs(2);
    let trial = Trial {
        program,
        settings: json!({}),
        wait: Duration::from_millis(300),
    };
    let report = check(&trial).await;
    let broken: Vec<_> = report
        .iter()
        .filter(|one| one.finding != Finding::Kept)
        .collect();
    assert_eq!(broken.len(), expected.len(), "{mode}: {report:#?}");
    for (found, word) in broken.iter().zip(expected) {
        assert!(
            found.to_string().contains(word),
            "{mode}: {found} has no `{word}`"
        );
    }
}

#[tokio::test]
async fn a_sound_plugin_keeps_all_of_it() {
    breaks("good", &[]).await;
}

#[tokio::test]
async fn each_breach_is_said_in_words() {
    breaks(
        "deaf",
        &[
            "500 ms after `stop`, and was killed",
            "would outlive the service",
            "500 ms after `stop`",
        ],
    )
    .await;
    breaks("other", &["channel 7 was not described"]).await;
    breaks("binary", &["no JSON-RPC message"]).await;
    breaks("asks", &["asks the service nothing"]).await;
    breaks("mute", &["did not answer `describe` within 2000 ms"]).await;
}
