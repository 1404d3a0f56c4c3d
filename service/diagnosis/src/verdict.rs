//! The verdict, in the shape that goes on the wire and into the journal.
//!
//! Values are in the unit their test point is shown in. A weight that is beyond
//! every bound (the evidence alone decides) is `null`.

use serde::Serialize;
use trisect_rules::{Outcome, Phase, Side, Standing};

use crate::stays::CrankSummary;

/// What the readings and answers of a job say so far.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Verdict {
    /// How far it goes.
    pub standing: Standing,
    /// The side named, unless open or contradicted.
    pub side: Option<Side>,
    /// Every other side that is not cleared.
    pub also: Vec<Side>,
    /// Belief in each side: the probability that at least one of its suspects is present.
    pub sides: BySide<f64>,
    /// The suspect that may be named: sure enough, and its own proof complete.
    pub named: Option<String>,
    /// All suspects, the most probable first.
    pub suspects: Vec<SuspectBelief>,
    /// What has been seen, in the order of the rule set.
    pub evidence: Vec<Evidence>,
    /// The complaint's part in it, if one was made.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub complaint: Option<ComplaintEvidence>,
    /// Proofs that are not complete, for the leading side and those not cleared.
    pub missing: Vec<Missing>,
    /// What to measure next, the best first.
    pub next: Vec<NextTest>,
    /// Jensen's conflict measure, log ∏P(e_i)/P(e), in bits; `null` when no
    /// hypothesis allows the evidence.
    pub conflict: Option<f64>,
    /// The phase of the engine.
    pub phase: Phase,
    /// The newest time that the engine was cranked, if it was.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub crank: Option<CrankSummary>,
    /// The rule set this was said by.
    pub ruleset: RuleSetName,
    /// The same in words.
    pub text: String,
}

/// One value for each side.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[allow(missing_docs, reason = "the fields are the four sides")]
pub struct BySide<T> {
    pub supply: T,
    pub controller: T,
    pub pump: T,
    pub outside: T,
}

impl<T: Copy> BySide<T> {
    pub(crate) const fn new(values: [T; 4]) -> Self {
        let [supply, controller, pump, outside] = values;
        BySide {
            supply,
            controller,
            pump,
            outside,
        }
    }

    /// The value of one side.
    pub const fn of(&self, side: Side) -> T {
        match side {
            Side::Supply => self.supply,
            Side::Controller => self.controller,
            Side::Pump => self.pump,
            Side::Outside => self.outside,
        }
    }
}

/// How probable one suspect is.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[allow(missing_docs, reason = "the fields say it")]
pub struct SuspectBelief {
    pub id: String,
    pub side: Side,
    pub probability: f64,
}

/// One check that has something to say, or would have.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Evidence {
    /// The check.
    pub check: String,
    /// What came of it.
    pub outcome: Outcome,
    /// The feature, in `unit`; with `bound`, the end of the range it lies beyond.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub value: Option<f64>,
    /// `above` or `below`, for an overload.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub bound: Option<&'static str>,
    /// The unit of value and uncertainty.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub unit: Option<&'static str>,
    /// Standard uncertainty of the value.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub uncertainty: Option<f64>,
    /// The limit it was held against, such as `>= 5 psi`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub limit: Option<String>,
    /// Probability that the true value conforms (JCGM 106).
    #[serde(skip_serializing_if = "Option::is_none")]
    pub conformance: Option<f64>,
    /// How many readings went into it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub readings: Option<u64>,
    /// The line that stands out of a ripple's spectrum.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub line: Option<SpectralLine>,
    /// The answer given.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub answer: Option<String>,
    /// Why it is void or undecided, and what to do about it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub reason: Option<String>,
    /// Its weight for each side, in decibans.
    pub decibans: BySide<f64>,
}

/// The line that stands out of the spectrum of a ripple's newest window.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct SpectralLine {
    /// In hertz; as fine as one over the length of the window.
    pub frequency: f64,
    /// Half of its peak-to-peak, in the unit of the test point.
    pub amplitude: f64,
}

/// What the complaint weighs.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[allow(missing_docs, reason = "the fields say it")]
pub struct ComplaintEvidence {
    pub id: String,
    pub decibans: BySide<f64>,
}

/// What a proof still lacks. Empty lists are complete.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Missing {
    /// The side that is not proven, or whose suspect is not.
    pub side: Side,
    /// The suspect, where the proof is one of a suspect and not of its side.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub suspect: Option<String>,
    /// Checks that have yet to pass.
    pub passed: Vec<String>,
    /// Checks of which one has yet to pass.
    pub any_passed: Vec<String>,
    /// Checks that have yet to fail.
    pub failed: Vec<String>,
    /// Checks of which one has yet to fail.
    pub any_failed: Vec<String>,
    /// Measured checks of which one has yet to fail.
    pub measured_failed: Vec<String>,
    /// Why the proof asks for it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub because: Option<String>,
}

/// A test worth doing.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct NextTest {
    /// The check.
    pub check: String,
    /// Its title.
    pub title: String,
    /// Expected information, in bits: about which sides are touched or, once a
    /// side is isolated, about which of its suspects.
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
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub first: Vec<String>,
    /// Cautions that go with it.
    pub cautions: Vec<String>,
    /// Why it was chosen.
    pub why: String,
}

/// Which rule set, exactly.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
#[allow(missing_docs, reason = "the fields say it")]
pub struct RuleSetName {
    pub id: String,
    pub version: String,
    pub digest: String,
}

impl Verdict {
    /// The bytes that are kept, sent and compared: JSON without spaces.
    pub fn to_bytes(&self) -> Vec<u8> {
        // Plain structs of texts and numbers: there is nothing that could fail.
        serde_json::to_vec(self).unwrap_or_default()
    }

    /// What came of a check: void unless it is in evidence.
    pub fn outcome(&self, check: &str) -> Outcome {
        self.evidence
            .iter()
            .find(|e| e.check == check)
            .map_or(Outcome::Void, |e| e.outcome)
    }
}
