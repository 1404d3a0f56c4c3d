//! The job of the practice bay: opened with its probes placed, or gone on with.

use trisect_wire::table::{BayList, JobOpen, JobShow, ProbeList, ProbePlace};
use trisect_wire::types::{
    Job, JobOpenParams, JobShowParams, NoParams, ProbeListParams, ProbePlaceParams,
};

use super::LEADS;
use crate::PracticeError;
use crate::connection::{CallError, Service};
use crate::instruments::CHANNEL;
use crate::operator::Operator;

/// The first bay's name, and the job that is open there.
pub(super) async fn first_bay(
    service: &Service,
) -> Result<(String, Option<String>), PracticeError> {
    let bays = service
        .call::<BayList>("cannot find a bay", &NoParams {})
        .await?
        .bays;
    let first = bays.into_iter().next().ok_or(PracticeError::NoBay)?;
    Ok((first.bay, first.job))
}

/// A job that is open already goes on as it is, with the probes where they were.
pub(super) async fn go_on(operator: Operator<'_>, job: String) -> Result<Job, CallError> {
    let of_job = ProbeListParams {
        job: Some(job.clone()),
        limit: Some(10_000),
        ..ProbeListParams::default()
    };
    let service = operator.service;
    let doing = "cannot find where the probes were";
    let placed = service.call::<ProbeList>(doing, &of_job).await?.placements;
    for probe in placed.into_iter().filter(|probe| probe.until.is_none()) {
        // Those of the bay's own instruments the service has put back itself.
        if operator
            .simulated
            .instruments()
            .iter()
            .any(|one| one.id == probe.instrument)
        {
            place(operator, &probe.instrument, &probe.channel, &probe.point).await?;
        }
    }
    let shown = JobShowParams::of(job);
    Ok(service
        .call::<JobShow>("cannot show the job", &shown)
        .await?
        .job)
}

/// Opens a job of what an operator would complain of, with the probes where the leads are.
pub(super) async fn open(operator: Operator<'_>) -> Result<Job, CallError> {
    let params = JobOpenParams {
        bay: operator.bay.to_owned(),
        machine: "practice machine".to_owned(),
        complaint: operator.simulated.complaint().await.map(str::to_owned),
        ruleset: None,
        by: Some("trisectd practice".to_owned()),
    };
    let service = operator.service;
    let job = service
        .call::<JobOpen>("cannot open a job", &params)
        .await?;
    for (instrument, point) in LEADS {
        place(operator, instrument, CHANNEL, point).await?;
    }
    Ok(job)
}

async fn place(
    operator: Operator<'_>,
    instrument: &str,
    channel: &str,
    point: &str,
) -> Result<(), CallError> {
    let probe = ProbePlaceParams {
        bay: operator.bay.to_owned(),
        instrument: instrument.to_owned(),
        channel: channel.to_owned(),
        point: point.to_owned(),
    };
    let service = operator.service;
    let placed = service
        .call::<ProbePlace>("cannot place a probe", &probe)
        .await;
    placed.map(drop)
}
