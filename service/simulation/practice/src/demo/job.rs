//! One job, from the complaint to the verdict.

use std::collections::HashSet;
use std::net::SocketAddr;

use trisect_machine::Fault;
use trisect_wire::RPC_PATH;
use trisect_wire::table::{JobClose, JobOpen, JobReplay, RulesetShow};
use trisect_wire::types::{
    Job, JobCloseParams, JobOpenParams, JobReplayParams, NextTest, Ruleset, RulesetName, Standing,
    Verdict,
};

use super::technician::Technician;
use super::{RULESET, output};
use crate::PracticeError;
use crate::operator::Operator;

/// The invented technician.
const BY: &str = "M. Aldous";
/// Steps after which a technician would go home.
const STEPS: usize = 30;
/// Information below which a test is not worth walking to the machine, bits.
const WORTH: f64 = 0.01;
/// The same once a side is isolated, and what is asked is which of its suspects it is.
const WORTH_THEN: f64 = 0.1;
/// The probability at which a suspect is sure enough to order its part.
const SURE: f64 = 0.9;

/// Works the job and returns the last line to print.
pub(super) async fn work(
    operator: Operator<'_>,
    faults: &[Fault],
    address: SocketAddr,
) -> Result<String, PracticeError> {
    let rules = RulesetName {
        ruleset: RULESET.to_owned(),
    };
    let service = operator.service;
    let doing = "cannot read the rule set";
    let rules = service.call::<RulesetShow>(doing, &rules).await?;
    let job = open(operator, &rules, faults, address).await?;
    let mut technician = Technician::arrive(operator, &rules, job.job.clone(), BY).await?;
    let mut cannot = HashSet::new();
    for step in 1..=STEPS {
        let verdict = technician.verdict().await?.verdict;
        let Some(test) = choose(&verdict, &cannot) else {
            break;
        };
        let Some(check) = rules.checks.iter().find(|c| c.id == test.check) else {
            break;
        };
        output::head(step, check, test);
        if !technician.test(check).await? {
            cannot.insert(test.check.clone());
            output::line("found", "cannot be carried out on this machine as it is");
            continue;
        }
        let after = technician.verdict().await?.verdict;
        output::outcome(&test.check, &after);
        let settled = after.next.iter().all(|next| next.check != test.check);
        if !settled {
            // Measured as well as this bay can.
            cannot.insert(test.check.clone());
        }
    }
    let told = technician.verdict().await?;
    output::verdict(&told);
    close(operator, &job, faults).await?;
    Ok(output::last(&told.verdict))
}

async fn open(
    operator: Operator<'_>,
    rules: &Ruleset,
    faults: &[Fault],
    address: SocketAddr,
) -> Result<Job, PracticeError> {
    let complaint = operator.simulated.complaint().await.map(str::to_owned);
    let params = JobOpenParams {
        bay: operator.bay.to_owned(),
        machine: "plough truck Unit 14".to_owned(),
        complaint: complaint.clone(),
        ruleset: None,
        by: Some(BY.to_owned()),
    };
    let service = operator.service;
    let job = service
        .call::<JobOpen>("cannot open a job", &params)
        .await?;
    let said = complaint.as_deref().map_or("nothing in particular", |id| {
        rules
            .complaints
            .iter()
            .find(|c| c.id == id)
            .map_or(id, |c| c.title.as_str())
    });
    println!("Northmoor Roads Depot (invented), bay 2: plough truck Unit 14");
    output::line("complaint", said);
    output::line(
        "fault",
        &format!(
            "{} (put into the simulated machine; the service is not told)",
            Fault::words(faults)
        ),
    );
    output::line("service", &format!("http://{address}{RPC_PATH}"));
    output::line("job", &job.job);
    Ok(job)
}

/// The best test that is worth it, or `None` when the job has come to its end.
fn choose<'a>(verdict: &'a Verdict, cannot: &HashSet<String>) -> Option<&'a NextTest> {
    let top = verdict
        .suspects
        .first()
        .map_or(0.0, |suspect| suspect.probability);
    let unproven = verdict.missing.iter().any(|m| Some(m.side) == verdict.side);
    let isolated = verdict.standing == Standing::Isolated;
    if isolated && top >= SURE && !unproven {
        return None;
    }
    let worth = if isolated { WORTH_THEN } else { WORTH };
    let mut doable = verdict
        .next
        .iter()
        .filter(|test| !cannot.contains(&test.check));
    doable.find(|test| test.bits >= worth || test.advances_proof)
}

/// Closes the job with what it really was, and replays it.
async fn close(operator: Operator<'_>, job: &Job, faults: &[Fault]) -> Result<(), PracticeError> {
    let confirmed = faults.iter().map(|fault| fault.kind.word().to_owned());
    let params = JobCloseParams {
        job: job.job.clone(),
        confirmed: Some(confirmed.collect()),
        note: Some("demo".to_owned()),
    };
    let service = operator.service;
    let doing = "cannot close the job";
    service.call::<JobClose>(doing, &params).await?;
    let name = JobReplayParams {
        job: job.job.clone(),
        ruleset: None,
    };
    let doing = "cannot replay the job";
    let replay = service.call::<JobReplay>(doing, &name).await?;
    let same = if replay.same {
        "the same verdict, byte for byte"
    } else {
        "ANOTHER VERDICT"
    };
    output::line(
        "kept",
        &format!("job {}, replayed from the journal: {same}", job.job),
    );
    println!();
    Ok(())
}
