//! What is acknowledged is stored, once: keys of submissions, SenML, and all or none.

use serde_json::json;
use trisect_api::ErrorKind;
use trisect_api::client::{Client, ClientError};
use trisect_api::table::{ReadingHistory, ReadingSubmit};
use trisect_api::wire::{Reading, ReadingHistoryParams, ReadingSubmitParams, ReadingSubmitted};
use trisect_tests::service::{BAY, Served, open_job, readings};

async fn stored(client: &Client) -> Vec<Reading> {
    let all = ReadingHistoryParams {
        bay: Some(BAY.to_owned()),
        ..ReadingHistoryParams::default()
    };
    client.call::<ReadingHistory>(&all).await.unwrap().readings
}

fn with_key(key: &str, values: &[f64]) -> ReadingSubmitParams {
    ReadingSubmitParams {
        bay: BAY.to_owned(),
        readings: Some(readings("battery", "V", values)),
        senml: None,
        key: Some(key.to_owned()),
    }
}

#[tokio::test]
async fn the_same_key_twice_is_stored_once_even_after_a_restart() {
    let served = Served::start().await;
    let client = served.client().await;
    open_job(&client, None).await;
    let params = with_key("morning-1", &[12.4, 12.5]);
    let first = client.call::<ReadingSubmit>(&params).await.unwrap();
    assert_eq!(
        first,
        ReadingSubmitted {
            accepted: 2,
            repeated: false
        }
    );
    let again = client.call::<ReadingSubmit>(&params).await.unwrap();
    assert_eq!(
        again,
        ReadingSubmitted {
            accepted: 2,
            repeated: true
        }
    );
    assert_eq!(stored(&client).await.len(), 2);
    let folder = served.stop().await;

    let served = Served::start_with(folder, Vec::new()).await;
    let client = served.client().await;
    assert!(
        client
            .call::<ReadingSubmit>(&params)
            .await
            .unwrap()
            .repeated
    );
    assert_eq!(stored(&client).await.len(), 2);
    served.stop().await;
}

/// A key that comes back with something else is a mistake of the sender's: neither stored nor said to be.
#[tokio::test]
async fn a_key_used_for_something_else_is_refused() {
    let served = Served::start().await;
    let client = served.client().await;
    open_job(&client, None).await;
    client
        .call::<ReadingSubmit>(&with_key("k", &[12.4]))
        .await
        .unwrap();
    let refused = client.call::<ReadingSubmit>(&with_key("k", &[12.5])).await;
    let Err(ClientError::Refused(error)) = refused else {
        panic!("{refused:?}")
    };
    assert_ne!(error.kind, ErrorKind::Internal, "{error}");
    assert_eq!(
        (error.field.as_deref(), error.hint.is_some()),
        (Some("key"), true),
        "{error}"
    );
    assert_eq!(stored(&client).await.len(), 1);
    served.stop().await;
}

/// RFC 8428: base fields hold, names concatenate, times below 2^28 are relative to now; pascals come out in
/// the point's own unit.
#[tokio::test]
async fn senml_becomes_readings() {
    let served = Served::start().await;
    let client = served.client().await;
    open_job(&client, None).await;
    let pack = json!([
        {"bn": "pump-inlet-", "bu": "Pa", "n": "pressure", "v": 34473.785},
        {"n": "pressure", "v": 68947.57},
        {"bn": "", "n": "battery", "u": "V", "v": 12.4},
    ]);
    let pack = pack
        .as_array()
        .unwrap()
        .iter()
        .map(|record| record.as_object().unwrap().clone())
        .collect();
    let params = ReadingSubmitParams {
        bay: BAY.to_owned(),
        readings: None,
        senml: Some(pack),
        key: None,
    };
    assert_eq!(
        client
            .call::<ReadingSubmit>(&params)
            .await
            .unwrap()
            .accepted,
        3
    );
    let mut found: Vec<(String, String, f64)> = stored(&client)
        .await
        .into_iter()
        .map(|r| (r.point, r.unit, (r.value * 1e6).round() / 1e6))
        .collect();
    found.sort_by(|a, b| a.0.cmp(&b.0).then(a.2.total_cmp(&b.2)));
    let expected = [
        ("battery", "V", 12.4),
        ("pump-inlet-pressure", "psi", 5.0),
        ("pump-inlet-pressure", "psi", 10.0),
    ];
    assert_eq!(
        found,
        expected.map(|(point, unit, value)| (point.to_owned(), unit.to_owned(), value))
    );
    served.stop().await;
}
