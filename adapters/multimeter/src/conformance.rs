//! Every codec on a pseudo-terminal: they keep the adapter contract, and a pause
//! between frames is heard.

#![allow(clippy::unwrap_used)]

use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use tokio::sync::mpsc;
use tokio::time::timeout;
use tokio_util::sync::CancellationToken;
use trisect_kit::conformance::{Instrument, Pty, conform};
use trisect_kit::{Adapter, Context, Health};

use crate::{MultimeterSettings, codec};

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

    /// A meter that is polled says nothing by itself.
    fn says(&self, _turn: u64) -> Vec<u8> {
        match codec(self.protocol).unwrap().poll {
            None => self.frame.to_vec(),
            Some(_) => Vec::new(),
        }
    }

    fn answers(&self, request: &[u8]) -> Vec<u8> {
        match codec(self.protocol).unwrap().poll {
            Some(poll) if request.ends_with(poll.request) => self.frame.to_vec(),
            _ => Vec::new(),
        }
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

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn fs9721_keeps_the_adapter_contract() {
    let frame = b"\x17\x28\x35\x45\x5B\x69\x7F\x82\x97\xA0\xB0\xC0\xD4\xE8";
    check("fs9721", frame).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn dtm0660_keeps_the_adapter_contract() {
    let frame = b"\x1E\x20\x3A\x4B\x5D\x68\x7F\x84\x9E\xA0\xB0\xC0\xD2\xE0\xF0";
    check("dtm0660", frame).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn es51962_keeps_the_adapter_contract() {
    check("es51962", b"21234;00:\r\n").await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn es51986_keeps_the_adapter_contract() {
    check("es51986", b"11234;80:\r\n").await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn polled_ascii_meters_keep_the_adapter_contract() {
    check("ascii14", b"DC -01.52   V\r").await;
}

/// Joined without a pause, the two would be a line one byte too long.
#[tokio::test]
async fn a_pause_ends_a_cut_frame_so_that_the_next_is_found() {
    let pty = Pty::open().unwrap();
    let mut adapter = MultimeterSettings::new("es51922", pty.path())
        .adapter()
        .unwrap();
    let (sender, mut samples) = mpsc::channel(4);
    let (health, stop) = (Health::new(), CancellationToken::new());
    let context = Context {
        samples: sender,
        health: health.clone(),
        stop: stop.clone(),
        clock: Arc::new(|| 0),
        networks: trisect_kit::Networks::all(),
    };
    let running = tokio::spawn(async move { adapter.run(context).await });
    pty.write_all(b"1").await.unwrap();
    let skipped = async {
        while health.vitals().bytes_skipped != 1 {
            tokio::time::sleep(Duration::from_millis(1)).await;
        }
    };
    timeout(Duration::from_secs(10), skipped).await.unwrap();
    pty.write_all(b"112345;000:0\r\n").await.unwrap();
    let sample = timeout(Duration::from_secs(10), samples.recv())
        .await
        .unwrap()
        .unwrap();
    assert_eq!(sample.sample.amount.edge(), 12.345);
    stop.cancel();
    running.await.unwrap().unwrap();
}
