//! The adapter keeps the adapter contract, on a pseudo-terminal.

#![allow(clippy::unwrap_used)]

use std::path::Path;
use std::sync::Arc;

use trisect_kit::Adapter;
use trisect_kit::harness::{Instrument, conform};

use crate::TransducerSettings;
use crate::slave::reply;

struct Transducer;

impl Instrument for Transducer {
    fn adapter(&self, path: &Path) -> Box<dyn Adapter> {
        let mut settings = TransducerSettings::pressure(path, 12);
        settings.period_ms = 10;
        settings.reply_timeout_ms = 100;
        settings.longest_reply_ms = 200;
        settings.silent_after_ms = 500;
        settings.adapter().unwrap()
    }

    fn answers(&self, request: &[u8]) -> Vec<u8> {
        reply(request, 5.3)
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_transducer_keeps_the_adapter_contract() {
    let breaches = conform(Arc::new(Transducer)).await;
    assert!(breaches.is_empty(), "{breaches:#?}");
}
