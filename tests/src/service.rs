//! The service in this process, on a free port, with a journal that is thrown away.

use std::net::SocketAddr;
use std::path::PathBuf;

use tempfile::TempDir;
use trisect_wire::client::Client;
use trisect_wire::table::{JobOpen, PhaseSay, ReadingSubmit};
use trisect_wire::types::{
    Job, JobOpenParams, Phase, PhaseSayParams, ReadingSubmitParams, SubmittedReading,
};
use trisectd::Service;
use trisectd::config::Settings;

use crate::wait::within;

/// The bay that every service has.
pub const BAY: &str = "bay-1";

/// A running service and the folder of its journal.
pub struct Served {
    service: Service,
    folder: TempDir,
    /// Where it listens.
    pub address: SocketAddr,
}

impl Served {
    /// Starts one on an empty journal.
    pub async fn start() -> Served {
        Served::start_with(tempfile::tempdir().unwrap(), Vec::new()).await
    }

    /// Starts one on the journal of a folder, with rule-set files beside the shipped ones.
    pub async fn start_with(folder: TempDir, rulesets: Vec<PathBuf>) -> Served {
        Served::start_set(folder, |settings| settings.rulesets = rulesets).await
    }

    /// Starts one on the journal of a folder, set otherwise than usual.
    pub async fn start_set(folder: TempDir, set: impl FnOnce(&mut Settings)) -> Served {
        let mut settings = Settings {
            listen: SocketAddr::from(([127, 0, 0, 1], 0)),
            journal: folder.path().join("journal.db"),
            ..Settings::default()
        };
        set(&mut settings);
        let service = within("the start", Service::start(settings)).await.unwrap();
        Served {
            address: service.address(),
            service,
            folder,
        }
    }

    /// A client of it.
    pub async fn client(&self) -> Client {
        client(self.address).await
    }

    /// Stops it gracefully; the folder for another one to start on.
    pub async fn stop(self) -> TempDir {
        within("the stop", self.service.stop()).await;
        self.folder
    }
}

/// A client of the service at an address.
pub async fn client(address: SocketAddr) -> Client {
    let url = format!("ws://{address}/rpc");
    within("a connection", Client::connect(&url)).await.unwrap()
}

/// Opens a job in the bay, on the shipped rule set or another one.
pub async fn open_job(client: &Client, ruleset: Option<&str>) -> Job {
    let params = JobOpenParams {
        bay: BAY.to_owned(),
        machine: "Unit 14".to_owned(),
        complaint: None,
        ruleset: ruleset.map(str::to_owned),
        by: Some("a test".to_owned()),
    };
    within("job.open", client.call::<JobOpen>(&params))
        .await
        .unwrap()
}

/// Says the engine's phase.
pub async fn say(client: &Client, phase: Phase) {
    let params = PhaseSayParams {
        bay: BAY.to_owned(),
        phase: Some(phase),
        drive: None,
    };
    within("phase.say", client.call::<PhaseSay>(&params))
        .await
        .unwrap();
}

/// Readings of one point, as a program submits them.
pub fn readings(point: &str, unit: &str, values: &[f64]) -> Vec<SubmittedReading> {
    let reading = |value: &f64| SubmittedReading {
        point: point.to_owned(),
        value: *value,
        unit: unit.to_owned(),
        uncertainty: Some(0.01),
        beyond: None,
        time: None,
    };
    values.iter().map(reading).collect()
}

/// Submits readings; how many were accepted.
pub async fn submit(client: &Client, readings: Vec<SubmittedReading>) -> u64 {
    let params = ReadingSubmitParams {
        bay: BAY.to_owned(),
        readings: Some(readings),
        senml: None,
        key: None,
    };
    within("reading.submit", client.call::<ReadingSubmit>(&params))
        .await
        .unwrap()
        .accepted
}
