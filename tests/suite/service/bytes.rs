//! Bytes that are not as they should be: frames cut, doubled, shifted or damaged are skipped and counted,
//! what is whole comes through, and nothing is guessed.

use std::time::Duration;

use serde_json::json;
use trisect_tests::instrument::{Cable, counted, place};
use trisect_tests::service::{BAY, Served, open_job};
use trisect_tests::wait::within;
use trisect_wire::client::Client;
use trisect_wire::table::ReadingHistory;
use trisect_wire::types::{Instrument, ReadingHistoryParams};

/// 12.34 V DC by an FS9922, and 12.345 V DC by an ES51922 (generated, and read so by libsigrok).
const FS9922: &[u8] = &[
    0x2B, 0x31, 0x32, 0x33, 0x34, 0x20, 0x32, 0x31, 0x00, 0x00, 0x80, 0x0C, 0x0D, 0x0A,
];
const ES51922: &[u8] = b"112345;000:0\r\n";

/// The values that were stored, once there are as many: a sample is counted when it is read, and stored a
/// few milliseconds later.
async fn values(client: &Client, count: usize) -> Vec<f64> {
    let all = ReadingHistoryParams {
        bay: Some(BAY.to_owned()),
        ..ReadingHistoryParams::default()
    };
    let stored = async {
        loop {
            let stored = client.call::<ReadingHistory>(&all).await.unwrap();
            if stored.readings.len() >= count {
                return stored.readings.iter().map(|one| one.value).collect();
            }
            tokio::time::sleep(Duration::from_millis(5)).await;
        }
    };
    within("the readings", stored).await
}

/// What is damaged, how many whole frames there are, and how many bytes belong to none.
fn damaged(frame: &[u8]) -> Vec<(&'static str, Vec<u8>, u64)> {
    let cut = &frame[..9];
    let mut shifted = vec![0x55, 0xAA, 0x01];
    shifted.extend(frame);
    vec![
        ("whole", frame.to_vec(), 1),
        ("doubled", [frame, frame].concat(), 2),
        ("its head is missing", [&frame[5..], frame].concat(), 1),
        ("its tail is missing", [cut, frame].concat(), 1),
        ("shifted by noise", shifted, 1),
        (
            "noise between",
            [frame, &[0xFF, 0x00, 0x7F], frame].concat(),
            2,
        ),
    ]
}

async fn check(protocol: &str, frame: &[u8], value: f64) {
    let served = Served::start().await;
    let client = served.client().await;
    open_job(&client, None).await;
    let cable = Cable::new();
    cable.attach_meter(&client, protocol).await;
    place(&client, "battery").await;
    let (mut whole, mut said) = (0, 0);
    for (what, bytes, frames) in damaged(frame) {
        whole += frames;
        said += bytes.len() as u64;
        cable.say(&bytes).await;
        let meter = counted(&client, what, |meter| meter.counters.samples >= whole).await;
        assert_eq!(meter.counters.samples, whole, "{protocol}: {what}");
    }
    // Every byte is accounted for: in a frame understood, in one refused, or skipped.
    let accounted = |meter: &Instrument| {
        let counters = meter.counters;
        let in_frames = (counters.samples + counters.bad_frames) * frame.len() as u64;
        (in_frames + counters.skipped_bytes).cmp(&said)
    };
    let meter = counted(&client, &format!("{said} bytes"), |meter| {
        accounted(meter).is_ge()
    })
    .await;
    assert!(
        accounted(&meter).is_eq(),
        "{said} bytes: {:?}",
        meter.counters
    );
    assert!(meter.counters.bad_frames + meter.counters.skipped_bytes > 0);
    let stored = values(&client, whole as usize).await;
    assert_eq!(stored.len() as u64, whole);
    assert!(stored.iter().all(|found| *found == value), "{stored:?}");
    served.stop().await;
}

#[tokio::test]
async fn damaged_fs9922_frames_are_skipped_and_counted() {
    check("fs9922", FS9922, 12.34).await;
}

#[tokio::test]
async fn damaged_es51922_frames_are_skipped_and_counted() {
    check("es51922", ES51922, 12.345).await;
}

/// A Modbus reply with a wrong checksum, of another device, or cut short is counted and never a reading; the
/// next good one is.
#[tokio::test]
async fn damaged_modbus_replies_are_counted() {
    let served = Served::start().await;
    let client = served.client().await;
    open_job(&client, None).await;
    let cable = Cable::new();
    let settings = json!({"register": 0, "table": "holding", "quantity": "pressure", "unit": "psi",
        "period_ms": 20, "reply_timeout_ms": 60, "longest_reply_ms": 80});
    cable.attach(&client, "transducer", settings).await;
    place(&client, "pump-inlet-pressure").await;
    // 12.5 psi, with the checksum of its own bytes.
    let message = [0x01, 0x03, 0x04, 0x41, 0x48, 0x00, 0x00];
    let good = [&message[..], &trisect_transducer::checksum(&message)].concat();
    let damaged = |index: usize, to: u8| {
        let mut bytes = good.clone();
        bytes[index] = to;
        bytes
    };
    let replies = [
        damaged(4, 0x49),
        damaged(0, 0x02),
        good[..5].to_vec(),
        damaged(8, 0x00),
    ];
    for reply in &replies {
        cable.hear(8).await;
        cable.say(reply).await;
    }
    cable.hear(8).await;
    cable.say(&good).await;
    let meter = counted(&client, "the good one", |meter| meter.counters.samples >= 1).await;
    assert_eq!(
        (meter.counters.samples, meter.counters.bad_frames),
        (1, replies.len() as u64),
        "{meter:?}"
    );
    assert_eq!(values(&client, 1).await, [12.5]);
    served.stop().await;
}
