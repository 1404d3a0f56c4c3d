//! `ruleset.*`.

use super::text::{Name, OptionalName, RulesetText};
use super::{Drive, Phase, Proving, RulesetDigest, Side, Testability, Time, common::words, wire};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

words! {
    /// How bad a defect is.
    Severity {
        /// The rule set cannot be used.
        Error = "error",
        /// It can be used, but something is probably not meant.
        Warning = "warning",
    }
}

words! {
    /// Where a rule set comes from.
    RulesetOrigin {
        /// It came with the program.
        Shipped = "shipped",
        /// The configuration names its file.
        File = "file",
        /// It was installed while the service ran.
        Installed = "installed",
    }
}

wire! {
    /// Names a rule set.
    #[derive(Eq)]
    #[serde(deny_unknown_fields)]
    pub struct RulesetName {
        /// Its id, for the version that new jobs use; or its digest.
        #[serde(with = "Name")]
        pub ruleset: String,
    }

    /// Rule sets.
    pub struct Rulesets {
        /// By id, then from the oldest version to the newest.
        pub rulesets: Vec<RulesetSummary>,
    }

    /// A rule set in a list.
    pub struct RulesetSummary {
        /// Id, version and digest.
        #[serde(flatten)]
        pub ruleset: RulesetDigest,
        /// Its title.
        pub title: String,
        /// Whether new jobs that name its id use it: of several versions the newest does.
        #[serde(default)]
        pub current: bool,
        /// Where it comes from.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub origin: Option<RulesetOrigin>,
        /// When it was installed.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub installed: Option<Time>,
    }

    /// A rule set as a front end needs it.
    pub struct Ruleset {
        /// Id, version and digest.
        #[serde(flatten)]
        pub ruleset: RulesetDigest,
        /// Its title.
        pub title: String,
        /// Where something is measured.
        pub test_points: Vec<TestPointShown>,
        /// What is tested.
        pub checks: Vec<CheckShown>,
        /// What can be at fault.
        pub suspects: Vec<SuspectShown>,
        /// What can be complained of.
        pub complaints: Vec<ComplaintShown>,
        /// What to look out for.
        pub cautions: Vec<CautionShown>,
    }

    /// A test point, measured or derived.
    pub struct TestPointShown {
        /// Its id.
        pub id: String,
        /// Its title.
        pub title: String,
        /// The quantity, such as `pressure`.
        pub quantity: String,
        /// The unit it is shown in.
        pub unit: String,
        /// The least and greatest plausible value, in `unit`.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub plausible: Option<[f64; 2]>,
        /// The difference of these two test points, if it is derived.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub minus: Option<[String; 2]>,
    }

    /// A check.
    pub struct CheckShown {
        /// Its id.
        pub id: String,
        /// Its title.
        pub title: String,
        /// How long it takes.
        pub minutes: f64,
        /// Checks that must have passed for it to say anything.
        pub needs: Vec<String>,
        /// The drive that must be connected, or null for any.
        pub drive: Option<Drive>,
        /// What to look out for.
        pub cautions: Vec<CautionShown>,
        /// Where its limit comes from, and what else is worth knowing.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub note: Option<String>,
        /// Whether it is measured or asked, and how.
        #[serde(flatten)]
        pub how: HowShown,
    }

    /// How a check is carried out.
    #[serde(tag = "how", rename_all = "kebab-case")]
    pub enum HowShown {
        /// By measuring.
        Measured {
            /// The test point.
            point: String,
            /// The phases it is measured in.
            phase: Vec<Phase>,
            /// The feature, such as `minimum`.
            take: String,
            /// How long after the phase began, in seconds.
            after: f64,
            /// Over how long, in seconds; null for as long as the phase lasts.
            over: Option<f64>,
            /// The limit in words, such as `>= 5 psi`.
            limit: String,
        },
        /// By asking a person.
        Asked {
            /// The question.
            ask: String,
            /// The answers, from healthy to worst.
            answers: Vec<String>,
        },
    }

    /// A suspect.
    pub struct SuspectShown {
        /// Its id.
        pub id: String,
        /// Its side.
        pub side: Side,
        /// Its title.
        pub title: String,
        /// What mends it.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub remedy: Option<String>,
    }

    /// A complaint.
    pub struct ComplaintShown {
        /// Its id.
        pub id: String,
        /// Its title.
        pub title: String,
    }

    /// A caution.
    pub struct CautionShown {
        /// Its id.
        pub id: String,
        /// What to look out for.
        pub text: String,
    }

    /// Parameters of `ruleset.examine`.
    #[serde(deny_unknown_fields)]
    pub struct RulesetExamineParams {
        /// The rule set as TOML.
        #[serde(with = "RulesetText")]
        pub text: String,
        /// Also search every combination of outcomes for one that names a side whose proof is missing.
        #[serde(default, skip_serializing_if = "std::ops::Not::not")]
        pub prove: bool,
    }

    /// What an examination found.
    pub struct RulesetExamined {
        /// Whether it can be used: no defect is an error.
        pub ok: bool,
        /// Every defect, in the order of the text.
        pub defects: Vec<Defect>,
        /// What its checks can tell apart; null for a rule set that cannot be used.
        #[serde(default)]
        pub testability: Option<Testability>,
        /// What was searched, if that was asked for.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub proving: Option<Proving>,
    }

    /// Parameters of `ruleset.install`.
    #[serde(deny_unknown_fields)]
    pub struct RulesetInstallParams {
        /// The rule set as TOML.
        #[serde(with = "RulesetText")]
        pub text: String,
        /// Who installs it.
        #[serde(default, skip_serializing_if = "Option::is_none", with = "OptionalName")]
        pub by: Option<String>,
    }

    /// A rule set that was installed.
    pub struct RulesetInstalled {
        /// Id, version and digest.
        #[serde(flatten)]
        pub ruleset: RulesetDigest,
        /// The digest of the rule set that new jobs used until now, if there was one of this id.
        pub before: Option<String>,
        /// Warnings.
        pub defects: Vec<Defect>,
    }

    /// A defect of a rule set or a case.
    #[derive(Eq)]
    pub struct Defect {
        /// The stable kebab-case word for its kind.
        pub kind: String,
        /// How bad it is.
        pub severity: Severity,
        /// Its line, from 1.
        pub line: u64,
        /// Its column in characters, from 1.
        pub column: u64,
        /// What is wrong.
        pub message: String,
        /// The way to mend it.
        pub hint: String,
    }
}
