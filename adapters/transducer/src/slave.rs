//! A fake device on a pseudo-terminal, and what the adapter makes of its moods.

#![allow(clippy::unwrap_used)]

use std::sync::Arc;
use std::time::Duration;

use tokio::sync::mpsc;
use tokio::time::timeout;
use tokio_util::sync::CancellationToken;
use trisect_kit::harness::Pty;
use trisect_kit::{Context, Emission, Health, State};
use trisect_measure::{Amount, Function, Unit};

use crate::{TransducerSettings, WordOrder, checksum};

const PATIENCE: Duration = Duration::from_secs(10);

/// The reply of a device that holds `float` in big order, or nothing if the
/// request is not for it.
pub(crate) fn reply(request: &[u8], float: f32) -> Vec<u8> {
    let (Some([1, 4, 0, 12, 0, 2]), 8) = (request.first_chunk::<6>(), request.len()) else {
        return Vec::new();
    };
    framed([&[1, 4, 4][..], &float.to_be_bytes()].concat())
}

fn framed(mut message: Vec<u8>) -> Vec<u8> {
    let crc = checksum(&message);
    message.extend(crc);
    message
}

struct Bay {
    pty: Pty,
    samples: mpsc::Receiver<Emission>,
    health: Health,
    stop: CancellationToken,
}

/// Starts an adapter; the test plays the device.
fn start(change: impl FnOnce(&mut TransducerSettings)) -> Bay {
    let pty = Pty::open().unwrap();
    let mut settings = TransducerSettings::pressure(pty.path(), 12);
    settings.period_ms = 5;
    settings.reply_timeout_ms = 50;
    settings.longest_reply_ms = 300;
    change(&mut settings);
    let mut adapter = settings.adapter().unwrap();
    let (sender, samples) = mpsc::channel(16);
    let (health, stop) = (Health::new(), CancellationToken::new());
    let context = Context {
        samples: sender,
        health: health.clone(),
        stop: stop.clone(),
        clock: Arc::new(|| 7),
    };
    tokio::spawn(async move { adapter.run(context).await });
    Bay {
        pty,
        samples,
        health,
        stop,
    }
}

impl Drop for Bay {
    fn drop(&mut self) {
        self.stop.cancel();
    }
}

impl Bay {
    async fn request(&self) -> Vec<u8> {
        let mut buffer = [0; 64];
        let count = timeout(PATIENCE, self.pty.read(&mut buffer))
            .await
            .unwrap()
            .unwrap();
        buffer[..count].to_vec()
    }

    /// Waits for a request and answers it with bytes.
    async fn answer(&self, bytes: impl FnOnce(&[u8]) -> Vec<u8>) {
        let request = self.request().await;
        self.pty.write_all(&bytes(&request)).await.unwrap();
    }

    async fn psi(&mut self) -> f64 {
        let emission = timeout(PATIENCE, self.samples.recv())
            .await
            .unwrap()
            .unwrap();
        let Amount::Exactly(pascals) = emission.sample.amount else {
            panic!("{emission:?}");
        };
        Unit::PSI.from_si(pascals)
    }

    async fn until(&self, what: &str, wished: impl Fn(&trisect_kit::Vitals) -> bool) {
        let wait = async {
            while !wished(&self.health.vitals()) {
                tokio::time::sleep(Duration::from_millis(1)).await;
            }
        };
        assert!(
            timeout(PATIENCE, wait).await.is_ok(),
            "{what}: {:?}",
            self.health.vitals()
        );
    }
}

#[tokio::test]
async fn a_reading_carries_its_quantity_scale_and_time() {
    let mut bay = start(|settings| {
        settings.scale = 2.0;
        settings.offset = -1.0;
        settings.full_scale = Some(60.0);
        settings.channel = 3;
        settings.order = WordOrder::SwappedWords;
    });
    let [first, second] = WordOrder::SwappedWords.registers(5.3).map(u16::to_be_bytes);
    bay.answer(|_| framed([&[1, 4, 4][..], &first, &second].concat()))
        .await;
    let emission = timeout(PATIENCE, bay.samples.recv())
        .await
        .unwrap()
        .unwrap();
    assert_eq!(emission.at, 7);
    let sample = emission.sample;
    assert_eq!((sample.channel, sample.function), (3, Function::Pressure));
    assert_eq!(Unit::PSI.from_si(sample.amount.edge()), 9.6);
    assert_eq!(sample.span.map(|span| Unit::PSI.from_si(span)), Some(60.0));
    assert_eq!(bay.health.vitals().state, State::Live);
}

/// What other clients get wrong without a word: a reply that comes after its
/// time-out must not answer the next request.
#[tokio::test]
async fn a_late_reply_is_never_taken_for_the_next_ones() {
    let mut bay = start(|_| {});
    let late = bay.request().await;
    bay.until("the request timed out", |v| v.frames_bad == 1)
        .await;
    bay.pty.write_all(&reply(&late, 1.0)).await.unwrap();
    bay.answer(|request| reply(request, 2.0)).await;
    assert_eq!(bay.psi().await, 2.0);
    let vitals = bay.health.vitals();
    assert_eq!((vitals.frames_bad, vitals.bytes_skipped), (1, 9));
    assert!(
        vitals
            .last_error
            .unwrap()
            .contains("raise reply_timeout_ms")
    );
}

#[tokio::test]
async fn damaged_foreign_long_and_refused_replies_are_counted_and_passed_over() {
    let mut bay = start(|settings| settings.longest_reply_ms = 60);
    type Damage = fn(&[u8]) -> Vec<u8>;
    let damages: [(Damage, &str); 7] = [
        (|r| [&reply(r, 1.0)[..], &[0]].concat(), "too long"),
        (|r| reply(r, 1.0)[..8].to_vec(), "cut"),
        (
            |r| reply(r, 1.0).iter().map(|b| b ^ 1).collect(),
            "checksum",
        ),
        (|_| framed(vec![2, 4, 4, 0, 0, 0, 0]), "device 2 answered"),
        (|_| framed(vec![1, 0x84, 2]), "illegal data address"),
        (|r| reply(r, f32::NAN), "NaN"),
        (|r| reply(r, f32::INFINITY), "inf"),
    ];
    for (count, (damage, expected)) in (1..).zip(damages) {
        bay.answer(damage).await;
        bay.until(expected, |v| v.frames_bad == count).await;
        let error = bay.health.vitals().last_error.unwrap();
        assert!(error.contains(expected), "{error}");
    }
    assert!(bay.samples.try_recv().is_err());
    bay.answer(|request| reply(request, 2.5)).await;
    assert_eq!(bay.psi().await, 2.5);
}

#[tokio::test]
async fn a_mute_device_is_silent_within_its_time_and_comes_back() {
    let mut bay = start(|settings| {
        settings.silent_after_ms = 100;
        settings.longest_reply_ms = 60;
    });
    bay.until("silent", |v| v.state == State::Silent).await;
    let error = bay.health.vitals().last_error.unwrap();
    assert!(error.contains("no reply from device 1"), "{error}");
    // Requests piled up in the pseudo-terminal: read them away, answer a fresh one.
    loop {
        let requests = bay.request().await;
        let last = &requests[requests.len().saturating_sub(8)..];
        bay.pty.write_all(&reply(last, 4.0)).await.unwrap();
        if let Ok(Some(emission)) = timeout(Duration::from_millis(40), bay.samples.recv()).await {
            assert_eq!(Unit::PSI.from_si(emission.sample.amount.edge()), 4.0);
            break;
        }
    }
    assert_eq!(bay.health.vitals().state, State::Live);
}
