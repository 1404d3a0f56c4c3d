//! Every adapter of this crate keeps the adapter contract, on a pseudo-terminal
//! and, where it speaks TCP, through a connection to it.

#![allow(clippy::unwrap_used)]

use std::path::Path;
use std::sync::Arc;

use trisect_kit::Adapter;
use trisect_kit::conformance::{Instrument, TcpFront, conform};

use crate::modbus::tests::{rtu, tcp};
use crate::{TextSettings, TransducerSettings};

fn settings(path: &Path) -> TransducerSettings {
    let mut settings = TransducerSettings::pressure(path, 12);
    settings.period_ms = Some(10);
    settings.reply_timeout_ms = Some(100);
    settings.longest_reply_ms = Some(200);
    settings.silent_after_ms = 500;
    settings
}

struct Rtu;

impl Instrument for Rtu {
    fn adapter(&self, path: &Path) -> Box<dyn Adapter> {
        settings(path).adapter().unwrap()
    }

    fn answers(&self, request: &[u8]) -> Vec<u8> {
        rtu(request, 5.3)
    }
}

#[derive(Default)]
struct Tcp(TcpFront);

impl Instrument for Tcp {
    fn adapter(&self, path: &Path) -> Box<dyn Adapter> {
        let settings = TransducerSettings {
            port: None,
            address: Some(self.0.address(path).unwrap()),
            ..settings(path)
        };
        settings.adapter().unwrap()
    }

    fn port_name(&self, path: &Path) -> String {
        self.0.address(path).unwrap()
    }

    fn answers(&self, request: &[u8]) -> Vec<u8> {
        tcp(request, 5.3)
    }
}

async fn check(instrument: impl Instrument + 'static) {
    let breaches = conform(Arc::new(instrument)).await;
    assert!(breaches.is_empty(), "{breaches:#?}");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_transducer_on_a_line_keeps_the_adapter_contract() {
    check(Rtu).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_transducer_over_tcp_keeps_the_adapter_contract() {
    check(Tcp::default()).await;
}

fn lines(turn: u64) -> Vec<u8> {
    // A line a turn, and now and then one that is passed over.
    let tenths = turn % 10;
    match turn % 7 {
        0 => b"# still here\r\n".to_vec(),
        _ => format!("P1=12.{tenths} psi;T=21.5 degC\r\n").into_bytes(),
    }
}

fn text(path: &Path) -> TextSettings {
    TextSettings {
        silent_after_ms: 500,
        ..TextSettings::new(
            path,
            &["P1={pressure:inlet} psi;T={temperature}", "#{skip}"],
        )
    }
}

struct Printer;

impl Instrument for Printer {
    fn adapter(&self, path: &Path) -> Box<dyn Adapter> {
        text(path).adapter().unwrap()
    }

    fn says(&self, turn: u64) -> Vec<u8> {
        lines(turn)
    }
}

#[derive(Default)]
struct TcpPrinter(TcpFront);

impl Instrument for TcpPrinter {
    fn adapter(&self, path: &Path) -> Box<dyn Adapter> {
        let settings = TextSettings {
            port: None,
            address: Some(self.0.address(path).unwrap()),
            ..text(path)
        };
        settings.adapter().unwrap()
    }

    fn port_name(&self, path: &Path) -> String {
        self.0.address(path).unwrap()
    }

    fn says(&self, turn: u64) -> Vec<u8> {
        lines(turn)
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_printing_device_on_a_line_keeps_the_adapter_contract() {
    check(Printer).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_printing_device_over_tcp_keeps_the_adapter_contract() {
    check(TcpPrinter::default()).await;
}
