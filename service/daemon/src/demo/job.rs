//! One job, from the complaint to the verdict.

use std::collections::HashSet;

use trisect_wire::table::{JobAnswer, JobClose, JobOpen, JobReplay, ReadingEnter, RulesetShow};
use trisect_wire::types::{
    CheckShown, HowShown, Job, JobAnswerParams, JobCloseParams, JobOpenParams, JobReplayParams,
    NextTest, ReadingEnterParams, Ruleset, RulesetName, Standing, Verdict,
};
use trisect_machine::Fault;
use trisect_measure::Unit;

use super::DemoError;
use super::hands::{Task, Technician};
use super::say;
use super::stage::{BAY, Stage};

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
pub(super) async fn work(stage: &Stage, faults: &[Fault]) -> Result<String, DemoError> {
    let rules = RulesetName {
        ruleset: "distributor-pump-12v".to_owned(),
    };
    let rules = stage
        .call::<RulesetShow>("cannot read the rule set", &rules)
        .await?;
    let job = open(stage, &rules, faults).await?;
    let mut technician = Technician::new(stage, &rules, job.job.clone());
    technician.watch_speed().await?;
    ambient(stage).await?;
    let mut cannot = HashSet::new();
    for step in 1..=STEPS {
        let verdict = technician.verdict().await?.verdict;
        let Some(test) = choose(&verdict, &cannot) else {
            break;
        };
        let Some(check) = rules.checks.iter().find(|c| c.id == test.check) else {
            break;
        };
        say::head(step, check, test);
        if !carry_out(&mut technician, check).await? {
            cannot.insert(test.check.clone());
            say::line("found", "cannot be carried out on this machine as it is");
            continue;
        }
        let after = technician.verdict().await?.verdict;
        say::outcome(&test.check, &after);
        let settled = after.next.iter().all(|next| next.check != test.check);
        if !settled {
            // Measured as well as this bay can.
            cannot.insert(test.check.clone());
        }
    }
    let told = technician.verdict().await?;
    say::verdict(&told);
    close(stage, &job, faults).await?;
    Ok(say::last(&told.verdict))
}

async fn open(stage: &Stage, rules: &Ruleset, faults: &[Fault]) -> Result<Job, DemoError> {
    let complaint = stage.bay.complaint().await.map(str::to_owned);
    let params = JobOpenParams {
        bay: BAY.to_owned(),
        machine: "plough truck Unit 14".to_owned(),
        complaint: complaint.clone(),
        ruleset: None,
        by: Some(BY.to_owned()),
    };
    let job = stage.call::<JobOpen>("cannot open a job", &params).await?;
    let said = complaint.as_deref().map_or("nothing in particular", |id| {
        rules
            .complaints
            .iter()
            .find(|c| c.id == id)
            .map_or(id, |c| c.title.as_str())
    });
    println!("Northmoor Roads Depot (invented), bay 2: plough truck Unit 14");
    say::line("complaint", said);
    say::line(
        "fault",
        &format!(
            "{} (put into the simulated machine; the service is not told)",
            Fault::words(faults)
        ),
    );
    say::line(
        "service",
        &format!("http://{}{}", stage.address, trisect_wire::RPC_PATH),
    );
    say::line("job", &job.job);
    Ok(job)
}

/// A person reads the yard's thermometer and enters it.
async fn ambient(stage: &Stage) -> Result<(), DemoError> {
    let kelvin = stage
        .bay
        .true_value("ambient-temperature")
        .unwrap_or(277.15);
    let params = ReadingEnterParams {
        bay: BAY.to_owned(),
        point: "ambient-temperature".to_owned(),
        value: format!("{:.0} degC", Unit::CELSIUS.from_si(kelvin)),
        uncertainty: Some("1 degC".to_owned()),
        phase: None,
        by: BY.to_owned(),
        instrument: Some("yard thermometer".to_owned()),
        key: None,
    };
    let entered = stage
        .call::<ReadingEnter>("cannot enter the temperature", &params)
        .await?;
    say::line(
        "entered",
        &format!("ambient temperature {} {}", entered.value, entered.unit),
    );
    Ok(())
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

async fn carry_out(technician: &mut Technician<'_>, check: &CheckShown) -> Result<bool, DemoError> {
    if let Some(task) = Task::of(check) {
        return technician.measure(&task).await;
    }
    let Ok(answer) = technician.stage.bay.observe(&check.id).await else {
        return Ok(false);
    };
    if let HowShown::Asked { ask, .. } = &check.how {
        say::line("asked", ask);
    }
    let params = JobAnswerParams {
        job: technician.job.clone(),
        check: check.id.clone(),
        answer: answer.to_owned(),
        by: Some(BY.to_owned()),
    };
    technician
        .stage
        .call::<JobAnswer>("cannot answer", &params)
        .await?;
    Ok(true)
}

/// Closes the job with what it really was, and replays it.
async fn close(stage: &Stage, job: &Job, faults: &[Fault]) -> Result<(), DemoError> {
    let confirmed = faults.iter().map(|fault| fault.kind.word().to_owned());
    let params = JobCloseParams {
        job: job.job.clone(),
        confirmed: Some(confirmed.collect()),
        note: Some("demo".to_owned()),
    };
    stage
        .call::<JobClose>("cannot close the job", &params)
        .await?;
    let name = JobReplayParams {
        job: job.job.clone(),
        ruleset: None,
    };
    let replay = stage
        .call::<JobReplay>("cannot replay the job", &name)
        .await?;
    let same = if replay.same {
        "the same verdict, byte for byte"
    } else {
        "ANOTHER VERDICT"
    };
    say::line(
        "kept",
        &format!("job {}, replayed from the journal: {same}", job.job),
    );
    println!();
    Ok(())
}
