//! `job.*`.

use super::text::{Name, OptionalName, OptionalNames, OptionalNote};
use super::{Difference, JobState, JobVerdict, RulesetDigest, Time, Verdict, wire};

wire! {
    /// Names a job.
    #[derive(Eq)]
    #[serde(deny_unknown_fields)]
    pub struct JobName {
        /// The job.
        #[serde(with = "Name")]
        pub job: String,
    }

    /// A job.
    pub struct Job {
        /// Its id.
        pub job: String,
        /// The bay it is done in.
        pub bay: String,
        /// The machine, as the shop calls it.
        pub machine: String,
        /// Whether it is open.
        pub state: JobState,
        /// The complaint it was opened with, or null.
        pub complaint: Option<String>,
        /// The rule set it is judged by.
        pub ruleset: RulesetDigest,
        /// Who opened it.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub by: Option<String>,
        /// When it was opened.
        pub opened: Time,
        /// When it was closed.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub closed: Option<Time>,
        /// What it really was: suspects confirmed on closing; null if nothing was said.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub confirmed: Option<Vec<String>>,
        /// What was noted on closing.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub note: Option<String>,
    }

    /// Parameters of `job.show`.
    #[derive(Eq)]
    #[serde(deny_unknown_fields)]
    pub struct JobShowParams {
        /// The job.
        #[serde(with = "Name")]
        pub job: String,
        /// Only answers after this place in the journal.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub after_seq: Option<u64>,
        /// At most so many answers; 1000 if left out, which is the most.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub limit: Option<u32>,
    }

    /// A job with its answers and verdict.
    pub struct JobDetail {
        /// The job.
        #[serde(flatten)]
        pub job: Job,
        /// Answers given, oldest first.
        pub answers: Vec<AnswerGiven>,
        /// Whether there are more: ask again with `after_seq` of the last one.
        #[serde(default, skip_serializing_if = "std::ops::Not::not")]
        pub more: bool,
        /// How many readings it has.
        pub readings: u64,
        /// The verdict as it stands.
        pub verdict: Verdict,
    }

    /// An answer to an asked check.
    pub struct AnswerGiven {
        /// Its place in the journal.
        pub seq: u64,
        /// The check.
        pub check: String,
        /// The answer.
        pub answer: String,
        /// Who gave it.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub by: Option<String>,
        /// When.
        pub time: Time,
    }

    /// Parameters of `job.open`.
    #[serde(deny_unknown_fields)]
    pub struct JobOpenParams {
        /// The bay.
        #[serde(with = "Name")]
        pub bay: String,
        /// The machine, as the shop calls it.
        #[serde(with = "Name")]
        pub machine: String,
        /// What is complained of, by the rule set's id.
        #[serde(default, skip_serializing_if = "Option::is_none", with = "OptionalName")]
        pub complaint: Option<String>,
        /// The rule set; the bay's own if left out.
        #[serde(default, skip_serializing_if = "Option::is_none", with = "OptionalName")]
        pub ruleset: Option<String>,
        /// Who opens it.
        #[serde(default, skip_serializing_if = "Option::is_none", with = "OptionalName")]
        pub by: Option<String>,
    }

    /// Parameters of `job.list`.
    #[derive(Default)]
    #[serde(deny_unknown_fields)]
    pub struct JobListParams {
        /// One bay only.
        #[serde(default, skip_serializing_if = "Option::is_none", with = "OptionalName")]
        pub bay: Option<String>,
        /// Open or closed ones only.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub state: Option<JobState>,
        /// Before this job: the last one of the page before.
        #[serde(default, skip_serializing_if = "Option::is_none", with = "OptionalName")]
        pub before: Option<String>,
        /// At most so many; 100 if left out, up to 1000.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub limit: Option<u32>,
    }

    /// A page of jobs.
    #[derive(Default)]
    pub struct Jobs {
        /// Newest first.
        pub jobs: Vec<Job>,
        /// Whether there are older ones: ask again with `before` as in `next`.
        #[serde(default)]
        pub more: bool,
        /// What `before` is for the next page, if there are more.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub next: Option<String>,
        /// Jobs of this page that are left out as they cannot be read; `job.verify` says what is wrong.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        pub unreadable: Vec<String>,
    }

    /// Parameters of `job.answer`.
    #[serde(deny_unknown_fields)]
    pub struct JobAnswerParams {
        /// The job.
        #[serde(with = "Name")]
        pub job: String,
        /// The asked check.
        #[serde(with = "Name")]
        pub check: String,
        /// One of the check's answers.
        #[serde(with = "Name")]
        pub answer: String,
        /// Who answers.
        #[serde(default, skip_serializing_if = "Option::is_none", with = "OptionalName")]
        pub by: Option<String>,
    }

    /// Parameters of `job.close`.
    #[serde(deny_unknown_fields)]
    pub struct JobCloseParams {
        /// The job.
        #[serde(with = "Name")]
        pub job: String,
        /// What it really was, by the rule set's suspects; leave out if it is not known.
        #[serde(default, skip_serializing_if = "Option::is_none", with = "OptionalNames")]
        pub confirmed: Option<Vec<String>>,
        /// Anything worth keeping.
        #[serde(default, skip_serializing_if = "Option::is_none", with = "OptionalNote")]
        pub note: Option<String>,
    }

    /// A job in plain language.
    pub struct Report {
        /// The job.
        pub job: String,
        /// The report as plain text.
        pub text: String,
        /// The verdict it speaks of.
        pub verdict: JobVerdict,
    }

    /// Parameters of `job.replay`.
    #[derive(Eq)]
    #[serde(deny_unknown_fields)]
    pub struct JobReplayParams {
        /// The job.
        #[serde(with = "Name")]
        pub job: String,
        /// Another rule set, by id or digest; the job's own if left out.
        #[serde(default, skip_serializing_if = "Option::is_none", with = "OptionalName")]
        pub ruleset: Option<String>,
    }

    /// Events that another rule set has no place for.
    #[derive(Eq)]
    pub struct LeftOut {
        /// What it does not have: `point`, `check`, `answer` or `complaint`.
        pub what: String,
        /// Its id.
        pub id: String,
        /// How many events were left out for it.
        pub events: u64,
    }

    /// A job's verdict folded anew.
    pub struct Replay {
        /// The job.
        pub job: String,
        /// Whether both verdicts are the same, byte for byte.
        pub same: bool,
        /// The verdict that was recorded.
        pub recorded: Verdict,
        /// The verdict the recorded events give now.
        pub replayed: Verdict,
        /// What would have been said otherwise: `expected` is what was recorded.
        #[serde(default)]
        pub differences: Vec<Difference>,
        /// What the rule set has no place for.
        #[serde(default)]
        pub left_out: Vec<LeftOut>,
    }
}

impl JobShowParams {
    /// A job with the first page of its answers.
    pub fn of(job: impl Into<String>) -> Self {
        Self {
            job: job.into(),
            after_seq: None,
            limit: None,
        }
    }
}
