//! Both codecs keep the adapter contract, on a pseudo-terminal.

#![allow(clippy::unwrap_used)]

use std::path::Path;
use std::sync::Arc;

use trisect_kit::Adapter;
use trisect_kit::harness::{Instrument, conform};

use crate::MultimeterSettings;

struct Meter {
    protocol: &'static str,
    frame: &'static [u8],
}

impl Instrument for Meter {
    fn adapter(&self, path: &Path) -> Box<dyn Adapter> {
        let mut settings = MultimeterSettings::new(self.protocol, path);
        settings.silent_after_ms = 500;
        settings.adapter().unwrap()
    }

    fn says(&self, _turn: u64) -> Vec<u8> {
        self.frame.to_vec()
    }
}

async fn check(protocol: &'static str, frame: &'static [u8]) {
    let breaches = conform(Arc::new(Meter { protocol, frame })).await;
    assert!(breaches.is_empty(), "{protocol}: {breaches:#?}");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn fs9922_keeps_the_adapter_contract() {
    check("fs9922", b"+1234 2\x31\x00\x00\x80\x0C\r\n").await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn es51922_keeps_the_adapter_contract() {
    check("es51922", b"112345;000:0\r\n").await;
}
