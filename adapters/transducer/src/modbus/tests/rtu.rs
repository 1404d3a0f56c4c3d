//! One device alone on a line.

use std::time::Duration;

use tokio::time::timeout;
use trisect_kit::State;
use trisect_kit::conformance::Pty;
use trisect_measure::{Function, Unit};

use super::{Bay, PATIENCE, closed, quick, rtu as reply};
use crate::{TransducerSettings, WordOrder};

/// The test plays the device.
struct Device {
    pty: Pty,
    bay: Bay,
}

fn start(change: impl FnOnce(&mut TransducerSettings)) -> Device {
    let pty = Pty::open().unwrap();
    let mut settings = quick(TransducerSettings::pressure(pty.path(), 12));
    change(&mut settings);
    let bay = Bay::start(&settings);
    Device { pty, bay }
}

impl Device {
    async fn request(&self) -> Vec<u8> {
        let mut buffer = [0; 64];
        let read = timeout(PATIENCE, self.pty.read(&mut buffer)).await;
        let count = read.unwrap().unwrap();
        buffer[..count].to_vec()
    }

    /// Waits for a request and answers it with bytes.
    async fn answer(&self, bytes: impl FnOnce(&[u8]) -> Vec<u8>) {
        let request = self.request().await;
        self.pty.write_all(&bytes(&request)).await.unwrap();
    }
}

#[tokio::test]
async fn a_reading_carries_its_quantity_scale_and_time() {
    let mut device = start(|settings| {
        settings.scale = Some(2.0);
        settings.offset = Some(-1.0);
        settings.full_scale = Some(60.0);
        settings.channel = Some(3);
        settings.order = Some(WordOrder::SwappedWords);
    });
    let [high, low] = 5.3f32.to_be_bytes().as_chunks::<2>().0.to_vec()[..] else {
        panic!("four bytes are two registers");
    };
    device
        .answer(|_| closed([&[1, 4, 4][..], &low, &high].concat()))
        .await;
    let emission = device.bay.emission().await;
    assert_eq!(emission.at, 7);
    let sample = emission.sample;
    assert_eq!((sample.channel, sample.function), (3, Function::Pressure));
    assert_eq!(Unit::PSI.from_si(sample.amount.edge()), 9.6);
    assert_eq!(sample.span.map(|span| Unit::PSI.from_si(span)), Some(60.0));
    assert_eq!(device.bay.health.vitals().state, State::Live);
}

/// What other clients get wrong without a word: a reply that comes after its
/// time-out must not answer the next request.
#[tokio::test]
async fn a_late_reply_is_never_taken_for_the_next_ones() {
    let mut device = start(|_| {});
    let late = device.request().await;
    let timed_out = |v: &trisect_kit::Vitals| v.frames_bad == 1;
    device.bay.until("the request timed out", timed_out).await;
    device.pty.write_all(&reply(&late, 1.0)).await.unwrap();
    device.answer(|request| reply(request, 2.0)).await;
    assert_eq!(device.bay.psi().await, 2.0);
    let vitals = device.bay.health.vitals();
    assert_eq!((vitals.frames_bad, vitals.bytes_skipped), (1, 9));
    let error = device.bay.error();
    assert!(error.contains("raise reply_timeout_ms"), "{error}");
}

#[tokio::test]
async fn damaged_foreign_long_and_refused_replies_are_counted_and_passed_over() {
    let mut device = start(|settings| settings.longest_reply_ms = Some(60));
    type Damage = fn(&[u8]) -> Vec<u8>;
    let damages: [(Damage, &str); 7] = [
        (|r| [&reply(r, 1.0)[..], &[0]].concat(), "too long"),
        (|r| reply(r, 1.0)[..8].to_vec(), "cut"),
        (
            |r| reply(r, 1.0).iter().map(|b| b ^ 1).collect(),
            "checksum",
        ),
        (|_| closed(vec![2, 4, 4, 0, 0, 0, 0]), "device 2 answered"),
        (|_| closed(vec![1, 0x84, 2]), "illegal data address"),
        (|r| reply(r, f32::NAN), "NaN"),
        (|r| reply(r, f32::INFINITY), "inf"),
    ];
    for (count, (damage, expected)) in (1..).zip(damages) {
        device.answer(damage).await;
        device.bay.until(expected, |v| v.frames_bad == count).await;
        let error = device.bay.error();
        assert!(error.contains(expected), "{error}");
    }
    assert!(device.bay.samples.try_recv().is_err());
    device.answer(|request| reply(request, 2.5)).await;
    assert_eq!(device.bay.psi().await, 2.5);
}

#[tokio::test]
async fn a_mute_device_is_silent_within_its_time_and_comes_back() {
    let mut device = start(|settings| {
        settings.silent_after_ms = 100;
        settings.longest_reply_ms = Some(60);
    });
    let silent = |v: &trisect_kit::Vitals| v.state == State::Silent;
    device.bay.until("silent", silent).await;
    let error = device.bay.error();
    assert!(error.contains("no reply from device 1"), "{error}");
    // Requests piled up in the pseudo-terminal: read them away, answer a fresh one.
    loop {
        let requests = device.request().await;
        let last = &requests[requests.len().saturating_sub(8)..];
        device.pty.write_all(&reply(last, 4.0)).await.unwrap();
        let soon = timeout(Duration::from_millis(40), device.bay.samples.recv());
        if let Ok(Some(emission)) = soon.await {
            assert_eq!(Unit::PSI.from_si(emission.sample.amount.edge()), 4.0);
            break;
        }
    }
    assert_eq!(device.bay.health.vitals().state, State::Live);
}
