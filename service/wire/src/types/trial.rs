//! Cases: run against a rule set, and made of jobs.

use super::text::{CaseToml, OptionalName, OptionalRulesetText, OptionalStream, Path};
use super::{RulesetDigest, Verdict, wire};

wire! {
    /// Parameters of `ruleset.trial`: one of `ruleset` and `text`.
    #[serde(deny_unknown_fields)]
    pub struct RulesetTrialParams {
        /// The rule set, by id or digest.
        #[serde(default, skip_serializing_if = "Option::is_none", with = "OptionalName")]
        pub ruleset: Option<String>,
        /// A rule set as TOML, which need not be installed.
        #[serde(default, skip_serializing_if = "Option::is_none", with = "OptionalRulesetText")]
        pub text: Option<String>,
        /// The cases, at most 200.
        #[schemars(length(max = 200))]
        pub cases: Vec<CaseText>,
        /// Also say what could be changed in the rule set without a case noticing.
        #[serde(default, skip_serializing_if = "std::ops::Not::not")]
        pub sensitivity: bool,
    }

    /// A case as text.
    #[serde(deny_unknown_fields)]
    pub struct CaseText {
        /// What to call it in the answer, such as the name of its file.
        #[serde(with = "Path")]
        pub name: String,
        /// The case as TOML.
        #[serde(with = "CaseToml")]
        pub text: String,
        /// The SenML stream it names, if it names one.
        #[serde(default, skip_serializing_if = "Option::is_none", with = "OptionalStream")]
        pub stream: Option<String>,
    }

    /// What came of a trial.
    pub struct RulesetTried {
        /// Whether every case came out as it expects.
        pub ok: bool,
        /// The rule set they were run against.
        pub ruleset: RulesetDigest,
        /// Case by case, in the order given.
        pub cases: Vec<CaseTried>,
        /// What of the rule set the cases reach.
        pub coverage: Coverage,
        /// What could be changed without a case noticing; empty unless asked for.
        pub sensitivity: Vec<Slack>,
    }

    /// What came of a case.
    pub struct CaseTried {
        /// What it was called.
        pub name: String,
        /// Its title.
        pub title: String,
        /// Whether it came out as it expects.
        pub ok: bool,
        /// What came out otherwise.
        pub differences: Vec<Difference>,
        /// The whole verdict.
        pub verdict: Verdict,
    }

    /// One thing that comes out otherwise.
    #[derive(Eq)]
    pub struct Difference {
        /// What: `standing`, `side`, `belief.supply`, `outcomes.battery-rest`, ...
        pub what: String,
        /// What was expected, or recorded.
        pub expected: String,
        /// What came out.
        pub found: String,
    }

    /// What a set of cases reaches of a rule set.
    pub struct Coverage {
        /// Ends of limits that a reading was decided by: `battery-rest at_least`.
        pub limits: Reached,
        /// Answers that were given: `fuel-seen not-seen`.
        pub answers: Reached,
        /// Proofs that were complete: `pump`, `supply 2` for the second one of a side.
        pub proofs: Reached,
        /// Outcomes that checks had: `battery-rest failed`.
        pub outcomes: Reached,
        /// Suspects that were the most probable one.
        pub suspects: Reached,
        /// Complaints that were made.
        pub complaints: Reached,
    }

    /// How many of one kind were reached.
    pub struct Reached {
        /// How many there are.
        pub all: u64,
        /// How many some case reaches.
        pub reached: u64,
        /// Those no case reaches.
        pub unreached: Vec<String>,
    }

    /// A change that no case notices.
    pub struct Slack {
        /// What was changed: `limit`, `need`, `row` or `proof`.
        pub kind: String,
        /// The check of a limit or a need.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub check: Option<String>,
        /// Which end of the limit.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub end: Option<String>,
        /// The check or complaint that the row is of.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub of: Option<String>,
        /// The suspect whose row it is.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub suspect: Option<String>,
        /// The proof.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub proof: Option<String>,
        /// What was done to it: `lowered by 25 %`, `dropped`, `flattened`, ...
        pub change: String,
    }

    /// A job as a case.
    pub struct JobExported {
        /// The job.
        pub job: String,
        /// The case as TOML.
        pub case: String,
        /// What was streamed, as SenML; null if nothing was.
        pub stream: Option<String>,
        /// The name that the case expects the stream's file to have.
        pub stream_name: String,
        /// Whether the case, tried, gives the job's verdict byte for byte. It need not where readings reached
        /// the job in another order than that of their times.
        pub same: bool,
    }
}
