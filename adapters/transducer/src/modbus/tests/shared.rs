//! Several devices on one line, some of them dead.

use std::collections::BTreeMap;
use std::time::Duration;

use tokio::time::timeout;
use trisect_kit::conformance::Pty;

use super::{Bay, PATIENCE, closed};
use crate::TransducerSettings;

/// The live devices' reply: the device's own address as a number.
fn reply(request: &[u8], dead: u8) -> Option<Vec<u8>> {
    let device = *request.first()?;
    (device != dead).then(|| closed(vec![device, 4, 2, 0, device]))
}

#[tokio::test]
async fn a_dead_device_costs_the_others_little_and_is_asked_again() {
    let pty = Pty::open().unwrap();
    let json = r#"{"quantity": "pressure", "unit": "psi", "type": "u16", "period_ms": 10,
        "reply_timeout_ms": 40, "longest_reply_ms": 60, "inputs": [
        {"device": 1, "register": 0}, {"device": 2, "register": 0}, {"device": 3, "register": 0}]}"#;
    let mut settings: TransducerSettings = serde_json::from_str(json).unwrap();
    settings.port = Some(pty.path().to_owned());
    let mut bay = Bay::start(&settings);
    let mut asked = BTreeMap::<u8, u32>::new();
    let mut taken = BTreeMap::<u16, u32>::new();
    let play = async {
        let mut pending = Vec::new();
        loop {
            let mut chunk = [0; 64];
            let count = pty.read(&mut chunk).await.unwrap();
            pending.extend_from_slice(&chunk[..count]);
            while pending.len() >= 8 {
                let request: Vec<u8> = pending.drain(..8).collect();
                *asked.entry(request[0]).or_default() += 1;
                if let Some(bytes) = reply(&request, 3) {
                    pty.write_all(&bytes).await.unwrap();
                }
            }
        }
    };
    let take = async {
        while taken.get(&0).copied().unwrap_or(0) < 60 {
            let sample = bay.emission().await.sample;
            *taken.entry(sample.channel).or_default() += 1;
        }
    };
    let both = async {
        tokio::select! {
            () = take => {}
            () = play => {}
        }
    };
    timeout(PATIENCE, both).await.unwrap();
    assert!(taken[&1].abs_diff(60) <= 3, "{taken:?}");
    assert!(!taken.contains_key(&2), "{taken:?}");
    // Asked, found dead, and then left out most of the time.
    assert!((2..20).contains(&asked[&3]), "{asked:?}");
    assert!(bay.error().contains("device 3"), "{}", bay.error());
}

#[tokio::test]
async fn a_device_that_comes_back_is_read_again() {
    let pty = Pty::open().unwrap();
    let json = r#"{"quantity": "pressure", "unit": "psi", "type": "u16", "period_ms": 10,
        "reply_timeout_ms": 20, "longest_reply_ms": 20, "inputs": [
        {"device": 1, "register": 0}, {"device": 3, "register": 0}]}"#;
    let mut settings: TransducerSettings = serde_json::from_str(json).unwrap();
    settings.port = Some(pty.path().to_owned());
    let mut bay = Bay::start(&settings);
    let play = async {
        let mut dead_for = 3;
        loop {
            let mut chunk = [0; 64];
            let count = pty.read(&mut chunk).await.unwrap();
            let request = &chunk[..count];
            if request[0] == 3 && dead_for > 0 {
                dead_for -= 1;
                continue;
            }
            let bytes = reply(request, 0).unwrap();
            pty.write_all(&bytes).await.unwrap();
        }
    };
    let take = async {
        loop {
            let emission = bay.emission().await;
            if emission.sample.channel == 1 {
                break;
            }
        }
    };
    let both = async {
        tokio::select! {
            () = take => {}
            () = play => {}
        }
    };
    timeout(Duration::from_secs(30), both).await.unwrap();
    assert_eq!(bay.health.vitals().frames_bad, 3);
}
