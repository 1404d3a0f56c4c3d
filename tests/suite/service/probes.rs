//! Ports and probes: a port in use is left alone, and where probes were is on the timeline.

use std::net::SocketAddr;
use std::time::Duration;

use serde_json::json;
use trisect_tests::instrument::{Cable, METER, counted, place};
use trisect_tests::service::{BAY, Served, client, open_job};
use trisect_tests::wait::within;
use trisect_wire::client::{Client, ClientError};
use trisect_wire::table::{
    InstrumentAttach, InstrumentDetach, InstrumentList, InstrumentProbe, JobClose, PortList,
    ProbeLift, ProbeList,
};
use trisect_wire::types::{
    Instrument, InstrumentAttachParams, InstrumentListParams, InstrumentName,
    InstrumentProbeParams, JobCloseParams, NoParams, Placement, ProbeLiftParams, ProbeListParams,
};
use trisect_wire::{ErrorKind, WireError};
use trisectd::Service;
use trisectd::config::{BaySettings, InstrumentSettings, Settings};

async fn placements(client: &Client, job: &str) -> Vec<Placement> {
    let params = ProbeListParams {
        job: Some(job.to_owned()),
        bay: None,
        ..ProbeListParams::default()
    };
    client.call::<ProbeList>(&params).await.unwrap().placements
}

#[tokio::test]
async fn a_port_that_an_instrument_has_is_not_probed() {
    let served = Served::start().await;
    let client = served.client().await;
    let cable = Cable::new();
    cable.attach_meter(&client, "es51922").await;
    let params = InstrumentProbeParams {
        port: cable.path().display().to_string(),
        allow_writing: false,
    };
    let refused = client.call::<InstrumentProbe>(&params).await;
    let Err(ClientError::Refused(refusal)) = refused else {
        panic!("{refused:?}")
    };
    assert_eq!(refusal.kind, ErrorKind::PortRefused);
    assert!(refusal.message.contains("`meter` of bay-1"), "{refusal:?}");
    // Whatever ports this machine has, none of them is the meter's.
    let ports = client.call::<PortList>(&NoParams {}).await.unwrap().ports;
    assert!(
        ports.iter().all(|port| port.attached.is_none()),
        "{ports:?}"
    );
    served.stop().await;
}

/// Attaches whatever speaks at the end of a cable.
async fn attach_auto(client: &Client, cable: &Cable) -> Result<Instrument, WireError> {
    let params = InstrumentAttachParams {
        bay: BAY.to_owned(),
        instrument: METER.to_owned(),
        adapter: "auto".to_owned(),
        settings: serde_json::Map::from_iter([(
            "port".to_owned(),
            cable.path().display().to_string().into(),
        )]),
    };
    match within(
        "instrument.attach",
        client.call::<InstrumentAttach>(&params),
    )
    .await
    {
        Ok(instrument) => Ok(instrument),
        Err(ClientError::Refused(refusal)) => Err(refusal),
        Err(error) => panic!("{error}"),
    }
}

#[tokio::test]
async fn what_speaks_on_a_port_is_found_and_attached() {
    let served = Served::start().await;
    let client = served.client().await;
    let cable = Cable::new();
    let talking = async {
        loop {
            cable.say(b"112345;000:0\r\n").await;
            tokio::time::sleep(Duration::from_millis(50)).await;
        }
    };
    let attached = tokio::select! {
        attached = attach_auto(&client, &cable) => attached.unwrap(),
        () = talking => unreachable!("it goes on"),
    };
    assert_eq!(attached.adapter, "multimeter");
    assert!(
        attached
            .port
            .is_some_and(|port| port == cable.path().display().to_string())
    );
    cable.say(b"112345;000:0\r\n").await;
    counted(&client, "a sample", |meter| meter.counters.samples > 0).await;
    served.stop().await;
}

#[tokio::test]
async fn a_port_on_which_nothing_speaks_is_not_attached() {
    let served = Served::start().await;
    let client = served.client().await;
    let refusal = attach_auto(&client, &Cable::new()).await.unwrap_err();
    assert_eq!(refusal.kind, ErrorKind::InvalidSettings);
    assert_eq!(refusal.field.as_deref(), Some("settings.port"));
    let hint = refusal.hint.unwrap_or_default();
    assert!(hint.contains("allow_writing"), "{hint}");
    let none = client
        .call::<InstrumentList>(&InstrumentListParams::default())
        .await;
    assert_eq!(none.unwrap().instruments, []);
    served.stop().await;
}

#[tokio::test]
async fn where_a_probe_was_is_read_back_from_the_timeline() {
    let served = Served::start().await;
    let client = served.client().await;
    let job = open_job(&client, None).await.job;
    let cable = Cable::new();
    cable.attach_meter(&client, "es51922").await;
    place(&client, "battery").await;
    place(&client, "positive-cable-drop").await;
    let lift = ProbeLiftParams {
        bay: BAY.to_owned(),
        instrument: METER.to_owned(),
        channel: "0".to_owned(),
    };
    client.call::<ProbeLift>(&lift).await.unwrap();
    place(&client, "battery").await;
    let found = placements(&client, &job).await;
    let points: Vec<&str> = found.iter().map(|p| p.point.as_str()).collect();
    assert_eq!(points, ["battery", "positive-cable-drop", "battery"]);
    assert_eq!(found[0].until.as_ref(), Some(&found[1].from));
    assert!(
        found[1].until.is_some() && found[2].until.is_none(),
        "{found:?}"
    );
    assert!(
        found
            .iter()
            .all(|p| p.instrument == METER && p.channel == "0")
    );

    // Taken away, it is nowhere.
    let meter = InstrumentName {
        bay: BAY.to_owned(),
        instrument: METER.to_owned(),
    };
    client.call::<InstrumentDetach>(&meter).await.unwrap();
    assert!(placements(&client, &job).await[2].until.is_some());
    served.stop().await;
}

async fn start(folder: &std::path::Path) -> Service {
    let settings = json!({"quantity": "pressure"});
    let gauge = InstrumentSettings {
        instrument: "gauge".to_owned(),
        adapter: "manual".to_owned(),
        settings: settings.as_object().unwrap().clone(),
    };
    let settings = Settings {
        listen: SocketAddr::from(([127, 0, 0, 1], 0)),
        journal: folder.join("journal.db"),
        bays: vec![BaySettings {
            bay: BAY.to_owned(),
            title: None,
            ruleset: "distributor-pump-12v".to_owned(),
            barometer: None,
            instruments: vec![gauge],
        }],
        ..Settings::default()
    };
    within("the start", Service::start(settings)).await.unwrap()
}

async fn point_of_gauge(client: &Client) -> Option<String> {
    let all = InstrumentListParams::default();
    let all = client.call::<InstrumentList>(&all).await.unwrap();
    all.instruments[0].channels[0].point.clone()
}

#[tokio::test]
async fn probes_are_where_they_were_after_a_restart() {
    let folder = tempfile::tempdir().unwrap();
    let service = start(folder.path()).await;
    let first = client(service.address()).await;
    let job = open_job(&first, None).await.job;
    let params = trisect_wire::types::ProbePlaceParams {
        bay: BAY.to_owned(),
        instrument: "gauge".to_owned(),
        channel: "0".to_owned(),
        point: "pump-inlet-pressure".to_owned(),
    };
    first
        .call::<trisect_wire::table::ProbePlace>(&params)
        .await
        .unwrap();
    drop(first);
    within("the stop", service.stop()).await;

    let service = start(folder.path()).await;
    let second = client(service.address()).await;
    let there = Some("pump-inlet-pressure".to_owned());
    assert_eq!(point_of_gauge(&second).await, there);
    let close = JobCloseParams {
        job: job.clone(),
        confirmed: None,
        note: None,
    };
    let closed = second.call::<JobClose>(&close).await.unwrap().closed;
    assert_eq!(point_of_gauge(&second).await, None);
    assert_eq!(placements(&second, &job).await[0].until, closed);
    drop(second);
    within("the stop", service.stop()).await;
}
