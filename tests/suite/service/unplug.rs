//! An instrument that is pulled out shows as `silent` within a second, and comes back by itself.

use std::time::{Duration, Instant};

use trisect_tests::instrument::{Cable, place, until, watch};
use trisect_tests::service::{BAY, Served, open_job};
use trisect_tests::wait::within;
use trisect_wire::table::ReadingWatch;
use trisect_wire::types::{BayName, InstrumentState, ReadingItem};

/// 12.345 V DC by an ES51922 (generated, and read so by libsigrok).
const FRAME: &[u8] = b"112345;000:0\r\n";

#[tokio::test]
async fn a_pulled_cable_is_silent_within_a_second_and_comes_back() {
    let served = Served::start().await;
    let client = served.client().await;
    open_job(&client, None).await;
    let mut cable = Cable::new();
    let mut states = watch(&client).await;
    cable.attach_meter(&client, "es51922").await;
    place(&client, "battery").await;
    let bay = BayName {
        bay: BAY.to_owned(),
    };
    let mut readings = within("reading.watch", client.watch::<ReadingWatch>(&bay))
        .await
        .unwrap();
    for round in 1..=3 {
        cable.say(FRAME).await;
        until(&mut states, "running", |meter| {
            meter.state == InstrumentState::Running
        })
        .await;
        let item = within("a reading", readings.next()).await.unwrap().unwrap();
        let ReadingItem::Reading(reading) = item else {
            panic!("{item:?}")
        };
        assert_eq!(
            (reading.value, reading.unit.as_str()),
            (12.345, "V"),
            "round {round}"
        );

        let pulled = Instant::now();
        cable.unplug();
        let silent = until(&mut states, "silent", |meter| {
            meter.state == InstrumentState::Silent
        })
        .await;
        assert!(
            pulled.elapsed() < Duration::from_secs(1),
            "silent after {:?}",
            pulled.elapsed()
        );
        assert!(silent.note.is_some(), "it says why: {silent:?}");
        cable.plug();
    }
    served.stop().await;
}

/// A meter that is there and says nothing is silent too.
#[tokio::test]
async fn a_mute_instrument_is_silent() {
    let served = Served::start().await;
    let client = served.client().await;
    let cable = Cable::new();
    let mut states = watch(&client).await;
    cable.attach_meter(&client, "es51922").await;
    until(&mut states, "silent", |meter| {
        meter.state == InstrumentState::Silent
    })
    .await;
    // One that is heard is running again.
    cable.say(FRAME).await;
    until(&mut states, "running", |meter| {
        meter.state == InstrumentState::Running
    })
    .await;
    served.stop().await;
}
