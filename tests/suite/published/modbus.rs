//! Modbus over serial line, over a pseudo-terminal: exchanges that were logged or that reference libraries
//! agree on, byte for byte, from the request to the sample.

use std::sync::Arc;

use tokio::sync::mpsc;
use trisect_kit::conformance::Pty;
use trisect_kit::{Context, Emission, Health};
use trisect_measure::{Amount, Quantity};
use trisect_tests::wait::within;
use trisect_transducer::{Table, TransducerSettings, WordOrder};

fn bytes(hex: &str) -> Vec<u8> {
    hex.split_whitespace()
        .map(|byte| u8::from_str_radix(byte, 16).unwrap())
        .collect()
}

/// Answers each request with the reply; the request as it was asked, and the first sample.
async fn exchange(
    settings: impl FnOnce(&Pty) -> TransducerSettings,
    reply: &str,
) -> (Vec<u8>, Emission) {
    let pty = Pty::open().unwrap();
    let mut adapter = settings(&pty).adapter().unwrap();
    let (samples, mut taken) = mpsc::channel(16);
    let stop = tokio_util::sync::CancellationToken::new();
    let context = Context {
        samples,
        health: Health::new(),
        stop: stop.clone(),
        clock: Arc::new(|| 0),
        networks: trisect_kit::Networks::all(),
    };
    let running = tokio::spawn(async move { adapter.run(context).await });
    let mut asked = Vec::new();
    while asked.len() < 8 {
        let mut chunk = [0; 64];
        let count = within("a request", pty.read(&mut chunk)).await.unwrap();
        asked.extend_from_slice(&chunk[..count]);
    }
    pty.write_all(&bytes(reply)).await.unwrap();
    let emission = within("a sample", taken.recv()).await.unwrap();
    stop.cancel();
    within("the end", running).await.unwrap().unwrap();
    (asked, emission)
}

async fn check(
    settings: impl FnOnce(TransducerSettings) -> TransducerSettings,
    asks: &str,
    reply: &str,
    value: f64,
) {
    let in_volts = |pty: &Pty| {
        let mut plain = TransducerSettings::pressure(pty.path(), 0);
        // A unit of factor one: what comes out is what was sent.
        (plain.quantity, plain.unit) = (Some(Quantity::Voltage), Some("V".to_owned()));
        settings(plain)
    };
    let (asked, emission) = exchange(in_volts, reply).await;
    assert_eq!(asked, bytes(asks), "{asked:02X?}");
    let Amount::Exactly(found) = emission.sample.amount else {
        panic!("{emission:?}")
    };
    // Half a unit of the last digit that is printed.
    assert!((found - value).abs() < 5e-4, "{found}, not {value}");
}

/// A float exchange as it was logged: 403.330 in input registers 12 and 13.
#[tokio::test]
async fn a_logged_float_exchange() {
    let settings = |plain| TransducerSettings {
        register: Some(0x0C),
        ..plain
    };
    check(
        settings,
        "01 04 00 0C 00 02 B1 C8",
        "01 04 04 43 C9 AA 46 C1 6C",
        403.330,
    )
    .await;
}

/// 123.456 as `pymodbus` 3.16.1 and `minimalmodbus` 2.1.1 send it.
#[tokio::test]
async fn a_float_of_the_reference_libraries() {
    let settings = |plain| TransducerSettings {
        table: Some(Table::Holding),
        ..plain
    };
    check(
        settings,
        "01 03 00 00 00 02 C4 0B",
        "01 03 04 42 F6 E9 79 80 0B",
        123.456,
    )
    .await;
}

/// The four orders those libraries name, each with the checksum of its own bytes.
#[tokio::test]
async fn every_word_order() {
    for (order, registers) in [
        (WordOrder::Big, "42 F6 E9 79"),
        (WordOrder::SwappedWords, "E9 79 42 F6"),
        (WordOrder::Little, "79 E9 F6 42"),
        (WordOrder::SwappedBytes, "F6 42 79 E9"),
    ] {
        let message = format!("01 03 04 {registers}");
        let [low, high] = trisect_transducer::checksum(&bytes(&message));
        let reply = format!("{message} {low:02X} {high:02X}");
        let settings = |plain| TransducerSettings {
            table: Some(Table::Holding),
            order: Some(order),
            ..plain
        };
        check(settings, "01 03 00 00 00 02 C4 0B", &reply, 123.456).await;
    }
}
