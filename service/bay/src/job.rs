//! Jobs: opened, taken up again after a restart, answered, closed.

use std::sync::Arc;
use std::time::Duration;

use crate::error::{BayError, ErrorKind};
use jiff::Timestamp;
use trisect_diagnosis::Diagnosis;
use trisect_journal::{
    self as journal, Closing, EventRow, Happened, Ids, NewJob, RuleSetText, StoredVerdict,
};
use trisect_rules::RuleSet;

use super::record::{internal, refusal};
use super::state::{Bay, OpenJob};
use crate::catalog::Entry;
use crate::observer::JobVerdict;
use crate::replay::replay;
use crate::request::{AnswerRequest, CloseJobRequest, OpenJobRequest};

/// A job, and the rule set it was opened with.
#[derive(Clone, Debug)]
pub struct BayJob {
    /// As the journal has it.
    pub record: journal::Job,
    /// Its rule set.
    pub rules: Arc<RuleSet>,
}

impl Bay {
    /// Opens a job.
    ///
    /// # Errors
    /// A bay that has an open job, a machine without a name, a rule set or complaint that is not there, or a
    /// journal that does not store it.
    pub async fn open(&mut self, params: OpenJobRequest) -> Result<BayJob, BayError> {
        if let Some(open) = &self.job {
            return Err(ErrorKind::Busy
                .because(format!("{} has the open job {}", self.name, open.id))
                .at("bay")
                .hint("close it first with job.close"));
        }
        if params.machine.trim().is_empty() || params.machine.len() > 200 {
            return Err(ErrorKind::InvalidRequest
                .because("a machine is named by 1 to 200 characters")
                .at("machine")
                .hint("write what the shop calls it"));
        }
        let rules = self.rules_for(params.ruleset.as_deref())?;
        let complaint = complaint(rules.model.rules(), params.complaint.as_deref())?;
        let opened = self.clock.now();
        let new = NewJob {
            id: uuid::Uuid::now_v7().to_string(),
            bay: self.name.clone(),
            machine: params.machine,
            complaint: params.complaint,
            rule_set: rules.model.rules().digest.clone(),
            opened_at: self.clock.wall(opened).to_string(),
            opened_by: params.by,
        };
        // The text first: a job whose rule set the journal does not have could never be folded again.
        let text = kept_text(&rules);
        self.journal
            .put_rule_set(text)
            .await
            .map_err(|error| refusal(&error))?;
        self.journal
            .open_job(new.clone())
            .await
            .map_err(|error| refusal(&error))?;
        let kept = journal::Job {
            opened: new,
            closed_at: None,
            confirmed: vec![],
            note: None,
        };
        let job = BayJob {
            record: kept,
            rules: Arc::clone(rules.model.rules()),
        };
        let diagnosis = Diagnosis::new(Arc::clone(&rules.model), complaint);
        self.job = Some(open_job(job.clone(), rules, diagnosis, opened));
        self.judge().await?;
        Ok(job)
    }

    /// Takes up the job that was open when the service last ended.
    pub(crate) async fn resume(&mut self, kept: journal::Job) -> Result<(), BayError> {
        let journal = Arc::clone(&self.journal);
        let replayed = replay(&*journal, &self.catalog, &kept).await?;
        let opened_at = time_of(&kept.opened.opened_at)?;
        let job = BayJob {
            record: kept,
            rules: Arc::clone(replayed.rules.model.rules()),
        };
        let mut open = open_job(
            job,
            replayed.rules,
            replayed.diagnosis,
            self.clock.at(opened_at),
        );
        open.seq = replayed.seq;
        open.newest = replayed.newest;
        // If the wall clock went back since, the job's time still goes on.
        let behind = (open.newest - (self.clock.now() - open.opened)).max(0);
        open.opened -= behind;
        tracing::info!(
            bay = self.name,
            job = &*open.id,
            "took up the open job again"
        );
        self.job = Some(open);
        self.replace(&replayed.placed);
        self.judge().await
    }

    /// Stores the answer to an asked check; the verdict that includes it.
    ///
    /// # Errors
    /// Another job than the open one, a check or answer that is not there, or a journal that does not store it.
    pub async fn answer(&mut self, params: AnswerRequest) -> Result<JobVerdict, BayError> {
        self.this_job(&params.job)?;
        let (rules, at) = self.moment()?;
        check_answer(&rules, &params)?;
        let row = EventRow {
            at,
            wall: self.wall_of(at),
            by: params.by.as_deref().map(Arc::from),
            what: Happened::Answer {
                check: Arc::from(params.check.as_str()),
                answer: Arc::from(params.answer.as_str()),
            },
        };
        self.record(vec![row], None).await?;
        self.verdict_now()
    }

    /// Closes the job, and keeps what the machine really had.
    ///
    /// # Errors
    /// Another job than the open one, a suspect that is not there, or a journal that does not store it.
    pub async fn close(&mut self, params: CloseJobRequest) -> Result<BayJob, BayError> {
        self.this_job(&params.job)?;
        let (rules, _) = self.moment()?;
        for (index, suspect) in params.confirmed.iter().flatten().enumerate() {
            if rules.suspect_index(suspect).is_none() {
                return Err(ErrorKind::UnknownSuspect
                    .because(format!("there is no suspect `{suspect}`"))
                    .at(format!("confirmed[{index}]"))
                    .hint_nearest(suspect, rules.suspects.iter().map(|s| s.id.as_str())));
            }
        }
        // Whoever watches is told what the last readings came to before the end.
        self.judge().await?;
        let closed_at = self.clock.wall(self.clock.now()).to_string();
        let open = self.open_job()?;
        let id = Arc::clone(&open.id);
        let closing = Closing {
            closed_at: closed_at.clone(),
            confirmed: params.confirmed.clone().unwrap_or_default(),
            note: params.note.clone(),
            verdict: StoredVerdict::from((*open.diagnosis.verdict()).clone()).to_bytes(),
        };
        let mut job = open.job.clone();
        self.journal
            .close_job(id, closing)
            .await
            .map_err(|error| refusal(&error))?;
        // Only now that the closing is on disk: had it been refused, the job would still be open.
        self.job = None;
        for instrument in self.instruments.values_mut() {
            instrument.probes.clear();
        }
        job.record.closed_at = Some(closed_at.clone());
        job.record.confirmed = params.confirmed.unwrap_or_default();
        job.record.note = params.note;
        self.observer.job_closed(&job.record.opened.id, &closed_at);
        Ok(job)
    }

    /// Refuses another job than the open one: it was closed in the meantime.
    ///
    /// # Errors
    /// That it is another one.
    pub fn this_job(&mut self, job: &str) -> Result<(), BayError> {
        match &self.job {
            Some(open) if open.is(job) => Ok(()),
            _ => Err(ErrorKind::JobClosed
                .because(format!("job {job} is closed"))
                .at("job")
                .hint("open another one for the bay")),
        }
    }

    fn rules_for(&self, id: Option<&str>) -> Result<Entry, BayError> {
        let id = id.unwrap_or(&self.ruleset);
        self.catalog.get(id).ok_or_else(|| {
            ErrorKind::UnknownRuleSet
                .because(format!("there is no rule set `{id}`"))
                .at("ruleset")
                .hint_nearest(id, self.catalog.ids().iter().map(String::as_str))
        })
    }
}

fn open_job(job: BayJob, rules: Entry, diagnosis: Diagnosis, opened: i64) -> OpenJob {
    OpenJob {
        id: Arc::from(job.record.opened.id.as_str()),
        ids: Ids::new(rules.model.rules()),
        job,
        rules,
        diagnosis,
        opened,
        seq: 0,
        newest: 0,
        told: Vec::new(),
        due: None,
        cost: Duration::ZERO,
        kept: None,
    }
}

fn kept_text(rules: &Entry) -> RuleSetText {
    let set = rules.model.rules();
    RuleSetText {
        digest: set.digest.clone(),
        id: set.id.clone(),
        version: set.version.clone(),
        text: rules.text.to_string(),
    }
}

fn complaint(rules: &RuleSet, id: Option<&str>) -> Result<Option<usize>, BayError> {
    let Some(id) = id else { return Ok(None) };
    let known = rules.complaint_index(id).ok_or_else(|| {
        ErrorKind::UnknownComplaint
            .because(format!("there is no complaint `{id}`"))
            .at("complaint")
            .hint_nearest(id, rules.complaints.iter().map(|c| c.id.as_str()))
    })?;
    Ok(Some(known))
}

fn check_answer(rules: &RuleSet, params: &AnswerRequest) -> Result<(), BayError> {
    let asked_checks = || rules.checks.iter().filter(|c| c.asked().is_some());
    let check = rules
        .checks
        .iter()
        .find(|c| c.id == params.check)
        .ok_or_else(|| {
            ErrorKind::UnknownCheck
                .because(format!("there is no check `{}`", params.check))
                .at("check")
                .hint_nearest(&params.check, asked_checks().map(|c| c.id.as_str()))
        })?;
    let asked = check.asked().ok_or_else(|| {
        ErrorKind::UnknownCheck
            .because(format!("`{}` is measured, not asked", params.check))
            .at("check")
            .hint("measure it, or enter a reading with reading.enter")
    })?;
    if asked.answers.contains(&params.answer) {
        return Ok(());
    }
    Err(ErrorKind::UnknownAnswer
        .because(format!(
            "`{}` is no answer to `{}`",
            params.answer, params.check
        ))
        .at("answer")
        .hint(format!("answer one of {}", asked.answers.join(", "))))
}

/// A time that the journal keeps.
///
/// # Errors
/// A text that is none, which means that the journal is damaged.
pub fn time_of(text: &str) -> Result<Timestamp, BayError> {
    text.parse().map_err(|error: jiff::Error| internal(&error))
}
