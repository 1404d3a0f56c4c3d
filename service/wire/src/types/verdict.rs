//! The verdict: what the readings and answers of a job say, and what to do next.

use super::{Beyond, BySide, Phase, Side, Time, common::words, wire};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

words! {
    /// How far a verdict goes.
    Standing {
        /// One side, sure enough and proven.
        Isolated = "isolated",
        /// One side, sure enough but not proven.
        Leaning = "leaning",
        /// No side is sure enough.
        Open = "open",
        /// What was seen is improbable under every suspect.
        Contradicted = "contradicted",
    }
}

words! {
    /// What came of a check.
    Outcome {
        /// It conforms.
        Passed = "passed",
        /// It does not.
        Failed = "failed",
        /// It cannot be told with this uncertainty, or not yet.
        Undecided = "undecided",
        /// It says nothing; `reason` says why.
        Void = "void",
    }
}

wire! {
    /// What the events of a job say.
    pub struct Verdict {
        /// How far it goes.
        pub standing: Standing,
        /// The side it names; null unless isolated or leaning.
        pub side: Option<Side>,
        /// Other sides that are not cleared.
        pub also: Vec<Side>,
        /// Belief that at least one of a side's suspects is present.
        pub sides: BySide<f64>,
        /// The suspect that may be named: sure enough, and its own proof complete; or null.
        pub named: Option<String>,
        /// Every suspect, most probable first.
        pub suspects: Vec<SuspectBelief>,
        /// What carried it, check by check.
        pub evidence: Vec<Evidence>,
        /// The complaint's part in it, if one was made.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub complaint: Option<ComplaintEvidence>,
        /// What is still to prove, for the leading side and those not cleared.
        pub missing: Vec<Missing>,
        /// What to do next, best first.
        pub next: Vec<NextTest>,
        /// How much the pieces of evidence contradict each other, in bits; null when no hypothesis
        /// allows them together.
        #[serde(default)]
        pub conflict: Option<f64>,
        /// The engine's phase.
        pub phase: Phase,
        /// The newest time that the engine was cranked, if it was.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub crank: Option<Crank>,
        /// The rule set that judged.
        pub ruleset: RulesetDigest,
        /// All of it in a plain-language paragraph.
        pub text: String,
    }

    /// One time that the engine was cranked, and what was read then.
    pub struct Crank {
        /// Its number among the cranks of the job, from one.
        pub number: u64,
        /// When it began, in seconds since the job opened.
        pub at: f64,
        /// How long it lasted, or has lasted so far, in seconds.
        pub seconds: f64,
        /// The lowest battery voltage after the first half second, in volts.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub battery_minimum: Option<f64>,
        /// The mean speed after the first half second, in revolutions per minute.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub cranking_speed: Option<f64>,
        /// The lowest pressure at the pump inlet after the first second, in psi.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub lowest_inlet_pressure: Option<f64>,
        /// Seconds until the inlet pressure first was 5 psi.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub built_5_psi_after: Option<f64>,
    }

    /// The line that stands out of the spectrum of a ripple's newest window.
    pub struct SpectralLine {
        /// In hertz; as fine as one over the length of the window.
        pub frequency: f64,
        /// Half of its peak-to-peak, in the unit of the test point.
        pub amplitude: f64,
    }

    /// Which rule set, exactly.
    #[derive(Eq)]
    pub struct RulesetDigest {
        /// Its id.
        pub id: String,
        /// Its version.
        pub version: String,
        /// `sha256:` and the hexadecimal digest of its text.
        pub digest: String,
    }

    /// How probable a suspect is.
    pub struct SuspectBelief {
        /// The suspect.
        pub id: String,
        /// Its side.
        pub side: Side,
        /// Probability that it is present.
        pub probability: f64,
    }

    /// What one check contributes.
    pub struct Evidence {
        /// The check.
        pub check: String,
        /// What came of it.
        pub outcome: Outcome,
        /// The feature that was judged; with `bound`, the end of the range it lies beyond.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub value: Option<f64>,
        /// The true value lies beyond `value`, on this side.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub bound: Option<Beyond>,
        /// The unit of value, uncertainty and limit.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub unit: Option<String>,
        /// Standard uncertainty of the value.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub uncertainty: Option<f64>,
        /// The limit it was held against, such as `>= 5 psi`.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub limit: Option<String>,
        /// Probability that the true value conforms.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub conformance: Option<f64>,
        /// How many readings the feature was made of.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub readings: Option<u64>,
        /// The line that stands out of a ripple's spectrum.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub line: Option<SpectralLine>,
        /// The answer that was given.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub answer: Option<String>,
        /// Why it is void or undecided, and what to do about it.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub reason: Option<String>,
        /// Weight for each side, in decibans; null where it is infinite.
        pub decibans: BySide<Option<f64>>,
    }

    /// What the complaint contributes.
    pub struct ComplaintEvidence {
        /// The complaint.
        pub id: String,
        /// Weight for each side, in decibans; null where it is infinite.
        pub decibans: BySide<Option<f64>>,
    }

    /// What is missing from a proof.
    pub struct Missing {
        /// The side it would prove.
        pub side: Side,
        /// The suspect it would allow to be named, if the proof is a suspect's.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub suspect: Option<String>,
        /// Checks that must have passed and have not.
        pub passed: Vec<String>,
        /// Checks of which one must have passed, and none has.
        pub any_passed: Vec<String>,
        /// Checks that must have failed and have not.
        pub failed: Vec<String>,
        /// Checks of which one must have failed, and none has.
        pub any_failed: Vec<String>,
        /// Measured checks of which one must have failed, and none has.
        pub measured_failed: Vec<String>,
        /// Why the rule set asks for it.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub because: Option<String>,
    }

    /// A test worth doing.
    pub struct NextTest {
        /// The check.
        pub check: String,
        /// Its title.
        pub title: String,
        /// Expected information, in bits: about the sides or, once one is isolated, its suspects.
        pub bits: f64,
        /// How long it takes, with the checks that have to come first.
        pub minutes: f64,
        /// What it is ranked by.
        pub bits_per_minute: f64,
        /// It alone can complete a proof of the leading side.
        pub completes_proof: bool,
        /// A proof of the leading side lacks it.
        pub advances_proof: bool,
        /// Checks that have to pass before.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        pub first: Vec<String>,
        /// Cautions, by the rule set's ids.
        pub cautions: Vec<String>,
        /// Why it is advised, in a sentence.
        pub why: String,
    }

    /// A verdict of a job at a time.
    pub struct JobVerdict {
        /// The job.
        pub job: String,
        /// The bay.
        pub bay: String,
        /// The last event it includes.
        pub seq: u64,
        /// When that was.
        pub time: Time,
        /// The verdict.
        #[serde(flatten)]
        pub verdict: Verdict,
    }
}
