//! What is acknowledged is stored, once: keys of submissions, SenML, and all or none.

use serde_json::json;
use trisect_tests::service::{BAY, Served, open_job, readings};
use trisect_wire::ErrorKind;
use trisect_wire::client::{Client, ClientError};
use trisect_wire::table::{JobClose, JobVerdictNow, ReadingEnter, ReadingHistory, ReadingSubmit};
use trisect_wire::types::{
    JobCloseParams, JobName, Phase, Reading, ReadingEnterParams, ReadingHistoryParams,
    ReadingSubmitParams, ReadingSubmitted, SubmittedReading,
};

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

fn entry(value: &str, key: &str) -> ReadingEnterParams {
    ReadingEnterParams {
        bay: BAY.to_owned(),
        point: "battery".to_owned(),
        value: value.to_owned(),
        uncertainty: None,
        phase: Some(Phase::KeyOn),
        by: "M. Aldous".to_owned(),
        instrument: None,
        key: Some(key.to_owned()),
    }
}

/// The place in the journal of the job's newest event, of whatever kind.
async fn newest(client: &Client, job: &str) -> u64 {
    let job = job.to_owned();
    let verdict = client.call::<JobVerdictNow>(&JobName { job }).await;
    verdict.unwrap().seq
}

#[tokio::test]
async fn an_entry_under_a_known_key_stores_neither_reading_nor_phase() {
    let served = Served::start().await;
    let client = served.client().await;
    let job = open_job(&client, None).await.job;
    let params = entry("12.4 V", "k");
    let first = client.call::<ReadingEnter>(&params).await.unwrap();
    assert!(!first.repeated);
    // The phase, the reading, and the phase that the engine is in.
    let last = newest(&client, &job).await;
    assert_eq!(last, first.seq + 1);
    let repeated = Reading {
        repeated: true,
        ..first.clone()
    };
    let again = client.call::<ReadingEnter>(&params).await.unwrap();
    assert_eq!(again, repeated);
    assert_eq!(newest(&client, &job).await, last);
    assert_eq!(stored(&client).await, [first]);
    // After a restart, and in a job after the one it was entered in.
    let folder = served.stop().await;
    let served = Served::start_with(folder, Vec::new()).await;
    let client = served.client().await;
    assert_eq!(
        client.call::<ReadingEnter>(&params).await.unwrap(),
        repeated
    );
    let close = JobCloseParams {
        job,
        confirmed: None,
        note: None,
    };
    client.call::<JobClose>(&close).await.unwrap();
    open_job(&client, None).await;
    assert_eq!(
        client.call::<ReadingEnter>(&params).await.unwrap(),
        repeated
    );
    assert_eq!(stored(&client).await, []);
    served.stop().await;
}

/// What was stored under a key is said again, though it could not be stored now: with no job open, and in a job that was
/// opened after the time that is said with it.
#[tokio::test]
async fn a_known_key_is_answered_though_it_could_not_be_stored_any_more() {
    let served = Served::start().await;
    let client = served.client().await;
    let job = open_job(&client, None).await;
    let timed = ReadingSubmitParams {
        readings: Some(vec![SubmittedReading {
            time: Some(job.opened.clone()),
            ..readings("battery", "V", &[12.4]).remove(0)
        }]),
        ..with_key("timed", &[])
    };
    let plain = with_key("plain", &[12.5, 12.6]);
    let entered = entry("12.7 V", "entered");
    for params in [&timed, &plain] {
        let stored = client.call::<ReadingSubmit>(params).await.unwrap();
        assert!(!stored.repeated, "{params:?}");
    }
    let stored_entry = client.call::<ReadingEnter>(&entered).await.unwrap();
    let close = JobCloseParams {
        job: job.job,
        confirmed: None,
        note: None,
    };
    client.call::<JobClose>(&close).await.unwrap();
    for reopened in [false, true] {
        if reopened {
            open_job(&client, None).await;
        }
        for (params, accepted) in [(&timed, 1), (&plain, 2)] {
            let again = client.call::<ReadingSubmit>(params).await;
            let repeated = true;
            assert_eq!(again.unwrap(), ReadingSubmitted { accepted, repeated });
        }
        let again = client.call::<ReadingEnter>(&entered).await.unwrap();
        assert_eq!((again.seq, again.repeated), (stored_entry.seq, true));
    }
    assert_eq!(stored(&client).await, []);
    // Another key is refused as ever, and so are other readings under this one.
    for params in [
        ReadingSubmitParams {
            key: Some("new".to_owned()),
            ..timed.clone()
        },
        ReadingSubmitParams {
            key: Some("plain".to_owned()),
            ..timed
        },
    ] {
        let Err(ClientError::Refused(error)) = client.call::<ReadingSubmit>(&params).await else {
            panic!("{params:?} was taken")
        };
        assert_eq!(error.kind, ErrorKind::InvalidTime, "{error}");
    }
    served.stop().await;
}

/// Whatever of an entry differs, it is another one; a submission's key is taken as well.
#[tokio::test]
async fn an_entry_of_another_content_under_a_known_key_is_refused() {
    let served = Served::start().await;
    let client = served.client().await;
    open_job(&client, None).await;
    let good = entry("5.5 V", "k");
    client.call::<ReadingEnter>(&good).await.unwrap();
    client
        .call::<ReadingSubmit>(&with_key("submitted", &[12.4]))
        .await
        .unwrap();
    let changed = |change: fn(&mut ReadingEnterParams)| {
        let mut params = good.clone();
        change(&mut params);
        params
    };
    for other in [
        entry("5.6 V", "k"),
        entry("5.5 V", "submitted"),
        changed(|p| p.point = "accelerator-signal".to_owned()),
        changed(|p| p.uncertainty = Some("0.1 V".to_owned())),
        changed(|p| p.phase = None),
        changed(|p| p.by = "R. Tull".to_owned()),
        changed(|p| p.instrument = Some("meter".to_owned())),
        entry("5.5 V", ""),
    ] {
        let refused = client.call::<ReadingEnter>(&other).await;
        let Err(ClientError::Refused(error)) = refused else {
            panic!("{other:?}: {refused:?}")
        };
        assert_eq!(
            (error.kind, error.field.as_deref(), error.hint.is_some()),
            (ErrorKind::InvalidValue, Some("key"), true),
            "{other:?}: {error}"
        );
    }
    assert_eq!(stored(&client).await.len(), 2);
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
