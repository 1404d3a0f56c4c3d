//! What instruments say outside any job, shown by `reading.history`.

use serde_json::{Value, json};
use trisect_tests::daemon::Daemon;
use trisect_tests::instrument::{Cable, METER, counted, place};
use trisect_tests::service::{BAY, client, open_job, readings, submit};
use trisect_wire::client::{Client, ClientError};
use trisect_wire::table::{JobClose, ReadingHistory};
use trisect_wire::types::{OutsideReading, ReadingHistoryParams, Readings};
use trisect_wire::{ErrorKind, WireError};

/// 12.34 V, and 1.234 Ohm, on a meter with this chip.
const VOLTS: &[u8] = b"+1234 21\x00\x00\x80\x0C\r\n";
const OHMS: &[u8] = b"+1234 11\x00\x00\x20\x20\r\n";

async fn asked(client: &Client, params: Value) -> Result<Readings, WireError> {
    let params: ReadingHistoryParams = serde_json::from_value(params).unwrap();
    match client.call::<ReadingHistory>(&params).await {
        Ok(page) => Ok(page),
        Err(ClientError::Refused(refused)) => Err(refused),
        Err(other) => panic!("{other}"),
    }
}

/// What is kept outside any job, once there is as much as is wished; more may be asked for.
async fn kept(client: &Client, more: Value, wish: usize) -> Vec<OutsideReading> {
    let mut params = json!({"bay": BAY, "outside": true});
    for (name, value) in more.as_object().unwrap() {
        params[name] = value.clone();
    }
    trisect_tests::wait::within("the readings", async {
        loop {
            let page = asked(client, params.clone()).await.unwrap();
            let there = page.outside.unwrap();
            assert!(page.readings.is_empty());
            if there.len() >= wish {
                return there;
            }
        }
    })
    .await
}

#[tokio::test]
async fn what_a_meter_says_outside_jobs_is_told_by_instrument_and_quantity() {
    let folder = tempfile::tempdir().unwrap();
    let daemon = Daemon::start(&folder.path().join("journal.db")).await;
    let client = client(daemon.address).await;
    let cable = Cable::new();
    cable.attach_meter(&client, "fs9922").await;
    cable.say(VOLTS).await;
    cable.say(VOLTS).await;
    cable.say(OHMS).await;
    let all = kept(&client, json!({}), 3).await;
    let (volts, ohms) = (&all[0], &all[2]);
    assert_eq!(
        (
            volts.instrument.as_str(),
            volts.channel.as_str(),
            volts.quantity.as_str(),
            volts.unit.as_str()
        ),
        (METER, "0", "voltage", "V")
    );
    assert!((volts.value - 12.34).abs() < 1e-9 && volts.uncertainty > 0.0);
    assert_eq!(
        (ohms.quantity.as_str(), ohms.unit.as_str()),
        ("resistance", "Ohm")
    );
    assert!((ohms.value - 1.234).abs() < 1e-9, "{ohms:?}");
    assert!(all.is_sorted_by_key(|one| one.seq));

    // What a job has is not outside, and what is lifted in it is.
    let job = open_job(&client, None).await.job;
    place(&client, "battery").await;
    cable.say(VOLTS).await;
    counted(&client, "samples", |one| one.counters.samples >= 4).await;
    submit(&client, readings("battery", "V", &[12.0])).await;
    assert_eq!(kept(&client, json!({}), 3).await.len(), 3);
    let of_job = asked(&client, json!({"job": job})).await.unwrap();
    assert!(of_job.outside.is_none() && !of_job.readings.is_empty());
    let closing = serde_json::from_value(json!({"job": job})).unwrap();
    client.call::<JobClose>(&closing).await.unwrap();
    cable.say(VOLTS).await;
    let after = kept(&client, json!({}), 4).await;

    // Chosen among: by quantity, instrument, channel, time, and a page at a time.
    let count = async |more: Value| kept(&client, more, 0).await.len();
    assert_eq!(count(json!({"quantity": "resistance"})).await, 1);
    assert_eq!(
        count(json!({"quantity": "voltage", "instrument": METER})).await,
        3
    );
    assert_eq!(count(json!({"instrument": METER, "channel": "0"})).await, 4);
    for none in [
        json!({"instrument": "*"}),
        json!({"instrument": "gone"}),
        json!({"channel": "7"}),
        json!({"quantity": "pressure"}),
        json!({"until": after[0].time}),
    ] {
        assert_eq!(count(none.clone()).await, 0, "{none}");
    }
    let newest = &after[3];
    assert_eq!(count(json!({"from": newest.time})).await, 1);
    assert_eq!(count(json!({"until": newest.time})).await, 3);
    let page = asked(&client, json!({"bay": BAY, "outside": true, "limit": 3}))
        .await
        .unwrap();
    assert!(page.more && page.last_seq == Some(after[2].seq));
    let rest = json!({"bay": BAY, "outside": true, "limit": 3, "after_seq": page.last_seq});
    let rest = asked(&client, rest).await.unwrap();
    assert!(!rest.more);
    assert_eq!(rest.outside.unwrap(), after[3..]);

    // As SenML.
    let pack = json!({"bay": BAY, "outside": true, "quantity": "resistance", "format": "senml"});
    let pack = asked(&client, pack).await.unwrap();
    assert!(pack.outside.unwrap().is_empty());
    let record = &pack.senml.unwrap()[0];
    let name = record.get("bn").or(record.get("n")).unwrap();
    assert_eq!(name, "meter/0/resistance");
    assert!(daemon.terminate().await.success());
}

#[tokio::test]
async fn what_cannot_be_asked_is_refused_with_its_place() {
    let folder = tempfile::tempdir().unwrap();
    let daemon = Daemon::start(&folder.path().join("journal.db")).await;
    let client = client(daemon.address).await;
    let job = open_job(&client, None).await.job;
    for (params, kind, field) in [
        (json!({"outside": true}), ErrorKind::InvalidParams, "bay"),
        (
            json!({"outside": true, "bay": "bay-9"}),
            ErrorKind::UnknownBay,
            "bay",
        ),
        (
            json!({"outside": true, "bay": BAY, "job": job}),
            ErrorKind::InvalidParams,
            "job",
        ),
        (
            json!({"outside": true, "bay": BAY, "point": "battery"}),
            ErrorKind::InvalidParams,
            "point",
        ),
        (
            json!({"outside": true, "bay": BAY, "quantity": "volts"}),
            ErrorKind::InvalidParams,
            "quantity",
        ),
        (
            json!({"outside": true, "bay": BAY, "channel": "a"}),
            ErrorKind::InvalidParams,
            "channel",
        ),
        (
            json!({"outside": true, "bay": BAY, "from": "noon"}),
            ErrorKind::InvalidTime,
            "from",
        ),
        (
            json!({"job": job, "until": "noon"}),
            ErrorKind::InvalidTime,
            "until",
        ),
        (
            json!({"job": job, "instrument": METER}),
            ErrorKind::InvalidParams,
            "instrument",
        ),
    ] {
        let refused = asked(&client, params.clone()).await.unwrap_err();
        assert_eq!(
            (refused.kind, refused.field.as_deref()),
            (kind, Some(field)),
            "{params}: {refused}"
        );
    }
    // A page of the largest size says that there is more.
    for _ in 0..4 {
        submit(&client, readings("battery", "V", &[12.0; 2501])).await;
    }
    let page = asked(&client, json!({"job": job, "limit": 10_000}))
        .await
        .unwrap();
    assert_eq!((page.readings.len(), page.more), (10_000, true));
    assert!(daemon.terminate().await.success());
}
