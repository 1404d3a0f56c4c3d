//! `job.*`.

use jsonrpsee::RpcModule;
use trisect_wire::serve::{register, register_watch};
use trisect_wire::table::{
    JobAnswer, JobClose, JobExport, JobList, JobOpen, JobReplay, JobReport, JobShow, JobVerdictNow,
    VerdictWatch,
};
use trisect_wire::types::{
    AnswerGiven, JobDetail, JobListParams, JobState, JobVerdict, Jobs, Report, Time,
};
use trisect_wire::{ErrorKind, WireError};
use trisect_journal::{self as journal, Happened, JobFilter};

use super::Hall;
use crate::bay::{internal, job_shown, refusal};
use crate::convert;
use crate::replay::{replay, rule_set};
use crate::report::report;

/// Jobs in a list, unless the caller wants fewer; and at the most.
const LISTED: u32 = 100;
const MOST: u32 = 1000;
/// Events read in one go.
pub(super) const PAGE: usize = 10_000;

pub(super) fn register_all(module: &mut RpcModule<Hall>) {
    register::<JobOpen, _, _, _>(module, |hall, params| async move {
        let bay = hall.bay(&params.bay)?;
        bay.ask(move |bay| Box::pin(bay.open(params))).await
    });
    register::<JobList, _, _, _>(
        module,
        |hall, params| async move { hall.list(params).await },
    );
    register::<JobShow, _, _, _>(module, |hall, params| async move {
        hall.show(&params.job).await
    });
    register::<JobAnswer, _, _, _>(module, |hall, params| async move {
        let kept = hall.kept_job(&params.job).await?;
        let bay = hall.bay(&kept.opened.bay)?;
        bay.ask(move |bay| Box::pin(bay.answer(params))).await
    });
    register::<JobClose, _, _, _>(module, |hall, params| async move {
        let kept = hall.kept_job(&params.job).await?;
        let bay = hall.bay(&kept.opened.bay)?;
        bay.ask(move |bay| Box::pin(bay.close(params))).await
    });
    register::<JobVerdictNow, _, _, _>(module, |hall, params| async move {
        hall.verdict(&hall.kept_job(&params.job).await?).await
    });
    register::<JobReport, _, _, _>(module, |hall, params| async move {
        let kept = hall.kept_job(&params.job).await?;
        let rules = rule_set(&*hall.journal, &hall.catalog, &kept.opened.rule_set).await?;
        let verdict = hall.verdict(&kept).await?;
        let job = job_shown(&kept, rules.model.rules());
        let text = report(rules.model.rules(), &job, &verdict);
        Ok(Report {
            job: params.job,
            text,
            verdict,
        })
    });
    register::<JobReplay, _, _, _>(
        module,
        |hall, params| async move { hall.replay(params).await },
    );
    register::<JobExport, _, _, _>(module, |hall, params| async move {
        hall.export(&params.job).await
    });
    register_watch::<VerdictWatch, _, _, _>(module, |hall, params| async move {
        let bay = hall.bay(&params.bay)?;
        let feed = bay.news().verdicts.feed();
        let stands = bay
            .ask(|bay| Box::pin(async move { Ok(bay.verdict_item()) }))
            .await?;
        Ok(feed.starting_with(stands.into_iter().collect()))
    });
}

impl Hall {
    /// A job of the journal.
    pub(super) async fn kept_job(&self, id: &str) -> Result<journal::Job, WireError> {
        let kept = self
            .journal
            .job(id)
            .await
            .map_err(|error| refusal(&error))?;
        kept.ok_or_else(|| {
            ErrorKind::UnknownJob
                .because(format!("there is no job {id}"))
                .at("job")
                .hint("job.list tells the ids")
        })
    }

    async fn list(&self, params: JobListParams) -> Result<Jobs, WireError> {
        if let Some(bay) = &params.bay {
            self.bay(bay)?;
        }
        let limit = params.limit.unwrap_or(LISTED);
        if limit == 0 || limit > MOST {
            return Err(ErrorKind::TooLarge
                .because(format!("a list has 1 to {MOST} jobs"))
                .at("limit")
                .hint("narrow it by bay or state"));
        }
        let filter = JobFilter {
            bay: params.bay,
            state: params.state.map(|state| match state {
                JobState::Open => journal::JobState::Open,
                JobState::Closed => journal::JobState::Closed,
            }),
            ..JobFilter::default()
        };
        let kept = self.journal.jobs(filter, limit as usize).await;
        let mut jobs = Vec::new();
        for job in kept.map_err(|error| refusal(&error))? {
            let rules = rule_set(&*self.journal, &self.catalog, &job.opened.rule_set).await?;
            jobs.push(job_shown(&job, rules.model.rules()));
        }
        Ok(Jobs { jobs })
    }

    async fn show(&self, id: &str) -> Result<JobDetail, WireError> {
        let kept = self.kept_job(id).await?;
        let rules = rule_set(&*self.journal, &self.catalog, &kept.opened.rule_set).await?;
        let (mut answers, mut readings, mut after) = (Vec::new(), 0, 0);
        loop {
            let page = self
                .journal
                .events(id, after, PAGE)
                .await
                .map_err(|e| refusal(&e))?;
            for event in &page {
                after = event.seq;
                match &event.row.what {
                    Happened::Reading(_) => readings += 1,
                    Happened::Answer { check, answer } => answers.push(AnswerGiven {
                        seq: event.seq.unsigned_abs(),
                        check: check.to_string(),
                        answer: answer.to_string(),
                        by: event.row.by.as_ref().map(ToString::to_string),
                        time: time_of(event.row.wall)?,
                    }),
                    _ => {}
                }
            }
            if page.len() < PAGE {
                break;
            }
        }
        let verdict = self.verdict(&kept).await?.verdict;
        Ok(JobDetail {
            job: job_shown(&kept, rules.model.rules()),
            answers,
            readings,
            verdict,
        })
    }

    /// The verdict as it stands: the bay's own of an open job, else the fold of
    /// what was kept.
    async fn verdict(&self, kept: &journal::Job) -> Result<JobVerdict, WireError> {
        if kept.state() == journal::JobState::Open
            && let Ok(bay) = self.bay(&kept.opened.bay)
        {
            let id = kept.opened.id.clone();
            let now = bay.ask(move |bay| {
                Box::pin(async move {
                    bay.this_job(&id)?;
                    bay.verdict_now()
                })
            });
            match now.await {
                // It was closed between the two looks.
                Err(error) if error.kind == ErrorKind::JobClosed => {}
                other => return other,
            }
        }
        let mut replayed = replay(&*self.journal, &self.catalog, kept).await?;
        let verdict = convert::verdict(&replayed.diagnosis.verdict());
        let opened: jiff::Timestamp = kept
            .opened
            .opened_at
            .parse()
            .map_err(|e: jiff::Error| internal(&e))?;
        let time = opened.checked_add(jiff::SignedDuration::from_nanos(replayed.newest));
        Ok(JobVerdict {
            job: kept.opened.id.clone(),
            bay: kept.opened.bay.clone(),
            seq: replayed.seq,
            time: Time(time.map_err(|error| internal(&error))?.to_string()),
            verdict,
        })
    }
}

pub(super) fn time_of(wall: i64) -> Result<Time, WireError> {
    let wall = jiff::Timestamp::from_microsecond(wall).map_err(|error| internal(&error))?;
    Ok(Time(wall.to_string()))
}
