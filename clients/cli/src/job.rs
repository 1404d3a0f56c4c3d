//! `trisect job …`.

use crate::args::{Job, JobAnswer, JobClose, JobList, JobOpen};
use crate::ended::{Ended, Fault};
use crate::io::Io;
use crate::server::call;
use crate::show;
use trisect_api::{table, wire};

/// Carries out one of the job commands.
///
/// # Errors
/// That the service refused or could not be reached, or the answer could not be written.
pub fn job(server: &str, json: bool, what: Job, io: &mut Io<'_>) -> Result<Ended, Fault> {
    match what {
        Job::Open(open) => {
            let job = call::<table::JobOpen>(server, &open.into())?;
            tell(json, &job, || show::opened(&job), io)
        }
        Job::List(list) => {
            let jobs = call::<table::JobList>(server, &list.into())?;
            tell(json, &jobs, || show::jobs(&jobs.jobs), io)
        }
        Job::Show { job } => {
            let detail = call::<table::JobShow>(server, &wire::JobName { job })?;
            tell(json, &detail, || show::job_detail(&detail), io)
        }
        Job::Answer(answer) => {
            let verdict = call::<table::JobAnswer>(server, &answer.into())?;
            tell(json, &verdict, || show::verdict(&verdict.verdict), io)
        }
        Job::Close(close) => {
            let job = call::<table::JobClose>(server, &close.into())?;
            tell(json, &job, || show::job(&job), io)
        }
    }
}

/// Writes an answer for programs or for people.
pub fn tell(
    json: bool,
    answer: &impl serde::Serialize,
    text: impl FnOnce() -> String,
    io: &mut Io<'_>,
) -> Result<Ended, Fault> {
    if json {
        io.json(answer)?;
    } else {
        io.say(&text())?;
    }
    Ok(Ended::AsWished)
}

impl From<JobOpen> for wire::JobOpenParams {
    fn from(open: JobOpen) -> Self {
        let JobOpen {
            bay,
            machine,
            complaint,
            ruleset,
            by,
        } = open;
        Self {
            bay,
            machine,
            complaint,
            ruleset,
            by,
        }
    }
}

impl From<JobList> for wire::JobListParams {
    fn from(list: JobList) -> Self {
        let JobList { bay, state, limit } = list;
        Self { bay, state, limit }
    }
}

impl From<JobAnswer> for wire::JobAnswerParams {
    fn from(answer: JobAnswer) -> Self {
        let JobAnswer {
            job,
            check,
            answer,
            by,
        } = answer;
        Self {
            job,
            check,
            answer,
            by,
        }
    }
}

impl From<JobClose> for wire::JobCloseParams {
    fn from(close: JobClose) -> Self {
        let JobClose {
            job,
            confirmed,
            note,
        } = close;
        // Nothing confirmed means that it is not known what it was, not that it was nothing.
        Self {
            job,
            confirmed: (!confirmed.is_empty()).then_some(confirmed),
            note,
        }
    }
}
