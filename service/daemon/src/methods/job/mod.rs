//! `job.open`, `job.list`, `job.show` and the other methods of jobs.

mod replay;
mod report;

use jsonrpsee::RpcModule;
use trisect_bay::instruments::is_calibration_of;
use trisect_bay::replay::{replay, rule_set};
use trisect_bay::{AnswerRequest, CloseJobRequest, OpenJobRequest};
use trisect_journal::{self as journal, Happened, JobFilter};
use trisect_wire::serve::register;
use trisect_wire::table::{
    JobAnswer, JobClose, JobExport, JobList, JobOpen, JobReplay, JobReport, JobShow, JobVerdictNow,
    JobVerify,
};
use trisect_wire::types::{
    AnswerGiven, JobDetail, JobListParams, JobShowParams, JobState, JobVerdict, JobVerified, Jobs,
    Report, Time,
};
use trisect_wire::{ErrorKind, WireError};

use super::page::Paging;
use super::{PAGE, time_of};
use crate::computations::Computation;
use crate::context::Context;
use crate::convert::{self, internal, refusal, refused};
use report::report;

const LISTED: Paging = Paging {
    usual: 100,
    most: 1000,
    items: "jobs",
    hint: "narrow it by bay or state, or ask for the next page with `before`",
};
const ANSWERS: Paging = Paging {
    usual: 1000,
    most: 1000,
    items: "answers",
    hint: "ask for the next page with `after_seq`",
};

pub(super) fn register_all(module: &mut RpcModule<Context>) {
    register::<JobOpen, _, _, _>(module, |context, params| async move {
        let bay = context.bay(&params.bay)?;
        let request = OpenJobRequest {
            machine: params.machine,
            complaint: params.complaint,
            ruleset: params.ruleset,
            by: params.by,
        };
        let opened = bay.ask(move |bay| Box::pin(bay.open(request)));
        let opened = opened.await.map_err(refused)?;
        Ok(convert::job(&opened.record, &opened.rules))
    });
    register::<JobList, _, _, _>(module, |context, params| async move {
        context.list(params).await
    });
    register::<JobShow, _, _, _>(module, |context, params| async move {
        context.show(params).await
    });
    register::<JobAnswer, _, _, _>(module, |context, params| async move {
        let kept = context.kept_job(&params.job).await?;
        let bay = context.bay(&kept.opened.bay)?;
        let request = AnswerRequest {
            job: params.job,
            check: params.check,
            answer: params.answer,
            by: params.by,
        };
        let answered = bay.ask(move |bay| Box::pin(bay.answer(request)));
        Ok(convert::job_verdict(&answered.await.map_err(refused)?))
    });
    register::<JobClose, _, _, _>(module, |context, params| async move {
        let kept = context.kept_job(&params.job).await?;
        let bay = context.bay(&kept.opened.bay)?;
        let request = CloseJobRequest {
            job: params.job,
            confirmed: params.confirmed,
            note: params.note,
        };
        let closed = bay.ask(move |bay| Box::pin(bay.close(request)));
        let closed = closed.await.map_err(refused)?;
        Ok(convert::job(&closed.record, &closed.rules))
    });
    register::<JobVerdictNow, _, _, _>(module, |context, params| async move {
        context.verdict(&context.kept_job(&params.job).await?).await
    });
    register::<JobReport, _, _, _>(module, |context, params| async move {
        let kept = context.kept_job(&params.job).await?;
        let rules = rule_set(&*context.journal, &context.catalog, &kept.opened.rule_set)
            .await
            .map_err(refused)?;
        let verdict = context.verdict(&kept).await?;
        let job = convert::job(&kept, rules.model.rules());
        let text = report(rules.model.rules(), &job, &verdict);
        Ok(Report {
            job: params.job,
            text,
            verdict,
        })
    });
    register::<JobReplay, _, _, _>(module, |context, params| async move {
        context.replay(params).await
    });
    register::<JobExport, _, _, _>(module, |context, params| async move {
        context.export(&params.job).await
    });
    register::<JobVerify, _, _, _>(module, |context, params| async move {
        context.kept_job(&params.job).await?;
        let _place = context.computations.place(Computation::Verify)?;
        let verified = context.journal.verify(&params.job).await;
        let mut verified = verified.map_err(|error| refusal(&error))?;
        for id in &verified.calibrations {
            let kept = context.journal.calibration(id).await;
            match kept.map_err(|error| refusal(&error))? {
                Some(kept) if is_calibration_of(id, &kept.record) => {}
                Some(_) => verified.findings.push(format!(
                    "the calibration {id} is not the one that was stored"
                )),
                None => verified
                    .findings
                    .push(format!("the calibration {id} is missing")),
            }
        }
        Ok(JobVerified {
            job: params.job,
            sound: verified.findings.is_empty(),
            events: verified.events,
            digest: verified.digest,
            chained_after: verified.adopted.map(i64::unsigned_abs),
            findings: verified.findings,
        })
    });
}

impl Context {
    /// A job of the journal.
    pub(in crate::methods) async fn kept_job(&self, id: &str) -> Result<journal::Job, WireError> {
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
        let limit = LISTED.limit(params.limit)?;
        let filter = JobFilter {
            bay: params.bay,
            state: params.state.map(|state| match state {
                JobState::Open => journal::JobState::Open,
                JobState::Closed => journal::JobState::Closed,
            }),
            before: params.before,
            ..JobFilter::default()
        };
        // One more than asked for tells whether there are more.
        let kept = self.journal.jobs(filter, limit + 1).await;
        let mut kept = kept.map_err(|error| refusal(&error))?;
        let mut more = kept.len() > limit;
        kept.truncate(limit);
        let (mut jobs, mut unreadable) = (Vec::new(), Vec::new());
        for job in &kept {
            match rule_set(&*self.journal, &self.catalog, &job.opened.rule_set).await {
                Ok(rules) => jobs.push(convert::job(job, rules.model.rules())),
                // One job whose rule set was spoilt does not take the others with it.
                Err(error) => {
                    tracing::error!(job = job.opened.id, %error, "left a job out of a list");
                    unreadable.push(job.opened.id.clone());
                }
            }
        }
        let cut = self.fit(&mut jobs, Clone::clone)?;
        more |= cut;
        let last = match cut {
            true => jobs.last().map(|job| job.job.clone()),
            false => kept.last().map(|job| job.opened.id.clone()),
        };
        Ok(Jobs {
            jobs,
            more,
            next: last.filter(|_| more),
            unreadable,
        })
    }

    async fn show(&self, params: JobShowParams) -> Result<JobDetail, WireError> {
        let limit = ANSWERS.limit(params.limit)?;
        let (id, asked) = (&params.job, params.after_seq.unwrap_or(0));
        let kept = self.kept_job(id).await?;
        let rules = rule_set(&*self.journal, &self.catalog, &kept.opened.rule_set)
            .await
            .map_err(refused)?;
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
                    Happened::Answer { .. } if event.seq.unsigned_abs() <= asked => {}
                    // One more than asked for tells whether there are more.
                    Happened::Answer { .. } if answers.len() > limit => {}
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
        let mut more = answers.len() > limit;
        answers.truncate(limit);
        more |= self.fit(&mut answers, Clone::clone)?;
        let verdict = self.verdict(&kept).await?.verdict;
        Ok(JobDetail {
            job: convert::job(&kept, rules.model.rules()),
            answers,
            more,
            readings,
            verdict,
        })
    }

    /// The verdict as it stands: the bay's own of an open job, else the fold of
    /// what was kept.
    pub(super) async fn verdict(&self, kept: &journal::Job) -> Result<JobVerdict, WireError> {
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
                Err(error) if error.kind == trisect_bay::ErrorKind::JobClosed => {}
                other => {
                    return other
                        .map(|said| convert::job_verdict(&said))
                        .map_err(refused);
                }
            }
        }
        let _place = self.computations.wait(Computation::Show).await?;
        let mut replayed = replay(&*self.journal, &self.catalog, kept)
            .await
            .map_err(refused)?;
        let verdict = convert::verdict(&replayed.diagnosis.verdict());
        let opened = trisect_bay::time_of(&kept.opened.opened_at).map_err(refused)?;
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
