//! What is stored of a verdict. The names and their order are the file's: they stay.

use serde::{Deserialize, Serialize};
use trisect_rules::{Outcome, Phase, Side, Standing};

/// A verdict as it is stored.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct StoredVerdict {
    /// The format it is stored in.
    #[serde(default, skip_serializing_if = "is_unnumbered")]
    pub format: u32,
    /// How far it goes.
    pub standing: Standing,
    /// The side it names.
    pub side: Option<Side>,
    /// Every other side that is not cleared.
    pub also: Vec<Side>,
    /// Belief in each side.
    pub sides: StoredBySide<f64>,
    /// The suspect that may be named.
    pub named: Option<String>,
    /// All suspects, the most probable first.
    pub suspects: Vec<StoredSuspect>,
    /// What had been seen, in the order of the rule set.
    pub evidence: Vec<StoredEvidence>,
    /// The complaint's part in it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub complaint: Option<StoredComplaint>,
    /// Proofs that were not complete.
    pub missing: Vec<StoredMissing>,
    /// What to measure next.
    pub next: Vec<StoredNextTest>,
    /// Jensen's conflict measure, in bits.
    pub conflict: Option<f64>,
    /// The phase of the engine.
    pub phase: Phase,
    /// The newest crank.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub crank: Option<StoredCrank>,
    /// The rule set it was said by.
    pub ruleset: StoredRuleSet,
    /// The same in words.
    pub text: String,
}

fn is_unnumbered(format: &u32) -> bool {
    *format == 0
}

/// One value for each side. A weight beyond every bound is stored as `null`.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs, reason = "the fields are the four sides")]
pub struct StoredBySide<T> {
    pub supply: T,
    pub controller: T,
    pub pump: T,
    pub outside: T,
}

/// How probable one suspect was.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs, reason = "the fields say it")]
pub struct StoredSuspect {
    pub id: String,
    pub side: Side,
    pub probability: f64,
}

/// One check that had something to say, or would have had.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct StoredEvidence {
    /// The check.
    pub check: String,
    /// What came of it.
    pub outcome: Outcome,
    /// The feature, in `unit`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub value: Option<f64>,
    /// `above` or `below`, for an overload.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub bound: Option<String>,
    /// The unit of value and uncertainty.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unit: Option<String>,
    /// Standard uncertainty of the value.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub uncertainty: Option<f64>,
    /// The limit it was held against.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub limit: Option<String>,
    /// Probability that the true value conforms.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub conformance: Option<f64>,
    /// How many readings went into it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub readings: Option<u64>,
    /// The line that stood out of a ripple's spectrum.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub line: Option<StoredSpectralLine>,
    /// The answer given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub answer: Option<String>,
    /// Why it was void or undecided.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reason: Option<String>,
    /// Its weight for each side, in decibans.
    pub decibans: StoredBySide<Option<f64>>,
}

/// The line that stood out of the spectrum of a ripple.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct StoredSpectralLine {
    /// In hertz.
    pub frequency: f64,
    /// Half of its peak-to-peak, in the unit of the test point.
    pub amplitude: f64,
}

/// What the complaint weighed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs, reason = "the fields say it")]
pub struct StoredComplaint {
    pub id: String,
    pub decibans: StoredBySide<Option<f64>>,
}

/// What a proof still lacked.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct StoredMissing {
    /// The side that was not proven, or whose suspect was not.
    pub side: Side,
    /// The suspect, where the proof is one of a suspect.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub suspect: Option<String>,
    /// Checks that had yet to pass.
    pub passed: Vec<String>,
    /// Checks of which one had yet to pass.
    pub any_passed: Vec<String>,
    /// Checks that had yet to fail.
    pub failed: Vec<String>,
    /// Checks of which one had yet to fail.
    pub any_failed: Vec<String>,
    /// Measured checks of which one had yet to fail.
    pub measured_failed: Vec<String>,
    /// Why the proof asks for it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub because: Option<String>,
}

/// A test that was worth doing.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct StoredNextTest {
    /// The check.
    pub check: String,
    /// Its title.
    pub title: String,
    /// Expected information, in bits.
    pub bits: f64,
    /// How long it takes, with the checks that have to come first.
    pub minutes: f64,
    /// What it was ranked by.
    pub bits_per_minute: f64,
    /// It alone could complete a proof of the leading side.
    pub completes_proof: bool,
    /// A proof of the leading side lacked it.
    pub advances_proof: bool,
    /// Checks that had to pass before.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub first: Vec<String>,
    /// Cautions that go with it.
    pub cautions: Vec<String>,
    /// Why it was chosen.
    pub why: String,
}

/// One time that the engine was cranked, in the trade's units.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct StoredCrank {
    /// Its number among the cranks of the job, from one.
    pub number: u64,
    /// When it began, in seconds since the job opened.
    pub at: f64,
    /// How long it lasted, or had lasted so far, in seconds.
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

/// Which rule set, exactly.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[allow(missing_docs, reason = "the fields say it")]
pub struct StoredRuleSet {
    pub id: String,
    pub version: String,
    pub digest: String,
}
