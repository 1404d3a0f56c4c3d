//! Findings: what runs, answers and streams have found, side by side.

use trisect_rules::Outcome;

use crate::assess::Assessment;

/// What a finding came from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Origin {
    /// A run, by its number.
    Run(u32),
    /// The stream, without a run.
    Passive,
    /// An answer.
    Answer,
    /// It was settled elsewhere.
    Stated,
}

/// One thing that was found out. It stays as it is: another finding of the same check stands beside it.
#[derive(Clone, Debug)]
pub struct Finding {
    /// Its number in the job, from one.
    pub number: u32,
    /// The check.
    pub check: u16,
    /// The round it belongs to, from one: a repair begins the next.
    pub round: u32,
    /// When the first of its readings was taken, in nanoseconds since the job opened.
    pub from: i64,
    /// When it was found.
    pub at: i64,
    /// What it came from.
    pub origin: Origin,
    /// It was taken out of the reasoning.
    pub withdrawn: bool,
    pub(crate) assessment: Assessment,
}

impl Finding {
    /// What it says of its check.
    pub fn outcome(&self) -> Outcome {
        self.assessment.outcome
    }

    /// How probable it is that the true value conforms, of a reading.
    pub fn conformance(&self) -> Option<f64> {
        self.assessment.value.and(self.assessment.pass)
    }

    /// The answer's place in its list, healthiest first.
    pub fn answer(&self) -> Option<u16> {
        self.assessment.answer
    }

    /// How many readings went into it.
    pub fn readings(&self) -> Option<u64> {
        self.assessment.readings
    }

    /// Why it is void or undecided.
    pub fn reason(&self) -> Option<&str> {
        self.assessment.reason.as_deref()
    }

    /// Whether it says anything at all.
    pub(crate) fn tells(&self) -> bool {
        self.assessment.pass.is_some() || self.assessment.answer.is_some()
    }
}
